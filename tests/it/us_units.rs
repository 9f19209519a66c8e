//! A job in US units: what people read of it is in pounds, gallons, acres and feet.

use gdal::Dataset;
use gdal::vector::LayerAccess as _;
use regex::Regex;
use serde_json::Value;

use crate::field::{Field, Wording};

/// The field's job in US units throughout.
fn us(product: bool) -> Field {
    let field = Field::new();
    field.job("\"150 kg N/ha\"", "\"130 lb N/ac\"");
    field.job("\"5 kg N/ha\"", "\"5 lb N/ac\"");
    field.job("\"24 m\"", "\"80 ft\"");
    field.job("\"7 t/ha\"", "\"100 bu/ac\"");
    if !product {
        field.job("[product]\nname = \"UAN 28\"\n", "");
    }
    field
}

fn done(wording: &Wording) {
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
}

/// Amounts with a metric unit in a text; figures of the product's table are its maker's.
fn metric(text: &str) -> Vec<String> {
    let amount =
        Regex::new(r"[0-9.]+ (kg N/ha|kg N\b|kg/ha|t/ha|L/ha|L\b|ha\b|m²|m\b|cm\b|km\b)").unwrap();
    let one_line = text.split_whitespace().collect::<Vec<_>>().join(" ");
    amount
        .find_iter(&one_line)
        .map(|found| {
            let from = one_line[..found.start()]
                .char_indices()
                .rev()
                .nth(40)
                .map_or(0, |(at, _)| at);
            one_line[from..found.end()].to_owned()
        })
        .filter(|found| !found.contains("stated accuracy"))
        .collect()
}

#[test]
fn terminal_and_card_of_a_us_job_hold_no_metric_amount() {
    for product in [true, false] {
        let field = us(product);
        let wording = field.command(&["map", "job.toml", "--details"]);
        done(&wording);
        assert_eq!(metric(&wording.out), [""; 0]);
        let wording = field.command(&["inspect", "job.toml", "--details"]);
        done(&wording);
        assert_eq!(metric(&wording.out), [""; 0]);
        let card = fs_err::read_to_string(field.path("out/machine/CARD.txt")).unwrap();
        // The area stands in both systems: a custom applicator may bill by either.
        let card = card.replace(" (6.91 ha)", "");
        assert_eq!(metric(&card), [""; 0]);
    }
}

/// Names of a layer's columns, and its rows as numbers.
fn layer(field: &Field, file: &str, name: &str) -> (Vec<String>, Vec<Vec<Option<f64>>>) {
    let dataset = Dataset::open(field.path(file)).unwrap();
    let mut layer = dataset.layer_by_name(name).unwrap();
    let names: Vec<String> = layer.defn().fields().map(|field| field.name()).collect();
    let rows = layer
        .features()
        .map(|feature| {
            (0..names.len())
                .map(|at| feature.field_as_double(at).unwrap())
                .collect()
        })
        .collect();
    (names, rows)
}

#[test]
fn tables_of_a_us_job_have_pounds_and_acres_before_the_fixed_columns() {
    let field = us(true);
    done(&field.run(&["map"]));
    for (file, name, first) in [
        ("out/office/prescription.gpkg", "zones", 3),
        ("out/office/prescription.gpkg", "cells", 2),
    ] {
        let (names, rows) = layer(&field, file, name);
        let at = |column: &str| {
            names
                .iter()
                .position(|name| name == column)
                .unwrap_or_else(|| panic!("{column} in {names:?}"))
        };
        assert_eq!(at("n_lb_ac").min(at("area_ac")), first, "{names:?}");
        assert!(!rows.is_empty());
        for row in &rows {
            // 1 lb/ac is 1.12085 kg/ha and 1 acre 4046.86 m² (definitions of pound and international acre).
            let pairs = [
                ("n_lb_ac", "n_kg_ha", 1.120_851_156),
                ("n_p90_lb_ac", "n_p90_kg_ha", 1.120_851_156),
                ("area_ac", "area_m2", 4_046.856_422_4),
            ];
            for (us, metric, factor) in pairs {
                match (row[at(us)], row[at(metric)]) {
                    (Some(us), Some(metric)) => {
                        assert!((us * factor - metric).abs() < 0.3, "{us} {metric}");
                    }
                    (us_value, metric) => assert_eq!(us_value, metric, "{us}"),
                }
            }
        }
        // Steps are round numbers in the units that people read.
        let rates = rows.iter().filter_map(|row| row[at("n_lb_ac")]);
        for rate in rates {
            let steps = rate / 5.0;
            assert!((steps - steps.round()).abs() < 1e-6, "{rate}");
        }
    }
    let (names, _) = layer(&field, "out/office/prescription.gpkg", "field");
    assert_eq!(
        names,
        ["name", "map_id", "area_ac", "n_lb", "area_m2", "n_kg"]
    );
    let text = fs_err::read_to_string(field.path("out/office/prescription.geojson")).unwrap();
    let first = &serde_json::from_str::<Value>(&text).unwrap()["features"][0]["properties"];
    assert!(
        first["n_lb_ac"].is_number() && first["n_kg_ha"].is_number(),
        "{first}"
    );
    // A metric job has none of them.
    let metric = Field::mapped();
    let (names, _) = layer(&metric, "out/office/prescription.gpkg", "zones");
    assert!(
        !names
            .iter()
            .any(|name| name.contains("_lb_") || name == "area_ac")
    );
}

