//! Options of `haulm rate` as a job: written as one and read by the same reader, so that both mean the same and are refused alike.

use std::fmt::Write as _;
use std::path::Path;

use crate::app::error::AppError;
use crate::app::job::rate_job_in;
use crate::app::requests::RateRequest;
use crate::finding::Checked;
use crate::job::fault::{Fault, JobError};
use crate::job::keys::reference::READINGS;
use crate::job::keys::{
    PRICES, PRODUCT, RATE, REFERENCE, RESPONSE, SEASON, by_option as by_option_rows,
};
use crate::job::settings::RateSettings;
use crate::key::Key;
use crate::science::methods::yield_response::{KEYS as YIELD, YIELD_CURVE};
use jiff::civil::Date;

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
    let text = |value: &Option<String>| value.as_deref().map(quoted);
    let pair = |(strip, beside): (&f64, &f64)| {
        format!(
            "{{ {} = {}, {} = {} }}",
            READINGS.strip.name,
            number(*strip),
            READINGS.beside.name,
            number(*beside)
        )
    };
    let pairs: Vec<String> = request
        .strip
        .iter()
        .zip(&request.beside)
        .map(pair)
        .collect();
    let weather = request
        .weather
        .as_ref()
        .map(|path| quoted(&path.to_string_lossy()));
    let own_curve = request.curve_a.as_deref().zip(request.curve_b);
    let own_curve = own_curve.map(|(a, b)| {
        format!(
            "{{ {} = {}, {} = {}, {} = {}, {} = \"given as options\" }}",
            YIELD_CURVE.a.name,
            quoted(a),
            YIELD_CURVE.b.name,
            number(b),
            YIELD_CURVE.index.name,
            quoted(request.index.as_deref().unwrap_or("NDVI")),
            YIELD_CURVE.source.name,
        )
    });
    let counted = request.count_sensing_day.then(|| "true".to_owned());
    let given: [(&Key, Option<String>); 22] = [
        (&REFERENCE.readings, Some(format!("[{}]", pairs.join(", ")))),
        (&SEASON.crop, text(&request.crop)),
        (
            &SEASON.planted,
            request.planted.as_ref().map(Date::to_string),
        ),
        (&SEASON.sensed, request.sensed.as_ref().map(Date::to_string)),
        (&SEASON.growing_days, request.growing_days.map(number)),
        (&SEASON.weather, weather),
        (&SEASON.count_sensing_day, counted),
        (&YIELD.maximum_yield, text(&request.max_yield)),
        (&YIELD.yield_curve, text(&request.curve).or(own_curve)),
        (&RESPONSE.maximum_ratio, request.maximum_ratio.map(number)),
        (&YIELD.grain_nitrogen, request.grain_nitrogen.map(number)),
        (&YIELD.use_efficiency, request.use_efficiency.map(number)),
        (
            &RESPONSE.applied_since_sensing,
            text(&request.applied_since_sensing),
        ),
        (&RATE.minimum, text(&request.minimum)),
        (&RATE.maximum, text(&request.maximum)),
        (&RATE.step, text(&request.step)),
        (&RATE.usual, text(&request.usual)),
        (&PRODUCT.name, text(&request.product)),
        (&PRICES.grain, text(&request.grain_price)),
        (&PRICES.nitrogen, text(&request.nitrogen_price)),
        (&PRICES.product, text(&request.product_price)),
        (&PRICES.application, text(&request.application_price)),
    ];
    let (mut job, mut section) = (String::new(), "");
    for (key, value) in given {
        let Some(value) = value else { continue };
        debug_assert!(key.option.is_some(), "{} has no option", key.full());
        if key.section != section {
            section = key.section;
            let _ = writeln!(job, "[{section}]");
        }
        let _ = writeln!(job, "{} = {value}", key.name);
    }
    job
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

fn number(value: f64) -> String {
    toml::Value::Float(value).to_string()
}

/// Keys of the job in a text replaced by the options that stand for them.
fn by_option(text: &str) -> String {
    // A longer name first: that of a key within a table begins with the table's.
    let mut options: Vec<(String, &str)> = by_option_rows()
        .map(|(key, option)| (key.full(), option))
        .collect();
    options.sort_by_key(|(key, _)| std::cmp::Reverse(key.len()));
    options.iter().fold(text.to_owned(), |text, (key, option)| {
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
            |notice, fault| {
                notice.with_fact(
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
    let notice = hint
        .replace(&format!("{leaf} = "), &format!("{option} "))
        .replace("add [product] with name = \"urea\"", "give --product urea")
        .replace(" in [rate]", "")
        .replace(", or give bushel = \"60 lb\" in [crop]", "");
    by_option(&notice)
}
