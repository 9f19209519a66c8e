//! `haulm batch`: many fields from one farm file.

use std::path::Path;
use std::process::{Command, Output};

use crate::field::{CORNER, EXTENT, Field, Image, rectangle};
use serde_json::Value;

/// Names of the fields, each with the place of its corner from the first one's. \[m\]
const FIELDS: [(&str, f64); 4] = [
    ("Long Ley", 0.0),
    ("Mill Piece", 300.0),
    ("Upper Forty", 600.0),
    ("Bog Side", 5_000.0),
];

/// A farm of three fields in one image and one beside it.
pub(crate) struct Farm(Field);

const FARM: &str = r#"name = "Test farm"
output = "season"

[fields]
path = "fields.geojson"
name = "name"
[fields.columns]
season.planted = "sown"
response.maximum_yield = { column = "yield", unit = "t/ha" }

[strips]
path = "strips.geojson"

[[images]]
path = "tile.tif"
date = 2026-04-14

[common.imagery]
index = "NDVI"
[common.season]
crop = "winter wheat"
growing_days = 100
[common.response]
method = "yield response"
yield_curve = { a = "590 kg/ha", b = 258.2, index = "NDVI", source = "test" }
[common.rate]
minimum = "0 kg N/ha"
maximum = "140 kg N/ha"
step = "5 kg N/ha"
[common.machine]
working_width = "24 m"
cell_length = "24 m"
heading = "auto"
"#;

fn feature(name: &str, at: f64, [west, south, east, north]: [f64; 4], more: &str) -> String {
    let corners: Vec<String> = rectangle([west, south, east, north])
        .into_iter()
        .chain([(west, south)])
        .map(|(x, y)| format!("[{},{}]", CORNER.0 + at + x, CORNER.1 + y))
        .collect();
    format!(
        "{{\"type\":\"Feature\",\"properties\":{{\"name\":\"{name}\"{more}}},\"geometry\":{{\"type\":\"Polygon\",\"coordinates\":[[{}]]}}}}",
        corners.join(",")
    )
}

fn layer(features: &[String]) -> String {
    format!(
        "{{\"type\":\"FeatureCollection\",\"crs\":{{\"type\":\"name\",\"properties\":{{\"name\":\"urn:ogc:def:crs:EPSG::32633\"}}}},\"features\":[{}]}}",
        features.join(",")
    )
}

impl Farm {
    pub(crate) fn new() -> Self {
        let field = Field::new();
        let farm = Self(field);
        let fields = FIELDS.map(|(name, at)| {
            feature(
                name,
                at,
                [0.0, 0.0, EXTENT.0, EXTENT.1],
                ",\"sown\":\"2025-10-06\",\"yield\":7.5",
            )
        });
        farm.write("fields.geojson", &layer(&fields));
        let strips = FIELDS.map(|(_, at)| feature("strip", at, crate::field::STRIP, ""));
        farm.write("strips.geojson", &layer(&strips));
        tile(&farm.path("tile.tif"), 1.0);
        farm.write("farm.toml", FARM);
        farm
    }
    pub(crate) fn path(&self, name: &str) -> std::path::PathBuf {
        self.0.path(name)
    }
    fn write(&self, name: &str, text: &str) {
        fs_err::write(self.path(name), text).unwrap();
    }
    pub(crate) fn change(&self, name: &str, old: &str, new: &str) {
        let text = fs_err::read_to_string(self.path(name)).unwrap();
        assert!(text.contains(old), "{old} in {name}");
        self.write(name, &text.replace(old, new));
    }
    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_haulm"));
        command.args(arguments).current_dir(self.path(""));
        command
    }
    /// The lines of a run, by field, and its last line; and its exit status.
    pub(crate) fn run(&self, more: &[&str]) -> (Option<i32>, Vec<Value>, Value) {
        let output = self
            .command(&[&["batch", "farm.toml", "--json"], more].concat())
            .output()
            .unwrap();
        lines(&output)
    }
}

fn lines(output: &Output) -> (Option<i32>, Vec<Value>, Value) {
    let text = String::from_utf8(output.stdout.clone()).unwrap();
    let wording = String::from_utf8_lossy(&output.stderr);
    let mut all: Vec<Value> = text
        .lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|_| panic!("{text}{wording}")))
        .collect();
    let last = all.pop().unwrap_or_else(|| panic!("{wording}"));
    all.sort_by_key(|row| row["field"].as_str().map(str::to_owned));
    (output.status.code(), all, last["result"].clone())
}

