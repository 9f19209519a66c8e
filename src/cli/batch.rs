//! `haulm batch`.

use std::path::PathBuf;
use std::str::FromStr;

use clap::{Args, ValueHint};
use serde_json::json;

use crate::app::api;
use crate::app::api::{Batch, BatchRequest, Common, FieldRow, Making};
use crate::app::error::AppError;
use crate::app::progress::Progress;
use crate::cli::printer::Printer;

/// Arguments of `batch`.
#[derive(Args, Debug)]
pub struct BatchArgs {
    /// Farm file: layer of fields, images, common keys, exceptions (haulm keys farm)
    #[arg(value_name = "FARM", value_hint = ValueHint::FilePath)]
    pub farm: PathBuf,
    /// Put the finished maps on a stick, mounted here [default: no stick]
    #[arg(long, value_name = "FOLDER", value_hint = ValueHint::DirPath)]
    pub stick: Option<PathBuf>,
    /// Make one part of the fields, 1/4 for the first of four: several machines, one folder [default: all]
    #[arg(long, value_name = "PART")]
    pub shard: Option<Shard>,
    /// Make fields again whose work is done and unchanged [default: skip them]
    #[arg(long)]
    pub redo: bool,
    /// Make the farm's tables alone, in the folder tables of its output: which fields need nitrogen [default: make maps]
    #[arg(long, conflicts_with = "stick")]
    pub tables: bool,
    /// Write each field's job file beside the farm file and stop there [default: make maps]
    #[arg(long, conflicts_with_all = ["stick", "shard", "redo", "tables"])]
    pub write_jobs: bool,
}

/// A part of the fields.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shard(usize, usize);

impl FromStr for Shard {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let notice = || format!("{text:?} is no part: write 1/4 for the first of four");
        let (part, parts) = text.split_once('/').ok_or_else(notice)?;
        let number = |text: &str| text.trim().parse::<usize>().map_err(|_| notice());
        let (part, parts) = (number(part)?, number(parts)?);
        if (1..=parts).contains(&part) {
            Ok(Self(part, parts))
        } else {
            Err(notice())
        }
    }
}

/// Runs the command; with `--json` each field is a line as soon as it is finished, and the sums are the last line.
pub(crate) fn run(
    args: BatchArgs,
    common: Common,
    printer: &Printer,
    progress: &dyn Progress,
) -> Result<Batch, AppError> {
    let BatchArgs {
        farm,
        stick,
        shard,
        redo,
        tables,
        write_jobs,
    } = args;
    let request = BatchRequest {
        farm,
        redo,
        shard: shard.map(|Shard(part, parts)| (part, parts)),
        stick,
        making: if tables { Making::Tables } else { Making::Maps },
        write_jobs,
        common,
    };
    let each = |row: &FieldRow, why: Option<&str>| {
        if printer.is_json() {
            let mut line = row.shown();
            line["done_before"] = json!(why.is_none());
            line["why"] = json!(why);
            // A reader that has gone does not end the run.
            let _ = printer.text(&format!("{line}\n"));
        }
    };
    api::batch(&request, progress, &each)
}
