//! The job of one flat rate from a nitrogen ramp: `haulm rate` with `[[reference.ramp]]` readings, or with steps on an image. What only a map needs is passed over.

use std::path::Path;

use crate::app::job::resolve::{bytes_of, ended, forget_product, log_of};
use crate::app::job::sections::rate::as_nitrogen;
use crate::app::job::sections::{ground, image, output, rate};
use crate::finding::Checked;
use crate::job::fault::JobError;
use crate::job::problem::Problem;
use crate::job::reader::{Item, Section};
use crate::job::settings::VectorSource;
use crate::job::{amount, reader};
use crate::pipeline::ramp::RampSettings;
use crate::pipeline::ramp_image::RampImage;
use crate::science::index::find_entry;
use crate::science::response_curve::{PlateauShape, Point};
use crate::units::{Length, NRate, Product};

/// Other keys of `[reference]`, which a map reads.
const OF_A_MAP: [&str; 7] = [
    "strips",
    "gap",
    "segments",
    "drop",
    "strips_use",
    "level",
    "percentile",
];

/// Reads the job file of one flat rate from a ramp; `None` when the job has no ramp.
///
/// # Errors
/// When the file cannot be read, or anything in a job with a ramp is wrong: every fault at once.
pub fn read_ramp_job(
    path: &Path,
    us: Option<bool>,
) -> Result<Option<Checked<RampSettings>>, JobError> {
    ramp_job_in(&bytes_of(path)?, path, us)
}

/// Resolves the text of a job for one flat rate from a ramp; `None` when it has no ramp, or is no TOML, which the reader of other jobs then tells.
///
/// # Errors
/// [`JobError::Refused`] with every fault found.
pub fn ramp_job(bytes: &[u8], path: &Path) -> Result<Option<Checked<RampSettings>>, JobError> {
    ramp_job_in(bytes, path, None)
}

fn ramp_job_in(
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
    let reference = root.section("reference");
    if !reference.has("ramp") {
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
    let [mut in_field, mut in_imagery, mut in_season, mut in_response] =
        ["field", "imagery", "season", "response"].map(|key| root.section(key));
    let [
        mut in_rate,
        mut in_product,
        mut in_application,
        mut in_output,
    ] = ["rate", "product", "application", "output"].map(|key| root.section(key));
    let accept = output::accept(&mut root);
    for key in ["crop", "machine", "zones", "prices"] {
        root.section(key).rest();
    }
    let measured = names_polygons(&in_reference);
    let on_image = if measured {
        steps(&mut in_reference, folder)
    } else {
        None
    };
    let (mut field, mut imagery) = (None, None);
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
            in_field.text("name"),
            in_imagery.date("date"),
            in_imagery.text("index"),
        )
    };
    let sensed = in_season.date("sensed").or(image_date);
    let (product, product_facts) = rate::product(&mut in_product).unzip();
    let product_facts = product_facts.unwrap_or_default();
    let given = reference(&mut in_reference, measured, product.as_ref());
    let applied_since_sensing =
        nitrogen(&mut in_response, "applied_since_sensing", product.as_ref())
            .unwrap_or(NRate::ZERO);
    let before = rate::applied_before(&mut in_rate, product.as_ref());
    let applied = in_rate.given("applied_before").then_some(before);
    let rules = rate::rate(
        &mut in_rate,
        product.as_ref(),
        before,
        applied_since_sensing,
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
    section.peek("ramp").is_some_and(
        |item| matches!(item, Item::Table(keys) if keys.iter().any(|(key, _)| key == "path")),
    )
}

/// `reference.ramp = { path, rate, unit }`: steps to be measured on the image.
fn steps(section: &mut Section<'_>, folder: &Path) -> Option<Steps> {
    let entry = section.take("ramp")?;
    let mut table = section.sub(&entry, "ramp")?;
    let source = ground::vector_table(&mut table, "path", folder, false);
    let column = table.text("rate");
    table.require("rate");
    let unit = table.choice(
        "unit",
        &[
            ("kg N/ha", NRate::kg_per_ha(1.0)),
            ("lb N/ac", NRate::lb_per_ac(1.0)),
        ],
    );
    table.require("unit");
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
    let inset = section.amount_or("inset", amount::length);
    for key in OF_A_MAP {
        section.take(key);
    }
    if section.take("readings").is_some() {
        section.refuse(
            "readings",
            Problem::Together {
                keys: vec!["reference.readings", "reference.ramp"],
            },
        );
    }
    let tables = section.tables("ramp");
    let count = tables.len();
    let mut readings = Vec::new();
    for mut table in tables {
        let rate = nitrogen(&mut table, "rate", product);
        let index = table.number("index");
        table.require("rate");
        table.require("index");
        table.finish();
        readings.extend(rate.zip(index).map(|(rate, value)| Point { rate, value }));
    }
    if count == 0 && !measured {
        section.refuse("ramp", Problem::Empty { example: "[{ rate = \"0 kg N/ha\", index = 0.52 }, { rate = \"40 kg N/ha\", index = 0.61 }]" });
    }
    let models = [PlateauShape::Linear, PlateauShape::Quadratic].map(|shape| (shape.name(), shape));
    let model = section.choice("ramp_model", &models)?;
    let index = section.text("ramp_index");
    ((count > 0 || measured) && readings.len() == count).then_some(Given {
        readings,
        model,
        index,
        inset,
    })
}

fn nitrogen(
    section: &mut Section<'_>,
    key: &'static str,
    product: Option<&Product>,
) -> Option<NRate> {
    let rate = section
        .amount(key, |text| amount::nitrogen(text, product, false))?
        .rate;
    if !section.is_within(key, &rate, as_nitrogen) {
        section.outside(key, format!("{:.1} kg N/ha", rate.get()));
    }
    Some(rate)
}
