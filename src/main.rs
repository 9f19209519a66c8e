//! The haulm command.

use std::process::ExitCode;

fn main() -> ExitCode {
    haulm::cli::run(std::env::args_os().collect())
}
