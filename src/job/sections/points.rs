//! `[points]`: single readings of the canopy instead of an image.

use std::path::Path;

use crate::job::keys::points::{EstimateWord, POINTS, SpeedUnit, VariogramWord};
use crate::job::problem::Problem;
use crate::job::reader::Section;
use crate::job::record::Shown;
use crate::job::sections::image::bare_below_record;
use crate::job::sections::{ground, image};
use crate::job::settings::{BareBelow, ImageSource, Imagery, PointSpread, VectorSource};
use crate::key::Record;
use crate::science::points::Model;
use crate::units::{Length, Speed};
use serde_json::{Value, json};

/// `[points]`, less what it shares with `[imagery]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Points {
    /// The file.
    pub source: VectorSource,
    /// Column of the index; absent means the one called like the index.
    pub column: Option<String>,
    /// Columns of the coordinates, x or longitude first; absent means by their usual names. A vector file needs none.
    pub place: Option<(String, String)>,
    /// System of the coordinates; absent means longitude and latitude by the columns' names, or the vector file's own.
    pub crs: Option<String>,
    /// Column of the time, by which readings are put in order.
    pub time: Option<String>,
    /// Column that tells passes apart.
    pub pass: Option<String>,
    /// Column of the speed.
    pub speed: Option<String>,
    /// Its unit, when the column's name does not say it. (metres a second in one of it)
    pub speed_unit: Option<f64>,
    /// Slower readings are dropped.
    pub minimum_speed: Option<Speed>,
    /// Faster readings are dropped.
    pub maximum_speed: Option<Speed>,
    /// Deviations from the neighbours' median beyond which a reading is dropped; 0 keeps every one.
    pub outliers: f64,
    /// Readings of a pass that follow each other within this distance are joined.
    pub join: Length,
    /// Readings that a cell needs: in it for a mean, within reach for kriging.
    pub minimum_readings: usize,
    /// How cells get their index.
    pub estimate: Estimate,
}

/// How cells get their index from readings.
#[derive(Clone, Debug, PartialEq)]
pub enum Estimate {
    /// Mean of the readings in the cell.
    Mean,
    /// Ordinary kriging of the cell's mean.
    Kriging {
        /// Variogram models to choose from.
        models: Vec<Model>,
        /// Nearest readings that an estimate rests on.
        neighbours: usize,
        /// Farthest reading of use; absent means the fitted range.
        reach: Option<Length>,
    },
}

/// Readings that a cell needs for a mean, and for kriging.
const MINIMUM: (i64, i64) = (3, 6);

/// `[points]`.
pub(crate) fn points(section: &mut Section<'_>, folder: &Path) -> Option<Imagery> {
    let source = ground::vector_table(section, &POINTS.path, folder, false);
    let date = section.find(&POINTS.date);
    let index = image::index(section);
    if section.given(&POINTS.index) && crate::science::index::find_entry(&index).is_none() {
        section.refuse(&POINTS.index, Problem::Index { reason: "readings hold a finished index: name it as the catalogue does, such as \"NDVI\"".to_owned() });
    }
    let column = section.find(&POINTS.column);
    let (x, y) = (section.find(&POINTS.x), section.find(&POINTS.y));
    if x.is_some() != y.is_some() {
        section.refuse(
            if x.is_some() { &POINTS.x } else { &POINTS.y },
            Problem::NoneOf {
                keys: vec![if x.is_some() {
                    POINTS.y.name.to_owned()
                } else {
                    POINTS.x.name.to_owned()
                }],
                example: "x = \"lon\", y = \"lat\"",
            },
        );
    }
    let crs = section.find(&POINTS.crs);
    let (time, pass, speed) = (
        section.find(&POINTS.time),
        section.find(&POINTS.pass),
        section.find(&POINTS.speed),
    );
    let speed_unit = section.find(&POINTS.speed_unit).map(in_metres_per_second);
    let minimum_speed = section.find(&POINTS.minimum_speed);
    let maximum_speed = section.find(&POINTS.maximum_speed);
    for (key, given) in [
        (&*POINTS.speed_unit, speed_unit.is_some()),
        (&*POINTS.minimum_speed, minimum_speed.is_some()),
        (&*POINTS.maximum_speed, maximum_speed.is_some()),
    ] {
        if given && speed.is_none() {
            section.refuse(
                key,
                Problem::NoneOf {
                    keys: vec![POINTS.speed.name.to_owned()],
                    example: "speed = \"speed (km/h)\"",
                },
            );
        }
    }
    if let (Some(minimum), Some(maximum)) = (minimum_speed, maximum_speed)
        && minimum >= maximum
    {
        section.refuse(
            &POINTS.maximum_speed,
            ground::range(
                &maximum,
                &minimum.to_string(),
                "any speed",
                "readings are taken between minimum_speed and it",
            ),
        );
    }
    let scale = section.find(&POINTS.scale);
    if scale == Some(0.0) {
        section.refuse(
            &POINTS.scale,
            Problem::Zero {
                text: "0".to_owned(),
                what: "the scale",
            },
        );
    }
    let offset = section.find(&POINTS.offset);
    let bare_below = section
        .find(&POINTS.bare_below)
        .map_or(BareBelow::OfIndex, BareBelow::Value);
    let sensor = image::sensor(section);
    let outliers = section.get(&POINTS.outliers);
    let join = section.get(&POINTS.join);

    let kriging = section.get(&POINTS.estimate) == EstimateWord::Kriging;
    let minimum = section
        .find(&POINTS.minimum_readings)
        .unwrap_or(if kriging { MINIMUM.1 } else { MINIMUM.0 });
    let estimate = estimate(section, kriging, minimum);
    let source = ImageSource::Points(Box::new(Points {
        source: source?,
        column,
        place: x.zip(y),
        crs,
        time,
        pass,
        speed,
        speed_unit,
        minimum_speed,
        maximum_speed,
        outliers,
        join,
        minimum_readings: minimum.unsigned_abs() as usize,
        estimate,
    }));
    Some(Imagery {
        source,
        date: date?,
        index,
        bands: Vec::new(),
        scale,
        offset,
        nodata: None,
        bare_below,
        pixel_inside: 0.9,
        minimum_seen: 0.3,
        point_spread: PointSpread::Given(0.0),
        mask: None,
        sensor,
    })
}

