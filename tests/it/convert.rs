//! `haulm convert` from outside: every format into every other, what is lost is told, and nothing is overwritten or left behind.

use std::path::Path;

use serde_json::Value;

use crate::field::{Field, files};

const FORMATS: [(&str, &str); 6] = [
    ("geopackage", "gpkg"),
    ("geojson", "geojson"),
    ("shapefile", "shp"),
    ("geotiff", "tif"),
    ("kml", "kml"),
    ("flatgeobuf", "fgb"),
];
const FLAVOURS: [(&str, &str); 6] = [
    ("3.3", "grid"),
    ("3.3", "zones"),
    ("3.3", "polygons"),
    ("4.3", "grid"),
    ("4.3", "zones"),
    ("4.3", "polygons"),
];

/// Runs the command and returns its JSON.
fn converted(field: &Field, arguments: &[&str]) -> Value {
    let wording = field.command(arguments);
    assert_eq!(
        wording.status,
        Some(0),
        "{arguments:?}: {}{}",
        wording.out,
        wording.err
    );
    serde_json::from_str(&wording.out).unwrap()
}

fn number(json: &Value, side: &str, key: &str) -> f64 {
    let found = json
        .pointer(&format!("/result/{side}/{key}"))
        .or_else(|| json.pointer(&format!("/{side}/{key}")));
    found
        .and_then(Value::as_f64)
        .unwrap_or_else(|| panic!("{side} {key} in {json}"))
}

fn close(json: &Value, tolerance: f64, what: &str) {
    for key in ["area_m2", "total"] {
        let (a, b) = (number(json, "source", key), number(json, "written", key));
        assert!(
            (b / a - 1.0).abs() <= tolerance,
            "{what}: {key} {a} became {b}"
        );
    }
    for key in ["least", "greatest"] {
        let (a, b) = (number(json, "source", key), number(json, "written", key));
        assert!((b - a).abs() <= 0.01, "{what}: {key} {a} became {b}");
    }
}

/// Arguments of one conversion.
fn arguments<'a>(
    map: &'a str,
    to: &'a str,
    output: &'a str,
    task: Option<(&'a str, &'a str)>,
) -> Vec<&'a str> {
    let mut all = vec!["convert", map, "--to", to, "--output", output, "--json"];
    if let Some((version, kind)) = task {
        all.extend(["--task-version", version, "--task-kind", kind]);
    }
    all
}

#[test]
fn every_format_into_every_other() {
    let field = Field::mapped();
    let first = "out/office/prescription.geojson";
    let mut sources = Vec::new();
    for (to, ending) in FORMATS {
        // A style lies beside its map under the map's name, so names differ.
        let output = format!("{to}.{ending}");
        // Pixels of 1 m move the border of a field of 7 ha by up to half a metre.
        close(
            &converted(&field, &arguments(first, to, &output, None)),
            if to == "geotiff" { 5e-3 } else { 1e-4 },
            to,
        );
        sources.push(output);
    }
    for (version, kind) in FLAVOURS {
        let output = format!("task-{version}-{kind}");
        close(
            &converted(
                &field,
                &arguments(first, "iso11783", &output, Some((version, kind))),
            ),
            if kind == "zones" { 0.02 } else { 1e-4 },
            kind,
        );
        sources.push(output);
    }
    for source in &sources {
        for (to, ending) in FORMATS {
            let output = format!("b-{}-{to}.{ending}", source.replace('.', "-"));
            let json = converted(&field, &arguments(source, to, &output, None));
            close(
                &json,
                if to == "geotiff" { 5e-3 } else { 1e-4 },
                &format!("{source} to {to}"),
            );
        }
        let json = converted(
            &field,
            &arguments(source, "iso11783", &format!("c-{source}"), None),
        );
        close(&json, 1e-4, &format!("{source} to a grid"));
    }
}

