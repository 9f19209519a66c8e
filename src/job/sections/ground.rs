//! `[field]` and `[reference]`: where the ground and the reference lie.

use std::path::{Path, PathBuf};

use crate::finding::{Finding, codes};
use crate::job::keys::field::{BOUNDARY, EDGE, EXCLUDE, StripsMapped};
use crate::job::keys::reference::{READINGS, StripsWord, WithoutStrip, ZONES as STRIP_ZONES};
use crate::job::keys::{FIELD, REFERENCE};
use crate::job::problem::Problem;
use crate::job::reader::{Entry, Item, Section};
use crate::job::record::Shown;
use crate::job::sections::share;
use crate::key::{Key, Record, words};
use crate::units::Length;
use serde_json::{Value, json};

/// A vector file, a layer of it and an attribute filter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VectorSource {
    /// The file.
    pub path: PathBuf,
    /// The layer; the only one, or the first, when not given.
    pub layer: Option<String>,
    /// Attribute filter in the driver's SQL dialect.
    pub filter: Option<String>,
    /// Whether several features are joined into one.
    pub merge: bool,
}

/// `[field]`.
#[derive(Clone, Debug)]
pub struct FieldSettings {
    /// Name on paper, task and terminal.
    pub name: String,
    /// Region, in the user's words; compared with that of the method's numbers.
    pub region: Option<String>,
    /// Where the boundary stands.
    pub boundary: VectorSource,
    /// Working plane asked for, as the user wrote it.
    pub crs: Option<String>,
    /// Whether strips are mapped like the rest (`true`) or get no rate.
    pub map_strips: bool,
    /// Ground that gets nothing.
    pub exclusions: Vec<Exclusion>,
    /// Hard edges: overrun stops there.
    pub edges: Vec<VectorSource>,
}

/// `[[field.exclude]]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Exclusion {
    /// Where the polygons stand.
    pub source: VectorSource,
    /// How far they are grown.
    pub buffer: Length,
    /// Why, in the user's words.
    pub reason: Option<String>,
}

/// `[reference]`.
#[derive(Clone, Debug)]
pub struct ReferenceSettings {
    /// Where the reference comes from.
    pub source: ReferenceSource,
    /// How far strips are shrunk (fine pixels).
    pub inset: Length,
    /// Ground between strip and comparison swath.
    pub gap: Length,
    /// Segments a strip is cut into.
    pub segments: usize,
    /// MADs beyond which a segment is dropped; 0 keeps every one.
    pub drop: f64,
    /// Which strips count where.
    pub strips_use: StripsUse,
    /// Where the level of the reference index comes from.
    pub level: ReferenceLevel,
}

words! {
    /// `reference.level`.
    #[derive(Default)]
    pub enum ReferenceLevel {
        /// The strip's own index.
        #[default]
        Strip = "strip",
        /// Half of it from the strip, half from its response index times the field's mean index.
        Balanced = "balanced",
    }
}

/// `reference.strips_use`, or `reference.zones`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StripsUse {
    /// All strips everywhere, weighted by area.
    Pooled,
    /// Each cell takes the strip nearest to its centroid.
    Nearest,
    /// Each cell takes all strips, weighted by the inverse square of their distance from its centroid.
    InverseDistance,
    /// Each zone of a layer takes the strips inside it.
    Zones {
        /// The layer.
        source: VectorSource,
        /// Whether a zone without a strip takes the pooled reference instead of being refused.
        pooled_without: bool,
    },
}

/// Where the reference comes from.
#[derive(Clone, Debug, PartialEq)]
pub enum ReferenceSource {
    /// Strips on the image.
    Strips(VectorSource),
    /// Averaged hand readings (strip, beside).
    Readings(Vec<Reading>),
    /// A percentile of canopy cells, 0 … 100.
    Percentile(f64),
}

/// One pair of averaged hand readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// In the strip.
    pub strip: f64,
    /// Beside it.
    pub beside: f64,
}

/// A path, below the job's folder unless absolute.
pub(crate) fn path(section: &mut Section<'_>, key: &Key, folder: &Path) -> Option<PathBuf> {
    let entry = section.take(key)?;
    section.text_of(&entry, key).map(|text| folder.join(text))
}

