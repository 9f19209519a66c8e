//! `[season]`, `[crop]` and `[response]`: the crop, its season and the yield-response method.

use std::path::{Path, PathBuf};

use crate::job::amount;
use crate::job::amount::Temperature;
use crate::job::keys::response::Seen;
use crate::job::keys::{CROP, RESPONSE, SEASON};
use crate::job::problem::Problem;
use crate::job::reader::{Entry, Item, Section};
use crate::job::resolve::ReadFile;
use crate::job::sections::ground;
use crate::job::settings::{
    Crop, GrowingDays, MaximumRatio, MissingDayRule, Season, YieldCurve, YieldSettings,
};
use crate::job::suggest::nearest;
use crate::job::tables;
use crate::job::tables::NamedCurve;
use crate::key::Key;
use crate::science::crop::CropTables;
use crate::science::degree_days::{CeilingOn, DayRule, GrowingRule};
use crate::science::growing_days::BaseTemperature;
use crate::science::methods::yield_response::{KEYS as METHOD, RATIO_ADJUSTMENT, YIELD_CURVE};
use crate::science::naming::UnknownName;
use jiff::civil::Date;

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
fn unknown_name(unknown: UnknownName, what: &'static str, known: Vec<String>) -> Problem {
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
                        wanted: "two numbers: [87, 112]".into(),
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

/// A yield curve and, for a shipped one, its name and crop.
pub(crate) enum Curve {
    /// From the shipped table.
    Named(NamedCurve),
    /// The job's own.
    Own(YieldCurve),
}

/// Name and bushel of the job's crop, where both can be read; whatever is wrong with them is told where the crop itself is read.
pub(crate) fn bushel_of(
    season: &Section<'_>,
    own: &Section<'_>,
    personal: &CropTables,
) -> Option<(String, f64)> {
    let text = |section: &Section<'_>, key: &Key| match section.peek(key) {
        Some(Item::Text(text)) => Some(text.clone()),
        _ => None,
    };
    if own.is_present() {
        let lb = amount::bushel(&text(own, &CROP.bushel)?).ok()?;
        return Some((
            text(own, &CROP.name).or_else(|| text(season, &SEASON.crop))?,
            lb,
        ));
    }
    let crop = tables::find_crop(&text(season, &SEASON.crop)?, personal).ok()?;
    Some((crop.name, crop.lb_per_bu?))
}

/// `response.yield_curve`: a shipped curve's name or the job's own table. `bushel` is that of the job's crop.
pub(crate) fn curve(
    section: &mut Section<'_>,
    personal: &CropTables,
    bushel: Option<(String, f64)>,
) -> Option<Curve> {
    let entry = section.take(&METHOD.yield_curve);
    let known = tables::curve_names();
    let first = known.first().map_or(
        "{ a = \"590 kg/ha\", b = 258.2, index = \"NDVI\", source = \"common practice\" }"
            .to_owned(),
        |name| format!("\"{name}\""),
    );
    section.require_like(&METHOD.yield_curve, METHOD.yield_curve.noun, &first);
    let entry = entry?;
    if let Item::Table(_) = &entry.item {
        return own_curve(section, &entry, bushel).map(Curve::Own);
    }
    let name = section.text_of(&entry, &METHOD.yield_curve)?;
    let refuse = |unknown| {
        section.at(
            &entry,
            &METHOD.yield_curve,
            unknown_name(unknown, "yield curve", tables::curve_names()),
        );
    };
    tables::find_curve(&name, personal)
        .map(Curve::Named)
        .map_err(refuse)
        .ok()
}

fn own_curve(
    section: &Section<'_>,
    entry: &Entry,
    bushel: Option<(String, f64)>,
) -> Option<YieldCurve> {
    let mut table = section.sub(entry, &METHOD.yield_curve)?;
    let (crop, lb) = bushel.map_or(("this crop".to_owned(), None), |(crop, lb)| {
        (crop, Some(lb))
    });
    let a = table.amount_within(&YIELD_CURVE.a, |text| amount::grain_yield(text, &crop, lb));
    let b = table.find(&YIELD_CURVE.b);
    let index = table.find(&YIELD_CURVE.index);
    let region = table.find(&YIELD_CURVE.region);
    let sensor = table.find(&YIELD_CURVE.sensor);
    let source = table.find(&YIELD_CURVE.source);
    table.finish();
    Some(YieldCurve {
        a: a?,
        b: b?,
        index: tables::index_name(&index?),
        region,
        sensor,
        source: source?,
    })
}

