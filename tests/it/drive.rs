//! How the drive shapes the map, from outside: sections, headland, steps along the drive, and borders as they are drawn.

use std::path::Path;

use gdal::vector::LayerAccess as _;
use geo::Area as _;
use haulm::app::job::map_job;
use serde_json::Value;

use crate::field::Field;
use crate::job_file::{FULL, changed};
use crate::job_refusals::{faults, with_line};

fn mapped(field: &Field) {
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
}

/// A field whose job has this in its `[machine]`, and this at its end.
fn field(machine: &str, more: &str) -> Field {
    let field = Field::new();
    field.job(
        "heading = \"0 grid\"\n",
        &format!("heading = \"0 grid\"\n{machine}\n"),
    );
    field.job(
        "folder = \"out\"\n",
        &format!("folder = \"out\"\nformats = [\"geopackage\"]\n{more}\n"),
    );
    mapped(&field);
    field
}

fn message(field: &Field, code: &str) -> Option<String> {
    let record = field.record();
    let findings = record["findings"].as_array().unwrap();
    findings
        .iter()
        .find(|finding| finding["code"] == code)
        .map(|finding| finding["message"].as_str().unwrap().to_owned())
}

/// A cell: row, column, state, rate.
type Cell = (i64, i64, String, f64);

fn rows<T>(
    field: &Field,
    layer: &str,
    mut read: impl FnMut(&gdal::vector::Feature<'_>) -> T,
) -> Vec<T> {
    let options = gdal::DatasetOptions {
        open_flags: gdal::GdalOpenFlags::GDAL_OF_VECTOR,
        ..gdal::DatasetOptions::default()
    };
    let file = gdal::Dataset::open_ex(field.path("out/office/prescription.gpkg"), options).unwrap();
    let mut layer = file.layer_by_name(layer).unwrap();
    layer.features().map(|feature| read(&feature)).collect()
}

fn cells(field: &Field) -> Vec<Cell> {
    rows(field, "cells", |feature| {
        let number = |name: &str| {
            feature
                .field_as_integer64(feature.field_index(name).unwrap())
                .unwrap()
                .unwrap()
        };
        let state = feature
            .field_as_string(feature.field_index("state").unwrap())
            .unwrap()
            .unwrap();
        (
            number("row"),
            number("col"),
            state,
            feature
                .field_as_double(feature.field_index("n_kg_ha").unwrap())
                .unwrap()
                .unwrap(),
        )
    })
}

/// Outlines of zones, each valid for GEOS.
fn zones(field: &Field) -> Vec<geo::MultiPolygon<f64>> {
    rows(field, "zones", |feature| {
        let shape = feature.geometry().unwrap();
        assert!(shape.is_valid(), "{}", shape.wkt().unwrap());
        match geo::Geometry::<f64>::try_from(shape).unwrap() {
            geo::Geometry::MultiPolygon(shape) => shape,
            other => panic!("{other:?}"),
        }
    })
}

#[test]
fn the_headland_gets_its_own_rate_on_canopy_alone() {
    let plain = cells(&field("", ""));
    let one = field("headland = { passes = 1, rate = \"17 kg N/ha\" }", "");
    let cells = cells(&one);
    let rim = |row: i64, col: i64| row == 0 || row == 11 || col == 0 || col == 9;
    let mut changed = 0;
    for (before, after) in plain.iter().zip(&cells) {
        assert_eq!(
            (before.0, before.1, &before.2),
            (after.0, after.1, &after.2)
        );
        if rim(after.0, after.1) && after.2 == "canopy" {
            assert_eq!(after.3, 17.0, "{after:?}");
            changed += 1;
        } else {
            assert_eq!(before.3, after.3, "{after:?}");
        }
    }
    // 40 cells lie on the rim; two of the cloud and two of the bare ground are no canopy.
    assert_eq!(changed, 36);
    let notice = message(&one, "machine.headland").unwrap();
    assert!(
        notice.contains("1 passes or 24.0 m") && notice.contains("36 canopy cells, 2.07 ha"),
        "{notice}"
    );
    assert_eq!(one.record()["settings"]["machine"]["headland"]["passes"], 1);
    // Three of four ways across are headland: that is told as an uncertainty only when nothing else is left.
    assert!(
        message(
            &field("headland = { passes = 6, rate = \"field rate\" }", ""),
            "machine.headland"
        )
        .unwrap()
        .contains("nothing of the map is left")
    );
}

#[test]
fn sections_make_cells_narrower() {
    let field = field("sections = 2", "");
    assert_eq!(cells(&field).len(), 240);
    let settings = &field.record()["settings"];
    assert_eq!(
        (
            &settings["machine"]["sections"],
            &settings["zones"]["minimum_area_m2"]
        ),
        (&Value::from(2), &Value::from(2.0 * 12.0 * 24.0))
    );
}

#[test]
fn a_guidance_line_that_hardly_bends_is_a_straight_one() {
    let way = crate::field::way("EPSG:32633", "EPSG:4326");
    let line = |bend: f64| {
        let points = [(60.0, 0.0), (60.0 + bend, 140.0), (60.0, 288.0)].map(|(x, y)| {
            let (longitude, latitude) =
                crate::field::carry(&way, crate::field::CORNER.0 + x, crate::field::CORNER.1 + y);
            [longitude, latitude]
        });
        let feature = serde_json::json!({ "type": "Feature", "properties": {}, "geometry": { "type": "LineString", "coordinates": points } });
        serde_json::json!({ "type": "FeatureCollection", "features": [feature] }).to_string()
    };
    let field = Field::new();
    field.job(
        "heading = \"0 grid\"",
        "line = \"ab.geojson\"\nsections = 2",
    );
    field.write("ab.geojson", line(3.0));
    mapped(&field);
    assert_eq!(message(&field, "machine.line_bent"), None);
    // Passes of 24 m about x = 60 m begin at 0, 24, 48 m: columns of half a pass do too.
    assert_eq!(
        cells(&field)
            .iter()
            .filter(|cell| cell.2 != "sliver")
            .count(),
        240
    );
    // More than half a working width: the line is followed, see the tests of curves.
    field.write("ab.geojson", line(20.0));
    mapped(&field);
    assert!(
        message(&field, "machine.line_bent")
            .unwrap()
            .contains("follow the bent guidance line")
    );
}

#[test]
fn steps_along_the_drive_are_held() {
    let field = field("", "[zones]\nminimum_area = \"0 m2\"\ntotal = \"free\"");
    let maximum = |cells: &[Cell]| {
        let of = |row: i64, col: i64| {
            cells
                .iter()
                .find(|cell| (cell.0, cell.1) == (row, col) && cell.2 == "canopy")
                .map(|cell| cell.3)
        };
        cells
            .iter()
            .filter_map(|cell| Some((of(cell.0, cell.1)? - of(cell.0 + 1, cell.1)?).abs()))
            .fold(0.0, f64::max)
    };
    let before = maximum(&cells(&field));
    assert!(before > 10.0, "{before}");
    field.job(
        "step = \"5 kg N/ha\"\n",
        "step = \"5 kg N/ha\"\nmaximum_step = \"10 kg N/ha\"\n",
    );
    mapped(&field);
    assert_eq!(maximum(&cells(&field)), 10.0);
    assert!(
        message(&field, "rate.maximum_step")
            .unwrap()
            .contains("at most 10.0 kg N/ha from cell to cell")
    );
    // Bare and thin ground still steps by more, and that is told.
    assert!(message(&field, "zones.maximum_step").is_some());
}

#[test]
fn drawn_borders_are_valid_and_fill_the_field() {
    let plain = field("sections = 3", "");
    let drawn = field(
        "sections = 3",
        "[zones]\nsimplify = \"15 m\"\nround_corners = \"6 m\"\narea_within = 0.2",
    );
    let (before, after) = (zones(&plain), zones(&drawn));
    assert_eq!(before.len(), after.len());
    assert_ne!(before, after);
    let whole = 240.0 * 288.0;
    for zones in [&before, &after] {
        let area: f64 = zones.iter().map(geo::Area::unsigned_area).sum();
        // The boundary went through degrees.
        assert!((area / whole - 1.0).abs() < 1e-6, "{area}");
    }
    for (before, after) in before.iter().zip(&after) {
        assert!(
            (before.unsigned_area() - after.unsigned_area()).abs() <= 0.2 * before.unsigned_area()
        );
    }
    let settings = &drawn.record()["settings"]["zones"];
    assert_eq!(
        (
            settings["round_corners_m"].as_f64(),
            settings["area_within_share"].as_f64()
        ),
        (Some(6.0), Some(0.2))
    );
}

#[test]
fn a_tolerance_leaves_fewer_zones_and_the_total() {
    // The demo field has what a made-up square lacks: neighbours of many rates.
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo");
    let demo = fs_err::read_to_string(root.join("job.toml"))
        .unwrap()
        .replace("\"field/", &format!("\"{}/field/", root.display()));
    let with = |line: &str| {
        let field = Field::new();
        field.write(
            "job.toml",
            changed(
                &demo,
                "by           = \"cells\"",
                &format!("by           = \"cells\"\n{line}"),
            ),
        );
        mapped(&field);
        field
    };
    let (plain, joined) = (with(""), with("tolerance = \"5 kg N/ha\""));
    assert!(zones(&joined).len() < zones(&plain).len());
    let total = |field: &Field, key: &str| field.record()["totals"][key].as_f64().unwrap();
    let exact = total(&joined, "n_kg_exact");
    assert!(
        (total(&joined, "n_kg") - exact).abs()
            <= (0.005 * exact).max((total(&plain, "n_kg") - exact).abs() + 1e-6)
    );
    assert!(message(&joined, "zones.joined").is_some());
}

#[test]
fn the_smallest_zone_by_passes_and_responses() {
    let timed = changed(
        FULL,
        "cell_length = \"24 m\"",
        "cell_length = \"24 m\"\nspeed = \"12 km/h\"\ndelay = \"1 s\"\ntransition = \"2 s\"",
    );
    let text = changed(
        &timed,
        "minimum_area = \"1152 m2\"",
        "minimum_area = { passes = 2, responses = 4 }",
    );
    let settings = map_job(text.as_bytes(), Path::new("job.toml"))
        .unwrap()
        .value;
    // 2 × 24 m by 4 × (12 km/h × 3 s = 10 m).
    assert!((settings.zones.minimum_area.get() - 48.0 * 40.0).abs() < 1e-9);
    let untimed = changed(
        FULL,
        "minimum_area = \"1152 m2\"",
        "minimum_area = { passes = 2, responses = 4 }",
    );
    assert_eq!(faults(&untimed)[0].code(), "job.none_of");
}

#[test]
fn impossible_drives_are_refused() {
    for (section, line, code) in [
        ("machine", "sections = 0", "job.out_of_range"),
        ("machine", "sections = 120", "job.out_of_range"),
        ("machine", "headland = { passes = 0 }", "job.out_of_range"),
        (
            "machine",
            "headland = { rate = \"field rate\" }",
            "job.missing",
        ),
        (
            "machine",
            "headland = { passes = 2, rate = \"151 kg N/ha\" }",
            "job.out_of_range",
        ),
        (
            "machine",
            "headland = { passes = 2, width = \"24 m\" }",
            "job.unknown_key",
        ),
        ("rate", "maximum_step = \"4 kg N/ha\"", "job.out_of_range"),
        ("zones", "round_corners = \"200 m\"", "job.out_of_range"),
        ("zones", "area_within = 5", "job.out_of_range"),
        ("zones", "tolerance = \"200 kg N/ha\"", "job.out_of_range"),
        ("zones", "tolerance = 5", "job.bare_number"),
    ] {
        let found = faults(&with_line(section, line));
        assert_eq!(
            found
                .iter()
                .map(haulm::job::fault::Fault::code)
                .collect::<Vec<_>>(),
            [code],
            "{line}"
        );
    }
}