/// A vector file: a path, or a table with path, layer and filter.
pub(crate) fn vector(
    section: &Section<'_>,
    entry: &Entry,
    key: &Key,
    folder: &Path,
) -> Option<VectorSource> {
    match &entry.item {
        Item::Table(_) => {
            let mut table = section.sub(entry, key)?;
            let source = vector_table(
                &mut table,
                &EDGE.path,
                folder,
                key.name == FIELD.boundary.name,
            );
            table.finish();
            source
        }
        Item::Text(_) => {
            let text = section.text_of(entry, key)?;
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
                    requirement:
                        "a path in quotes, or { path = \"farm.gpkg\", layer = \"fields\" }".into(),
                },
            );
            None
        }
    }
}

/// `path`, `layer`, `where` of a table whose other keys are somebody else's.
pub(crate) fn vector_table(
    table: &mut Section<'_>,
    path_key: &Key,
    folder: &Path,
    merges: bool,
) -> Option<VectorSource> {
    let file = path(table, path_key, folder);
    let layer = table.find(&EDGE.layer);
    let filter = table.find(&EDGE.r#where);
    let merge = merges && table.get(&FIELD.merge);
    Some(VectorSource {
        path: file?,
        layer,
        filter,
        merge,
    })
}

/// `[field]`.
pub(crate) fn field(section: &mut Section<'_>, folder: &Path) -> Option<FieldSettings> {
    let given_name = section.find(&FIELD.name);
    let region = section.find(&FIELD.region);
    let boundary = section
        .take(&FIELD.boundary)
        .map(|entry| vector(section, &entry, &FIELD.boundary, folder));
    let merge = section.find(&FIELD.merge);
    let crs = section.find(&FIELD.crs);
    let map_strips = section.get(&FIELD.strips) == StripsMapped::Map;
    let mut exclusions = Vec::new();
    for mut table in section.tables(&FIELD.exclude) {
        let source = vector_table(&mut table, &EXCLUDE.path, folder, false);
        let buffer = table.get(&EXCLUDE.buffer);
        let reason = table.find(&EXCLUDE.reason);

        table.finish();
        exclusions.extend(source.map(|source| Exclusion {
            source,
            buffer,
            reason,
        }));
    }
    let mut edges = Vec::new();
    for mut table in section.tables(&FIELD.edge) {
        edges.extend(vector_table(&mut table, &EDGE.path, folder, false));
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
            &FIELD.name,
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
    let given: Vec<&Key> = [
        &*REFERENCE.strips,
        &*REFERENCE.readings,
        &*REFERENCE.percentile,
    ]
    .into_iter()
    .filter(|key| section.has(key))
    .collect();
    let strips = section
        .take(&REFERENCE.strips)
        .map(|entry| vector(section, &entry, &REFERENCE.strips, folder));
    let readings = readings(section);
    let percentile = section.find(&REFERENCE.percentile);
    // A ramp gives one flat rate; a job may hold it beside what a map compares with.
    let ramp = [
        &*REFERENCE.ramp,
        &*REFERENCE.ramp_model,
        &*REFERENCE.ramp_index,
    ]
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
            section.require_as(&REFERENCE.strips, "the reference strips (or readings, or percentile; a ramp gives one flat rate by haulm rate, no map)");
        }
        [] => {
            section.require_as(
                &REFERENCE.strips,
                "the reference strips (or readings, or percentile)",
            );
        }
        [_] => {}
        [_, second, ..] => section.refuse(
            second,
            Problem::Together {
                keys: given.iter().map(|key| key.name.to_owned()).collect(),
            },
        ),
    }
    let inset = section.get(&REFERENCE.inset);
    let gap = section.get(&REFERENCE.gap);
    let segments = section.get(&REFERENCE.segments);
    let drop = section.get(&REFERENCE.drop);
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
    let by_zone = section.has(&REFERENCE.zones);
    if by_zone && section.has(&REFERENCE.strips_use) {
        section.refuse_together(
            &REFERENCE.strips_use,
            vec![REFERENCE.strips_use.full(), REFERENCE.zones.full()],
        );
    }
    if by_zone {
        let mut table = section.sub_at(&REFERENCE.zones)?;
        let source = vector_table(&mut table, &STRIP_ZONES.path, folder, false);
        let without = table.get(&STRIP_ZONES.without_strip);
        table.finish();
        if !section.given(&REFERENCE.strips) {
            section.require_as(
                &REFERENCE.strips,
                "the reference strips, which reference.zones shares out,",
            );
        }
        return source.map(|source| StripsUse::Zones {
            source,
            pooled_without: without == WithoutStrip::Pooled,
        });
    }
    Some(match section.get(&REFERENCE.strips_use) {
        StripsWord::Nearest => StripsUse::Nearest,
        StripsWord::InverseDistance => StripsUse::InverseDistance,
        StripsWord::Pooled => StripsUse::Pooled,
    })
}

