//! The farm file: many fields out of one text, each of them a job of its own.
//!
//! A field's job is put together as text, so that it is read by the reader of jobs, means what it would mean as a file, and can be kept as one.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use crate::finding::Checked;
use crate::job::fault::JobError;
use crate::job::keys::farm::{
    FARM, FARM_CATALOGUE, FARM_COLUMN, FARM_EXCEPTION, FARM_FIELDS, FARM_STRIPS,
};
use crate::job::keys::imagery::MASK;
use crate::job::keys::{FIELD, IMAGERY, OUTPUT, REFERENCE, ROOT, SEASON, TABLES, table};
use crate::job::problem::Problem;
use crate::job::reader;
use crate::job::reader::{Entry, Item, Section};
use crate::job::resolve::{ended, log_of};
use crate::job::suggest::nearest;
use crate::key::{Key, Kind, Typed};
use jiff::civil::Date;
use toml::{Table, Value};

/// A layer of the farm file. Paths are as written, relative to it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct FarmLayer {
    /// Its file.
    pub path: String,
    /// Its layer.
    pub layer: Option<String>,
    /// Which features of it count.
    pub filter: Option<String>,
    /// Of fields the column of names, of strips the column of their fields' names.
    pub column: Option<String>,
}

/// A key of the job whose values stand in a column.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct FilledKey<'a> {
    /// Its row.
    pub key: &'static Key,
    /// The column.
    pub column: &'a str,
    /// Unit of the column's numbers.
    pub unit: Option<&'a str>,
}

/// As [`FilledKey`], kept.
#[derive(Clone, Debug, PartialEq)]
struct Filled {
    key: &'static Key,
    column: String,
    unit: Option<String>,
}

/// A catalogue of scenes.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Catalogue {
    /// Its file, as written.
    pub path: String,
    /// Each band with its asset.
    pub bands: Vec<(String, String)>,
    /// The mask's asset.
    pub mask: Option<String>,
    /// Share of a scene under cloud above which it is not looked at.
    pub maximum_cloud: f64,
}

/// A scene of a catalogue, as an image: files of bands, relative to the farm file, and what its item says of their numbers.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct SceneImage<'a> {
    /// Band and file.
    pub bands: &'a [(String, String)],
    /// Day.
    pub date: Date,
    /// File of the mask.
    pub mask: Option<&'a str>,
    /// Scale, offset and nodata, where all bands have the same.
    pub stated: [Option<f64>; 3],
}

/// The keys of `[imagery]` of a scene.
pub(crate) fn scene_image(scene: &SceneImage<'_>) -> Table {
    let mut image = Table::new();
    let text = |text: &str| Value::String(text.to_owned());
    let files: Table = scene
        .bands
        .iter()
        .map(|(band, file)| (band.clone(), text(file)))
        .collect();
    image.insert(IMAGERY.path.name.to_owned(), Value::Table(files));
    image.insert(IMAGERY.date.name.to_owned(), text(&scene.date.to_string()));
    for (key, value) in [&IMAGERY.scale.row, &IMAGERY.offset.row, &IMAGERY.nodata.row]
        .into_iter()
        .zip(scene.stated)
    {
        if let Some(value) = value {
            image.insert(key.name.to_owned(), Value::Float(value));
        }
    }
    if let Some(mask) = scene.mask {
        let file = (MASK.path.name.to_owned(), text(mask));
        let table = Table::from_iter([file]);
        image.insert(IMAGERY.mask.name.to_owned(), Value::Table(table));
    }
    image
}

/// What is otherwise in one field.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Exception {
    /// Name of the field.
    pub field: String,
    /// Why.
    pub reason: String,
    job: Table,
}

/// What a farm file says.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct FarmSettings {
    /// Name of the farm, if the file gives one.
    pub name: Option<String>,
    /// Output folder, as written.
    pub output: String,
    /// Share of a field's pixels that an image must show.
    pub minimum_cover: f64,
    /// The fields.
    pub fields: FarmLayer,
    /// The strips, when they stand in one layer.
    pub strips: Option<FarmLayer>,
    /// Scenes to choose images from.
    pub catalogue: Option<Catalogue>,
    /// What is otherwise in some fields.
    pub exceptions: Vec<Exception>,
    filled: Vec<Filled>,
    common: Table,
    images: Vec<Table>,
}

