//! Fields with exclusions as GIS programs leave them get their whole map: every format is written, every polygon is valid for GEOS, and nothing is put on ground that must get nothing.

use std::process::Command;

use gdal::vector::{Geometry, LayerAccess as _};
use gdal::{Dataset, DatasetOptions, GdalOpenFlags};

use crate::field::{CORNER, EXTENT, Field, carry, mapped, message, rectangle, way};
use crate::rough_field::{RoughField, parts};

/// So much of an exclusion a zone may cover by rounding, and no more. \[m²\]
const OVERLAP: f64 = 1.0;
/// Files that a map must have.
const FILES: [&str; 10] = [
    "machine/CARD.txt",
    "machine/ROUGH_PI.shp",
    "machine/TASKDATA/TASKDATA.XML",
    "office/TASKDATA.zip",
    "office/nitrogen.tif",
    "office/prescription.fgb",
    "office/prescription.geojson",
    "office/prescription.gpkg",
    "office/prescription.kml",
    "office/record.json",
];

/// Shapes of a layer, each with its rate where it has one.
fn shapes(
    path: &std::path::Path,
    layer: Option<&str>,
    rates: &[&str],
) -> Vec<(Geometry, Option<f64>)> {
    let options = DatasetOptions {
        open_flags: GdalOpenFlags::GDAL_OF_VECTOR,
        ..DatasetOptions::default()
    };
    let file = Dataset::open_ex(path, options).unwrap();
    let mut layer = match layer {
        Some(name) => file.layer_by_name(name).unwrap(),
        None => file.layer(0).unwrap(),
    };
    layer
        .features()
        .map(|feature| {
            let rate = rates.iter().find_map(|name| {
                let at = feature.field_index(name).ok()?;
                feature.field_as_double(at).ok().flatten()
            });
            (feature.geometry().unwrap().clone(), rate)
        })
        .collect()
}

/// The program that is tried; the variable HAULM names another, for comparing.
fn program() -> String {
    std::env::var("HAULM").unwrap_or_else(|_| env!("CARGO_BIN_EXE_haulm").to_owned())
}

/// What is wrong with the map of a seed; nothing when all is well.
fn faults(seed: u64) -> Vec<String> {
    let field = RoughField::of(seed);
    let done = Command::new(program())
        .arg("map")
        .arg(field.folder.path().join("job.toml"))
        .output()
        .unwrap();
    let wording = String::from_utf8_lossy(&done.stderr)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    if done.status.code() != Some(0) {
        let notice = String::from_utf8_lossy(&done.stdout);
        let stop = notice
            .lines()
            .find(|line| line.contains("stop"))
            .unwrap_or_default();
        return vec![format!("exit {:?}: {wording} {stop}", done.status.code())];
    }
    let out = field.folder.path().join("out");
    let mut found = Vec::new();
    for name in FILES {
        if !out.join(name).exists() {
            found.push(format!("{name} is missing"));
        }
    }
    let record: serde_json::Value =
        serde_json::from_slice(&fs_err::read(out.join("office/record.json")).unwrap()).unwrap();
    let of_field = |key: &str| record["field"][key].as_f64().unwrap();
    let (area, boundary) = (of_field("area_m2"), of_field("boundary_m2"));
    let taken = of_field("exclusions_m2") + of_field("slivers_m2");
    if (boundary - taken - area).abs() > 1e-9 * boundary {
        found.push(format!("{boundary} − {taken} is not {area} m²"));
    }
    let gpkg = "office/prescription.gpkg";
    for (name, layer, rates, geographic) in [
        (gpkg, Some("zones"), &["n_kg_ha"][..], false),
        (gpkg, Some("cells"), &["n_kg_ha"], false),
        (gpkg, Some("field"), &[], false),
        (gpkg, Some("strips"), &[], false),
        ("office/prescription.geojson", None, &["n_kg_ha"], true),
        ("office/prescription.fgb", None, &["n_kg_ha"], false),
        ("office/prescription.kml", None, &["n_kg_ha"], true),
        ("machine/ROUGH_PI.shp", None, &["L_HA"], true),
    ] {
        if !out.join(name).exists() {
            continue;
        }
        let what = format!("{name} {}", layer.unwrap_or_default());
        let shapes = shapes(&out.join(name), layer, rates);
        if shapes.is_empty() {
            found.push(format!("{what}: empty"));
        }
        let mut cells = 0.0;
        for (k, (shape, rate)) in shapes.iter().enumerate() {
            if shape.is_empty() || !shape.is_valid() {
                found.push(format!("{what}: {k} is not valid"));
            }
            cells += shape.area();
            if rates.is_empty() || *rate == Some(0.0) {
                continue;
            }
            let shape = if geographic {
                field.on_plane(shape)
            } else {
                shape.clone()
            };
            let over: f64 = field
                .kept_clear
                .iter()
                .flat_map(parts)
                .map(|clear| clear.buffer(0.0, 1).unwrap())
                .filter_map(|clear| shape.intersection(&clear))
                .map(|over| over.area())
                .sum();
            if over > OVERLAP {
                found.push(format!("{what}: {k} covers {over:.3} m² of exclusions"));
            }
        }
        // GEOS adds up figures of the plane with their millions of metres: that costs three digits.
        if layer == Some("cells") && (cells / area - 1.0).abs() > 1e-7 && !left_out(&field) {
            found.push(format!("cells have {cells} m², the field {area} m²"));
        }
    }
    found
}

