//! Opens the readings that a job names instead of an image, and says in the record what became of them.

use serde_json::{Value, json};

use crate::app::error::AppError;
use crate::app::image_watch::Watch;
use crate::app::open::{Canopy, Image, index, refuse_network};
use crate::finding::{Finding, codes};
use crate::format::points::error::PointFileError;
use crate::format::points::{Requirement, read};
use crate::format::systems::system_named;
use crate::job::settings::points::Points;
use crate::job::settings::{BareBelow, Imagery};
use crate::pipeline::points::{PointLayer, PointsSummary, Reading, Unusable};
use crate::pipeline::scan::IndexRows;

/// Reads the log of a job; what comes back stands where an image stands.
///
/// # Errors
/// When the file is refused, or its reference system is not known.
pub(crate) fn image(
    imagery: &Imagery,
    rule: &Points,
    network: bool,
    findings: &mut Vec<Finding>,
) -> Result<Image, AppError> {
    let index = index(imagery)?;
    let path = &rule.source.path;
    refuse_network(path, network)?;
    let crs = match &rule.crs {
        None => None,
        Some(text) => Some(system_named(text).map_err(|reason| {
            AppError::refused(
                "points.crs",
                "the reference system that the job names for its readings is not known",
            )
            .with_fact(
                "points.crs",
                if reason.starts_with("OGR") {
                    format!("{text:?}: no such reference system is known")
                } else {
                    format!("{text:?}: {reason}")
                },
            )
            .with_hint("write an EPSG code, such as \"EPSG:4326\" for longitude and latitude")
        })?),
    };
    let table = read(
        path,
        &Requirement {
            layer: rule.source.layer.as_deref(),
            filter: rule.source.filter.as_deref(),
            column: rule.column.as_deref(),
            index: index.name(),
            place: rule.place.as_ref().map(|(x, y)| (x.as_str(), y.as_str())),
            crs: crs.as_ref(),
            time: rule.time.as_deref(),
            pass: rule.pass.as_deref(),
            speed: rule.speed.as_deref(),
            speed_unit: rule.speed_unit,
            scaled: imagery.scale.is_some(),
        },
    )?;
    if table.no_time > 0 {
        findings.push(Finding::caution(
            codes::POINTS_TIME,
            format!(
                "{}: {} readings have no time, so they are taken in the order of the file",
                path.display(),
                table.no_time
            ),
        ));
    }
    let (scale, offset) = (imagery.scale.unwrap_or(1.0), imagery.offset.unwrap_or(0.0));
    let mut unusable = Unusable {
        no_place: table.no_place,
        ..Unusable::default()
    };
    let mut readings = Vec::with_capacity(table.rows.len());
    for row in &table.rows {
        let Some(value) = row.value.map(|stored| stored * scale + offset) else {
            unusable.no_index += 1;
            continue;
        };
        if index
            .range()
            .is_some_and(|(low, high)| value < low || value > high)
        {
            unusable.out_of_range += 1;
            continue;
        }
        readings.push(Reading {
            x: row.x,
            y: row.y,
            index: value,
            pass: row.pass,
            speed: row.speed,
        });
    }
    if readings.is_empty() {
        return Err(AppError::refused(
            "image.range",
            format!(
                "none of the {} readings has an index that {} can have",
                table.rows.len(),
                index.name()
            ),
        )
        .with_fact(
            path.display().to_string(),
            format!(
                "column {:?}, {} readings outside the range",
                table.column, unusable.out_of_range
            ),
        )
        .with_hint(
            "check points.column and points.scale: an index stored as 0 to 100 needs scale = 0.01",
        ));
    }
    let layer = PointLayer::new(&table.crs, readings, unusable).map_err(|error| {
        AppError::refused("plane.transformation", error.to_string())
            .with_fact(path.display().to_string(), "readings")
            .with_hint("check the reference system of the readings")
    })?;
    let bare_below = match imagery.bare_below {
        BareBelow::OfIndex => index.bare_below(),
        BareBelow::Value(value) => Some(value),
    };
    let mut inputs = vec![path.clone()];
    if path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("shp"))
    {
        inputs.extend(
            ["shx", "dbf", "prj", "cpg"]
                .iter()
                .map(|side| path.with_extension(side)),
        );
    }
    let rows = IndexRows::new(index, "", Watch::new(Vec::new(), false));
    Ok(Image {
        files: Vec::new(),
        stack: Canopy::Points(layer),
        rows,
        slots: Vec::new(),
        bare_below,
        inputs,
    })
}