#[test]
fn nitrogen_in_two_units_is_read_as_one_rate() {
    let field = us(false);
    done(&field.run(&["map"]));
    for file in ["prescription.geojson", "prescription.gpkg"] {
        let file = format!("out/office/{file}");
        let wording = field.command(&["check", &file, "--json"]);
        let notice: Value = serde_json::from_str(&wording.out).unwrap();
        assert_eq!(
            notice["result"]["map"]["rate_column"], "n_lb_ac",
            "{}",
            wording.out
        );
        assert_eq!(notice["result"]["map"]["quantity"], "nitrogen");
        assert_eq!(notice["result"]["map"]["unit"], "lb/ac");
    }
    let wording = field.command(&[
        "convert",
        "out/office/prescription.geojson",
        "--to",
        "shapefile",
        "--output",
        "turned.shp",
    ]);
    done(&wording);
    // Two columns that do not say the same are a question, as before.
    let path = field.path("out/office/prescription.geojson");
    let text = fs_err::read_to_string(&path).unwrap();
    let mut map: Value = serde_json::from_str(&text).unwrap();
    map["features"][0]["properties"]["n_kg_ha"] = 7.0.into();
    field.write("two.geojson", map.to_string());
    let wording = field.command(&["check", "two.geojson"]);
    assert!(
        wording.out.contains("several columns may hold the rate"),
        "{}",
        wording.out
    );
}

#[test]
fn refusals_of_a_us_job_speak_its_units() {
    for (old, new, notice) in [
        (
            "\"130 lb N/ac\"",
            "\"1300 lb N/ac\"",
            &["1300 lb N/ac", "0 lb N/ac to 892.18 lb N/ac"][..],
        ),
        (
            "maximum = \"130 lb N/ac\"",
            "minimum = \"140 lb N/ac\"\nmaximum = \"130 lb N/ac\"",
            &["140 lb N/ac", "130 lb N/ac"],
        ),
        (
            "\"5 lb N/ac\"",
            "\"200 lb N/ac\"",
            &["step 200 lb N/ac", "0 lb N/ac and 130 lb N/ac"],
        ),
        (
            "maximum = \"130 lb N/ac\"",
            "maximum = \"130 lb N/ac\"\nthin = \"150 lb N/ac\"",
            &["150 lb N/ac", "130 lb N/ac"],
        ),
        (
            "maximum = \"130 lb N/ac\"",
            "maximum = \"130 lb N/ac\"\nseason_limit = \"100 lb N/ac\"\napplied_before = \"120 lb N/ac\"",
            &["limit of 100 lb N/ac", "after 120 lb N/ac"],
        ),
        (
            "working_width = \"80 ft\"",
            "",
            &["working_width = \"80 ft\""],
        ),
        ("\"80 ft\"", "\"600 ft\"", &["600 ft", "492 ft"]),
        ("maximum = \"130 lb N/ac\"\n", "", &["lb N/ac"]),
    ] {
        let field = us(true);
        field.job(old, new);
        let wording = field.command(&["check", "job.toml"]);
        assert_eq!(wording.status, Some(1), "{new}: {}", wording.out);
        let text = wording.err.split_whitespace().collect::<Vec<_>>().join(" ");
        for part in notice {
            assert!(text.contains(part), "{new}: {part:?} is not in: {text}");
        }
        let metric: Vec<String> = metric(&text);
        assert!(metric.is_empty(), "{new}: {metric:?}");
    }
}
