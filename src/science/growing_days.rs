//! Growing days: days from planting to sensing on which the crop's mean temperature lay above its base.
//!
//! All comparisons are of whole numbers (thousandths of a degree), so a mean of exactly the base is never counted by a rounding accident.

use std::collections::BTreeMap;

use super::degree_days::{DegreeDays, GrowingRule};
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

/// Parts of a degree Celsius in which thousandths of both scales are whole numbers: 1 °C = 9000 parts, 1 °F = 5000 parts.
pub(super) const PARTS_PER_CELSIUS: i64 = 9_000;

impl TemperatureUnit {
    /// Thousandths of this unit as whole parts of a degree Celsius above its zero: `°C = (°F − 32) · 5/9`, nothing rounded.
    pub(super) const fn parts(self, thousandths: i64) -> i64 {
        match self {
            Self::Celsius => thousandths.saturating_mul(9),
            Self::Fahrenheit => thousandths.saturating_sub(32_000).saturating_mul(5),
        }
    }
}

/// A temperature to compare a day with, kept in the unit in which it was stated: 4.4 °C is not 40 °F.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ThresholdTemperature {
    thousandths: i64,
    unit: TemperatureUnit,
}

/// The temperature above which a crop grows.
pub type BaseTemperature = ThresholdTemperature;

impl ThresholdTemperature {
    /// Built from degrees Celsius, to the nearest thousandth.
    pub fn celsius(degrees: f64) -> Self {
        Self {
            thousandths: thousandths(degrees),
            unit: TemperatureUnit::Celsius,
        }
    }
    /// Built from degrees Fahrenheit, to the nearest thousandth.
    pub fn fahrenheit(degrees: f64) -> Self {
        Self {
            thousandths: thousandths(degrees),
            unit: TemperatureUnit::Fahrenheit,
        }
    }
    /// The number as it was stated. \[its own unit\]
    pub fn stated(self) -> f64 {
        self.thousandths as f64 / 1000.0
    }
    /// The unit in which it was stated.
    pub const fn unit(self) -> TemperatureUnit {
        self.unit
    }
    /// The same in degrees Celsius, for display. \[°C\]
    pub fn as_celsius(self) -> f64 {
        match self.unit {
            TemperatureUnit::Celsius => self.stated(),
            TemperatureUnit::Fahrenheit => (self.stated() - 32.0) / 1.8,
        }
    }
    /// In whole parts of a degree Celsius.
    pub(super) const fn parts(self) -> i64 {
        self.unit.parts(self.thousandths)
    }
    /// Whether the mean of a day's least and greatest temperature, in `unit`, lies strictly above it: `Tmax + Tmin > 2 · base`, nothing rounded.
    pub const fn is_below_mean_of(
        self,
        tmin_thousandths: i64,
        tmax_thousandths: i64,
        unit: TemperatureUnit,
    ) -> bool {
        unit.parts(tmin_thousandths)
            .saturating_add(unit.parts(tmax_thousandths))
            > self.parts().saturating_mul(2)
    }
}

impl std::fmt::Display for ThresholdTemperature {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.stated(), self.unit.label())
    }
}

/// Nearest whole number of thousandths; half away from zero.
fn thousandths(degrees: f64) -> i64 {
    libm::round(degrees * 1000.0) as i64
}

/// Between which days a season is counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SeasonSpan {
    /// Planting date; counts.
    pub planted: Date,
    /// Sensing date.
    pub sensed: Date,
    /// Whether the sensing day counts. Its record is rarely complete, so it does only when asked.
    pub count_sensing_day: bool,
}

impl SeasonSpan {
    /// The last day that counts.
    pub fn last(&self) -> Date {
        if self.count_sensing_day {
            self.sensed
        } else {
            self.sensed.saturating_sub(1.day())
        }
    }
}

/// What is done about a day that no record holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MissingDays {
    /// The season is refused, every missing day named.
    Refuse,
    /// The day is counted as no growing day and named: the count is the least that it can be.
    LeaveOut,
}