#[test]
fn archives_are_read_and_written_and_what_is_lost_is_told() {
    let field = Field::mapped();
    let first = "out/office/prescription.geojson";
    let json = converted(
        &field,
        &arguments(first, "iso11783", "plan.zip", Some(("4.3", "polygons"))),
    );
    close(&json, 1e-4, "to an archive");
    let lost = |json: &Value| {
        json.pointer("/result/lost")
            .unwrap()
            .as_array()
            .unwrap()
            .iter()
            .map(|line| line.as_str().unwrap().to_owned())
            .collect::<Vec<_>>()
    };
    let has = |lines: &[String], word: &str| lines.iter().any(|line| line.contains(word));
    // Columns of our own that task data have no place for; rates to 0.0001 L/ha.
    let notice = lost(&json);
    for word in [
        "columns besides the rate",
        "state",
        "whole numbers of the data dictionary",
    ] {
        assert!(has(&notice, word), "{word}: {notice:?}");
    }
    assert!(
        !has(&notice, "cells of the task grid"),
        "polygons keep their borders: {notice:?}"
    );
    let json = converted(&field, &arguments("plan.zip", "kml", "plan.kml", None));
    close(&json, 1e-4, "from an archive");
    let notice = lost(&json);
    for word in [
        "version: 4.3",
        "on start, with position lost and outside",
        "the field's boundary",
        "7 decimals",
        "rounded to 0.01",
    ] {
        assert!(has(&notice, word), "{word}: {notice:?}");
    }
    // The same as KMZ, by hand: an archive with the one file in it.
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    archive
        .start_file("doc.kml", zip::write::SimpleFileOptions::default())
        .unwrap();
    std::io::Write::write_all(&mut archive, &fs_err::read(field.path("plan.kml")).unwrap())
        .unwrap();
    fs_err::write(
        field.path("plan.kmz"),
        archive.finish().unwrap().into_inner(),
    )
    .unwrap();
    close(
        &converted(
            &field,
            &arguments("plan.kmz", "geopackage", "back.gpkg", None),
        ),
        1e-4,
        "from KMZ",
    );
    // Another way round: into the map's own system nothing is carried, and nothing said of it.
    let notice = lost(&converted(
        &field,
        &arguments("back.gpkg", "flatgeobuf", "back.fgb", None),
    ));
    assert_eq!(
        notice.len(),
        2,
        "the same columns and the same system: {notice:?}"
    );
    assert!(
        has(&notice, "rounded to 0.01") && has(&notice, "nitrogen stays empty"),
        "{notice:?}"
    );
}

#[test]
fn product_and_unit_are_turned() {
    let field = Field::mapped();
    let map = "out/office/prescription.gpkg";
    let turn = |more: &[&str], output: &str| {
        let mut all = vec![
            "convert", map, "--layer", "zones", "--to", "geojson", "--output", output, "--json",
        ];
        all.extend(more);
        converted(&field, &all)
    };
    // 1 kg N/ha as a solution of 28 % N and 1.28 kg/L is 1 / 0.3584 L/ha: arithmetic. The same nitrogen as a product of 46 % N is 1 / 0.46 kg/ha.
    let nitrogen = turn(&["--rate-column", "n_kg_ha"], "n.geojson");
    let litres = turn(
        &[
            "--rate-column",
            "n_kg_ha",
            "--to-product",
            "own: 28 % N, 1.28 kg/L",
        ],
        "l.geojson",
    );
    assert!(
        (number(&litres, "written", "total") / number(&nitrogen, "written", "total") * 0.358_4
            - 1.0)
            .abs()
            < 1e-3
    );
    let wording = field.command(&[
        "convert",
        "l.geojson",
        "--product",
        "own: 28 % N, 1.28 kg/L",
        "--to-product",
        "grains: 46 % N",
        "--to",
        "shapefile",
        "--output",
        "g.shp",
        "--json",
    ]);
    let grains: Value = serde_json::from_str(&wording.out).unwrap();
    assert!(
        (number(&grains, "written", "total") / number(&nitrogen, "written", "total") * 0.46 - 1.0)
            .abs()
            < 1e-3,
        "{grains}"
    );
    assert!(wording.out.contains("\"kg/ha\""), "{}", wording.out);
    // A product map of which nobody knows the nitrogen is not turned into nitrogen.
    let refused = field.command(&[
        "convert",
        "g.shp",
        "--to-unit",
        "kg N/ha",
        "--to",
        "kml",
        "--output",
        "x.kml",
    ]);
    assert_eq!(refused.status, Some(1));
    assert!(refused.err.contains("--product"), "{}", refused.err);
}

