//! A bent guidance line, from outside: cells against distances from the line that GEOS (through GDAL) measures, zones as one partition, and lines that cannot be followed.

use gdal::vector::{Geometry, LayerAccess as _};

use crate::field::{CORNER, Field, carry, mapped, message, ndvi, rectangle, rows, way};

/// An arc about a place east of the field: from its south to its north, the field on the outside of the bend and the line through its middle.
fn arc(radius: f64) -> Vec<(f64, f64)> {
    (-30..=30)
        .map(|k| {
            let angle = libm::asin(230.0 / radius) * f64::from(k) / 30.0;
            (
                120.0 + radius - radius * libm::cos(angle),
                144.0 + radius * libm::sin(angle),
            )
        })
        .collect()
}

fn line(field: &Field, points: &[(f64, f64)]) {
    let way = way("EPSG:32633", "EPSG:4326");
    let points: Vec<[f64; 2]> = points
        .iter()
        .map(|(x, y)| {
            let (longitude, latitude) = carry(&way, CORNER.0 + x, CORNER.1 + y);
            [longitude, latitude]
        })
        .collect();
    let feature = serde_json::json!({ "type": "Feature", "properties": {}, "geometry": { "type": "LineString", "coordinates": points } });
    field.write(
        "curve.geojson",
        serde_json::json!({ "type": "FeatureCollection", "features": [feature] }).to_string(),
    );
}

fn field(radius: f64, more: &str) -> Field {
    let field = Field::new();
    field.job(
        "heading = \"0 grid\"",
        &format!("heading = {{ line = \"curve.geojson\" }}\n{more}"),
    );
    line(&field, &arc(radius));
    field
}

/// Row, column, area and shape of each cell.
fn cells(field: &Field) -> Vec<(i64, i64, f64, Geometry)> {
    rows(field, "cells", |feature| {
        let number = |name: &str| {
            feature
                .field_as_integer64(feature.field_index(name).unwrap())
                .unwrap()
                .unwrap()
        };
        let area = feature
            .field_as_double(feature.field_index("area_m2").unwrap())
            .unwrap()
            .unwrap();
        (
            number("row"),
            number("col"),
            area,
            feature.geometry().unwrap().clone(),
        )
    })
}

