//! From the text of a job file to settings: defaults filled in, amounts turned into quantities, sections checked against one another.

use std::path::Path;

use crate::finding::Checked;
use crate::job::fault::JobError;
use crate::job::keys::{FIELD, IMAGERY, POINTS, REFERENCE, ROOT};
use crate::job::problem::Problem;
use crate::job::reader;
use crate::job::reader::{Log, Section};
use crate::job::sections::yields::Curve;
use crate::job::sections::{
    crop, ground, image, machine, method, money, output, points, rate, uncertainty, yields, zones,
};
use crate::job::settings::{
    Imagery, MethodSettings, RateSettings, Response, Season, Settings, YieldCurve,
};
use crate::science::index::find_entry;
use crate::science::methods::visible::Light;
use crate::science::methods::yield_response::KEYS as YIELD;
use crate::units::{NRate, Product};

/// Reads a text file that a job names, such as a table of crops: files are the caller's.
pub(crate) type ReadFile<'a> = &'a dyn Fn(&Path) -> std::io::Result<Vec<u8>>;

/// The text as a log to write faults to; bytes that are not UTF-8 are a fault of their own.
pub(super) fn log_of(bytes: &[u8], path: &Path) -> Result<Log, JobError> {
    let file = path.to_string_lossy().into_owned();
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    match std::str::from_utf8(bytes) {
        Ok(text) => Ok(Log::new(file, text.to_owned())),
        Err(error) => {
            let good = error.valid_up_to();
            let byte = bytes.get(good).copied().unwrap_or(0);
            let log = Log::new(
                file,
                String::from_utf8_lossy(bytes.get(..good).unwrap_or(bytes)).into_owned(),
            );
            log.fault(&(good..good), "", false, Problem::NotText { byte });
            Err(refused(log, path))
        }
    }
}

fn refused(log: Log, path: &Path) -> JobError {
    JobError::Refused {
        path: path.to_owned(),
        faults: log.into_parts().0,
    }
}

/// Ends a job: the value if nothing was logged against it.
pub(super) fn ended<T>(value: Option<T>, log: Log, path: &Path) -> Result<Checked<T>, JobError> {
    let (faults, notes) = log.into_parts();
    match value {
        Some(value) if faults.is_empty() => Ok(Checked::new(value, notes)),
        _ => Err(JobError::Refused {
            path: path.to_owned(),
            faults,
        }),
    }
}

/// Resolves the text of a map job; paths become relative to the folder of `path`, and `read` reads the files that it names. `us`: US or metric units first for people, whatever the job
/// says.
///
/// # Errors
/// [`JobError::Refused`] with every fault found.
pub(crate) fn map_job(
    bytes: &[u8],
    path: &Path,
    us: Option<bool>,
    read: ReadFile<'_>,
) -> Result<Checked<Settings>, JobError> {
    let log = log_of(bytes, path)?;
    log.set_units(us);
    let value = reader::parse(&log)
        .and_then(|root| map_settings(root, path.parent().unwrap_or(Path::new("")), read));
    ended(value, log, path)
}

/// Resolves the text of a job for one flat rate.
///
/// # Errors
/// [`JobError::Refused`] with every fault found.
pub(crate) fn rate_job(
    bytes: &[u8],
    path: &Path,
    us: Option<bool>,
    read: ReadFile<'_>,
) -> Result<Checked<RateSettings>, JobError> {
    let log = log_of(bytes, path)?;
    log.set_units(us);
    let value = reader::parse(&log)
        .and_then(|root| rate_settings(root, path.parent().unwrap_or(Path::new("")), read));
    ended(value, log, path)
}

/// The curve of the settings, before the response takes it.
const fn curve_of(curve: &Curve) -> &YieldCurve {
    match curve {
        Curve::Named(named) => &named.curve,
        Curve::Own(own) => own,
    }
}

