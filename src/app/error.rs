//! The one shape in which a refusal reaches people and scripts: code, headline, facts, hint, causes.
//!
//! Each module has its own error type, with fields; `app` turns it into this shape, where only wording is left.

use std::error::Error;
use std::fmt;

use serde_json::{Value, json};

use crate::app::cancel::Signal;
use crate::finding::shortened;

/// Why a command did not do what it was asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AppError {
    /// Whose fault it is.
    pub kind: Kind,
    /// Stable, dotted, lower case, for scripts: `reference.outside`.
    pub code: &'static str,
    /// One line: what is wrong.
    pub headline: String,
    /// Where, with numbers and units.
    pub facts: Vec<Fact>,
    /// What to do.
    pub hint: Option<String>,
    /// What it was caused by, outermost first.
    pub causes: Vec<String>,
}

/// One line of facts: a place and what is there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fact {
    /// File, key, or what the number is.
    pub place: String,
    /// Numbers and units.
    pub text: String,
}

/// Whose fault it is; decides the exit status.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// The input, or the machine it runs on: 1.
    Refused,
    /// The command was called in a way that it cannot be: 2.
    Misuse,
    /// A fault of haulm: 2.
    Fault,
    /// Another run has the output folder: 3. The same command serves once that one has ended.
    Busy,
    /// A signal: 128 and its number.
    Cancelled(Signal),
}

impl AppError {
    /// The input was refused.
    pub fn refused(code: &'static str, headline: impl Into<String>) -> Self {
        Self::of(Kind::Refused, code, headline)
    }
    /// The command was misused.
    pub fn misuse(code: &'static str, headline: impl Into<String>) -> Self {
        Self::of(Kind::Misuse, code, headline)
    }
    /// A fault of haulm.
    pub fn fault(code: &'static str, headline: impl Into<String>) -> Self {
        Self::of(Kind::Fault, code, headline)
    }
    /// The run was asked to end.
    pub fn cancelled(signal: Signal) -> Self {
        Self::of(
            Kind::Cancelled(signal),
            "cancelled",
            format!("ended by {}", signal.name()),
        )
    }
    fn of(kind: Kind, code: &'static str, headline: impl Into<String>) -> Self {
        Self {
            kind,
            code,
            headline: shortened(in_words(headline.into())),
            facts: Vec::new(),
            hint: None,
            causes: Vec::new(),
        }
    }

    /// With one more fact.
    #[must_use]
    pub fn with_fact(mut self, place: impl Into<String>, text: impl Into<String>) -> Self {
        self.facts.push(Fact {
            place: shortened(place),
            text: shortened(in_words(text.into())),
        });
        self
    }
    /// With what to do.
    #[must_use]
    pub fn with_hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(shortened(hint));
        self
    }
    /// With what it was caused by: the sources of `error`, not `error` itself.
    #[must_use]
    pub fn with_causes(mut self, error: &dyn Error) -> Self {
        let mut source = error.source();
        while let Some(cause) = source {
            self.causes.push(shortened(in_words(cause.to_string())));
            source = cause.source();
        }
        self
    }

    /// Exit status that stands for it.
    pub const fn exit_status(&self) -> u8 {
        match self.kind {
            Kind::Refused => 1,
            Kind::Misuse | Kind::Fault => 2,
            Kind::Busy => 3,
            Kind::Cancelled(signal) => signal.exit_status(),
        }
    }

    /// The value of `error` in JSON output.
    pub fn to_json(&self) -> Value {
        let facts: Vec<_> = self
            .facts
            .iter()
            .map(|fact| json!({ "place": fact.place, "text": fact.text }))
            .collect();
        json!({ "code": self.code, "headline": self.headline, "facts": facts, "hint": self.hint, "causes": self.causes })
    }
}

/// Texts of the system and of GDAL as people say them: a number of an error, or the name of a function, tells nobody what to do.
fn in_words(text: String) -> String {
    const SYSTEM: [(&str, &str); 5] = [
        (
            "No such file or directory",
            "there is no such file or folder",
        ),
        ("Permission denied", "you may not read or write it"),
        ("Is a directory", "it is a folder, not a file"),
        (
            "Not a directory",
            "a part of its path is a file, not a folder",
        ),
        ("No space left on device", "the disk is full"),
    ];
    let mut notice = text;
    while let Some((begin, end)) = notice.find(" (os error ").and_then(|begin| {
        let end = notice.get(begin..)?.find(')')? + begin + 1;
        Some((begin, end))
    }) {
        notice.replace_range(begin..end, "");
        for (theirs, ours) in SYSTEM {
            notice = notice.replace(theirs, ours);
        }
    }
    // "GDAL method 'GDALOpenEx' returned a NULL pointer. Error msg: 'not recognized as …'"
    if let Some((before, after)) = notice.split_once(" returned a NULL pointer.") {
        let lead = before.rfind("GDAL method").unwrap_or(before.len());
        let reason = after
            .trim()
            .trim_start_matches("Error msg:")
            .trim()
            .trim_matches('\'');
        let reason = if reason.is_empty() {
            "no reason is given".to_owned()
        } else {
            format!("GDAL says: {reason}")
        };
        notice = format!(
            "{}it is no file that GDAL can open ({reason})",
            before.get(..lead).unwrap_or_default()
        );
    }
    notice
}

impl fmt::Display for AppError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.headline)
    }
}

impl Error for AppError {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_of_system_and_gdal_are_said_in_words() {
        for (theirs, ours) in [
            (
                "a.tif: No such file or directory (os error 2)",
                "a.tif: there is no such file or folder",
            ),
            ("odd thing (os error 95)", "odd thing"),
            (
                "GDAL method 'GDALOpenEx' returned a NULL pointer. Error msg: 'x not recognized'",
                "it is no file that GDAL can open (GDAL says: x not recognized)",
            ),
            (
                "cannot be read: GDAL method 'OGR' returned a NULL pointer. Error msg: ''",
                "cannot be read: it is no file that GDAL can open (no reason is given)",
            ),
            ("nothing of the kind", "nothing of the kind"),
        ] {
            assert_eq!(in_words(theirs.to_owned()), ours);
        }
    }
}