/// What a field's job is made of besides the farm file.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FieldFacts<'a> {
    /// Its name.
    pub name: &'a str,
    /// The filter that picks it alone.
    pub filter: &'a str,
    /// The filter that picks its strips, if it has any in the farm's layer.
    pub strips: Option<&'a str>,
    /// Its output folder, relative to the farm file.
    pub output: &'a str,
    /// The image that it takes, out of [`FarmSettings::images`] or of a catalogue.
    pub image: Option<&'a Table>,
    /// Values of the columns that fill keys, in the order of [`FarmSettings::filled`]; `None` where there is none.
    pub values: &'a [Option<String>],
}

/// Reads the text of a farm file; `path` is for messages.
///
/// # Errors
/// [`JobError::Refused`] with every fault found. Values of job keys are looked at when a field's job is read, their names here.
pub(crate) fn farm(bytes: &[u8], path: &Path) -> Result<Checked<FarmSettings>, JobError> {
    let log = log_of(bytes, path)?;
    let text = String::from_utf8_lossy(bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes));
    // What does not parse is told by the reader, with its place.
    let tree: Table = text.parse().unwrap_or_default();
    let value = reader::parse_as(&log, FARM.name.section).and_then(|root| settings(root, &tree));
    ended(value, log, path)
}

fn settings(mut root: Section<'_>, tree: &Table) -> Option<FarmSettings> {
    let name = root.find(&FARM.name);
    let output = root.get(&FARM.output);
    let minimum_cover = root.get(&FARM.minimum_cover);
    let mut in_fields = root.section(&FARM.fields);
    let fields = layer(
        &mut in_fields,
        (&FARM_FIELDS.path, &FARM_FIELDS.layer, &FARM_FIELDS.r#where),
        &FARM_FIELDS.name,
    );
    let filled = filled(&mut in_fields);
    in_fields.finish();
    let mut in_strips = root.section(&FARM.strips);
    let strips = layer(
        &mut in_strips,
        (&FARM_STRIPS.path, &FARM_STRIPS.layer, &FARM_STRIPS.r#where),
        &FARM_STRIPS.column,
    );
    in_strips.finish();
    let catalogue = root.sub_at(&FARM.catalogue).and_then(catalogue);
    for image in root.tables(&FARM.images) {
        image.names_only();
    }
    let common = root.section(&FARM.common);
    common.names_only();
    let mut exceptions = Vec::new();
    for (at, mut table) in root.tables(&FARM.exception).into_iter().enumerate() {
        let field = table.find(&FARM_EXCEPTION.field);
        let reason = table.find(&FARM_EXCEPTION.reason);
        let job = table.sub_at(&FARM_EXCEPTION.job);
        if let Some(job) = job {
            job.names_only();
        }
        table.finish();
        let own = nth(tree, FARM.exception.name, at)
            .and_then(|table| table.get(FARM_EXCEPTION.job.name))
            .and_then(Value::as_table);
        if let (Some(field), Some(reason), Some(own)) = (field, reason, own) {
            exceptions.push(Exception {
                field,
                reason,
                job: own.clone(),
            });
        }
    }
    let of_tree = |key: &Key| tree.get(key.name).and_then(Value::as_table).cloned();
    let common = of_tree(&FARM.common).unwrap_or_default();
    made_for_each(&root, &common);
    let images = match tree.get(FARM.images.name) {
        Some(Value::Array(list)) => list.iter().filter_map(Value::as_table).cloned().collect(),
        Some(Value::Table(one)) => vec![one.clone()],
        _ => Vec::new(),
    };
    root.finish();
    Some(FarmSettings {
        name,
        output,
        minimum_cover,
        fields: fields?,
        strips,
        catalogue,
        exceptions,
        filled,
        common,
        images,
    })
}

/// `[catalogue]`.
fn catalogue(mut table: Section<'_>) -> Option<Catalogue> {
    let path = table
        .take(&FARM_CATALOGUE.path)
        .and_then(|entry| table.text_of(&entry, &FARM_CATALOGUE.path));
    let mut bands = Vec::new();
    if let Some(entry) = table.take(&FARM_CATALOGUE.bands) {
        match &entry.item {
            Item::Table(entries) => {
                for (band, entry) in entries {
                    let asset = table.text_like(entry, band, "\"B04\"");
                    bands.extend(asset.map(|asset| (band.clone(), asset)));
                }
            }
            other => table.at(
                &entry,
                &FARM_CATALOGUE.bands,
                Problem::WrongType {
                    got: other.kind(),
                    requirement: "a table such as { red = \"B04\", nir = \"B08\" }".into(),
                },
            ),
        }
    }
    let mask = table.find(&FARM_CATALOGUE.mask);
    let maximum_cloud = table.get(&FARM_CATALOGUE.maximum_cloud);
    let found = path.map(|path| Catalogue {
        path,
        bands,
        mask,
        maximum_cloud,
    });
    table.finish();
    found
}

/// Refuses common keys that every field gets of its own.
fn made_for_each(root: &Section<'_>, common: &Table) {
    for (key, instead) in [
        (&OUTPUT.folder.row, FARM.output.name.to_owned()),
        (&FIELD.name.row, format!("fields.{}", FARM_FIELDS.name.name)),
        (
            &FIELD.boundary.row,
            format!("fields.{}", FARM_FIELDS.path.name),
        ),
    ] {
        let section = common.get(key.section).and_then(Value::as_table);
        if section.is_some_and(|section| section.contains_key(key.name)) {
            let keys = vec![format!("{}.{}", FARM.common.name, key.full()), instead];
            root.refuse(&FARM.common, Problem::Together { keys });
        }
    }
}

/// The table at a place of a list of tables, or the one that stands in its place.
fn nth<'t>(tree: &'t Table, name: &str, at: usize) -> Option<&'t Table> {
    match tree.get(name)? {
        Value::Array(list) => list.get(at)?.as_table(),
        Value::Table(one) => (at == 0).then_some(one),
        _ => None,
    }
}

