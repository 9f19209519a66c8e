//! `haulm completions`: from the same definition as the help.

use clap_complete::Shell;

use crate::app::error::AppError;
use crate::cli::args;
use crate::finding::{Code, codes};

pub(crate) fn of(shell: Shell) -> Result<String, AppError> {
    let mut command = args::whole_command();
    let mut text = Vec::new();
    clap_complete::generate(shell, &mut command, "haulm", &mut text);
    let mut text = String::from_utf8(text)
        .map_err(|_| AppError::fault("completions", "the completions are not text"))?;
    if shell == Shell::Fish {
        // What is made for fish offers values of options only, not of arguments without a name.
        let words: Vec<&str> = codes::all().map(Code::word).collect();
        text.push_str("complete -c haulm -n \"__fish_haulm_using_subcommand explain\" -f -a \"");
        text.push_str(&words.join(" "));
        text.push_str("\"\n");
    }
    Ok(text)
}
