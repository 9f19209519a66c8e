//! Growing days: days from planting to sensing on which the crop's mean temperature lay above its base.
//!
//! All comparisons are of whole numbers (thousandths of a degree), so a mean of exactly the base is never counted by a rounding accident.

use jiff::ToSpan as _;
use jiff::civil::Date;
use thiserror::Error;

/// The unit that a record's temperatures stand in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TemperatureUnit {
    /// Degrees Celsius.
    Celsius,
    /// Degrees Fahrenheit.
    Fahrenheit,
}

impl TemperatureUnit {
    /// As people write it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Celsius => "°C",
            Self::Fahrenheit => "°F",
        }
    }
}

/// One day of a weather record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Day {
    /// The day.
    pub date: Date,
    /// Least temperature. \[thousandths of the record's unit\]
    pub tmin_thousandths: i64,
    /// Greatest temperature. \[thousandths of the record's unit\]
    pub tmax_thousandths: i64,
}

/// Daily least and greatest temperatures of one station. A day without a reading is left out, never filled.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DailyRecord {
    /// Unit of every temperature in it.
    pub unit: TemperatureUnit,
    /// The days, in any order; each date at most once.
    pub days: Vec<Day>,
}

/// The temperature above which a crop grows, kept in the unit in which it was stated: 4.4 °C is not 40 °F.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BaseTemperature {
    thousandths: i64,
    unit: TemperatureUnit,
}

impl BaseTemperature {
    /// Built from degrees Celsius, to the nearest thousandth.
    pub fn celsius(degrees: f64) -> Self {
        Self { thousandths: thousandths(degrees), unit: TemperatureUnit::Celsius }
    }
    /// Built from degrees Fahrenheit, to the nearest thousandth.
    pub fn fahrenheit(degrees: f64) -> Self {
        Self { thousandths: thousandths(degrees), unit: TemperatureUnit::Fahrenheit }
    }
    /// Whether the mean of a day's least and greatest temperature, in `unit`, lies strictly above the base.
    ///
    /// `Tmax + Tmin > 2 · base`, both sides multiplied by 5 or 9 where the units differ, so nothing is rounded:
    /// `°F = °C · 9/5 + 32`.
    pub const fn is_below_mean_of(self, tmin_thousandths: i64, tmax_thousandths: i64, unit: TemperatureUnit) -> bool {
        let sum = tmin_thousandths.saturating_add(tmax_thousandths);
        match (unit, self.unit) {
            (TemperatureUnit::Celsius, TemperatureUnit::Celsius) | (TemperatureUnit::Fahrenheit, TemperatureUnit::Fahrenheit) => sum > 2 * self.thousandths,
            (TemperatureUnit::Fahrenheit, TemperatureUnit::Celsius) => sum.saturating_mul(5) > 2 * (9 * self.thousandths + 160_000),
            (TemperatureUnit::Celsius, TemperatureUnit::Fahrenheit) => sum.saturating_mul(9) > 10 * (self.thousandths - 32_000),
        }
    }
}

/// Nearest whole number of thousandths; half away from zero.
fn thousandths(degrees: f64) -> i64 {
    libm::round(degrees * 1000.0) as i64
}

/// How many growing days there were, and over which days they were counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct GrowingDayCount {
    /// Days with a mean above the base.
    pub growing_days: u32,
    /// Days looked at.
    pub days: u32,
    /// First day looked at: planting.
    pub first: Date,
    /// Last day looked at.
    pub last: Date,
}

/// Why growing days could not be counted.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum GrowingDaysError {
    /// No day in the record.
    #[error("the weather record holds no day with both a least and a greatest temperature")]
    Empty,
    /// No day between planting and sensing.
    #[error("sensing on {sensed} does not come after planting on {planted}: check season.planted and the sensing date")]
    NothingBetween {
        /// Planting date.
        planted: Date,
        /// Sensing date.
        sensed: Date,
    },
    /// A day that is needed lies before the first or after the last day of the record.
    #[error("the weather record runs from {first} to {last}, but {needed} ({what}) lies outside it: give a record that covers the season")]
    OutsideRecord {
        /// The day that is needed.
        needed: Date,
        /// What that day is.
        what: &'static str,
        /// First day of the record.
        first: Date,
        /// Last day of the record.
        last: Date,
    },
    /// Days inside the season are missing.
    #[error("the weather record lacks {missing} day(s) between planting and sensing, the first gap from {from} to {to}: fill them from a station nearby")]
    Gap {
        /// First missing day.
        from: Date,
        /// Last day of that gap.
        to: Date,
        /// Missing days in all gaps.
        missing: u32,
    },
    /// One date stands twice.
    #[error("the weather record has {date} twice: remove one of the two rows")]
    Twice {
        /// The date.
        date: Date,
    },
    /// Least and greatest are swapped or wrong.
    #[error("the weather record of {date} has a least temperature ({tmin:.3} {unit}) above its greatest ({tmax:.3} {unit})", unit = unit.label())]
    MinAboveMax {
        /// The date.
        date: Date,
        /// Least temperature, in the record's unit.
        tmin: f64,
        /// Greatest temperature, in the record's unit.
        tmax: f64,
        /// The record's unit.
        unit: TemperatureUnit,
    },
}

