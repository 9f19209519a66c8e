//! Options of `haulm rate` as a job: written as one and read by the same reader, so that both mean the same and are refused alike.

use std::fmt::Write as _;
use std::path::Path;

use crate::app::error::AppError;
use crate::app::job::resolve::rate_job_in;
use crate::app::requests::RateRequest;
use crate::finding::Checked;
use crate::job::fault::{Fault, JobError};
use crate::job::settings::RateSettings;
use jiff::civil::Date;

/// Keys of the job and the options that stand for them.
const OPTIONS: &[(&str, &str)] = &[
    ("reference.readings", "--strip, --beside"),
    ("season.crop", "--crop"),
    ("season.planted", "--planted"),
    ("season.sensed", "--sensed"),
    ("season.growing_days", "--growing-days"),
    ("season.weather", "--weather"),
    ("response.maximum_yield", "--max-yield"),
    ("response.yield_curve.a", "--curve-a"),
    ("response.yield_curve.b", "--curve-b"),
    ("response.yield_curve", "--curve"),
    ("response.grain_nitrogen", "--grain-nitrogen"),
    ("response.use_efficiency", "--use-efficiency"),
    ("response.maximum_ratio", "--maximum-ratio"),
    ("response.applied_since_sensing", "--applied-since-sensing"),
    ("rate.minimum", "--minimum"),
    ("rate.maximum", "--maximum"),
    ("rate.step", "--step"),
    ("rate.usual", "--usual"),
    ("product.name", "--product"),
    ("prices.grain", "--grain-price"),
    ("prices.nitrogen", "--nitrogen-price"),
    ("prices.product", "--product-price"),
    ("prices.application", "--application-price"),
];

/// Settings of a request without a job file.
///
/// # Errors
/// When an option is refused: every fault at once, each by its option.
pub(super) fn settings(request: &RateRequest) -> Result<Checked<RateSettings>, AppError> {
    let mut settings = rate_job_in(
        job_text(request).as_bytes(),
        Path::new("options"),
        request.common.us_units,
    )
    .map_err(refused)?;
    for finding in &mut settings.findings {
        finding.message = by_option(&finding.message);
    }
    // Options speak of the yield response alone; other methods are asked for by a job file.
    match settings
        .value
        .response
        .yields()
        .map(|yields| &yields.curve)
        .zip(request.index.as_ref())
    {
        Some((curve, index)) if !index.eq_ignore_ascii_case(&curve.index) => {
            Err(AppError::refused(
                "response.index",
                format!(
                    "the yield curve was fitted with {}, but {index} was read",
                    curve.index
                ),
            )
            .with_fact("--index", index.clone())
            .with_fact(
                "--curve",
                format!(
                    "a = {:.0} kg/ha, b = {} d, source: {}",
                    curve.a.get(),
                    curve.b,
                    curve.source
                ),
            )
            .with_hint(
                "read the index of the curve, or give a curve that was fitted with this index",
            ))
        }
        _ => Ok(settings),
    }
}