/// An image of three fields side by side; `strip` scales the strip's index.
fn tile(path: &Path, strip: f64) {
    use gdal::raster::{Buffer, RasterCreationOptions};
    use gdal::spatial_ref::SpatialRef;
    use gdal::{DriverManager, Metadata as _};
    let (cols, rows) = (460, 168);
    let options = RasterCreationOptions::from_iter(
        [
            "TILED=YES",
            "BLOCKXSIZE=64",
            "BLOCKYSIZE=64",
            "COMPRESS=DEFLATE",
        ]
        .map(str::to_owned),
    );
    let mut file = DriverManager::get_driver_by_name("GTiff")
        .unwrap()
        .create_with_band_type_with_options::<f32, _>(path, cols, rows, 2, &options)
        .unwrap();
    file.set_spatial_ref(&SpatialRef::from_epsg(32_633).unwrap())
        .unwrap();
    file.set_geo_transform(&[
        CORNER.0 - 24.0,
        2.0,
        0.0,
        CORNER.1 + EXTENT.1 + 24.0,
        0.0,
        -2.0,
    ])
    .unwrap();
    let mut bands = [Vec::new(), Vec::new()];
    for row in 0..rows {
        for col in 0..cols {
            let x = (col as f64 + 0.5) * 2.0 - 24.0;
            let y = EXTENT.1 + 24.0 - (row as f64 + 0.5) * 2.0;
            let index = crate::field::ndvi(0.74 * strip, x.rem_euclid(300.0), y);
            let value =
                |sign: f64| index.map_or(-9999.0, |index| (0.225 * (1.0 + sign * index)) as f32);
            bands[0].push(value(-1.0));
            bands[1].push(value(1.0));
        }
    }
    for (k, (name, values)) in ["red", "nir"].into_iter().zip(bands).enumerate() {
        let mut band = file.rasterband(k + 1).unwrap();
        band.set_no_data_value(Some(-9999.0)).unwrap();
        band.set_description(name).unwrap();
        band.write((0, 0), (cols, rows), &mut Buffer::new((cols, rows), values))
            .unwrap();
    }
    file.close().unwrap();
    let _ = Image::default();
}

/// Every file below a folder, but for the record's time.
fn bytes(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut found: Vec<(String, Vec<u8>)> = crate::architecture::files_below(folder)
        .into_iter()
        .map(|path| {
            let name = path.strip_prefix(folder).unwrap().display().to_string();
            let mut bytes = fs_err::read(&path).unwrap();
            if name == "office/record.json" {
                let mut record: Value = serde_json::from_slice(&bytes).unwrap();
                record["made_at"] = Value::Null;
                bytes = record.to_string().into_bytes();
            }
            (name, bytes)
        })
        .collect();
    found.sort();
    found
}

#[test]
fn each_field_is_a_row_and_a_folder() {
    let farm = Farm::new();
    let (status, rows, last) = farm.run(&[]);
    assert_eq!(status, Some(1), "one field is refused: {last}");
    assert_eq!(
        (last["done"].as_u64(), last["refused"].as_u64()),
        (Some(3), Some(1)),
        "{rows:#?}"
    );
    assert_eq!(rows[0]["field"], "Bog Side");
    assert_eq!(rows[0]["state"], "refused");
    assert!(
        rows[0]["reason"].as_str().unwrap().contains("image"),
        "{}",
        rows[0]
    );
    for row in &rows[1..] {
        assert_eq!(row["state"], "done", "{row}");
        assert!(row["n_kg"].as_f64().unwrap() > 0.0 && row["map_id"].is_string());
        assert_eq!(row["why"], "not made yet");
    }
    for name in [
        "index.html",
        "fields.csv",
        "farm.gpkg",
        "long-ley/machine/CARD.txt",
    ] {
        assert!(farm.path("season").join(name).is_file(), "{name}");
    }
    assert!(!farm.path("season/bog-side").exists());
    let table = fs_err::read_to_string(farm.path("season/fields.csv")).unwrap();
    assert_eq!(table.lines().count(), 5, "{table}");
}

#[test]
fn a_field_is_the_same_as_by_itself() {
    let farm = Farm::new();
    // All of them: a thread that has made one field has more in its hands than a new one.
    let all = r#"formats = ["geojson", "shapefile", "geopackage", "geotiff", "kml", "flatgeobuf", "iso11783"]"#;
    farm.change(
        "farm.toml",
        "[common.machine]",
        &format!("[common.output]\n{all}\n[common.machine]"),
    );
    let (_, _, _) = farm.run(&[]);
    let batch = bytes(&farm.path("season/long-ley"));
    fs_err::remove_dir_all(farm.path("season")).unwrap();
    assert!(
        farm.command(&["batch", "farm.toml", "--write-jobs"])
            .status()
            .unwrap()
            .success()
    );
    let done = farm.command(&["map", "long-ley.toml"]).output().unwrap();
    assert!(
        done.status.success(),
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );
    let single = bytes(&farm.path("season/long-ley"));
    let names =
        |files: &[(String, Vec<u8>)]| files.iter().map(|file| file.0.clone()).collect::<Vec<_>>();
    assert_eq!(names(&batch), names(&single));
    for (one, other) in batch.iter().zip(&single) {
        assert!(
            one.1 == other.1,
            "{} differs:\n{}\n{}",
            one.0,
            String::from_utf8_lossy(&one.1),
            String::from_utf8_lossy(&other.1)
        );
    }
}

#[test]
fn finished_work_is_skipped_and_changed_work_is_made_again_with_the_reason() {
    let farm = Farm::new();
    farm.run(&[]);
    let (_, rows, last) = farm.run(&[]);
    assert_eq!(
        (last["skipped"].as_u64(), last["made"].as_u64()),
        (Some(4), Some(0)),
        "{rows:#?}"
    );
    farm.change("farm.toml", "140 kg", "120 kg");
    let (_, rows, last) = farm.run(&[]);
    assert_eq!(last["made"], 4);
    assert_eq!(rows[1]["why"], "changed: rate.maximum");
    let exception = "\n[[exception]]\nfield = \"Mill Piece\"\nreason = \"late sown\"\njob.rate.maximum = \"60 kg N/ha\"\n";
    let text = fs_err::read_to_string(farm.path("farm.toml")).unwrap();
    farm.write("farm.toml", &(text + exception));
    let (_, rows, last) = farm.run(&[]);
    assert_eq!(last["made"], 1, "{rows:#?}");
    assert_eq!(rows[2]["field"], "Mill Piece");
    assert_eq!(rows[2]["exceptions"][0], "late sown");
    tile(&farm.path("tile.tif"), 0.99);
    let (_, rows, _) = farm.run(&[]);
    assert_eq!(rows[1]["why"], "tile.tif changed");
    fs_err::remove_file(farm.path("season/long-ley/machine/CARD.txt")).unwrap();
    let (_, rows, last) = farm.run(&[]);
    assert_eq!(last["made"], 1);
    assert_eq!(
        rows[1]["why"],
        "long-ley/machine/CARD.txt is not as it was written"
    );
    assert!(farm.path("season/long-ley/machine/CARD.txt").is_file());
}

