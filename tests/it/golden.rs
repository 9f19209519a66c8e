//! What people and scripts get, whole: compared with files in `tests/golden`, which `HAULM_RENEW=1 cargo test --test it golden` writes anew.
//!
//! Paths, sizes of files, times and the version are taken out, floats of the record are rounded to 6 digits: what is left is what a change of haulm changed.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use crate::field::{Field, Image, Wording};

fn golden_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden")
}

/// Compares a text with its golden file, or writes the file.
fn compare(name: &str, text: &str) {
    let path = golden_folder().join(name);
    if std::env::var_os("HAULM_RENEW").is_some() {
        fs_err::create_dir_all(golden_folder()).unwrap();
        fs_err::write(&path, text).unwrap();
        return;
    }
    let due = fs_err::read_to_string(&path).unwrap_or_default();
    let differs = due
        .lines()
        .zip(text.lines())
        .enumerate()
        .find(|(_, (due, got))| due != got)
        .map(|(at, (due, got))| format!("line {}:\n  golden {due}\n  now    {got}", at + 1));
    assert!(
        due == text,
        "{name} is not what it was: {}\nlook whether that is meant; HAULM_RENEW=1 cargo test --test it golden writes it anew\n{text}",
        differs.unwrap_or_else(|| "it is longer or shorter".to_owned())
    );
}

/// A text without what differs from machine to machine and run to run.
fn filtered(text: &str, folder: &Path) -> String {
    let folder = folder.to_string_lossy();
    let text = text
        .replace(&format!("{folder}/"), "")
        .replace(folder.as_ref(), "FOLDER")
        .replace(env!("CARGO_PKG_VERSION"), "VERSION");
    // The id is the record's hash: any setting that is new in the record moves it.
    let id = regex::Regex::new(r"(?i)map(?: id)?\s+([0-9a-f]{6})\b").unwrap();
    match id.captures(&text) {
        Some(found) => text.replace(&found[1], "MAP_ID"),
        None => text,
    }
}

/// Both streams of a run, without its progress.
fn notice(wording: &Wording, folder: &Path) -> String {
    let messages: String = wording
        .err
        .lines()
        .filter(|line| !line.starts_with("haulm: "))
        .flat_map(|line| [line, "\n"])
        .collect();
    let mut text = format!("exit status {}\n\n{}", wording.status.unwrap(), wording.out);
    if !messages.is_empty() {
        text.push_str("\non standard error:\n");
        text.push_str(&messages);
    }
    filtered(&text, folder)
}

/// A short answer keeps to 30 lines of 80 columns.
fn is_short(wording: &Wording) {
    let lines: Vec<&str> = wording.out.lines().collect();
    assert!(lines.len() <= 30, "{} lines:\n{}", lines.len(), wording.out);
    for line in &lines {
        // The folder's own name may be longer.
        assert!(
            line.chars().count() <= 80 || line.contains("Folder: ") || line.contains("haulm "),
            "{line:?}"
        );
    }
}

/// The demo, copied to a folder of its own.
fn demo() -> tempfile::TempDir {
    let scratch = tempfile::tempdir().unwrap();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo");
    fs_err::create_dir(scratch.path().join("field")).unwrap();
    fs_err::copy(from.join("job.toml"), scratch.path().join("job.toml")).unwrap();
    for entry in fs_err::read_dir(from.join("field")).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_owned();
        fs_err::copy(&path, scratch.path().join("field").join(name)).unwrap();
    }
    scratch
}

fn run(folder: &Path, arguments: &[&str]) -> Wording {
    Command::new(env!("CARGO_BIN_EXE_haulm"))
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap()
        .into()
}

/// Floats to 6 significant digits, places and times of the machine out.
fn rounded(value: &mut Value) {
    match value {
        Value::Number(number) if number.is_f64() => {
            let x = number.as_f64().unwrap();
            let text = format!("{x:.5e}");
            *value = serde_json::json!(text.parse::<f64>().unwrap());
        }
        Value::Array(list) => list.iter_mut().for_each(rounded),
        Value::Object(map) => {
            // Hashes and sizes of outputs move with every byte of a picture or font.
            for key in ["made_at", "outputs", "map_id"] {
                if let Some(entry) = map.get_mut(key) {
                    *entry = Value::from("filtered");
                }
            }
            map.values_mut().for_each(rounded);
        }
        _ => {}
    }
}

