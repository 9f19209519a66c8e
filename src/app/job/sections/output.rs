//! `[application]`, `[[accept]]` and `[output]`.

use std::collections::BTreeSet;

use std::path::Path;

use crate::finding::{Acceptance, Code, Severity, codes};
use crate::job::keys::Key;
use crate::job::problem::Problem;
use crate::job::reader::{Item, Section};
use crate::job::settings::{Application, Format, Output};
use crate::job::suggest::nearest;
use crate::job::unit;
use crate::job::unit::Measure;
use crate::map::task_options::{TaskKind, TaskOptions, TaskVersion};
use crate::units::{Product, RateUnit};
use jiff::civil::Date;

/// `[application]`.
pub(crate) fn application(section: &mut Section<'_>, sensed: Option<Date>) -> Application {
    let date = section.date("date");
    let maximum_image_age = section.whole_or("maximum_image_age") as i32;
    if let (Some(date), Some(sensed)) = (date, sensed)
        && date < sensed
    {
        let problem = Problem::DateOrder {
            earlier_key: "sensing",
            earlier: sensed.to_string(),
            later_key: "application.date",
            later: date.to_string(),
        };
        section.refuse("date", problem);
    }
    Application {
        date,
        maximum_image_age,
    }
}

/// `[[accept]]`.
pub(crate) fn accept(root: &mut Section<'_>) -> Vec<(String, Acceptance)> {
    let mut all: Vec<(String, Acceptance)> = Vec::new();
    let mut known = BTreeSet::new();
    for mut table in root.tables("accept") {
        let code = table.text("code");
        table.require("code");
        if let Some(problem) = code.as_deref().and_then(not_acceptable) {
            table.refuse("code", problem);
        }
        let figure = table.text("figure");
        let reason = table.text("reason");
        table.require("reason");
        let by = table.text("by");
        table.require("by");
        if let Some(code) = code.as_ref().filter(|code| !known.insert((*code).clone())) {
            table.refuse(
                "code",
                Problem::Twice {
                    what: format!("the acceptance of {code}"),
                },
            );
        }
        table.finish();
        if let (Some(code), Some(reason), Some(by)) = (code, reason, by) {
            all.push((code, Acceptance { figure, reason, by }));
        }
    }
    all
}

/// Why a code cannot be accepted: no finding has it, or none of its findings ever stops a run on a job.
fn not_acceptable(code: &str) -> Option<Problem> {
    let acceptable = || {
        codes::all()
            .filter(|code| code.can_be_accepted())
            .map(Code::word)
    };
    let known = codes::find(code);
    if known.is_some_and(Code::can_be_accepted) {
        return None;
    }
    Some(Problem::Acceptance {
        code: code.to_owned(),
        why: match known {
            None => "is not the code of a finding",
            Some(code) if code.may_stop() => "is found by the check of a map, not by a job",
            Some(code) if code.weights().contains(&Severity::Caution) => {
                "is a caution and never stops"
            }
            Some(_) => "is a note and never stops",
        },
        // Another stop is no likely meaning of a code that exists.
        near: nearest(code, acceptable())
            .filter(|_| known.is_none())
            .map(str::to_owned),
        known: acceptable().collect(),
    })
}

const UNITS: &[(&str, RateUnit)] = &[
    ("kg/ha", RateUnit::KgPerHa),
    ("L/ha", RateUnit::LPerHa),
    ("lb/ac", RateUnit::LbPerAc),
    ("gal/ac", RateUnit::GalPerAc),
];

const FORMATS: &[(&str, Format)] = &[
    ("geopackage", Format::GeoPackage),
    ("geojson", Format::GeoJson),
    ("shapefile", Format::Shapefile),
    ("geotiff", Format::GeoTiff),
    ("iso11783", Format::Iso11783),
    ("kml", Format::Kml),
    ("flatgeobuf", Format::FlatGeobuf),
];

const TASK_VERSIONS: &[(&str, TaskVersion)] = &[("3.3", TaskVersion::V3), ("4.3", TaskVersion::V4)];

const TASK_KINDS: &[(&str, TaskKind)] = &[
    ("grid", TaskKind::Grid),
    ("zones", TaskKind::Zones),
    ("polygons", TaskKind::Polygons),
];

/// Short names that people type for a format, as the suggestion to make.
const SHORT_NAMES: &[(&str, &str)] = &[
    ("gpkg", "geopackage"),
    ("json", "geojson"),
    ("shp", "shapefile"),
    ("esri shapefile", "shapefile"),
    ("tif", "geotiff"),
    ("tiff", "geotiff"),
    ("cog", "geotiff"),
    ("iso", "iso11783"),
    ("isoxml", "iso11783"),
    ("isobus", "iso11783"),
    ("taskdata", "iso11783"),
    ("iso 11783-10", "iso11783"),
    ("iso11783-10", "iso11783"),
    ("kmz", "kml"),
    ("fgb", "flatgeobuf"),
];

