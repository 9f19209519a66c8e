//! `[season]`, `[crop]` and `[response]`: the crop, its season and the yield-response method.

use std::path::{Path, PathBuf};

use crate::job::amount::Temperature;
use crate::job::keys::{CROP, ROOT, SEASON};
use crate::job::problem::Problem;
use crate::job::reader::Section;
use crate::job::record::Shown;
use crate::job::resolve::ReadFile;
use crate::job::sections::ground;
use crate::job::suggest::nearest;
use crate::job::tables::NamedCurve;
use crate::job::{amount, tables};
use crate::key::{Record, words};
use crate::science::crop::CropTables;
use crate::science::degree_days::{CeilingOn, DayRule, GrowingRule};
use crate::science::growing_days::BaseTemperature;
use crate::science::naming::UnknownName;
use jiff::civil::Date;
use serde_json::Value;

/// `[season]`, with the crop's row of the table.
#[derive(Clone, Debug, PartialEq)]
pub struct Season {
    /// The crop.
    pub crop: Crop,
    /// `season.crops`: a table of crops and curves of the user's own.
    pub crops: Option<PathBuf>,
    /// Planting date.
    pub planted: Option<Date>,
    /// Where growing days come from.
    pub growing_days: GrowingDays,
    /// How a day's growing degrees are reckoned.
    pub rule: GrowingRule,
    /// What is done about days that the record lacks.
    pub missing_days: MissingDayRule,
    /// Whether the sensing day counts.
    pub count_sensing_day: bool,
    /// Sensing date (imagery's, or its own with hand readings).
    pub sensed: Option<Date>,
}

/// Where growing days come from.
#[derive(Clone, Debug, PartialEq)]
pub enum GrowingDays {
    /// Stated by the user.
    Given(f64),
    /// Counted from a daily record.
    Weather(PathBuf),
    /// Counted from the record of the nearest station of a list, or of a named one.
    Stations {
        /// The list.
        list: PathBuf,
        /// The name of the station to take, if not the nearest.
        station: Option<String>,
    },
    /// Not known, and the method needs none.
    NotStated,
}

words! {
    /// `season.missing_days`.
    pub enum MissingDayRule {
        /// The job is refused.
        Refuse = "refuse",
        /// They are taken from the next nearest station of the list.
        NextStation = "next station",
        /// They count as no growing days, and the range that this leaves is told.
        LeaveOut = "leave out",
    }
}

/// A crop's constants.
#[derive(Clone, Debug, PartialEq)]
pub struct Crop {
    /// Name.
    pub name: String,
    /// Base temperature of growth. \[°C\] For showing; growing days are compared with `base`.
    pub base_c: f64,
    /// Base temperature of growth in the unit in which it was stated.
    pub base: BaseTemperature,
    /// Grain nitrogen as a share of grain mass, where a figure is confirmed; `response.grain_nitrogen` is what is used.
    pub grain_nitrogen: Option<f64>,
    /// Pounds in a bushel.
    pub lb_per_bu: Option<f64>,
    /// Water in grain at market moisture, share of grain mass; yields and grain nitrogen are stated at it.
    pub grain_moisture: Option<f64>,
    /// Growing days between which the curve is trusted.
    pub window_days: Option<(f64, f64)>,
    /// Largest CV of the comparison swath that still counts as a uniform stand. \[share\]
    pub stand_cv: f64,
    /// Source and certainty.
    pub source: String,
}

/// The user's own table of crops and curves.
#[derive(Debug, Default)]
pub(crate) struct Personal {
    /// Where it stands.
    pub(crate) path: Option<PathBuf>,
    /// What it holds; nothing without a file.
    pub(crate) tables: CropTables,
    /// Whether it could not be used: names that are not known then are no faults of their own.
    pub(crate) faulty: bool,
}

/// `season.crops`.
pub(crate) fn personal(section: &mut Section<'_>, folder: &Path, read: ReadFile<'_>) -> Personal {
    let Some(path) = ground::path(section, &SEASON.crops, folder) else {
        return Personal::default();
    };
    let text = read(&path).and_then(|bytes| {
        String::from_utf8(bytes).map_err(|_| std::io::Error::other("it is not UTF-8 text"))
    });
    let read = text
        .map_err(|error| error.to_string())
        .and_then(|text| CropTables::read(&text));
    match read {
        Ok(tables) => Personal {
            path: Some(path),
            tables,
            faulty: false,
        },
        Err(reason) => {
            let file = path
                .file_name()
                .map_or_else(String::new, |name| name.to_string_lossy().into_owned());
            section.refuse(&SEASON.crops, Problem::CropFile { file, reason });
            Personal {
                faulty: true,
                ..Personal::default()
            }
        }
    }
}

