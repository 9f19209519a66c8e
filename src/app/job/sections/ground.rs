//! `[field]` and `[reference]`: where the ground and the reference lie.

use std::path::{Path, PathBuf};

use crate::app::job::sections::share;
use crate::finding::{Finding, codes};
use crate::job::amount;
use crate::job::problem::Problem;
use crate::job::reader::{Entry, Item, Section};
use crate::job::settings::{
    Exclusion, FieldSettings, Reading, ReferenceSettings, ReferenceSource, StripsUse, VectorSource,
};

/// A path, below the job's folder unless absolute.
pub(crate) fn path(section: &mut Section<'_>, key: &'static str, folder: &Path) -> Option<PathBuf> {
    section.text(key).map(|text| folder.join(text))
}

/// A vector file: a path, or a table with path, layer and filter.
pub(crate) fn vector(
    section: &Section<'_>,
    entry: &Entry,
    key: &'static str,
    folder: &Path,
) -> Option<VectorSource> {
    match &entry.item {
        Item::Table(_) => {
            let mut table = section.sub(entry, key)?;
            let source = vector_table(&mut table, "path", folder, key == "boundary");
            table.finish();
            source
        }
        Item::Text(_) => {
            let text = section.text_of(entry, key, "\"boundary.geojson\"")?;
            Some(VectorSource {
                path: folder.join(text),
                layer: None,
                filter: None,
                merge: false,
            })
        }
        other => {
            section.at(
                entry,
                key,
                Problem::WrongType {
                    got: other.kind(),
                    wanted: "a path in quotes, or { path = \"farm.gpkg\", layer = \"fields\" }"
                        .into(),
                },
            );
            None
        }
    }
}

/// `path`, `layer`, `where` of a table whose other keys are somebody else's.
pub(crate) fn vector_table(
    table: &mut Section<'_>,
    path_key: &'static str,
    folder: &Path,
    merges: bool,
) -> Option<VectorSource> {
    let file = path(table, path_key, folder);
    table.require(path_key);
    let layer = table.text("layer");
    let filter = table.text("where");
    let merge = merges && table.boolean("merge").unwrap_or(false);
    Some(VectorSource {
        path: file?,
        layer,
        filter,
        merge,
    })
}

/// `[field]`.
pub(crate) fn field(section: &mut Section<'_>, folder: &Path) -> Option<FieldSettings> {
    let given_name = section.text("name");
    let region = section.text("region");
    let boundary = section
        .take("boundary")
        .map(|entry| vector(section, &entry, "boundary", folder));
    section.require("boundary");
    let merge = section.boolean("merge");
    let crs = section.text("crs");
    let map_strips = section.choice("strips", &[("map", true), ("leave", false)]);
    let mut exclusions = Vec::new();
    for mut table in section.tables("exclude") {
        let source = vector_table(&mut table, "path", folder, false);
        let buffer = table.amount_or("buffer", amount::length);
        let reason = table.text("reason");

        table.finish();
        exclusions.extend(source.map(|source| Exclusion {
            source,
            buffer,
            reason,
        }));
    }
    let mut edges = Vec::new();
    for mut table in section.tables("edge") {
        edges.extend(vector_table(&mut table, "path", folder, false));
        table.finish();
    }
    let mut boundary = boundary??;
    if let Some(merge) = merge {
        boundary.merge = merge;
    }
    let name = given_name.or_else(|| {
        let stem = boundary.path.file_stem()?.to_string_lossy().into_owned();
        section.log().note(Finding::note(
            codes::FIELD_NAME,
            format!(
                "field.name is not given: the field is called \"{stem}\" after its boundary file"
            ),
        ));
        Some(stem)
    })?;
    // Marks that turn the direction of writing show another name on screen than stands in the file.
    let unseen = |c: char| {
        c.is_control()
            || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
    };
    if name.chars().any(unseen) || name.chars().count() > 100 {
        let got = format!("{} characters", name.chars().count());
        section.refuse(
            "name",
            Problem::OutOfRange {
                got,
                low: "1".into(),
                high: "100 printable characters".into(),
                why: "names stand on paper and screen",
            },
        );
    }
    Some(FieldSettings {
        name,
        region,
        boundary,
        crs,
        map_strips: map_strips?,
        exclusions,
        edges,
    })
}

/// A fault of a range, with the value as a quantity.
pub(crate) fn range(got: &impl ToString, low: &str, high: &str, why: &'static str) -> Problem {
    Problem::OutOfRange {
        got: got.to_string(),
        low: low.to_owned(),
        high: high.to_owned(),
        why,
    }
}

