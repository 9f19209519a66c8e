//! The JSON Schema of the job file takes what the reader takes and refuses what it refuses, as far as a schema can see. The schema is checked by a validator
//! of our own for the few words that it uses; `tests/interop/check_keys.py` does the same with a validator that others made.

use std::path::{Path, PathBuf};

use haulm::app::job::{map_job, rate_job};
use haulm::job::ramp::ramp_job;
use haulm::job::schema::schema;
use regex::Regex;
use serde_json::{Map, Value, json};

use crate::job_file::{FULL, SHORT};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A job as a validator of JSON sees it: dates are text.
fn json_of(value: &toml::Value) -> Value {
    match value {
        toml::Value::String(text) => json!(text),
        toml::Value::Integer(number) => json!(number),
        toml::Value::Float(number) => json!(number),
        toml::Value::Boolean(truth) => json!(truth),
        toml::Value::Datetime(date) => json!(date.to_string()),
        toml::Value::Array(list) => list.iter().map(json_of).collect(),
        toml::Value::Table(table) => {
            let each = table
                .iter()
                .map(|(key, value)| (key.clone(), json_of(value)));
            Value::Object(each.collect::<Map<_, _>>())
        }
    }
}

fn parsed(text: &str) -> Option<Value> {
    text.parse::<toml::Table>()
        .ok()
        .map(|table| json_of(&toml::Value::Table(table)))
}

fn is_type(value: &Value, kind: &str) -> bool {
    match kind {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "boolean" => value.is_boolean(),
        "number" => value.is_number(),
        "integer" => value.as_f64().is_some_and(|number| number.fract() == 0.0),
        other => panic!("the schema has the type {other}"),
    }
}

/// What is wrong with a value by a schema; empty when nothing is. A part of a job need not have what a whole one needs.
fn wrong(value: &Value, schema: &Value, whole: bool, at: &str) -> Vec<String> {
    let fine = |schema: &Value| wrong(value, schema, whole, at).is_empty();
    let mut found = Vec::new();
    for (word, rule) in schema.as_object().unwrap() {
        let each = || rule.as_array().unwrap().iter();
        match word.as_str() {
            "type" => {
                if !is_type(value, rule.as_str().unwrap()) {
                    return vec![format!("{at} is no {rule}")];
                }
            }
            "enum" => {
                if !each().any(|one| one == value) {
                    found.push(format!("{at} is none of {rule}"));
                }
            }
            "pattern" => {
                let pattern = Regex::new(rule.as_str().unwrap()).unwrap();
                if value.as_str().is_some_and(|text| !pattern.is_match(text)) {
                    found.push(format!("{at} = {value} does not look like {rule}"));
                }
            }
            "minimum" | "maximum" => {
                if let Some(number) = value.as_f64() {
                    let end = rule.as_f64().unwrap();
                    if (word == "minimum" && number < end) || (word == "maximum" && number > end) {
                        found.push(format!("{at} = {number} is beyond {end}"));
                    }
                }
            }
            "minItems" => {
                let minimum = rule.as_u64().unwrap() as usize;
                if value.as_array().is_some_and(|list| list.len() < minimum) {
                    found.push(format!("{at} is empty"));
                }
            }
            "items" => {
                for (number, item) in value.as_array().into_iter().flatten().enumerate() {
                    found.extend(wrong(item, rule, whole, &format!("{at}[{}]", number + 1)));
                }
            }
            "properties" => {
                for (key, item) in value.as_object().into_iter().flatten() {
                    if let Some(rule) = rule.get(key) {
                        found.extend(wrong(item, rule, whole, &format!("{at}.{key}")));
                    }
                }
            }
            "additionalProperties" => {
                let known = schema.get("properties").and_then(Value::as_object);
                for (key, item) in value.as_object().into_iter().flatten() {
                    match rule {
                        _ if known.is_some_and(|known| known.contains_key(key)) => {}
                        Value::Bool(false) => found.push(format!("{at}.{key} is not known")),
                        rule => found.extend(wrong(item, rule, whole, &format!("{at}.{key}"))),
                    }
                }
            }
            "required" if whole => {
                for key in each().filter_map(Value::as_str) {
                    if value
                        .as_object()
                        .is_some_and(|table| !table.contains_key(key))
                    {
                        found.push(format!("{at}.{key} is missing"));
                    }
                }
            }
            "allOf" if whole => {
                found.extend(each().flat_map(|rule| wrong(value, rule, whole, at)));
            }
            "anyOf" => {
                if !each().any(fine) {
                    let notice: Vec<String> = each()
                        .flat_map(|rule| wrong(value, rule, whole, at))
                        .collect();
                    found.push(format!("{at} fits none: {}", notice.join("; ")));
                }
            }
            "not" => {
                if fine(rule) {
                    found.push(format!("{at} = {value} is refused"));
                }
            }
            "required" | "allOf" | "$schema" | "title" | "description" | "default" | "examples" => {
            }
            other => panic!("the schema uses {other}, which this test does not know"),
        }
    }
    found
}

