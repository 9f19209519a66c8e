//! `haulm explain`, and the codes that completions offer for it.

use std::ffi::OsStr;

use clap::builder::{PossibleValue, StringValueParser, TypedValueParser};

use crate::app::api;
use crate::app::error::AppError;
use crate::cli::args::ExplainArgs;
use crate::finding::codes;
use crate::report::model::Report;

pub(crate) fn run(args: &ExplainArgs) -> Result<Report, AppError> {
    api::explain(args.code.as_deref())
}

/// Takes any text, so that a slip is answered with the nearest code, and names all codes to completions.
#[derive(Clone, Debug)]
pub(crate) struct CodeParser;

impl TypedValueParser for CodeParser {
    type Value = String;

    fn parse_ref(
        &self,
        command: &clap::Command,
        argument: Option<&clap::Arg>,
        value: &OsStr,
    ) -> Result<String, clap::Error> {
        StringValueParser::new().parse_ref(command, argument, value)
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        Some(Box::new(codes::all().map(|code| {
            PossibleValue::new(code.word()).help(code.sentence())
        })))
    }
}