fn left_out(field: &RoughField) -> bool {
    fs_err::read_to_string(field.folder.path().join("job.toml"))
        .unwrap()
        .contains("strips = \"leave\"")
}

fn run(seeds: std::ops::Range<u64>) {
    let count = seeds.end - seeds.start;
    let faulty: Vec<String> = seeds
        .filter_map(|seed| {
            let faults = faults(seed);
            (!faults.is_empty()).then(|| format!("seed {seed}: {}", faults.join("; ")))
        })
        .collect();
    assert!(
        faulty.is_empty(),
        "{} of {count} fields:\n{}",
        faulty.len(),
        faulty.join("\n")
    );
}

#[test]
fn fields_with_rough_exclusions_get_their_whole_map() {
    run(0..50);
}

#[test]
fn overlapping_parts_of_an_exclusion_all_get_nothing() {
    let field = Field::new();
    // Two squares that overlap by 1 050 m², a square inside one of them, and one drawn round twice.
    let square =
        |west: f64, south: f64, side: f64| rectangle([west, south, west + side, south + side]);
    let mut twice = square(10.0, 10.0, 20.0);
    twice.extend(twice.clone());
    let parts = [
        square(10.0, 100.0, 80.0),
        square(55.0, 150.0, 50.0),
        square(20.0, 110.0, 10.0),
        twice,
    ];
    let way = way("EPSG:32633", "EPSG:4326");
    let corners = |ring: &Vec<(f64, f64)>| {
        let places = ring.iter().chain(ring.first());
        let carried = places.map(|(x, y)| carry(&way, CORNER.0 + x, CORNER.1 + y));
        serde_json::json!([carried.map(|(x, y)| [x, y]).collect::<Vec<_>>()])
    };
    let parts: Vec<serde_json::Value> = parts.iter().map(corners).collect();
    field.write(
        "wet.geojson",
        serde_json::json!({ "type": "Feature", "properties": {}, "geometry": { "type": "MultiPolygon", "coordinates": parts } })
            .to_string(),
    );
    field.job(
        "[imagery]",
        "[[field.exclude]]\npath = \"wet.geojson\"\n\n[imagery]",
    );
    mapped(&field);
    let area = field.record()["field"]["area_m2"].as_f64().unwrap();
    let expected = EXTENT.0 * EXTENT.1 - (6_400.0 + 2_500.0 - 1_050.0) - 400.0;
    // 1 mm of outline more: 470 m of it.
    assert!((area - expected + 0.47).abs() < 0.1, "{area} {expected}");
    assert!(message(&field, "boundary.repaired").is_some());
}

#[test]
fn a_format_that_cannot_be_written_is_told_and_the_others_are_there() {
    let field = RoughField::across_the_date_line();
    let job = field.folder.path().join("job.toml");
    let text = fs_err::read_to_string(&job).unwrap();
    let map = |formats: &str| {
        let begin = text.find("formats =").unwrap();
        let end = begin + text[begin..].find('\n').unwrap();
        let text = format!("{}formats = {formats}{}", &text[..begin], &text[end..]);
        fs_err::write(&job, text).unwrap();
        let done = Command::new(program())
            .args(["map", "--details"])
            .arg(&job)
            .output()
            .unwrap();
        let record = fs_err::read(field.folder.path().join("out/office/record.json"));
        let record: serde_json::Value =
            serde_json::from_slice(&record.unwrap_or_default()).unwrap_or_default();
        let codes: Vec<String> = record["findings"]
            .as_array()
            .into_iter()
            .flatten()
            .map(|finding| finding["code"].as_str().unwrap().to_owned())
            .collect();
        let there = |name: &str| field.folder.path().join("out").join(name).exists();
        let files = (
            there("office/prescription.gpkg"),
            there("office/prescription.geojson"),
            there("machine"),
        );
        let wording = [&done.stderr[..], &done.stdout[..]]
            .concat()
            .split(u8::is_ascii_whitespace)
            .filter(|word| !word.is_empty())
            .map(|word| String::from_utf8_lossy(word))
            .collect::<Vec<_>>()
            .join(" ");
        (done.status.code(), codes, files, wording)
    };
    // The office's GeoJSON alone fails.
    let (status, codes, files, wording) = map(r#"["geopackage", "geojson", "geotiff"]"#);
    assert_eq!((status, files), (Some(0), (true, false, true)), "{wording}");
    assert!(
        codes.iter().any(|code| code == "output.format"),
        "{codes:?}"
    );
    assert!(wording.contains("runs from longitude"), "{wording}");
    // A file of the machine fails, so the machine gets none.
    let (status, codes, files, wording) = map(r#"["geopackage", "iso11783", "shapefile"]"#);
    assert_eq!(
        (status, files),
        (Some(1), (true, false, false)),
        "{wording}"
    );
    assert!(
        codes.iter().any(|code| code == "output.machine"),
        "{codes:?}"
    );
    assert!(wording.contains("runs from longitude"), "{wording}");
}

#[test]
#[ignore = "takes minutes: run by hand with --ignored"]
fn five_hundred_fields_with_rough_exclusions_get_their_whole_map() {
    run(1000..1500);
}