/// The layer of fields, with this yield for the second and this eastern end for the third.
fn fields_with(second_yield: f64, third_east: f64, more: &str) -> String {
    let fields = FIELDS.map(|(name, at)| {
        let (grown, east) = match name {
            "Mill Piece" => (second_yield, EXTENT.0),
            "Upper Forty" => (7.5, third_east),
            _ => (7.5, EXTENT.0),
        };
        let values = format!(",\"sown\":\"2025-10-06\",\"yield\":{grown}{more}");
        feature(name, at, [0.0, 0.0, east, EXTENT.1], &values)
    });
    layer(&fields)
}

#[test]
fn a_change_in_a_shared_layer_makes_the_fields_again_that_it_touches() {
    let farm = Farm::new();
    farm.run(&[]);
    let again = |why: &[(&str, &str)]| {
        let (_, rows, last) = farm.run(&[]);
        let made: Vec<(&str, &str)> = rows
            .iter()
            .filter(|row| row["done_before"] == false)
            .map(|row| (row["field"].as_str().unwrap(), row["why"].as_str().unwrap()))
            .collect();
        assert_eq!(made, why);
        assert_eq!(last["made"].as_u64().unwrap() as usize, why.len());
        assert_eq!(last["skipped"].as_u64().unwrap() as usize, 4 - why.len());
    };
    again(&[]);
    // A value that fills a key.
    farm.write("fields.geojson", &fields_with(8.0, EXTENT.0, ""));
    again(&[("Mill Piece", "changed: response.maximum_yield")]);
    // An outline.
    farm.write("fields.geojson", &fields_with(8.0, EXTENT.0 - 24.0, ""));
    again(&[("Upper Forty", "fields.geojson (its polygon) changed")]);
    // A column that nothing reads.
    farm.write(
        "fields.geojson",
        &fields_with(8.0, EXTENT.0 - 24.0, ",\"owner\":\"A\""),
    );
    again(&[]);
    // A strip of one field.
    let [west, south, east, north] = crate::field::STRIP;
    let strips = FIELDS.map(|(name, at)| {
        let shorter = if name == "Long Ley" { 12.0 } else { 0.0 };
        feature("strip", at, [west, south, east, north - shorter], "")
    });
    farm.write("strips.geojson", &layer(&strips));
    again(&[("Long Ley", "strips.geojson (its strips) changed")]);
    // Where another section reads the same file, the whole of it counts.
    let text = fs_err::read_to_string(farm.path("farm.toml")).unwrap();
    let areas = "\n[[exception]]\nfield = \"Long Ley\"\nreason = \"test\"\njob.field.exclude = [{ path = \"strips.geojson\", where = \"name = 'strip'\", reason = \"test\" }]\n";
    farm.write("farm.toml", &(text + areas));
    farm.run(&[]);
    let strips = FIELDS.map(|(name, at)| {
        let shorter = if name == "Mill Piece" { 24.0 } else { 12.0 };
        let shorter = if name == "Long Ley" || name == "Mill Piece" {
            shorter
        } else {
            0.0
        };
        feature("strip", at, [west, south, east, north - shorter], "")
    });
    farm.write("strips.geojson", &layer(&strips));
    again(&[
        ("Long Ley", "strips.geojson changed"),
        ("Mill Piece", "strips.geojson (its strips) changed"),
    ]);
}

#[test]
fn of_a_list_of_stations_those_near_a_field_count() {
    use jiff::ToSpan as _;
    use jiff::civil::date;
    use std::fmt::Write as _;
    let farm = Farm::new();
    let way = crate::field::way("EPSG:32633", "EPSG:4326");
    let (longitude, latitude) = crate::field::carry(&way, CORNER.0, CORNER.1);
    let list = |far: f64| {
        format!(
            "name,latitude,longitude,path\nNear,{},{longitude},near.csv\nFar,{},{longitude},far.csv\n",
            latitude + 0.05,
            latitude + far
        )
    };
    let record = |warm: f64| {
        let mut text = "date,tmin_c,tmax_c\n".to_owned();
        let days = date(2025, 10, 6)
            .series(1.day())
            .take_while(|day| *day < date(2026, 4, 14));
        for day in days {
            writeln!(text, "{day},{},{}", warm, warm + 9.0).unwrap();
        }
        text
    };
    farm.write("stations.csv", &list(2.0));
    farm.write("near.csv", &record(4.0));
    farm.write("far.csv", &record(5.0));
    farm.change(
        "farm.toml",
        "growing_days = 100",
        "stations = \"stations.csv\"",
    );
    let (_, rows, last) = farm.run(&[]);
    assert_eq!(last["done"], 3, "{rows:#?}");
    // Another station, its place and its record, beyond reach of every field.
    farm.write("stations.csv", &list(3.0));
    farm.write("far.csv", &record(6.0));
    let (_, _, last) = farm.run(&[]);
    assert_eq!(last["made"], 0);
    farm.write("near.csv", &record(4.5));
    let (_, rows, last) = farm.run(&[]);
    assert_eq!(last["made"], 4);
    assert_eq!(rows[1]["why"], "near.csv changed");
    // Now it is the nearest.
    farm.write("stations.csv", &list(0.01));
    let (_, rows, last) = farm.run(&[]);
    assert_eq!(last["made"], 4);
    let why = rows[1]["why"].as_str().unwrap();
    assert!(
        why.contains("stations.csv (its stations) changed") && why.contains("far.csv is new"),
        "{why}"
    );
}

