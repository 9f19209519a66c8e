//! What a run noticed. Every doubt is a finding that the user sees in terminal, record, page and report alike.

mod code;
pub mod codes;

use std::fmt;

pub use code::{Code, Source};

/// How much a finding weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Look before you spread.
    Caution,
    /// Nothing is written for the machine until an adviser accepts it by name.
    Stop,
}

impl Severity {
    /// The word of it in files and terminal.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Caution => "caution",
            Self::Stop => "stop",
        }
    }
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// Who went on past a stop, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Acceptance {
    /// The reason given.
    pub reason: String,
    /// Who gave it.
    pub by: String,
}

/// One thing noticed: a stable code for scripts, a weight, and a sentence with numbers and units for people.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Stable, dotted, lower case: `image.age`, `reference.place`.
    pub code: &'static str,
    /// How much it weighs.
    pub severity: Severity,
    /// What, where, with numbers and units, and what to do.
    pub message: String,
    /// Set when the job's `[[accept]]` names the code of a stop.
    pub accepted: Option<Acceptance>,
}

impl Finding {
    /// A note.
    pub fn note(code: &'static str, message: impl Into<String>) -> Self {
        Self {
            code,
            severity: Severity::Note,
            message: message.into(),
            accepted: None,
        }
    }
    /// A caution.
    pub fn caution(code: &'static str, message: impl Into<String>) -> Self {
        Self {
            code,
            severity: Severity::Caution,
            message: message.into(),
            accepted: None,
        }
    }
    /// A stop.
    pub fn stop(code: &'static str, message: impl Into<String>) -> Self {
        Self {
            code,
            severity: Severity::Stop,
            message: message.into(),
            accepted: None,
        }
    }
    /// Whether it keeps the machine's files from being written.
    pub const fn stops(&self) -> bool {
        matches!(self.severity, Severity::Stop) && self.accepted.is_none()
    }
}

/// A value and what was noticed while making it.
#[derive(Clone, Debug)]
#[must_use]
pub struct Checked<T> {
    /// The value.
    pub value: T,
    /// What was noticed, in the order of noticing.
    pub findings: Vec<Finding>,
}

impl<T> Checked<T> {
    /// A value with nothing to say of it.
    pub const fn clean(value: T) -> Self {
        Self {
            value,
            findings: Vec::new(),
        }
    }
    /// A value with findings.
    pub const fn new(value: T, findings: Vec<Finding>) -> Self {
        Self { value, findings }
    }
    /// Moves the findings into `log` and hands the value on.
    pub fn into_log(self, log: &mut Vec<Finding>) -> T {
        log.extend(self.findings);
        self.value
    }
}