/// `reference.readings`: at least one pair, when given.
pub(crate) fn readings(section: &mut Section<'_>) -> Option<Vec<Reading>> {
    if !section.has(&REFERENCE.readings) {
        return None;
    }
    let tables = section.tables(&REFERENCE.readings);
    let count = tables.len();
    let mut pairs = Vec::new();
    for mut table in tables {
        let strip = table.find(&READINGS.strip);
        let beside = table.find(&READINGS.beside);
        table.finish();
        pairs.extend(
            strip
                .zip(beside)
                .map(|(strip, beside)| Reading { strip, beside }),
        );
    }
    if count == 0 {
        section.refuse(
            &REFERENCE.readings,
            Problem::Empty {
                example: "[{ strip = 0.66, beside = 0.50 }]",
            },
        );
        return None;
    }
    Some(pairs)
}

/// As the record has it.
pub(crate) fn field_record(field: &FieldSettings, shown: Shown<'_>) -> Record {
    let strips = if field.map_strips {
        StripsMapped::Map
    } else {
        StripsMapped::Leave
    };
    let excluded = |exclusion: &Exclusion| {
        vector_record(&exclusion.source, shown)
            .put(&EXCLUDE.buffer, exclusion.buffer.get())
            .put(&EXCLUDE.reason, exclusion.reason.clone())
            .value()
    };
    let edge = |edge: &VectorSource| vector_record(edge, shown).value();
    Record::new()
        .put(&FIELD.name, field.name.clone())
        .put(&FIELD.region, field.region.clone())
        .table(&FIELD.boundary, vector_record(&field.boundary, shown))
        .put(&FIELD.crs, field.crs.clone())
        .put(&FIELD.strips, strips.word())
        .put(
            &FIELD.exclude,
            field.exclusions.iter().map(excluded).collect::<Vec<_>>(),
        )
        .put(
            &FIELD.edge,
            field.edges.iter().map(edge).collect::<Vec<_>>(),
        )
}

/// As the record has it.
pub(crate) fn vector_record(source: &VectorSource, shown: Shown<'_>) -> Record {
    Record::new()
        .put(&BOUNDARY.path, shown(&source.path))
        .put(&BOUNDARY.layer, source.layer.clone())
        .put(&BOUNDARY.r#where, source.filter.clone())
        .put(&BOUNDARY.merge, source.merge)
}

/// As the record has it.
pub(crate) fn reference_record(reference: &ReferenceSettings, shown: Shown<'_>) -> Record {
    let source = match &reference.source {
        ReferenceSource::Strips(strips) => {
            Record::new().table(&REFERENCE.strips, vector_record(strips, shown))
        }
        ReferenceSource::Readings(readings) => {
            Record::new().put(&REFERENCE.readings, readings_record(readings))
        }
        ReferenceSource::Percentile(percentile) => {
            Record::new().put(&REFERENCE.percentile, *percentile)
        }
    };
    let strips_use = match &reference.strips_use {
        StripsUse::Pooled => json!(StripsWord::Pooled.word()),
        StripsUse::Nearest => json!(StripsWord::Nearest.word()),
        StripsUse::InverseDistance => json!(StripsWord::InverseDistance.word()),
        StripsUse::Zones {
            source,
            pooled_without,
        } => {
            let without = if *pooled_without {
                WithoutStrip::Pooled
            } else {
                WithoutStrip::Refuse
            };
            Record::new()
                .table(&REFERENCE.zones, vector_record(source, shown))
                .put(&STRIP_ZONES.without_strip, without.word())
                .value()
        }
    };
    Record::new()
        .add("source", source.value())
        .put(&REFERENCE.inset, reference.inset.get())
        .put(&REFERENCE.gap, reference.gap.get())
        .put(&REFERENCE.segments, reference.segments)
        .put(&REFERENCE.drop, reference.drop)
        .put(&REFERENCE.strips_use, strips_use)
        .put(&REFERENCE.level, reference.level.word())
}

/// As the record has it.
pub(crate) fn readings_record(readings: &[Reading]) -> Vec<Value> {
    let pair = |reading: &Reading| {
        Record::new()
            .put(&READINGS.strip, reading.strip)
            .put(&READINGS.beside, reading.beside)
            .value()
    };
    readings.iter().map(pair).collect()
}
