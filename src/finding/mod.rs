//! What a run noticed. Every uncertainty is a finding that the user sees in terminal, record, page and report alike.

mod code;
pub mod codes;

use std::fmt;

pub use code::{Code, Source};

/// No message echoes more of a value than this. (characters)
const LONGEST_VALUE: usize = 200;

/// A message in which no value, in quotes or in one piece, is longer than 200 characters; paths stay whole, so that they can be found.
pub fn shortened(message: impl Into<String>) -> String {
    let message = message.into();
    if message.len() <= LONGEST_VALUE {
        return message;
    }
    let mut out = String::with_capacity(message.len());
    let mut piece = String::new();
    let (mut quoted, mut escaped) = (false, false);
    for c in message.chars() {
        let ends_quote = quoted && c == '"' && !escaped;
        escaped = quoted && c == '\\' && !escaped;
        if ends_quote {
            piece.push(c);
            add_piece(&mut out, &mut piece);
            quoted = false;
        } else if !quoted && c == '"' {
            add_piece(&mut out, &mut piece);
            piece.push(c);
            quoted = true;
        } else if !quoted && c.is_whitespace() {
            add_piece(&mut out, &mut piece);
            out.push(c);
        } else {
            piece.push(c);
        }
    }
    add_piece(&mut out, &mut piece);
    out
}

/// Moves a piece to the text, cut where it is too long.
fn add_piece(out: &mut String, piece: &mut String) {
    let count = piece.chars().count();
    let path = !piece.starts_with('"') && piece.contains(['/', '\\']) && !piece.contains(',');
    if count > LONGEST_VALUE && !path {
        out.extend(piece.chars().take(LONGEST_VALUE - 30));
        out.push_str("… (");
        out.push_str(&count.to_string());
        out.push_str(" characters)");
        if piece.starts_with('"') {
            out.push('"');
        }
    } else {
        out.push_str(piece);
    }
    piece.clear();
}

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
    pub code: Code,
    /// How much it weighs.
    pub severity: Severity,
    /// What, where, with numbers and units, and what to do.
    pub message: String,
    /// Set when the job's `[[accept]]` names the code of a stop.
    pub accepted: Option<Acceptance>,
}

impl Finding {
    /// A note.
    pub fn note(code: Code, message: impl Into<String>) -> Self {
        Self {
            code,
            severity: Severity::Note,
            message: shortened(message),
            accepted: None,
        }
    }
    /// A caution.
    pub fn caution(code: Code, message: impl Into<String>) -> Self {
        Self {
            code,
            severity: Severity::Caution,
            message: shortened(message),
            accepted: None,
        }
    }
    /// A stop.
    pub fn stop(code: Code, message: impl Into<String>) -> Self {
        Self {
            code,
            severity: Severity::Stop,
            message: shortened(message),
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_value_is_echoed_at_length() {
        let plain = "the rate \"120 kg\" is no rate";
        assert_eq!(shortened(plain), plain);
        let words = "a sentence of many words ".repeat(20);
        assert_eq!(shortened(words.clone()), words);
        let path = format!("{}/image.tif: there is no such file", "/folder".repeat(60));
        assert_eq!(shortened(path.clone()), path);
        for value in [
            "x".repeat(5000),
            "two words, ".repeat(500),
            "\\\"".repeat(900),
        ] {
            let told = shortened(format!("it says \"{value}\" there"));
            assert!(told.chars().count() < 240, "{told}");
            assert!(
                told.starts_with("it says \"") && told.ends_with("\" there"),
                "{told}"
            );
        }
        let told = shortened(format!("{} is no number", "9".repeat(1000)));
        assert!(
            told.chars().count() < 240 && told.contains("(1000 characters)"),
            "{told}"
        );
    }
}
