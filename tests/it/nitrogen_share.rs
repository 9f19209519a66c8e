//! `response.nitrogen_share` and `reference.level` from outside: each cell's response index is the stated mixture of its own and the field's, at the ends one
//! of the two alone; methods by sufficiency follow; strips by their place bring their own response index.

use crate::field::{Field, mapped, message, rectangle, refused, rows};
use serde_json::Value;

/// Index and response index before it is limited, of each canopy cell.
fn cells(field: &Field) -> Vec<(f64, f64, Option<f64>)> {
    let column = |feature: &gdal::vector::Feature<'_>, name: &str| {
        feature
            .field_as_double(feature.field_index(name).unwrap())
            .unwrap()
    };
    rows(field, "cells", |feature| {
        let state = feature
            .field_as_string(feature.field_index("state").unwrap())
            .unwrap();
        (state.as_deref() == Some("canopy")).then(|| {
            (
                column(feature, "index").unwrap(),
                column(feature, "ratio_raw").unwrap(),
                column(feature, "n_exact_kg_ha"),
            )
        })
    })
    .into_iter()
    .flatten()
    .collect()
}

fn with_share(share: &str) -> Field {
    let field = Field::new();
    field.job(
        "method = \"yield response\"\n",
        &format!("method = \"yield response\"\nnitrogen_share = {share}\n"),
    );
    field
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}

#[test]
fn the_ends_are_each_cell_and_the_whole_field_to_the_last_bit() {
    let plain = Field::mapped();
    let one = with_share("1.0");
    mapped(&one);
    let record = one.record();
    let (reference, ratio) = (
        number(&record["reference"]["index"]),
        number(&record["reference"]["ratio"]),
    );
    assert_eq!(
        cells(&plain),
        cells(&one),
        "1 is what a job without the key gets"
    );
    assert!(cells(&one).len() > 90);
    for (index, raw, _) in cells(&one) {
        assert_eq!(raw.to_bits(), (reference / index).to_bits());
    }
    let none = with_share("0");
    mapped(&none);
    for (_, raw, _) in cells(&none) {
        assert_eq!(raw.to_bits(), ratio.to_bits());
    }
    let wording = message(&one, "rate.direction").unwrap();
    assert!(wording.contains("paler patches get more"), "{wording}");
    let wording = message(&none, "rate.direction").unwrap();
    assert!(wording.contains("greener patches get more"), "{wording}");
    // Both totals stand in either record.
    for key in ["n_kg_each_cell", "n_kg_whole_field"] {
        assert_eq!(
            record["uncertainty"][key],
            none.record()["uncertainty"][key],
            "{key}"
        );
    }
    let base = |field: &Field| number(&field.record()["uncertainty"]["n_kg_base"]);
    assert_eq!(base(&one), number(&record["uncertainty"]["n_kg_each_cell"]));
    assert_eq!(
        base(&none),
        number(&record["uncertainty"]["n_kg_whole_field"])
    );
}

#[test]
fn between_the_ends_the_ratio_is_the_stated_mixture() {
    let field = with_share("0.4");
    mapped(&field);
    let record = field.record();
    let (reference, ratio) = (
        number(&record["reference"]["index"]),
        number(&record["reference"]["ratio"]),
    );
    assert_eq!(record["settings"]["response"]["nitrogen_share"], 0.4);
    for (index, raw, _) in cells(&field) {
        let mixed = 0.4 * reference / index + 0.6 * ratio;
        assert!((raw - mixed).abs() < 1e-12, "{raw} {mixed}");
    }
    let wording = message(&field, "rate.direction").unwrap();
    assert!(
        wording.starts_with("40 % of the index deficit is taken for nitrogen"),
        "{wording}"
    );
    assert!(wording.chars().count() <= 300, "{wording}");
    let text = fs_err::read_to_string(field.path("out/office/report.html")).unwrap();
    assert!(
        text.contains("nitrogen share s: 0.4"),
        "no share in the report"
    );
}

#[test]
fn methods_by_sufficiency_follow_the_share() {
    let root = "method = \"square root\"\noptimum = \"180 kg N/ha\"\ndelta_si = 0.3\ndead_band = 0.0\nindex = \"NDVI\"\n";
    let field = Field::new();
    field.job("method = \"yield response\"\n", root);
    field.job("maximum_yield = \"7 t/ha\"\nyield_curve = { a = \"590 kg/ha\", b = 258.2, index = \"NDVI\", source = \"common practice\" }\n", "nitrogen_share = 0.25\n");
    mapped(&field);
    let record = field.record();
    let (reference, ratio) = (
        number(&record["reference"]["index"]),
        number(&record["reference"]["ratio"]),
    );
    let found = cells(&field);
    assert!(found.len() > 90);
    for (index, _, exact) in found {
        // The bracket 180 times the root of what the mixed ratio leaves short, over 0.3; up to the greatest rate.
        let short = 1.0 - 1.0 / (0.25 * reference / index + 0.75 * ratio);
        let needed = 180.0 * (short.max(0.0) / 0.3).min(1.0).sqrt();
        let exact = exact.unwrap();
        assert!((exact - needed.min(150.0)).abs() < 1e-9, "{exact} {needed}");
    }
}