/// The crop: the job's own `[crop]`, else the shipped row that `season.crop` names, else the crop of the shipped curve that the job names.
///
/// `curve_faulty` says that a curve is given and could not be read: it may have named the crop, so the crop is not asked for on top.
pub(crate) fn crop(
    season: &mut Section<'_>,
    own: &mut Section<'_>,
    curve: Option<&NamedCurve>,
    curve_faulty: bool,
    personal: &CropTables,
) -> Option<Crop> {
    let named = season.find(&SEASON.crop);
    if own.is_present() {
        let crop = own_crop(own, named.clone())?;
        if let Some(named) = named.filter(|named| !named.eq_ignore_ascii_case(&crop.name)) {
            let problem = Problem::Disagree {
                one: format!("season.crop (\"{named}\")"),
                other: format!("crop.name (\"{}\")", crop.name),
                way_out: "take [crop] out to use the shipped crop, or give both the same name",
            };
            season.refuse(&SEASON.crop, problem);
        }
        return Some(crop);
    }
    match (named, curve) {
        (Some(named), _) => tables::find_crop(&named, personal)
            .map_err(|unknown| {
                season.refuse(
                    &SEASON.crop,
                    unknown_name(unknown, "crop", tables::crop_names()),
                );
            })
            .ok(),
        (None, Some(curve)) => tables::find_crop(&curve.crop, personal).ok(),
        (None, None) => {
            if curve_faulty {
                return None;
            }
            season.require(&SEASON.crop);
            None
        }
    }
}

/// A name that a shipped table does not know.
pub(crate) fn unknown_name(
    unknown: UnknownName,
    what: &'static str,
    known: Vec<String>,
) -> Problem {
    let near = unknown
        .nearest
        .or_else(|| nearest(&unknown.name, known.iter().map(String::as_str)).map(str::to_owned));
    Problem::Choice {
        got: unknown.name,
        what,
        near,
        known,
    }
}

fn own_crop(section: &mut Section<'_>, named: Option<String>) -> Option<Crop> {
    let name = section.find(&CROP.name).or(named);
    if name.is_none() {
        section.require(&CROP.name);
    }
    let base = section.amount(&CROP.base_temperature, amount::temperature);
    section.hold(
        &CROP.base_temperature,
        base.map(Temperature::as_celsius).as_ref(),
        |text| amount::temperature(text).map(Temperature::as_celsius),
    );
    let grain_nitrogen = section.find(&CROP.grain_nitrogen);
    let lb_per_bu = section.amount(&CROP.bushel, amount::bushel);
    let window_days = section.list(&CROP.window).and_then(|list| {
        let days: Option<Vec<f64>> = list
            .iter()
            .map(|entry| section.number_of(entry, &CROP.window))
            .collect();
        match days?.as_slice() {
            [first, last] if first < last => Some((*first, *last)),
            [first, last] => {
                let problem = Problem::Order {
                    low_key: "the first day",
                    low: first.to_string(),
                    high_key: "the last day",
                    high: last.to_string(),
                };
                section.refuse(&CROP.window, problem);
                None
            }
            _ => {
                section.refuse(
                    &CROP.window,
                    Problem::WrongType {
                        got: "a list of another length",
                        requirement: "two numbers: [87, 112]".into(),
                    },
                );
                None
            }
        }
    });
    let grain_moisture = section.find(&CROP.grain_moisture);

    let stand_cv = section.get(&CROP.stand_cv);
    let source = section.find(&CROP.source);
    let base = base?;
    let (base_c, base) = match base {
        Temperature::Celsius(degrees) => (degrees, BaseTemperature::celsius(degrees)),
        Temperature::Fahrenheit(degrees) => {
            ((degrees - 32.0) / 1.8, BaseTemperature::fahrenheit(degrees))
        }
    };

    Some(Crop {
        name: name?,
        base_c,
        base,
        grain_nitrogen: Some(grain_nitrogen?),
        lb_per_bu,
        grain_moisture,
        window_days,
        stand_cv,
        source: source?,
    })
}

