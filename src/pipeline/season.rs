//! Growing days of a season and how they came about: what summary and record tell of them.

use std::fmt::Write as _;

use crate::science::degree_days::GrowingRule;
use crate::science::growing_days::{GrowingDayCount, runs_of};
use jiff::civil::Date;

/// Growing days of a season.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct GrowingSeason {
    /// Days from planting to sensing that were warm enough for the crop to grow; not a number where the method needs none and the job states none.
    pub growing_days: f64,
    /// How they were counted; `None` when the job states their number.
    pub counted: Option<CountedSeason>,
}

/// A count out of weather records.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct CountedSeason {
    /// The count.
    pub count: GrowingDayCount,
    /// The rule of growing degrees.
    pub rule: GrowingRule,
    /// Whether the sensing day was counted.
    pub sensing_day: bool,
    /// The stations whose records were used, nearest first; empty when the job names one record. The first is the one that was chosen.
    pub stations: Vec<UsedStation>,
}

/// A station whose record was used.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct UsedStation {
    /// Its name.
    pub name: String,
    /// Its distance from the field's centroid, when the job has a field. \[km\]
    pub distance_km: Option<f64>,
}

impl GrowingSeason {
    /// As the job states it.
    pub(crate) const fn stated(growing_days: f64) -> Self {
        Self {
            growing_days,
            counted: None,
        }
    }

    /// How the days were counted, in a sentence; `None` when they were stated.
    pub(crate) fn text(&self) -> Option<String> {
        let counted = self.counted.as_ref()?;
        let count = &counted.count;
        let mut text = format!(
            "{} of {} days from {} to {}: {}",
            count.growing_days,
            count.days,
            count.first,
            count.last,
            counted.rule.text()
        );
        if let Some(station) = counted.stations.first() {
            let far = station
                .distance_km
                .map_or_else(String::new, |km| format!(", {km:.1} km away"));
            let _ = write!(text, "; station {}{far}", station.name);
        }
        if !count.left_out.is_empty() {
            let _ = write!(text, "; {} missing day(s) left out", count.left_out.len());
        }
        Some(text)
    }
}

impl CountedSeason {
    /// Days that another station gave: the day and the station's name.
    pub(crate) fn filled(&self) -> impl Iterator<Item = (Date, &str)> {
        self.count.filled.iter().map(|(date, at)| {
            (
                *date,
                self.stations
                    .get(*at)
                    .map_or("", |station| station.name.as_str()),
            )
        })
    }

    /// The same as runs of days, station by station: `2026-01-03 to 2026-01-05 from Mill Barn`.
    pub(crate) fn filled_runs(&self) -> String {
        let of = |(at, station): (usize, &UsedStation)| {
            let days: Vec<Date> = self
                .count
                .filled
                .iter()
                .filter(|(_, from)| *from == at)
                .map(|(date, _)| *date)
                .collect();
            (!days.is_empty()).then(|| format!("{} from {}", runs_of(&days), station.name))
        };
        self.stations
            .iter()
            .enumerate()
            .filter_map(of)
            .collect::<Vec<_>>()
            .join("; ")
    }
}
