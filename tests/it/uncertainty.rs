//! Bands of field, zones and cells from outside: in order, nothing where there is nothing, the same again with the same seed, the plain rate without a
//! uncertainty; references that vary over the field.

use gdal::vector::LayerAccess as _;
use haulm::app::job::map_job;
use serde_json::Value;

use crate::field::{Field, rectangle};

fn with(keys: &str) -> Field {
    let field = Field::new();
    field.job(
        "folder = \"out\"\n",
        &format!("folder = \"out\"\nformats = [\"geopackage\", \"geojson\"]\n{keys}"),
    );
    field
}

fn mapped(field: &Field) -> Value {
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    field.record()
}

fn refused(field: &Field) -> String {
    let wording = field.run(&["map"]);
    assert_ne!(wording.status, Some(0), "{}", wording.out);
    wording.err.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// State and columns of a layer; `None` for null.
fn rows(field: &Field, layer: &str, columns: &[&str]) -> Vec<(String, Vec<Option<f64>>)> {
    let file = gdal::Dataset::open_ex(
        field.path("out/office/prescription.gpkg"),
        gdal::DatasetOptions {
            open_flags: gdal::GdalOpenFlags::GDAL_OF_VECTOR,
            ..gdal::DatasetOptions::default()
        },
    )
    .unwrap();
    let mut layer = file.layer_by_name(layer).unwrap();
    let place = |name: &str| layer.defn().field_index(name).unwrap();
    let (state, columns): (usize, Vec<usize>) = (
        place("state"),
        columns.iter().map(|name| place(name)).collect(),
    );
    layer
        .features()
        .map(|feature| {
            (
                feature.field_as_string(state).unwrap().unwrap(),
                columns
                    .iter()
                    .map(|column| feature.field_as_double(*column).unwrap())
                    .collect(),
            )
        })
        .collect()
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}

#[test]
fn bands_stand_in_record_zones_and_cells() {
    let field = with("");
    let record = mapped(&field);
    let drawn = &record["uncertainty"]["drawn"];
    let [low, middle, high] = ["n_kg_p10", "n_kg_p50", "n_kg_p90"].map(|key| number(&drawn[key]));
    assert!(0.0 < low && low < middle && middle < high, "{drawn}");
    let plain = number(&drawn["n_kg_plain"]);
    assert!(
        low < plain
            && plain < high
            && (plain - number(&record["totals"]["n_kg_exact"])).abs() < 0.02 * plain,
        "{drawn}"
    );
    // One strip in a field too small for placebo strips: 4 % of the reference index by its place, and what its own interval says, in quadrature.
    let reference = &record["reference"];
    assert!(reference["placebo"].is_null() && reference["no_placebo"].is_string());
    let [low, high, ratio] =
        ["paired_low", "paired_high", "ratio"].map(|key| number(&reference[key]));
    let own = (high - low) / 2.0 / 1.959_964 / ratio;
    assert_eq!(
        (&drawn["draws"], &drawn["strips"]),
        (&1000.into(), &1.into())
    );
    let place = number(&drawn["place_spread"]);
    assert!((place - libm::hypot(0.04, own)).abs() < 1e-6, "{place}");
    let alone = drawn["alone"].as_array().unwrap();
    assert_eq!(alone[0]["uncertainty"], "place of the strip");
    let shares: f64 = alone
        .iter()
        .map(|part| number(&part["variance_share"]))
        .sum();
    assert!(
        (shares - 1.0).abs() < 1e-9
            && alone
                .windows(2)
                .all(|pair| number(&pair[0]["sd_n_kg"]) >= number(&pair[1]["sd_n_kg"]))
    );
    let found = record["findings"].to_string();
    assert!(
        found.contains("uncertainty.field")
            && found.contains("uncertainty.assumed")
            && found.contains("judgement without source"),
        "{found}"
    );
    let mut with_value = 0;
    for (state, values) in rows(
        &field,
        "cells",
        &["n_p10_kg_ha", "n_p90_kg_ha", "n_exact_kg_ha"],
    ) {
        let [low, high, exact] = values[..] else {
            panic!("{values:?}")
        };
        if state == "canopy" {
            let (low, high, exact) = (low.unwrap(), high.unwrap(), exact.unwrap());
            assert!(
                0.0 <= low && low <= exact + 1e-9 && exact <= high + 1e-9 && high <= 150.0,
                "{low} {exact} {high}"
            );
            with_value += 1;
        } else if state != "thin" {
            assert_eq!((low, high), (None, None), "{state}");
        }
    }
    assert!(with_value > 90, "{with_value} cells");
    for (state, values) in rows(&field, "zones", &["n_p10_kg_ha", "n_p90_kg_ha"]) {
        assert_eq!(
            values.iter().all(Option::is_some),
            matches!(state.as_str(), "canopy" | "thin"),
            "{state}: {values:?}"
        );
        assert!(values.iter().flatten().count() == 0 || values[0] <= values[1]);
    }
    let text = fs_err::read_to_string(field.path("out/office/prescription.geojson")).unwrap();
    let zones: Value = serde_json::from_str(&text).unwrap();
    assert!(
        zones["features"][0]["properties"]["n_p90_kg_ha"].is_number(),
        "{text}"
    );
}

#[test]
fn the_same_seed_draws_the_same_and_another_another() {
    let one = with("[uncertainty]\ndraws = 300\nseed = 7\n");
    let record = mapped(&one);
    let again = with("[uncertainty]\ndraws = 300\nseed = 7\n");
    // Threads change nothing.
    let wording = again.run(&["--threads", "1", "map"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    assert_eq!(record["uncertainty"], again.record()["uncertainty"]);
    let columns = ["n_p10_kg_ha", "n_p90_kg_ha"];
    assert_eq!(
        rows(&one, "cells", &columns),
        rows(&again, "cells", &columns)
    );
    let other = mapped(&with("[uncertainty]\ndraws = 300\nseed = 8\n"));
    let (a, b) = (
        number(&record["uncertainty"]["drawn"]["n_kg_p10"]),
        number(&other["uncertainty"]["drawn"]["n_kg_p10"]),
    );
    assert!(a != b && (a / b - 1.0).abs() < 0.4, "{a} and {b}");
    // One at a time is worked out, not drawn.
    assert_eq!(
        record["uncertainty"]["drawn"]["alone"],
        other["uncertainty"]["drawn"]["alone"]
    );
}

#[test]
fn without_a_doubt_the_band_is_the_plain_rate() {
    let field = with("[uncertainty]\ndraws = 100\nuse_efficiency_spread = 0\nplace_spread = 0\n");
    field.job(
        "strips = \"strips.geojson\"",
        "readings = [{ strip = 0.74, beside = 0.62 }]",
    );
    field.job(
        "method = \"yield response\"\n",
        "method = \"yield response\"\ncurve_spread = 0\n",
    );
    let record = mapped(&field);
    let drawn = &record["uncertainty"]["drawn"];
    for key in ["n_kg_p10", "n_kg_p50", "n_kg_p90", "n_kg_mean"] {
        assert!(
            (number(&drawn[key]) - number(&drawn["n_kg_plain"])).abs() < 1e-9,
            "{drawn}"
        );
    }
    assert!(drawn["alone"].as_array().unwrap().is_empty());
    for (state, values) in rows(
        &field,
        "cells",
        &["n_p10_kg_ha", "n_p90_kg_ha", "n_exact_kg_ha"],
    ) {
        if state == "canopy" {
            assert!(
                (values[0].unwrap() - values[2].unwrap()).abs() < 1e-9
                    && (values[1].unwrap() - values[2].unwrap()).abs() < 1e-9,
                "{values:?}"
            );
        }
    }
    // The reading's own uncertainty is not known, and that is said.
    let found = record["findings"].to_string();
    assert!(
        found.contains("uncertainty.part") && found.contains("the true one is wider"),
        "{found}"
    );
    let none = mapped(&with("[uncertainty]\ndraws = 0\n"));
    assert!(
        none["uncertainty"]["drawn"].is_null()
            && !none["findings"].to_string().contains("uncertainty.")
    );
}

#[test]
fn keys_are_held_to_their_ranges() {
    for (keys, code) in [
        ("[uncertainty]\ndraws = -1\n", "uncertainty.draws"),
        ("[uncertainty]\nseeds = 1\n", "uncertainty.seeds"),
        (
            "[uncertainty]\nplace_spread = 28\n",
            "uncertainty.place_spread",
        ),
        (
            "[uncertainty]\nuse_efficiency_spread = \"20 %\"\n",
            "uncertainty.use_efficiency_spread",
        ),
    ] {
        let wording = refused(&with(keys));
        assert!(wording.contains(code), "{keys}: {wording}");
    }
    let field = Field::new();
    field.job(
        "method = \"yield response\"\n",
        "method = \"flat\"\nrate = \"60 kg N/ha\"\ncurve_spread = 0.1\n",
    );
    assert!(refused(&field).contains("response.curve_spread"));
    let field = with("[uncertainty]\ndraws = 500\nseed = 3\n");
    let settings = map_job(
        &fs_err::read(field.path("job.toml")).unwrap(),
        &field.path("job.toml"),
    )
    .unwrap()
    .value;
    assert_eq!(
        (
            settings.uncertainty.draws,
            settings.uncertainty.seed,
            settings.uncertainty.use_efficiency_spread,
            settings.uncertainty.place_spread
        ),
        (500, 3, 0.2, None)
    );
}

/// The field with a second strip on the pale side.
fn two_strips() -> Field {
    let field = with("");
    field.polygons(
        "strips.geojson",
        &[
            rectangle([120.0, 24.0, 144.0, 264.0]),
            rectangle([0.0, 24.0, 24.0, 264.0]),
        ],
    );
    field
}

/// Reference of each canopy cell: ratio × index.
fn references(field: &Field) -> Vec<f64> {
    let rows = rows(field, "cells", &["ratio_raw", "index"]);
    rows.iter()
        .filter(|row| row.0 == "canopy")
        .map(|row| row.1[0].unwrap() * row.1[1].unwrap())
        .collect()
}

#[test]
fn the_reference_may_vary_over_the_field() {
    let span = |all: &[f64]| {
        all.iter()
            .fold((f64::INFINITY, 0.0_f64), |a, b| (a.0.min(*b), a.1.max(*b)))
    };
    let pooled = two_strips();
    mapped(&pooled);
    let (low, high) = span(&references(&pooled));
    assert!(high - low < 1e-9);
    let inverse = two_strips();
    inverse.job(
        "strips = \"strips.geojson\"",
        "strips = \"strips.geojson\"\nstrips_use = \"inverse distance\"",
    );
    let record = mapped(&inverse);
    assert_eq!(
        record["settings"]["reference"]["strips_use"],
        "inverse distance"
    );
    let each: Vec<f64> = record["reference"]["strips"]
        .as_array()
        .unwrap()
        .iter()
        .map(|strip| number(&strip["index"]))
        .collect();
    let (lower, upper) = (each[0].min(each[1]), each[0].max(each[1]));
    let all = references(&inverse);
    let (low, high) = span(&all);
    assert!(
        low >= lower - 1e-9 && high <= upper + 1e-9 && high - low > 0.9 * (upper - lower),
        "{low} to {high}, strips {each:?}"
    );
    assert!(
        all.iter()
            .filter(|index| (**index - lower).abs() > 0.05 * (upper - lower)
                && (**index - upper).abs() > 0.05 * (upper - lower))
            .count()
            > 20
    );
    // A reference that varies is drawn too.
    assert!(
        number(&record["uncertainty"]["drawn"]["n_kg_p90"])
            > number(&record["uncertainty"]["drawn"]["n_kg_p10"])
    );
}

#[test]
fn zones_take_the_strips_inside_them() {
    let zoned = |without: &str, zones: &[[f64; 4]]| {
        let field = two_strips();
        field.polygons(
            "soils.geojson",
            &zones
                .iter()
                .map(|zone| rectangle(*zone))
                .collect::<Vec<_>>(),
        );
        field.job(
            "strips = \"strips.geojson\"",
            &format!(
                "strips = \"strips.geojson\"\nzones = {{ path = \"soils.geojson\"{without} }}"
            ),
        );
        field
    };
    let halves = zoned("", &[[-1.0, -1.0, 72.0, 290.0], [72.0, -1.0, 241.0, 290.0]]);
    let record = mapped(&halves);
    let each: Vec<f64> = record["reference"]["strips"]
        .as_array()
        .unwrap()
        .iter()
        .map(|strip| number(&strip["index"]))
        .collect();
    let all = references(&halves);
    for index in &each {
        assert!(
            all.iter().any(|found| (found - index).abs() < 1e-9),
            "no cell takes {index}"
        );
    }
    assert!(
        all.iter()
            .all(|found| each.iter().any(|index| (found - index).abs() < 1e-9))
    );
    assert!(
        record["inputs"].to_string().contains("soils.geojson")
            && record["settings"]["reference"]["strips_use"]["zones"]["path"] == "soils.geojson"
    );
    // The third zone has no strip.
    let thirds = [
        [-1.0, -1.0, 72.0, 290.0],
        [72.0, -1.0, 168.0, 290.0],
        [168.0, -1.0, 241.0, 290.0],
    ];
    let wording = refused(&zoned("", &thirds));
    assert!(
        wording.contains("zone 3 of the 3") && wording.contains("without_strip = \"pooled\""),
        "{wording}"
    );
    let record = mapped(&zoned(", without_strip = \"pooled\"", &thirds));
    assert!(
        record["findings"]
            .to_string()
            .contains("reference.zone_without_strip")
    );
    // Ground in no zone, zones over one another, two ways at once.
    let record = mapped(&zoned("", &thirds[..2]));
    assert!(record["findings"].to_string().contains("reference.no_zone"));
    let wording = refused(&zoned(
        "",
        &[[-1.0, -1.0, 90.0, 290.0], [72.0, -1.0, 241.0, 290.0]],
    ));
    assert!(
        wording.contains("zones 1 and 2 of reference.zones overlap"),
        "{wording}"
    );
    let both = zoned("", &thirds);
    both.job(
        "strips = \"strips.geojson\"",
        "strips = \"strips.geojson\"\nstrips_use = \"nearest\"",
    );
    assert!(refused(&both).contains("reference.strips_use"));
}

#[test]
fn ramps_by_sufficiency_are_written_for_the_machine() {
    // Many zones along the edge: each is one shape with what it carries outwards.
    let field = Field::new();
    field.job(
        "folder = \"out\"\n",
        "folder = \"out\"\nformats = [\"shapefile\", \"iso11783\"]\n",
    );
    let job = fs_err::read_to_string(field.path("job.toml")).unwrap();
    let (before, rest) = job.split_once("[response]\n").unwrap();
    let (_, after) = rest.split_once("[rate]\n").unwrap();
    let ramp = "method = \"linear ramp\"\nby = \"sufficiency\"\nindex = \"NDVI\"\nlow = 0.6\nhigh = 1.0\nat_low = \"150 kg N/ha\"\nat_high = \"0 kg N/ha\"\n";
    field.write(
        "job.toml",
        format!(
            "{}[response]\n{ramp}\n[rate]\n{after}",
            before.replace("growing_days = 100\n", "")
        )
        .replace("step = \"5 kg N/ha\"", "step = \"1 kg N/ha\""),
    );
    let record = mapped(&field);
    assert!(number(&record["totals"]["zones"]) > 3.0);
    // A ramp is the user's own: it has no curve in doubt, but its reference is.
    let alone: Vec<&str> = record["uncertainty"]["drawn"]["alone"]
        .as_array()
        .unwrap()
        .iter()
        .map(|part| part["uncertainty"].as_str().unwrap())
        .collect();
    assert!(
        !alone.contains(&"curve") && alone.contains(&"place of the strip"),
        "{alone:?}"
    );
}