#[test]
fn a_full_disk_refuses_fields_and_the_same_command_goes_on() {
    let farm = Farm::new();
    let disk = farm.path("season");
    fs_err::create_dir(&disk).unwrap();
    // A disk of its own needs the right to mount; without it this cannot be tried.
    let mount = |options: &str| {
        Command::new("mount")
            .args(["-t", "tmpfs", "-o", options, "none"])
            .arg(&disk)
            .output()
    };
    let mounted = mount("size=1m");
    if !mounted.as_ref().is_ok_and(|output| output.status.success()) {
        eprintln!("skipped: no right to mount a small disk here: {mounted:?}");
        return;
    }
    let small = farm
        .command(&["batch", "farm.toml", "--json", "--threads", "1"])
        .output()
        .unwrap();
    let enlarged = mount("remount,size=64m");
    let (status, rows, last) = farm.run(&[]);
    let undone = Command::new("umount").arg(&disk).status();
    assert!(enlarged.unwrap().status.success() && undone.unwrap().success());
    let told = String::from_utf8_lossy(&small.stdout).into_owned();
    assert_eq!(small.status.code(), Some(1), "{told}");
    let refused: Vec<Value> = told
        .lines()
        .map(|line| serde_json::from_str::<Value>(line).unwrap())
        .filter(|row| row["state"] == "refused" && row["field"] != "Bog Side")
        .collect();
    assert!(!refused.is_empty(), "{told}");
    for row in &refused {
        assert!(
            row["code"].as_str().unwrap().starts_with("output."),
            "{row}"
        );
        assert!(row["hint"].is_string(), "{row}");
    }
    assert_eq!(
        (status, last["done"].as_u64()),
        (Some(1), Some(3)),
        "{rows:#?}"
    );
    let skipped = last["skipped"].as_u64().unwrap() as usize;
    assert!(
        3 - skipped.min(3) >= refused.len() - 1,
        "{last} {refused:?}"
    );
}

/// Fails in the middle of a field, as a fault of haulm would.
struct Fails;

impl haulm::app::progress::Progress for Fails {
    fn start(&self, _stage: &str, _total: u64) {
        panic!("a fault in the middle of a field");
    }
    fn advance(&self, _steps: u64) {}
    fn message(&self, _text: &str) {}
}

#[test]
fn a_fault_of_haulm_is_a_row_and_the_field_is_tried_again() {
    use haulm::app::batch::{BatchOptions, Farm as Read, FieldState, Making, Standing};
    let farm = Farm::new();
    let read = || {
        Read::read(
            &farm.path("farm.toml"),
            Making::Maps,
            &haulm::Common::default(),
        )
        .unwrap()
    };
    let opened = read();
    let row = opened.run_field(1, &Fails);
    assert_eq!(row.state, FieldState::Crashed);
    assert_eq!(
        (row.field.as_str(), row.code.as_deref()),
        ("Mill Piece", Some("internal"))
    );
    assert!(
        row.facts
            .iter()
            .any(|fact| fact.contains("a fault in the middle of a field")),
        "{row:?}"
    );
    assert!(!farm.path("season/mill-piece/machine").exists());
    let table = |read: &Read| {
        read.collect(None).unwrap();
        fs_err::read_to_string(farm.path("season/fields.csv")).unwrap()
    };
    assert!(table(&opened).contains("\nMill Piece,crashed,internal,"));
    // What was shared with it is whole: the others are made by the same process.
    let mut rows = Vec::new();
    for field in [0, 2] {
        rows.push(opened.run_field(field, &haulm::Silent).state);
    }
    assert_eq!(rows, [FieldState::Done; 2]);
    let again = read();
    assert_eq!(
        again.standing(1).unwrap(),
        Standing::Due("ended last time by internal".to_owned())
    );
    let ran = again
        .run(&BatchOptions::default(), &haulm::Silent, &|_, _| ())
        .unwrap();
    assert_eq!((ran.states["done"], ran.skipped), (3, 2), "{ran:?}");
    assert!(table(&again).contains("\nMill Piece,done,"));
}

