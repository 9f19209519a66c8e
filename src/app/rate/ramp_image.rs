//! Opens image and steps of a nitrogen ramp, and has the steps measured.

use std::path::Path;

use crate::app::error::AppError;
use crate::app::open;
use crate::app::requests::Common;
use crate::app::rights::Rights;
use crate::app::setup::{set_up, threads};
use crate::finding::{Finding, codes};
use crate::format::vector::read_polygons_with;
use crate::pipeline::ground::Layer;
use crate::pipeline::ramp_image::{RampImage, RampImageError, RampLayers, measure};
use crate::pipeline::scan::ScanError;
use crate::pipeline::survey::Sources;
use crate::science::index::ZeroMeaning;
use crate::science::response_curve::Point;

/// Readings of the steps, in file order.
pub(super) fn readings(
    image: &RampImage,
    index: Option<&str>,
    folder: &Path,
    common: &Common,
    findings: &mut Vec<Finding>,
) -> Result<Vec<Point>, AppError> {
    let mut named = open::named(&image.imagery);
    named.extend([image.steps.path.clone(), image.field.boundary.path.clone()]);
    named.extend(
        image
            .field
            .exclusions
            .iter()
            .map(|exclusion| exclusion.source.path.clone()),
    );
    let rights = Rights::of(&named, &[], folder);
    rights.give_up_others(common)?;
    rights.apart(common, || measured(image, index, folder, common, findings))
}

fn measured(
    image: &RampImage,
    index: Option<&str>,
    folder: &Path,
    common: &Common,
    findings: &mut Vec<Finding>,
) -> Result<Vec<Point>, AppError> {
    set_up(common);
    // A ready index raster is held to the range of the index that it is said to be.
    let opened = open::image(
        &image.imagery,
        index.unwrap_or("NDVI"),
        folder,
        (common.network, None),
        findings,
    )?;
    if opened.rows.index.zero_meaning() == ZeroMeaning::SomethingElse {
        findings.push(Finding::note(
            codes::RAMP_INDEX,
            format!("{} is not 0 where there is no canopy; a ramp only asks where it stops rising, so it serves all the same", opened.rows.index.name()),
        ));
    }
    let layers = layers(image, common)?;
    let goes_on = |_: usize, _: usize| common.cancel.signal().is_none();
    let sources = Sources {
        image: opened.stack.source(),
        points: None,
        index: &opened.rows,
        index_name: opened.rows.index.name(),
        bare_below: opened.bare_below,
        look_at_bands: false,
        threads: threads(common),
        memory: crate::app::memory::of_windows(common.memory_mib),
        progress: &goes_on,
    };
    let points = measure(image, &layers, &sources).map_err(|error| {
        match (&error, common.cancel.signal()) {
            (RampImageError::Scan(ScanError::Cancelled), Some(signal)) => {
                AppError::cancelled(signal)
            }
            _ => AppError::refused("reference.ramp", error.to_string())
                .with_causes(&error)
                .with_fact(
                    image.steps.path.display().to_string(),
                    format!("steps of the ramp, rates in column {:?}", image.column),
                )
                .with_hint("look at boundary, steps and image on one map"),
        }
    })?;
    Ok(points.into_log(findings))
}

fn layers(image: &RampImage, common: &Common) -> Result<RampLayers, AppError> {
    let source = &image.steps;
    open::refuse_network(&source.path, common.network)?;
    let read = read_polygons_with(
        &source.path,
        source.layer.as_deref(),
        source.filter.as_deref(),
        &image.column,
    )?;
    let refused = |step: usize, problem: String| {
        AppError::refused("reference.ramp", format!("step {step} of the ramp {problem}"))
            .with_fact(source.path.display().to_string(), format!("column {:?}", image.column))
            .with_hint("give every step the nitrogen that it got, as a number in the unit that reference.ramp.unit names; 0 for none")
    };
    let mut rates = Vec::new();
    for (k, shape) in read.shapes.iter().enumerate() {
        let number = shape
            .number
            .ok_or_else(|| refused(k + 1, "has no rate".to_owned()))?;
        let rate = image.unit * number;
        if !(0.0..=1000.0).contains(&rate.get()) {
            return Err(refused(
                k + 1,
                format!("has a rate of {rate:.1}, which lies outside 0 to 1000 kg N/ha"),
            ));
        }
        rates.push(rate);
    }
    let steps = Layer {
        crs: read.crs,
        shapes: read
            .shapes
            .into_iter()
            .map(|shape| shape.geometry)
            .collect(),
        file: source.path.display().to_string(),
    };
    let field = &image.field;
    Ok(RampLayers {
        boundary: open::polygons(&field.boundary, common.network)?,
        exclusions: field
            .exclusions
            .iter()
            .map(|exclusion| open::polygons(&exclusion.source, common.network))
            .collect::<Result<_, _>>()?,
        plane: open::plane(field)?,
        steps,
        rates,
    })
}
