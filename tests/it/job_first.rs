//! The first job file: few values open, each explained, refused until filled, valid once filled.

use std::path::Path;

use haulm::app::job::map_job;
use haulm::app::new_job::{FirstJob, Known, bands_of, first_job};
use haulm::job::fault::{Fault, JobError};
use haulm::job::settings::Settings;
use jiff::civil::Date;

fn described(names: &[&str]) -> Vec<Option<String>> {
    names
        .iter()
        .map(|name| (!name.is_empty()).then(|| (*name).to_owned()))
        .collect()
}

/// What a raster that describes itself, a boundary and strips tell.
fn usual() -> Known {
    Known {
        boundary: "long_ley.geojson".to_owned(),
        raster: "mosaic.tif".to_owned(),
        descriptions: described(&["Blue", "Green", "Red", "Red edge", "NIR"]),
        strips: Some("strips.geojson".to_owned()),
        image_date: Some(Date::constant(2026, 4, 14)),
        ..Known::default()
    }
}

fn run(text: &str) -> Result<Settings, Vec<Fault>> {
    match map_job(text.as_bytes(), Path::new("job.toml")) {
        Ok(checked) => Ok(checked.value),
        Err(JobError::Refused { faults, .. }) => Err(faults),
        Err(other) => panic!("{other}"),
    }
}

const OWN_CROP: &str = "[crop]\nname = \"spelt\"\nbase_temperature = \"4.4 °C\"\ngrain_nitrogen = 0.0239\nsource = \"own\"";

/// Puts a value for every value that was left open.
fn filled(text: &str) -> String {
    let curve = format!(
        "{{ a = \"590 kg/ha\", b = 258.2, index = \"NDVI\", source = \"own\" }}\n{OWN_CROP}"
    );
    let values = [
        ("date", "2026-04-14"),
        ("bands", "{ red = 3, nir = 5 }"),
        ("strips", "\"strips.geojson\""),
        ("growing_days", "94"),
        ("maximum_yield", "\"6.7 t/ha\""),
        ("yield_curve", &curve),
        ("maximum", "\"150 kg N/ha\""),
        ("working_width", "\"24 m\""),
    ];
    let lines = text.lines().map(|line| {
        let key = line.split_whitespace().next().unwrap_or("");
        let open = line.contains("\"TODO\"");
        match values.iter().find(|(name, _)| open && *name == key) {
            Some((name, value)) => format!("{name} = {value}"),
            None => line.to_owned(),
        }
    });
    lines.collect::<Vec<_>>().join("\n")
}

/// Every open value is one live `TODO` line with a comment, is refused as such, and nothing else is refused.
fn check(job: &FirstJob) {
    let live: Vec<&str> = job
        .text
        .lines()
        .filter(|line| !line.starts_with('#') && line.contains("\"TODO\""))
        .collect();
    assert_eq!(live.len(), job.open.len(), "{}", job.text);
    for line in &live {
        let (_, comment) = line
            .split_once('#')
            .unwrap_or_else(|| panic!("no comment: {line}"));
        assert!(comment.len() > 30, "{line}");
    }
    let found = run(&job.text).expect_err("open values are refused");
    assert!(
        found.iter().all(|fault| fault.code() == "job.open"),
        "{found:?}"
    );
    for key in &job.open {
        assert!(
            found.iter().any(|fault| fault.key.starts_with(key)),
            "{key} is not refused: {found:?}"
        );
    }
    let settings = run(&filled(&job.text))
        .unwrap_or_else(|faults| panic!("{faults:?}\n{}", filled(&job.text)));
    assert_eq!(settings.reference.segments, 20);
}

#[test]
fn at_most_three_values_are_open() {
    let job = first_job(&usual());
    assert_eq!(
        job.open,
        [
            "season.growing_days",
            "response.maximum_yield",
            "response.yield_curve"
        ]
    );
    assert_eq!(job.assumed, ["rate.maximum", "machine.working_width"]);
    check(&job);
    assert!(
        job.text
            .contains("bands = { blue = 1, green = 2, red = 3, red_edge = 4, nir = 5 }"),
        "{}",
        job.text
    );
    assert!(job.text.contains("date  = 2026-04-14"));
    let settings = run(&filled(&job.text)).unwrap();
    assert_eq!(settings.field.name, "long_ley");
    // What is assumed errs on the side of too little.
    assert_eq!(settings.rate.maximum.get(), 60.0);
}

