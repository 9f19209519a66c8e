//! The paper of a run: gathers what it is made of, and hands back its files.

use std::collections::BTreeMap;
use std::path::Path;

use crate::app::error::AppError;
use crate::app::open::Image;
use crate::app::overview::index_overview;
use crate::finding::Finding;
use crate::format::gpx;
use crate::format::payload::Payload;
use crate::format::weather;
use crate::pipeline::curve::mean_yield_at_flat_rates;
use crate::pipeline::ground::Ground;
use crate::pipeline::run::Outcome;
use crate::pipeline::run::RunError;
use crate::pipeline::settings::GrowingDays;
use crate::pipeline::settings::Season;
use crate::pipeline::settings::Settings;
use crate::report::html::html;
use crate::report::paper::ImageFacts;
use crate::report::paper::Paper;
use crate::report::paper::WeatherMonth;
use crate::report::paper::WeatherMonths;
use crate::report::paper::card_document;
use crate::report::paper::scout_name;
use crate::report::paper::scout_words;
use crate::report::pdf::PdfError;
use crate::report::pdf::pdf;
use crate::report::text::Text;
use crate::science::index::find_entry;
use crate::science::product::find_product;
use crate::zones::check_points::check_points;
use crate::zones::machine::MachineRates;
use crate::zones::scouting::scout_points;
use jiff::Timestamp;
use serde_json::Map;
use serde_json::Value;

/// What the paper needs besides what the run found.
pub(crate) struct Context<'a> {
    /// The job file.
    pub(crate) job: &'a Path,
    /// The settings.
    pub(crate) settings: &'a Settings,
    /// The ground.
    pub(crate) ground: &'a Ground,
    /// The image.
    pub(crate) image: &'a Image,
    /// Growing days and how they were counted.
    pub(crate) growing_days: &'a (f64, Option<String>),
    /// What was noticed.
    pub(crate) findings: &'a [Finding],
    /// The record without outputs and time.
    pub(crate) core: &'a Map<String, Value>,
    /// Rates as the machine gets them.
    pub(crate) rates: &'a MachineRates,
    /// Whether nothing is written for the machine.
    pub(crate) stopped: bool,
    /// The instant that stands in files which demand one.
    pub(crate) instant: Timestamp,
}

/// Calls `work` with everything that the paper is made of.
///
/// # Errors
/// When the image cannot be read again, or the plane not be carried into longitude and latitude.
pub(crate) fn with_paper<T>(outcome: &Outcome, context: &Context<'_>, work: impl FnOnce(&Paper<'_>) -> Result<T, AppError>) -> Result<T, AppError> {
    let text = Text::english();
    let prescription = &outcome.prescription;
    let settings = context.settings;
    let overview = index_overview(context.image, context.ground)?;
    let points = check_points(prescription, context.rates, 3).map_err(RunError::from)?;
    let scouts = scout_points(prescription).map_err(RunError::from)?;
    let weather = weather_months(&settings.season)?;
    let image = image_facts(context);
    let response = mean_yield_at_flat_rates(settings, &outcome.rated);
    let product_cautions =
        settings.product.as_ref().and_then(|product| find_product(product.name()).ok()).map(|entry| entry.cautions.clone()).unwrap_or_default();
    let command = format!("haulm map {}", context.job.file_name().map_or_else(|| "job.toml".into(), |name| name.to_string_lossy()));
    work(&Paper {
        settings,
        ground: context.ground,
        outcome,
        findings: context.findings,
        core: context.core,
        rates: context.rates,
        points: &points,
        scouts: &scouts,
        overview: overview.as_ref(),
        image: &image,
        growing_days: context.growing_days,
        weather: weather.as_ref(),
        response: &response,
        product_cautions: &product_cautions,
        command: &command,
        stopped: context.stopped,
        gain_range: None,
        text: &text,
    })
}

/// Report, card and walk as files. A stopped run has a report alone.
///
/// # Errors
/// As [`with_paper`].
pub(crate) fn files(outcome: &Outcome, context: &Context<'_>) -> Result<Vec<Payload>, AppError> {
    with_paper(outcome, context, |paper| written(paper, context.instant))
}

fn written(paper: &Paper<'_>, instant: Timestamp) -> Result<Vec<Payload>, AppError> {
    let text = paper.text;
    let report = paper.report();
    let mut files = vec![
        Payload::new("office/report.html", html(&report, text)),
        Payload::new("office/report.pdf", pdf(&report, instant, &paper.outcome.prescription.map_id).map_err(|error| fault(&error))?),
    ];
    if !paper.stopped {
        files.push(Payload::new("machine/CARD.html", html(&card_document(paper), text)));
        let waypoints: Vec<gpx::Waypoint> = paper
            .scouts
            .iter()
            .map(|point| gpx::Waypoint {
                longitude: point.longitude,
                latitude: point.latitude,
                name: scout_name(text, point),
                description: scout_words(text, point, paper.settings.output.us_units),
            })
            .collect();
        files.push(gpx::write("office/scouting.gpx", &report.title, &waypoints, instant));
    }
    Ok(files)
}

/// A document that cannot become a PDF is a fault of haulm's, not of the input.
fn fault(error: &PdfError) -> AppError {
    AppError::fault("report.pdf", error.to_string()).with_hint("please report it with the job file and this message")
}

fn image_facts(context: &Context<'_>) -> ImageFacts {
    let index = &context.image.index.0;
    let bands = context.core.get("image").and_then(|image| image.get("bands")).and_then(Value::as_array);
    let mut files: Vec<String> = Vec::new();
    for path in bands.into_iter().flatten().filter_map(|band| band.get("path").and_then(Value::as_str)) {
        if !files.iter().any(|known| known == path) {
            files.push(path.to_owned());
        }
    }
    ImageFacts {
        index_name: index.name().to_owned(),
        formula: index.formula().text().to_owned(),
        index_source: find_entry(index.name()).map(|entry| entry.source.clone()).unwrap_or_default(),
        files,
    }
}

/// The weather record between planting and sensing, by month; growing days are counted as the run counts them.
fn weather_months(season: &Season) -> Result<Option<WeatherMonths>, AppError> {
    let (GrowingDays::Weather(path), Some(planted), Some(sensed)) = (&season.growing_days, season.planted, season.sensed) else { return Ok(None) };
    let table = weather::read(path)?.value;
    let unit = crate::app::job::weather::daily_record(&table).unit;
    let mut months: BTreeMap<String, (u32, i64, i64, u32)> = BTreeMap::new();
    for day in table.days.iter().filter(|day| day.date >= planted && (day.date < sensed || (season.count_sensing_day && day.date == sensed))) {
        let month = months.entry(format!("{:04}-{:02}", day.date.year(), day.date.month())).or_default();
        month.0 += 1;
        month.1 += day.tmin_thousandths;
        month.2 += day.tmax_thousandths;
        month.3 += u32::from(season.crop.base.is_below_mean_of(day.tmin_thousandths, day.tmax_thousandths, unit));
    }
    let month = |(month, (days, tmin, tmax, growing_days)): (String, (u32, i64, i64, u32))| WeatherMonth {
        month,
        days,
        tmin: tmin as f64 / 1000.0 / f64::from(days),
        tmax: tmax as f64 / 1000.0 / f64::from(days),
        growing_days,
    };
    Ok(Some(WeatherMonths { unit: unit.label(), months: months.into_iter().map(month).collect() }))
}