/// `[response]` of the yield-response method, its curve read before.
pub(crate) fn response(
    section: &mut Section<'_>,
    crop: Option<&Crop>,
    curve: Option<Curve>,
) -> Option<YieldSettings> {
    let (name, lb) = crop.map_or(("this crop", None), |crop| {
        (crop.name.as_str(), crop.lb_per_bu)
    });
    let maximum_yield = section.amount(&METHOD.maximum_yield, |text| {
        match amount::grain_yield(text, name, lb) {
            // Bushels of a crop that could not be read are no second fault.
            Err(Problem::NoBushel { .. }) if crop.is_none() => Ok(None),
            Err(problem) => Err(problem),
            Ok(value) => Ok(Some(value)),
        }
    });
    let maximum_yield = maximum_yield.flatten();
    section.hold(&METHOD.maximum_yield, maximum_yield.as_ref(), |text| {
        amount::grain_yield(text, name, lb)
    });
    let ratio_adjustment = section
        .sub_at(&METHOD.ratio_adjustment)
        .and_then(|mut table| {
            let slope = table.find(&RATIO_ADJUSTMENT.slope);
            let intercept = table.find(&RATIO_ADJUSTMENT.intercept);
            table.finish();
            slope.zip(intercept)
        });
    // No change is no adjustment, so that the record says "raw" then.
    let ratio_adjustment = ratio_adjustment.filter(|pair| *pair != (1.0, 0.0));
    let dead_band = section.get(&METHOD.dead_band);
    let grain_nitrogen = section.find(&METHOD.grain_nitrogen);
    // Where the table confirms no figure and the job gives none, none is made up.
    if crop.is_some_and(|crop| crop.grain_nitrogen.is_none()) {
        section.require_as(
            &METHOD.grain_nitrogen,
            "the grain's nitrogen as a share of its mass, of which no figure is confirmed for this crop,",
        );
    }
    let use_efficiency = section.get(&METHOD.use_efficiency);
    let curve = match curve? {
        Curve::Own(curve) => curve,
        Curve::Named(named) => {
            if let Some(crop) = crop.filter(|crop| !crop.name.eq_ignore_ascii_case(&named.crop)) {
                section.refuse(
                    &METHOD.yield_curve,
                    Problem::CurveCrop {
                        curve: named.name,
                        fitted: named.crop,
                        crop: crop.name.clone(),
                    },
                );
            }
            named.curve
        }
    };
    Some(YieldSettings {
        maximum_yield: maximum_yield?,
        curve,
        ratio_adjustment,
        dead_band,
        grain_nitrogen: grain_nitrogen.or_else(|| crop.and_then(|crop| crop.grain_nitrogen))?,
        use_efficiency,
    })
}

/// `response.maximum_ratio`: the greatest response index that counts; what the strip's answer allows when it is not stated.
pub(crate) fn maximum_ratio(section: &mut Section<'_>) -> MaximumRatio {
    let default = MaximumRatio::ByAnswer;
    let key = &RESPONSE.maximum_ratio;
    let Some(entry) = section.take(key) else {
        return default;
    };
    if let Item::Text(_) = entry.item {
        return section
            .word_of::<Seen>(&entry, key)
            .map_or(default, |_| MaximumRatio::Seen);
    }
    let Some(number) = section.number_of(&entry, key) else {
        return default;
    };
    let read = |text: &str| text.parse().map_err(|_| Problem::Open);
    let bounds = section.row(key).and_then(|row| row.bounds);
    // 1 itself is no bound that is allowed.
    if let Some(bounds) = bounds
        && (number <= 1.0 || !section.is_within(key, &number, read))
    {
        let problem = ground::range(&number, "just above 1", bounds.high, bounds.why);
        section.at(&entry, key, problem);
    }
    MaximumRatio::Value(number)
}