/// What the schema has against a job.
fn against(text: &str, whole: bool) -> Vec<String> {
    wrong(&parsed(text).unwrap(), &schema(), whole, "")
}

fn jobs(folder: &str) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = fs_err::read_dir(root().join("tests/jobs").join(folder))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    found.sort();
    found
}

/// What the reader has against a job: as one of a ramp, of hand readings or of a map, by its name or by what it holds.
fn refused(path: &Path) -> Option<String> {
    let bytes = fs_err::read(path).unwrap();
    let name = path.file_name().unwrap().to_string_lossy().into_owned();
    let text = String::from_utf8_lossy(&bytes).into_owned();
    if name.starts_with("ramp") {
        return ramp_job(&bytes, path).err().map(|error| error.to_string());
    }
    if name.starts_with("rate") || text.contains("readings = [") {
        return rate_job(&bytes, path).err().map(|error| error.to_string());
    }
    map_job(&bytes, path).err().map(|error| error.to_string())
}

#[test]
fn good_jobs_are_taken_by_reader_and_schema() {
    let jobs = jobs("good");
    assert!(jobs.len() >= 15);
    for path in jobs {
        assert_eq!(refused(&path), None, "{}", path.display());
        let text = fs_err::read_to_string(&path).unwrap();
        let found = against(&text, true);
        assert!(found.is_empty(), "{}: {found:#?}", path.display());
    }
}

#[test]
fn wrong_jobs_are_refused_by_reader_and_schema() {
    let jobs = jobs("wrong");
    assert!(jobs.len() >= 25);
    for path in jobs {
        assert!(refused(&path).is_some(), "{}", path.display());
        let text = fs_err::read_to_string(&path).unwrap();
        assert!(!against(&text, true).is_empty(), "{}", path.display());
    }
}

#[test]
fn jobs_of_demo_tests_and_bench_fit() {
    let demo = fs_err::read_to_string(root().join("demo/job.toml")).unwrap();
    for text in [demo.as_str(), FULL, SHORT, crate::field::JOB] {
        let found = against(text, true);
        assert!(found.is_empty(), "{found:#?}\n{text}");
    }
}

/// Blocks of TOML in a page.
fn blocks(page: &str) -> Vec<String> {
    page.split("```toml\n")
        .skip(1)
        .filter_map(|rest| rest.split("```").next())
        .map(str::to_owned)
        .collect()
}

#[test]
fn parts_of_jobs_in_the_docs_fit() {
    let mut looked_at = 0;
    for page in crate::architecture::files_below(&root().join("docs")) {
        if page.extension().is_none_or(|end| end != "md") {
            continue;
        }
        for block in blocks(&fs_err::read_to_string(&page).unwrap()) {
            let value = parsed(&block).unwrap_or_else(|| panic!("{}:\n{block}", page.display()));
            let sections = schema()["properties"].clone();
            let known = |key: &String| sections.get(key).is_some();
            // Lists of crops and curves are files of their own.
            if value.get("crop").is_some_and(Value::is_array)
                || !value.as_object().unwrap().keys().all(known)
            {
                continue;
            }
            looked_at += 1;
            let found = against(&block, false);
            assert!(found.is_empty(), "{}: {found:#?}\n{block}", page.display());
        }
    }
    assert!(looked_at >= 12, "{looked_at}");
}

#[test]
fn the_schema_says_only_what_draft_04_knows_too() {
    // The validator above panics at a word that it does not know; here, that the head names the draft and every key tells what it does.
    let schema = schema();
    assert_eq!(schema["$schema"], "http://json-schema.org/draft-07/schema#");
    for (section, rule) in schema["properties"].as_object().unwrap() {
        let rule = if section == "accept" {
            &rule["items"]
        } else {
            rule
        };
        assert_eq!(rule["additionalProperties"], json!(false), "{section}");
        for (key, rule) in rule["properties"].as_object().unwrap() {
            let notice = rule
                .get("description")
                .or_else(|| rule["anyOf"][0].get("description"));
            assert!(
                notice.is_some_and(|notice| notice.as_str().unwrap().len() > 10),
                "{section}.{key}"
            );
        }
    }
}
