//! Tables of crops and yield curves, kept as data with source and certainty.

use std::sync::LazyLock;

use super::certainty::Certainty;
use super::growing_days::BaseTemperature;
use super::methods::yield_response::YieldCurve;
use super::naming;
use super::naming::UnknownName;
use crate::units::Yield;
use serde::Deserialize;

/// Kinds of sensor that numbers are told apart by.
pub const SENSORS: &[&str] = &[
    "active",
    "passive",
    "drone camera",
    "aircraft camera",
    "satellite",
    "chlorophyll meter",
];

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
    /// Temperature above which more warmth counts no more, where one is in use. Listed; a job asks for it itself.
    #[serde(default)]
    ceiling_temperature: Option<StatedTemperature>,
    /// How growing days are usually counted for this crop.
    #[serde(default)]
    pub growing_day_rule: GrowingDayRule,
    /// Water in grain at market moisture, share of its mass: what yields and grain nitrogen are stated at.
    #[serde(default)]
    pub grain_moisture: Option<f64>,
    /// When a sensor is read for this crop.
    #[serde(default)]
    pub sensing: Option<String>,
    /// Largest coefficient of variation of the comparison swath of an even stand. \[share\]
    pub stand_cv: f64,
    /// How far the row may be trusted.
    pub certainty: Certainty,
    /// Where it comes from.
    pub source: String,
}

/// How a day's extremes become warmth.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
pub enum GrowingDayRule {
    /// The mean of both extremes, then less the base.
    #[default]
    #[serde(rename = "mean")]
    Mean,
    /// Each extreme is first held to base and ceiling, then the mean.
    #[serde(rename = "extremes")]
    Extremes,
}

impl GrowingDayRule {
    /// The word of it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Mean => "mean",
            Self::Extremes => "extremes",
        }
    }
}

impl StatedTemperature {
    fn celsius(self) -> f64 {
        match self {
            Self::Celsius(degrees) => degrees,
            Self::Fahrenheit(degrees) => (degrees - 32.0) / 1.8,
        }
    }
}

impl CropEntry {
    /// The ceiling in degrees Celsius. \[°C\]
    pub fn ceiling_celsius(&self) -> Option<f64> {
        self.ceiling_temperature.map(StatedTemperature::celsius)
    }
    /// The temperature above which the crop grows, in the unit in which it was stated.
    pub fn base_temperature(&self) -> BaseTemperature {
        match self.base_temperature {
            StatedTemperature::Celsius(degrees) => BaseTemperature::celsius(degrees),
            StatedTemperature::Fahrenheit(degrees) => BaseTemperature::fahrenheit(degrees),
        }
    }
    /// The same in degrees Celsius, for display and for settings. \[°C\]
    pub fn base_celsius(&self) -> f64 {
        self.base_temperature.celsius()
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
        YieldCurve {
            a: Yield::kg_per_ha(self.a_kg_per_ha),
            b: self.b_days,
        }
    }
}

/// A table of crops and yield curves: the shipped one, or a user's own in the same form.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CropTables {
    /// Crops.
    #[serde(default)]
    pub crop: Vec<CropEntry>,
    /// Yield curves.
    #[serde(default)]
    pub curve: Vec<CurveEntry>,
}

impl CropTables {
    /// Reads a table and looks whether its rows are possible.
    ///
    /// # Errors
    /// A sentence that tells what cannot be read, or which row is not possible.
    pub fn read(text: &str) -> Result<Self, String> {
        let tables: Self = toml::from_str(text).map_err(|error| {
            let line = error.span().map_or(0, |span| {
                text.get(..span.start).unwrap_or(text).matches('\n').count() + 1
            });
            format!(
                "line {line}: {}",
                error.message().lines().collect::<Vec<_>>().join(", ")
            )
        })?;
        for crop in &tables.crop {
            let fault = if crop.name.trim().is_empty() {
                Some("it has no name")
            } else if crop.source.trim().is_empty() {
                Some("its source is empty")
            } else if !(-5.0..=25.0).contains(&crop.base_celsius()) {
                Some("no crop's base temperature lies outside -5 to 25 °C")
            } else if crop
                .ceiling_celsius()
                .is_some_and(|ceiling| ceiling <= crop.base_celsius())
            {
                Some("its ceiling must be above its base temperature")
            } else if crop
                .grain_nitrogen
                .is_some_and(|share| !(0.003..=0.1).contains(&share))
            {
                Some("grain nitrogen is a share of grain mass, 0.003 to 0.1")
            } else if !(10.0..=100.0).contains(&crop.lb_per_bu) {
                Some("a bushel weighs 10 to 100 lb")
            } else if crop
                .grain_moisture
                .is_some_and(|share| !(0.0..0.5).contains(&share))
            {
                Some("grain moisture is a share of grain mass, 0 to 0.5")
            } else if crop
                .window_days
                .is_some_and(|(first, last)| !(first >= 0.0 && first < last))
            {
                Some("the window's first day must come before its last")
            } else if !(0.01..=2.0).contains(&crop.stand_cv) {
                Some("the coefficient of variation of a stand is a share, 0.01 to 2")
            } else {
                None
            };
            if let Some(fault) = fault {
                return Err(format!("crop \"{}\": {fault}", crop.name));
            }
        }
        for curve in &tables.curve {
            let numbers = curve.curve();
            let fault = if curve.name.trim().is_empty() {
                Some("it has no name")
            } else if curve.source.trim().is_empty() {
                Some("its source is empty")
            } else if !(numbers.a > Yield::ZERO
                && numbers.a.is_finite()
                && numbers.b > 0.0
                && numbers.b.is_finite())
            {
                Some("a_kg_per_ha and b_days must be above 0")
            } else {
                None
            };
            if let Some(fault) = fault {
                return Err(format!("curve \"{}\": {fault}", curve.name));
            }
        }
        Ok(tables)
    }

