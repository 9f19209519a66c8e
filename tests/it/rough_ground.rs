//! Fields with exclusions as GIS programs leave them get their whole map: every format is written, every polygon is valid for GEOS, and nothing is put on ground that must get nothing.

use std::process::Command;

use gdal::vector::{Geometry, LayerAccess as _};
use gdal::{Dataset, DatasetOptions, GdalOpenFlags};

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

/// What is wrong with the map of a seed; nothing when all is well.
fn faults(seed: u64) -> Vec<String> {
    let field = RoughField::of(seed);
    let done = Command::new(env!("CARGO_BIN_EXE_haulm"))
        .arg("map")
        .arg(field.folder.path().join("job.toml"))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&done.stderr)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    if done.status.code() != Some(0) {
        let told = String::from_utf8_lossy(&done.stdout);
        let stop = told
            .lines()
            .find(|line| line.contains("stop"))
            .unwrap_or_default();
        return vec![format!("exit {:?}: {said} {stop}", done.status.code())];
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
    let area = record["field"]["area_m2"].as_f64().unwrap();
    let boundary = record["field"]["boundary_m2"].as_f64().unwrap();
    let taken = record["field"]["exclusions_m2"].as_f64().unwrap()
        + record["field"]["slivers_m2"].as_f64().unwrap();
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
        ("office/prescription.fgb", None, &["n_kg_ha", "rate"], true),
        ("office/prescription.kml", None, &["n_kg_ha", "rate"], true),
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
fn a_format_that_cannot_be_written_is_told_and_the_others_are_there() {
    let field = RoughField::across_the_date_line();
    let job = field.folder.path().join("job.toml");
    let text = fs_err::read_to_string(&job).unwrap();
    let map = |formats: &str| {
        let begin = text.find("formats =").unwrap();
        let end = begin + text[begin..].find('\n').unwrap();
        let text = format!("{}formats = {formats}{}", &text[..begin], &text[end..]);
        fs_err::write(&job, text).unwrap();
        let done = Command::new(env!("CARGO_BIN_EXE_haulm"))
            .arg("map")
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
        let said = String::from_utf8_lossy(&done.stderr).into_owned()
            + &String::from_utf8_lossy(&done.stdout);
        (done.status.code(), codes, files, said)
    };
    // The office's GeoJSON alone fails.
    let (status, codes, files, said) = map(r#"["geopackage", "geojson", "geotiff"]"#);
    assert_eq!((status, files), (Some(0), (true, false, true)), "{said}");
    assert!(
        codes.iter().any(|code| code == "output.format"),
        "{codes:?}"
    );
    assert!(said.contains("180° meridian"), "{said}");
    // A file of the machine fails, so the machine gets none.
    let (status, codes, files, said) = map(r#"["geopackage", "iso11783", "shapefile"]"#);
    assert_eq!((status, files), (Some(1), (true, false, false)), "{said}");
    assert!(
        codes.iter().any(|code| code == "output.machine"),
        "{codes:?}"
    );
    assert!(said.contains("180° meridian"), "{said}");
}

#[test]
#[ignore = "takes minutes: run by hand with --ignored"]
fn five_hundred_fields_with_rough_exclusions_get_their_whole_map() {
    run(1000..1500);
}
