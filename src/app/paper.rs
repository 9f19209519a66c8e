//! The paper of a run: gathers what it is made of, and hands back its files.

use std::cell::OnceCell;
use std::path::Path;

use crate::app::error::AppError;
use crate::app::held::{Held, weather_of};
use crate::app::job::weather::daily_record;
use crate::app::open;
use crate::app::overview::graticule;
use crate::finding::Finding;
use crate::format::payload::Payload;
use crate::format::{gpx, iso11783, shapefile};
use crate::job::settings::{Format, Season, Settings};
use crate::map::check_points::CheckPoint;
use crate::map::file_totals::{FileNames, FileTotal};
use crate::map::machine::MachineRates;
use crate::map::prescription::Prescription;
use crate::map::scouting::scout_points;
use crate::pipeline::curve::mean_yield_at_flat_rates;
use crate::pipeline::error::StepError;
use crate::pipeline::ground::Ground;
use crate::pipeline::run::Outcome;
use crate::pipeline::season::GrowingSeason;
use crate::report::card::{CardFacts, card};
use crate::report::draw::raster::IndexOverview;
use crate::report::html::html;
use crate::report::paper::{
    ImageFacts, Paper, WeatherMonth, WeatherMonths, card_document, scout_name, scout_words,
};
use crate::report::pdf::{PdfError, pdf};
use crate::report::text::Text;
use crate::science::growing_days::{Day, MissingDays, SeasonSpan, count_growing_days};
use crate::science::index::find_entry;
use crate::science::product::{Caution, Concern, find_product};
use jiff::{Timestamp, ToSpan as _};
use serde_json::{Map, Value};

/// What the paper needs besides what the run found.
pub(crate) struct Context<'a> {
    /// The job file.
    pub(crate) job: &'a Path,
    pub(crate) settings: &'a Settings,
    pub(crate) ground: &'a Ground,
    pub(crate) image: &'a open::ImageFacts,
    /// The index as it was taken.
    pub(crate) overview: Option<&'a IndexOverview>,
    /// Growing days and how they were counted.
    pub(crate) season: &'a GrowingSeason,
    /// The weather record by month, when growing days come from one.
    pub(crate) weather: Option<&'a WeatherMonths>,
    /// What was noticed.
    pub(crate) findings: &'a [Finding],
    /// The record without outputs and time.
    pub(crate) core: &'a Map<String, Value>,
    /// Rates as the machine gets them.
    pub(crate) rates: &'a MachineRates,
    /// Where driver and terminal can compare.
    pub(crate) points: &'a [CheckPoint],
    /// What each file for machines puts on the field.
    pub(crate) file_totals: &'a [FileTotal],
    /// Whether nothing is written for the machine.
    pub(crate) stopped: bool,
    /// The instant that stands in files which demand one.
    pub(crate) instant: Timestamp,
}

