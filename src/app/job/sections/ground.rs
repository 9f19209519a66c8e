//! `[field]` and `[reference]`: where the ground and the reference lie.

use std::path::{Path, PathBuf};

use crate::app::job::amount;
use crate::app::job::fault::Wanted;
use crate::app::job::problem::Problem;
use crate::app::job::reader::{Entry, Item, Section};
use crate::app::job::sections::share;
use crate::finding::{Finding, codes};
use crate::pipeline::settings::{
    Exclusion, FieldSettings, Reading, ReferenceSettings, ReferenceSource, StripsUse, VectorSource,
};
use crate::units::Length;

/// A path, below the job's folder unless absolute.
pub(crate) fn path(section: &mut Section<'_>, key: &'static str, folder: &Path) -> Option<PathBuf> {
    section
        .text(key, "\"boundary.geojson\"")
        .map(|text| folder.join(text))
}

/// A vector file: a path, or a table with path, layer and filter.
pub(crate) fn vector(
    section: &Section<'_>,
    entry: &Entry,
    key: &'static str,
    kind: &'static str,
    folder: &Path,
) -> Option<VectorSource> {
    match &entry.item {
        Item::Table(_) => {
            let mut table = section.sub(entry, key, kind)?;
            let source = vector_table(&mut table, "path", folder, kind == "field.boundary");
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
                    wanted: "a path in quotes, or { path = \"farm.gpkg\", layer = \"fields\" }",
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
    table.require(path_key, "the file", "\"farm.gpkg\"");
    let layer = table.text("layer", "\"fields\"");
    let filter = table.text("where", "\"FIELD_ID = '12'\"");
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
    let given_name = section.text("name", "\"Long Ley\"");
    let region = section.text("region", "\"dry plains\"");
    let boundary = section
        .take("boundary")
        .map(|entry| vector(section, &entry, "boundary", "field.boundary", folder));
    section.require("boundary", "the field's boundary", "\"boundary.geojson\"");
    let merge = section.boolean("merge");
    let crs = section.text("crs", "\"EPSG:32633\"");
    let map_strips = section
        .choice(
            "strips",
            "way with strips (map, leave)",
            &[("map", true), ("leave", false)],
        )
        .unwrap_or(true);
    let mut exclusions = Vec::new();
    for mut table in section.tables("exclude", "field.exclude") {
        let source = vector_table(&mut table, "path", folder, false);
        let buffer = table
            .amount("buffer", Wanted::Length, amount::length)
            .unwrap_or(Length::ZERO);
        let reason = table.text("reason", "\"open water\"");
        if buffer.get() > 2_000.0 {
            table.refuse(
                "buffer",
                range(&buffer, "0 m", "2000 m", "wider than any buffer strip"),
            );
        }
        table.finish();
        exclusions.extend(source.map(|source| Exclusion {
            source,
            buffer,
            reason,
        }));
    }
    let mut edges = Vec::new();
    for mut table in section.tables("edge", "field.edge") {
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
        map_strips,
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
        .map(|entry| vector(section, &entry, "strips", "reference.strips", folder));
    let readings = readings(section);
    let percentile = section.number(
        "percentile",
        50.0,
        99.0,
        "a virtual reference is a high percentile of the canopy cells, 95 as a rule",
    );
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
            section.require(
                "strips",
                "the reference strips (or readings, or percentile; a ramp gives one flat rate by haulm rate, no map)",
                "\"strips.geojson\"",
            );
        }
        [] => {
            section.require(
                "strips",
                "the reference strips (or readings, or percentile)",
                "\"strips.geojson\"",
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
    let inset = section
        .amount("inset", Wanted::Length, amount::length)
        .unwrap_or(Length::m(3.0));
    let gap = section
        .amount("gap", Wanted::Length, amount::length)
        .unwrap_or(Length::m(5.0));
    for (key, value) in [("inset", inset), ("gap", gap)] {
        if value.get() > 200.0 {
            section.refuse(
                key,
                range(&value, "0 m", "200 m", "strips are not that wide"),
            );
        }
    }
    let segments = section
        .whole(
            "segments",
            1,
            1000,
            "a strip is cut into 20 segments as a rule",
        )
        .unwrap_or(20);
    let drop = section
        .number("drop", 0.0, 100.0, "in MADs; 0 keeps every segment")
        .unwrap_or(3.5);
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
        let mut table = section.sub(&entry, "zones", "reference.zones")?;
        let source = vector_table(&mut table, "path", folder, false);
        let words = [("refuse", false), ("pooled", true)];
        let pooled_without = table
            .choice(
                "without_strip",
                "way with a zone that holds no strip (refuse, pooled)",
                &words,
            )
            .unwrap_or(false);
        table.finish();
        if !section.given("strips") {
            section.require(
                "strips",
                "the reference strips, which reference.zones shares out,",
                "\"strips.geojson\"",
            );
        }
        return source.map(|source| StripsUse::Zones {
            source,
            pooled_without,
        });
    }
    let words = [
        ("pooled", Word::Pooled),
        ("nearest", Word::Nearest),
        ("inverse distance", Word::InverseDistance),
    ];
    Some(
        match section.choice(
            "strips_use",
            "use of strips (pooled, nearest, inverse distance)",
            &words,
        ) {
            Some(Word::Nearest) => StripsUse::Nearest,
            Some(Word::InverseDistance) => StripsUse::InverseDistance,
            Some(Word::Pooled) | None => StripsUse::Pooled,
        },
    )
}

/// `reference.readings`: at least one pair, when given.
pub(crate) fn readings(section: &mut Section<'_>) -> Option<Vec<Reading>> {
    if !section.has("readings") {
        return None;
    }
    let tables = section.tables("readings", "reference.readings");
    let count = tables.len();
    let mut pairs = Vec::new();
    for mut table in tables {
        let why = "an averaged canopy index lies above 0 and rarely above 1";
        let strip = table.number("strip", 0.001, 100.0, why);
        let beside = table.number("beside", 0.001, 100.0, why);
        table.require("strip", "the reading in the strip", "0.66");
        table.require("beside", "the reading beside the strip", "0.50");
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
