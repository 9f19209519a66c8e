//! `[season]` and `[crop]`: the crop and its growing days.

use std::path::PathBuf;

use crate::job::amount::Temperature;
use crate::job::settings::MissingDayRule;
use crate::key::{Any, Kind, Requirement, Word, key, keys, words};
use crate::science::degree_days::{CeilingOn, DayRule};
use crate::science::methods::yield_response::grain_nitrogen;
use jiff::civil::Date;

words!(for DayRule by word { Mean, Extremes, });
words!(for CeilingOn by word { Extremes, Mean, });

keys! {
    SEASON: SeasonKeys = "season", "[season]", "The crop, and the growing days from planting to sensing: days on which growing degree days were above 0.",
    {
        crop: String = key(
            Kind::NameOf("haulm crops"),
            "the crop",
            "\"winter wheat\"",
            "Crop: a name of the shipped table, of your own table, or of [crop].",
        )
        .or_else("the crop of the named yield curve")
        .required_when("where neither a named yield curve nor [crop] says it").option("--crop"),
        crops: PathBuf = key(
            Kind::Path,
            "the table of crops",
            "\"my_crops.toml\"",
            "File with crops and yield curves of your own.",
        ),
        planted: Date = key(
            Kind::Date,
            "the planting date",
            "2025-10-01",
            "Planting date, from which growing days are counted.",
        )
        .required_when("with weather or stations").option("--planted"),
        sensed: Date = key(
            Kind::Date,
            "the sensing date",
            "2026-04-14",
            "Sensing date, where no image gives it.",
        )
        .or_else("imagery.date").option("--sensed"),
        growing_days: f64 = key(
            Kind::Number,
            "the number of growing days (or weather, a daily record)",
            "94",
            "Days from planting to sensing on which growing degree days were above 0.",
        )
        .within("1", "400", "days of one season on which the crop grew")
        .required_when("by the yield response, unless weather or stations is given").option("--growing-days"),
        weather: PathBuf = key(
            Kind::Path,
            "the weather record",
            "\"station.csv\"",
            "Daily record with date, tmin and tmax (units in the header), to count growing days from.",
        ).option("--weather"),
        stations: PathBuf = key(
            Kind::Path,
            "the list of stations",
            "\"stations.csv\"",
            "List of weather stations with their places and records; the nearest one counts.",
        ),
        station: String = key(
            Kind::Text,
            "the station",
            "\"Mill Barn\"",
            "Station of the list that counts.",
        )
        .or_else("the nearest"),
        missing_days: MissingDayRule = key(
            Kind::Words(MissingDayRule::WORDS),
            "the way with missing days",
            "\"next station\"",
            "What is done about days that the weather record lacks.",
        )
        .or("\"refuse\""),
        growing_day_rule: DayRule = key(
            Kind::Words(DayRule::WORDS),
            "the rule of growing days",
            "\"mean\"",
            "Whether the day's mean counts, or its extremes are first clamped to base and ceiling.",
        )
        .or("\"mean\""),
        ceiling: Temperature = key(
            Kind::Amount(Requirement::Temperature),
            "the ceiling",
            "\"30 °C\"",
            "Temperature above which the crop grows no faster.",
        )
        .within(
            "5 °C",
            "60 °C",
            "no temperature at which a crop stops growing faster",
        ).recorded(""),
        ceiling_on: CeilingOn = key(
            Kind::Words(CeilingOn::WORDS),
            "the place of a ceiling",
            "\"extremes\"",
            "Whether the ceiling clamps the day's extremes or its mean.",
        )
        .or_else("extremes"),
        count_sensing_day: bool = key(
            Kind::YesNo,
            "the counting of the sensing day",
            "true",
            "Whether the sensing day itself counts as a growing day.",
        )
        .or("false").option("--count-sensing-day"),
    }
}

keys! {
    CROP: CropKeys = "crop", "[crop]", "A crop of your own, with the source of its figures.",
    {
        name: String = key(
            Kind::Text,
            "the crop's name",
            "\"spelt\"",
            "Name of the crop.",
        )
        .required_when("unless season.crop names it"),
        base_temperature: Temperature = key(
            Kind::Amount(Requirement::Temperature),
            "the temperature above which the crop grows",
            "\"4.4 °C\"",
            "Base temperature: growing degree days are counted above it.",
        )
        .within("-5 °C", "25 °C", "no crop's base temperature")
        .required(),
        grain_nitrogen: f64 = grain_nitrogen("Nitrogen in grain, as a share of its mass at market moisture.").required(),
        grain_moisture: f64 = key(
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
        bushel: Any = key(
            Kind::Amount(Requirement::BushelMass),
            "the mass of a bushel",
            "\"60 lb\"",
            "Mass of a bushel, for yields and prices in bushels.",
        ),
        window: Any = key(
            Kind::List(&Kind::Number),
            "the window",
            "[87, 112]",
            "First and last growing day between which the yield curve is good.",
        ).recorded("days"),
        stand_cv: f64 = key(
            Kind::Share,
            "the stand's variation",
            "0.40",
            "Highest coefficient of variation of the index in a stand that counts as even.",
        )
        .within("0.01", "2", "coefficient of variation as a share")
        .or("0.40"),
        source: String = key(
            Kind::Text,
            "where these figures come from",
            "\"field trials of the region\"",
            "Source of the figures.",
        )
        .required(),
    }
}
