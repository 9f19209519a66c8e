//! `haulm picture`.

use crate::app::api;
use crate::app::api::{Common, PictureRequest};
use crate::app::error::AppError;
use crate::app::progress::Progress;
use crate::cli::args::PictureArgs;
use crate::report::model::Report;

pub(crate) fn run(
    args: PictureArgs,
    common: Common,
    progress: &dyn Progress,
) -> Result<Report, AppError> {
    let PictureArgs {
        job,
        what,
        strip,
        output,
        width,
        overwrite,
    } = args;
    let subject = what.subject(strip);
    api::picture(
        &PictureRequest {
            job,
            subject,
            output,
            width,
            overwrite,
            common,
        },
        progress,
    )
}
