//! The haulm command.

#![forbid(unsafe_code)]

use std::process::ExitCode;

/// The server of the page, which this haulm may be built without.
#[cfg(feature = "web")]
const PAGES: haulm::app::page::PageServer = haulm::web::serve;
#[cfg(not(feature = "web"))]
const PAGES: haulm::app::page::PageServer = haulm::app::page::no_page;

fn main() -> ExitCode {
    haulm::cli::run(std::env::args_os().collect(), PAGES)
}
