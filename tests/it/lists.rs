//! The lists: complete, sourced, and no name in them that a job refuses.

use std::path::Path;
use std::process::Command;

use haulm::app::job::rate_job;
use serde_json::Value;

fn notice(arguments: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_haulm"))
        .args(arguments)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert!(output.stderr.is_empty());
    String::from_utf8(output.stdout).unwrap()
}

fn json(list: &str) -> Value {
    let value: Value = serde_json::from_str(&notice(&[list, "--json"])).unwrap();
    value["result"][list].clone()
}

fn names(list: &Value) -> Vec<&str> {
    list.as_array()
        .unwrap()
        .iter()
        .map(|row| row["name"].as_str().unwrap())
        .collect()
}

#[test]
fn every_row_is_printed_with_its_source() {
    for list in ["indices", "methods", "crops", "products"] {
        let (value, text) = (json(list), notice(&[list]));
        assert!(!names(&value).is_empty());
        for row in value.as_array().unwrap() {
            assert!(text.contains(row["name"].as_str().unwrap()), "{row}");
            assert!(
                row["source"]
                    .as_str()
                    .is_some_and(|source| source.len() > 10),
                "{row}"
            );
        }
        assert!(
            !text.contains("  \n") && text.lines().all(|line| line.chars().count() <= 80),
            "{list} is too wide:\n{text}"
        );
    }
}

#[test]
fn a_formula_stands_with_its_index() {
    let text = notice(&["indices"]);
    let line = text
        .lines()
        .find(|line| line.trim_start().starts_with("NDVI "))
        .unwrap();
    assert!(
        line.contains("(nir - red) / (nir + red)") && line.contains("0.25"),
        "{line}"
    );
}

#[test]
fn only_methods_that_are_built_are_listed() {
    let all = [
        "yield response",
        "square root",
        "quadratic",
        "chlorophyll root",
        "visible line",
        "linear ramp",
        "class table",
        "flat",
    ];
    assert_eq!(names(&json("methods")), all);
    for row in json("methods").as_array().unwrap() {
        for key in ["formula", "units", "range", "source", "certainty"] {
            assert!(
                row[key].as_str().is_some_and(|text| !text.is_empty()),
                "{key} of {row}"
            );
        }
    }
    let text = notice(&["methods"]);
    assert!(
        text.contains("RI = I_ref / I")
            && text.contains("94:815-820")
            && text.contains("60 to 120"),
        "{text}"
    );
}

#[test]
fn jobs_take_every_listed_name() {
    let all: Value = serde_json::from_str(&notice(&["crops", "--json"])).unwrap();
    for curve in all["result"]["curves"].as_array().unwrap() {
        for product in names(&json("products")) {
            let text = format!(
                "[reference]\nreadings = [{{ strip = 0.66, beside = 0.5 }}]\n[season]\ncrop = {}\ngrowing_days = 94\n[response]\nmaximum_yield = \"9 t/ha\"\n\
                 yield_curve = {}\n[rate]\nmaximum = \"150 kg N/ha\"\n[product]\nname = \"{product}\"\n",
                curve["crop"], curve["name"]
            );
            let settings = rate_job(text.as_bytes(), Path::new("job.toml"))
                .unwrap_or_else(|error| panic!("{error}"))
                .value;
            assert_eq!(
                settings.response.yields().unwrap().curve.b,
                curve["b_d"].as_f64().unwrap()
            );
            assert_eq!(settings.product.unwrap().name(), product);
        }
    }
}
