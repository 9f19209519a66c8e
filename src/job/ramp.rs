//! The job of one flat rate from a nitrogen ramp: `haulm rate` with `[[reference.ramp]]` readings, or with steps on an image. What only a map needs is passed over.

use std::path::Path;

use crate::finding::{Acceptance, Checked};
use crate::job::fault::JobError;
use crate::job::keys::field::EXCLUDE;
use crate::job::keys::reference::{RAMP, RAMP_STEPS, RampUnit};
use crate::job::keys::{FIELD, IMAGERY, OUTPUT, RATE, REFERENCE, RESPONSE, ROOT, SEASON};
use crate::job::problem::Problem;
use crate::job::reader;
use crate::job::reader::{Item, Section};
use crate::job::record::Shown;
use crate::job::resolve::{ended, forget_product, log_of};
use crate::job::sections::crop::day;
use crate::job::sections::ground::vector_record;
use crate::job::sections::image::image_record;
use crate::job::sections::method::nitrogen;
use crate::job::sections::output::{accepted_record, application_record};
use crate::job::sections::rate::{product_record, rate_record};
use crate::job::sections::{ground, image, output, rate};
use crate::job::settings::{
    Application, Exclusion, FieldSettings, Imagery, ProductFacts, RateRules, VectorSource,
};
use crate::key::{Key, Record};
use crate::science::index::find_entry;
use crate::science::response_curve::{PlateauShape, Point};
use crate::units::{Length, NRate, Product, RateUnit};
use jiff::civil::Date;
use serde_json::Value;

/// A job of one flat rate from a ramp, resolved.
#[derive(Clone, Debug)]
pub struct RampSettings {
    /// `field.name`, if given.
    pub name: Option<String>,
    /// `reference.ramp`: its readings; none yet when they are to be measured on an image.
    pub readings: Vec<Point>,
    /// Where the steps are to be measured, when `reference.ramp` names polygons.
    pub image: Option<Box<RampImage>>,
    /// `reference.ramp_index`, else `imagery.index`, if either is given.
    pub index: Option<String>,
    /// `reference.ramp_model`.
    pub model: PlateauShape,
    /// `rate.applied_before`: what the field beside the ramp got so far, counted as the ramp's rates are; `None` when not given.
    pub applied: Option<NRate>,
    /// `response.applied_since_sensing`.
    pub applied_since_sensing: NRate,
    /// Sensing date.
    pub sensed: Option<Date>,
    /// `[rate]`.
    pub rate: RateRules,
    /// `[product]`.
    pub product: Option<Product>,
    /// What more is known of it.
    pub product_facts: ProductFacts,
    /// `[application]`.
    pub application: Application,
    /// `[[accept]]`: code and who accepted it.
    pub accept: Vec<(String, Acceptance)>,
    /// Unit that the product (or, without one, nitrogen) is shown in.
    pub unit: RateUnit,
    /// Whether people's numbers are in US units.
    pub us_units: bool,
}

/// A ramp on an image, as the job states it.
#[derive(Clone, Debug)]
pub struct RampImage {
    /// `[field]`.
    pub field: FieldSettings,
    /// `[imagery]`.
    pub imagery: Imagery,
    /// `reference.ramp`: the steps' polygons.
    pub steps: VectorSource,
    /// `reference.ramp.rate`: the column of their rates.
    pub column: String,
    /// What one unit of that column is. \[kg N/ha\]
    pub unit: NRate,
    /// `reference.inset`: how far steps are shrunk.
    pub inset: Length,
}

/// Resolves the text of a job for one flat rate from a ramp; `None` when it has no ramp, or is no TOML, which the reader of other jobs then tells.
///
/// # Errors
/// [`JobError::Refused`] with every fault found.
pub fn ramp_job(bytes: &[u8], path: &Path) -> Result<Option<Checked<RampSettings>>, JobError> {
    ramp_job_in(bytes, path, None)
}

/// As [`ramp_job`], with US units first for people, or metric ones, when `us` says so.
///
/// # Errors
/// As [`ramp_job`].
pub fn ramp_job_in(
    bytes: &[u8],
    path: &Path,
    us: Option<bool>,
) -> Result<Option<Checked<RampSettings>>, JobError> {
    let Ok(log) = log_of(bytes, path) else {
        return Ok(None);
    };
    log.set_units(us);
    let Some(mut root) = reader::parse(&log) else {
        return Ok(None);
    };
    let reference = root.section(&ROOT.reference);
    if !reference.has(&REFERENCE.ramp) {
        return Ok(None);
    }
    let value = settings(root, reference, path.parent().unwrap_or(Path::new("")));
    ended(value, log, path).map(Some)
}

