//! `haulm new`.

use crate::app::api;
use crate::app::api::{Common, NewRequest};
use crate::app::error::AppError;
use crate::cli::args::NewArgs;
use crate::report::model::Report;

pub(crate) fn run(args: NewArgs, common: Common) -> Result<Report, AppError> {
    let NewArgs {
        boundary,
        raster,
        strips,
        output,
        name,
        date,
        index,
        crop,
        planted,
        weather,
        growing_days,
        max_yield,
        curve,
        maximum,
        width,
        method,
        strip_width,
        filter,
        all,
        name_column,
        product,
        overwrite,
    } = args;
    let job = output.unwrap_or_else(|| if all { "jobs" } else { "job.toml" }.into());
    api::new_job(&NewRequest {
        boundary,
        raster,
        strips,
        job,
        name,
        date,
        index,
        crop,
        planted,
        weather,
        growing_days,
        max_yield,
        curve,
        maximum,
        working_width: width,
        method,
        strip_width,
        filter,
        all,
        name_column,
        product,
        overwrite,
        common,
    })
}
