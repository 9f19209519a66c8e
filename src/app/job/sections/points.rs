//! `[points]`: single readings of the canopy instead of an image.

use std::path::Path;

use crate::app::job::sections::{ground, image};
use crate::job::amount;
use crate::job::problem::Problem;
use crate::job::reader::Section;
use crate::job::settings::points::{Estimate, Points};
use crate::job::settings::{BareBelow, ImageSource, Imagery, PointSpread};
use crate::science::points::Model;

/// Readings that a cell needs for a mean, and for kriging.
const LEAST: (i64, i64) = (3, 6);

/// `[points]`.
pub(crate) fn points(section: &mut Section<'_>, folder: &Path) -> Option<Imagery> {
    let source = ground::vector_table(section, "path", folder, false);
    let date = section.date("date");
    section.require("date");
    let index = image::index(section);
    if section.given("index") && crate::science::index::find_entry(&index).is_none() {
        section.refuse("index", Problem::Index { reason: "readings hold a finished index: name it as the catalogue does, such as \"NDVI\"".to_owned() });
    }
    let column = section.text("column");
    let (x, y) = (section.text("x"), section.text("y"));
    if x.is_some() != y.is_some() {
        section.refuse(
            if x.is_some() { "x" } else { "y" },
            Problem::NoneOf {
                keys: vec![if x.is_some() { "y" } else { "x" }],
                example: "x = \"lon\", y = \"lat\"",
            },
        );
    }
    let crs = section.text("crs");
    let (time, pass, speed) = (
        section.text("time"),
        section.text("pass"),
        section.text("speed"),
    );
    let units = [
        ("m/s", 1.0),
        ("km/h", 1.0 / 3.6),
        ("mph", 0.447_04),
        ("kn", 1852.0 / 3600.0),
    ];
    let speed_unit = section.choice("speed_unit", &units);
    let minimum_speed = section.amount("minimum_speed", amount::speed);
    let maximum_speed = section.amount("maximum_speed", amount::speed);
    for (key, given) in [
        ("speed_unit", speed_unit.is_some()),
        ("minimum_speed", minimum_speed.is_some()),
        ("maximum_speed", maximum_speed.is_some()),
    ] {
        if given && speed.is_none() {
            section.refuse(
                key,
                Problem::NoneOf {
                    keys: vec!["speed"],
                    example: "speed = \"speed (km/h)\"",
                },
            );
        }
    }
    if let (Some(least), Some(greatest)) = (minimum_speed, maximum_speed)
        && least >= greatest
    {
        section.refuse(
            "maximum_speed",
            ground::range(
                &greatest,
                &least.to_string(),
                "any speed",
                "readings are taken between minimum_speed and it",
            ),
        );
    }
    let scale = section.number("scale");
    if scale == Some(0.0) {
        section.refuse(
            "scale",
            Problem::Zero {
                text: "0".to_owned(),
                what: "the scale",
            },
        );
    }
    let offset = section.number("offset");
    let bare_below = section
        .number("bare_below")
        .map_or(BareBelow::OfIndex, BareBelow::Value);
    let sensor = image::sensor(section);
    let outliers = section.number_or("outliers");
    let join = section.amount_or("join", amount::length);

    let kriging = section.choice("estimate", &[("mean", false), ("kriging", true)])?;
    let least =
        section
            .whole("minimum_readings")
            .unwrap_or(if kriging { LEAST.1 } else { LEAST.0 });
    let estimate = estimate(section, kriging, least);
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
        minimum_readings: least.unsigned_abs() as usize,
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

/// How cells get their index.
fn estimate(section: &mut Section<'_>, kriging: bool, least: i64) -> Estimate {
    let both = vec![Model::Spherical, Model::Exponential];
    let words: [(&str, usize); 3] = [("best", 0), ("spherical", 1), ("exponential", 2)];
    let model = section.choice("variogram", &words);
    let neighbours = section.whole("neighbours");
    let reach = section.amount_within("reach", amount::length);
    if !kriging {
        for (key, given) in [
            ("variogram", model.is_some()),
            ("neighbours", neighbours.is_some()),
            ("reach", reach.is_some()),
        ] {
            if given {
                section.refuse(
                    key,
                    Problem::NoneOf {
                        keys: vec!["estimate"],
                        example: "estimate = \"kriging\"",
                    },
                );
            }
        }
        return Estimate::Mean;
    }
    let neighbours = neighbours.unwrap_or(24);
    if least > neighbours {
        section.refuse(
            "minimum_readings",
            ground::range(
                &least,
                "1",
                &neighbours.to_string(),
                "no more than neighbours are ever used",
            ),
        );
    }
    let models = match model {
        Some(1) => vec![Model::Spherical],
        Some(2) => vec![Model::Exponential],
        _ => both,
    };
    Estimate::Kriging {
        models,
        neighbours: neighbours.unsigned_abs() as usize,
        reach,
    }
}
