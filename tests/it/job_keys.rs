//! `haulm keys` and the reference page: out of the rows that the reader uses, and complete.

use std::path::Path;
use std::process::Command;

use haulm::app::job::{map_job, rate_job};
use haulm::job::keys::TABLES;
use haulm::science::methods::METHODS;
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

fn notice(arguments: &[&str]) -> String {
    let (status, out, wording) = haulm(arguments);
    assert_eq!((status, wording.as_str()), (Some(0), ""));
    out
}

#[test]
fn the_reference_page_is_the_tables_own() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/reference/job.md");
    let page = notice(&["keys", "--markdown"]);
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
    let text = notice(&["keys"]);
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "too wide:\n{text}"
    );
    let value: Value = serde_json::from_str(&notice(&["keys", "--json"])).unwrap();
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
    let text = notice(&["keys", "machine"]);
    assert!(
        text.contains("working_width")
            && text.contains("passes")
            && !text.contains("maximum_yield"),
        "{text}"
    );
    let text = notice(&["keys", "rate.maximum"]);
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
        notice(&["keys", "working_width"]),
        notice(&["keys", "machine.working_width"])
    );
    let text = notice(&["keys", "dead_band"]);
    assert!(
        text.contains("yield response") && text.contains("square root") && text.contains("0.03"),
        "{text}"
    );
    let (status, _, wording) = haulm(&["keys", "working_widht"]);
    assert_eq!(status, Some(1));
    assert!(
        wording.contains("did you mean \"working_width\"?"),
        "{wording}"
    );
}