/// Rows of path, layer and filter.
type LayerRows<'a> = (&'a Typed<PathBuf>, &'a Typed<String>, &'a Typed<String>);

fn layer(
    section: &mut Section<'_>,
    (path, layer, filter): LayerRows<'_>,
    column: &Typed<String>,
) -> Option<FarmLayer> {
    let file = section
        .take(path)
        .and_then(|entry| section.text_of(&entry, path));
    let (layer, filter, column) = (
        section.find(layer),
        section.find(filter),
        section.find(column),
    );
    Some(FarmLayer {
        path: file?,
        layer,
        filter,
        column,
    })
}

/// `[fields.columns]`: dotted keys of the job, each with a column.
fn filled(section: &mut Section<'_>) -> Vec<Filled> {
    let Some(entry) = section.take(&FARM_FIELDS.columns) else {
        return Vec::new();
    };
    let Item::Table(entries) = &entry.item else {
        section.at(
            &entry,
            &FARM_FIELDS.columns,
            Problem::WrongType {
                got: entry.item.kind(),
                requirement: "a table such as { season.planted = \"sown\" }".into(),
            },
        );
        return Vec::new();
    };
    let mut found = Vec::new();
    flattened(section, "", entries, &mut found);
    found
}

fn flattened(
    section: &Section<'_>,
    before: &str,
    entries: &[(String, Entry)],
    found: &mut Vec<Filled>,
) {
    for (name, entry) in entries {
        let dotted = if before.is_empty() {
            name.clone()
        } else {
            format!("{before}.{name}")
        };
        let below = match &entry.item {
            Item::Table(below) => below.as_slice(),
            _ => &[],
        };
        let own = |key: &Key| below.iter().any(|(name, _)| name == key.name);
        let is_column = !matches!(entry.item, Item::Table(_)) || own(&FARM_COLUMN.column);
        if !is_column {
            flattened(section, &dotted, below, found);
            continue;
        }
        let Some(key) = filled_key(section, entry, &dotted) else {
            continue;
        };
        let (column, unit) = if below.is_empty() {
            (section.text_like(entry, &dotted, "\"yield\""), None)
        } else {
            let Some(mut table) = section.sub_like(entry, &dotted, FARM_COLUMN.column.section)
            else {
                continue;
            };
            let both = (
                table.find(&FARM_COLUMN.column),
                table.find(&FARM_COLUMN.unit),
            );
            table.finish();
            both
        };
        found.extend(column.map(|column| Filled { key, column, unit }));
    }
}

