//! `[points]`: single readings of the canopy instead of an image.

use std::path::PathBuf;

use crate::job::keys::field::{LAYER, PATH, WHERE};
use crate::job::keys::imagery::{BARE_BELOW, DATE, INDEX, SENSOR};
use crate::key::{Key, Kind, Requirement, Word, key, keys, words};
use crate::units::{Length, Speed};
use jiff::civil::Date;

words! {
    /// `points.speed_unit`.
    pub(crate) enum SpeedUnit {
        /// Metres a second.
        MetresPerSecond = "m/s",
        /// Kilometres an hour.
        KilometresPerHour = "km/h",
        /// Miles an hour.
        MilesPerHour = "mph",
        /// Knots.
        Knots = "kn",
    }
}

words! {
    /// `points.estimate`.
    pub(crate) enum EstimateWord {
        /// Mean of the readings in a cell.
        Mean = "mean",
        /// Block kriging.
        Kriging = "kriging",
    }
}

words! {
    /// `points.variogram`.
    pub(crate) enum VariogramWord {
        /// The better fit.
        Best = "best",
        /// The spherical model.
        Spherical = "spherical",
        /// The exponential model.
        Exponential = "exponential",
    }
}

/// A column of the file.
const fn column(noun: &'static str, example: &'static str, about: &'static str) -> Key {
    key(Kind::Text, noun, example, about)
}

keys! {
    POINTS: PointsKeys = "points", "[points]", "Readings of a handheld or boom-mounted sensor, instead of an image.",
    {
        path: PathBuf = PATH,
        layer: String = LAYER,
        r#where: String = WHERE,
        date: Date = DATE,
        index: String = INDEX,
        column: String = column(
            "the index column",
            "\"ndvi\"",
            "Column that holds the index.",
        )
        .or_else("the column called like the index"),
        x: String = column(
            "the x column",
            "\"lon\"",
            "Column of the easting or longitude; give y with it.",
        )
        .or_else("by its usual name"),
        y: String = column(
            "the y column",
            "\"lat\"",
            "Column of the northing or latitude; give x with it.",
        )
        .or_else("by its usual name"),
        crs: String = column(
            "the reference system",
            "\"EPSG:32633\"",
            "Reference system of the coordinates.",
        )
        .or_else("the file's own, or longitude and latitude by the columns' names"),
        time: String = column(
            "the time column",
            "\"time\"",
            "Column of the time, by which readings are put in order.",
        ),
        pass: String = column(
            "the pass column",
            "\"pass\"",
            "Column that tells one pass from the next.",
        ),
        speed: String = column(
            "the speed column",
            "\"speed\"",
            "Column of the driving speed.",
        ),
        speed_unit: SpeedUnit = key(
            Kind::Words(SpeedUnit::WORDS),
            "the unit of speed",
            "\"km/h\"",
            "Unit of the speed column.",
        )
        .or_else("as the column's name says").recorded("m_s"),
        minimum_speed: Speed = key(
            Kind::Amount(Requirement::Speed),
            "the lowest speed",
            "\"2 km/h\"",
            "Slower readings are dropped: the sensor stood or turned.",
        ),
        maximum_speed: Speed = key(
            Kind::Amount(Requirement::Speed),
            "the highest speed",
            "\"25 km/h\"",
            "Faster readings are dropped.",
        ),
        scale: f64 = key(
            Kind::Number,
            "the scale",
            "0.01",
            "Index in one unit of the column.",
        )
        .within("-1000000", "1000000", "a scale this large is no index"),
        offset: f64 = key(
            Kind::Number,
            "the offset",
            "0.0",
            "Added after the scale.",
        )
        .within("-1000000", "1000000", "an offset this large is no index"),
        bare_below: f64 = BARE_BELOW,
        sensor: String = SENSOR,
        outliers: f64 = key(
            Kind::Number,
            "the outlier limit",
            "5.0",
            "Scaled MADs from the neighbours' median beyond which a reading is dropped; 0 keeps every one.",
        )
        .within("0", "100", "in scaled MADs of the neighbours; 0 keeps every reading")
        .or("5.0").recorded("mad"),
        join: Length = key(
            Kind::Amount(Requirement::Length),
            "the joining distance",
            "\"1 m\"",
            "Consecutive readings of a pass within this distance are joined into one.",
        )
        .within("0 m", "50 m", "readings farther apart are readings of different ground")
        .or("\"1 m\""),
        estimate: EstimateWord = key(
            Kind::Words(EstimateWord::WORDS),
            "the way from readings to cells",
            "\"kriging\"",
            "How a cell gets its index: mean of the readings in it, or block kriging.",
        )
        .or("\"mean\""),
        minimum_readings: i64 = key(
            Kind::Whole,
            "the readings of a cell",
            "3",
            "Readings that a cell needs: in it for a mean, within reach for kriging.",
        )
        .within("1", "1000", "readings that a cell needs")
        .or_else("3 for a mean, 6 for kriging"),
        variogram: VariogramWord = key(
            Kind::Words(VariogramWord::WORDS),
            "the variogram",
            "\"spherical\"",
            "Variogram model of the kriging; \"best\" takes the better fit.",
        )
        .or_else("best"),
        neighbours: i64 = key(
            Kind::Whole,
            "the readings of an estimate",
            "24",
            "Nearest readings that an estimate by kriging rests on.",
        )
        .within("4", "64", "readings that an estimate rests on, 24 as a rule")
        .or_else("24"),
        reach: Length = key(
            Kind::Amount(Requirement::Length),
            "the reach",
            "\"60 m\"",
            "Farthest reading that counts in kriging.",
        )
        .within("0 m", "1000 m", "readings farther off say nothing of a cell")
        .above_zero()
        .or_else("the range of the fitted variogram"),
    }
}
