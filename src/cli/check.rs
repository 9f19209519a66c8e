//! `haulm check`: a job without writing, or anybody's prescription map.

use crate::app::api;
use crate::app::api::{CheckMapRequest, Common};
use crate::app::error::AppError;
use crate::app::open::{refuse_onto, refuse_special};
use crate::app::progress::Progress;
use crate::cli::args::{CheckArgs, OverlapRule};
use crate::cli::stick;
use crate::map::faults::repair::Keeps;
use crate::report::model::Report;

pub(crate) fn run(
    args: CheckArgs,
    common: &Common,
    progress: &dyn Progress,
) -> Result<Report, AppError> {
    let is_job = args
        .file
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("toml"));
    if !args.against.is_empty() {
        if is_job || args.map.any() {
            return Err(AppError::misuse(
                "check.options",
                "--against compares a stick with the office and takes no other option",
            )
            .with_fact(args.file.display().to_string(), "where a stick is due")
            .with_hint("write haulm check STICK --against OFFICE"));
        }
        return stick::check(args.file, args.against, common.clone(), progress);
    }
    if !is_job {
        for path in std::iter::once(&args.file)
            .chain(&args.map.boundary)
            .chain(&args.map.exclude)
        {
            refuse_special(path)?;
        }
        for output in args.map.faults.iter().chain(&args.map.repair) {
            refuse_onto(
                std::iter::once(&args.file)
                    .chain(&args.map.boundary)
                    .chain(&args.map.exclude),
                output,
            )?;
        }
        progress.start("reading the map", 0);
        return api::check_map(&CheckMapRequest {
            map: args.file,
            layer: args.map.layer,
            rate_column: args.map.rate_column,
            unit: args.map.unit,
            product: args.map.product,
            boundary: args.map.boundary,
            exclude: args.map.exclude,
            exclude_buffer: args.map.exclude_buffer,
            machine_width: args.map.machine_width,
            minimum: args.map.minimum,
            maximum: args.map.maximum,
            nitrogen_limit: args.map.nitrogen_limit,
            faults: args.map.faults,
            repair: args.map.repair,
            close_gaps: args.map.close_gaps,
            cut_overlaps: args.map.cut_overlaps.map(|rule| match rule {
                OverlapRule::Lower => Keeps::Lower,
                OverlapRule::Higher => Keeps::Higher,
                OverlapRule::First => Keeps::First,
            }),
            split_bowties: args.map.split_bowties,
            overwrite: args.map.overwrite,
            common: common.clone(),
        });
    }
    if args.map.any() {
        return Err(AppError::misuse(
            "check.options",
            "these options are for maps; a job file holds all that it needs",
        )
        .with_fact(args.file.display().to_string(), "a job file, by its ending")
        .with_hint("leave the options out, or give a map"));
    }
    api::check(&args.file, common, progress)
}
