//! `haulm convert`.

use crate::app::api;
use crate::app::api::{Common, ConvertRequest, ConvertTo};
use crate::app::error::AppError;
use crate::cli::args::{ConvertArgs, ConvertFormat, TaskForm, TaskIssue};
use crate::map::task_options::{TaskKind, TaskOptions, TaskVersion};
use crate::report::model::Report;

pub(crate) fn run(args: ConvertArgs, common: Common) -> Result<Report, AppError> {
    let ConvertArgs {
        map,
        to,
        output,
        layer,
        rate_column,
        unit,
        product,
        to_unit,
        to_product,
        boundary,
        on_start,
        position_lost,
        outside,
        task_version,
        task_kind,
        cell,
        overwrite,
    } = args;
    let to = match to {
        ConvertFormat::Geopackage => ConvertTo::GeoPackage,
        ConvertFormat::Geojson => ConvertTo::GeoJson,
        ConvertFormat::Shapefile => ConvertTo::Shapefile,
        ConvertFormat::Geotiff => ConvertTo::GeoTiff,
        ConvertFormat::Iso11783 => ConvertTo::Iso11783,
        ConvertFormat::Kml => ConvertTo::Kml,
        ConvertFormat::Flatgeobuf => ConvertTo::FlatGeobuf,
    };
    let version = match task_version {
        TaskIssue::V3 => TaskVersion::V3,
        TaskIssue::V4 => TaskVersion::V4,
    };
    let kind = match task_kind {
        TaskForm::Grid => TaskKind::Grid,
        TaskForm::Zones => TaskKind::Zones,
        TaskForm::Polygons => TaskKind::Polygons,
    };
    let task = TaskOptions { version, kind };
    api::convert(&ConvertRequest {
        map,
        to,
        output,
        layer,
        rate_column,
        unit,
        product,
        to_unit,
        to_product,
        boundary,
        on_start,
        position_lost,
        outside,
        task,
        cell,
        overwrite,
        common,
    })
}