fn check_partition(field: &Field, layer: &str) {
    let whole = rows(field, "field", |feature| {
        feature.geometry().unwrap().clone()
    })
    .remove(0);
    let parts = rows(field, layer, |feature| feature.geometry().unwrap().clone());
    let mut union = Geometry::from_wkt("MULTIPOLYGON EMPTY").unwrap();
    for (k, part) in parts.iter().enumerate() {
        assert!(part.is_valid(), "{layer} {k}: {}", part.wkt().unwrap());
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

#[test]
fn passes_lie_side_by_side_along_the_line() {
    const RADIUS: f64 = 700.0;
    for more in ["", "sections = 2"] {
        let field = field(RADIUS, more);
        mapped(&field);
        check_partition(&field, "cells");
        check_partition(&field, "zones");
        let width = if more.is_empty() { 24.0 } else { 12.0 };
        let cells = cells(&field);
        // The line's middle is a pass's middle. Every corner of every cell lies between its column's two distances from the centre of the arc; chords stay within 0.6 m of the arc that they stand for.
        let mut columns = std::collections::BTreeSet::new();
        for (row, col, area, shape) in &cells {
            let outline = match geo::Geometry::<f64>::try_from(shape).unwrap() {
                geo::Geometry::MultiPolygon(shape) => shape,
                other => panic!("{other:?}"),
            };
            let offs: Vec<f64> = outline
                .iter()
                .flat_map(|part| part.exterior().coords())
                .map(|c| {
                    RADIUS - libm::hypot(c.x - CORNER.0 - 120.0 - RADIUS, c.y - CORNER.1 - 144.0)
                })
                .collect();
            // The arc turns to the right: places to the left of it lie further out.
            let offs: Vec<f64> = offs.iter().map(|off| -off).collect();
            let low = offs.iter().copied().fold(f64::INFINITY, f64::min);
            let column = libm::floor((low + 12.9) / width) as i64;
            for off in &offs {
                let right = column as f64 * width - 12.0;
                assert!(
                    *off > right - 0.9 && *off < right + width + 0.9,
                    "row {row} col {col}: {off} m, column from {right} m"
                );
            }
            if *area > 0.2 * width * 24.0 {
                columns.insert((*col, column));
            }
        }
        // One and the same number all along: columns and distances pair off.
        let numbers: std::collections::BTreeSet<i64> =
            columns.iter().map(|pair| pair.0 - pair.1).collect();
        assert_eq!(numbers.len(), 1, "{columns:?}");
        let names: std::collections::BTreeSet<(i64, i64)> =
            cells.iter().map(|cell| (cell.0, cell.1)).collect();
        assert_eq!(names.len(), cells.len());
        let notice = message(&field, "machine.line_bent").unwrap();
        assert!(notice.contains("follow the bent guidance line"), "{notice}");
    }
}

#[test]
fn totals_readings_and_machine_files_hold_along_a_curve() {
    // A line that hardly bends lays the same passes straight on.
    let (plain, curved) = (
        field(100_000.0, ""),
        field(
            700.0,
            "headland = { passes = 1, rate = \"own\" }\nlook_ahead = \"8 m\"\nfirst_pass = \"along\"",
        ),
    );
    mapped(&plain);
    mapped(&curved);
    assert_eq!(message(&plain, "machine.line_bent"), None);
    // Other cells cut the field's patches otherwise: totals are alike, not equal.
    let total = |field: &Field| field.record()["totals"]["n_kg_exact"].as_f64().unwrap();
    assert!(
        (total(&curved) / total(&plain) - 1.0).abs() < 0.05,
        "{} {}",
        total(&curved),
        total(&plain)
    );
    // Every cell has the mean of what the image shows within its own outline, looked up place by place.
    let mut compared = 0;
    for (outline, index) in rows(&curved, "cells", |feature| {
        let index = feature
            .field_as_double(feature.field_index("index").unwrap())
            .unwrap();
        (
            geo::Geometry::<f64>::try_from(feature.geometry().unwrap()).unwrap(),
            index,
        )
    }) {
        let around = geo::BoundingRect::bounding_rect(&outline).unwrap();
        let (west, south) = (around.min().x - CORNER.0, around.min().y - CORNER.1);
        let places = (0..80).flat_map(|i| {
            (0..80).map(move |k| (west + 0.5 + f64::from(i), south + 0.5 + f64::from(k)))
        });
        let inside = places.filter(|p| {
            geo::Contains::contains(&outline, &geo::Point::new(p.0 + CORNER.0, p.1 + CORNER.1))
        });
        let values: Vec<Option<f64>> = inside.map(|p| ndvi(0.74, p.0, p.1)).collect();
        let green: Vec<f64> = values
            .iter()
            .copied()
            .flatten()
            .filter(|value| *value > 0.4)
            .collect();
        if green.len() == values.len() && values.len() > 150 {
            let mean = green.iter().sum::<f64>() / green.len() as f64;
            assert!((index.unwrap() - mean).abs() < 0.004, "{index:?} {mean}");
            compared += 1;
        }
    }
    assert!(compared > 60, "{compared}");
    let outputs = curved.outputs();
    for name in [
        "machine/CARD.txt",
        "machine/TASKDATA/TASKDATA.XML",
        "office/nitrogen.tif",
    ] {
        assert!(outputs.contains_key(name), "{name}: {:?}", outputs.keys());
    }
    let shapes = curved.path("out/machine");
    let shapefile = fs_err::read_dir(shapes)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.extension().is_some_and(|e| e == "shp"))
        .unwrap();
    let file = gdal::Dataset::open(shapefile).unwrap();
    let mut layer = file.layer(0).unwrap();
    assert!(
        layer
            .features()
            .all(|feature| feature.geometry().unwrap().is_valid())
    );
}

#[test]
fn a_curve_and_an_area_lie_side_by_side() {
    let field = field(700.0, "");
    field.polygons("areas.geojson", &[rectangle([130.0, -20.0, 300.0, 120.0])]);
    field.job(
        "[output]\n",
        "[[machine.area]]\npath = \"areas.geojson\"\nheading = 70\n\n[output]\n",
    );
    mapped(&field);
    check_partition(&field, "cells");
    check_partition(&field, "zones");
    assert_eq!(field.record()["driven"].as_array().unwrap().len(), 2);
}

#[test]
fn a_line_that_cannot_be_followed_is_refused_with_place_and_radius() {
    // The field reaches 120 m and more to the inside of a bend of 232 m in two arms of 115 m: there its parallels end.
    let tight = Field::new();
    tight.job(
        "heading = \"0 grid\"",
        "heading = { line = \"curve.geojson\" }",
    );
    line(
        &tight,
        &[
            (60.0, 0.0),
            (60.0, 130.0),
            (75.0, 155.0),
            (105.0, 165.0),
            (240.0, 165.0),
        ],
    );
    let wording = tight.run(&["map"]);
    assert_ne!(wording.status, Some(0));
    assert!(
        wording.err.contains("bends with a radius of")
            && wording.err.contains("longitude 15.84")
            && wording.err.contains("[[machine.area]]"),
        "{}",
        wording.err
    );
    line(
        &tight,
        &[
            (60.0, 0.0),
            (60.0, 250.0),
            (90.0, 270.0),
            (120.0, 250.0),
            (120.0, 0.0),
        ],
    );
    let wording = tight.run(&["map"]);
    assert!(wording.err.contains("turns by 180°"), "{}", wording.err);
}
