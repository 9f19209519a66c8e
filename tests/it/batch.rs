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
struct Farm(Field);

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
    fn new() -> Self {
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
    fn path(&self, name: &str) -> std::path::PathBuf {
        self.0.path(name)
    }
    fn write(&self, name: &str, text: &str) {
        fs_err::write(self.path(name), text).unwrap();
    }
    fn change(&self, name: &str, old: &str, new: &str) {
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
    fn run(&self, more: &[&str]) -> (Option<i32>, Vec<Value>, Value) {
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
