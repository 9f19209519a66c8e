//! What a map and a check of one must say, from outside: totals that a step loses, images of unknown age, rates beside water, rates that nobody spreads.

use serde_json::json;

use crate::check_map::{Bench, block, collection, faults};
use crate::field::{CORNER, EXTENT, Field, Image, mapped, message, rectangle};

#[test]
fn a_step_that_loses_the_total_is_told_with_one_that_keeps_it() {
    let field = Field::new();
    field.job("step = \"5 kg N/ha\"", "step = \"120 kg N/ha\"");
    mapped(&field);
    let notice = message(&field, "zones.total").unwrap();
    let totals = field.record()["totals"].clone();
    let (held, asked) = (
        totals["n_kg"].as_f64().unwrap(),
        totals["n_kg_exact"].as_f64().unwrap(),
    );
    assert!((held / asked - 1.0).abs() > 0.02, "{held} {asked}");
    for part in [
        format!("the zones hold {held:.1} kg N, their cells ask for {asked:.1} kg N"),
        "steps of 120.0 kg N/ha".to_owned(),
    ] {
        assert!(notice.contains(&part), "{part}: {notice}");
    }
    // The step that it names keeps the total.
    let step = notice
        .split("a step of ")
        .nth(1)
        .and_then(|text| text.split(" would keep it").next())
        .unwrap();
    field.job("step = \"120 kg N/ha\"", &format!("step = {step:?}"));
    let wording = field.run(&["map", "--overwrite"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    assert_eq!(message(&field, "zones.total"), None);
    let totals = field.record()["totals"].clone();
    let (held, asked) = (
        totals["n_kg"].as_f64().unwrap(),
        totals["n_kg_exact"].as_f64().unwrap(),
    );
    assert!((held / asked - 1.0).abs() <= 0.02, "{held} {asked}");
    // The usual step says nothing.
    let field = Field::mapped();
    assert_eq!(message(&field, "zones.total"), None);
    assert_eq!(message(&field, "rate.one_step"), None);
}

#[test]
fn pounds_are_told_in_pounds() {
    let field = Field::new();
    for (old, new) in [
        ("\"7 t/ha\"", "\"100 bu/ac\""),
        ("maximum = \"150 kg N/ha\"", "maximum = \"120 lb N/ac\""),
        ("step = \"5 kg N/ha\"", "step = \"100 lb N/ac\""),
        ("working_width = \"24 m\"", "working_width = \"80 ft\""),
    ] {
        field.job(old, new);
    }
    mapped(&field);
    let notice = message(&field, "zones.total").unwrap();
    assert!(
        notice.contains("lb N, their cells ask for") && notice.contains("steps of 100.0 lb N/ac"),
        "{notice}"
    );
}

#[test]
fn an_image_whose_age_nobody_checks() {
    let field = Field::mapped();
    let notice = message(&field, "image.age_unchecked").unwrap();
    assert!(
        notice.contains("2026-04-14") && notice.contains("14 days"),
        "{notice}"
    );
    let field = Field::new();
    field.job("[output]", "[application]\ndate = 2026-04-18\n\n[output]");
    mapped(&field);
    assert_eq!(message(&field, "image.age_unchecked"), None);
}

#[test]
fn the_highest_rates_beside_a_pond_are_to_be_walked_first() {
    // The field's pale patch, 48 m by 72 m, has the highest rates; a pond lies in its middle.
    let field = Field::new();
    field.polygons("pond.geojson", &[rectangle([46.0, 80.0, 52.0, 88.0])]);
    field.job(
        "[imagery]",
        "[[field.exclude]]\npath = \"pond.geojson\"\n\n[imagery]",
    );
    // Two widths are 24 m, so that other ground than the patch is beside nothing.
    field.job(
        "working_width = \"24 m\"",
        "working_width = \"12 m\"\ncell_length = \"12 m\"",
    );
    mapped(&field);
    let notice = message(&field, "rate.beside_exclusion").unwrap();
    assert!(
        notice.len() <= 300 && notice.contains("within 24 m"),
        "{notice}"
    );
    let number = |after: &str| -> f64 {
        let text = notice.split(after).nth(1).unwrap();
        let end = text
            .find(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'))
            .unwrap();
        text[..end].trim_end_matches('.').parse().unwrap()
    };
    let (x, y) = crate::field::carry(
        &crate::field::way("EPSG:4326", "EPSG:32633"),
        number("longitude "),
        number("latitude "),
    );
    assert!(
        (20.0..76.0).contains(&(x - CORNER.0)) && (44.0..124.0).contains(&(y - CORNER.1)),
        "{x} {y}"
    );
    let card = fs_err::read_to_string(field.path("out/machine/CARD.txt")).unwrap();
    assert!(
        card.contains("WALK FIRST\r\n") && card.contains("pale by water?"),
        "{card}"
    );
    // A pond far from the patch is no reason.
    let field = Field::new();
    field.polygons("pond.geojson", &[rectangle([200.0, 100.0, 230.0, 130.0])]);
    field.job(
        "[imagery]",
        "[[field.exclude]]\npath = \"pond.geojson\"\n\n[imagery]",
    );
    mapped(&field);
    assert_eq!(message(&field, "rate.beside_exclusion"), None);
    let card = fs_err::read_to_string(field.path("out/machine/CARD.txt")).unwrap();
    assert!(!card.contains("WALK FIRST"));
}

#[test]
fn ground_that_is_even_is_beside_nothing() {
    // One index all over, strip apart: no rate is higher than another.
    let field = Field::new();
    field.image(&Image {
        strip: 0.66,
        ..Image::default()
    });
    field.polygons(
        "pond.geojson",
        &[rectangle([EXTENT.0 - 40.0, 100.0, EXTENT.0 - 10.0, 130.0])],
    );
    field.job(
        "[imagery]",
        "[[field.exclude]]\npath = \"pond.geojson\"\n\n[imagery]",
    );
    mapped(&field);
    assert_eq!(message(&field, "rate.beside_exclusion"), None);
}

#[test]
fn rates_that_nobody_spreads() {
    let notice = |column: &str, rate: f64, product: Option<&str>, maximum: Option<&str>| {
        let bench = Bench::new();
        let zone = json!({ "type": "Feature", "properties": { column: rate }, "geometry": { "type": "Polygon", "coordinates": [block(0.0, 0.0, 2.0, 2.0)] } });
        let map = bench.put("map.geojson", collection(&[zone]).to_string().as_bytes());
        let mut request = bench.ask(map);
        request.product = product.map(str::to_owned);
        request.maximum = maximum.map(str::to_owned);
        let found = faults(&request);
        let codes = found.iter().map(|fault| {
            format!(
                "{} {}",
                fault["severity"].as_str().unwrap(),
                fault["code"].as_str().unwrap()
            )
        });
        codes.collect::<Vec<_>>()
    };
    let (stop, caution) = ("stop rate.implausible", "caution rate.implausible");
    // Of anything; of what the product named holds: 600 kg/ha of urea are 276 kg N/ha, 300 gal/ac of a 28 % solution some 1000; lime and slurry get a word.
    for (column, rate, product, due) in [
        ("KG_HA", 154_500.0, None, stop),
        ("GAL_AC", 999.0, None, stop),
        ("KG_HA", 600.0, Some("urea"), stop),
        ("GAL_AC", 300.0, Some("UAN 28"), stop),
        ("KG_HA", 4_000.0, None, caution),
        ("GAL_AC", 200.0, None, caution),
    ] {
        assert_eq!(
            notice(column, rate, product, None),
            [due],
            "{column} {rate}"
        );
    }
    for (column, rate, product) in [
        ("KG_HA", 1_600.0, None),
        ("L_HA", 700.0, None),
        ("LB_AC", 400.0, Some("urea")),
        ("GAL_AC", 60.0, Some("UAN 28")),
    ] {
        assert!(
            notice(column, rate, product, None).is_empty(),
            "{column} {rate}"
        );
    }
    // Who says so by name may.
    assert!(notice("KG_HA", 40_000.0, None, Some("40000 kg/ha")).is_empty());
}
