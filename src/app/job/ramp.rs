//! The job of one flat rate from a nitrogen ramp: `haulm rate` with `[[reference.ramp]]`. What only a map needs is passed over.

use std::path::Path;

use crate::app::job::amount;
use crate::app::job::fault::JobError;
use crate::app::job::fault::Wanted;
use crate::app::job::problem::Problem;
use crate::app::job::reader;
use crate::app::job::reader::Section;
use crate::app::job::resolve::bytes_of;
use crate::app::job::resolve::ended;
use crate::app::job::resolve::forget_product;
use crate::app::job::resolve::log_of;
use crate::app::job::sections::ground;
use crate::app::job::sections::output;
use crate::app::job::sections::rate;
use crate::finding::Checked;
use crate::pipeline::ramp::RampSettings;
use crate::science::response_curve::PlateauShape;
use crate::science::response_curve::Point;
use crate::units::NRate;
use crate::units::Product;

/// Other keys of `[reference]`, which a map reads.
const OF_A_MAP: [&str; 7] = ["strips", "inset", "gap", "segments", "drop", "strips_use", "percentile"];

/// Reads the job file of one flat rate from a ramp; `None` when the job has no ramp.
///
/// # Errors
/// When the file cannot be read, or anything in a job with a ramp is wrong: every fault at once.
pub fn read_ramp_job(path: &Path) -> Result<Option<Checked<RampSettings>>, JobError> {
    ramp_job(&bytes_of(path)?, path)
}

/// Resolves the text of a job for one flat rate from a ramp; `None` when it has no ramp, or is no TOML, which the reader of other jobs then tells.
///
/// # Errors
/// [`JobError::Refused`] with every fault found.
pub fn ramp_job(bytes: &[u8], path: &Path) -> Result<Option<Checked<RampSettings>>, JobError> {
    let Ok(log) = log_of(bytes, path) else { return Ok(None) };
    let Some(mut root) = reader::parse(&log) else { return Ok(None) };
    let reference = root.section("reference");
    if !reference.has("ramp") {
        return Ok(None);
    }
    let value = settings(root, reference);
    ended(value, log, path).map(Some)
}

fn settings(mut root: Section<'_>, mut in_reference: Section<'_>) -> Option<RampSettings> {
    let [mut in_field, mut in_imagery, mut in_season, mut in_response] = ["field", "imagery", "season", "response"].map(|key| root.section(key));
    let [mut in_rate, mut in_product, mut in_application, mut in_output] = ["rate", "product", "application", "output"].map(|key| root.section(key));
    let accept = output::accept(&mut root);
    for key in ["crop", "machine", "zones", "prices"] {
        root.section(key).rest();
    }
    let name = in_field.text("name", "\"Long Ley\"");
    let image_date = in_imagery.date("date");
    let image_index = in_imagery.text("index", "\"NDVI\"");
    let sensed = in_season.date("sensed").or(image_date);
    let product = rate::product(&mut in_product);
    let given = reference(&mut in_reference, product.as_ref());
    let applied_since_sensing = nitrogen(&mut in_response, "applied_since_sensing", product.as_ref()).unwrap_or(NRate::ZERO);
    let rules = rate::rate(&mut in_rate, product.as_ref());
    let application = output::application(&mut in_application, sensed);
    let us = rules.as_ref().is_some_and(|(_, us)| *us);
    let (unit, us_units) = output::rate_unit(&mut in_output, product.as_ref(), us);
    forget_product(&in_product, product.as_ref());
    for mut section in [in_field, in_imagery, in_season, in_response, in_output] {
        section.rest();
        section.finish();
    }
    [in_reference, in_rate, in_product, in_application, root].into_iter().for_each(Section::finish);
    let Given { readings, model, index, applied } = given?;
    Some(RampSettings {
        name,
        readings,
        index: index.or(image_index),
        model,
        applied,
        applied_since_sensing,
        sensed,
        rate: rules?.0,
        product,
        application,
        accept,
        unit,
        us_units,
    })
}

/// What `[reference]` says of a ramp.
struct Given {
    readings: Vec<Point>,
    model: PlateauShape,
    index: Option<String>,
    applied: Option<NRate>,
}

fn reference(section: &mut Section<'_>, product: Option<&Product>) -> Option<Given> {
    for key in OF_A_MAP {
        section.take(key);
    }
    if section.take("readings").is_some() {
        section.refuse("readings", Problem::Together { keys: vec!["reference.readings", "reference.ramp"] });
    }
    let tables = section.tables("ramp", "reference.ramp");
    let count = tables.len();
    let mut readings = Vec::new();
    for mut table in tables {
        let rate = nitrogen(&mut table, "rate", product);
        let index = table.number("index", 0.001, 100.0, "an averaged canopy index lies above 0 and rarely above 1");
        table.require("rate", "the nitrogen that the step got", "\"40 kg N/ha\"");
        table.require("index", "the averaged index of the step", "0.61");
        table.finish();
        readings.extend(rate.zip(index).map(|(rate, value)| Point { rate, value }));
    }
    if count == 0 {
        section.refuse("ramp", Problem::Empty { example: "[{ rate = \"0 kg N/ha\", index = 0.52 }, { rate = \"40 kg N/ha\", index = 0.61 }]" });
    }
    let models = [PlateauShape::Linear, PlateauShape::Quadratic].map(|shape| (shape.name(), shape));
    let model = section.choice("ramp_model", "curve of a ramp (linear plateau, quadratic plateau)", &models).unwrap_or(PlateauShape::Linear);
    let index = section.text("ramp_index", "\"NDVI\"");
    let applied = nitrogen(section, "applied", product);
    (count > 0 && readings.len() == count).then_some(Given { readings, model, index, applied })
}

fn nitrogen(section: &mut Section<'_>, key: &'static str, product: Option<&Product>) -> Option<NRate> {
    let rate = section.amount(key, Wanted::Nitrogen, |text| amount::nitrogen(text, product, false))?.rate;
    if rate.get() > 1000.0 {
        section.refuse(key, ground::range(&rate, "0 kg N/ha", "1000 kg N/ha", "more than any crop gets"));
    }
    Some(rate)
}
