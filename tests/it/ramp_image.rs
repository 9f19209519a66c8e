//! `haulm rate` with a nitrogen ramp on an image: steps are measured like strips, and what cannot be measured is told.

use gdal::DriverManager;
use gdal::raster::Buffer;
use gdal::spatial_ref::SpatialRef;
use serde_json::{Value, json};

use crate::field::{CORNER, EXTENT, Field, carry, way};

/// Index of each step of 20 kg N/ha.
const INDEX: [f64; 8] = [0.452, 0.508, 0.571, 0.619, 0.655, 0.648, 0.661, 0.652];
/// West and east edge of the ramp, and the length of a step. [m]
const RAMP: (f64, f64, f64) = (96.0, 126.0, 30.0);
/// Pixel side. [m]
const PIXEL: f64 = 2.0;

/// A raster of ready NDVI: steps along the ramp, 0.60 beside it, a bare patch in the second step, and spread overlap of half a step's rise on 2 m at its
/// edges, which the inset has to leave out.
fn image(field: &Field) {
    let (cols, rows) = ((EXTENT.0 / PIXEL) as usize, (EXTENT.1 / PIXEL) as usize);
    let mut values = Vec::new();
    for row in 0..rows {
        for col in 0..cols {
            let (x, y) = (
                (col as f64 + 0.5) * PIXEL,
                EXTENT.1 - (row as f64 + 0.5) * PIXEL,
            );
            let step = INDEX
                .get((y / RAMP.2) as usize)
                .filter(|_| x > RAMP.0 && x < RAMP.1);
            let at_edge = x < RAMP.0 + 2.0
                || x > RAMP.1 - 2.0
                || y % RAMP.2 < 2.0
                || y % RAMP.2 > RAMP.2 - 2.0;
            let bare = (40.0..46.0).contains(&y) && (100.0..112.0).contains(&x);
            values.push(match step {
                Some(_) if bare => 0.1_f32,
                Some(_) if at_edge => 0.9,
                Some(index) => *index as f32,
                None => 0.60,
            });
        }
    }
    let mut file = DriverManager::get_driver_by_name("GTiff")
        .unwrap()
        .create_with_band_type::<f32, _>(field.path("ready.tif"), cols, rows, 1)
        .unwrap();
    file.set_spatial_ref(&SpatialRef::from_definition("EPSG:32633").unwrap())
        .unwrap();
    file.set_geo_transform(&[CORNER.0, PIXEL, 0.0, CORNER.1 + EXTENT.1, 0.0, -PIXEL])
        .unwrap();
    file.rasterband(1)
        .unwrap()
        .write((0, 0), (cols, rows), &mut Buffer::new((cols, rows), values))
        .unwrap();
    file.close().unwrap();
}

/// Steps as polygons in longitude and latitude, each with `properties`; `narrow` takes that much off the first one on both sides.
fn steps(field: &Field, properties: &dyn Fn(usize) -> Value, narrow: f64) {
    let way = way("EPSG:32633", "EPSG:4326");
    let features: Vec<Value> = (0..INDEX.len())
        .map(|k| {
            let less = if k == 0 { narrow } else { 0.0 };
            let (south, north) = (RAMP.2 * k as f64, RAMP.2 * (k + 1) as f64);
            let (west, east) = (RAMP.0 + less, RAMP.1 - less);
            let ring: Vec<[f64; 2]> = [(west, south), (east, south), (east, north), (west, north), (west, south)]
                .iter()
                .map(|(x, y)| {
                    let (longitude, latitude) = carry(&way, CORNER.0 + x, CORNER.1 + y);
                    [longitude, latitude]
                })
                .collect();
            json!({ "type": "Feature", "properties": properties(k), "geometry": { "type": "Polygon", "coordinates": [ring] } })
        })
        .collect();
    field.write(
        "ramp.geojson",
        json!({ "type": "FeatureCollection", "features": features }).to_string(),
    );
}

fn job(field: &Field, unit: &str) {
    field.write(
        "job.toml",
        format!(
            "[field]\nname = \"Middle Piece\"\nboundary = \"boundary.geojson\"\n[imagery]\npath = \"ready.tif\"\ndate = 2026-04-14\nindex = \"band 1\"\n\
            bare_below = 0.25\n[reference]\nramp = {{ path = \"ramp.geojson\", rate = \"N_RATE\", unit = \"{unit}\" }}\nramp_index = \"NDVI\"\n\
            [rate]\nmaximum = \"150 kg N/ha\"\napplied_before = \"30 kg N/ha\"\n"
        ),
    );
}

