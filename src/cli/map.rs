//! `haulm map`.

use crate::app::api;
use crate::app::api::{Common, MapOptions};
use crate::app::error::AppError;
use crate::app::progress::Progress;
use crate::cli::args::MapArgs;
use crate::report::model::Report;

pub(crate) fn run(
    args: MapArgs,
    common: Common,
    progress: &dyn Progress,
) -> Result<Report, AppError> {
    let MapArgs {
        jobs,
        output,
        overwrite,
        dry_run,
        details: _,
    } = args;
    api::maps(
        &jobs,
        &MapOptions {
            output,
            overwrite,
            dry_run,
            common,
        },
        progress,
    )
}