/// The row of a key that a column fills: one that takes a single value, and names no file.
fn filled_key(section: &Section<'_>, entry: &Entry, dotted: &str) -> Option<&'static Key> {
    let all = || {
        TABLES
            .iter()
            .flat_map(|table| table.keys)
            .filter(|key| !key.section.is_empty())
    };
    let Some(key) = all().find(|key| key.full() == dotted) else {
        let names: Vec<String> = all()
            .filter(|key| single(&key.kind))
            .map(Key::full)
            .collect();
        let near = nearest(dotted, names.iter().map(String::as_str)).map(str::to_owned);
        let problem = Problem::Choice {
            got: dotted.to_owned(),
            what: "key of a job",
            near,
            known: vec!["haulm keys lists them".to_owned()],
        };
        section.at_name(entry, dotted, problem);
        return None;
    };
    if single(&key.kind) {
        return Some(key);
    }
    let problem = Problem::WrongType {
        got: "a column",
        requirement: format!(
            "{}, which stands in [common] or in an [[exception]]: a column fills keys of one value, and names no files",
            key.kind.short()
        )
        .into(),
    };
    section.at_name(entry, dotted, problem);
    None
}

/// Whether one value stands at a key, and none of them is a file.
fn single(kind: &Kind) -> bool {
    match kind {
        Kind::Text
        | Kind::Number
        | Kind::Whole
        | Kind::Share
        | Kind::Date
        | Kind::YesNo
        | Kind::Words(_)
        | Kind::NameOf(_)
        | Kind::Amount(_)
        | Kind::NitrogenOrProduct => true,
        Kind::Or(parts) => parts.iter().any(single) && !parts.iter().any(names_file),
        _ => false,
    }
}

fn names_file(kind: &Kind) -> bool {
    matches!(kind, Kind::Path | Kind::Layer(_))
}

impl FarmSettings {
    /// Keys that columns fill, in the order of the file.
    pub(crate) fn filled(&self) -> impl Iterator<Item = FilledKey<'_>> {
        self.filled.iter().map(|filled| FilledKey {
            key: filled.key,
            column: &filled.column,
            unit: filled.unit.as_deref(),
        })
    }

    /// The images that the file lists; of none the common one, if there is one.
    pub(crate) fn images(&self) -> &[Table] {
        &self.images
    }

    /// Why a field is otherwise, in the order of the file.
    pub(crate) fn reasons<'a>(&'a self, field: &'a str) -> impl Iterator<Item = &'a str> {
        self.exceptions
            .iter()
            .filter(move |exception| exception.field == field)
            .map(|exception| exception.reason.as_str())
    }

    /// Every file that common keys, images and exceptions name, as written, found by the rows of keys alone.
    pub(crate) fn files(&self) -> Vec<String> {
        let mut found = Vec::new();
        let root = ROOT.field.section;
        files_of(root, &self.common, &mut found);
        for image in &self.images {
            files_of(IMAGERY.path.section, image, &mut found);
        }
        for exception in &self.exceptions {
            files_of(root, &exception.job, &mut found);
        }
        found.sort();
        found.dedup();
        found
    }

    /// Lists of weather stations, as written: they name files of their own.
    pub(crate) fn station_lists(&self) -> Vec<&str> {
        let jobs = self.exceptions.iter().map(|exception| &exception.job);
        std::iter::once(&self.common)
            .chain(jobs)
            .filter_map(|job| {
                let season = job.get(SEASON.stations.section)?.as_table()?;
                season.get(SEASON.stations.name)?.as_str()
            })
            .collect()
    }

    /// Files that an image names, as written.
    pub(crate) fn files_of_image(image: &Table) -> Vec<String> {
        let mut found = Vec::new();
        files_of(IMAGERY.path.section, image, &mut found);
        found
    }

    /// The day of an image, as written.
    pub(crate) fn day(&self, image: &Table) -> Option<String> {
        let own = image.get(IMAGERY.date.name);
        let common = || {
            let section = self.common.get(IMAGERY.date.section)?.as_table()?;
            section.get(IMAGERY.date.name)
        };
        own.or_else(common).map(|day| match day {
            Value::String(text) => text.clone(),
            other => other.to_string(),
        })
    }

    /// The path of the common image, if it is one file, as written.
    pub(crate) fn common_image(&self) -> Option<&str> {
        let section = self.common.get(IMAGERY.path.section)?.as_table()?;
        section.get(IMAGERY.path.name)?.as_str()
    }

    /// The path of an image that is one file, as written.
    pub(crate) fn file(image: &Table) -> Option<&str> {
        image.get(IMAGERY.path.name).and_then(Value::as_str)
    }

    /// The job of one field, as text of a job file beside the farm file.
    ///
    /// What stands later counts: common keys, the image, columns, exceptions. Lists of tables are joined.
    pub(crate) fn job(&self, facts: &FieldFacts<'_>) -> String {
        let mut job = self.common.clone();
        if let Some(image) = facts.image {
            let section = IMAGERY.path.section;
            merge(section, table_at(&mut job, section), image);
        }
        for (filled, value) in self.filled.iter().zip(facts.values) {
            if let Some(value) = value
                .as_deref()
                .map(str::trim)
                .filter(|text| !text.is_empty())
            {
                let value = value_of(filled.key, value, filled.unit.as_deref());
                table_at(&mut job, filled.key.section).insert(filled.key.name.to_owned(), value);
            }
        }
        if let (Some(strips), Some(filter)) = (&self.strips, facts.strips) {
            let source = source(strips, filter);
            table_at(&mut job, REFERENCE.strips.section)
                .insert(REFERENCE.strips.name.to_owned(), source);
        }
        for exception in self.exceptions.iter().filter(|one| one.field == facts.name) {
            merge("", &mut job, &exception.job);
        }
        let mut put = |key: &Key, value: Value| {
            table_at(&mut job, key.section).insert(key.name.to_owned(), value);
        };
        put(&FIELD.name, Value::String(facts.name.to_owned()));
        put(&FIELD.boundary, source(&self.fields, facts.filter));
        put(&OUTPUT.folder, Value::String(facts.output.to_owned()));
        toml::to_string(&job).unwrap_or_default()
    }
}