#[test]
fn the_tables_alone_say_what_the_maps_will_and_stand_apart_from_them() {
    let farm = Farm::new();
    let (status, first, sums) = farm.run(&["--tables"]);
    assert_eq!(status, Some(1), "one field lies beside the image");
    assert_eq!(
        (sums["done"].as_u64(), sums["refused"].as_u64()),
        (Some(3), Some(1))
    );
    let names: Vec<String> = fs_err::read_dir(farm.path("season"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    assert_eq!(names, ["tables"]);
    let page = fs_err::read_to_string(farm.path("season/tables/index.html")).unwrap();
    assert!(page.contains("Nothing here goes to a machine"), "{page}");
    assert!(
        !page.contains("CARD.txt") && !page.contains("Map id"),
        "{page}"
    );
    // Done once, and the same again when nothing has changed.
    let (_, again, sums) = farm.run(&["--tables"]);
    assert_eq!(sums["skipped"], 4, "{again:#?}");
    // The maps come to the same numbers, in their own place.
    let (_, maps, sums) = farm.run(&[]);
    assert_eq!(
        (sums["made"].as_u64(), sums["done"].as_u64()),
        (Some(4), Some(3))
    );
    for (table, map) in first.iter().zip(&maps) {
        for key in [
            "field",
            "state",
            "code",
            "area_ha",
            "n_kg",
            "mean_n_kg_ha",
            "n_kg_p10",
            "n_kg_p90",
            "ratio",
            "ratio_low",
            "ratio_high",
            "zone_count",
        ] {
            assert_eq!(table[key], map[key], "{key} of {}", table["field"]);
        }
        assert!(table["map_id"].is_null());
    }
    assert!(first[1]["n_kg"].as_f64().unwrap() > 0.0, "{first:#?}");
    let zones = |path: &str| -> Vec<(String, i64, f64)> {
        let dataset = gdal::Dataset::open(farm.path(path)).unwrap();
        let mut layer =
            gdal::vector::LayerAccess::features(&mut dataset.layer_by_name("zones").unwrap())
                .map(|feature| {
                    let column = |name: &str| feature.field_index(name).unwrap();
                    (
                        feature.field_as_string(column("field")).unwrap().unwrap(),
                        feature.field_as_integer64(column("zone")).unwrap().unwrap(),
                        feature.field_as_double(column("n_kg_ha")).unwrap().unwrap(),
                    )
                })
                .collect::<Vec<_>>();
        layer.sort_by(|a, b| (&a.0, a.1).cmp(&(&b.0, b.1)));
        layer
    };
    let drawn = zones("season/tables/farm.gpkg");
    assert!(!drawn.is_empty());
    assert_eq!(drawn, zones("season/farm.gpkg"));
    // A table of other settings does not reach the maps.
    farm.change(
        "farm.toml",
        "maximum = \"140 kg N/ha\"",
        "maximum = \"20 kg N/ha\"",
    );
    let before = bytes(&farm.path("season/long-ley"));
    let (_, _, sums) = farm.run(&["--tables"]);
    assert_eq!(sums["made"], 4);
    assert_eq!(bytes(&farm.path("season/long-ley")), before);
}

#[test]
fn strips_come_from_one_layer_by_name_and_by_exception_from_elsewhere() {
    let farm = Farm::new();
    // By name, whatever the place in the layer; of the third field there is one elsewhere.
    let named = FIELDS.map(|(name, at)| {
        let more = format!(",\"of\":\"{name}\"");
        feature("strip", at, crate::field::STRIP, &more)
    });
    let mut all: Vec<String> = named.to_vec();
    all.reverse();
    farm.write("strips.geojson", &layer(&all));
    let [west, south, east, north] = crate::field::STRIP;
    let own = feature("own", 600.0, [west, south + 60.0, east, north], "");
    farm.write("own.geojson", &layer(&[own]));
    farm.change(
        "farm.toml",
        "path = \"strips.geojson\"",
        "path = \"strips.geojson\"\ncolumn = \"of\"",
    );
    let text = fs_err::read_to_string(farm.path("farm.toml")).unwrap();
    let exception = "\n[[exception]]\nfield = \"Upper Forty\"\nreason = \"a strip of its own\"\njob.reference.strips = { path = \"own.geojson\" }\n";
    farm.write("farm.toml", &(text + exception));
    let (_, rows, last) = farm.run(&[]);
    assert_eq!(last["done"], 3, "{rows:#?}");
    assert_eq!(rows[3]["exceptions"][0], "a strip of its own");
    let strips = |folder: &str| -> Vec<String> {
        let path = farm.path("season").join(folder).join("office/record.json");
        let record: Value = serde_json::from_slice(&fs_err::read(path).unwrap()).unwrap();
        let inputs = record["inputs"].as_array().unwrap();
        inputs
            .iter()
            .map(|input| input["path"].as_str().unwrap().to_owned())
            .filter(|path| ["strips.geojson", "own.geojson"].contains(&path.as_str()))
            .collect()
    };
    assert_eq!(strips("long-ley"), ["strips.geojson"]);
    assert_eq!(strips("mill-piece"), ["strips.geojson"]);
    assert_eq!(strips("upper-forty"), ["own.geojson"]);
    // The first two are the same ground with the same strip.
    let ratio = |row: usize| rows[row]["ratio"].as_f64().unwrap();
    assert!((ratio(1) - ratio(2)).abs() < 1e-6, "{rows:#?}");
}

#[test]
fn the_farms_map_is_drawn_as_the_map_of_one_field() {
    use rusqlite::Connection;
    let farm = Farm::new();
    farm.run(&[]);
    let open = |name: &str| Connection::open(farm.path(name)).unwrap();
    let style = |name: &str, layer: &str| -> (String, String, bool) {
        open(name)
            .query_row(
                "select styleQML, styleSLD, useAsDefault from layer_styles where f_table_name = ?1",
                [layer],
                |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
            )
            .unwrap()
    };
    let (qml, sld, is_default) = style("season/farm.gpkg", "zones");
    assert!(is_default && style("season/farm.gpkg", "fields").2);
    // Every rate of every zone is in the legend.
    let file = open("season/farm.gpkg");
    let mut rates = file
        .prepare("select distinct n_kg_ha from zones order by 1")
        .unwrap();
    let rates: Vec<f64> = rates
        .query_map([], |row| row.get(0))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    assert!(rates.len() > 2, "{rates:?}");
    for rate in [rates[0], rates[rates.len() - 1]] {
        assert!(qml.contains(&format!("{rate}")), "{rate} in {qml}");
    }
    assert!(sld.contains("kg N/ha") && qml.contains("kg N/ha"));
    let (of_field, ..) = style("season/long-ley/office/prescription.gpkg", "zones");
    let kind = |text: &str| text.split("<rules").next().unwrap_or_default().to_owned();
    assert_eq!(kind(&qml), kind(&of_field));
}

#[test]
fn what_is_wrong_with_the_farm_file_is_told_before_anything_is_made() {
    for (old, new, notice) in [
        ("[common.rate]", "[common.rates]", "rate"),
        ("maximum = \"140", "maximun = \"140", "maximum"),
        ("season.planted =", "season.plantd =", "season.planted"),
        (
            "column = \"yield\"",
            "column = \"yeild\"",
            "did you mean \"yield\"?",
        ),
        (
            "path = \"fields.geojson\"",
            "path = \"field.geojson\"",
            "field.geojson",
        ),
        ("maximum = \"140 kg N/ha\"", "maximum = 140", "unit"),
        ("name = \"name\"", "name = \"yield\"", "tell"),
    ] {
        let farm = Farm::new();
        farm.change("farm.toml", old, new);
        let output = farm.command(&["batch", "farm.toml"]).output().unwrap();
        let wording = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(1), "{new}: {wording}");
        assert!(wording.contains(notice), "{new}: {wording}");
        assert!(!farm.path("season/rows").exists(), "{new}");
    }
    let farm = Farm::new();
    let text = fs_err::read_to_string(farm.path("farm.toml")).unwrap();
    farm.write("farm.toml", &(text + "\n[[exception]]\nfield = \"Mill Pece\"\nreason = \"x\"\njob.rate.step = \"10 kg N/ha\"\n"));
    let output = farm.command(&["batch", "farm.toml"]).output().unwrap();
    assert!(String::from_utf8_lossy(&output.stderr).contains("did you mean \"Mill Piece\"?"));
}

#[test]
fn parts_of_the_work_add_up() {
    let farm = Farm::new();
    let (_, first, last) = farm.run(&["--shard", "1/3"]);
    assert_eq!(last["waiting"], 3 - first.len() as u64 + 1);
    let mut fields: Vec<String> = Vec::new();
    fields.extend(first.iter().map(|row| row["field"].to_string()));
    for part in ["2/3", "3/3"] {
        let (_, rows, _) = farm.run(&["--shard", part]);
        fields.extend(rows.iter().map(|row| row["field"].to_string()));
    }
    fields.sort();
    fields.dedup();
    assert_eq!(fields.len(), 4);
    let (_, _, last) = farm.run(&[]);
    assert_eq!(
        (last["made"].as_u64(), last["waiting"].as_u64()),
        (Some(0), Some(0))
    );
    let output = farm
        .command(&["batch", "farm.toml", "--shard", "4/3"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn each_block_of_a_shared_image_is_decoded_once() {
    let farm = Farm::new();
    let (_, _, last) = farm.run(&["--threads", "2"]);
    let (decoded, blocks) = (
        last["blocks_decoded"].as_u64().unwrap(),
        last["blocks"].as_u64().unwrap(),
    );
    // Three fields over blocks of 128 m: 8 by 3.
    assert!(blocks >= 18, "{last}");
    assert!(
        decoded as f64 <= 1.2 * blocks as f64,
        "{decoded} of {blocks}"
    );
}

#[test]
fn the_newest_image_that_shows_the_field_is_taken() {
    let farm = Farm::new();
    // The newer one shows the western field alone, and of the next a part.
    cut(&farm.path("tile.tif"), &farm.path("newer.tif"), 230);
    farm.change(
        "farm.toml",
        "[[images]]\n",
        "[[images]]\npath = \"newer.tif\"\ndate = 2026-04-18\n\n[[images]]\n",
    );
    let (_, rows, _) = farm.run(&[]);
    let image = |field: usize| rows[field]["image"]["path"].as_str().unwrap();
    assert_eq!(
        [image(1), image(2), image(3)],
        ["newer.tif", "tile.tif", "tile.tif"],
        "{rows:#?}"
    );
    let passed = &rows[2]["passed_over"][0];
    assert_eq!(passed["path"], "newer.tif");
    assert!(
        passed["passed_over"]
            .as_str()
            .unwrap()
            .starts_with("shows "),
        "{passed}"
    );
    // One that lies elsewhere is no news.
    assert!(rows[3]["passed_over"].as_array().unwrap().is_empty());
    assert_eq!(rows[0]["state"], "refused");
}

/// The western columns of an image.
fn cut(from: &Path, to: &Path, cols: usize) {
    use gdal::{Dataset, DriverManager, Metadata as _};
    let source = Dataset::open(from).unwrap();
    let rows = source.raster_size().1;
    let mut file = DriverManager::get_driver_by_name("GTiff")
        .unwrap()
        .create_with_band_type::<f32, _>(to, cols, rows, 2)
        .unwrap();
    file.set_spatial_ref(&source.spatial_ref().unwrap())
        .unwrap();
    file.set_geo_transform(&source.geo_transform().unwrap())
        .unwrap();
    for k in 1..=2 {
        let band = source.rasterband(k).unwrap();
        let mut values = band
            .read_as::<f32>((0, 0), (cols, rows), (cols, rows), None)
            .unwrap();
        let mut into = file.rasterband(k).unwrap();
        into.set_no_data_value(Some(-9999.0)).unwrap();
        into.set_description(&band.description().unwrap()).unwrap();
        into.write((0, 0), (cols, rows), &mut values).unwrap();
    }
    file.close().unwrap();
}

#[test]
fn a_killed_run_goes_on_where_it_was() {
    let farm = Farm::new();
    let (_, _, _) = farm.run(&[]);
    let whole: Vec<_> = ["long-ley", "mill-piece", "upper-forty"]
        .map(|name| bytes(&farm.path("season").join(name)))
        .into();
    // Moments of a fixed seed, from the first file read to the last one written.
    let mut dice: u64 = 0x9E37_79B9_7F4A_7C15;
    for round in 0..6 {
        let _ = fs_err::remove_dir_all(farm.path("season"));
        let mut before = 0;
        for _ in 0..2 {
            dice ^= dice << 13;
            dice ^= dice >> 7;
            dice ^= dice << 17;
            let mut child = farm
                .command(&["batch", "farm.toml", "--quiet", "--threads", "1"])
                .stdout(std::process::Stdio::null())
                .stderr(std::process::Stdio::null())
                .spawn()
                .unwrap();
            std::thread::sleep(std::time::Duration::from_millis(100 + dice % 1_500));
            child.kill().unwrap();
            child.wait().unwrap();
            let rows = farm.path("season/rows");
            let stored = fs_err::read_dir(&rows).map_or(0, |all| {
                all.filter(|entry| {
                    !entry
                        .as_ref()
                        .unwrap()
                        .file_name()
                        .to_string_lossy()
                        .starts_with('.')
                })
                .count()
            });
            assert!(stored >= before, "round {round}: a finished field was lost");
            before = stored;
        }
        let (_, _, last) = farm.run(&[]);
        assert_eq!(last["done"], 3, "round {round}: {last}");
        assert_eq!(
            last["skipped"].as_u64().unwrap() as usize,
            before,
            "round {round}"
        );
        let again: Vec<_> = ["long-ley", "mill-piece", "upper-forty"]
            .map(|name| bytes(&farm.path("season").join(name)))
            .into();
        assert!(again == whole, "round {round}");
    }
}

#[test]
fn a_folder_at_another_run_has_a_status_of_its_own() {
    let farm = Farm::new();
    fs_err::create_dir_all(farm.path("season")).unwrap();
    let lock = fs_err::File::create(farm.path("season/.long-ley.haulm-lock")).unwrap();
    lock.file().lock().unwrap();
    let (status, rows, last) = farm.run(&[]);
    assert_eq!(status, Some(3), "{last}");
    assert_eq!(
        (rows[1]["state"].as_str(), rows[1]["code"].as_str()),
        (Some("busy"), Some("output.busy"))
    );
    assert!(!farm.path("season/rows/long-ley.json").exists());
    drop(lock);
    let (status, rows, last) = farm.run(&[]);
    assert_eq!(
        (status, last["made"].as_u64()),
        (Some(1), Some(1)),
        "{rows:#?}"
    );
}

/// Every command of the guide, in its order, on the demo farm.
#[test]
fn the_guides_commands_do_what_it_says() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let guide = fs_err::read_to_string(root.join("docs/guide/many-fields.md")).unwrap();
    let commands: Vec<&str> = guide
        .lines()
        .filter_map(|line| line.strip_prefix("    "))
        .collect();
    assert!(commands.len() >= 9, "{commands:?}");
    let scratch = tempfile::tempdir().unwrap();
    let farm = scratch.path().join("farm");
    for folder in ["farm", "field"] {
        fs_err::create_dir(scratch.path().join(folder)).unwrap();
        for entry in fs_err::read_dir(root.join("demo").join(folder)).unwrap() {
            let path = entry.unwrap().path();
            if path.is_file()
                && path
                    .extension()
                    .is_none_or(|end| end != "tif" || folder == "farm")
            {
                fs_err::copy(
                    &path,
                    scratch.path().join(folder).join(path.file_name().unwrap()),
                )
                .unwrap();
            }
        }
    }
    // Six of the fields are enough, without the paper.
    let text = fs_err::read_to_string(farm.join("farm.toml")).unwrap();
    let few = "path = \"fields.geojson\"\nwhere = \"name IN ('Long Ley', 'Mill Piece', 'Kiln Ground', 'Hollow Ash', 'Rush Meadow', 'Quarry Top')\"";
    let text =
        text.replacen("path = \"fields.geojson\"", few, 1) + "\n[common.report]\npdf = false\n";
    fs_err::write(farm.join("farm.toml"), text).unwrap();
    let programs = Path::new(env!("CARGO_BIN_EXE_haulm")).parent().unwrap();
    let mut last = String::new();
    for line in commands {
        let done = Command::new("bash")
            .args(["-c", line])
            .current_dir(&farm)
            .env(
                "PATH",
                format!("{}:{}", programs.display(), std::env::var("PATH").unwrap()),
            )
            .output()
            .unwrap();
        let wording = String::from_utf8_lossy(&done.stderr).into_owned();
        let is_batch = line.starts_with("haulm batch")
            && !line.contains("kill")
            && !line.contains("--write-jobs");
        // Hollow Ash has no strip.
        let due = if is_batch { Some(1) } else { Some(0) };
        if !line.contains("kill") {
            assert_eq!(done.status.code(), due, "{line}: {wording}");
        }
        last = String::from_utf8_lossy(&done.stdout).into_owned();
        assert!(!wording.contains("error["), "{line}: {wording}");
    }
    assert!(last.contains("Maps written"), "{last}");
    assert!(farm.join("out/index.html").is_file() && farm.join("stick/haulm.json").is_file());
    assert!(
        fs_err::read_to_string(farm.join("out/fields.csv"))
            .unwrap()
            .contains("\nHollow Ash,refused,job.missing,")
    );
}

/// One band of an image as a file of whole numbers of its own: reflectance times 10 000, 0 for no data; as JPEG 2000 where the name says so.
fn band_file(from: &Path, band: usize, to: &Path) {
    use gdal::raster::{Buffer, RasterCreationOptions};
    use gdal::{Dataset, DriverManager};
    let source = Dataset::open(from).unwrap();
    let size = source.raster_size();
    let values = source
        .rasterband(band)
        .unwrap()
        .read_as::<f32>((0, 0), size, size, None)
        .unwrap();
    let stored: Vec<u16> = values
        .data()
        .iter()
        .map(|value| {
            if *value < 0.0 {
                0
            } else {
                (value * 10_000.0).round() as u16
            }
        })
        .collect();
    let plain = to.with_extension("tif");
    let mut file = DriverManager::get_driver_by_name("GTiff")
        .unwrap()
        .create_with_band_type::<u16, _>(&plain, size.0, size.1, 1)
        .unwrap();
    file.set_spatial_ref(&source.spatial_ref().unwrap())
        .unwrap();
    file.set_geo_transform(&source.geo_transform().unwrap())
        .unwrap();
    file.rasterband(1)
        .unwrap()
        .write((0, 0), size, &mut Buffer::new(size, stored))
        .unwrap();
    if to.extension().is_some_and(|end| end == "jp2") {
        let driver = DriverManager::get_driver_by_name("JP2OpenJPEG").unwrap();
        let options =
            RasterCreationOptions::from_iter(["REVERSIBLE=YES", "QUALITY=100"].map(str::to_owned));
        file.create_copy(&driver, to, &options)
            .unwrap()
            .close()
            .unwrap();
        drop(file);
        fs_err::remove_file(&plain).unwrap();
    } else {
        file.close().unwrap();
    }
}

fn item(id: &str, day: &str, cloud: f64, bounds: &str, end: &str) -> String {
    format!(
        r#"{{"type":"Feature","stac_version":"1.0.0","id":"{id}","bbox":{bounds},"properties":{{"datetime":"{day}T10:00:00Z","eo:cloud_cover":{cloud}}},
        "assets":{{"B04":{{"href":"./red.{end}","raster:bands":[{{"scale":0.0001,"offset":0,"nodata":0}}]}},"B08":{{"href":"./nir.{end}","raster:bands":[{{"scale":0.0001,"offset":0,"nodata":0}}]}}}}}}"#
    )
}

#[test]
fn scenes_of_a_catalogue_are_chosen_by_field_day_and_cloud() {
    let mut totals = Vec::new();
    for end in ["tif", "jp2"] {
        let farm = Farm::new();
        fs_err::create_dir(farm.path("scenes")).unwrap();
        for (band, name) in [(1, "red"), (2, "nir")] {
            band_file(
                &farm.path("tile.tif"),
                band,
                &farm.path(&format!("scenes/{name}.{end}")),
            );
        }
        let here = "[15.0,49.0,17.0,51.0]";
        farm.write(
            "scenes/a.json",
            &item("clear", "2026-04-14", 4.0, here, end),
        );
        farm.write(
            "scenes/b.json",
            &item("cloudy", "2026-04-16", 80.0, here, end),
        );
        farm.write(
            "scenes/c.json",
            &item("elsewhere", "2026-04-18", 1.0, "[3.0,40.0,4.0,41.0]", end),
        );
        let links =
            ["a", "b", "c"].map(|name| format!(r#"{{"rel":"item","href":"scenes/{name}.json"}}"#));
        farm.write(
            "catalog.json",
            &format!(
                r#"{{"type":"Catalog","stac_version":"1.0.0","links":[{}]}}"#,
                links.join(",")
            ),
        );
        farm.change(
            "farm.toml",
            "[[images]]\npath = \"tile.tif\"\ndate = 2026-04-14\n",
            "[catalogue]\npath = \"catalog.json\"\nbands = { red = \"B04\", nir = \"B08\" }\nmaximum_cloud = 0.5\n",
        );
        let (_, rows, last) = farm.run(&[]);
        assert_eq!(last["done"], 3, "{rows:#?}");
        assert_eq!(
            (
                rows[1]["image"]["path"].as_str(),
                rows[1]["image"]["date"].as_str()
            ),
            (Some("clear"), Some("2026-04-14"))
        );
        totals.push(rows[1]["n_kg"].as_f64().unwrap());
        // The record names the original.
        let record =
            fs_err::read_to_string(farm.path("season/long-ley/office/record.json")).unwrap();
        assert!(record.contains(&format!("scenes/red.{end}")) && !record.contains("staged"));
        assert!(
            !farm.path("season/staged").exists(),
            "copies go when every field has its row"
        );
        farm.change("scenes/a.json", "B08", "B8A");
        let output = farm.command(&["batch", "farm.toml"]).output().unwrap();
        let wording = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(
            wording.contains("farm.catalogue") || output.status.code() == Some(1),
            "{wording}"
        );
    }
    assert_eq!(
        totals[0], totals[1],
        "JPEG 2000 by its copy is the same image"
    );
}