/// `[reference]`, with strips, readings or a percentile.
pub(crate) fn reference(section: &mut Section<'_>, folder: &Path) -> Option<ReferenceSettings> {
    let given: Vec<&'static str> = ["strips", "readings", "percentile"]
        .into_iter()
        .filter(|key| section.has(key))
        .collect();
    let strips = section
        .take("strips")
        .map(|entry| vector(section, &entry, "strips", folder));
    let readings = readings(section);
    let percentile = section.number("percentile");
    // A ramp gives one flat rate; a job may hold it beside what a map compares with.
    let ramp = ["ramp", "ramp_model", "ramp_index"]
        .map(|key| section.take(key))
        .iter()
        .any(Option::is_some);
    if ramp && !given.is_empty() {
        section
            .log()
            .note(Finding::note(codes::RAMP_PASSED_OVER, "the nitrogen ramp in [reference] is passed over: it gives one flat rate, by haulm rate, and no map"));
    }
    match given.as_slice() {
        [] if ramp => {
            section.require_as("strips", "the reference strips (or readings, or percentile; a ramp gives one flat rate by haulm rate, no map)");
        }
        [] => {
            section.require_as(
                "strips",
                "the reference strips (or readings, or percentile)",
            );
        }
        [_] => {}
        [_, second, ..] => section.refuse(
            second,
            Problem::Together {
                keys: given.clone(),
            },
        ),
    }
    let inset = section.amount_or("inset", amount::length);
    let gap = section.amount_or("gap", amount::length);
    let segments = section.whole_or("segments");
    let drop = section.number_or("drop");
    let strips_use = strips_use(section, folder);
    let level = share::level(section);
    let source = match (strips, readings, percentile) {
        (Some(strips), ..) => ReferenceSource::Strips(strips?),
        (_, Some(readings), _) => ReferenceSource::Readings(readings),
        (.., Some(percentile)) => ReferenceSource::Percentile(percentile),
        _ => return None,
    };
    Some(ReferenceSettings {
        source,
        inset,
        gap,
        segments: segments.unsigned_abs() as usize,
        drop,
        strips_use: strips_use?,
        level,
    })
}

/// `reference.strips_use` or `reference.zones`; `None` when it is faulty.
fn strips_use(section: &mut Section<'_>, folder: &Path) -> Option<StripsUse> {
    #[derive(Clone, Copy)]
    enum Word {
        Pooled,
        Nearest,
        InverseDistance,
    }
    let by_zone = section.has("zones");
    if by_zone && section.has("strips_use") {
        section.take("strips_use");
        section.refuse(
            "strips_use",
            Problem::Together {
                keys: vec!["reference.strips_use", "reference.zones"],
            },
        );
    }
    if by_zone {
        let entry = section.take("zones")?;
        let mut table = section.sub(&entry, "zones")?;
        let source = vector_table(&mut table, "path", folder, false);
        let words = [("refuse", false), ("pooled", true)];
        let pooled_without = table.choice("without_strip", &words);
        table.finish();
        if !section.given("strips") {
            section.require_as(
                "strips",
                "the reference strips, which reference.zones shares out,",
            );
        }
        return source
            .zip(pooled_without)
            .map(|(source, pooled_without)| StripsUse::Zones {
                source,
                pooled_without,
            });
    }
    let words = [
        ("pooled", Word::Pooled),
        ("nearest", Word::Nearest),
        ("inverse distance", Word::InverseDistance),
    ];
    section.choice("strips_use", &words).map(|word| match word {
        Word::Nearest => StripsUse::Nearest,
        Word::InverseDistance => StripsUse::InverseDistance,
        Word::Pooled => StripsUse::Pooled,
    })
}

/// `reference.readings`: at least one pair, when given.
pub(crate) fn readings(section: &mut Section<'_>) -> Option<Vec<Reading>> {
    if !section.has("readings") {
        return None;
    }
    let tables = section.tables("readings");
    let count = tables.len();
    let mut pairs = Vec::new();
    for mut table in tables {
        let strip = table.number("strip");
        let beside = table.number("beside");
        table.require("strip");
        table.require("beside");
        table.finish();
        pairs.extend(
            strip
                .zip(beside)
                .map(|(strip, beside)| Reading { strip, beside }),
        );
    }
    if count == 0 {
        section.refuse(
            "readings",
            Problem::Empty {
                example: "[{ strip = 0.66, beside = 0.50 }]",
            },
        );
        return None;
    }
    Some(pairs)
}