/// A layer with a filter, as a job has it.
fn source(layer: &FarmLayer, filter: &str) -> Value {
    let mut table = Table::new();
    let mut put = |key: &Key, text: &str| {
        table.insert(key.name.to_owned(), Value::String(text.to_owned()));
    };
    put(&FARM_FIELDS.path, &layer.path);
    if let Some(name) = &layer.layer {
        put(&FARM_FIELDS.layer, name);
    }
    put(&FARM_FIELDS.r#where, filter);
    Value::Table(table)
}

/// The table of a dotted section, made where it is missing.
fn table_at<'t>(tree: &'t mut Table, section: &str) -> &'t mut Table {
    section.split('.').fold(tree, |table, part| {
        let found = table
            .entry(part.to_owned())
            .or_insert_with(|| Value::Table(Table::new()));
        if !found.is_table() {
            *found = Value::Table(Table::new());
        }
        found.as_table_mut().expect("a table was just put there")
    })
}

/// Puts the values of a section into it. Another file takes the place of a layer whole: the filter that picks features of the one says nothing of the other.
fn merge(section: &str, into: &mut Table, from: &Table) {
    let rows = table(section).map_or(&[][..], |table| table.keys);
    for (name, value) in from {
        let is_layer = rows
            .iter()
            .any(|row| row.name == name && may_be_layer(&row.kind));
        match (into.get_mut(name), value) {
            (Some(Value::Table(own)), Value::Table(new))
                if !(is_layer && new.contains_key(FARM_FIELDS.path.name)) =>
            {
                let below = if section.is_empty() {
                    name.clone()
                } else {
                    format!("{section}.{name}")
                };
                merge(&below, own, new);
            }
            (Some(Value::Array(own)), Value::Array(new))
                if own.iter().chain(new).all(Value::is_table) =>
            {
                own.extend(new.iter().cloned());
            }
            _ => {
                into.insert(name.clone(), value.clone());
            }
        }
    }
}

