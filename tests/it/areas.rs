//! A field that is driven in several ways, from outside: what GEOS (through GDAL) says of its zones, and what record, card and messages say of its headings.

use std::collections::BTreeSet;

use gdal::vector::{Geometry, LayerAccess as _};
use serde_json::Value;

use crate::field::{Field, mapped, message, rectangle, rows};
use crate::job_refusals::{faults, with_line};

/// A job's parts that are driven their own way.
const EAST: &str =
    "[[machine.area]]\npath = \"areas.geojson\"\nwhere = \"id = 1\"\nheading = \"90 grid\"\n\n";
const SLANT: &str =
    "[[machine.area]]\npath = \"areas.geojson\"\nwhere = \"id = 2\"\nheading = 33\n\n";

/// A field with areas: an eastern part, and a slanting piece that reaches over the boundary and onto the first.
fn field(areas: &str, more: &str) -> Field {
    let field = Field::new();
    let slant = vec![
        (-30.0, 150.0),
        (110.0, 130.0),
        (160.0, 260.0),
        (10.0, 330.0),
    ];
    let far = rectangle([900.0, 0.0, 950.0, 50.0]);
    field.polygons(
        "areas.geojson",
        &[
            rectangle([150.0, -20.0, 300.0, 130.0]),
            slant,
            far,
            rectangle([140.0, 20.0, 200.0, 100.0]),
        ],
    );
    field.job(
        "heading = \"0 grid\"\n",
        &format!("heading = \"0 grid\"\n{more}\n\n{areas}"),
    );
    field
}

fn shapes(field: &Field, layer: &str) -> Vec<Geometry> {
    rows(field, layer, |feature| feature.geometry().unwrap().clone())
}

/// area, row, column, zone, state, n.
type Cell = (i64, i64, i64, i64, String, f64);

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
        let rate = feature
            .field_as_double(feature.field_index("n_kg_ha").unwrap())
            .unwrap()
            .unwrap();
        (
            number("area"),
            number("row"),
            number("col"),
            number("zone"),
            state,
            rate,
        )
    })
}

/// Valid, no two overlapping, together the field: as GEOS sees it, to 1e-9 of the field.
fn check_partition(field: &Field, layer: &str) {
    let whole = shapes(field, "field").remove(0);
    let parts = shapes(field, layer);
    let mut union = Geometry::from_wkt("MULTIPOLYGON EMPTY").unwrap();
    for (k, part) in parts.iter().enumerate() {
        assert!(part.is_valid(), "{layer} {k}: {}", part.wkt().unwrap());
        let again = union.intersection(part).map_or(0.0, |common| common.area());
        assert!(
            again <= 1e-9 * whole.area(),
            "{layer} {k} overlaps by {again} m²"
        );
        union = union.union(part).unwrap();
    }
    let sum: f64 = parts.iter().map(Geometry::area).sum();
    assert!(
        (sum / whole.area() - 1.0).abs() < 1e-9,
        "{layer}: {sum} of {} m²",
        whole.area()
    );
    let off = whole.difference(&union).unwrap().area() + union.difference(&whole).unwrap().area();
    assert!(
        off <= 1e-9 * whole.area(),
        "{layer}: the union differs by {off} m²"
    );
}