/// How many growing days there were, and over which days they were counted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GrowingDayCount {
    /// Days with growing degrees above zero.
    pub growing_days: u32,
    /// Sum of growing degrees over the same days.
    pub degree_days: DegreeDays,
    /// Days from first to last, missing ones included.
    pub days: u32,
    /// First day looked at: planting.
    pub first: Date,
    /// Last day looked at.
    pub last: Date,
    /// Days that the first record lacks and another one holds: day, position of that record.
    pub filled: Vec<(Date, usize)>,
    /// Days that no record holds.
    pub left_out: Vec<Date>,
}

/// Why growing days could not be counted.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum GrowingDaysError {
    /// No day in the record.
    #[error("the weather record holds no day with both a least and a greatest temperature")]
    Empty,
    /// No day between planting and sensing.
    #[error(
        "sensing on {sensed} does not come after planting on {planted}: check season.planted and the sensing date"
    )]
    NothingBetween {
        /// Planting date.
        planted: Date,
        /// Sensing date.
        sensed: Date,
    },
    /// A day that is needed lies before the first or after the last day of the record.
    #[error(
        "the weather record runs from {first} to {last}, but {needed} ({what}) lies outside it: give a record that covers the season"
    )]
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
    #[error("the weather record lacks {} day(s) between planting and sensing: {}", days.len(), runs_of(days))]
    Gap {
        /// Every missing day.
        days: Vec<Date>,
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

/// Counts the days `planted ≤ d < sensed` (`≤ sensed` when the sensing day counts) that have growing degrees by `rule`, and adds the degrees up.
///
/// Of `records`, the first one that holds a day gives it: the later ones only fill what the earlier ones lack, and each such day is named. All
/// comparisons and sums are of whole numbers. When the sensing day does not count, no record need hold it. No day after sensing ever counts.
///
/// # Errors
/// When there is no record or an empty one, a record holds a date twice, the records together do not reach from planting to the last day counted, lack a
/// day in between (unless `missing` says to leave it out), or a day that is used has a least temperature above its greatest; when sensing does not come
/// after planting.
///
/// # Source
/// Days with growing degrees above zero from planting to sensing: common practice of sensor-based wheat nitrogen, no source. Which end days count
/// is not stated anywhere seen; the rule above is ours.
pub fn count_growing_days(
    records: &[DailyRecord],
    rule: &GrowingRule,
    span: SeasonSpan,
    missing: MissingDays,
) -> Result<GrowingDayCount, GrowingDaysError> {
    let SeasonSpan {
        planted,
        sensed,
        count_sensing_day,
    } = span;
    if sensed <= planted {
        return Err(GrowingDaysError::NothingBetween { planted, sensed });
    }
    let mut by_date: Vec<BTreeMap<Date, &Day>> = Vec::new();
    for record in records {
        let mut days = BTreeMap::new();
        for day in &record.days {
            if days.insert(day.date, day).is_some() {
                return Err(GrowingDaysError::Twice { date: day.date });
            }
        }
        if days.is_empty() {
            return Err(GrowingDaysError::Empty);
        }
        by_date.push(days);
    }
    let first = by_date
        .iter()
        .filter_map(|days| days.keys().next())
        .min()
        .copied();
    let last = by_date
        .iter()
        .filter_map(|days| days.keys().next_back())
        .max()
        .copied();
    let (Some(first), Some(last)) = (first, last) else {
        return Err(GrowingDaysError::Empty);
    };
    let last_needed = span.last();
    let last_name = if count_sensing_day {
        "sensing date"
    } else {
        "day before the sensing date"
    };
    for (needed, what) in [(planted, "planting date"), (last_needed, last_name)] {
        if needed < first || needed > last {
            return Err(GrowingDaysError::OutsideRecord {
                needed,
                what,
                first,
                last,
            });
        }
    }
    let mut count = GrowingDayCount {
        growing_days: 0,
        degree_days: DegreeDays::default(),
        days: 0,
        first: planted,
        last: last_needed,
        filled: Vec::new(),
        left_out: Vec::new(),
    };
    for date in planted
        .series(1.day())
        .take_while(|date| *date <= last_needed)
    {
        count.days += 1;
        let Some((at, day)) = by_date
            .iter()
            .enumerate()
            .find_map(|(at, days)| days.get(&date).map(|day| (at, *day)))
        else {
            count.left_out.push(date);
            continue;
        };
        let unit = records[at].unit;
        if day.tmin_thousandths > day.tmax_thousandths {
            let degrees = |thousandths: i64| thousandths as f64 / 1000.0;
            return Err(GrowingDaysError::MinAboveMax {
                date,
                tmin: degrees(day.tmin_thousandths),
                tmax: degrees(day.tmax_thousandths),
                unit,
            });
        }
        if at > 0 {
            count.filled.push((date, at));
        }
        let degrees = rule.degrees(day.tmin_thousandths, day.tmax_thousandths, unit);
        count.growing_days += u32::from(degrees > DegreeDays::default());
        count.degree_days = count.degree_days + degrees;
    }
    if missing == MissingDays::Refuse && !count.left_out.is_empty() {
        return Err(GrowingDaysError::Gap {
            days: count.left_out,
        });
    }
    Ok(count)
}

/// Days in rising order as runs: `2026-03-04 to 2026-03-05, 2026-03-08`; the first twelve runs, and how many more days there are.
pub fn runs_of(days: &[Date]) -> String {
    let mut runs: Vec<(Date, Date, usize)> = Vec::new();
    for day in days {
        match runs.last_mut() {
            Some((_, last, length)) if last.saturating_add(1.day()) == *day => {
                *last = *day;
                *length += 1;
            }
            _ => runs.push((*day, *day, 1)),
        }
    }
    let shown: Vec<String> = runs
        .iter()
        .take(12)
        .map(|(first, last, _)| {
            if first == last {
                first.to_string()
            } else {
                format!("{first} to {last}")
            }
        })
        .collect();
    let rest: usize = runs.iter().skip(12).map(|run| run.2).sum();
    if rest == 0 {
        shown.join(", ")
    } else {
        format!("{} and {rest} more day(s)", shown.join(", "))
    }
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
        DailyRecord {
            unit: TemperatureUnit::Celsius,
            days: days.collect(),
        }
    }

    fn counted(
        records: &[DailyRecord],
        base: BaseTemperature,
        planted: Date,
        sensed: Date,
        own: bool,
    ) -> Result<GrowingDayCount, GrowingDaysError> {
        let span = SeasonSpan {
            planted,
            sensed,
            count_sensing_day: own,
        };
        count_growing_days(records, &GrowingRule::mean(base), span, MissingDays::Refuse)
    }

    #[test]
    fn a_missing_day_is_filled_by_another_record_or_left_out_and_named() {
        let rule = GrowingRule::mean(BaseTemperature::celsius(4.4));
        let span = SeasonSpan {
            planted: date(2026, 3, 1),
            sensed: date(2026, 3, 7),
            count_sensing_day: false,
        };
        let mut near = celsius(&[(10.0, 5.0); 6]);
        near.days
            .retain(|day| ![date(2026, 3, 3), date(2026, 3, 5)].contains(&day.date));
        // The far record is in °F and lacks a day of its own: 50 and 41 °F are 10 and 5 °C.
        let mut far = DailyRecord {
            unit: TemperatureUnit::Fahrenheit,
            days: celsius(&[(50.0, 41.0); 6]).days,
        };
        far.days.retain(|day| day.date != date(2026, 3, 5));
        let both = [near.clone(), far];
        let refused = count_growing_days(&both, &rule, span, MissingDays::Refuse).unwrap_err();
        assert_eq!(
            refused,
            GrowingDaysError::Gap {
                days: vec![date(2026, 3, 5)]
            }
        );
        let count = count_growing_days(&both, &rule, span, MissingDays::LeaveOut).unwrap();
        assert_eq!((count.growing_days, count.days), (5, 6));
        assert_eq!(
            (count.filled, count.left_out),
            (vec![(date(2026, 3, 3), 1)], vec![date(2026, 3, 5)])
        );
        assert_eq!(count.degree_days.celsius(), 5.0 * 3.1);
    }

    #[test]
    fn runs_of_days() {
        assert_eq!(runs_of(&[]), "");
        let each_other = (1_i64..=14)
            .map(|k| date(2026, 1, 1).saturating_add((2 * k).days()))
            .collect::<Vec<_>>();
        assert!(
            runs_of(&each_other).ends_with("2026-01-25 and 2 more day(s)"),
            "{}",
            runs_of(&each_other)
        );
    }

    #[test]
    fn ends_of_the_season() {
        let record = celsius(&[(10.0, 5.0); 10]);
        let base = BaseTemperature::celsius(4.4);
        let count = |planted, sensed, own| {
            counted(std::slice::from_ref(&record), base, planted, sensed, own)
        };
        assert_eq!(
            count(date(2026, 3, 1), date(2026, 3, 11), false)
                .unwrap()
                .growing_days,
            10
        );
        assert_eq!(
            count(date(2026, 3, 2), date(2026, 3, 10), false)
                .unwrap()
                .growing_days,
            8
        );
        assert_eq!(
            count(date(2026, 3, 2), date(2026, 3, 10), true)
                .unwrap()
                .growing_days,
            9
        );
        let outside = count(date(2026, 3, 1), date(2026, 3, 11), true).unwrap_err();
        assert_eq!(
            outside.to_string(),
            "the weather record runs from 2026-03-01 to 2026-03-10, but 2026-03-11 (sensing date) lies outside it: give a record that covers the season"
        );
        assert!(
            matches!(count(date(2026, 2, 28), date(2026, 3, 5), false), Err(GrowingDaysError::OutsideRecord { needed, .. }) if needed == date(2026, 2, 28))
        );
        assert!(matches!(
            count(date(2026, 3, 5), date(2026, 3, 5), true),
            Err(GrowingDaysError::NothingBetween { .. })
        ));
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
        assert!(BaseTemperature::celsius(4.4).is_below_mean_of(
            2_000,
            6_840,
            TemperatureUnit::Celsius
        ));
        assert!(!BaseTemperature::fahrenheit(40.0).is_below_mean_of(
            2_000,
            6_840,
            TemperatureUnit::Celsius
        ));
        // 4.4 °C is 39.92 °F, and both 39.92 and 40 °F are exact here.
        assert!(BaseTemperature::celsius(4.4).is_below_mean_of(
            39_000,
            40_841,
            TemperatureUnit::Fahrenheit
        ));
        assert!(!BaseTemperature::celsius(4.4).is_below_mean_of(
            39_000,
            40_840,
            TemperatureUnit::Fahrenheit
        ));
        assert!(!BaseTemperature::fahrenheit(40.0).is_below_mean_of(
            38_000,
            42_000,
            TemperatureUnit::Fahrenheit
        ));
        assert!(BaseTemperature::fahrenheit(40.0).is_below_mean_of(
            38_000,
            42_001,
            TemperatureUnit::Fahrenheit
        ));
    }

    #[test]
    fn faults_are_named() {
        let base = BaseTemperature::celsius(4.4);
        let mut record = celsius(&[(10.0, 5.0); 10]);
        record.days.retain(|day| {
            ![date(2026, 3, 4), date(2026, 3, 5), date(2026, 3, 8)].contains(&day.date)
        });
        let gap = counted(
            std::slice::from_ref(&record),
            base,
            date(2026, 3, 1),
            date(2026, 3, 11),
            false,
        )
        .unwrap_err();
        assert_eq!(
            gap.to_string(),
            "the weather record lacks 3 day(s) between planting and sensing: 2026-03-04 to 2026-03-05, 2026-03-08"
        );

        let swapped = celsius(&[(10.0, 5.0), (5.0, 10.0)]);
        let error =
            counted(&[swapped], base, date(2026, 3, 1), date(2026, 3, 3), false).unwrap_err();
        assert_eq!(
            error.to_string(),
            "the weather record of 2026-03-02 has a least temperature (10.000 °C) above its greatest (5.000 °C)"
        );

        let mut twice = celsius(&[(10.0, 5.0); 2]);
        twice.days[1].date = twice.days[0].date;
        assert_eq!(
            counted(&[twice], base, date(2026, 3, 1), date(2026, 3, 2), false),
            Err(GrowingDaysError::Twice {
                date: date(2026, 3, 1)
            })
        );
        let empty = DailyRecord {
            unit: TemperatureUnit::Celsius,
            days: Vec::new(),
        };
        assert_eq!(
            counted(&[empty], base, date(2026, 3, 1), date(2026, 3, 2), false),
            Err(GrowingDaysError::Empty)
        );
    }
}