fn may_be_layer(kind: &Kind) -> bool {
    match kind {
        Kind::Layer(_) => true,
        Kind::Or(parts) => parts.iter().any(may_be_layer),
        _ => false,
    }
}

/// What a column holds, as the key's kind wants it. What does not fit is left as text, and the job's reader refuses it.
fn value_of(key: &Key, text: &str, unit: Option<&str>) -> Value {
    let written = || Value::String(text.to_owned());
    let parsed = |text: &str| {
        let table: Table = format!("value = {text}").parse().ok()?;
        table.get("value").cloned()
    };
    let number = || parsed(text).filter(|value| value.is_integer() || value.is_float());
    let with_unit = || match unit {
        Some(unit) if text.parse::<f64>().is_ok() => Value::String(format!("{text} {unit}")),
        _ => written(),
    };
    match &key.kind {
        Kind::Number | Kind::Whole | Kind::Share => number().unwrap_or_else(written),
        Kind::YesNo => match text {
            "1" | "true" | "True" | "TRUE" | "T" => Value::Boolean(true),
            "0" | "false" | "False" | "FALSE" | "F" => Value::Boolean(false),
            _ => written(),
        },
        Kind::Date => {
            // GDAL parts the numbers of a day by strokes, and a time may follow.
            let day: String = text.chars().take(10).collect::<String>().replace('/', "-");
            let value = parsed(&day).filter(Value::is_datetime);
            value.unwrap_or_else(written)
        }
        Kind::Amount(_) | Kind::NitrogenOrProduct => with_unit(),
        Kind::Or(parts) => {
            let numeric = parts
                .iter()
                .any(|part| matches!(part, Kind::Number | Kind::Whole | Kind::Share));
            if unit.is_some() {
                with_unit()
            } else if numeric {
                number().unwrap_or_else(written)
            } else {
                written()
            }
        }
        _ => written(),
    }
}

/// The paths in a table of this section.
fn files_of(section: &str, tree: &Table, found: &mut Vec<String>) {
    let rows = table(section).map_or(&[][..], |table| table.keys);
    for (name, value) in tree {
        for row in rows.iter().filter(|row| row.name == name) {
            files_at(&row.kind, value, found);
        }
    }
}

fn files_at(kind: &Kind, value: &Value, found: &mut Vec<String>) {
    match (kind, value) {
        (Kind::Path | Kind::Layer(_), Value::String(path)) => found.push(path.clone()),
        (
            Kind::Table(section) | Kind::Layer(section) | Kind::Tables(section),
            Value::Table(table),
        ) => {
            files_of(section, table, found);
        }
        (Kind::Tables(_), Value::Array(list)) => {
            for value in list {
                files_at(kind, value, found);
            }
        }
        (Kind::List(each), Value::Array(list)) => {
            for value in list {
                files_at(each, value, found);
            }
        }
        (Kind::Free(each), Value::Table(table)) => {
            for (_, value) in table {
                files_at(each, value, found);
            }
        }
        (Kind::Or(parts), value) => {
            for part in *parts {
                files_at(part, value, found);
            }
        }
        _ => {}
    }
}

/// Keys of two jobs whose values differ, dotted and in order; of lists the name of the list.
pub(crate) fn changed_keys(before: &str, now: &str) -> Vec<String> {
    let tree = |text: &str| text.parse::<Table>().unwrap_or_default();
    let mut found = Vec::new();
    differing("", &tree(before), &tree(now), &mut found);
    found
}

fn differing(above: &str, before: &Table, now: &Table, found: &mut Vec<String>) {
    let names: BTreeSet<&String> = before.keys().chain(now.keys()).collect();
    for name in names {
        let dotted = if above.is_empty() {
            name.clone()
        } else {
            format!("{above}.{name}")
        };
        match (before.get(name), now.get(name)) {
            (Some(Value::Table(before)), Some(Value::Table(now))) => {
                differing(&dotted, before, now, found);
            }
            (before, now) if before != now => found.push(dotted),
            _ => {}
        }
    }
}
