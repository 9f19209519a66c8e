//! What can be wrong with a file of readings.

use std::path::PathBuf;

/// Why a file of readings was refused.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PointFileError {
    /// There is no such file.
    #[error("{}: there is no such file", path.display())]
    Missing {
        /// The file.
        path: PathBuf,
    },
    /// It cannot be read.
    #[error("{}: cannot be read: {reason}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        reason: String,
    },
    /// Not UTF-8.
    #[error("{}: line {line} is not UTF-8 text", path.display())]
    NotText {
        /// The file.
        path: PathBuf,
        /// The line, from 1.
        line: u64,
    },
    /// Layer to be chosen.
    #[error("{}: {problem}; it has the layers {}", path.display(), layers.join(", "))]
    Layer {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        problem: String,
        /// Its layers.
        layers: Vec<String>,
    },
    /// The attribute filter cannot be used.
    #[error("{}: the filter {filter:?} cannot be used: {reason}", path.display())]
    Filter {
        /// The file.
        path: PathBuf,
        /// The filter.
        filter: String,
        /// What GDAL said, or why not.
        reason: String,
    },
    /// A column is not there.
    #[error("{}: no column for the {requirement}{}; the columns are {}", path.display(), named.as_ref().map(|n| format!(" called {n:?}")).unwrap_or_default(), found.join(", "))]
    NoColumn {
        /// The file.
        path: PathBuf,
        /// What it was to hold.
        requirement: &'static str,
        /// The name asked for, if one was.
        named: Option<String>,
        /// The columns that are there.
        found: Vec<String>,
    },
    /// Two columns fit.
    #[error("{}: the columns {one:?} and {other:?} could both be the {requirement}", path.display())]
    TwoColumns {
        /// The file.
        path: PathBuf,
        /// What they could hold.
        requirement: &'static str,
        /// One.
        one: String,
        /// The other.
        other: String,
    },
    /// A value that is no number.
    #[error("{}: {place}, column {column:?}: {text:?} is no number", path.display())]
    NotANumber {
        /// The file.
        path: PathBuf,
        /// Line or feature.
        place: String,
        /// The column.
        column: String,
        /// What stands there.
        text: String,
    },
    /// A time that cannot be read.
    #[error("{}: {place}, column {column:?}: {text:?} is no time", path.display())]
    NotATime {
        /// The file.
        path: PathBuf,
        /// Line or feature.
        place: String,
        /// The column.
        column: String,
        /// What stands there.
        text: String,
    },
    /// The unit of a column is not known.
    #[error("{}: column {column:?} {problem}", path.display())]
    Unit {
        /// The file.
        path: PathBuf,
        /// The column.
        column: String,
        /// What is wrong.
        problem: &'static str,
    },
    /// Degrees and minutes written as one number.
    #[error("{}: {place}: {x}, {y} look like degrees and minutes in one number: 5012.345 for 50° 12.345'", path.display())]
    DegreesMinutes {
        /// The file.
        path: PathBuf,
        /// Line or feature.
        place: String,
        /// First coordinate.
        x: f64,
        /// Second coordinate.
        y: f64,
    },
    /// Coordinates that are not in the system.
    #[error("{}: {place}: {x}, {y} {problem}", path.display())]
    Place {
        /// The file.
        path: PathBuf,
        /// Line or feature.
        place: String,
        /// First coordinate.
        x: f64,
        /// Second coordinate.
        y: f64,
        /// What is wrong.
        problem: &'static str,
    },
    /// No reference system.
    #[error("{}: nothing says which reference system {}", path.display(), what)]
    NoSystem {
        /// The file.
        path: PathBuf,
        /// Of what.
        what: String,
    },
    /// A feature is no point.
    #[error("{}: feature {feature} is a {kind}, not a point", path.display())]
    Kind {
        /// The file.
        path: PathBuf,
        /// Its number, from 1.
        feature: usize,
        /// What it is.
        kind: String,
    },
    /// No reading at all.
    #[error("{}: none of its {rows} rows has both a place and a value of {column:?}", path.display())]
    Empty {
        /// The file.
        path: PathBuf,
        /// Rows looked at.
        rows: usize,
        /// The column of the index.
        column: String,
    },
}
