//! `[season]` and `[crop]`.

use std::path::PathBuf;

use crate::key::words;
use crate::science::degree_days::GrowingRule;
use crate::science::growing_days::BaseTemperature;
use jiff::civil::Date;

/// `[season]`, with the crop's row of the table.
#[derive(Clone, Debug)]
pub struct Season {
    /// The crop.
    pub crop: Crop,
    /// `season.crops`: a table of crops and curves of the user's own.
    pub crops: Option<PathBuf>,
    /// Planting date.
    pub planted: Option<Date>,
    /// Where growing days come from.
    pub growing_days: GrowingDays,
    /// How a day's growing degrees are reckoned.
    pub rule: GrowingRule,
    /// What is done about days that the record lacks.
    pub missing_days: MissingDayRule,
    /// Whether the sensing day counts.
    pub count_sensing_day: bool,
    /// Sensing date (imagery's, or its own with hand readings).
    pub sensed: Option<Date>,
}

/// Where growing days come from.
#[derive(Clone, Debug, PartialEq)]
pub enum GrowingDays {
    /// Stated by the user.
    Given(f64),
    /// Counted from a daily record.
    Weather(PathBuf),
    /// Counted from the record of the nearest station of a list, or of a named one.
    Stations {
        /// The list.
        list: PathBuf,
        /// The name of the station to take, if not the nearest.
        station: Option<String>,
    },
    /// Not known, and the method needs none.
    NotStated,
}

words! {
    /// `season.missing_days`.
    pub enum MissingDayRule {
        /// The job is refused.
        Refuse = "refuse",
        /// They are taken from the next nearest station of the list.
        NextStation = "next station",
        /// They count as no growing days, and the range that this leaves is told.
        LeaveOut = "leave out",
    }
}

/// A crop's constants.
#[derive(Clone, Debug, PartialEq)]
pub struct Crop {
    /// Name.
    pub name: String,
    /// Base temperature of growth. \[°C\] For showing; growing days are compared with `base`.
    pub base_c: f64,
    /// Base temperature of growth in the unit in which it was stated.
    pub base: BaseTemperature,
    /// Grain nitrogen as a share of grain mass, where a figure is confirmed; `response.grain_nitrogen` is what is used.
    pub grain_nitrogen: Option<f64>,
    /// Pounds in a bushel.
    pub lb_per_bu: Option<f64>,
    /// Water in grain at market moisture, share of grain mass; yields and grain nitrogen are stated at it.
    pub grain_moisture: Option<f64>,
    /// Growing days between which the curve is trusted.
    pub window_days: Option<(f64, f64)>,
    /// Largest CV of the comparison swath that still counts as a uniform stand. \[share\]
    pub stand_cv: f64,
    /// Source and certainty.
    pub source: String,
}