#[test]
fn golden_demo_terminal_card_and_record() {
    let scratch = demo();
    let folder = scratch.path();
    let wording = run(folder, &["map", "job.toml"]);
    is_short(&wording);
    compare("demo_map.txt", &notice(&wording, folder));
    let wording = run(folder, &["check", "job.toml"]);
    is_short(&wording);
    compare("demo_check.txt", &notice(&wording, folder));
    let wording = run(folder, &["inspect", "job.toml"]);
    is_short(&wording);
    compare("demo_inspect.txt", &notice(&wording, folder));
    let card = fs_err::read_to_string(folder.join("out/machine/CARD.txt")).unwrap();
    compare("demo_card.txt", &filtered(&card, folder));
    let text = fs_err::read_to_string(folder.join("out/office/record.json")).unwrap();
    let mut record: Value = serde_json::from_str(&text).unwrap();
    rounded(&mut record);
    let text = serde_json::to_string_pretty(&record).unwrap() + "\n";
    compare("demo_record.json", &filtered(&text, folder));
    let wording = run(
        folder,
        &[
            "check",
            "out/machine/LONG_LEY.shp",
            "--boundary",
            "field/boundary.geojson",
        ],
    );
    is_short(&wording);
    compare("demo_check_map.txt", &notice(&wording, folder));
}

#[test]
fn golden_demo_details() {
    let scratch = demo();
    let wording = run(scratch.path(), &["check", "job.toml", "--details"]);
    compare("demo_check_details.txt", &notice(&wording, scratch.path()));
}

/// The job of the small field as somebody in the corn belt would write it.
const CORN: &str = r#"[field]
name = "South Eighty"
boundary = "boundary.geojson"

[imagery]
path = "image.tif"
date = 2026-06-24
index = "NDRE"
bands = { red_edge = 1, nir = 2 }

[reference]
strips = "strips.geojson"

[season]
crop = "corn"

[response]
method = "square root"
optimum = "180 lb N/ac"
delta_si = 0.3
index = "NDRE"

[rate]
maximum = "160 lb N/ac"
applied_before = "40 lb N/ac"

[product]
name = "UAN 32"

[machine]
working_width = "80 ft"
heading = "0 grid"

[output]
folder = "out"
"#;

fn corn() -> Field {
    let field = Field::new();
    field.image(&Image {
        names: ["", ""],
        ..Image::default()
    });
    field.write("job.toml", CORN);
    field
}

#[test]
fn golden_us_corn() {
    let field = corn();
    let wording = field.command(&["map", "job.toml"]);
    is_short(&wording);
    compare("us_corn_map.txt", &notice(&wording, &field.path("")));
    let card = fs_err::read_to_string(field.path("out/machine/CARD.txt")).unwrap();
    compare("us_corn_card.txt", &card);
    let wording = field.command(&["check", "job.toml", "--details"]);
    compare("us_corn_details.txt", &notice(&wording, &field.path("")));
}

#[test]
fn golden_stop() {
    let field = Field::new();
    field.job("[output]", "[application]\ndate = 2026-05-20\n\n[output]");
    let wording = field.command(&["map", "job.toml"]);
    is_short(&wording);
    assert_eq!(wording.status, Some(1));
    compare("stop_map.txt", &notice(&wording, &field.path("")));
}

#[test]
fn golden_no_response() {
    let field = Field::new();
    field.image(&Image {
        strip: 0.626,
        ..Image::default()
    });
    let wording = field.command(&["map", "job.toml"]);
    is_short(&wording);
    compare("no_response_map.txt", &notice(&wording, &field.path("")));
}

/// The findings of small jobs, each with one thing changed.
#[test]
fn golden_findings() {
    let changes: [(&str, &str, &str); 5] = [
        ("early", "growing_days = 100", "growing_days = 65"),
        ("little_yield", "\"7 t/ha\"", "\"3 t/ha\""),
        (
            "usual",
            "step = \"5 kg N/ha\"",
            "step = \"5 kg N/ha\"\nusual = \"160 kg N/ha\"",
        ),
        (
            "accepted",
            "[output]",
            "[application]\ndate = 2026-05-20\n\n[[accept]]\ncode = \"image.age\"\nfigure = \"36 d\"\nreason = \"cold spell, no growth\"\nby = \"A. Adviser\"\n\n[output]",
        ),
        ("no_product", "[product]\nname = \"UAN 28\"\n", ""),
    ];
    for (name, old, new) in changes {
        let field = Field::new();
        field.job(old, new);
        let wording = field.command(&["check", "job.toml", "--json"]);
        let value: Value = serde_json::from_str(&wording.out).unwrap();
        let findings: Vec<String> = value["findings"]
            .as_array()
            .unwrap()
            .iter()
            .map(|finding| {
                let text = |key: &str| finding[key].as_str().unwrap().to_owned();
                let accepted = finding["accepted"]["by"]
                    .as_str()
                    .map_or_else(String::new, |by| format!(" (accepted by {by})"));
                format!(
                    "{} [{}] {}{accepted}\n",
                    text("severity"),
                    text("code"),
                    text("message")
                )
            })
            .collect();
        compare(
            &format!("findings_{name}.txt"),
            &filtered(&findings.concat(), &field.path("")),
        );
    }
}
