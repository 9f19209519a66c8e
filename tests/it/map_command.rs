//! `haulm map` from outside: the same bytes every time, the states that were planted, and what it leaves alone.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::field::{BARE, CLOUD, Field, Image, THIN};

/// Outputs, less the one line of the record that tells the time.
fn timeless(field: &Field) -> BTreeMap<String, Vec<u8>> {
    let mut outputs = field.outputs();
    let record = outputs.get_mut("office/record.json").unwrap();
    let text = String::from_utf8(record.clone()).unwrap();
    assert_eq!(
        text.lines()
            .filter(|line| line.contains("\"made_at\""))
            .count(),
        1,
        "{text}"
    );
    *record = text
        .lines()
        .filter(|line| !line.contains("\"made_at\""))
        .collect::<Vec<_>>()
        .join("\n")
        .into_bytes();
    outputs
}

fn assert_same(a: &BTreeMap<String, Vec<u8>>, b: &BTreeMap<String, Vec<u8>>) {
    assert_eq!(a.keys().collect::<Vec<_>>(), b.keys().collect::<Vec<_>>());
    for (name, bytes) in a {
        assert!(
            *bytes == b[name],
            "{name} differs: {} and {} bytes",
            bytes.len(),
            b[name].len()
        );
    }
}

fn done(field: &Field, arguments: &[&str]) -> String {
    let wording = field.run(arguments);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    assert!(
        !wording.out.contains('\u{1b}') && !wording.err.contains('\u{1b}'),
        "colour in a pipe"
    );
    wording.out
}

#[test]
fn same_bytes_whatever_the_threads_and_the_folder() {
    let (one, two) = (Field::new(), Field::new());
    assert_ne!(one.path(""), two.path(""));
    done(&one, &["--threads", "1", "map"]);
    let first = timeless(&one);
    done(&two, &["--threads", "2", "map"]);
    assert_same(&first, &timeless(&two));
    // And once more over its own outputs.
    done(&one, &["--threads", "2", "map"]);
    assert_same(&first, &timeless(&one));
}

/// Row, column, state, index and nitrogen rate [kg N/ha] of a cell.
type Cell = (i64, i64, String, Option<f64>, Option<f64>);

/// Cells as the GIS file has them.
fn cells(field: &Field) -> Vec<Cell> {
    use gdal::vector::LayerAccess as _;
    let file = gdal::Dataset::open_ex(
        field.path("out/office/prescription.gpkg"),
        gdal::DatasetOptions {
            open_flags: gdal::GdalOpenFlags::GDAL_OF_VECTOR,
            ..gdal::DatasetOptions::default()
        },
    )
    .unwrap();
    let mut layer = file.layer_by_name("cells").unwrap();
    let column = |name: &str| layer.defn().field_index(name).unwrap();
    let (row, col, state, index, rate) = (
        column("row"),
        column("col"),
        column("state"),
        column("index"),
        column("n_kg_ha"),
    );
    layer
        .features()
        .map(|feature| {
            (
                feature.field_as_integer64(row).unwrap().unwrap(),
                feature.field_as_integer64(col).unwrap().unwrap(),
                feature.field_as_string(state).unwrap().unwrap(),
                feature.field_as_double(index).unwrap(),
                feature.field_as_double(rate).unwrap(),
            )
        })
        .collect()
}