/// A refusal that speaks of an image, said of readings.
pub(crate) fn of_readings(mut error: AppError, rule: &Points) -> AppError {
    error.headline = error.headline.replace("the image", "the readings");
    for fact in error.facts.iter_mut().filter(|fact| fact.place == "image") {
        fact.place = rule.source.path.display().to_string();
    }
    if error.code == "boundary.apart" {
        error.hint = Some("check that both files show the same field in the right reference system, and that points.x is the longitude or easting, points.y the latitude or northing".to_owned());
    }
    error
}

/// What the record says of readings.
pub(crate) fn recorded(wording: &PointsSummary) -> Value {
    let (dropped, unusable) = (wording.dropped, wording.unusable);
    let kriging = wording.kriging.map(|kriging| {
        let variogram = kriging.fit.variogram;
        json!({
            "model": variogram.model.word(), "nugget": variogram.nugget, "partial_sill": variogram.sill, "range_m": variogram.range, "practical_range_m": variogram.practical_range(),
            "explained": kriging.fit.explained, "fitted_to_m": kriging.longest, "reach_m": kriging.reach, "mean_index_se": kriging.mean_error, "errors_alike_m2": kriging.alike,
            "left_out": kriging.left_out.map(|left| json!({
                "readings": left.readings, "mean_error": left.mean_error, "root_mean_square": left.root_mean_square, "variance_ratio": left.variance_ratio,
            })),
        })
    });
    json!({
        "readings": wording.readings, "kept": wording.kept, "bare": wording.bare, "spacing_m": wording.spacing, "cells_unseen": wording.cells_unseen,
        "no_place": unusable.no_place, "no_index": unusable.no_index, "out_of_range": unusable.out_of_range,
        "outside": dropped.outside, "wrong_speed": dropped.speed, "no_speed": dropped.no_speed, "outliers": dropped.outliers, "joined": dropped.joined,
        "kriging": kriging,
    })
}

impl From<PointFileError> for AppError {
    fn from(error: PointFileError) -> Self {
        let (code, hint) = match &error {
            PointFileError::Missing { .. } => (
                "file.missing",
                "check the name; paths are relative to the job file",
            ),
            PointFileError::Unreadable { .. } => (
                "points.unreadable",
                "give separated values with one header line, or a shapefile, GeoPackage or GeoJSON of points",
            ),
            PointFileError::NotText { .. } => ("points.text", "save it as UTF-8"),
            PointFileError::Layer { .. } => ("points.layer", "name the layer with points.layer"),
            PointFileError::Filter { .. } => (
                "points.filter",
                "write points.where as SQL on a column of a vector file, such as \"quality > 3\"",
            ),
            PointFileError::NoColumn {
                requirement: "index",
                ..
            } => (
                "points.column",
                "name the column of the index with points.column",
            ),
            PointFileError::NoColumn { .. } | PointFileError::TwoColumns { .. } => (
                "points.column",
                "name the columns in the job: column, x and y, time, pass, speed",
            ),
            PointFileError::NotANumber { .. } => (
                "points.number",
                "correct the value, or leave it empty if it is missing",
            ),
            PointFileError::NotATime { .. } => (
                "points.time",
                "write seconds, 14:05:30 or 2026-04-14T14:05:30",
            ),
            PointFileError::Unit { .. } => (
                "points.unit",
                "state the unit in the column's name, such as \"speed (km/h)\", or in the job: points.speed_unit, or points.scale = 0.01 for per cent",
            ),
            PointFileError::DegreesMinutes { .. } => (
                "points.degrees",
                "turn them into degrees: 5012.345 is 50 + 12.345 / 60 = 50.20575",
            ),
            PointFileError::Place { .. } => (
                "points.place",
                "state the system of the coordinates with points.crs, and which column is which with points.x and points.y",
            ),
            PointFileError::NoSystem { .. } => (
                "points.no_system",
                "state it with points.crs, such as \"EPSG:32633\"",
            ),
            PointFileError::Kind { .. } => ("points.kind", "give a layer of points"),
            PointFileError::Empty { .. } => ("points.empty", "check points.column and the file"),
        };
        Self::refused(code, error.to_string()).with_hint(hint)
    }
}