/// The request as the text of a job file.
fn job_text(request: &RateRequest) -> String {
    let pairs: Vec<String> = request
        .strip
        .iter()
        .zip(&request.beside)
        .map(|(strip, beside)| {
            format!(
                "{{ strip = {}, beside = {} }}",
                number(*strip),
                number(*beside)
            )
        })
        .collect();
    let path = request
        .weather
        .as_ref()
        .map(|path| path.to_string_lossy().into_owned());
    let mut text = format!("[reference]\nreadings = [{}]\n", pairs.join(", "));
    section(
        &mut text,
        "season",
        &[
            ("crop", request.crop.as_deref().map(quoted)),
            ("planted", request.planted.as_ref().map(Date::to_string)),
            ("sensed", request.sensed.as_ref().map(Date::to_string)),
            ("growing_days", request.growing_days.map(number)),
            ("weather", path.as_deref().map(quoted)),
            (
                "count_sensing_day",
                request.count_sensing_day.then(|| "true".to_owned()),
            ),
        ],
    );
    let own_curve = request
        .curve_a
        .as_deref()
        .zip(request.curve_b)
        .map(|(a, b)| {
            let index = request.index.as_deref().unwrap_or("NDVI");
            format!(
                "{{ a = {}, b = {}, index = {}, source = \"given as options\" }}",
                quoted(a),
                number(b),
                quoted(index)
            )
        });
    section(
        &mut text,
        "response",
        &[
            ("maximum_yield", request.max_yield.as_deref().map(quoted)),
            (
                "yield_curve",
                request.curve.as_deref().map(quoted).or(own_curve),
            ),
            ("maximum_ratio", request.maximum_ratio.map(number)),
            ("grain_nitrogen", request.grain_nitrogen.map(number)),
            ("use_efficiency", request.use_efficiency.map(number)),
            (
                "applied_since_sensing",
                request.applied_since_sensing.as_deref().map(quoted),
            ),
        ],
    );
    section(
        &mut text,
        "rate",
        &[
            ("minimum", request.minimum.as_deref().map(quoted)),
            ("maximum", request.maximum.as_deref().map(quoted)),
            ("step", request.step.as_deref().map(quoted)),
            ("usual", request.usual.as_deref().map(quoted)),
        ],
    );
    section(
        &mut text,
        "product",
        &[("name", request.product.as_deref().map(quoted))],
    );
    section(
        &mut text,
        "prices",
        &[
            ("grain", request.grain_price.as_deref().map(quoted)),
            ("nitrogen", request.nitrogen_price.as_deref().map(quoted)),
            ("product", request.product_price.as_deref().map(quoted)),
            (
                "application",
                request.application_price.as_deref().map(quoted),
            ),
        ],
    );
    text
}

/// A section with the keys that are given; none without any.
fn section(text: &mut String, name: &str, keys: &[(&str, Option<String>)]) {
    if keys.iter().all(|(_, value)| value.is_none()) {
        return;
    }
    let _ = writeln!(text, "[{name}]");
    for (key, value) in keys {
        if let Some(value) = value {
            let _ = writeln!(text, "{key} = {value}");
        }
    }
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

fn number(value: f64) -> String {
    toml::Value::Float(value).to_string()
}

/// Keys of the job in a text replaced by the options that stand for them.
fn by_option(text: &str) -> String {
    OPTIONS.iter().fold(text.to_owned(), |text, (key, option)| {
        text.replace(key, option)
    })
}

fn refused(error: JobError) -> AppError {
    let JobError::Refused { faults, .. } = &error else {
        return AppError::from(error);
    };
    let place = |fault: &Fault| by_option(&fault.key);
    let stands = |fault: &Fault| {
        if fault.found.is_empty() {
            "not given".to_owned()
        } else {
            fault.found.clone()
        }
    };
    match faults.as_slice() {
        [fault] => AppError::refused(fault.code(), by_option(&fault.headline()))
            .with_fact(place(fault), stands(fault))
            .with_hint(hint(fault)),
        _ => faults.iter().fold(
            AppError::refused(
                "job.faults",
                format!("{} options are refused", faults.len()),
            ),
            |told, fault| {
                told.with_fact(
                    place(fault),
                    format!(
                        "{}: {} [{}]; {}",
                        stands(fault),
                        by_option(&fault.problem.to_string()),
                        fault.code(),
                        hint(fault)
                    ),
                )
            },
        ),
    }
}

/// The job's hint, said of options.
fn hint(fault: &Fault) -> String {
    let option = by_option(&fault.key);
    let leaf = fault.key.rsplit('.').next().unwrap_or_default();
    let hint = fault.hint();
    if let Some((_, example)) = hint.split_once("add a line such as  ") {
        let value = example
            .split_once(" = ")
            .map_or(example, |(_, value)| value);
        return format!("give {option}, such as {value}");
    }
    let told = hint
        .replace(&format!("{leaf} = "), &format!("{option} "))
        .replace("add [product] with name = \"urea\"", "give --product urea")
        .replace(" in [rate]", "")
        .replace(", or give bushel = \"60 lb\" in [crop]", "");
    by_option(&told)
}