fn map_settings(mut root: Section<'_>, folder: &Path, read: ReadFile<'_>) -> Option<Settings> {
    let mut in_field = root.section(&ROOT.field);
    let mut in_imagery = root.section(&ROOT.imagery);
    let mut in_points = root.section(&ROOT.points);
    let mut in_reference = root.section(&ROOT.reference);
    let mut in_season = root.section(&ROOT.season);
    let mut in_crop = root.section(&ROOT.crop);
    let mut in_response = root.section(&ROOT.response);
    let mut in_rate = root.section(&ROOT.rate);
    let mut in_product = root.section(&ROOT.product);
    let mut in_machine = root.section(&ROOT.machine);
    let mut in_zones = root.section(&ROOT.zones);
    let mut in_prices = root.section(&ROOT.prices);
    let mut in_doubt = root.section(&ROOT.uncertainty);
    let mut in_application = root.section(&ROOT.application);
    let accept = output::accept(&mut root);
    let mut in_record = root.section(&ROOT.record);
    let mut in_report = root.section(&ROOT.report);
    let mut in_output = root.section(&ROOT.output);

    for section in [&mut in_field, &mut in_machine] {
        section.ask_for_a_map();
    }
    for section in [&mut in_response, &mut in_rate] {
        section.ask();
    }
    if in_points.is_present() {
        in_points.ask_for_a_map();
    } else {
        in_imagery.ask_for_a_map();
    }
    let field = ground::field(&mut in_field, folder);
    // Readings stand where an image stands.
    let imagery = if in_points.is_present() {
        points::points(&mut in_points, folder)
    } else {
        image::imagery(&mut in_imagery, folder)
    };
    if in_points.is_present() && in_imagery.is_present() {
        in_imagery.rest();
        root.refuse(
            &ROOT.points,
            Problem::Together {
                keys: vec![ROOT.imagery.name.to_owned(), ROOT.points.name.to_owned()],
            },
        );
    }
    let reference = ground::reference(&mut in_reference, folder);
    let personal = crop::personal(&mut in_season, folder, read);
    let method = method::chosen(&mut in_response);
    let foretells = method::predicts_yield(method);
    let curve = foretells
        .then(|| {
            let bushel = yields::bushel_of(&in_season, &in_crop, &personal.tables);
            yields::curve(&mut in_response, &personal.tables, bushel)
        })
        .flatten();
    let named = curve.as_ref().and_then(|curve| {
        if let Curve::Named(named) = curve {
            Some(named)
        } else {
            None
        }
    });
    let crop = crop::crop(
        &mut in_season,
        &mut in_crop,
        named,
        curve.is_none() && in_response.given(&YIELD.yield_curve),
        &personal.tables,
    );
    if let (Some(imagery), Some(curve)) = (&imagery, &curve) {
        same_index(
            if in_points.is_present() {
                &in_points
            } else {
                &in_imagery
            },
            imagery,
            curve_of(curve),
        );
    }
    let season = crop::season(
        &mut in_season,
        crop.clone(),
        imagery.as_ref().map(|imagery| imagery.date),
        folder,
        foretells,
    );
    let season = season.map(|season| Season {
        crops: personal.path.clone(),
        ..season
    });
    forget_names(&in_season, personal.faulty);
    let (product, product_facts) = rate::product(&mut in_product).unzip();
    let product_facts = product_facts.unwrap_or_default();
    let priced = in_prices.is_present();
    let prices = money::prices(&mut in_prices, crop.as_ref(), product.as_ref());
    let before = rate::applied_before(&mut in_rate, product.as_ref());
    let light = method::light(&in_response);
    let response = method::response(
        &mut in_response,
        method,
        crop.as_ref(),
        curve,
        product.as_ref(),
        before,
        prices.as_ref(),
    );
    if let (Some(imagery), Some(response)) = (&imagery, &response) {
        same_method_index(
            if in_points.is_present() {
                &in_points
            } else {
                &in_imagery
            },
            imagery,
            response,
            light,
        );
    }
    let since = response
        .as_ref()
        .map_or(NRate::ZERO, |response| response.applied_since_sensing);
    let rules = rate::rate(&mut in_rate, product.as_ref(), before, since, folder);
    let excluded = field
        .as_ref()
        .is_some_and(|field| !field.exclusions.is_empty());
    let most = rules.as_ref().map(|(rules, _)| rules.maximum);
    let machine = machine::machine(
        &mut in_machine,
        product.as_ref(),
        &product_facts,
        excluded,
        most,
        folder,
    );
    let zones = zones::zones(&mut in_zones, machine.as_ref(), product.as_ref());
    let uncertainty = uncertainty::uncertainty(&mut in_doubt);
    let application = output::application(
        &mut in_application,
        imagery.as_ref().map(|imagery| imagery.date),
    );
    let filed = output::filed(&mut in_record);
    let report = output::report(&mut in_report);
    let us = root.log().us();
    let output = output::output(&mut in_output, product.as_ref(), us, folder);

    forget_product(&in_product, product.as_ref());
    let sections = [
        in_field,
        in_imagery,
        in_points,
        in_reference,
        in_season,
        in_crop,
        in_response,
        in_rate,
    ];
    sections
        .into_iter()
        .chain([
            in_product,
            in_machine,
            in_zones,
            in_prices,
            in_doubt,
            in_application,
            in_record,
            in_report,
            in_output,
            root,
        ])
        .for_each(Section::finish);
    if priced && prices.is_none() {
        return None;
    }
    Some(Settings {
        field: field?,
        imagery: Some(imagery?),
        reference: reference?,
        season: season?,
        response: response?,
        rate: rules?.0,
        product,
        product_facts,
        machine: machine?,
        zones: zones?,
        prices,
        uncertainty,
        application,
        accept,
        filed,
        report,
        output,
    })
}

