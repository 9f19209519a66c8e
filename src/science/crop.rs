//! Tables of crops and yield curves, kept as data with source and certainty.

use std::sync::LazyLock;

use super::growing_days::BaseTemperature;
use super::naming;
use super::naming::UnknownName;
use super::yield_response::YieldCurve;
use crate::units::Yield;
use serde::Deserialize;

/// How far a row may be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
pub enum Certainty {
    /// Read in the named source.
    #[serde(rename = "published")]
    Published,
    /// What the trade does; no source.
    #[serde(rename = "common practice")]
    CommonPractice,
    /// Not confirmed.
    #[serde(rename = "from memory")]
    FromMemory,
}

impl Certainty {
    /// The words of it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Published => "published",
            Self::CommonPractice => "common practice",
            Self::FromMemory => "from memory",
        }
    }
}

/// Kinds of sensor that numbers are told apart by.
pub const SENSORS: &[&str] = &["active", "passive", "drone camera", "aircraft camera", "satellite", "chlorophyll meter"];

/// A temperature in the unit in which it was stated.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "lowercase")]
enum StatedTemperature {
    Celsius(f64),
    Fahrenheit(f64),
}

/// One crop.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CropEntry {
    /// Name.
    pub name: String,
    /// Other names.
    pub aliases: Vec<String>,
    base_temperature: StatedTemperature,
    /// Grain nitrogen, share of grain mass at market moisture; `None` where no figure is confirmed.
    #[serde(default)]
    pub grain_nitrogen: Option<f64>,
    /// Pounds in a bushel. \[lb/bu\]
    pub lb_per_bu: f64,
    /// Growing days between which a curve is trusted. \[d\]
    #[serde(default)]
    pub window_days: Option<(f64, f64)>,
    /// Largest coefficient of variation of the comparison swath of an even stand. \[share\]
    pub stand_cv: f64,
    /// How far the row may be trusted.
    pub certainty: Certainty,
    /// Where it comes from.
    pub source: String,
}

impl CropEntry {
    /// The temperature above which the crop grows, in the unit in which it was stated.
    pub fn base_temperature(&self) -> BaseTemperature {
        match self.base_temperature {
            StatedTemperature::Celsius(degrees) => BaseTemperature::celsius(degrees),
            StatedTemperature::Fahrenheit(degrees) => BaseTemperature::fahrenheit(degrees),
        }
    }
    /// The same in degrees Celsius, for display and for settings. \[°C\]
    pub fn base_celsius(&self) -> f64 {
        match self.base_temperature {
            StatedTemperature::Celsius(degrees) => degrees,
            StatedTemperature::Fahrenheit(degrees) => (degrees - 32.0) / 1.8,
        }
    }
}

/// One yield curve.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CurveEntry {
    /// Name.
    pub name: String,
    /// Crop.
    pub crop: String,
    a_kg_per_ha: f64,
    b_days: f64,
    /// Index that it was fitted with, by its catalogue name.
    pub index: String,
    /// Region that it was fitted in, when the source says so.
    #[serde(default)]
    pub region: Option<String>,
    /// Sensor kind, when the source says so.
    #[serde(default)]
    pub sensor: Option<String>,
    /// In-season estimates I / D between which it may be used. \[1/d\]
    #[serde(default)]
    pub estimate_range: Option<(f64, f64)>,
    /// Growing days between which it may be used. \[d\]
    #[serde(default)]
    pub growing_days_range: Option<(f64, f64)>,
    /// How far the row may be trusted.
    pub certainty: Certainty,
    /// Where it comes from.
    pub source: String,
}

impl CurveEntry {
    /// Its numbers.
    pub const fn curve(&self) -> YieldCurve {
        YieldCurve { a: Yield::kg_per_ha(self.a_kg_per_ha), b: self.b_days }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Tables {
    crop: Vec<CropEntry>,
    curve: Vec<CurveEntry>,
}

// The file is compiled in and a test parses it, so the expectation cannot fail at a user's.
static TABLES: LazyLock<Tables> = LazyLock::new(|| toml::from_str(include_str!("crops.toml")).expect("crops.toml is a valid table"));

/// Every crop of the table.
pub fn crops() -> &'static [CropEntry] {
    &TABLES.crop
}

/// Every yield curve of the table.
pub fn curves() -> &'static [CurveEntry] {
    &TABLES.curve
}

/// The crop of this name or alias.
///
/// # Errors
/// When the table has none; the nearest name is told.
pub fn find_crop(name: &str) -> Result<&'static CropEntry, UnknownName> {
    naming::find("crop", crops(), name, |row| std::iter::once(&row.name).chain(&row.aliases).map(String::as_str).collect())
}

/// The yield curve of this name.
///
/// # Errors
/// When the table has none; the nearest name is told.
pub fn find_curve(name: &str) -> Result<&'static CurveEntry, UnknownName> {
    naming::find("yield curve", curves(), name, |row| vec![row.name.as_str()])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::science::growing_days::TemperatureUnit;
    use crate::science::index::find_entry;

    #[test]
    fn rows_are_possible_and_sourced() {
        for crop in crops() {
            assert!(crop.grain_nitrogen.is_none_or(|share| (0.005..0.05).contains(&share)), "{}", crop.name);
            assert!((20.0..70.0).contains(&crop.lb_per_bu) && (0.0..1.0).contains(&crop.stand_cv), "{}", crop.name);
            assert!(crop.window_days.is_none_or(|(first, last)| first < last) && !crop.source.is_empty());
        }
        for curve in curves() {
            assert!(find_crop(&curve.crop).is_ok() && find_entry(&curve.index).is_some(), "{}", curve.name);
            assert!(!curve.source.is_empty() && curve.curve().a > Yield::ZERO && curve.curve().b > 0.0);
        }
    }

    #[test]
    fn wheat_has_the_base_in_celsius() {
        let wheat = find_crop("Wheat").unwrap();
        assert_eq!((wheat.name.as_str(), wheat.base_celsius(), wheat.window_days), ("winter wheat", 4.4, Some((87.0, 112.0))));
        assert!(!wheat.base_temperature().is_below_mean_of(0, 8_800, TemperatureUnit::Celsius));
    }

    #[test]
    fn names_are_found_and_hinted() {
        assert_eq!(find_crop("Maize").unwrap().name, "corn");
        assert_eq!(find_crop("winter-wheat").unwrap().name, "winter wheat");
        let error = find_crop("winter weat").unwrap_err();
        assert_eq!(error.nearest.as_deref(), Some("winter wheat"));
        assert!(error.to_string().starts_with("there is no crop winter weat (did you mean winter wheat?); known are: winter wheat; spring wheat;"));
        assert_eq!(find_crop("quinoa").unwrap_err().nearest, None);
        let curve = find_curve("winter wheat common practice").unwrap();
        assert_eq!((curve.curve().a.get(), curve.curve().b, curve.index.as_str()), (590.0, 258.2, "NDVI"));
        assert!(find_curve("winter wheat").is_err());
    }
}
