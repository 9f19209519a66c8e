//! Growing days of a job: stated, or counted out of a weather record, or out of the record of the nearest station of a list.

use std::path::{Path, PathBuf};

use crate::app::error::AppError;
use crate::app::held::{Held, stations_of, weather_of};
use crate::app::job::weather::daily_record;
use crate::app::open::refuse_special;
use crate::finding::{Finding, codes};
use crate::format::weather::stations::Station;
use crate::job::settings::{GrowingDays, MissingDayRule, Season};
use crate::pipeline::season::{CountedSeason, GrowingSeason, UsedStation};
use crate::science::growing_days::{
    DailyRecord, GrowingDaysError, MissingDays, SeasonSpan, count_growing_days, runs_of,
};
use crate::space::great_circle::distance_km;
use jiff::civil::Date;

/// Weather of a station farther than this may not be the field's. \[km\] Common practice, no source.
const FAR_KM: f64 = 30.0;

/// A season and the files that it was counted from.
#[derive(Debug)]
pub(crate) struct OpenedSeason {
    /// The season.
    pub season: GrowingSeason,
    /// The list of stations, if any, and every record that was read.
    pub files: Vec<PathBuf>,
}

/// A station with its distance from the field. \[km\]
type Ranked = (Station, Option<f64>);

/// Growing days of a season. `place`: longitude and latitude of the field's centroid, when the job has a field. \[°\]
///
/// # Errors
/// A record or list that cannot be read or does not cover the season; dates that are missing; a list of stations with neither a field nor a named one.
pub(crate) fn growing_season(
    season: &Season,
    place: Option<(f64, f64)>,
    held: Option<&Held>,
    findings: &mut Vec<Finding>,
) -> Result<OpenedSeason, AppError> {
    let mut files = Vec::new();
    let ranked: Vec<Ranked> = match &season.growing_days {
        GrowingDays::Given(days) => {
            return Ok(OpenedSeason {
                season: GrowingSeason::stated(*days),
                files,
            });
        }
        // Not known is no number; the method needs none.
        GrowingDays::NotStated => {
            return Ok(OpenedSeason {
                season: GrowingSeason::stated(f64::NAN),
                files,
            });
        }
        GrowingDays::Weather(_) => Vec::new(),
        GrowingDays::Stations { list, station } => {
            files.push(list.clone());
            ranked(list, station.as_deref(), place, held)?
        }
    };
    let needed = |date: Option<Date>, key: &str| {
        date.ok_or_else(|| {
            AppError::refused(
                "season.date",
                "growing days are counted from planting to sensing, and a date is missing",
            )
            .with_hint(format!("give {key}"))
        })
    };
    let span = SeasonSpan {
        planted: needed(season.planted, "season.planted")?,
        sensed: needed(season.sensed, "the sensing date")?,
        count_sensing_day: season.count_sensing_day,
    };
    let first = match (&season.growing_days, ranked.first()) {
        (GrowingDays::Weather(path), _) => path.clone(),
        (_, Some((station, _))) => station.record.clone(),
        _ => {
            return Err(AppError::fault(
                "season.record",
                "no weather record was chosen",
            ));
        }
    };
    let mut records = vec![record(&first, held, findings)?];
    files.push(first);
    // Records of farther stations are opened one by one, as long as days are missing and a station is still near enough to speak for the field.
    let mut more = ranked.iter().skip(1).take_while(|(_, km)| {
        season.missing_days == MissingDayRule::NextStation && km.is_none_or(|km| km <= FAR_KM)
    });
    let policy = if season.missing_days == MissingDayRule::LeaveOut {
        MissingDays::LeaveOut
    } else {
        MissingDays::Refuse
    };
    let count = loop {
        match count_growing_days(&records, &season.rule, span, policy) {
            Ok(count) => break count,
            Err(
                error @ (GrowingDaysError::Gap { .. } | GrowingDaysError::OutsideRecord { .. }),
            ) => match more.next() {
                Some((station, _)) => {
                    records.push(record(&station.record, held, findings)?);
                    files.push(station.record.clone());
                }
                None => return Err(refused(season, &error, &files, &records)),
            },
            Err(error) => return Err(refused(season, &error, &files, &records)),
        }
    };
    let stations = ranked
        .into_iter()
        .take(records.len())
        .map(|(station, distance_km)| UsedStation {
            name: station.name,
            distance_km,
        })
        .collect();
    let counted = CountedSeason {
        count,
        rule: season.rule,
        sensing_day: season.count_sensing_day,
        stations,
    };
    tell(&counted, &records, span, findings);
    Ok(OpenedSeason {
        season: GrowingSeason {
            growing_days: f64::from(counted.count.growing_days),
            counted: Some(counted),
        },
        files,
    })
}

fn record(
    path: &Path,
    held: Option<&Held>,
    findings: &mut Vec<Finding>,
) -> Result<DailyRecord, AppError> {
    refuse_special(path)?;
    Ok(daily_record(&weather_of(path, held)?.into_log(findings)))
}

