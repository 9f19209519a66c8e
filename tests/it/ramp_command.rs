//! `haulm rate` with a nitrogen ramp: the answer, both curves, no plateau, no response, and refusals.

use std::process::{Command, Output};

use haulm::app::job::map_job;
use haulm::job::fault::JobError;
use haulm::job::ramp::ramp_job;
use haulm::science::response_curve::PlateauShape;
use serde_json::Value;

const REST: &str = "[rate]\nmaximum = \"150 kg N/ha\"\n";

/// `[[reference.ramp]]` tables of rates in kg N/ha with their index.
fn steps(readings: &[(f64, f64)]) -> String {
    readings
        .iter()
        .map(|(rate, index)| {
            format!("[[reference.ramp]]\nrate = \"{rate} kg N/ha\"\nindex = {index}\n")
        })
        .collect::<Vec<_>>()
        .concat()
}

/// A rise of 0.003 a kg up to 70 kg, with noise of 0.005.
const CLEAR: [(f64, f64); 8] = [
    (0.0, 0.452),
    (20.0, 0.508),
    (40.0, 0.571),
    (60.0, 0.619),
    (80.0, 0.655),
    (100.0, 0.648),
    (120.0, 0.661),
    (140.0, 0.652),
];

fn run(job: &str, more: &[&str]) -> Output {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("ramp.toml");
    fs_err::write(&path, job).unwrap();
    Command::new(env!("CARGO_BIN_EXE_haulm"))
        .arg("rate")
        .arg(&path)
        .args(more)
        .output()
        .unwrap()
}

fn result(job: &str) -> (Value, Option<i32>) {
    let output = run(job, &["--json"]);
    let value: Value = serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(&output.stderr)));
    (value, output.status.code())
}

