//! How far a number or a formula may be trusted.

use serde::Deserialize;

/// How far a row may be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
pub enum Certainty {
    /// Read in the named source.
    #[serde(rename = "published")]
    Published,
    /// What the trade does; no source.
    #[serde(rename = "common practice")]
    CommonPractice,
    /// Not confirmed.
    #[serde(rename = "from memory")]
    FromMemory,
}

impl Certainty {
    /// The words of it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Published => "published",
            Self::CommonPractice => "common practice",
            Self::FromMemory => "from memory",
        }
    }
}