/// Stations, nearest first; the named one before all others. Ties keep the order of the list.
fn ranked(
    list: &Path,
    named: Option<&str>,
    place: Option<(f64, f64)>,
    held: Option<&Held>,
) -> Result<Vec<Ranked>, AppError> {
    refuse_special(list)?;
    let stations = stations_of(list, held).map_err(|error| {
        AppError::refused("weather.stations", error.to_string())
            .with_causes(&error)
            .with_hint("a list has the columns name, latitude, longitude and path")
    })?;
    let known = || {
        stations
            .iter()
            .map(|station| station.name.as_str())
            .collect::<Vec<_>>()
            .join(", ")
    };
    if place.is_none() && named.is_none() {
        return Err(AppError::refused(
            "weather.station",
            "the job has a list of stations but no field to find the nearest one for",
        )
        .with_fact(list.display().to_string(), known())
        .with_hint("name one: season.station = \"...\""));
    }
    if let Some(name) = named
        && !stations
            .iter()
            .any(|station| station.name.eq_ignore_ascii_case(name))
    {
        return Err(AppError::refused(
            "weather.station",
            format!("the list has no station called \"{name}\""),
        )
        .with_fact(list.display().to_string(), known())
        .with_hint(
            "write one of these names in season.station, or leave it out to take the nearest",
        ));
    }
    let mut ranked: Vec<Ranked> = stations
        .into_iter()
        .map(|station| {
            let km = place.map(|place| distance_km(place, (station.longitude, station.latitude)));
            (station, km)
        })
        .collect();
    ranked.sort_by(|(_, one), (_, other)| one.unwrap_or(0.0).total_cmp(&other.unwrap_or(0.0)));
    // A stable sort: the named one comes first, the others stay by distance.
    ranked.sort_by_key(|(station, _)| {
        !named.is_some_and(|name| station.name.eq_ignore_ascii_case(name))
    });
    Ok(ranked)
}

/// Those of a list whose weather may come into a season's count, in the order of the list, for a field that lies around a place, no part of it farther than `within`
/// \[km\]. `None` where the whole list counts: the named station is not in it.
pub(crate) fn may_speak_for<'a>(
    season: &Season,
    named: Option<&str>,
    list: &'a [Station],
    (place, within): ((f64, f64), f64),
) -> Option<Vec<&'a Station>> {
    let is_named =
        |station: &Station| named.is_some_and(|name| station.name.eq_ignore_ascii_case(name));
    if named.is_some() && !list.iter().any(is_named) {
        return None;
    }
    let km = |station: &Station| distance_km(place, (station.longitude, station.latitude));
    let nearest = list.iter().map(km).fold(f64::INFINITY, f64::min);
    let may = |station: &&Station| {
        let near = km(station);
        let first = if named.is_some() {
            is_named(station)
        } else {
            near <= nearest + 2.0 * within
        };
        first || season.missing_days == MissingDayRule::NextStation && near <= FAR_KM + 2.0 * within
    };
    Some(list.iter().filter(may).collect())
}

fn refused(
    season: &Season,
    error: &GrowingDaysError,
    files: &[PathBuf],
    records: &[DailyRecord],
) -> AppError {
    let opened = &files[files.len() - records.len()..];
    let notice = AppError::refused("weather.season", error.to_string());
    let notice = opened
        .iter()
        .zip(records)
        .fold(notice, |notice, (path, record)| {
            notice.with_fact(
                path.display().to_string(),
                format!("{} days", record.days.len()),
            )
        });
    notice.with_hint(match (error, season.missing_days) {
        (GrowingDaysError::Gap { .. }, MissingDayRule::NextStation) => {
            "no other station within 30 km has these days: fill them, or missing_days = \"leave out\" counts them as no growing days"
        }
        (GrowingDaysError::Gap { .. }, _) => "fill them from a station nearby: season.stations and missing_days = \"next station\" do it day by day",
        _ => "see season.planted, imagery.date and the weather file",
    })
}

/// What must be known of a count.
fn tell(
    counted: &CountedSeason,
    records: &[DailyRecord],
    span: SeasonSpan,
    findings: &mut Vec<Finding>,
) {
    let count = &counted.count;
    if let Some((station, km)) = counted
        .stations
        .first()
        .and_then(|station| Some((station, station.distance_km?)))
    {
        let notice = format!(
            "the weather is that of {}, {km:.1} km from the field's centroid",
            station.name
        );
        findings.push(if km > FAR_KM {
            Finding::caution(
                codes::WEATHER_FAR,
                format!("{notice}, farther than {FAR_KM:.0} km: growing days there may not be the field's; compare with a record taken nearer"),
            )
        } else {
            Finding::note(codes::WEATHER_STATION, notice)
        });
    }
    if !count.filled.is_empty() {
        findings.push(Finding::caution(
            codes::WEATHER_FILLED,
            format!(
                "{} day(s) of the season stand in the record of another station: {}",
                count.filled.len(),
                counted.filled_runs()
            ),
        ));
    }
    if !count.left_out.is_empty() {
        let missing = count.left_out.len() as u32;
        let notice = format!(
            "{missing} of {} days of the season are in no record and count as no growing days: there were {} to {} growing days; missing are {}",
            count.days,
            count.growing_days,
            count.growing_days + missing,
            runs_of(&count.left_out)
        );
        // A tenth of a season moves the in-season estimate by about as much as a tenth.
        findings.push(if 10 * missing > count.days {
            Finding::stop(
                codes::WEATHER_LEFT_OUT,
                format!("{notice}: more than a tenth of the season; fill the record"),
            )
            .with_figure(format!("{missing} d"))
        } else {
            Finding::caution(codes::WEATHER_LEFT_OUT, notice)
        });
    }
    let last = records
        .iter()
        .flat_map(|record| &record.days)
        .map(|day| day.date)
        .max();
    if span.count_sensing_day && last == Some(span.sensed) {
        findings.push(Finding::caution(
            codes::WEATHER_LAST_DAY,
            format!(
                "the sensing day {} is counted and is the last day of the record: a day that was not over when the record was drawn has no true extremes yet",
                span.sensed
            ),
        ));
    }
}
