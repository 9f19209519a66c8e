//! `haulm inspect`.

use crate::app::api;
use crate::app::api::Common;
use crate::app::error::AppError;
use crate::app::progress::Progress;
use crate::cli::args::JobArgs;
use crate::report::model::Report;

pub(crate) fn run(
    args: &JobArgs,
    common: &Common,
    progress: &dyn Progress,
) -> Result<Report, AppError> {
    api::inspect(&args.job, common, progress)
}
