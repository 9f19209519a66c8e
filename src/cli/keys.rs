//! `haulm keys`.

use crate::app::api;
use crate::app::error::AppError;
use crate::cli::Outcome;
use crate::cli::args::KeysArgs;

pub(crate) fn run(args: &KeysArgs) -> Result<Outcome, AppError> {
    if args.schema {
        return api::keys::schema().map(Outcome::Text);
    }
    if args.markdown {
        return Ok(Outcome::Text(api::keys::page()));
    }
    api::keys::keys(args.name.as_deref()).map(|report| Outcome::Report(Box::new(report)))
}
