//! The code of a finding: the word that scripts compare, and all that is known of it.

use std::fmt;

use crate::finding::Severity;

/// Who raises a finding, and so whether a job can accept it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Source {
    /// A run on a job, or a command that takes no map.
    Job,
    /// The check or conversion of a map that is already drawn.
    Map,
}

/// One row of the table.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(in crate::finding) struct Entry {
    pub(in crate::finding) word: &'static str,
    pub(in crate::finding) source: Source,
    pub(in crate::finding) weights: &'static [Severity],
    pub(in crate::finding) sentence: &'static str,
    pub(in crate::finding) why: &'static str,
}

/// A finding code. Only the table ([`crate::finding::codes`]) makes one, so every code that is raised is explained there.
///
/// # Examples
/// ```
/// use haulm::finding::{Severity, codes};
///
/// let code = codes::find("image.age").expect("a row of the table");
/// assert_eq!(code, codes::IMAGE_AGE);
/// assert_eq!(code, "image.age");
/// assert_eq!(code.weights(), [Severity::Stop]);
/// assert!(code.can_be_accepted());
/// ```
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Code(pub(in crate::finding) &'static Entry);

impl Code {
    /// The word: group, dot, name in lower case, such as `image.age`.
    pub const fn word(self) -> &'static str {
        self.0.word
    }
    /// The part of the word before the dot.
    pub fn group(self) -> &'static str {
        self.word().split('.').next().unwrap_or_default()
    }
    /// The weights that a finding of this code may have, lightest first.
    pub const fn weights(self) -> &'static [Severity] {
        self.0.weights
    }
    /// What it says, in one sentence.
    pub const fn sentence(self) -> &'static str {
        self.0.sentence
    }
    /// Why it matters and what to do.
    pub const fn why(self) -> &'static str {
        self.0.why
    }
    /// Who raises it.
    pub const fn source(self) -> Source {
        self.0.source
    }
    /// Whether a finding of this code ever stops.
    pub fn may_stop(self) -> bool {
        self.weights().contains(&Severity::Stop)
    }
    /// Whether `[[accept]]` of a job can go past it: it stops, and a run on a job raises it.
    pub fn can_be_accepted(self) -> bool {
        self.may_stop() && self.source() == Source::Job
    }
}

impl fmt::Debug for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(self.word(), f)
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

impl PartialEq<str> for Code {
    fn eq(&self, other: &str) -> bool {
        self.word() == other
    }
}

impl PartialEq<&str> for Code {
    fn eq(&self, other: &&str) -> bool {
        self.word() == *other
    }
}

impl PartialEq<String> for Code {
    fn eq(&self, other: &String) -> bool {
        self.word() == other
    }
}

impl PartialEq<Code> for str {
    fn eq(&self, other: &Code) -> bool {
        self == other.word()
    }
}

impl PartialEq<Code> for &str {
    fn eq(&self, other: &Code) -> bool {
        *self == other.word()
    }
}

impl serde::Serialize for Code {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.word())
    }
}
