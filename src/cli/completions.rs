//! `haulm completions`: from the same definition as the help.

use clap_complete::Shell;

use crate::app::error::AppError;
use crate::cli::args;

pub(crate) fn of(shell: Shell) -> Result<String, AppError> {
    let mut command = args::command(clap::ColorChoice::Never);
    let mut text = Vec::new();
    clap_complete::generate(shell, &mut command, "haulm", &mut text);
    String::from_utf8(text)
        .map_err(|_| AppError::fault("completions", "the completions are not text"))
}