fn settings(
    mut root: Section<'_>,
    mut in_reference: Section<'_>,
    folder: &Path,
) -> Option<RampSettings> {
    let mut in_field = root.section(&ROOT.field);
    let mut in_imagery = root.section(&ROOT.imagery);
    let mut in_season = root.section(&ROOT.season);
    let mut in_response = root.section(&ROOT.response);
    let mut in_rate = root.section(&ROOT.rate);
    let mut in_product = root.section(&ROOT.product);
    let mut in_application = root.section(&ROOT.application);
    let mut in_output = root.section(&ROOT.output);
    in_rate.ask();
    let accept = output::accept(&mut root);
    for key in [
        &ROOT.crop,
        &ROOT.machine,
        &ROOT.zones,
        &ROOT.prices,
        &ROOT.record,
        &ROOT.report,
    ] {
        root.section(key).rest();
    }
    let measured = names_polygons(&in_reference);
    let on_image = if measured {
        steps(&mut in_reference, folder)
    } else {
        None
    };
    let (mut field, mut imagery) = (None, None);
    if measured {
        in_field.ask_for_a_map();
        in_imagery.ask_for_a_map();
    }
    let (name, image_date, image_index) = if measured {
        field = ground::field(&mut in_field, folder);
        imagery = image::imagery(&mut in_imagery, folder);
        let seen = imagery
            .as_ref()
            .map(|imagery| (imagery.date, imagery.index.clone()));
        (
            field.as_ref().map(|field| field.name.clone()),
            seen.as_ref().map(|seen| seen.0),
            seen.map(|seen| seen.1),
        )
    } else {
        (
            in_field.find(&FIELD.name),
            in_imagery.find(&IMAGERY.date),
            in_imagery.find(&IMAGERY.index),
        )
    };
    let sensed = in_season.find(&SEASON.sensed).or(image_date);
    let (product, product_facts) = rate::product(&mut in_product).unzip();
    let product_facts = product_facts.unwrap_or_default();
    let given = reference(&mut in_reference, measured, product.as_ref());
    let applied_since_sensing = nitrogen(
        &mut in_response,
        &RESPONSE.applied_since_sensing,
        product.as_ref(),
    )
    .unwrap_or(NRate::ZERO);
    let before = rate::applied_before(&mut in_rate, product.as_ref());
    let applied = in_rate.given(&RATE.applied_before).then_some(before);
    let rules = rate::rate(
        &mut in_rate,
        product.as_ref(),
        before,
        applied_since_sensing,
        folder,
    );
    let application = output::application(&mut in_application, sensed);
    let us = root.log().us();
    let (unit, us_units) = output::rate_unit(&mut in_output, product.as_ref(), us);
    forget_product(&in_product, product.as_ref());
    for (mut section, whole) in [
        (in_field, measured),
        (in_imagery, measured),
        (in_season, false),
        (in_response, false),
        (in_output, false),
    ] {
        if !whole {
            section.rest();
        }
        section.finish();
    }
    [in_reference, in_rate, in_product, in_application, root]
        .into_iter()
        .for_each(Section::finish);
    let Given {
        readings,
        model,
        index,
        inset,
    } = given?;
    let image = if measured {
        let Steps {
            source,
            column,
            unit,
        } = on_image?;
        Some(Box::new(RampImage {
            field: field?,
            imagery: imagery?,
            steps: source,
            column,
            unit,
            inset,
        }))
    } else {
        None
    };
    Some(RampSettings {
        name,
        readings,
        image,
        // A formula or a ready band is no name of an index.
        index: index.or(image_index.filter(|name| find_entry(name).is_some())),
        model,
        applied,
        applied_since_sensing,
        sensed,
        rate: rules?.0,
        product,
        product_facts,
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
    inset: Length,
}

/// Polygons of a ramp and the column of their rates.
struct Steps {
    source: VectorSource,
    column: String,
    unit: NRate,
}

/// Whether `reference.ramp` names polygons instead of readings.
fn names_polygons(section: &Section<'_>) -> bool {
    section.peek(&REFERENCE.ramp).is_some_and(
        |item| matches!(item, Item::Table(keys) if keys.iter().any(|(key, _)| key == RAMP_STEPS.path.name)),
    )
}

/// `reference.ramp = { path, rate, unit }`: steps to be measured on the image.
fn steps(section: &mut Section<'_>, folder: &Path) -> Option<Steps> {
    let mut table = section.sub_at(&REFERENCE.ramp)?;
    let source = ground::vector_table(&mut table, &RAMP_STEPS.path, folder, false);
    let column = table.find(&RAMP_STEPS.rate);
    let unit = table.find(&RAMP_STEPS.unit).map(|unit| match unit {
        RampUnit::Metric => NRate::kg_per_ha(1.0),
        RampUnit::Us => NRate::lb_per_ac(1.0),
    });
    table.finish();
    Some(Steps {
        source: source?,
        column: column?,
        unit: unit?,
    })
}

fn reference(
    section: &mut Section<'_>,
    measured: bool,
    product: Option<&Product>,
) -> Option<Given> {
    let inset = section.get(&REFERENCE.inset);
    // Other keys of the section, which a map reads.
    let of_a_map: [&Key; 7] = [
        &REFERENCE.strips,
        &REFERENCE.gap,
        &REFERENCE.segments,
        &REFERENCE.drop,
        &REFERENCE.strips_use,
        &REFERENCE.level,
        &REFERENCE.percentile,
    ];
    for key in of_a_map {
        section.take(key);
    }
    if section.has(&REFERENCE.readings) {
        section.refuse_together(
            &REFERENCE.readings,
            vec![REFERENCE.readings.full(), REFERENCE.ramp.full()],
        );
    }
    let tables = section.tables(&REFERENCE.ramp);
    let count = tables.len();
    let mut readings = Vec::new();
    for mut table in tables {
        let rate = nitrogen(&mut table, &RAMP.rate, product);
        let index = table.find(&RAMP.index);
        table.finish();
        readings.extend(rate.zip(index).map(|(rate, value)| Point { rate, value }));
    }
    if count == 0 && !measured {
        section.refuse(&REFERENCE.ramp, Problem::Empty { example: "[{ rate = \"0 kg N/ha\", index = 0.52 }, { rate = \"40 kg N/ha\", index = 0.61 }]" });
    }
    let model = section.get(&REFERENCE.ramp_model);
    let index = section.find(&REFERENCE.ramp_index);
    ((count > 0 || measured) && readings.len() == count).then_some(Given {
        readings,
        model,
        index,
        inset,
    })
}

/// The settings of one flat rate from a ramp.
pub fn record(settings: &RampSettings, shown: Shown<'_>) -> Value {
    let source: Value = match &settings.image {
        None => settings
            .readings
            .iter()
            .map(|step| {
                Record::new()
                    .put(&RAMP.rate, step.rate.get())
                    .put(&RAMP.index, step.value)
                    .value()
            })
            .collect(),
        Some(ramp) => Record::new()
            .add("steps", vector_record(&ramp.steps, shown).value())
            .put(&RAMP_STEPS.rate, ramp.column.clone())
            .add("unit_kg_n_ha", ramp.unit.get())
            .put(&REFERENCE.inset, ramp.inset.get())
            .value(),
    };
    let ground = settings.image.as_ref().map(|ramp| {
        let excluded = |one: &Exclusion| {
            Record::new()
                .add("source", vector_record(&one.source, shown).value())
                .put(&EXCLUDE.buffer, one.buffer.get())
                .put(&EXCLUDE.reason, one.reason.clone())
                .value()
        };
        Record::new()
            .table(&FIELD.boundary, vector_record(&ramp.field.boundary, shown))
            .put(&FIELD.crs, ramp.field.crs.clone())
            .put(
                &FIELD.exclude,
                ramp.field
                    .exclusions
                    .iter()
                    .map(excluded)
                    .collect::<Vec<_>>(),
            )
            .value()
    });
    Record::new()
        .table(
            &ROOT.field,
            Record::new()
                .put(&FIELD.name, settings.name.clone())
                .add("ground", ground),
        )
        .put(
            &ROOT.imagery,
            settings
                .image
                .as_ref()
                .map(|ramp| image_record(&ramp.imagery, shown)),
        )
        .table(
            &ROOT.reference,
            Record::new()
                .add("source", Record::new().put(&REFERENCE.ramp, source).value())
                .put(&REFERENCE.ramp_model, settings.model.name())
                .put(&REFERENCE.ramp_index, settings.index.clone()),
        )
        .table(
            &ROOT.season,
            Record::new().put(&SEASON.sensed, day(settings.sensed)),
        )
        .table(
            &ROOT.response,
            Record::new().put(
                &RESPONSE.applied_since_sensing,
                settings.applied_since_sensing.get(),
            ),
        )
        .table(&ROOT.rate, rate_record(&settings.rate, shown))
        .put(
            &ROOT.product,
            settings
                .product
                .as_ref()
                .map(|own| product_record(own, &settings.product_facts)),
        )
        .table(&ROOT.application, application_record(&settings.application))
        .put(&ROOT.accept, accepted_record(&settings.accept))
        .table(
            &ROOT.output,
            Record::new()
                .put(&OUTPUT.unit, settings.unit.label())
                .add("us_units", settings.us_units),
        )
        .value()
}