#[test]
fn the_schema_is_printed_as_json() {
    let value: Value = serde_json::from_str(&notice(&["keys", "--schema"])).unwrap();
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
        haulm::app::job::settings_record(&settings, Path::new(""))
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

/// Words that are a key's name and mean something else where they stand, each with the file and the reason.
const ELSEWHERE: &[(&str, &str)] = &[
    // Names of the command line's own options, as clap wants them for what excludes what.
    ("src/cli/args.rs", "count_sensing_day"),
    // Columns of the lists that ship with haulm.
    ("src/app/lists.rs", "bare_below"),
    ("src/app/lists.rs", "growing_day_rule"),
    ("src/app/lists.rs", "nitrogen_share"),
    ("src/app/lists.rs", "grain_nitrogen"),
    ("src/app/lists.rs", "grain_moisture"),
    ("src/app/lists.rs", "stand_cv"),
    ("src/app/lists.rs", "bulk_density"),
    // What was found, not what was told: results under names of their own in the record, on paper and in summaries.
    ("src/app/record.rs", ""),
    ("src/app/rate/text.rs", ""),
    ("src/report/summary.rs", "growing_days"),
    ("src/report/paper/page_five.rs", ""),
    // Parts of a folder and of a file's table.
    ("src/app/convert/mod.rs", "task_data"),
    // A parameter by its name in a sentence.
    ("src/science/methods/square_root.rs", "delta_si"),
    ("src/science/methods/tests.rs", ""),
];

/// Source files with their code, tests within them and comments left out.
fn sources() -> Vec<(String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    crate::architecture::files_below(&root.join("src"))
        .into_iter()
        .filter(|path| path.extension().is_some_and(|end| end == "rs"))
        .map(|path| {
            let name = path.strip_prefix(root).unwrap().display().to_string();
            let text = fs_err::read_to_string(&path).unwrap();
            let code = text
                .split("#[cfg(test)]")
                .next()
                .unwrap_or_default()
                .lines()
                .filter(|line| !line.trim_start().starts_with("//"))
                .collect::<Vec<_>>()
                .join("\n");
            (name, code)
        })
        .collect()
}

/// Adding a key is two files: its row, and the section that reads it into its settings and its record. Names of one word, such as "rate" or "path",
/// name other things too and are not looked for.
#[test]
fn a_keys_name_stands_in_its_row_and_where_it_is_used() {
    let files = sources();
    let rows_in =
        |name: &str| name.starts_with("src/job/keys/") || name.starts_with("src/science/methods/");
    let (mut wrong, mut looked_at) = (Vec::new(), 0);
    for table in TABLES.iter() {
        for key in table.keys.iter().filter(|key| key.name.contains('_')) {
            looked_at += 1;
            let full = key.full();
            // The row is a field of its section's constant, so that no text holds the name.
            let literal = format!("\"{}\"", key.name);
            let spelled = files.iter().filter(|(name, code)| {
                code.contains(&literal)
                    && !ELSEWHERE
                        .iter()
                        .any(|(file, word)| file == name && (word.is_empty() || *word == key.name))
            });
            wrong.extend(spelled.map(|(name, _)| format!("{full} is spelled again in {name}")));
            let row =
                regex::Regex::new(&format!(r"(?m)^        (r#)?{}: \w+ = ", key.name)).unwrap();
            let rows: Vec<&str> = files
                .iter()
                .filter(|(name, code)| rows_in(name) && row.is_match(code))
                .map(|(name, _)| name.as_str())
                .collect();
            let used = regex::Regex::new(&format!(r"\b[A-Z_]{{2,}}\s*\.{}\b", key.name)).unwrap();
            let readers: Vec<&str> = files
                .iter()
                .filter(|(name, code)| {
                    (name.starts_with("src/job/sections/")
                        || name.starts_with("src/science/methods/"))
                        && used.is_match(code)
                })
                .map(|(name, _)| name.as_str())
                .collect();
            // A key of several sections or methods has as many rows and readers.
            let sections = TABLES
                .iter()
                .flat_map(|table| table.keys)
                .filter(|other| other.name == key.name)
                .map(|other| other.of.len().max(1))
                .sum::<usize>();
            if rows.is_empty() || rows.len() > sections + 1 {
                wrong.push(format!("{full} has rows in {rows:?}"));
            }
            if readers.len() > sections + 1 {
                wrong.push(format!("{full} is read in {readers:?}"));
            }
            if sections == 1 && (rows.len() != 1 || readers.len() > 2) {
                wrong.push(format!("{full}: rows {rows:?}, readers {readers:?}"));
            }
        }
    }
    assert!(looked_at > 50, "{looked_at}");
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

/// Adding a method is two files: its own and the list. Its name stands in its own alone.
#[test]
fn a_methods_name_stands_in_its_own_file() {
    /// The same words for something else: shapes of a response curve, strategies of money, fits of a ramp.
    const OTHER: &[(&str, &str)] = &[
        ("src/science/methods/shared.rs", "quadratic"),
        ("src/app/record.rs", "flat"),
        ("src/app/rate/ramp.rs", "quadratic"),
    ];
    let files = sources();
    let list = "src/science/methods/mod.rs";
    for method in METHODS {
        let literal = format!("\"{}\"", method.name);
        let holders: Vec<&str> = files
            .iter()
            .filter(|(name, code)| {
                code.contains(&literal)
                    && !name.ends_with("/tests.rs")
                    && !OTHER.contains(&(name.as_str(), method.name))
            })
            .map(|(name, _)| name.as_str())
            .collect();
        assert_eq!(holders.len(), 1, "{}: {holders:?}", method.name);
        assert!(
            holders[0].starts_with("src/science/methods/"),
            "{holders:?}"
        );
        let module = holders[0]
            .trim_start_matches("src/science/methods/")
            .trim_end_matches(".rs");
        let text = &files.iter().find(|(name, _)| name == list).unwrap().1;
        assert!(text.contains(&format!("&{module}::ABOUT,")), "{module}");
    }
    assert!(METHODS.len() >= 8);
}

/// An option of `haulm rate` that stands for a key is one that the command has.
#[test]
fn options_of_rows_are_options_of_rate() {
    let help = notice(&["rate", "--help"]);
    let mut count = 0;
    for (key, options) in haulm::job::keys::by_option() {
        for option in options.split(", ") {
            count += 1;
            assert!(help.contains(option), "{option} of {}", key.full());
        }
    }
    assert!(count > 20, "{count}");
}
