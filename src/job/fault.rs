//! A fault of a job file: its place, what stands there, what is wrong, and the way out.

use std::fmt;
use std::path::PathBuf;

use crate::job::problem::Problem;

/// What an empty place says of itself.
pub(crate) const NOTHING_HERE: &str = "nothing stands here";

/// Faults that are told at once; nobody reads more, and a file of nothing but faults takes long to be told.
pub(crate) const MAXIMUM_FAULTS: usize = 200;

/// Why a job file was refused.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum JobError {
    /// The file cannot be read.
    #[error("the job file {path} cannot be read: {source}", path = path.display())]
    Read {
        /// The job file.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: std::io::Error,
    },
    /// The file was read, and something in it is wrong: every fault found, in file order.
    #[error("{}", listed(faults))]
    Refused {
        /// The job file.
        path: PathBuf,
        /// Every fault, in file order.
        faults: Vec<Fault>,
    },
}

fn listed(faults: &[Fault]) -> String {
    let each: Vec<String> = faults.iter().map(ToString::to_string).collect();
    match faults {
        [_] => each.join(""),
        _ => format!(
            "{} faults in the job file\n\n{}",
            faults.len(),
            each.join("\n\n")
        ),
    }
}

/// One fault: where, what stands there, what is wrong, and what to do.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// The job file, as it was given.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// Dotted key, `rate.maximum`; empty for the file as a whole.
    pub key: String,
    /// The text that stands there, shortened; empty when nothing does.
    pub found: String,
    /// What is wrong.
    pub problem: Problem,
    /// The job's currency, where it names one: what hints on prices speak of.
    pub currency: Option<String>,
}

impl Fault {
    /// Stable code for scripts: `job.unknown_unit`.
    pub const fn code(&self) -> &'static str {
        self.problem.code()
    }
    /// Where: `job.toml:12:11`.
    pub fn place(&self) -> String {
        format!("{}:{}:{}", self.file, self.line, self.column)
    }
    /// What is wrong, in one line with its key.
    pub fn headline(&self) -> String {
        if self.key.is_empty() {
            self.problem.to_string()
        } else {
            format!("{}: {}", self.key, self.problem)
        }
    }
    /// What stands there.
    pub fn line_text(&self) -> String {
        match (self.key.rsplit('.').next(), self.found.is_empty()) {
            (Some(leaf), false) if !leaf.is_empty() => format!("{leaf} = {}", self.found),
            // A place without a key of its own: what was found there, whole.
            (_, false) => self.found.clone(),
            (_, true) => match &self.problem {
                Problem::NotText { .. } => "from here on it is no text".to_owned(),
                Problem::UnknownKey { name, .. } => name.clone(),
                _ => NOTHING_HERE.to_owned(),
            },
        }
    }
    /// What to do about it.
    pub fn hint(&self) -> String {
        let hint = self.problem.hint(&self.key);
        match &self.currency {
            // The job's own currency in place of the tables' example.
            Some(currency) if self.key.starts_with("prices") => hint.replace("USD", currency),
            _ => hint,
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: ", self.place())?;
        match (self.key.is_empty(), self.found.is_empty()) {
            (true, _) => {}
            (false, true) => write!(f, "{}: ", self.key)?,
            (false, false) => write!(f, "{} = {}: ", self.key, self.found)?,
        }
        write!(f, "{}\n  hint: {}", self.problem, self.hint())
    }
}
