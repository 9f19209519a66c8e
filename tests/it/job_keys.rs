//! `haulm keys` and the reference page: out of the rows that the reader uses, and complete.

use std::path::Path;
use std::process::Command;

use haulm::app::job::resolve::{map_job, rate_job};
use haulm::job::keys::TABLES;
use serde_json::Value;

use crate::job_refusals::{faults, with_line};

fn haulm(arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_haulm"))
        .args(arguments)
        .output()
        .unwrap();
    (
        output.status.code(),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

fn told(arguments: &[&str]) -> String {
    let (status, out, said) = haulm(arguments);
    assert_eq!((status, said.as_str()), (Some(0), ""));
    out
}

#[test]
fn the_reference_page_is_the_tables_own() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/reference/job.md");
    let page = told(&["keys", "--markdown"]);
    if std::env::var_os("HAULM_RENEW").is_some() {
        fs_err::create_dir_all(path.parent().unwrap()).unwrap();
        fs_err::write(&path, &page).unwrap();
    }
    let stands = fs_err::read_to_string(&path).unwrap_or_default();
    assert!(
        stands == page,
        "docs/reference/job.md is not what haulm keys --markdown prints: renew it with HAULM_RENEW=1"
    );
}

#[test]
fn every_key_is_listed_with_its_sentence() {
    let text = told(&["keys"]);
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "too wide:\n{text}"
    );
    let value: Value = serde_json::from_str(&told(&["keys", "--json"])).unwrap();
    let listed = value["result"]["keys"].as_array().unwrap();
    let mut count = 0;
    for table in TABLES.iter().filter(|table| !table.name.is_empty()) {
        for key in table.keys {
            count += 1;
            assert!(text.contains(key.name), "{}", key.name);
            let name = format!("{}.{}", table.name, key.name);
            assert!(
                listed
                    .iter()
                    .any(|row| row["key"] == name && row["about"] == key.about),
                "{name}"
            );
        }
    }
    assert_eq!(listed.len(), count);
    assert!(count > 200, "{count}");
}

#[test]
fn one_section_and_one_key() {
    let text = told(&["keys", "machine"]);
    assert!(
        text.contains("working_width")
            && text.contains("passes")
            && !text.contains("maximum_yield"),
        "{text}"
    );
    let text = told(&["keys", "rate.maximum"]);
    for part in [
        "rate.maximum",
        "nitrogen rate (kg N/ha, lb N/ac)",
        "yes",
        "1000 kg N/ha",
        "maximum = \"150 kg N/ha\"",
    ] {
        assert!(text.contains(part), "{part} in {text}");
    }
    // A key of several sections, by its bare name, and one that each method has a row of its own for.
    assert_eq!(
        told(&["keys", "working_width"]),
        told(&["keys", "machine.working_width"])
    );
    let text = told(&["keys", "dead_band"]);
    assert!(
        text.contains("yield response") && text.contains("square root") && text.contains("0.03"),
        "{text}"
    );
    let (status, _, said) = haulm(&["keys", "working_widht"]);
    assert_eq!(status, Some(1));
    assert!(said.contains("did you mean \"working_width\"?"), "{said}");
}

#[test]
fn the_schema_is_printed_as_json() {
    let value: Value = serde_json::from_str(&told(&["keys", "--schema"])).unwrap();
    assert_eq!(value, haulm::job::schema::schema());
    let (status, _, _) = haulm(&["keys", "rate", "--schema"]);
    assert_eq!(status, Some(2));
}

#[test]
fn a_key_in_the_wrong_section_names_the_right_one() {
    for (section, line, home) in [
        ("zones", "working_widht = \"24 m\"", "machine.working_width"),
        ("rate", "pixels_inside = 0.9", "imagery.pixel_inside"),
        ("machine", "use_efficency = 0.5", "response.use_efficiency"),
    ] {
        let found = faults(&with_line(section, line));
        assert!(found[0].hint().contains(home), "{}", found[0]);
    }
    // A key of a table within a section, where no section has it.
    let found = faults(&with_line("reference", "without_strip = \"pooled\""));
    assert!(
        found[0].hint().contains("[reference.zones]"),
        "{}",
        found[0]
    );
}

