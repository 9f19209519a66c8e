//! `[points]`: which readings, and how they become cells. No option is left open here.

use crate::job::settings::VectorSource;
use crate::science::points::Model;
use crate::units::{Length, Speed};

/// `[points]`, less what it shares with `[imagery]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Points {
    /// The file.
    pub source: VectorSource,
    /// Column of the index; absent means the one called like the index.
    pub column: Option<String>,
    /// Columns of the coordinates, x or longitude first; absent means by their usual names. A vector file needs none.
    pub place: Option<(String, String)>,
    /// System of the coordinates; absent means longitude and latitude by the columns' names, or the vector file's own.
    pub crs: Option<String>,
    /// Column of the time, by which readings are put in order.
    pub time: Option<String>,
    /// Column that tells passes apart.
    pub pass: Option<String>,
    /// Column of the speed.
    pub speed: Option<String>,
    /// Its unit, when the column's name does not say it. (metres a second in one of it)
    pub speed_unit: Option<f64>,
    /// Slower readings are dropped.
    pub minimum_speed: Option<Speed>,
    /// Faster readings are dropped.
    pub maximum_speed: Option<Speed>,
    /// Deviations from the neighbours' median beyond which a reading is dropped; 0 keeps every one.
    pub outliers: f64,
    /// Readings of a pass that follow each other within this distance are joined.
    pub join: Length,
    /// Readings that a cell needs: in it for a mean, within reach for kriging.
    pub minimum_readings: usize,
    /// How cells get their index.
    pub estimate: Estimate,
}

/// How cells get their index from readings.
#[derive(Clone, Debug, PartialEq)]
pub enum Estimate {
    /// Mean of the readings in the cell.
    Mean,
    /// Ordinary kriging of the cell's mean.
    Kriging {
        /// Variogram models to choose from.
        models: Vec<Model>,
        /// Nearest readings that an estimate rests on.
        neighbours: usize,
        /// Farthest reading of use; absent means the fitted range.
        reach: Option<Length>,
    },
}