/// A product that is given and faulty is one fault: amounts of it are no others.
pub(super) fn forget_product(section: &Section<'_>, product: Option<&Product>) {
    if section.is_present() && product.is_none() {
        section
            .log()
            .forget(|problem| matches!(problem, Problem::NoProduct { .. }));
    }
}

/// Names that stand in no table are no faults of their own where the user's table could not be read.
fn forget_names(section: &Section<'_>, faulty: bool) {
    if faulty {
        section.log().forget(|problem| {
            matches!(
                problem,
                Problem::Choice {
                    what: "crop" | "yield curve",
                    ..
                }
            )
        });
    }
}

/// A curve holds for its own index. A formula or a ready index raster carries no name to compare.
fn same_index(section: &Section<'_>, imagery: &Imagery, curve: &YieldCurve) {
    let named = find_entry(&imagery.index).is_some();
    if named && !imagery.index.eq_ignore_ascii_case(&curve.index) {
        section.refuse(
            &IMAGERY.index,
            Problem::CurveIndex {
                curve: curve.index.clone(),
                image: imagery.index.clone(),
            },
        );
    }
}

/// Thresholds and ratios hold for their own index, and the visible line for a ratio of near infrared to its light.
fn same_method_index(
    section: &Section<'_>,
    imagery: &Imagery,
    response: &Response,
    light: Option<Light>,
) {
    let MethodSettings::Other { method, fitted } = &response.method else {
        return;
    };
    if method.of_visible_light() {
        method::visible_index(section, &IMAGERY.index, &imagery.index, light);
    }
    // Meter and 590 nm sensor are no image; what else is read is told as a finding.
    let notice = method.about().instrument.is_some();
    if let Some(made_for) = fitted.index.as_ref().filter(|made_for| {
        !notice
            && !made_for.eq_ignore_ascii_case(&imagery.index)
            && find_entry(&imagery.index).is_some()
    }) {
        section.refuse(
            &IMAGERY.index,
            Problem::MethodIndex {
                made_for: made_for.clone(),
                image: imagery.index.clone(),
            },
        );
    }
}

