//! Growing days of a table of eight days, base 4.4 °C: four days have a mean above it, and the day with a mean of exactly 4.4 °C is not one of them
//! (counted by hand; that a mean equal to the base does not count: common practice, no source). Both methods of `McMaster` and Wilhelm 1997
//! (Agricultural and Forest Meteorology 87:291-300) on it, on single days that extension pages work out, and on five days of corn; reckoned apart from
//! the crate.

use approx::assert_abs_diff_eq;
use haulm::science::crop::find_crop;
use haulm::science::degree_days::{CeilingOn, DayRule, GrowingRule};
use haulm::science::growing_days::{
    BaseTemperature, DailyRecord, Day, GrowingDayCount, MissingDays, SeasonSpan, TemperatureUnit,
    count_growing_days,
};
use jiff::ToSpan;
use jiff::civil::date;

/// Thousandths of a degree Celsius: greatest, least.
const TABLE: [(i64, i64); 8] = [
    (12_000, 2_000),
    (9_000, -1_000),
    (6_000, -4_000),
    (15_000, 5_000),
    (3_000, -6_000),
    (20_000, 8_000),
    (8_800, 0),
    (8_900, 0),
];

fn record(unit: TemperatureUnit, convert: impl Fn(i64) -> i64) -> DailyRecord {
    let start = date(2026, 3, 1);
    let days = TABLE.iter().zip(0_i64..).map(|((tmax, tmin), day)| Day {
        date: start.saturating_add(day.days()),
        tmin_thousandths: convert(*tmin),
        tmax_thousandths: convert(*tmax),
    });
    DailyRecord {
        unit,
        days: days.collect(),
    }
}

fn counted(record: &DailyRecord, rule: &GrowingRule) -> GrowingDayCount {
    let span = SeasonSpan {
        planted: date(2026, 3, 1),
        sensed: date(2026, 3, 9),
        count_sensing_day: false,
    };
    count_growing_days(
        std::slice::from_ref(record),
        rule,
        span,
        MissingDays::Refuse,
    )
    .unwrap()
}

fn count(record: &DailyRecord, base: BaseTemperature) -> u32 {
    counted(record, &GrowingRule::mean(base)).growing_days
}

#[test]
fn the_table_has_four_growing_days() {
    let celsius = record(TemperatureUnit::Celsius, |thousandths| thousandths);
    assert_eq!(
        count(
            &celsius,
            find_crop("winter wheat").unwrap().base_temperature()
        ),
        4
    );
    // The same days as a station would give them in °F: every value of the table converts exactly.
    let fahrenheit = record(TemperatureUnit::Fahrenheit, |thousandths| {
        thousandths * 9 / 5 + 32_000
    });
    assert_eq!(count(&fahrenheit, BaseTemperature::celsius(4.4)), 4);
}

#[test]
fn a_base_of_forty_fahrenheit_counts_fewer_days() {
    // 40 °F is 4.444 °C: the last day's mean of 4.45 °C still lies above, one of 4.44 °C would not.
    let celsius = record(TemperatureUnit::Celsius, |thousandths| thousandths);
    assert_eq!(count(&celsius, BaseTemperature::fahrenheit(40.0)), 4);
    let cooler = record(TemperatureUnit::Celsius, |thousandths| {
        if thousandths == 8_900 {
            8_880
        } else {
            thousandths
        }
    });
    assert_eq!(
        (
            count(&cooler, BaseTemperature::celsius(4.4)),
            count(&cooler, BaseTemperature::fahrenheit(40.0))
        ),
        (4, 3)
    );
}

/// Degrees of one day in °F, base 50 °F and ceiling 86 °F.
fn fahrenheit_day(tmax: i64, tmin: i64, rule: DayRule, on: CeilingOn) -> f64 {
    let (base, ceiling) = (
        BaseTemperature::fahrenheit(50.0),
        BaseTemperature::fahrenheit(86.0),
    );
    GrowingRule::new(base, rule, Some((ceiling, on)))
        .unwrap()
        .degrees(1000 * tmin, 1000 * tmax, TemperatureUnit::Fahrenheit)
        .fahrenheit()
}

#[test]
fn worked_days_of_extension_pages() {
    use CeilingOn::{Extremes, Mean};
    // 90 and 48 °F by 50/86: 18, the usual definition for corn in the trade; 83 and 61 °F: 22 (extension page).
    assert_eq!(fahrenheit_day(90, 48, DayRule::Extremes, Extremes), 18.0);
    assert_eq!(fahrenheit_day(83, 61, DayRule::Extremes, Extremes), 22.0);
    assert_eq!(fahrenheit_day(83, 61, DayRule::Mean, Extremes), 22.0);
    // Three ceilings, three answers.
    assert_eq!(fahrenheit_day(90, 48, DayRule::Mean, Extremes), 17.0);
    assert_eq!(fahrenheit_day(90, 48, DayRule::Mean, Mean), 19.0);
    // The methods part where only the least temperature lies below the base, and agree where neither does.
    assert_eq!(
        (
            fahrenheit_day(60, 38, DayRule::Mean, Extremes),
            fahrenheit_day(60, 38, DayRule::Extremes, Extremes)
        ),
        (0.0, 5.0)
    );
    assert_eq!(
        (
            fahrenheit_day(95, 72, DayRule::Mean, Extremes),
            fahrenheit_day(95, 72, DayRule::Extremes, Extremes)
        ),
        (29.0, 29.0)
    );
}

#[test]
fn both_methods_on_eight_days_of_wheat() {
    let record = record(TemperatureUnit::Celsius, |thousandths| thousandths);
    let base = BaseTemperature::celsius(4.4);
    for (rule, sum, days) in [(DayRule::Mean, 17.85, 4), (DayRule::Extremes, 26.55, 7)] {
        let count = counted(&record, &GrowingRule::new(base, rule, None).unwrap());
        assert_abs_diff_eq!(count.degree_days.celsius(), sum, epsilon = 1e-9);
        assert_abs_diff_eq!(count.degree_days.fahrenheit(), 1.8 * sum, epsilon = 1e-9);
        assert_eq!((count.growing_days, count.days), (days, 8), "{rule:?}");
    }
}

#[test]
fn both_methods_on_five_days_of_corn() {
    let (base, ceiling) = (
        BaseTemperature::celsius(10.0),
        BaseTemperature::celsius(30.0),
    );
    let table = [(25, 12), (33, 18), (28, 8), (18, 4), (36, 24)];
    for (rule, sum) in [(DayRule::Mean, 48.5), (DayRule::Extremes, 52.5)] {
        let rule = GrowingRule::new(base, rule, Some((ceiling, CeilingOn::Extremes))).unwrap();
        let each = table.iter().map(|(tmax, tmin)| {
            rule.degrees(1000 * tmin, 1000 * tmax, TemperatureUnit::Celsius)
                .celsius()
        });
        assert_abs_diff_eq!(each.sum::<f64>(), sum, epsilon = 1e-9);
    }
}
