//! The header of a weather file: which column is what, in which unit.

use std::path::Path;

use crate::format::weather::TemperatureScale;
use crate::format::weather::error::WeatherError;

/// Positions of the columns and their unit.
#[derive(Debug)]
pub(crate) struct Columns {
    pub(crate) date: usize,
    pub(crate) tmin: usize,
    pub(crate) tmin_name: String,
    pub(crate) tmax: usize,
    pub(crate) tmax_name: String,
    pub(crate) scale: TemperatureScale,
}

const DATE: &[&str] = &["date", "day", "datum"];
const MINIMUM: &[&str] = &[
    "tmin",
    "mintemp",
    "tempmin",
    "mintemperature",
    "temperaturemin",
    "minimumtemperature",
    "airtempmin",
    "tn",
    "tmn",
    "low",
];
const MAXIMUM: &[&str] = &[
    "tmax",
    "maxtemp",
    "tempmax",
    "maxtemperature",
    "temperaturemax",
    "maximumtemperature",
    "airtempmax",
    "tx",
    "tmx",
    "high",
];

/// Splits a name into its folded stem and the unit at its end: `tmin (°C)`, `Tmin [F]`, `tmin_c`, `TMIN C`, `tmin_degC`.
fn split(name: &str) -> (String, String) {
    let lower = name.trim().to_lowercase();
    let bracketed = lower.find(['(', '[']).map(|at| {
        let (stem, rest) = lower.split_at(at);
        (
            stem.to_owned(),
            rest.trim_matches(['(', ')', '[', ']', ' ']).to_owned(),
        )
    });
    let (stem, unit) =
        bracketed.unwrap_or_else(|| match lower.rsplit_once(['_', ' ', ',', '-', '.']) {
            Some((stem, unit)) if !["min", "max", "temp", "temperature"].contains(&unit) => {
                (stem.to_owned(), unit.to_owned())
            }
            _ => (lower.clone(), String::new()),
        });
    (
        stem.chars().filter(|c| c.is_alphanumeric()).collect(),
        unit.trim().to_owned(),
    )
}

fn scale(unit: &str) -> Option<TemperatureScale> {
    let plain: String = unit.chars().filter(|c| c.is_alphabetic()).collect();
    match plain
        .trim_start_matches("deg")
        .trim_start_matches("rees")
        .trim_start_matches("ree")
    {
        "c" | "celsius" => Some(TemperatureScale::Celsius),
        "f" | "fahrenheit" => Some(TemperatureScale::Fahrenheit),
        _ => None,
    }
}

pub(crate) fn columns(header: &csv::StringRecord, path: &Path) -> Result<Columns, WeatherError> {
    let date = find(header, path, "date", DATE)?;
    let tmin = find(header, path, "tmin", MINIMUM)?;
    let tmax = find(header, path, "tmax", MAXIMUM)?;
    let name = |at: usize| header.get(at).unwrap_or("").to_owned();
    let unit = |at: usize| {
        let (_, unit) = split(&name(at));
        if unit.is_empty() {
            return Err(WeatherError::NoUnit {
                path: path.to_owned(),
                column: name(at),
            });
        }
        scale(&unit).ok_or_else(|| WeatherError::UnknownUnit {
            path: path.to_owned(),
            column: name(at),
            unit,
        })
    };
    let (minimum, maximum) = (unit(tmin)?, unit(tmax)?);
    if minimum != maximum {
        return Err(WeatherError::MixedUnits {
            path: path.to_owned(),
            tmin: name(tmin),
            tmax: name(tmax),
        });
    }
    Ok(Columns {
        date,
        tmin,
        tmin_name: name(tmin),
        tmax,
        tmax_name: name(tmax),
        scale: minimum,
    })
}

/// The one column whose name is one of `names`.
fn find(
    header: &csv::StringRecord,
    path: &Path,
    requirement: &'static str,
    names: &[&str],
) -> Result<usize, WeatherError> {
    let whole = |name: &str| {
        name.to_lowercase()
            .chars()
            .filter(|c| c.is_alphanumeric())
            .collect::<String>()
    };
    let mut hits = header.iter().enumerate().filter(|(_, name)| {
        names.contains(&split(name).0.as_str()) || names.contains(&whole(name).as_str())
    });
    match (hits.next(), hits.next()) {
        (Some((at, _)), None) => Ok(at),
        (Some((_, one)), Some((_, other))) => Err(WeatherError::TwoColumns {
            path: path.to_owned(),
            requirement,
            one: one.to_owned(),
            other: other.to_owned(),
        }),
        (None, _) => Err(WeatherError::NoColumn {
            path: path.to_owned(),
            requirement,
            found: header.iter().collect::<Vec<_>>().join(", "),
        }),
    }
}
