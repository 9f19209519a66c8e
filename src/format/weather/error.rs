//! Why a weather file was refused.

use std::path::PathBuf;

use jiff::civil::Date;

/// Why a weather file was refused; lines are counted from 1, the header's included.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WeatherError {
    /// The file cannot be read.
    #[error("the weather file {path} cannot be read: {source}", path = path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: std::io::Error,
    },
    /// Not UTF-8.
    #[error("{path}:{line}: this is not UTF-8 text; save the file as UTF-8", path = path.display())]
    NotText {
        /// The file.
        path: PathBuf,
        /// The line.
        line: u64,
    },
    /// No row at all.
    #[error("{path} holds no day below its header; give a daily record with date, tmin and tmax", path = path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// The table cannot be taken apart.
    #[error("{path}:{line}: this row has {found} columns, the header has {expected}", path = path.display())]
    Columns {
        /// The file.
        path: PathBuf,
        /// The line.
        line: u64,
        /// Columns of the row.
        found: u64,
        /// Columns of the header.
        expected: u64,
    },
    /// The table cannot be taken apart in another way.
    #[error("{path}: this is no table of comma, semicolon or tab separated values: {source}", path = path.display())]
    Table {
        /// The file.
        path: PathBuf,
        /// What the parser said.
        #[source]
        source: csv::Error,
    },
    /// A column is missing.
    #[error("{path}:1: no column is called {requirement}; the header has {found}. Write for instance date,tmin_c,tmax_c", path = path.display())]
    NoColumn {
        /// The file.
        path: PathBuf,
        /// What is missing.
        requirement: &'static str,
        /// The header's names.
        found: String,
    },
    /// Two columns could be meant.
    #[error("{path}:1: both \"{one}\" and \"{other}\" could be {requirement}; rename or remove one", path = path.display())]
    TwoColumns {
        /// The file.
        path: PathBuf,
        /// What both could be.
        requirement: &'static str,
        /// One name.
        one: String,
        /// The other.
        other: String,
    },
    /// A temperature column without its unit.
    #[error("{path}:1: the column \"{column}\" does not say its unit; call it {column}_c or {column}_f", path = path.display())]
    NoUnit {
        /// The file.
        path: PathBuf,
        /// The column.
        column: String,
    },
    /// A temperature column in a unit that is neither.
    #[error("{path}:1: the column \"{column}\" is in \"{unit}\"; °C and °F are read", path = path.display())]
    UnknownUnit {
        /// The file.
        path: PathBuf,
        /// The column.
        column: String,
        /// The unit.
        unit: String,
    },
    /// Two units.
    #[error("{path}:1: \"{tmin}\" and \"{tmax}\" stand in different units; both must be °C or both °F", path = path.display())]
    MixedUnits {
        /// The file.
        path: PathBuf,
        /// One column.
        tmin: String,
        /// The other.
        tmax: String,
    },
    /// Not a date.
    #[error("{path}:{line}: \"{text}\" is no date; write year-month-day: 2026-04-14", path = path.display())]
    NotADate {
        /// The file.
        path: PathBuf,
        /// The line.
        line: u64,
        /// What stands there.
        text: String,
    },
    /// Not a temperature.
    #[error("{path}:{line}: {date}: \"{text}\" in {column} is no temperature; {hint}", path = path.display())]
    NotATemperature {
        /// The file.
        path: PathBuf,
        /// The line.
        line: u64,
        /// The day.
        date: Date,
        /// The column.
        column: String,
        /// What stands there.
        text: String,
        /// What to do.
        hint: &'static str,
    },
    /// A temperature that no weather has; a sign of a wrong unit or of a number that stands for a missing value.
    #[error(
        "{path}:{line}: {date}: {text} {unit} in {column} is no air temperature ({low} to {high} {unit}); leave missing values empty and check the unit",
        path = path.display()
    )]
    Impossible {
        /// The file.
        path: PathBuf,
        /// The line.
        line: u64,
        /// The day.
        date: Date,
        /// The column.
        column: String,
        /// What stands there.
        text: String,
        /// The unit.
        unit: &'static str,
        /// Least possible.
        low: i64,
        /// Greatest possible.
        high: i64,
    },
    /// The greatest temperature lies below the least.
    #[error("{path}:{line}: {date}: tmin {tmin} {unit} lies above tmax {tmax} {unit}; are the columns swapped?", path = path.display())]
    MinAboveMax {
        /// The file.
        path: PathBuf,
        /// The line.
        line: u64,
        /// The day.
        date: Date,
        /// Least.
        tmin: String,
        /// Greatest.
        tmax: String,
        /// The unit.
        unit: &'static str,
    },
    /// A date that stands twice.
    #[error("{path}:{line}: {date} stands here a second time (first in line {first}); remove one of the two rows", path = path.display())]
    Twice {
        /// The file.
        path: PathBuf,
        /// The line.
        line: u64,
        /// Where it stood first.
        first: u64,
        /// The day.
        date: Date,
    },
}

impl WeatherError {
    /// Stable code for scripts.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Read { .. } => "weather.unreadable",
            Self::NotText { .. } => "weather.not_text",
            Self::Empty { .. } => "weather.empty",
            Self::Columns { .. } | Self::Table { .. } => "weather.table",
            Self::NoColumn { .. } | Self::TwoColumns { .. } => "weather.columns",
            Self::NoUnit { .. } | Self::UnknownUnit { .. } | Self::MixedUnits { .. } => {
                "weather.unit"
            }
            Self::NotADate { .. } => "weather.date",
            Self::NotATemperature { .. } | Self::Impossible { .. } => "weather.temperature",
            Self::MinAboveMax { .. } => "weather.swapped",
            Self::Twice { .. } => "weather.twice",
        }
    }
}