/// Every default of a row that a job leaves out is what the job gets by writing it.
#[test]
fn defaults_are_what_the_rows_say() {
    let bare = fs_err::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/jobs/good/map_shortest.toml"),
    )
    .unwrap()
    // The defaults of the rows are those of metric jobs.
    .replace("100 bu/ac", "6.7 t/ha");
    let record = |text: &str| {
        let settings = map_job(text.as_bytes(), Path::new("job.toml"))
            .unwrap_or_else(|error| panic!("{error}\n{text}"))
            .value;
        haulm::app::job::echo::settings(&settings, Path::new(""))
    };
    let plain = record(&bare);
    let mut tried = 0;
    for table in TABLES
        .iter()
        .filter(|table| !table.name.is_empty() && !table.name.contains('.'))
    {
        let header = format!("[{}]", table.name);
        for key in table.keys {
            let Some(value) = key.default_value() else {
                continue;
            };
            if !key.belongs_to("yield response")
                || matches!(table.name, "points" | "crop")
                || key.name.starts_with("ramp")
            {
                continue;
            }
            let line = format!("{} = {value}\n", key.name);
            // What the job says itself, and what excludes another key of it, cannot be left out.
            if bare.contains(&format!("\n{} =", key.name)) {
                continue;
            }
            let with = if bare.contains(&header) {
                bare.replacen(&header, &format!("{header}\n{line}"), 1)
            } else {
                format!("{bare}\n{header}\n{line}")
            };
            // Growing-day rules belong to a weather record.
            if key.name == "missing_days"
                || key.name == "growing_day_rule"
                || (table.name == "zones" && key.name == "by")
            {
                continue;
            }
            assert_eq!(record(&with), plain, "{}.{line}", table.name);
            tried += 1;
        }
    }
    assert!(tried > 20, "{tried}");
    let rate = "[reference]\nreadings = [{ strip = 0.66, beside = 0.5 }]\n[season]\ncrop = \"winter wheat\"\ngrowing_days = 94\n[response]\nmethod = \"flat\"\nrate = \"60 kg N/ha\"\n[rate]\nmaximum = \"150 kg N/ha\"\n";
    assert!(rate_job(rate.as_bytes(), Path::new("job.toml")).is_ok());
}

/// Files that hold a key's name beside its row, its reader and the record's echo: what the second stage has to draw out of the row.
const STILL: &[&str] = &[
    // Options that stand for keys, and the first job.
    "src/app/rate/flags.rs",
    "src/app/new_job.rs",
    "src/cli/args.rs",
    // Names in records, lists and on paper.
    "src/app/lists.rs",
    "src/app/rate/told.rs",
    "src/app/record.rs",
    "src/report/paper/appendix.rs",
    "src/report/summary.rs",
    // The same word for something else: a folder, a parameter in a refusal.
    "src/app/convert/mod.rs",
    "src/science/methods/square_root.rs",
    "src/science/methods/tests.rs",
];

/// Names of one word, such as "rate" or "path", name other things too.
#[test]
fn a_keys_name_stands_in_its_row_and_where_it_is_used() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let files: Vec<(String, String)> = crate::architecture::files_below(&root.join("src"))
        .into_iter()
        .filter(|path| path.extension().is_some_and(|end| end == "rs"))
        .map(|path| {
            let name = path.strip_prefix(root).unwrap().display().to_string();
            let text = fs_err::read_to_string(&path).unwrap();
            let code = text
                .split("#[cfg(test)]")
                .next()
                .unwrap_or_default()
                .to_owned();
            (name, code)
        })
        .collect();
    let (mut wrong, mut looked_at) = (Vec::new(), 0);
    for table in TABLES {
        for key in table.keys.iter().filter(|key| key.name.contains('_')) {
            looked_at += 1;
            let literal = format!("\"{}\"", key.name);
            let holders: Vec<&str> = files
                .iter()
                .filter(|(_, text)| text.contains(&literal))
                .map(|(name, _)| name.as_str())
                .collect();
            let of = |folder: &str| {
                holders
                    .iter()
                    .filter(|name| name.starts_with(folder))
                    .count()
            };
            let readers = of("src/app/job/") - of("src/app/job/echo.rs");
            if !(1..=2).contains(&of("src/job/keys/")) || !(1..=2).contains(&readers) {
                wrong.push(format!("{}.{}: {holders:?}", table.name, key.name));
            }
            let elsewhere = holders.iter().filter(|name| {
                !name.starts_with("src/job/keys/")
                    && !name.starts_with("src/app/job/")
                    && !STILL.contains(name)
            });
            wrong.extend(elsewhere.map(|name| format!("{}.{} in {name}", table.name, key.name)));
        }
    }
    assert!(looked_at > 50, "{looked_at}");
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}
