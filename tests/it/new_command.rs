//! `haulm new`: what the files say is written, the rest stays open, nothing is overwritten.

use std::path::Path;
use std::process::{Command, Output};

use haulm::app::job::read_map_job;

fn haulm(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_haulm"))
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap()
}

fn copied() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs_err::create_dir(folder.path().join("field")).unwrap();
    for name in [
        "boundary.geojson",
        "mosaic.tif",
        "strips.geojson",
        "weather.csv",
    ] {
        fs_err::copy(
            Path::new(env!("CARGO_MANIFEST_DIR"))
                .join("demo/field")
                .join(name),
            folder.path().join("field").join(name),
        )
        .unwrap();
    }
    folder
}

const INPUTS: [&str; 5] = [
    "new",
    "field/boundary.geojson",
    "field/mosaic.tif",
    "--strips",
    "field/strips.geojson",
];
const SEASON: [&str; 8] = [
    "--date",
    "2026-04-14",
    "--planted",
    "2025-10-06",
    "--weather",
    "field/weather.csv",
    "--max-yield",
    "4.0 t/ha",
];

fn files(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs_err::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

#[test]
fn bands_are_read_and_only_the_rest_is_left_open() {
    let folder = copied();
    let output = haulm(folder.path(), &[&INPUTS[..], &SEASON[..]].concat());
    assert_eq!(
        output.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let text = fs_err::read_to_string(folder.path().join("job.toml")).unwrap();
    assert!(
        text.contains("red = 3")
            && text.contains("nir = 5")
            && text.contains("boundary = \"field/boundary.geojson\""),
        "{text}"
    );
    let notice = String::from_utf8(output.stdout).unwrap();
    for key in [
        "response.yield_curve",
        "rate.maximum",
        "machine.working_width",
    ] {
        assert!(
            notice
                .lines()
                .any(|line| line.contains(key) && line.contains("TODO")),
            "{key} in {notice}"
        );
    }
    assert_eq!(
        text.lines()
            .filter(|line| !line.starts_with('#') && line.contains("\"TODO\""))
            .count(),
        3
    );
    assert_eq!(
        files(folder.path()),
        ["field", "haulm.schema.json", "job.toml"],
        "no temporary file is left"
    );
    let filled = text
        .replace(
            "yield_curve = \"TODO\"",
            "yield_curve = \"winter wheat, common practice\"",
        )
        .replace("maximum = \"TODO\"", "maximum = \"80 kg N/ha\"")
        .replace("working_width = \"TODO\"", "working_width = \"24 m\"");
    fs_err::write(folder.path().join("job.toml"), filled).unwrap();
    let job = folder.path().join("job.toml");
    let settings = read_map_job(&job).unwrap().value;
    assert_eq!(
        settings.field.boundary.path,
        folder.path().join("field/boundary.geojson")
    );
}

#[test]
fn paths_are_relative_to_the_job() {
    let folder = copied();
    fs_err::create_dir(folder.path().join("jobs")).unwrap();
    let output = haulm(
        folder.path(),
        &[
            &INPUTS[..],
            &["--output", "jobs/ley.toml", "--name", "Long Ley"],
        ]
        .concat(),
    );
    assert_eq!(
        output.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let text = fs_err::read_to_string(folder.path().join("jobs/ley.toml")).unwrap();
    assert!(
        text.contains("boundary = \"../field/boundary.geojson\"")
            && text.contains("name     = \"Long Ley\""),
        "{text}"
    );
    // The image does not say when it was taken; nothing else may stand in for that.
    assert!(text.contains("date = \"TODO\""), "{text}");
}

#[test]
fn a_job_that_is_there_is_left_alone() {
    let folder = copied();
    fs_err::write(folder.path().join("job.toml"), "mine").unwrap();
    let output = haulm(folder.path(), &INPUTS);
    assert_eq!(output.status.code(), Some(1));
    assert!(
        String::from_utf8(output.stderr)
            .unwrap()
            .contains("error[job.exists]")
    );
    assert_eq!(
        fs_err::read_to_string(folder.path().join("job.toml")).unwrap(),
        "mine"
    );
    let output = haulm(folder.path(), &[&INPUTS[..], &["--overwrite"]].concat());
    assert_eq!(output.status.code(), Some(0));
    assert!(
        fs_err::read_to_string(folder.path().join("job.toml"))
            .unwrap()
            .starts_with("#:schema ./haulm.schema.json\n# One field, one decision.")
    );
}

#[test]
fn refused_options_and_files_write_nothing() {
    let folder = copied();
    let cases: [(&[&str], &str); 6] = [
        (&["--max-yield", "9"], "--max-yield \"9 t/ha\""),
        (&["--index", "NDRI"], "did you mean \"NDVI\"?"),
        (&["--product", "ureea"], "urea"),
        (&["--weather", "no-such.csv"], "no-such.csv"),
        (&["--output", "no-such-folder/job.toml"], "no-such-folder"),
        (&["--maximum", "120 kg/ha"], "kg N/ha"),
    ];
    for (more, requirement) in cases {
        let output = haulm(folder.path(), &[&INPUTS[..], more].concat());
        let notice = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(1), "{more:?}: {notice}");
        assert!(notice.contains(requirement), "{more:?}: {notice}");
    }
    let output = haulm(
        folder.path(),
        &[
            "new",
            "field/boundary.geojson",
            "/vsicurl/http://x.invalid/a.tif",
        ],
    );
    assert!(
        String::from_utf8(output.stderr)
            .unwrap()
            .contains("error[file.network]")
    );
    let output = haulm(
        folder.path(),
        &["new", "field/weather.csv", "field/mosaic.tif"],
    );
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(files(folder.path()), ["field"]);
}

#[test]
fn the_schema_stands_beside_the_job_and_a_strange_one_stays() {
    let folder = copied();
    let output = haulm(folder.path(), &INPUTS);
    assert_eq!(output.status.code(), Some(0));
    let schema = folder.path().join("haulm.schema.json");
    let text = fs_err::read_to_string(&schema).unwrap();
    assert!(text.contains("draft-07") && text.contains("working_width"));
    // One of another haulm is renewed.
    fs_err::write(&schema, "{ \"title\": \"haulm 0.0.1 job file\" }").unwrap();
    let output = haulm(folder.path(), &[&INPUTS[..], &["--overwrite"]].concat());
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(fs_err::read_to_string(&schema).unwrap(), text);
    // Somebody else's file is left as it is, and that is told.
    fs_err::write(&schema, "mine").unwrap();
    let output = haulm(folder.path(), &[&INPUTS[..], &["--overwrite"]].concat());
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(fs_err::read_to_string(&schema).unwrap(), "mine");
    let notice =
        String::from_utf8(output.stderr).unwrap() + &String::from_utf8(output.stdout).unwrap();
    assert!(notice.contains("haulm.schema.json"), "{notice}");
}