/// `[season]` without its crop. `image_date` is the imagery's; `needs_days` says that the method works with growing days.
pub(crate) fn season(
    section: &mut Section<'_>,
    crop: Option<Crop>,
    image_date: Option<Date>,
    folder: &Path,
    needs_days: bool,
) -> Option<Season> {
    let planted = section.find(&SEASON.planted);
    let own_sensed = section.find(&SEASON.sensed);
    let (has_days, has_weather) = (
        section.has(&SEASON.growing_days),
        section.has(&SEASON.weather),
    );
    let days = section.find(&SEASON.growing_days);
    let has_stations = section.has(&SEASON.stations);
    let weather = ground::path(section, &SEASON.weather, folder);
    let stations = ground::path(section, &SEASON.stations, folder);
    let station = section.find(&SEASON.station);
    let missing_days = missing_days(section, has_stations);
    let rule = growing_rule(section, crop.as_ref());
    let count_sensing_day = section.get(&SEASON.count_sensing_day);
    if let (Some(sensed), Some(date)) = (own_sensed, image_date)
        && sensed != date
    {
        let problem = Problem::Disagree {
            one: format!("season.sensed ({sensed})"),
            other: format!("imagery.date ({date})"),
            way_out: "take season.sensed out: the image was taken on the sensing date",
        };
        section.refuse(&SEASON.sensed, problem);
    }
    let sensed = image_date.or(own_sensed);
    if let (Some(planted), Some(sensed)) = (planted, sensed) {
        let between = i64::from(planted.until(sensed).map_or(0, |span| span.get_days()))
            + i64::from(count_sensing_day);
        if sensed <= planted {
            let problem = Problem::DateOrder {
                earlier_key: "planting",
                earlier: planted.to_string(),
                later_key: "sensing",
                later: sensed.to_string(),
            };
            section.refuse(&SEASON.planted, problem);
        } else if let Some(days) = days.filter(|days| *days > between as f64) {
            let problem = Problem::GrowingDays {
                growing_days: days,
                days: between,
                planted: planted.to_string(),
                sensed: sensed.to_string(),
            };
            section.refuse(&SEASON.growing_days, problem);
        }
    }
    if has_days {
        for key in [
            &*SEASON.stations,
            &*SEASON.station,
            &*SEASON.missing_days,
            &*SEASON.growing_day_rule,
            &*SEASON.ceiling,
            &*SEASON.ceiling_on,
        ]
        .into_iter()
        .filter(|key| section.given(key))
        {
            section.refuse(
                key,
                Problem::Together {
                    keys: vec![SEASON.growing_days.name.to_owned(), key.name.to_owned()],
                },
            );
        }
    }
    if has_weather && has_stations {
        section.refuse(
            &SEASON.stations,
            Problem::Together {
                keys: vec![
                    SEASON.weather.name.to_owned(),
                    SEASON.stations.name.to_owned(),
                ],
            },
        );
    }
    if section.given(&SEASON.station) && !has_stations && !has_days {
        section.require_as(&SEASON.stations, "the list in which season.station stands");
    }
    match (has_days, has_weather || has_stations) {
        (true, true) if has_weather => section.refuse(
            &SEASON.weather,
            Problem::Together {
                keys: vec![
                    SEASON.growing_days.name.to_owned(),
                    SEASON.weather.name.to_owned(),
                ],
            },
        ),
        (false, false) if !needs_days => {}
        (false, false) => section.require(&SEASON.growing_days),
        (false, true) => {
            section.require_as(
                &SEASON.planted,
                "the planting date, from which growing days are counted in the weather record,",
            );
            if sensed.is_none() && image_date.is_none() && !section.given(&SEASON.sensed) {
                section.require_as(
                    &SEASON.sensed,
                    "the sensing date, up to which growing days are counted in the weather record,",
                );
            }
        }
        (true, _) => {}
    }
    let growing_days = match (days, weather, stations) {
        (Some(days), _, _) => GrowingDays::Given(days),
        (None, Some(weather), _) => GrowingDays::Weather(weather),
        (None, None, Some(list)) => GrowingDays::Stations { list, station },
        (None, None, None) if !needs_days && !has_days && !has_weather && !has_stations => {
            GrowingDays::NotStated
        }
        (None, None, None) => return None,
    };
    Some(Season {
        crop: crop?,
        crops: None,
        planted,
        growing_days,
        rule: rule?,
        missing_days,
        count_sensing_day,
        sensed,
    })
}

