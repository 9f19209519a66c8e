//! `haulm stick`, and `haulm check STICK --against OFFICE`.

use std::path::PathBuf;

use clap::{Args, ValueHint};

use crate::app::api;
use crate::app::api::{CheckStickRequest, Common, StickRequest};
use crate::app::error::AppError;
use crate::app::progress::Progress;
use crate::report::model::Report;

/// Arguments of `stick`.
#[derive(Args, Debug)]
pub struct StickArgs {
    /// Finished maps: job files, output folders of `map`, or folders that hold either
    #[arg(value_name = "JOB|FOLDER", required_unless_present = "bring_back", value_hint = ValueHint::AnyPath)]
    pub maps: Vec<PathBuf>,
    /// Where the stick is mounted; required, has no default
    #[arg(long, value_name = "FOLDER", value_hint = ValueHint::DirPath)]
    pub to: PathBuf,
    /// First copy what a machine put on the stick to this folder of the office, and compare every file [default: refuse a stick that came back]
    #[arg(long, value_name = "FOLDER", value_hint = ValueHint::DirPath)]
    pub bring_back: Option<PathBuf>,
    /// Check maps and stick, list what would be written, write nothing [default: write]
    #[arg(long)]
    pub dry_run: bool,
}

pub(crate) fn run(
    args: StickArgs,
    common: Common,
    progress: &dyn Progress,
) -> Result<Report, AppError> {
    let StickArgs {
        maps,
        to,
        bring_back,
        dry_run,
    } = args;
    progress.start("looking at the maps and the stick", 0);
    api::stick(&StickRequest {
        maps,
        stick: to,
        bring_back,
        dry_run,
        common,
    })
}

/// Proves a stick.
pub(crate) fn check(
    stick: PathBuf,
    against: Vec<PathBuf>,
    common: Common,
    progress: &dyn Progress,
) -> Result<Report, AppError> {
    progress.start("comparing the stick with the office", 0);
    api::check_stick(&CheckStickRequest {
        stick,
        against,
        common,
    })
}
