//! `haulm convert`.

use clap::ValueEnum;
use clap::builder::PossibleValue;

use crate::app::api;
use crate::app::api::{Common, ConvertRequest};
use crate::app::error::AppError;
use crate::cli::args::{ConvertArgs, TaskForm, TaskIssue};
use crate::format::Format;
use crate::map::task_options::{TaskKind, TaskOptions, TaskVersion};
use crate::report::model::Report;

impl ValueEnum for Format {
    fn value_variants<'a>() -> &'a [Self] {
        Self::ALL
    }
    fn to_possible_value(&self) -> Option<PossibleValue> {
        let row = self.row();
        let value = PossibleValue::new(row.word).help(row.about);
        Some(value.aliases(row.short_names))
    }
}

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