/// `season.missing_days`.
fn missing_days(section: &mut Section<'_>, has_stations: bool) -> MissingDayRule {
    let rule = section.get(&SEASON.missing_days);
    if rule == MissingDayRule::NextStation && !has_stations {
        section.require_as(
            &SEASON.stations,
            "the list of stations, which missing_days = \"next station\" needs,",
        );
    }
    rule
}

/// `season.growing_day_rule` with its ceiling; `None` without a crop, whose base it starts from.
fn growing_rule(section: &mut Section<'_>, crop: Option<&Crop>) -> Option<GrowingRule> {
    let rule = section.get(&SEASON.growing_day_rule);
    let ceiling = section.amount(&SEASON.ceiling, amount::temperature);
    section.hold(
        &SEASON.ceiling,
        ceiling.map(Temperature::as_celsius).as_ref(),
        |text| amount::temperature(text).map(Temperature::as_celsius),
    );
    let on = section.find(&SEASON.ceiling_on);
    if section.given(&SEASON.ceiling_on) {
        section.require_as(&SEASON.ceiling, "the ceiling, which ceiling_on needs,");
    }
    if rule == DayRule::Extremes && on == Some(CeilingOn::Mean) {
        let problem = Problem::Disagree {
            one: "season.growing_day_rule (\"extremes\")".to_owned(),
            other: "season.ceiling_on (\"mean\")".to_owned(),
            way_out: "this rule holds each extreme to base and ceiling: take ceiling_on out",
        };
        section.refuse(&SEASON.ceiling_on, problem);
    }
    let ceiling = ceiling.map(|ceiling| match ceiling {
        Temperature::Celsius(degrees) => BaseTemperature::celsius(degrees),
        Temperature::Fahrenheit(degrees) => BaseTemperature::fahrenheit(degrees),
    });

    let base = crop?.base;
    let made = GrowingRule::new(
        base,
        rule,
        ceiling.map(|ceiling| (ceiling, on.unwrap_or(CeilingOn::Extremes))),
    );
    if let (Err(_), Some(ceiling)) = (&made, ceiling) {
        let problem = Problem::Order {
            low_key: "the crop's base temperature",
            low: base.to_string(),
            high_key: "season.ceiling",
            high: ceiling.to_string(),
        };
        section.refuse(&SEASON.ceiling, problem);
    }
    made.ok()
}

/// As the record has it.
pub(crate) fn season_record(season: &Season, shown: Shown<'_>) -> Record {
    let crop = &season.crop;
    let ceiling = season.rule.ceiling();
    let value = Record::new()
        .table(
            &ROOT.crop,
            Record::new()
                .put(&CROP.name, crop.name.clone())
                .put(&CROP.base_temperature, crop.base_c)
                .put(&CROP.grain_nitrogen, crop.grain_nitrogen)
                .put(&CROP.bushel, crop.lb_per_bu)
                .put(&CROP.grain_moisture, crop.grain_moisture)
                .put(
                    &CROP.window,
                    crop.window_days.map(|(first, last)| vec![first, last]),
                )
                .put(&CROP.stand_cv, crop.stand_cv)
                .put(&CROP.source, crop.source.clone()),
        )
        .put(&SEASON.crops, season.crops.as_deref().map(shown))
        .put(&SEASON.planted, day(season.planted))
        .put(&SEASON.sensed, day(season.sensed))
        .put(&SEASON.count_sensing_day, season.count_sensing_day)
        .put(&SEASON.growing_day_rule, season.rule.rule().word())
        .add(CROP.base_temperature.name, season.rule.base().to_string())
        .put(
            &SEASON.ceiling,
            ceiling.map(|(ceiling, _)| ceiling.to_string()),
        )
        .put(&SEASON.ceiling_on, ceiling.map(|(_, on)| on.word()))
        .put(&SEASON.missing_days, season.missing_days.word());
    match &season.growing_days {
        GrowingDays::Given(days) => value.put(&SEASON.growing_days, *days),
        GrowingDays::Weather(file) => value.put(&SEASON.weather, shown(file)),
        GrowingDays::Stations { list, station } => value
            .put(&SEASON.stations, shown(list))
            .put(&SEASON.station, station.clone()),
        GrowingDays::NotStated => value.put(&SEASON.growing_days, Value::Null),
    }
}

/// As the record has it.
pub(crate) fn day(date: Option<Date>) -> Option<String> {
    date.map(|date| date.to_string())
}
