//! Several fields of one file: a job each, all maps by one command, one stick, and the proof of it.

use std::fmt::Write as _;

use serde_json::Value;

use crate::field::{CORNER, EXTENT, Field, Wording, carry, rectangle, way};

/// Names as growers give them; two are the same in eight capitals.
const NAMES: [&str; 3] = ["Große Wiese 40", "Große Wiese 80", "O'Hara / Süd"];

/// What is given once for all fields, so that nothing is left to fill in.
const KNOWN: [&str; 14] = [
    "--date",
    "2026-04-14",
    "--growing-days",
    "100",
    "--max-yield",
    "7 t/ha",
    "--curve",
    "winter wheat, common practice",
    "--maximum",
    "120 kg N/ha",
    "--width",
    "24 m",
    "--product",
    "UAN 28",
];

/// Three fields from south to north in one KML, and a file with a strip in each, one more in no field.
fn farm() -> Field {
    let field = Field::new();
    let to = way("EPSG:32633", "EPSG:4326");
    let height = EXTENT.1 / 3.0;
    let mut places = String::new();
    for (k, name) in NAMES.iter().enumerate() {
        let south = height * k as f64;
        let mut ring = rectangle([0.0, south, EXTENT.0, south + height]);
        ring.extend(ring.first().copied());
        let corners: Vec<String> = ring
            .into_iter()
            .map(|(x, y)| {
                let (lon, lat) = carry(&to, CORNER.0 + x, CORNER.1 + y);
                format!("{lon:.9},{lat:.9}")
            })
            .collect();
        let _ = write!(
            places,
            "<Placemark><name>{name}</name><Polygon><outerBoundaryIs><LinearRing><coordinates>{}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark>",
            corners.join(" ")
        );
    }
    field.write(
        "farm.kml",
        format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<kml xmlns=\"http://www.opengis.net/kml/2.2\"><Document>{places}</Document></kml>"),
    );
    field.polygons(
        "strips.geojson",
        &[
            rectangle([120.0, 4.0, 144.0, 92.0]),
            rectangle([120.0, 100.0, 144.0, 188.0]),
            rectangle([120.0, 196.0, 144.0, 264.0]),
            rectangle([400.0, 0.0, 424.0, 200.0]),
        ],
    );
    field
}

fn json(wording: &Wording) -> Value {
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    serde_json::from_str(&wording.out).unwrap()
}

fn new_jobs(field: &Field) -> Value {
    let begin = [
        "new",
        "farm.kml",
        "image.tif",
        "--strips",
        "strips.geojson",
        "--all",
        "--output",
        "jobs",
        "--json",
    ];
    json(&field.command(&[&begin[..], &KNOWN[..]].concat()))
}

#[test]
fn three_fields_of_one_kml_are_on_one_stick_after_four_commands() {
    let field = farm();
    let made = new_jobs(&field);
    let jobs = made["result"]["jobs"].as_array().unwrap();
    assert_eq!(jobs.len(), 3);
    for (k, job) in jobs.iter().enumerate() {
        assert_eq!(job["name"], NAMES[k]);
        assert_eq!(job["open"].as_array().unwrap().len(), 0, "{job}");
        assert_eq!(job["strips"], 1);
        let text = fs_err::read_to_string(field.path(job["job"].as_str().unwrap())).unwrap();
        assert!(
            text.contains(&format!("where = \"id = {}\"", k + 1)),
            "{text}"
        );
    }
    let notice = made["findings"].to_string();
    assert!(notice.contains("strip 4 lies in no field"), "{notice}");

    let maps = json(&field.command(&["map", "jobs", "--json"]));
    let maps = maps["result"]["jobs"].as_array().unwrap();
    assert_eq!(maps.len(), 3);
    for map in maps {
        assert_eq!(map["status"], "done", "{map}");
        assert!(map["totals"]["n_kg"].as_f64().unwrap() > 0.0, "{map}");
    }

    let stick = json(&field.command(&["stick", "jobs", "--to", "stick", "--json"]));
    assert_eq!(stick["result"]["maps"].as_array().unwrap().len(), 3);
    let names: Vec<&str> = stick["result"]["maps"]
        .as_array()
        .unwrap()
        .iter()
        .map(|map| map["name"].as_str().unwrap())
        .collect();
    assert_eq!(names, ["GROSSE40", "GROSSE80", "O_HARA_S"]);

    let proof = json(&field.command(&["check", "stick", "--against", "jobs", "--json"]));
    assert_eq!(proof["findings"].as_array().unwrap().len(), 0, "{proof}");
    // Without the office, each task is checked for itself.
    let checked = json(&field.command(&["check", "stick", "--json"]));
    let tasks = checked["result"]["tasks"].as_array().unwrap();
    assert_eq!(tasks.len(), 3);
    for (map, id) in maps
        .iter()
        .map(|map| map["map_id"].as_str().unwrap())
        .zip(1..)
    {
        let task = tasks
            .iter()
            .find(|task| task["map"]["name"].as_str().unwrap().ends_with(map))
            .unwrap_or_else(|| panic!("map {id} in {checked}"));
        assert_eq!(task["errors"], 0, "{task}");
    }
}