/// Counts the days `planted ≤ d < sensed` (`≤ sensed` when `count_sensing_day`) whose mean temperature lies above `base`.
///
/// `Tmax + Tmin > 2 · base`, compared in whole thousandths of the record's own unit. The sensing day counts only when asked, since its record is
/// rarely complete; when it does not count, the record need not hold it.
///
/// # Errors
/// When the record is empty, holds a date twice, does not reach from planting to the last day counted, lacks a day in between, or has a day
/// in that span whose least temperature lies above its greatest; when sensing does not come after planting.
///
/// # Source
/// Days with growing degrees above zero from planting to sensing: common practice of sensor-based wheat nitrogen, no source. Which end days count
/// is not stated anywhere seen; the rule above is ours.
pub fn count_growing_days(
    record: &DailyRecord,
    base: BaseTemperature,
    planted: Date,
    sensed: Date,
    count_sensing_day: bool,
) -> Result<GrowingDayCount, GrowingDaysError> {
    let last_needed = if count_sensing_day { sensed } else { sensed.saturating_sub(1.day()) };
    if sensed <= planted {
        return Err(GrowingDaysError::NothingBetween { planted, sensed });
    }
    let mut days: Vec<&Day> = record.days.iter().collect();
    days.sort_by_key(|day| day.date);
    let (Some(first), Some(last)) = (days.first().map(|d| d.date), days.last().map(|d| d.date)) else {
        return Err(GrowingDaysError::Empty);
    };
    if let Some(pair) = days.windows(2).find(|pair| pair[0].date == pair[1].date) {
        return Err(GrowingDaysError::Twice { date: pair[0].date });
    }
    let last_name = if count_sensing_day { "sensing date" } else { "day before the sensing date" };
    for (needed, what) in [(planted, "planting date"), (last_needed, last_name)] {
        if needed < first || needed > last {
            return Err(GrowingDaysError::OutsideRecord { needed, what, first, last });
        }
    }
    let season: Vec<&Day> = days.into_iter().filter(|day| planted <= day.date && day.date <= last_needed).collect();
    refuse_gaps(&season, planted, last_needed)?;
    let mut growing_days = 0;
    for day in &season {
        if day.tmin_thousandths > day.tmax_thousandths {
            return Err(GrowingDaysError::MinAboveMax {
                date: day.date,
                tmin: day.tmin_thousandths as f64 / 1000.0,
                tmax: day.tmax_thousandths as f64 / 1000.0,
                unit: record.unit,
            });
        }
        growing_days += u32::from(base.is_below_mean_of(day.tmin_thousandths, day.tmax_thousandths, record.unit));
    }
    Ok(GrowingDayCount { growing_days, days: season.len() as u32, first: planted, last: last_needed })
}

/// Refuses a season (sorted, no date twice) that lacks a day of `first..=last`, naming the first gap.
fn refuse_gaps(season: &[&Day], first: Date, last: Date) -> Result<(), GrowingDaysError> {
    let mut expected = first;
    let mut gap: Option<(Date, Date)> = None;
    let mut missing = 0;
    // One past the end stands for the day after the last, so that a gap at the end is seen too.
    let dates = season.iter().map(|day| day.date).chain(std::iter::once(last.saturating_add(1.day())));
    for date in dates {
        if date > expected {
            gap = gap.or(Some((expected, date.saturating_sub(1.day()))));
            missing += days_between(expected, date);
        }
        expected = date.saturating_add(1.day());
    }
    gap.map_or(Ok(()), |(from, to)| Err(GrowingDaysError::Gap { from, to, missing }))
}