    /// Its crop of this name or alias.
    pub fn find_crop(&self, name: &str) -> Option<&CropEntry> {
        naming::find("crop", &self.crop, name, |row| {
            std::iter::once(&row.name)
                .chain(&row.aliases)
                .map(String::as_str)
                .collect()
        })
        .ok()
    }

    /// Its yield curve of this name.
    pub fn find_curve(&self, name: &str) -> Option<&CurveEntry> {
        naming::find("yield curve", &self.curve, name, |row| {
            vec![row.name.as_str()]
        })
        .ok()
    }
}

// The file is compiled in and a test parses it, so the expectation cannot fail at a user's.
static TABLES: LazyLock<CropTables> = LazyLock::new(|| {
    CropTables::read(include_str!("crops.toml")).expect("crops.toml is a valid table")
});

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
    naming::find("crop", crops(), name, |row| {
        std::iter::once(&row.name)
            .chain(&row.aliases)
            .map(String::as_str)
            .collect()
    })
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
            assert!(
                crop.grain_nitrogen
                    .is_none_or(|share| (0.005..0.05).contains(&share)),
                "{}",
                crop.name
            );
            assert!(
                (20.0..70.0).contains(&crop.lb_per_bu) && (0.0..1.0).contains(&crop.stand_cv),
                "{}",
                crop.name
            );
            assert!(
                crop.window_days.is_none_or(|(first, last)| first < last)
                    && !crop.source.is_empty()
            );
        }
        for curve in curves() {
            assert!(
                find_crop(&curve.crop).is_ok() && find_entry(&curve.index).is_some(),
                "{}",
                curve.name
            );
            assert!(
                !curve.source.is_empty() && curve.curve().a > Yield::ZERO && curve.curve().b > 0.0
            );
        }
    }

    #[test]
    fn a_table_of_ones_own_is_read_and_judged() {
        let row = "[[crop]]\nname = \"spelt\"\naliases = []\nbase_temperature = { celsius = 4.4 }\nlb_per_bu = 48.0\nstand_cv = 0.4\ncertainty = \"published\"\nsource = \"own trials\"\n";
        let tables = CropTables::read(row).unwrap();
        assert_eq!(tables.find_crop("Spelt").unwrap().lb_per_bu, 48.0);
        assert!(tables.find_crop("winter wheat").is_none() && tables.find_curve("spelt").is_none());
        let refused = |text: String| CropTables::read(&text).unwrap_err();
        assert!(refused(row.replace("celsius = 4.4", "celsius = 44.0")).contains("spelt"));
        assert!(refused(row.replace("\"own trials\"", "\"\"")).contains("source is empty"));
        assert!(refused(row.replace("stand_cv = 0.4", "stand_cv = 40.0")).contains("share"));
        assert!(refused(row.replace("stand_cv", "stand_vc")).starts_with("line "));
        assert!(
            refused(format!("{row}ceiling_temperature = {{ celsius = 4.0 }}\n"))
                .contains("ceiling")
        );
    }

    #[test]
    fn figures_of_the_crops_are_kept_with_their_kind() {
        let corn = find_crop("corn").unwrap();
        // Common practice: base 50 °F, ceiling 86 °F; market moisture 15.5 %.
        assert_eq!(
            (
                corn.ceiling_celsius(),
                corn.growing_day_rule,
                corn.grain_moisture
            ),
            (Some(30.0), GrowingDayRule::Extremes, Some(0.155))
        );
        assert!(curves().iter().all(|curve| {
            curve
                .sensor
                .as_deref()
                .is_none_or(|sensor| SENSORS.contains(&sensor))
        }));
    }

    #[test]
    fn wheat_has_the_base_in_celsius() {
        let wheat = find_crop("Wheat").unwrap();
        assert_eq!(
            (wheat.name.as_str(), wheat.base_celsius(), wheat.window_days),
            ("winter wheat", 4.4, Some((87.0, 112.0)))
        );
        assert!(
            !wheat
                .base_temperature()
                .is_below_mean_of(0, 8_800, TemperatureUnit::Celsius)
        );
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
        assert_eq!(
            (curve.curve().a.get(), curve.curve().b, curve.index.as_str()),
            (590.0, 258.2, "NDVI")
        );
        assert!(find_curve("winter wheat").is_err());
    }
}
