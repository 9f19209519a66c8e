//! A fault of a job file: its place, what stands there, what is wrong, and the way out.

use std::fmt;
use std::path::PathBuf;

use crate::job::problem::Problem;

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
                _ => "nothing stands here".to_owned(),
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

/// What an amount is for: its name in messages and the units that it may be written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// A length.
    Length,
    /// An area.
    Area,
    /// A speed.
    Speed,
    /// A time span.
    Time,
    /// A grain yield.
    Yield,
    /// Nitrogen per area.
    Nitrogen,
    /// Product per area.
    Product,
    /// Density of a liquid.
    Density,
    /// Loose density of a solid.
    BulkDensity,
    /// What a tank or hopper holds.
    Capacity,
    /// A temperature.
    Temperature,
    /// Mass of a bushel.
    BushelMass,
    /// Price of grain.
    GrainPrice,
    /// Price of nitrogen.
    NitrogenPrice,
    /// Price of a product.
    ProductPrice,
    /// Price of a pass.
    AreaPrice,
}

impl Wanted {
    /// Its name in a sentence.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Length => "a length",
            Self::Area => "an area",
            Self::Speed => "a speed",
            Self::Time => "a time",
            Self::Yield => "a grain yield",
            Self::Nitrogen => "a nitrogen rate",
            Self::Product => "a product rate",
            Self::Density => "a density",
            Self::BulkDensity => "a bulk density",
            Self::Capacity => "a load",
            Self::Temperature => "a temperature",
            Self::BushelMass => "the mass of a bushel",
            Self::GrainPrice => "a price of grain",
            Self::NitrogenPrice => "a price of nitrogen",
            Self::ProductPrice => "a price of product",
            Self::AreaPrice => "a price per area",
        }
    }
    /// The units that it may be written in; the first is metric, the last is the US one.
    pub const fn units(self) -> &'static [&'static str] {
        match self {
            Self::Length => &["m", "km", "cm", "mm", "in", "yd", "ft"],
            Self::Area => &["ha", "m2", "ft2", "ac"],
            Self::Speed => &["km/h", "m/s", "mph"],
            Self::Time => &["s", "min"],
            Self::Yield => &["t/ha", "kg/ha", "dt/ha", "lb/ac", "bu/ac"],
            Self::Nitrogen => &["kg N/ha", "lb N/ac"],
            Self::Product => &["kg/ha", "L/ha", "imp gal/ac", "lb/ac", "gal/ac"],
            Self::Density => &["kg/L", "lb/gal"],
            Self::BulkDensity => &["kg/m3", "lb/ft3"],
            Self::Capacity => &[
                "L",
                "m3",
                "kg",
                "t",
                "imp gal",
                "lb",
                "short ton",
                "ft3",
                "gal",
            ],
            Self::Temperature => &["°C", "°F"],
            Self::BushelMass => &["kg", "lb"],
            Self::GrainPrice => &["USD/t", "USD/kg", "USD/lb", "USD/bu"],
            Self::NitrogenPrice => &["USD/kg N", "USD/t N", "USD/lb N"],
            Self::ProductPrice => &[
                "USD/t",
                "USD/kg",
                "USD/L",
                "USD/lb",
                "USD/short ton",
                "USD/gal",
            ],
            Self::AreaPrice => &["USD/ha", "USD/ac"],
        }
    }
    /// Two ways of writing a number of it, metric and US: `"24 m" or "24 ft"`.
    pub fn examples(self, number: &str) -> String {
        let units = self.units();
        let (first, last) = (units.first().unwrap_or(&""), units.last().unwrap_or(&""));
        format!("\"{number} {first}\" or \"{number} {last}\"")
    }
}