fn codes(value: &Value) -> Vec<&str> {
    value["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|finding| finding["code"].as_str().unwrap())
        .collect()
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}

#[test]
fn a_plateau_less_what_the_field_got() {
    let head = "[reference]\nramp_index = \"NDRE\"\n";
    let (value, status) = result(&format!(
        "{head}{}[response]\napplied_since_sensing = \"10 kg N/ha\"\n{REST}applied_before = \"30 kg N/ha\"\n",
        steps(&CLEAR)
    ));
    assert_eq!(status, Some(0), "{value}");
    let (reference, rate) = (&value["result"]["reference"], &value["result"]["rate"]);
    assert_eq!(
        (
            &reference["kind"],
            &reference["answer"],
            &reference["model"]
        ),
        (&"ramp".into(), &"plateau".into(), &"linear plateau".into())
    );
    let start = number(&reference["linear_plateau"]["start_kg_n_ha"]);
    assert!((65.0..75.0).contains(&start), "{start}");
    assert!(
        number(&reference["linear_plateau"]["start_low_kg_n_ha"]) < start
            && start < number(&reference["linear_plateau"]["start_high_kg_n_ha"])
    );
    assert!(
        (number(&rate["need_kg_ha"]) - start).abs() < 1e-9
            && (number(&rate["n_raw_kg_ha"]) - (start - 40.0)).abs() < 1e-9
    );
    assert_eq!(
        number(&rate["n_kg_ha"]),
        30.0,
        "to the nearest 5 of {start} - 40"
    );
    for curve in ["linear_plateau", "quadratic_plateau", "linear", "quadratic"] {
        let quality = &reference[curve]["quality"];
        assert!(
            number(&quality["sse"]) > 0.0
                && quality["aic"].is_number()
                && quality["aicc"].is_number(),
            "{curve}: {quality}"
        );
    }
    assert_eq!(
        value["result"]["settings"]["rate"]["applied_before_kg_n_ha"],
        30.0
    );
    assert_eq!(
        value["result"]["settings"]["reference"]["source"]["ramp"][4]["index"],
        0.655
    );
    assert!(!codes(&value).contains(&"ramp.applied"));
}

#[test]
fn the_choice_of_the_curve_is_told_and_made() {
    let job = |model: &str| {
        format!(
            "[reference]\nramp_model = \"{model}\"\n{}{REST}",
            steps(&CLEAR)
        )
    };
    let (line, _) = result(&job("linear plateau"));
    let (curve, _) = result(&job("quadratic plateau"));
    assert!(
        codes(&line).contains(&"ramp.model")
            && codes(&curve).contains(&"ramp.model")
            && codes(&line).contains(&"ramp.applied")
    );
    let need = |value: &Value| number(&value["result"]["rate"]["need_kg_ha"]);
    assert!(
        need(&curve) > need(&line) + 5.0,
        "{} and {}",
        need(&line),
        need(&curve)
    );
    let notice = String::from_utf8(run(&job("linear plateau"), &["--details"]).stdout).unwrap();
    for requirement in [
        "linear plateau (used)",
        "quadratic plateau",
        "straight line",
        "SSE",
        "AICc",
        "70.0 kg N/ha (62.5 lb N/ac)",
        "[ramp.model]",
    ] {
        assert!(notice.contains(requirement), "{requirement} in {notice}");
    }
}

#[test]
fn no_plateau_stops_and_no_response_does_not() {
    let rising = [
        (0.0, 0.40),
        (20.0, 0.45),
        (40.0, 0.51),
        (60.0, 0.55),
        (80.0, 0.60),
        (100.0, 0.66),
    ];
    let (value, status) = result(&format!("{}{REST}", steps(&rising)));
    assert_eq!(
        (status, &value["result"]["not_for_use"]),
        (Some(1), &true.into())
    );
    assert!(
        codes(&value).contains(&"ramp.no_plateau")
            && value["result"]["reference"]["linear_plateau"]["start_kg_n_ha"].is_null()
    );
    let accepted = "[[accept]]\ncode = \"ramp.no_plateau\"\nfigure = \"100 kg N/ha\"\nreason = \"split dressing, second look planned\"\nby = \"A. Adviser\"\n";
    let (value, status) = result(&format!("{}{REST}{accepted}", steps(&rising)));
    assert_eq!(
        (status, number(&value["result"]["rate"]["n_kg_ha"])),
        (Some(0), 100.0),
        "the ramp's greatest rate, accepted by name"
    );

    let level = [
        (0.0, 0.61),
        (20.0, 0.63),
        (40.0, 0.60),
        (60.0, 0.64),
        (80.0, 0.61),
        (100.0, 0.63),
    ];
    let (value, status) = result(&format!("{}{REST}", steps(&level)));
    assert_eq!(
        (status, number(&value["result"]["rate"]["n_kg_ha"])),
        (Some(0), 0.0),
        "no response is an answer"
    );
    assert!(
        codes(&value).contains(&"ramp.no_response")
            && value["result"]["rate"]["need_kg_ha"].is_null()
    );

    let falling = [
        (0.0, 0.70),
        (20.0, 0.66),
        (40.0, 0.61),
        (60.0, 0.58),
        (80.0, 0.52),
    ];
    let (value, status) = result(&format!("{}{REST}", steps(&falling)));
    assert_eq!(
        (status, number(&value["result"]["rate"]["n_kg_ha"])),
        (Some(1), 0.0)
    );
    assert!(codes(&value).contains(&"ramp.falls") && codes(&value).contains(&"ramp.few"));
}

#[test]
fn limits_products_and_dates_hold_as_always() {
    let season = "[season]\nsensed = 2026-04-14\n[application]\ndate = 2026-05-20\n[product]\nname = \"urea\"\n";
    let (value, status) = result(&format!(
        "{}{season}[rate]\nmaximum = \"50 kg N/ha\"\nusual = \"200 kg N/ha\"\n",
        steps(&CLEAR)
    ));
    assert_eq!(status, Some(1));
    assert_eq!(number(&value["result"]["rate"]["n_kg_ha"]), 50.0);
    for code in ["image.age", "rate.usual", "ramp.held"] {
        assert!(
            codes(&value).contains(&code),
            "{code} in {:?}",
            codes(&value)
        );
    }
    assert_eq!(
        number(&value["result"]["product"]["rate"]),
        108.7,
        "50 kg N at 46 %"
    );
}

#[test]
fn refusals_name_the_step() {
    let notice = |job: &str| {
        let output = run(job, &[]);
        assert_eq!(
            output.status.code(),
            Some(1),
            "{}",
            String::from_utf8_lossy(&output.stdout)
        );
        String::from_utf8(output.stderr).unwrap()
    };
    let few = notice(&format!("{}{REST}", steps(&CLEAR[..3])));
    assert!(
        few.contains("error[reference.ramp]")
            && few.contains("3 different nitrogen rates")
            && few.contains("at least 4"),
        "{few}"
    );
    let bare = notice(&format!(
        "{}[[reference.ramp]]\nrate = \"40 kg/ha\"\nindex = 0.6\n{REST}",
        steps(&CLEAR)
    ));
    assert!(
        bare.contains("job.nitrogen_or_product") && bare.contains("reference.ramp[9].rate"),
        "{bare}"
    );
    let unknown = notice(&format!(
        "{}[[reference.ramp]]\nrate = \"40 kg N/ha\"\nindx = 0.6\n{REST}",
        steps(&CLEAR)
    ));
    assert!(
        unknown.contains("job.unknown_key") && unknown.contains("did you mean \"index\"?"),
        "{unknown}"
    );
    let both = notice(&format!(
        "[reference]\nreadings = [{{ strip = 0.66, beside = 0.50 }}]\n{}{REST}",
        steps(&CLEAR)
    ));
    assert!(
        both.contains("job.together") && both.contains("reference.readings and reference.ramp"),
        "{both}"
    );
    let unlimited = notice(&steps(&CLEAR));
    assert!(unlimited.contains("rate.maximum"), "{unlimited}");
}

#[test]
fn keys_resolve() {
    let job = format!(
        "[reference]\nramp_model = \"quadratic plateau\"\n{}[imagery]\nindex = \"NDVI\"\n{REST}",
        steps(&CLEAR)
    );
    let settings = ramp_job(job.as_bytes(), std::path::Path::new("job.toml"))
        .unwrap()
        .unwrap()
        .value;
    assert_eq!(
        (
            settings.model,
            settings.index.as_deref(),
            settings.readings.len()
        ),
        (PlateauShape::Quadratic, Some("NDVI"), 8)
    );
    assert!(
        ramp_job(
            b"[reference]\npercentile = 95\n",
            std::path::Path::new("job.toml")
        )
        .unwrap()
        .is_none()
    );
    // A map takes no ramp for a reference, and says which command does.
    let Err(JobError::Refused { faults, .. }) =
        map_job(job.as_bytes(), std::path::Path::new("job.toml"))
    else {
        panic!("a ramp makes no map")
    };
    assert!(
        faults.iter().any(|fault| fault.key == "reference.strips"
            && fault.problem.to_string().contains("haulm rate")),
        "{faults:?}"
    );
}