fn rate_settings(mut root: Section<'_>, folder: &Path, read: ReadFile<'_>) -> Option<RateSettings> {
    let mut in_field = root.section(&ROOT.field);
    let mut in_imagery = root.section(&ROOT.imagery);
    let mut in_reference = root.section(&ROOT.reference);
    let mut in_season = root.section(&ROOT.season);
    let mut in_crop = root.section(&ROOT.crop);
    let mut in_response = root.section(&ROOT.response);
    let mut in_rate = root.section(&ROOT.rate);
    let mut in_product = root.section(&ROOT.product);
    let mut in_prices = root.section(&ROOT.prices);
    let mut in_application = root.section(&ROOT.application);
    let accept = output::accept(&mut root);
    let mut in_output = root.section(&ROOT.output);
    // A job of a map serves as well: what only a map needs is passed over.
    let mut in_points = root.section(&ROOT.points);
    for key in [
        &ROOT.machine,
        &ROOT.zones,
        &ROOT.uncertainty,
        &ROOT.record,
        &ROOT.report,
    ] {
        root.section(key).rest();
    }

    for section in [&mut in_response, &mut in_rate] {
        section.ask();
    }
    let name = in_field.find(&FIELD.name);
    let image_date = if in_points.is_present() {
        in_points.find(&POINTS.date)
    } else {
        in_imagery.find(&IMAGERY.date)
    };
    let readings = ground::readings(&mut in_reference);
    in_reference.require(&REFERENCE.readings);
    let sensor = image::sensor(if in_points.is_present() {
        &mut in_points
    } else {
        &mut in_imagery
    });
    let region = in_field.find(&FIELD.region);
    let personal = crop::personal(&mut in_season, folder, read);
    let method = method::chosen(&mut in_response);
    let foretells = method::predicts_yield(method);
    let curve = foretells
        .then(|| {
            let bushel = yields::bushel_of(&in_season, &in_crop, &personal.tables);
            yields::curve(&mut in_response, &personal.tables, bushel)
        })
        .flatten();
    let named = curve.as_ref().and_then(|curve| {
        if let Curve::Named(named) = curve {
            Some(named)
        } else {
            None
        }
    });
    let crop = crop::crop(
        &mut in_season,
        &mut in_crop,
        named,
        curve.is_none() && in_response.given(&YIELD.yield_curve),
        &personal.tables,
    );
    let season = crop::season(&mut in_season, crop.clone(), image_date, folder, foretells);
    let season = season.map(|season| Season {
        crops: personal.path.clone(),
        ..season
    });
    forget_names(&in_season, personal.faulty);
    let (product, product_facts) = rate::product(&mut in_product).unzip();
    let product_facts = product_facts.unwrap_or_default();
    let priced = in_prices.is_present();
    let prices = money::prices(&mut in_prices, crop.as_ref(), product.as_ref());
    let before = rate::applied_before(&mut in_rate, product.as_ref());
    let response = method::response(
        &mut in_response,
        method,
        crop.as_ref(),
        curve,
        product.as_ref(),
        before,
        prices.as_ref(),
    );
    let since = response
        .as_ref()
        .map_or(NRate::ZERO, |response| response.applied_since_sensing);
    let rules = rate::rate(&mut in_rate, product.as_ref(), before, since, folder);
    let application = output::application(
        &mut in_application,
        season.as_ref().and_then(|season| season.sensed),
    );
    let us = root.log().us();
    let (unit, us_units) = output::rate_unit(&mut in_output, product.as_ref(), us);
    forget_product(&in_product, product.as_ref());
    for mut section in [in_field, in_imagery, in_points, in_reference, in_output] {
        section.rest();
        section.finish();
    }
    [
        in_season,
        in_crop,
        in_response,
        in_rate,
        in_product,
        in_prices,
        in_application,
        root,
    ]
    .into_iter()
    .for_each(Section::finish);
    if priced && prices.is_none() {
        return None;
    }
    Some(RateSettings {
        name,
        region,
        sensor,
        readings: readings?,
        season: season?,
        response: response?,
        rate: rules?.0,
        product,
        product_facts,
        prices,
        application,
        accept,
        unit,
        us_units,
    })
}