#[test]
fn strips_by_their_place_bring_their_own_response_index() {
    let field = with_share("0");
    // The second strip lies on crop like that beside it: its ratio is about 1.
    field.polygons(
        "strips.geojson",
        &[
            rectangle([120.0, 24.0, 144.0, 264.0]),
            rectangle([192.0, 80.0, 216.0, 208.0]),
        ],
    );
    field.job(
        "strips = \"strips.geojson\"\n",
        "strips = \"strips.geojson\"\nstrips_use = \"nearest\"\n",
    );
    // The strips contradict each other, which stops the map unless it is accepted.
    field.job(
        "[output]\n",
        "[[accept]]\ncode = \"reference.unclear\"\nfigure = \"1.12\"\nreason = \"one strip lies on plain crop\"\nby = \"T. Tester\"\n\n[output]\n",
    );
    mapped(&field);
    let record = field.record();
    let own: Vec<f64> = record["reference"]["strips"]
        .as_array()
        .unwrap()
        .iter()
        .map(|strip| number(&strip["index"]) / number(&strip["beside"]))
        .collect();
    assert!(own[0] > 1.15 && (own[1] - 1.0).abs() < 0.02, "{own:?}");
    let mut met = [0, 0];
    for (_, raw, _) in cells(&field) {
        let near = usize::from((raw - own[1]).abs() < (raw - own[0]).abs());
        assert!((raw - own[near]).abs() < 1e-12, "{raw} is neither {own:?}");
        met[near] += 1;
    }
    assert!(met[0] > 40 && met[1] > 20, "{met:?}");
}

#[test]
fn a_balanced_level_is_the_mean_of_strip_and_field() {
    let plain = Field::mapped().record();
    let field = Field::new();
    field.job(
        "strips = \"strips.geojson\"\n",
        "strips = \"strips.geojson\"\nlevel = \"balanced\"\n",
    );
    mapped(&field);
    let record = field.record();
    let of = |key: &str| number(&plain["reference"][key]);
    let mean = number(&plain["image"]["mean_index"]);
    let balanced = number(&record["reference"]["index"]);
    assert!(
        (balanced - f64::midpoint(of("index"), of("ratio") * mean)).abs() < 1e-12,
        "{balanced}"
    );
    assert!((balanced - of("index")).abs() > 1e-3, "the level moved");
    assert_eq!(
        record["reference"]["strip_index"],
        plain["reference"]["index"]
    );
    assert_eq!(record["reference"]["ratio"], plain["reference"]["ratio"]);
    assert_eq!(record["settings"]["reference"]["level"], "balanced");
    for (index, raw, _) in cells(&field) {
        assert_eq!(raw.to_bits(), (balanced / index).to_bits());
    }
    // More or less inset moves strip and ratio alike, so that the total moves from its own base.
    let base = number(&record["uncertainty"]["n_kg_base"]);
    for other in record["uncertainty"]["n_kg_by_inset"].as_array().unwrap() {
        assert!((number(other) / base - 1.0).abs() < 0.1, "{other} {base}");
    }
}

#[test]
fn what_makes_no_sense_is_refused() {
    refused(&with_share("1.5"), &["response.nitrogen_share", "1.5"]);
    refused(&with_share("-0.1"), &["response.nitrogen_share"]);
    refused(
        &with_share("\"each cell\""),
        &["response.nitrogen_share", "measured"],
    );
    let field = Field::new();
    field.job(
        "method = \"yield response\"\n",
        "method = \"yield response\"\ncompare = \"each cell\"\n",
    );
    refused(&field, &["response.compare"]);
    // A flat rate is compared with nothing.
    let field = Field::new();
    field.job(
        "method = \"yield response\"\n",
        "method = \"flat\"\nrate = \"60 kg N/ha\"\nnitrogen_share = 0.5\n",
    );
    field.job("maximum_yield = \"7 t/ha\"\nyield_curve = { a = \"590 kg/ha\", b = 258.2, index = \"NDVI\", source = \"common practice\" }\n", "");
    refused(&field, &["response.nitrogen_share", "changes nothing"]);
    // Neither a percentile nor readings have a level of their own to balance.
    for reference in [
        "percentile = 95",
        "readings = [{ strip = 0.74, beside = 0.62 }]",
    ] {
        let field = Field::new();
        field.job(
            "strips = \"strips.geojson\"\n",
            &format!("{reference}\nlevel = \"balanced\"\n"),
        );
        refused(&field, &["reference.strips"]);
    }
}