#[test]
fn nothing_is_overwritten_and_nothing_left_behind() {
    let field = Field::mapped();
    let map = "out/office/prescription.geojson";
    converted(&field, &arguments(map, "kml", "a.kml", None));
    let before = files(&field.path(""));
    let again = field.command(&arguments(map, "kml", "a.kml", None));
    assert_eq!(again.status, Some(1));
    assert!(
        again.out.contains("convert.exists") && again.out.contains("--overwrite"),
        "{}",
        again.out
    );
    let wrong = field.command(&arguments(map, "kml", "a.shp", None));
    assert_eq!(wrong.status, Some(2));
    let nowhere = field.command(&arguments("missing.shp", "kml", "new/b.kml", None));
    assert_eq!(nowhere.status, Some(1));
    assert!(
        before == files(&field.path("")),
        "a refusal changed something"
    );
    assert!(!Path::new(&field.path("new")).exists());
    let mut replace = arguments(map, "kml", "a.kml", None);
    replace.push("--overwrite");
    converted(&field, &replace);
    assert!(before == files(&field.path("")), "the same bytes twice");
}

#[test]
fn a_job_asks_for_other_task_data_and_formats() {
    let field = Field::new();
    field.job(
        "[output]",
        "[output]\ntask_data = { version = \"4.3\", kind = \"zones\" }",
    );
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    let outputs = field.outputs();
    let xml = String::from_utf8(outputs["machine/TASKDATA/TASKDATA.XML"].clone()).unwrap();
    assert!(
        xml.contains("VersionMajor=\"4\"") && xml.contains(" I=\"1\""),
        "{xml}"
    );
    for sidecar in ["office/prescription.qml", "office/nitrogen.qml"] {
        assert!(outputs.contains_key(sidecar), "{sidecar}");
    }
    assert_eq!(
        field
            .record()
            .pointer("/settings/output/task_data/kind")
            .unwrap(),
        "zones"
    );
    let wrong = Field::new();
    wrong.job(
        "[output]",
        "[output]\ntask_data = { version = \"4.2\", kinds = \"zones\" }",
    );
    let wording = wrong.run(&["check"]);
    assert_eq!(wording.status, Some(1));
    assert!(
        wording.err.contains("4.3") && wording.err.contains("kind"),
        "{}",
        wording.err
    );
}

#[test]
fn maps_of_nitrogen_and_of_product_into_every_format() {
    for product in [true, false] {
        let field = Field::new();
        if !product {
            field.job("[product]\nname = \"UAN 28\"\n", "");
        }
        let wording = field.run(&["map"]);
        assert_eq!(wording.status, Some(0), "{}", wording.err);
        let own = if product { "L/ha" } else { "kg N/ha" };
        let first = "out/office/prescription.geojson";
        for (to, ending) in FORMATS {
            let output = format!("first-{to}.{ending}");
            let json = converted(&field, &arguments(first, to, &output, None));
            assert_eq!(
                json.pointer("/result/unit")
                    .or_else(|| json.get("unit"))
                    .unwrap(),
                own,
                "{to}"
            );
            close(&json, if to == "geotiff" { 5e-3 } else { 1e-4 }, to);
            // Out of each of them again.
            let again = converted(
                &field,
                &arguments(&output, "flatgeobuf", &format!("again-{to}.fgb"), None),
            );
            close(&again, 1e-4, &format!("{to} to FlatGeobuf"));
        }
        for (version, kind) in FLAVOURS {
            let wording = field.command(&arguments(
                first,
                "iso11783",
                &format!("task-{version}-{kind}"),
                Some((version, kind)),
            ));
            // A machine meters product: of nitrogen alone the user is warned.
            assert_eq!(wording.status, Some(0), "{kind}: {}", wording.err);
            assert_eq!(
                wording.out.contains("convert.nitrogen"),
                !product,
                "{kind}: {}",
                wording.out
            );
        }
    }
}
