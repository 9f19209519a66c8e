//! Every command block of guide and README is run as it stands there, in a folder with the files that the pages name.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use gdal::Dataset;
use gdal::vector::{Geometry, LayerAccess as _};
use serde_json::{Value, json};
use tempfile::TempDir;

/// Commands that do not end by themselves: the browser tests run them.
const SERVERS: [&str; 2] = ["haulm page", "demo/run"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Runs a script in a folder, with haulm on the path.
fn run(folder: &Path, script: &str) -> (Option<i32>, String) {
    let program = Path::new(env!("CARGO_BIN_EXE_haulm"));
    let path = std::env::var("PATH").unwrap_or_default();
    let output = Command::new("sh")
        .args(["-eu", "-c", script])
        .current_dir(folder)
        .env(
            "PATH",
            format!("{}:{path}", program.parent().unwrap().display()),
        )
        .output()
        .unwrap();
    let wording = format!(
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    (output.status.code(), wording)
}

fn geojson(features: &[Value]) -> String {
    json!({ "type": "FeatureCollection", "features": features }).to_string()
}

/// A feature of a file of the demo field, moved in longitude and latitude.
fn moved(file: &str, at: usize, name: &str, (east, north): (f64, f64)) -> Value {
    let text = fs_err::read_to_string(root().join("demo/field").join(file)).unwrap();
    let mut feature = serde_json::from_str::<Value>(&text).unwrap()["features"][at].clone();
    feature["properties"] = json!({ "name": name });
    for ring in feature["geometry"]["coordinates"].as_array_mut().unwrap() {
        for point in ring.as_array_mut().unwrap() {
            let [x, y] = [0, 1].map(|k| point[k].as_f64().unwrap());
            *point = json!([x + east, y + north]);
        }
    }
    feature
}

/// The demo field cut along two meridians: three fields in one KML, and a strip in each.
fn farm(folder: &Path) {
    let dataset = Dataset::open(root().join("demo/field/boundary.geojson")).unwrap();
    let mut layer = dataset.layer(0).unwrap();
    let whole = layer.features().next().unwrap();
    let whole = whole.geometry().unwrap();
    let mut places = String::new();
    for (name, west, east) in [
        ("Ober Ley", 15.83, 15.8395),
        ("Große Wiese 40", 15.8395, 15.8422),
        ("Große Wiese 80", 15.8422, 15.85),
    ] {
        let part = Geometry::bbox(west, 50.18, east, 50.20).unwrap();
        let shape = whole.intersection(&part).unwrap();
        let value: Value = serde_json::from_str(&shape.json().unwrap()).unwrap();
        let ring: Vec<String> = value["coordinates"][0]
            .as_array()
            .unwrap()
            .iter()
            .map(|point| format!("{},{}", point[0], point[1]))
            .collect();
        let _ = write!(
            places,
            "<Placemark><name>{name}</name><Polygon><outerBoundaryIs><LinearRing><coordinates>{}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark>",
            ring.join(" ")
        );
    }
    let kml = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<kml xmlns=\"http://www.opengis.net/kml/2.2\"><Document>{places}</Document></kml>"
    );
    fs_err::write(folder.join("farm.kml"), kml).unwrap();
    let strips = [
        moved("strips.geojson", 0, "south strip", (-0.0008, -0.0002)),
        moved("strips.geojson", 1, "north strip", (0.0, 0.0)),
        moved("strips.geojson", 0, "east strip", (0.0012, 0.0012)),
    ];
    fs_err::write(folder.join("farm-strips.geojson"), geojson(&strips)).unwrap();
}

/// What the pages take for granted: the demo field's files, two jobs with their maps, a map in several formats, a farm, a log of readings.
fn folder() -> TempDir {
    let made = tempfile::tempdir().unwrap();
    let folder = made.path();
    for entry in fs_err::read_dir(root().join("demo/field")).unwrap() {
        let from = entry.unwrap().path();
        fs_err::copy(&from, folder.join(from.file_name().unwrap())).unwrap();
    }
    farm(folder);
    let job = fs_err::read_to_string(root().join("demo/job.toml")).unwrap();
    let job = job.replace("\"field/", "\"");
    for (file, name) in [("long-ley", "Long Ley"), ("mill-piece", "Mill Piece")] {
        let own = job
            .replace("\"Long Ley\"", &format!("{name:?}"))
            .replace("folder  = \"out\"", &format!("folder = \"{file}-map\""));
        assert!(own.contains(&format!("{file}-map")), "{own}");
        fs_err::write(folder.join(format!("{file}.toml")), own).unwrap();
    }
    let line = json!({ "type": "Feature", "properties": {}, "geometry": { "type": "LineString", "coordinates": [[15.8405, 50.1883], [15.8430, 50.18913]] } });
    fs_err::write(folder.join("line.geojson"), geojson(&[line])).unwrap();
    let (status, wording) = run(
        folder,
        "haulm map long-ley.toml mill-piece.toml
         haulm stick long-ley.toml mill-piece.toml --to stick
         for end in shp shx dbf prj cpg; do cp long-ley-map/machine/LONG_LEY.$end zones.$end; done
         cp long-ley-map/office/prescription.gpkg prescription.gpkg
         cp long-ley-map/office/prescription.gpkg zones.gpkg
         cp -r long-ley-map/machine/TASKDATA TASKDATA",
    );
    assert_eq!(status, Some(0), "{wording}");
    made
}

/// The blocks of a page that are marked as shell.
fn blocks(page: &Path) -> Vec<(usize, String)> {
    let text = fs_err::read_to_string(page).unwrap();
    let mut found: Vec<(usize, String)> = Vec::new();
    let mut open = false;
    for (number, line) in (1..).zip(text.lines()) {
        if line.starts_with("```") {
            open = line == "```sh";
            if open {
                found.push((number, String::new()));
            }
        } else if open && let Some((_, block)) = found.last_mut() {
            block.push_str(line);
            block.push('\n');
        }
    }
    found
}

/// A block without the commands that do not end.
fn script(block: &str) -> String {
    block
        .lines()
        .filter(|line| !SERVERS.iter().any(|server| line.starts_with(server)))
        .collect::<Vec<_>>()
        .join("\n")
}

fn pages() -> Vec<PathBuf> {
    let mut pages: Vec<PathBuf> = fs_err::read_dir(root().join("docs/guide"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .chain([root().join("README.md")])
        .collect();
    pages.sort();
    pages
}

#[test]
fn every_command_of_the_guide_does_what_it_says() {
    let mut count = 0;
    for page in pages() {
        let blocks = blocks(&page);
        if blocks.is_empty() || SET_UP_ELSEWHERE.iter().any(|other| page.ends_with(other)) {
            continue;
        }
        // Each page begins anew; its blocks build on one another.
        let made = folder();
        for (number, block) in blocks {
            let script = script(&block);
            let (status, wording) = run(made.path(), &script);
            assert_eq!(
                status,
                Some(0),
                "{}:{number}: {script}\n{wording}",
                page.display()
            );
            count += script.matches("haulm ").count();
        }
    }
    assert!(count > 25, "{count} commands were run");
}

/// Pages whose commands need files of their own; their tests stand with what they show.
const SET_UP_ELSEWHERE: [&str; 2] = [
    "docs/guide/many-fields.md",
    "docs/guide/beyond-one-machine.md",
];

#[test]
fn no_command_hides_outside_a_block_that_is_run() {
    let own = |page: &PathBuf| !SET_UP_ELSEWHERE.iter().any(|other| page.ends_with(other));
    for page in pages().into_iter().filter(own) {
        let text = fs_err::read_to_string(&page).unwrap();
        let mut fence = None;
        for (number, line) in (1..).zip(text.lines()) {
            if line.starts_with("```") {
                fence = if fence.is_some() { None } else { Some(line) };
                continue;
            }
            let command = line.trim_start().starts_with("haulm ")
                && (fence.is_some() || line.starts_with("    "));
            assert!(
                !command || fence == Some("```sh"),
                "{}:{number}: mark it as sh, so that it is run: {line}",
                page.display()
            );
        }
    }
}