#[test]
fn a_job_that_is_refused_does_not_keep_the_others() {
    let field = farm();
    new_jobs(&field);
    let job = field.path("jobs/große-wiese-80.toml");
    let text = fs_err::read_to_string(&job).unwrap();
    fs_err::write(&job, text.replace("date  = 2026-04-14", "date  = \"soon\"")).unwrap();
    let wording = field.command(&["map", "jobs", "--json"]);
    assert_eq!(wording.status, Some(1), "{}", wording.err);
    let value: Value = serde_json::from_str(&wording.out).unwrap();
    let states: Vec<&str> = value["result"]["jobs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|job| job["status"].as_str().unwrap())
        .collect();
    assert_eq!(states, ["done", "refused", "done"]);
    assert!(value["findings"].to_string().contains("maps.refused"));
    let wording = field.command(&["map", "jobs"]);
    assert!(wording.out.lines().count() <= 30, "{}", wording.out);
    assert!(
        wording.out.contains("REFUSED") && wording.out.contains("2 done, 0 stopped, 1 refused"),
        "{}",
        wording.out
    );
    // A stick of all of them is not made by halves.
    let wording = field.command(&["stick", "jobs", "--to", "stick"]);
    assert_eq!(wording.status, Some(1));
    assert!(
        wording.err.contains("große-wiese-80.toml"),
        "{}",
        wording.err
    );
}

#[test]
fn two_jobs_of_one_folder_are_refused_before_anything_is_computed() {
    let field = farm();
    new_jobs(&field);
    for name in ["große-wiese-40", "große-wiese-80"] {
        let job = field.path(&format!("jobs/{name}.toml"));
        let text = fs_err::read_to_string(&job).unwrap();
        let place = format!("folder = \"{name}-2026-04-14\"");
        assert!(text.contains(&place), "{text}");
        fs_err::write(&job, text.replace(&place, "folder = \"out\"")).unwrap();
    }
    let wording = field.command(&["map", "jobs"]);
    assert_eq!(wording.status, Some(1));
    assert!(wording.err.contains("map.same_folder"), "{}", wording.err);
    assert!(!field.path("jobs/out").exists());
    let wording = field.command(&["map", "jobs", "--output", "out"]);
    assert_eq!(wording.status, Some(2));
    assert!(wording.err.contains("map.output"), "{}", wording.err);
    let one = Field::new();
    let wording = one.command(&["map", "."]);
    assert_eq!(
        wording.status,
        Some(0),
        "one job of a folder: {}",
        wording.err
    );
    fs_err::create_dir(field.path("empty")).unwrap();
    let wording = field.command(&["map", "empty"]);
    assert_eq!(wording.status, Some(1));
    assert!(wording.err.contains("job.folder"), "{}", wording.err);
}

#[test]
fn one_field_of_several_takes_its_own_strips() {
    let field = farm();
    let begin = [
        "new",
        "farm.kml",
        "image.tif",
        "--strips",
        "strips.geojson",
        "--where",
        "Name = 'Große Wiese 80'",
    ];
    let wording = field.command(&[&begin[..], &KNOWN[..], &["--output", "one.toml"]].concat());
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    let text = fs_err::read_to_string(field.path("one.toml")).unwrap();
    assert!(
        text.contains("strips = { path = \"strips.geojson\", where = \"id = 2\" }"),
        "{text}"
    );
    assert!(
        !wording.out.contains("reference.of_field"),
        "{}",
        wording.out
    );
}
