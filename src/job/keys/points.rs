//! `[points]`: single readings of the canopy instead of an image.

use crate::job::fault::Wanted;
use crate::job::keys::field::{LAYER, PATH, WHERE};
use crate::job::keys::imagery::{BARE_BELOW, DATE, INDEX, SENSOR};
use crate::job::keys::row::{Key, Kind, Table, key};

/// A column of the file.
const fn column(
    name: &'static str,
    noun: &'static str,
    example: &'static str,
    about: &'static str,
) -> Key {
    key(name, Kind::Text, noun, example, about)
}

pub(super) const POINTS: Table = Table {
    name: "points",
    heading: "[points]",
    about: "Readings of a handheld or boom-mounted sensor, instead of an image.",
    keys: &[
        PATH,
        LAYER,
        WHERE,
        DATE,
        INDEX,
        column(
            "column",
            "the index column",
            "\"ndvi\"",
            "Column that holds the index.",
        )
        .or_else("the column called like the index"),
        column(
            "x",
            "the x column",
            "\"lon\"",
            "Column of the easting or longitude; give y with it.",
        )
        .or_else("by its usual name"),
        column(
            "y",
            "the y column",
            "\"lat\"",
            "Column of the northing or latitude; give x with it.",
        )
        .or_else("by its usual name"),
        column(
            "crs",
            "the reference system",
            "\"EPSG:32633\"",
            "Reference system of the coordinates.",
        )
        .or_else("the file's own, or longitude and latitude by the columns' names"),
        column(
            "time",
            "the time column",
            "\"time\"",
            "Column of the time, by which readings are put in order.",
        ),
        column(
            "pass",
            "the pass column",
            "\"pass\"",
            "Column that tells one pass from the next.",
        ),
        column(
            "speed",
            "the speed column",
            "\"speed\"",
            "Column of the driving speed.",
        ),
        key(
            "speed_unit",
            Kind::Words(&["m/s", "km/h", "mph", "kn"]),
            "the unit of speed",
            "\"km/h\"",
            "Unit of the speed column.",
        )
        .or_else("as the column's name says"),
        key(
            "minimum_speed",
            Kind::Amount(Wanted::Speed),
            "the lowest speed",
            "\"2 km/h\"",
            "Slower readings are dropped: the sensor stood or turned.",
        ),
        key(
            "maximum_speed",
            Kind::Amount(Wanted::Speed),
            "the highest speed",
            "\"25 km/h\"",
            "Faster readings are dropped.",
        ),
        key(
            "scale",
            Kind::Number,
            "the scale",
            "0.01",
            "Index in one unit of the column.",
        )
        .within("-1000000", "1000000", "a scale this large is no index"),
        key(
            "offset",
            Kind::Number,
            "the offset",
            "0.0",
            "Added after the scale.",
        )
        .within("-1000000", "1000000", "an offset this large is no index"),
        BARE_BELOW,
        SENSOR,
        key(
            "outliers",
            Kind::Number,
            "the outlier limit",
            "5.0",
            "Scaled MADs from the neighbours' median beyond which a reading is dropped; 0 keeps every one.",
        )
        .within("0", "100", "in scaled MADs of the neighbours; 0 keeps every reading")
        .or("5.0"),
        key(
            "join",
            Kind::Amount(Wanted::Length),
            "the joining distance",
            "\"1 m\"",
            "Consecutive readings of a pass within this distance are joined into one.",
        )
        .within("0 m", "50 m", "readings farther apart are readings of different ground")
        .or("\"1 m\""),
        key(
            "estimate",
            Kind::Words(&["mean", "kriging"]),
            "the way from readings to cells",
            "\"kriging\"",
            "How a cell gets its index: mean of the readings in it, or block kriging.",
        )
        .or("\"mean\""),
        key(
            "minimum_readings",
            Kind::Whole,
            "the readings of a cell",
            "3",
            "Readings that a cell needs: in it for a mean, within reach for kriging.",
        )
        .within("1", "1000", "readings that a cell needs")
        .or_else("3 for a mean, 6 for kriging"),
        key(
            "variogram",
            Kind::Words(&["best", "spherical", "exponential"]),
            "the variogram",
            "\"spherical\"",
            "Variogram model of the kriging; \"best\" takes the better fit.",
        )
        .or_else("best"),
        key(
            "neighbours",
            Kind::Whole,
            "the readings of an estimate",
            "24",
            "Nearest readings that an estimate by kriging rests on.",
        )
        .within("4", "64", "readings that an estimate rests on, 24 as a rule")
        .or_else("24"),
        key(
            "reach",
            Kind::Amount(Wanted::Length),
            "the reach",
            "\"60 m\"",
            "Farthest reading that counts in kriging.",
        )
        .within("0 m", "1000 m", "readings farther off say nothing of a cell")
        .above_zero()
        .or_else("the range of the fitted variogram"),
    ],
};