/// Whole days from `from` to `to`, which is not earlier.
fn days_between(from: Date, to: Date) -> u32 {
    from.duration_until(to).as_hours().unsigned_abs() as u32 / 24
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn celsius(rows: &[(f64, f64)]) -> DailyRecord {
        let start = date(2026, 3, 1);
        let days = rows.iter().zip(0_i64..).map(|((tmax, tmin), i)| Day {
            date: start.saturating_add(i.days()),
            tmin_thousandths: thousandths(*tmin),
            tmax_thousandths: thousandths(*tmax),
        });
        DailyRecord { unit: TemperatureUnit::Celsius, days: days.collect() }
    }

    #[test]
    fn ends_of_the_season() {
        let record = celsius(&[(10.0, 5.0); 10]);
        let base = BaseTemperature::celsius(4.4);
        let count = |planted, sensed, own| count_growing_days(&record, base, planted, sensed, own);
        assert_eq!(count(date(2026, 3, 1), date(2026, 3, 11), false).unwrap().growing_days, 10);
        assert_eq!(count(date(2026, 3, 2), date(2026, 3, 10), false).unwrap().growing_days, 8);
        assert_eq!(count(date(2026, 3, 2), date(2026, 3, 10), true).unwrap().growing_days, 9);
        let outside = count(date(2026, 3, 1), date(2026, 3, 11), true).unwrap_err();
        assert_eq!(
            outside.to_string(),
            "the weather record runs from 2026-03-01 to 2026-03-10, but 2026-03-11 (sensing date) lies outside it: give a record that covers the season"
        );
        assert!(
            matches!(count(date(2026, 2, 28), date(2026, 3, 5), false), Err(GrowingDaysError::OutsideRecord { needed, .. }) if needed == date(2026, 2, 28))
        );
        assert!(matches!(count(date(2026, 3, 5), date(2026, 3, 5), true), Err(GrowingDaysError::NothingBetween { .. })));
    }

    #[test]
    fn a_mean_of_exactly_the_base_does_not_count() {
        let base = BaseTemperature::celsius(4.4);
        assert!(!base.is_below_mean_of(0, 8_800, TemperatureUnit::Celsius));
        assert!(base.is_below_mean_of(0, 8_801, TemperatureUnit::Celsius));
    }

    #[test]
    fn four_point_four_celsius_is_not_forty_fahrenheit() {
        // 40 °F = 4.444… °C: a mean of 4.42 °C lies above the one and below the other.
        assert!(BaseTemperature::celsius(4.4).is_below_mean_of(2_000, 6_840, TemperatureUnit::Celsius));
        assert!(!BaseTemperature::fahrenheit(40.0).is_below_mean_of(2_000, 6_840, TemperatureUnit::Celsius));
        // 4.4 °C is 39.92 °F, and both 39.92 and 40 °F are exact here.
        assert!(BaseTemperature::celsius(4.4).is_below_mean_of(39_000, 40_841, TemperatureUnit::Fahrenheit));
        assert!(!BaseTemperature::celsius(4.4).is_below_mean_of(39_000, 40_840, TemperatureUnit::Fahrenheit));
        assert!(!BaseTemperature::fahrenheit(40.0).is_below_mean_of(38_000, 42_000, TemperatureUnit::Fahrenheit));
        assert!(BaseTemperature::fahrenheit(40.0).is_below_mean_of(38_000, 42_001, TemperatureUnit::Fahrenheit));
    }

    #[test]
    fn faults_are_named() {
        let base = BaseTemperature::celsius(4.4);
        let mut record = celsius(&[(10.0, 5.0); 10]);
        record.days.retain(|day| ![date(2026, 3, 4), date(2026, 3, 5), date(2026, 3, 8)].contains(&day.date));
        let gap = count_growing_days(&record, base, date(2026, 3, 1), date(2026, 3, 11), false).unwrap_err();
        assert_eq!(gap, GrowingDaysError::Gap { from: date(2026, 3, 4), to: date(2026, 3, 5), missing: 3 });

        let swapped = celsius(&[(10.0, 5.0), (5.0, 10.0)]);
        let error = count_growing_days(&swapped, base, date(2026, 3, 1), date(2026, 3, 3), false).unwrap_err();
        assert_eq!(error.to_string(), "the weather record of 2026-03-02 has a least temperature (10.000 °C) above its greatest (5.000 °C)");

        let mut twice = celsius(&[(10.0, 5.0); 2]);
        twice.days[1].date = twice.days[0].date;
        assert_eq!(count_growing_days(&twice, base, date(2026, 3, 1), date(2026, 3, 2), false), Err(GrowingDaysError::Twice { date: date(2026, 3, 1) }));
        let empty = DailyRecord { unit: TemperatureUnit::Celsius, days: Vec::new() };
        assert_eq!(count_growing_days(&empty, base, date(2026, 3, 1), date(2026, 3, 2), false), Err(GrowingDaysError::Empty));
    }
}
