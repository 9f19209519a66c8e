//! The resolved settings for the record: every setting that was used, under its key's name and unit.
//!
//! The caller shows paths: below the job's folder relative to it with forward slashes, so that the same job gives the same record in any folder.

use std::path::Path;

use crate::job::keys::office::TASK_DATA;
use crate::job::keys::{FIELD, IMAGERY, OUTPUT, REFERENCE, ROOT};
use crate::job::sections::crop::season_record;
use crate::job::sections::ground::{field_record, readings_record, reference_record};
use crate::job::sections::image::image_record;
use crate::job::sections::machine::machine_record;
use crate::job::sections::method::response_record;
use crate::job::sections::money::prices_record;
use crate::job::sections::output::{
    accepted_record, application_record, filed_record, report_record,
};
use crate::job::sections::points::points_record;
use crate::job::sections::rate::{product_record, rate_record};
use crate::job::sections::uncertainty::uncertainty_record;
use crate::job::sections::zones::zones_record;
use crate::job::settings::points::Points;
use crate::job::settings::{ImageSource, Imagery, RateSettings, Settings};
use crate::key::Record;
use serde_json::Value;

/// How a path stands in the record.
pub(crate) type Shown<'a> = &'a dyn Fn(&Path) -> String;

/// The settings of a map, section by section in the order of the job file. `shown` says how a path is written.
pub(crate) fn settings(settings: &Settings, shown: Shown<'_>) -> Value {
    let of_points = |imagery: &Imagery| readings_rule(imagery).is_some();
    let (points_of, image_of) = match &settings.imagery {
        Some(imagery) if of_points(imagery) => (Some(imagery), None),
        imagery => (None, imagery.as_ref()),
    };
    Record::new()
        .table(&ROOT.field, field_record(&settings.field, shown))
        .put(&ROOT.imagery, image_of.map(|own| image_record(own, shown)))
        .put(
            &ROOT.points,
            points_of.and_then(|own| Some(points_record(own, readings_rule(own)?, shown))),
        )
        .table(
            &ROOT.reference,
            reference_record(&settings.reference, shown),
        )
        .table(&ROOT.season, season_record(&settings.season, shown))
        .table(&ROOT.response, response_record(&settings.response))
        .table(&ROOT.rate, rate_record(&settings.rate, shown))
        .put(
            &ROOT.product,
            settings
                .product
                .as_ref()
                .map(|own| product_record(own, &settings.product_facts)),
        )
        .table(&ROOT.machine, machine_record(&settings.machine, shown))
        .table(&ROOT.zones, zones_record(&settings.zones))
        .put(&ROOT.prices, settings.prices.as_ref().map(prices_record))
        .table(&ROOT.uncertainty, uncertainty_record(&settings.uncertainty))
        .table(&ROOT.application, application_record(&settings.application))
        .put(&ROOT.accept, accepted_record(&settings.accept))
        .table(&ROOT.record, filed_record(&settings.filed))
        .table(&ROOT.report, report_record(settings.report))
        .table(
            &ROOT.output,
            Record::new()
                .put(&OUTPUT.folder, shown(&settings.output.folder))
                .put(&OUTPUT.unit, settings.output.unit.label())
                .add("us_units", settings.output.us_units)
                .put(
                    &OUTPUT.formats,
                    settings
                        .output
                        .formats
                        .iter()
                        .map(|format| format.word())
                        .collect::<Vec<_>>(),
                )
                .table(
                    &OUTPUT.task_data,
                    Record::new()
                        .put(&TASK_DATA.version, settings.output.task_data.version.word())
                        .put(&TASK_DATA.kind, settings.output.task_data.kind.word()),
                ),
        )
        .value()
}

/// The settings of one flat rate.
pub(crate) fn rate_settings(settings: &RateSettings, shown: Shown<'_>) -> Value {
    let source = Record::new().put(&REFERENCE.readings, readings_record(&settings.readings));
    Record::new()
        .table(
            &ROOT.field,
            Record::new()
                .put(&FIELD.name, settings.name.clone())
                .put(&FIELD.region, settings.region.clone()),
        )
        .table(
            &ROOT.imagery,
            Record::new().put(&IMAGERY.sensor, settings.sensor.clone()),
        )
        .table(&ROOT.reference, Record::new().add("source", source.value()))
        .table(&ROOT.season, season_record(&settings.season, shown))
        .table(&ROOT.response, response_record(&settings.response))
        .table(&ROOT.rate, rate_record(&settings.rate, shown))
        .put(
            &ROOT.product,
            settings
                .product
                .as_ref()
                .map(|own| product_record(own, &settings.product_facts)),
        )
        .put(&ROOT.prices, settings.prices.as_ref().map(prices_record))
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

fn readings_rule(imagery: &Imagery) -> Option<&Points> {
    if let ImageSource::Points(rule) = &imagery.source {
        Some(rule)
    } else {
        None
    }
}
