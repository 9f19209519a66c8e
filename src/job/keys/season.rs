//! `[season]` and `[crop]`: the crop and its growing days.

use crate::job::fault::Wanted;
use crate::job::keys::row::{Key, Kind, Table, key};

/// Nitrogen in grain, of the crop's row or for this job.
pub(super) const fn grain_nitrogen(about: &'static str) -> Key {
    key(
        "grain_nitrogen",
        Kind::Share,
        "the grain's nitrogen as a share of its mass",
        "0.0239",
        about,
    )
    .within(
        "0.003",
        "0.1",
        "nitrogen as a share of grain mass, 0.0239 for wheat",
    )
}

pub(super) const SEASON: Table = Table {
    name: "season",
    heading: "[season]",
    about: "The crop, and the growing days from planting to sensing: days on which growing degree days were above 0.",
    keys: &[
        key(
            "crop",
            Kind::NameOf("haulm crops"),
            "the crop",
            "\"winter wheat\"",
            "Crop: a name of the shipped table, of your own table, or of [crop].",
        )
        .or_else("the crop of the named yield curve")
        .required_when("where neither a named yield curve nor [crop] says it"),
        key(
            "crops",
            Kind::Path,
            "the table of crops",
            "\"my_crops.toml\"",
            "File with crops and yield curves of your own.",
        ),
        key(
            "planted",
            Kind::Date,
            "the planting date",
            "2025-10-01",
            "Planting date, from which growing days are counted.",
        )
        .required_when("with weather or stations"),
        key(
            "sensed",
            Kind::Date,
            "the sensing date",
            "2026-04-14",
            "Sensing date, where no image gives it.",
        )
        .or_else("imagery.date"),
        key(
            "growing_days",
            Kind::Number,
            "the number of growing days (or weather, a daily record)",
            "94",
            "Days from planting to sensing on which growing degree days were above 0.",
        )
        .within("1", "400", "days of one season on which the crop grew")
        .required_when("by the yield response, unless weather or stations is given"),
        key(
            "weather",
            Kind::Path,
            "the weather record",
            "\"station.csv\"",
            "Daily record with date, tmin and tmax (units in the header), to count growing days from.",
        ),
        key(
            "stations",
            Kind::Path,
            "the list of stations",
            "\"stations.csv\"",
            "List of weather stations with their places and records; the nearest one counts.",
        ),
        key(
            "station",
            Kind::Text,
            "the station",
            "\"Mill Barn\"",
            "Station of the list that counts.",
        )
        .or_else("the nearest"),
        key(
            "missing_days",
            Kind::Words(&["refuse", "next station", "leave out"]),
            "the way with missing days",
            "\"next station\"",
            "What is done about days that the weather record lacks.",
        )
        .or("\"refuse\""),
        key(
            "growing_day_rule",
            Kind::Words(&["mean", "extremes"]),
            "the rule of growing days",
            "\"mean\"",
            "Whether the day's mean counts, or its extremes are first clamped to base and ceiling.",
        )
        .or("\"mean\""),
        key(
            "ceiling",
            Kind::Amount(Wanted::Temperature),
            "the ceiling",
            "\"30 °C\"",
            "Temperature above which the crop grows no faster.",
        )
        .within(
            "5 °C",
            "60 °C",
            "no temperature at which a crop stops growing faster",
        ),
        key(
            "ceiling_on",
            Kind::Words(&["extremes", "mean"]),
            "the place of a ceiling",
            "\"extremes\"",
            "Whether the ceiling clamps the day's extremes or its mean.",
        )
        .or_else("extremes"),
        key(
            "count_sensing_day",
            Kind::YesNo,
            "the counting of the sensing day",
            "true",
            "Whether the sensing day itself counts as a growing day.",
        )
        .or("false"),
    ],
};

pub(super) const CROP: Table = Table {
    name: "crop",
    heading: "[crop]",
    about: "A crop of your own, with the source of its figures.",
    keys: &[
        key(
            "name",
            Kind::Text,
            "the crop's name",
            "\"spelt\"",
            "Name of the crop.",
        )
        .required_when("unless season.crop names it"),
        key(
            "base_temperature",
            Kind::Amount(Wanted::Temperature),
            "the temperature above which the crop grows",
            "\"4.4 °C\"",
            "Base temperature: growing degree days are counted above it.",
        )
        .within("-5 °C", "25 °C", "no crop's base temperature")
        .required(),
        grain_nitrogen("Nitrogen in grain, as a share of its mass at market moisture.").required(),
        key(
            "grain_moisture",
            Kind::Share,
            "the grain's moisture",
            "0.135",
            "Water in grain at market moisture, as a share of its mass.",
        )
        .within(
            "0",
            "0.5",
            "water as a share of grain mass at market moisture, 0.135 for wheat",
        ),
        key(
            "bushel",
            Kind::Amount(Wanted::BushelMass),
            "the mass of a bushel",
            "\"60 lb\"",
            "Mass of a bushel, for yields and prices in bushels.",
        ),
        key(
            "window",
            Kind::List(&Kind::Number),
            "the window",
            "[87, 112]",
            "First and last growing day between which the yield curve is good.",
        ),
        key(
            "stand_cv",
            Kind::Share,
            "the stand's variation",
            "0.40",
            "Highest coefficient of variation of the index in a stand that counts as even.",
        )
        .within("0.01", "2", "coefficient of variation as a share")
        .or("0.40"),
        key(
            "source",
            Kind::Text,
            "where these figures come from",
            "\"field trials of the region\"",
            "Source of the figures.",
        )
        .required(),
    ],
};