#[test]
fn the_more_is_known_the_less_is_assumed() {
    let job = first_job(&Known {
        growing_days: Some(94.0),
        ..usual()
    });
    assert_eq!(
        job.open,
        [
            "response.maximum_yield",
            "response.yield_curve",
            "rate.maximum"
        ]
    );
    check(&job);
    let weather = first_job(&Known {
        weather: Some("station.csv".into()),
        planted: Some(Date::constant(2025, 10, 1)),
        ..usual()
    });
    assert_eq!(weather.open.len(), 3);
    check(&weather);
    let known = Known {
        growing_days: Some(94.0),
        crop: Some("winter wheat".into()),
        curve: haulm::job::tables::curve_names().into_iter().next(),
        maximum_yield: Some("100 bu/ac".into()),
        maximum: Some("120 lb N/ac".into()),
        working_width: Some("80 ft".into()),
        us_units: true,
        ..usual()
    };
    let job = first_job(&known);
    assert!(job.open.is_empty() && job.assumed.is_empty());
    let settings = run(&job.text).unwrap_or_else(|faults| panic!("{faults:?}\n{}", job.text));
    assert_eq!(settings.response.yields().unwrap().curve.index, "NDVI");
    assert!(settings.output.us_units);
}

#[test]
fn nothing_that_decides_a_rate_is_guessed() {
    let silent = first_job(&Known {
        descriptions: described(&["", "", "", "", ""]),
        image_date: None,
        ..usual()
    });
    assert!(
        silent.open.contains(&"imagery.bands".to_owned())
            && silent.open.contains(&"imagery.date".to_owned()),
        "{:?}",
        silent.open
    );
    check(&silent);
    assert_eq!(bands_of(&described(&["", "", ""])), None);
    assert_eq!(bands_of(&described(&["Red", "red", "NIR"])), None);
    assert_eq!(bands_of(&described(&["B4", "B8"])), None);
    assert_eq!(
        bands_of(&described(&["near-infrared", "alpha", "RED"])),
        Some(vec![("nir", 1), ("red", 3)])
    );
    // Red alone names no index.
    let half = first_job(&Known {
        descriptions: described(&["red", "x\n[rate]\nmaximum = 1"]),
        ..usual()
    });
    assert!(half.open.contains(&"imagery.bands".to_owned()));
    check(&half);
}

#[test]
fn awkward_names_stay_text() {
    let known = Known {
        boundary: "a \"b\"\\c\n[rate].geojson".into(),
        name: Some("Ley\n\"12\" äöü '''".into()),
        ..usual()
    };
    let job = first_job(&known);
    check(&job);
    let settings = run(&filled(&job.text)).unwrap();
    assert_eq!(
        settings.field.boundary.path,
        Path::new("a \"b\"\\c\n[rate].geojson")
    );
    assert_eq!(settings.field.name, "Ley\"12\" äöü '''");
}

#[test]
fn other_indices_need_other_bands() {
    let red_edge = first_job(&Known {
        index: Some("NDRE".into()),
        descriptions: described(&["", "", "", ""]),
        ..usual()
    });
    assert!(
        red_edge
            .text
            .contains("bands = { nir = \"TODO\", red_edge = \"TODO\" }"),
        "{}",
        red_edge.text
    );
    let ready = first_job(&Known {
        index: Some("band 1".into()),
        descriptions: described(&[""]),
        ..usual()
    });
    assert!(!ready.open.contains(&"imagery.bands".to_owned()));
    check(&ready);
    let formula = first_job(&Known {
        index: Some("(nir - green) / (nir + green)".into()),
        descriptions: described(&["red", "nir"]),
        ..usual()
    });
    assert!(
        formula
            .text
            .contains("bands = { nir = \"TODO\", green = \"TODO\" }"),
        "{}",
        formula.text
    );
    check(&formula);
}
