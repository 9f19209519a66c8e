//! Growing days of a table of eight days, base 4.4 °C: four days have a mean above it, and the day with a mean of exactly 4.4 °C is not one of them
//! (counted by hand; that a mean equal to the base does not count: common practice, no source).

use haulm::science::crop::find_crop;
use haulm::science::growing_days::BaseTemperature;
use haulm::science::growing_days::DailyRecord;
use haulm::science::growing_days::Day;
use haulm::science::growing_days::TemperatureUnit;
use haulm::science::growing_days::count_growing_days;
use jiff::ToSpan;
use jiff::civil::date;

/// Thousandths of a degree Celsius: greatest, least.
const TABLE: [(i64, i64); 8] = [(12_000, 2_000), (9_000, -1_000), (6_000, -4_000), (15_000, 5_000), (3_000, -6_000), (20_000, 8_000), (8_800, 0), (8_900, 0)];

fn record(unit: TemperatureUnit, convert: impl Fn(i64) -> i64) -> DailyRecord {
    let start = date(2026, 3, 1);
    let days = TABLE.iter().zip(0_i64..).map(|((tmax, tmin), day)| Day {
        date: start.saturating_add(day.days()),
        tmin_thousandths: convert(*tmin),
        tmax_thousandths: convert(*tmax),
    });
    DailyRecord { unit, days: days.collect() }
}

fn count(record: &DailyRecord, base: BaseTemperature) -> u32 {
    count_growing_days(record, base, date(2026, 3, 1), date(2026, 3, 9), false).unwrap().growing_days
}

#[test]
fn the_table_has_four_growing_days() {
    let celsius = record(TemperatureUnit::Celsius, |thousandths| thousandths);
    assert_eq!(count(&celsius, find_crop("winter wheat").unwrap().base_temperature()), 4);
    // The same days as a station would give them in °F: every value of the table converts exactly.
    let fahrenheit = record(TemperatureUnit::Fahrenheit, |thousandths| thousandths * 9 / 5 + 32_000);
    assert_eq!(count(&fahrenheit, BaseTemperature::celsius(4.4)), 4);
}

#[test]
fn a_base_of_forty_fahrenheit_counts_fewer_days() {
    // 40 °F is 4.444 °C: the last day's mean of 4.45 °C still lies above, one of 4.44 °C would not.
    let celsius = record(TemperatureUnit::Celsius, |thousandths| thousandths);
    assert_eq!(count(&celsius, BaseTemperature::fahrenheit(40.0)), 4);
    let cooler = record(TemperatureUnit::Celsius, |thousandths| if thousandths == 8_900 { 8_880 } else { thousandths });
    assert_eq!((count(&cooler, BaseTemperature::celsius(4.4)), count(&cooler, BaseTemperature::fahrenheit(40.0))), (4, 3));
}