/// A unit of speed in metres a second.
const fn in_metres_per_second(unit: SpeedUnit) -> f64 {
    match unit {
        SpeedUnit::MetresPerSecond => 1.0,
        SpeedUnit::KilometresPerHour => 1.0 / 3.6,
        SpeedUnit::MilesPerHour => 0.447_04,
        SpeedUnit::Knots => 1852.0 / 3600.0,
    }
}

/// How cells get their index.
fn estimate(section: &mut Section<'_>, kriging: bool, minimum: i64) -> Estimate {
    let both = vec![Model::Spherical, Model::Exponential];
    let model = section.find(&POINTS.variogram);
    let neighbours = section.find(&POINTS.neighbours);
    let reach = section.find(&POINTS.reach);
    if !kriging {
        for (key, given) in [
            (&*POINTS.variogram, model.is_some()),
            (&*POINTS.neighbours, neighbours.is_some()),
            (&*POINTS.reach, reach.is_some()),
        ] {
            if given {
                section.refuse(
                    key,
                    Problem::NoneOf {
                        keys: vec![POINTS.estimate.name.to_owned()],
                        example: "estimate = \"kriging\"",
                    },
                );
            }
        }
        return Estimate::Mean;
    }
    let neighbours = neighbours.unwrap_or(24);
    if minimum > neighbours {
        section.refuse(
            &POINTS.minimum_readings,
            ground::range(
                &minimum,
                "1",
                &neighbours.to_string(),
                "no more than neighbours are ever used",
            ),
        );
    }
    let models = match model {
        Some(VariogramWord::Spherical) => vec![Model::Spherical],
        Some(VariogramWord::Exponential) => vec![Model::Exponential],
        _ => both,
    };
    Estimate::Kriging {
        models,
        neighbours: neighbours.unsigned_abs() as usize,
        reach,
    }
}

/// As the record has it.
pub(crate) fn points_record(imagery: &Imagery, rule: &Points, shown: Shown<'_>) -> Value {
    let place = rule.place.clone().unzip();
    let value = Record::new()
        .put(&POINTS.path, shown(&rule.source.path))
        .put(&POINTS.layer, rule.source.layer.clone())
        .put(&POINTS.r#where, rule.source.filter.clone())
        .put(&POINTS.date, imagery.date.to_string())
        .put(&POINTS.index, imagery.index.clone())
        .put(&POINTS.column, rule.column.clone())
        .put(&POINTS.x, place.0)
        .put(&POINTS.y, place.1)
        .put(&POINTS.crs, rule.crs.clone())
        .put(&POINTS.time, rule.time.clone())
        .put(&POINTS.pass, rule.pass.clone())
        .put(&POINTS.speed, rule.speed.clone())
        .put(&POINTS.speed_unit, rule.speed_unit)
        .put(&POINTS.minimum_speed, rule.minimum_speed.map(Speed::get))
        .put(&POINTS.maximum_speed, rule.maximum_speed.map(Speed::get))
        .put(&POINTS.scale, imagery.scale)
        .put(&POINTS.offset, imagery.offset)
        .put(&POINTS.bare_below, bare_below_record(imagery.bare_below))
        .put(&POINTS.sensor, imagery.sensor.clone())
        .put(&POINTS.outliers, rule.outliers)
        .put(&POINTS.join, rule.join.get())
        .put(&POINTS.minimum_readings, rule.minimum_readings);
    match &rule.estimate {
        Estimate::Mean => value.put(&POINTS.estimate, EstimateWord::Mean.word()),
        Estimate::Kriging {
            models,
            neighbours,
            reach,
        } => value
            .put(&POINTS.estimate, EstimateWord::Kriging.word())
            .put(
                &POINTS.variogram,
                models.iter().map(|model| model.word()).collect::<Vec<_>>(),
            )
            .put(&POINTS.neighbours, *neighbours)
            .put(
                &POINTS.reach,
                reach.map_or_else(
                    || json!("range of the variogram"),
                    |reach| json!(reach.get()),
                ),
            ),
    }
    .value()
}