/// Calls `work` with everything that the paper is made of.
///
/// # Errors
/// When the plane cannot be transformed to longitude and latitude.
pub(crate) fn with_paper<T>(
    outcome: &Outcome,
    context: &Context<'_>,
    work: impl FnOnce(&Paper<'_>) -> Result<T, AppError>,
) -> Result<T, AppError> {
    let text = Text::english();
    let prescription = &outcome.prescription;
    let settings = context.settings;
    let scouts = scout_points(prescription).map_err(StepError::from)?;
    let image = image_facts(context);
    let response = mean_yield_at_flat_rates(&settings.response, &settings.rate, &outcome.rated);
    let cautions: &[Caution] = settings
        .product_facts
        .shipped
        .as_deref()
        .and_then(|shipped| find_product(shipped).ok())
        .map_or(&[], |entry| entry.cautions.as_slice());
    let product_cautions: Vec<String> = cautions
        .iter()
        .map(|caution| caution.text.clone())
        .collect();
    let card_cautions: Vec<String> = cautions
        .iter()
        .filter(|caution| {
            matches!(
                caution.about,
                Concern::Safety | Concern::Leaves | Concern::Mixing
            )
        })
        .map(|caution| caution.text.clone())
        .collect();
    let graticule = graticule(context.ground);
    let file_names = names_of(&settings.output.formats, prescription);
    let command = format!(
        "haulm map {}",
        context
            .job
            .file_name()
            .map_or_else(|| "job.toml".into(), |name| name.to_string_lossy())
    );
    work(&Paper {
        settings,
        ground: context.ground,
        outcome,
        findings: context.findings,
        core: context.core,
        rates: context.rates,
        points: context.points,
        file_totals: context.file_totals,
        file_names: &file_names,
        scouts: &scouts,
        overview: context.overview,
        graticule: &graticule,
        image: &image,
        season: context.season,
        weather: context.weather,
        response: &response,
        product_cautions: &product_cautions,
        card_cautions: &card_cautions,
        command: &command,
        stopped: context.stopped,
        text: &text,
        borders: OnceCell::new(),
    })
}

/// What the files for machines are called, of those formats that are written.
fn names_of(formats: &[Format], prescription: &Prescription) -> FileNames {
    let (field, map) = (&prescription.field_name, &prescription.map_id);
    FileNames {
        shapefile: formats
            .contains(&Format::Shapefile)
            .then(|| shapefile::safe_name(field, map)),
        task: formats
            .contains(&Format::Iso11783)
            .then(|| iso11783::task_name(field, map)),
    }
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
    let mut files = vec![Payload::new("office/report.html", html(&report, text))];
    if paper.settings.report.pdf {
        let bytes = pdf(&report, instant, &paper.outcome.prescription.map_id)
            .map_err(|error| fault(&error))?;
        files.push(Payload::new("office/report.pdf", bytes));
    }
    if !paper.stopped {
        let facts = CardFacts {
            prescription: &paper.outcome.prescription,
            rates: paper.rates,
            points: paper.points,
            files: paper.file_totals,
            names: paper.file_names,
            findings: paper.findings,
            product_cautions: paper.card_cautions,
        };
        files.push(Payload::new("machine/CARD.txt", card(&facts).into_bytes()));
        files.push(Payload::new(
            "machine/CARD.html",
            html(&card_document(paper), text),
        ));
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
        files.push(gpx::write(
            "office/scouting.gpx",
            &report.title,
            &waypoints,
            instant,
        ));
    }
    Ok(files)
}

/// A document that cannot become a PDF is a fault of haulm's, not of the input.
fn fault(error: &PdfError) -> AppError {
    AppError::fault("report.pdf", error.to_string())
        .with_hint("please report it with the job file and this message")
}

fn image_facts(context: &Context<'_>) -> ImageFacts {
    let index = &context.image.index;
    let bands = context
        .core
        .get("image")
        .and_then(|image| image.get("bands"))
        .and_then(Value::as_array);
    let mut files: Vec<String> = Vec::new();
    for path in bands
        .into_iter()
        .flatten()
        .filter_map(|band| band.get("path").and_then(Value::as_str))
    {
        if !files.iter().any(|known| known == path) {
            files.push(path.to_owned());
        }
    }
    ImageFacts {
        index_name: index.name().to_owned(),
        formula: index.formula().text().to_owned(),
        index_source: find_entry(index.name())
            .map(|entry| entry.source.clone())
            .unwrap_or_default(),
        files,
    }
}

/// The weather record between planting and sensing, by month; each month is counted as the run counts the season. `None` where days came from several stations:
/// the record alone would then add up to another number.
///
/// # Errors
/// When the record cannot be read again.
pub(crate) fn weather_months(
    season: &Season,
    grown: &GrowingSeason,
    record: Option<&Path>,
    held: Option<&Held>,
) -> Result<Option<WeatherMonths>, AppError> {
    let (Some(counted), Some(path)) = (&grown.counted, record) else {
        return Ok(None);
    };
    if !counted.count.filled.is_empty() {
        return Ok(None);
    }
    let record = daily_record(&weather_of(path, held)?.value);
    let records = [record];
    let (first, end) = (
        counted.count.first,
        counted.count.last.saturating_add(1.day()),
    );
    let mut months = Vec::new();
    let mut from = first;
    while from < end {
        let next = from.first_of_month().saturating_add(1.month()).min(end);
        let span = SeasonSpan {
            planted: from,
            sensed: next,
            count_sensing_day: false,
        };
        let days: Vec<_> = records[0]
            .days
            .iter()
            .filter(|day| day.date >= from && day.date < next)
            .collect();
        // A month without a single day in the record says nothing.
        if let (Ok(count), false) = (
            count_growing_days(&records, &season.rule, span, MissingDays::LeaveOut),
            days.is_empty(),
        ) {
            let mean = |of: fn(&Day) -> i64| {
                days.iter().map(|day| of(day)).sum::<i64>() as f64 / 1000.0 / days.len() as f64
            };
            months.push(WeatherMonth {
                month: format!("{:04}-{:02}", from.year(), from.month()),
                days: days.len() as u32,
                tmin: mean(|day| day.tmin_thousandths),
                tmax: mean(|day| day.tmax_thousandths),
                growing_days: count.growing_days,
            });
        }
        from = next;
    }
    Ok(Some(WeatherMonths {
        unit: records[0].unit.label(),
        months,
    }))
}