/// The shapefile's polygons are valid, do not overlap, and reach over the field's edge by the overrun of 12 m all round.
fn check_machine_file(field: &Field) {
    let shapefile = fs_err::read_dir(field.path("out/machine"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.extension().is_some_and(|e| e == "shp"));
    let file = gdal::Dataset::open(shapefile.unwrap()).unwrap();
    let mut layer = file.layer(0).unwrap();
    let plane = crate::field::way("EPSG:4326", "EPSG:32633");
    let mut union = Geometry::from_wkt("MULTIPOLYGON EMPTY").unwrap();
    let mut sum = 0.0;
    for feature in layer.features() {
        let shape = feature.geometry().unwrap();
        assert!(shape.is_valid(), "{}", shape.wkt().unwrap());
        let mut shape = shape.clone();
        shape.transform_inplace(&plane).unwrap();
        sum += shape.area();
        union = union.union(&shape).unwrap();
    }
    let whole = 240.0 * 288.0 + 2.0 * 12.0 * (240.0 + 288.0) + std::f64::consts::PI * 144.0;
    // Corners are round, of chords; the crumbs that the file leaves out are below 1 m².
    assert!(
        (union.area() / whole - 1.0).abs() < 5e-4,
        "{} {whole}",
        union.area()
    );
    assert!(
        sum - union.area() < 0.5,
        "overlap of {} m²",
        sum - union.area()
    );
}

#[test]
fn zones_of_a_field_driven_three_ways_are_one_partition_of_it() {
    for more in [
        "",
        "sections = 3",
        "headland = { passes = 1, rate = \"own\" }",
    ] {
        let field = field(&format!("{EAST}{SLANT}"), more);
        mapped(&field);
        check_partition(&field, "zones");
        check_partition(&field, "cells");
        check_machine_file(&field);
        let cells = cells(&field);
        let names: BTreeSet<(i64, i64, i64)> =
            cells.iter().map(|cell| (cell.0, cell.1, cell.2)).collect();
        assert_eq!(names.len(), cells.len(), "area, row and column name a cell");
        assert_eq!(
            cells.iter().map(|cell| cell.0).collect::<BTreeSet<_>>(),
            BTreeSet::from([0, 1, 2])
        );
        let zones_of = |area: i64| {
            cells
                .iter()
                .filter(|cell| cell.0 == area)
                .map(|cell| cell.3)
                .collect::<BTreeSet<_>>()
        };
        assert!(
            zones_of(0).intersection(&zones_of(1)).next().is_some(),
            "a zone goes on across a seam"
        );
    }
}

#[test]
fn drawn_borders_stay_a_partition_across_seams() {
    let field = field(&format!("{EAST}{SLANT}"), "");
    field.job(
        "[output]\n",
        "[zones]\nsimplify = \"12 m\"\nround_corners = \"5 m\"\narea_within = 0.3\n\n[output]\n",
    );
    mapped(&field);
    check_partition(&field, "zones");
}

#[test]
fn areas_change_cells_and_hardly_the_total() {
    let (plain, driven) = (field("", ""), field(EAST, ""));
    mapped(&plain);
    mapped(&driven);
    let total = |field: &Field| field.record()["totals"]["n_kg_exact"].as_f64().unwrap();
    assert!(
        (total(&driven) / total(&plain) - 1.0).abs() < 0.02,
        "{} {}",
        total(&driven),
        total(&plain)
    );
    // Away from the area cells are what they were; 4 of 10 columns of 24 m reach into it, with 6 of 12 rows.
    let (before, after) = (cells(&plain), cells(&driven));
    let same = |cell: &&Cell| {
        before
            .iter()
            .any(|other| (other.1, other.2) == (cell.1, cell.2) && other.4 == cell.4)
    };
    assert!(after.iter().filter(|cell| cell.0 == 0).filter(same).count() >= 120 - 4 * 6);
    // 90 m by 130 m, driven east from its own corner: 4 rows by 6 columns.
    assert_eq!(
        after
            .iter()
            .filter(|cell| cell.0 == 1)
            .map(|cell| (cell.1, cell.2))
            .max(),
        Some((3, 5))
    );
    assert!(plain.record()["driven"].is_null());
    assert!(message(&plain, "machine.areas").is_none());
}

#[test]
fn every_heading_is_told() {
    let field = field(&format!("{EAST}{SLANT}"), "");
    mapped(&field);
    let record = field.record();
    let driven = record["driven"].as_array().unwrap();
    let of = |k: usize, key: &str| driven[k][key].as_f64().unwrap();
    assert_eq!(
        (
            driven.len(),
            of(0, "heading_grid_deg"),
            of(1, "heading_grid_deg"),
            of(2, "heading_true_deg")
        ),
        (3, 0.0, 90.0, 33.0)
    );
    assert!((of(1, "area_m2") - 90.0 * 130.0).abs() < 1.0, "{driven:?}");
    let field_area = record["field"]["area_m2"].as_f64().unwrap();
    assert!(((0..3).map(|k| of(k, "area_m2")).sum::<f64>() / field_area - 1.0).abs() < 1e-9);
    let settings = &record["settings"]["machine"]["areas"];
    assert_eq!(
        (
            &settings[0]["heading"]["grid_deg"],
            &settings[1]["heading"]["true_deg"]
        ),
        (&Value::from(90.0), &Value::from(33.0))
    );
    let inputs = record["inputs"].as_array().unwrap();
    assert!(
        inputs
            .iter()
            .any(|input| input["path"].as_str().unwrap().ends_with("areas.geojson"))
    );
    let card = fs_err::read_to_string(field.path("out/machine/CARD.txt")).unwrap();
    assert!(
        card.contains("DRIVING DIRECTION")
            && card.contains("33.0 degrees from true north: area 2 (areas.geojson)"),
        "{card}"
    );
    let notice = message(&field, "machine.areas").unwrap();
    assert!(
        notice.contains("driven in 3 ways")
            && notice.contains("area 2")
            && notice.contains("33.00° true"),
        "{notice}"
    );
}

#[test]
fn any_number_of_threads_writes_the_same_bytes() {
    let field = field(
        &format!("{EAST}{SLANT}"),
        "look_ahead = \"8 m\"\nfirst_pass = \"along\"",
    );
    let with = |threads: &str| {
        let wording = field.run(&["map", "--overwrite", "--threads", threads]);
        assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
        let mut outputs = field.outputs();
        // It says when it was made.
        outputs.retain(|name, _| !name.ends_with("record.json"));
        outputs
    };
    assert!(with("1") == with("3"));
}

#[test]
fn steps_are_held_along_each_drive() {
    let field = field(EAST, "");
    field.job(
        "step = \"5 kg N/ha\"\n",
        "step = \"5 kg N/ha\"\nmaximum_step = \"10 kg N/ha\"\n",
    );
    field.job(
        "[output]\n",
        "[zones]\nminimum_area = \"0 m2\"\ntotal = \"free\"\n\n[output]\n",
    );
    mapped(&field);
    let cells = cells(&field);
    let canopy = |area: i64, row: i64, col: i64| {
        cells
            .iter()
            .find(|c| (c.0, c.1, c.2) == (area, row, col) && c.4 == "canopy")
            .map(|c| c.5)
    };
    let steps: Vec<f64> = cells
        .iter()
        .filter_map(|c| Some((canopy(c.0, c.1, c.2)? - canopy(c.0, c.1 + 1, c.2)?).abs()))
        .collect();
    assert!(
        steps.len() > 60 && steps.iter().all(|&step| step <= 10.0 + 1e-9),
        "{steps:?}"
    );
}

#[test]
fn an_area_takes_a_line_or_its_own_axis() {
    let field = field(
        "[[machine.area]]\npath = \"areas.geojson\"\nwhere = \"id = 1\"\nheading = { line = \"ab.geojson\" }\n\n[[machine.area]]\npath = \"areas.geojson\"\nwhere = \"id = 2\"\nheading = \"auto\"\n",
        "",
    );
    let way = crate::field::way("EPSG:32633", "EPSG:4326");
    let points = [(160.0, 6.0), (230.0, 6.0)].map(|(x, y)| {
        let (longitude, latitude) =
            crate::field::carry(&way, crate::field::CORNER.0 + x, crate::field::CORNER.1 + y);
        [longitude, latitude]
    });
    let feature = serde_json::json!({ "type": "Feature", "properties": {}, "geometry": { "type": "LineString", "coordinates": points } });
    field.write(
        "ab.geojson",
        serde_json::json!({ "type": "FeatureCollection", "features": [feature] }).to_string(),
    );
    mapped(&field);
    check_partition(&field, "zones");
    let record = field.record();
    assert!((record["driven"][1]["heading_grid_deg"].as_f64().unwrap() - 90.0).abs() < 1e-4);
    // A pass's middle falls on the line: columns begin at −6 m, 18 m, 42 m.
    let low = rows(&field, "cells", |feature| {
        let number = |name: &str| {
            feature
                .field_as_integer64(feature.field_index(name).unwrap())
                .unwrap()
                .unwrap()
        };
        (number("area") == 1 && number("col") == 1)
            .then(|| feature.geometry().unwrap().envelope().MinY - crate::field::CORNER.1)
    });
    assert!(
        low.iter().flatten().count() > 0 && low.iter().flatten().all(|y| (y - 18.0).abs() < 1e-3),
        "{low:?}"
    );
    // The slanting piece's own axis, not the field's.
    let axis = record["driven"][2]["heading_grid_deg"].as_f64().unwrap();
    assert!(
        axis > 1.0 && (axis - 90.0).abs() > 1.0 && axis < 179.0,
        "{axis}"
    );
}

#[test]
fn areas_that_cannot_be_meant_are_refused_or_told() {
    let outside = field(
        "[[machine.area]]\npath = \"areas.geojson\"\nwhere = \"id = 3\"\nheading = 10\n",
        "",
    );
    let wording = outside.run(&["map"]);
    assert_ne!(wording.status, Some(0));
    assert!(
        wording.err.contains("area 1") && wording.err.contains("covers no ground of the field"),
        "{}",
        wording.err
    );
    let twice = field(
        &format!(
            "{EAST}[[machine.area]]\npath = \"areas.geojson\"\nwhere = \"id = 4\"\nheading = 10\n"
        ),
        "",
    );
    mapped(&twice);
    // 50 m by 80 m lie on both.
    assert!(
        message(&twice, "machine.areas_overlap")
            .unwrap()
            .contains("areas 1 and 2 of [[machine.area]] overlap by 0.40 ha (0.99 ac)")
    );
    check_partition(&twice, "zones");
    for (line, code) in [
        ("area = [{ path = \"a.geojson\" }]", "job.missing"),
        ("area = [{ heading = 3 }]", "job.missing"),
        (
            "area = [{ path = \"a.geojson\", heading = 400 }]",
            "job.out_of_range",
        ),
        (
            "area = [{ path = \"a.geojson\", heading = 40, buffer = \"2 m\" }]",
            "job.unknown_key",
        ),
    ] {
        let found = faults(&with_line("machine", line));
        assert!(
            found.iter().any(|fault| fault.code() == code),
            "{line}: {:?}",
            found
                .iter()
                .map(haulm::job::fault::Fault::code)
                .collect::<Vec<_>>()
        );
    }
}