#[test]
fn states_stand_where_they_were_planted() {
    let field = Field::mapped();
    let cells = cells(&field);
    assert_eq!(cells.len(), 120);
    let field_rate = field.record()["totals"]["field_rate_n_kg_ha"]
        .as_f64()
        .unwrap();
    assert!(field_rate > 0.0);
    for (row, col, state, index, rate) in &cells {
        // Heading due north: rows go north from the field's south edge, columns to the left, from its east edge.
        let (x, y) = (
            240.0 - (*col as f64 + 0.5) * 24.0,
            (*row as f64 + 0.5) * 24.0,
        );
        let planted = [(CLOUD, "unseen"), (BARE, "bare"), (THIN, "thin")];
        let due = planted
            .iter()
            .find(|(a, _)| x > a[0] && y > a[1] && x < a[2] && y < a[3])
            .map_or("canopy", |(_, state)| state);
        assert_eq!(state, due, "cell {row}, {col} at {x} m, {y} m");
        match due {
            // What was never seen has no index, and gets the stated rate.
            "unseen" => assert_eq!((*index, *rate), (None, Some(field_rate))),
            "bare" => assert_eq!((*index, *rate), (None, Some(0.0))),
            "thin" => assert!(
                index.is_some_and(|index| (index - 0.31).abs() < 0.02)
                    && rate.is_some_and(|rate| rate <= field_rate),
                "{index:?} {rate:?}"
            ),
            _ => assert!(
                index.is_some_and(|index| index > 0.5)
                    && rate.is_some_and(|rate| (0.0..=150.0).contains(&rate)),
                "{index:?} {rate:?}"
            ),
        }
    }
    let totals = &field.record()["totals"];
    for key in ["unseen_share", "bare_share", "thin_share"] {
        assert!(
            (totals[key].as_f64().unwrap() - 4.0 / 120.0).abs() < 1e-6,
            "{key}: {totals}"
        );
    }
}

#[test]
fn a_dry_run_writes_nothing() {
    let field = Field::new();
    let before = crate::field::files(&field.path(""));
    let notice = done(&field, &["map", "--dry-run"]);
    assert!(
        notice.contains("machine/CARD.txt"),
        "it tells what it would write: {notice}"
    );
    assert!(crate::field::files(&field.path("")) == before && !field.path("out").exists());
    done(&field, &["check"]);
    done(&field, &["inspect"]);
    assert!(crate::field::files(&field.path("")) == before && !field.path("out").exists());
}

#[test]
fn json_is_one_document() {
    let field = Field::new();
    for (command, status) in [("map", "done"), ("check", "done"), ("inspect", "done")] {
        let value: Value = serde_json::from_str(&done(&field, &[command, "--json"])).unwrap();
        assert_eq!(
            (value["command"].as_str(), value["status"].as_str()),
            (Some(command), Some(status))
        );
        assert!(
            value["findings"]
                .as_array()
                .is_some_and(|findings| !findings.is_empty())
        );
    }
    let value: Value = serde_json::from_str(&done(&field, &["map", "--json"])).unwrap();
    assert_eq!(value["result"]["map_id"], field.record()["map_id"]);
    let notice: Vec<&str> = value["files"]
        .as_array()
        .unwrap()
        .iter()
        .map(|file| file["path"].as_str().unwrap())
        .collect();
    let there = field.outputs();
    assert_eq!(notice.len(), there.len());
    assert!(
        notice.iter().all(|name| there.contains_key(*name)),
        "{notice:?}"
    );
}

#[test]
fn a_second_run_replaces_the_first() {
    let field = Field::mapped();
    let first = field.outputs();
    let id = field.record()["map_id"].clone();
    field.image(&Image {
        strip: 0.78,
        ..Image::default()
    });
    field.job(
        "folder = \"out\"",
        "folder = \"out\"\nformats = [\"geojson\", \"shapefile\"]",
    );
    done(&field, &["map"]);
    let second = field.outputs();
    assert_ne!(field.record()["map_id"], id);
    assert!(
        first.contains_key("office/prescription.gpkg")
            && !second.contains_key("office/prescription.gpkg"),
        "files of the first run are gone"
    );
    assert!(
        second.keys().all(|name| !name.contains("TASKDATA")),
        "{:?}",
        second.keys()
    );
    assert_ne!(
        first["office/prescription.geojson"],
        second["office/prescription.geojson"]
    );
    let card = String::from_utf8(second["machine/CARD.txt"].clone()).unwrap();
    assert!(
        card.contains(field.record()["map_id"].as_str().unwrap()),
        "{card}"
    );
}