fn ready(unit: &str, narrow: f64) -> Field {
    let field = Field::new();
    image(&field);
    steps(&field, &|k| json!({ "N_RATE": 20 * k }), narrow);
    job(&field, unit);
    field
}

fn result(field: &Field) -> Value {
    let wording = field.run(&["rate", "--json"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    serde_json::from_str::<Value>(&wording.out).unwrap()["result"].clone()
}

#[test]
fn steps_are_measured_without_edges_and_bare_ground() {
    let value = result(&ready("kg N/ha", 0.0));
    let readings = value["reference"]["readings"].as_array().unwrap();
    assert_eq!(readings.len(), INDEX.len());
    for (k, (reading, requirement)) in readings.iter().zip(INDEX).enumerate() {
        assert!(
            (reading["index"].as_f64().unwrap() - requirement).abs() < 1e-6,
            "step {}: {reading} instead of {requirement}",
            k + 1
        );
        assert_eq!(reading["rate_kg_n_ha"].as_f64().unwrap(), 20.0 * k as f64);
    }
    // As with the same numbers read by hand: 70 less 30, to the nearest 5.
    assert_eq!(
        (
            &value["reference"]["answer"],
            value["rate"]["n_kg_ha"].as_f64()
        ),
        (&"plateau".into(), Some(40.0))
    );
    assert_eq!(
        value["settings"]["reference"]["source"]["ramp"]["steps"]["path"],
        "ramp.geojson"
    );
    assert_eq!(value["settings"]["imagery"]["path"], "ready.tif");
}

#[test]
fn the_unit_of_the_column_counts() {
    let value = result(&ready("lb N/ac", 0.0));
    let start = |value: &Value| {
        value["reference"]["linear_plateau"]["start_kg_n_ha"]
            .as_f64()
            .unwrap()
    };
    let factor = start(&value) / start(&result(&ready("kg N/ha", 0.0)));
    assert!((factor - 1.120_851_156).abs() < 1e-6, "{factor}");
}

#[test]
fn a_step_too_narrow_is_left_out() {
    let value = result(&ready("kg N/ha", 9.0));
    assert_eq!(
        value["reference"]["readings"].as_array().unwrap().len(),
        INDEX.len() - 1
    );
    let notice = value["findings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|finding| finding["code"] == "ramp.step")
        .unwrap();
    assert!(
        notice["message"]
            .as_str()
            .unwrap()
            .contains("step 1 of the ramp"),
        "{notice}"
    );
}

#[test]
fn what_is_refused() {
    let refused = |field: &Field, requirement: &[&str]| {
        let wording = field.run(&["rate"]);
        assert_eq!(wording.status, Some(1), "{}{}", wording.out, wording.err);
        for part in requirement {
            assert!(wording.err.contains(part), "{part} in {}", wording.err);
        }
    };
    let field = ready("kg N/ha", 0.0);
    steps(&field, &|k| json!({ "N_RATE": format!("{k}") }), 0.0);
    refused(&field, &["error[vector.column]", "N_RATE (text)"]);
    steps(
        &field,
        &|k| {
            if k == 3 {
                json!({ "N_RATE": null })
            } else {
                json!({ "N_RATE": 20 * k })
            }
        },
        0.0,
    );
    refused(&field, &["step 4 of the ramp has no rate"]);
    steps(&field, &|k| json!({ "N_RATE": 1200 * k }), 0.0);
    refused(&field, &["step 2 of the ramp has a rate of 1200.0 kg N/ha"]);
    field.job("unit = \"kg N/ha\"", "unit = \"kg/ha\"");
    refused(&field, &["reference.ramp.unit"]);
    field.job(", unit = \"kg/ha\"", "");
    refused(&field, &["job.missing", "reference.ramp.unit"]);
    let field = ready("kg N/ha", 0.0);
    field.polygons(
        "boundary.geojson",
        &[crate::field::rectangle([0.0, 0.0, EXTENT.0, 200.0])],
    );
    refused(&field, &["step 8 of the ramp lies with only"]);
}
