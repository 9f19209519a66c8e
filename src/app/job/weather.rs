//! From a weather file to the record that growing days are counted from.

use crate::format::weather::{TemperatureScale, WeatherTable};
use crate::science::growing_days::{DailyRecord, Day, TemperatureUnit};

/// The daily record of a weather table, in the table's own unit.
pub fn daily_record(table: &WeatherTable) -> DailyRecord {
    let unit = match table.scale {
        TemperatureScale::Celsius => TemperatureUnit::Celsius,
        TemperatureScale::Fahrenheit => TemperatureUnit::Fahrenheit,
    };
    let days = table.days.iter().map(|day| Day {
        date: day.date,
        tmin_thousandths: day.tmin_thousandths,
        tmax_thousandths: day.tmax_thousandths,
    });
    DailyRecord {
        unit,
        days: days.collect(),
    }
}