/// Unit of the product column and whether people's numbers are in US units.
pub(crate) fn rate_unit(
    section: &mut Section<'_>,
    product: Option<&Product>,
    us: bool,
) -> (RateUnit, bool) {
    let liquid = product.is_some_and(Product::is_liquid);
    let default = match (us, liquid) {
        (false, false) => RateUnit::KgPerHa,
        (false, true) => RateUnit::LPerHa,
        (true, false) => RateUnit::LbPerAc,
        (true, true) => RateUnit::GalPerAc,
    };
    let Some(unit) = section.take("unit").and_then(|entry| {
        // Any spelling that an amount may have.
        let spelt = if let Item::Text(text) = &entry.item { unit::read(text).ok() } else { None };
        // Nitrogen and product differ by a factor of 2 to 4: who asks for the one must not get the other.
        if let (Some(spelt), Some(product)) = (spelt.filter(|unit| unit.measure == Measure::NitrogenRate), product) {
            let problem = Problem::Disagree {
                one: format!("output.unit (\"{}\", nitrogen)", format_args!("{} N/{}", spelt.above, spelt.below)),
                other: format!("product.name (\"{}\")", product.name()),
                way_out: "machine files carry the product: write its unit, such as \"kg/ha\", or take [product] out for a map in nitrogen",
            };
            section.at(&entry, "unit", problem);
            return None;
        }
        let label = spelt.map(|unit| format!("{}/{}", unit.above, unit.below));
        let known = UNITS.iter().find(|(word, _)| Some(*word) == label.as_deref()).map(|(_, unit)| *unit);
        known.or_else(|| section.choice_of(&entry, "unit", UNITS))
    }) else {
        return (default, us);
    };
    if unit.is_volume() && !liquid {
        let amount = unit.label().to_owned();
        let problem = match product {
            Some(product) => Problem::NoDensity {
                amount,
                product: product.name().to_owned(),
            },
            None => Problem::NoProduct { amount },
        };
        section.refuse("unit", problem);
    }
    (unit, unit.is_us())
}

/// `[output]`.
pub(crate) fn output(
    section: &mut Section<'_>,
    product: Option<&Product>,
    us: bool,
    folder: &Path,
) -> Output {
    let target = section.text_or("folder");
    let (unit, us_units) = rate_unit(section, product, us);
    Output {
        folder: folder.join(target),
        unit,
        us_units,
        formats: formats(section),
        task_data: task_data(section),
    }
}

/// `task_data = { version = "3.3", kind = "grid" }`.
fn task_data(section: &mut Section<'_>) -> TaskOptions {
    let mut flavour = TaskOptions::default();
    let Some(entry) = section.take("task_data") else {
        return flavour;
    };
    let Some(mut table) = section.sub(&entry, "task_data") else {
        return flavour;
    };
    flavour.version = table.choice("version", TASK_VERSIONS).unwrap_or_default();
    flavour.kind = table.choice("kind", TASK_KINDS).unwrap_or_default();
    table.finish();
    flavour
}

fn formats(section: &mut Section<'_>) -> Vec<Format> {
    // Written when the job names no formats.
    let usual = section
        .row("formats")
        .and_then(Key::default_value)
        .unwrap_or_default();
    let is_usual = |word: &str| usual.contains(&format!("\"{word}\""));
    let all: Vec<Format> = FORMATS
        .iter()
        .filter(|(word, _)| is_usual(word))
        .map(|(_, format)| *format)
        .collect();
    let Some(list) = section.list("formats") else {
        return all;
    };
    if list.is_empty() {
        section.refuse(
            "formats",
            Problem::Empty {
                example: "[\"geopackage\", \"iso11783\"]",
            },
        );
        return all;
    }
    let mut formats = Vec::new();
    for entry in &list {
        if let Item::Text(text) = &entry.item
            && let Some((_, meant)) = SHORT_NAMES
                .iter()
                .find(|(short, _)| text.trim().eq_ignore_ascii_case(short))
        {
            let known = FORMATS.iter().map(|(name, _)| (*name).to_owned()).collect();
            section.at(
                entry,
                "formats",
                Problem::Choice {
                    got: text.clone(),
                    what: "format",
                    near: Some((*meant).to_owned()),
                    known,
                },
            );
            continue;
        }
        let format = section.choice_of(entry, "formats", FORMATS);
        formats.extend(format.filter(|format| !formats.contains(format)));
    }
    formats
}
