//! What the page's form may write into a job file, and the lists of tables that it changes. Single changes are made by [`crate::app::change`].

use toml_edit::{DocumentMut, Item, Table, TableLike, Value};

use crate::app::change;
use crate::app::error::AppError;
use crate::job::keys::{IMAGERY, MACHINE, RATE, REFERENCE, SEASON};
use crate::key::Key;
use crate::science::methods::yield_response::KEYS as YIELD_RESPONSE;

pub(crate) use crate::app::change::document;

/// One change: a key, and its new value as it would stand in the job; nothing takes the key out.
#[derive(Clone, Debug, serde::Deserialize, utoipa::ToSchema)]
pub(crate) struct Change {
    /// Section, dotted: `response.yield_curve`.
    pub(crate) section: String,
    pub(crate) key: String,
    /// The value as it would stand in the job: `"80 kg N/ha"` with its quotes, `0.9`, `2026-04-14`, `true`.
    pub(crate) value: Option<String>,
}

/// The change that is asked for, if it is one that a form can write: a number, a text, a date, true or false, or a list of those.
fn allowed(asked: &Change) -> Result<change::Change, AppError> {
    let change = change::Change::new(&asked.section, &asked.key, asked.value.clone());
    if let Some(text) = &change.value {
        let simple = |value: &Value| !matches!(value, Value::Array(_) | Value::InlineTable(_));
        let fits = match &change::value_of(&change, text)? {
            Value::Array(list) => list.iter().all(simple),
            Value::InlineTable(_) => false,
            _ => true,
        };
        if !fits {
            return Err(change::wrong(
                &change,
                "the page writes single values and plain lists",
            ));
        }
    }
    Ok(change)
}

/// Makes one change.
///
/// # Errors
/// When the value is none that a form can write.
pub(crate) fn apply(document: &mut DocumentMut, change: &Change) -> Result<(), AppError> {
    change::apply(document, &allowed(change)?)
}

/// A list of tables as it stands in a job: with headers, or in one line.
enum List<'a> {
    Headers(&'a mut toml_edit::ArrayOfTables),
    Inline(&'a mut toml_edit::Array),
}

impl List<'_> {
    fn len(&self) -> usize {
        match self {
            Self::Headers(list) => list.len(),
            Self::Inline(list) => list.len(),
        }
    }
    fn remove(&mut self, position: usize) {
        match self {
            Self::Headers(list) => {
                list.remove(position);
            }
            Self::Inline(list) => {
                list.remove(position);
            }
        }
    }
    fn entry(&mut self, position: usize) -> Option<&mut dyn TableLike> {
        match self {
            Self::Headers(list) => list
                .get_mut(position)
                .map(|table| table as &mut dyn TableLike),
            Self::Inline(list) => list
                .get_mut(position)
                .and_then(Value::as_inline_table_mut)
                .map(|table| table as &mut dyn TableLike),
        }
    }
}

/// Where the list of a path stands, and its name there; `None` where the way leads nowhere. Sections that are missing are made when `make` says so.
fn at_list<'a, 'p>(
    document: &'a mut DocumentMut,
    path: &[&'p str],
    make: bool,
) -> Option<(&'a mut dyn TableLike, &'p str)> {
    let (last, sections) = path.split_last()?;
    let mut table: &mut dyn TableLike = document.as_table_mut();
    for section in sections {
        if make && !table.contains_key(section) {
            table.insert(section, Item::Table(Table::new()));
        }
        table = table.get_mut(section)?.as_table_like_mut()?;
    }
    Some((table, last))
}

fn list_of(item: &mut Item) -> Option<List<'_>> {
    match item {
        Item::ArrayOfTables(list) => Some(List::Headers(list)),
        Item::Value(Value::Array(list)) => Some(List::Inline(list)),
        _ => None,
    }
}

fn missing(path: &[&str], position: usize) -> AppError {
    AppError::refused("page.list", "there is no such entry in the job")
        .with_fact(path.join("."), (position + 1).to_string())
}

/// Adds a table to a list of tables, such as `[[accept]]` or `[[rate.set]]`; in one line where the list stands so.
///
/// # Errors
/// When something else stands where the list belongs.
pub(crate) fn add(
    document: &mut DocumentMut,
    path: &[&str],
    entries: &[(&str, Value)],
) -> Result<(), AppError> {
    let blocked = || {
        AppError::refused(
            "page.list",
            "something else stands in the job where this list belongs",
        )
        .with_fact("job", path.join("."))
        .with_hint("write it as a list of tables in an editor, then load the page again")
    };
    let (table, last) = at_list(document, path, true).ok_or_else(blocked)?;
    if !table.contains_key(last) {
        table.insert(last, Item::ArrayOfTables(toml_edit::ArrayOfTables::new()));
    }
    let list = table.get_mut(last).and_then(list_of).ok_or_else(blocked)?;
    match list {
        List::Headers(list) => {
            let mut entry = Table::new();
            for (key, value) in entries {
                entry.insert(key, Item::Value(value.clone()));
            }
            list.push(entry);
        }
        List::Inline(list) => {
            let each = entries.iter().map(|(key, value)| (*key, value.clone()));
            list.push(Value::InlineTable(each.collect()));
        }
    }
    Ok(())
}

/// Changes one key of a table in a list of tables; without a value the key goes.
///
/// # Errors
/// When there is no such table, or the value is none that a form can write.
pub(crate) fn put(
    document: &mut DocumentMut,
    path: &[&str],
    position: usize,
    change: &Change,
) -> Result<(), AppError> {
    let (table, last) = at_list(document, path, false).ok_or_else(|| missing(path, position))?;
    let item = table.get_mut(last).ok_or_else(|| missing(path, position))?;
    let mut list;
    let entry: &mut dyn TableLike = if position == 0 && item.is_table_like() {
        // One table where a list may stand.
        item.as_table_like_mut().ok_or_else(|| missing(path, 0))?
    } else {
        list = list_of(item).ok_or_else(|| missing(path, position))?;
        list.entry(position)
            .ok_or_else(|| missing(path, position))?
    };
    change::set(entry, &allowed(change)?)
}

/// How many tables a list has.
pub(crate) fn length(document: &mut DocumentMut, path: &[&str]) -> usize {
    at_list(document, path, false)
        .and_then(|(table, last)| table.get_mut(last))
        .and_then(list_of)
        .map_or(0, |list| list.len())
}

/// Takes a table out of a list of tables; a list without any goes too.
///
/// # Errors
/// When there is no such table.
pub(crate) fn take(
    document: &mut DocumentMut,
    path: &[&str],
    position: usize,
) -> Result<(), AppError> {
    let (table, last) = at_list(document, path, false).ok_or_else(|| missing(path, position))?;
    let item = table.get_mut(last).ok_or_else(|| missing(path, position))?;
    let alone = position == 0 && item.is_table_like();
    if !alone {
        let mut list = list_of(item)
            .filter(|list| position < list.len())
            .ok_or_else(|| missing(path, position))?;
        list.remove(position);
        if list.len() > 0 {
            return Ok(());
        }
    }
    table.remove(last);
    Ok(())
}

/// The job as a tree for the form: texts as they are, everything else as it stands in the file.
pub(crate) fn tree(item: &Item) -> serde_json::Value {
    fn of_value(value: &Value) -> serde_json::Value {
        match value {
            Value::String(text) => serde_json::Value::String(text.value().clone()),
            Value::Integer(number) => (*number.value()).into(),
            Value::Float(number) => (*number.value()).into(),
            Value::Boolean(on) => (*on.value()).into(),
            Value::Datetime(date) => serde_json::Value::String(date.value().to_string()),
            Value::Array(list) => list.iter().map(of_value).collect(),
            Value::InlineTable(table) => table
                .iter()
                .map(|(key, value)| (key.to_owned(), of_value(value)))
                .collect::<serde_json::Map<_, _>>()
                .into(),
        }
    }
    match item {
        Item::None => serde_json::Value::Null,
        Item::Value(value) => of_value(value),
        Item::Table(table) => table
            .iter()
            .map(|(key, item)| (key.to_owned(), tree(item)))
            .collect::<serde_json::Map<_, _>>()
            .into(),
        Item::ArrayOfTables(list) => list
            .iter()
            .map(|table| tree(&Item::Table(table.clone())))
            .collect(),
    }
}

/// Values that decide nothing anybody sees, for keys without which a job is not read at all.
fn stand_ins() -> [(&'static Key, &'static str); 5] {
    const DATE: Key = IMAGERY.date.row;
    const CROP: Key = SEASON.crop.row;
    const MAXIMUM_YIELD: Key = YIELD_RESPONSE.maximum_yield.row;
    const MAXIMUM: Key = RATE.maximum.row;
    const WIDTH: Key = MACHINE.working_width.row;
    [
        (&DATE, "2000-01-01"),
        (&CROP, "\"winter wheat\""),
        (&MAXIMUM_YIELD, "\"8 t/ha\""),
        (&MAXIMUM, "\"100 kg N/ha\""),
        (&WIDTH, "\"24 m\""),
    ]
}

/// Whether a key is not given, or still to be filled in.
fn is_open(root: &Table, key: &Key) -> bool {
    let todo = |value: &Value| value.as_str().is_some_and(|text| text.starts_with("TODO"));
    root.get(key.section)
        .and_then(|section| section.get(key.name))
        .is_none_or(|item| match item {
            Item::Value(Value::InlineTable(table)) => table.iter().any(|(_, value)| todo(value)),
            Item::Value(value) => todo(value),
            _ => false,
        })
}

/// A job that shows what is there before it is finished: what is missing or open is filled in with numbers that decide nothing anybody sees. `None` when nothing was
/// missing that can be filled in.
pub(crate) fn sketch(text: &str) -> Option<String> {
    let mut document = document(text).ok()?;
    let root = document.as_table_mut();
    let mut filled = false;
    let mut fill = |root: &mut Table, key: &Key, value: &str| {
        if let Ok(value) = value.parse::<Value>()
            && let Some(table) = root
                .entry(key.section)
                .or_insert(Item::Table(Table::new()))
                .as_table_like_mut()
        {
            table.insert(key.name, Item::Value(value));
            filled = true;
        }
    };
    let reference: [&Key; 3] = [
        &REFERENCE.strips,
        &REFERENCE.readings,
        &REFERENCE.percentile,
    ];
    if reference.iter().all(|key| is_open(root, key)) {
        root.insert(REFERENCE.percentile.section, Item::Table(Table::new()));
        fill(root, &REFERENCE.percentile, "95");
    }
    let days: [&Key; 3] = [&SEASON.growing_days, &SEASON.weather, &SEASON.stations];
    if days.iter().all(|key| is_open(root, key)) {
        fill(root, &SEASON.growing_days, "100");
    }
    for (key, value) in stand_ins() {
        if is_open(root, key) {
            fill(root, key, value);
        }
    }
    if is_open(root, &YIELD_RESPONSE.yield_curve) {
        let index = root
            .get(IMAGERY.index.section)
            .and_then(|imagery| imagery.get(IMAGERY.index.name))
            .and_then(Item::as_str)
            .unwrap_or("NDVI")
            .to_owned();
        let index = Value::from(index).to_string();
        fill(
            root,
            &YIELD_RESPONSE.yield_curve,
            &format!(
                "{{ a = \"590 kg/ha\", b = 258.2, index = {index}, source = \"to look at the field, not to decide by\" }}"
            ),
        );
    }
    filled.then(|| document.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    const JOB: &str = "# a field\n[rate]\nmaximum = \"80 kg N/ha\"   # the law's\nstep=\"10 kg N/ha\"\n\n[response]\nyield_curve = { a = \"590 kg/ha\", b = 258.2 } # ours\n\n[[accept]]\ncode = \"image.age\"\n";

    fn changed(section: &str, key: &str, value: Option<&str>) -> String {
        let mut document = document(JOB).unwrap();
        let change = Change {
            section: section.to_owned(),
            key: key.to_owned(),
            value: value.map(str::to_owned),
        };
        apply(&mut document, &change).unwrap();
        document.to_string()
    }

    #[test]
    fn a_change_leaves_comments_order_and_all_else_as_they_are() {
        assert_eq!(
            changed("rate", "maximum", Some("\"90 kg N/ha\"")),
            JOB.replace("80 kg", "90 kg")
        );
        assert_eq!(
            changed("response.yield_curve", "b", Some("260")),
            JOB.replace("258.2", "260")
        );
        assert_eq!(
            changed("rate", "step", None),
            JOB.replace("step=\"10 kg N/ha\"\n", "")
        );
        assert_eq!(changed("zones", "nothing", None), JOB);
        let added = changed("zones", "by", Some("\"cells\""));
        assert!(
            added.starts_with(JOB) && added.ends_with("[zones]\nby = \"cells\"\n"),
            "{added}"
        );
    }

    #[test]
    fn only_values_that_a_form_writes_are_taken() {
        let mut document = document(JOB).unwrap();
        for bad in [
            "80 kg N/ha",
            "{ path = \"x\" }",
            "1]\n[rate",
            "[[1]]",
            "\"open",
            "",
        ] {
            let change = Change {
                section: "rate".to_owned(),
                key: "maximum".to_owned(),
                value: Some(bad.to_owned()),
            };
            assert!(apply(&mut document, &change).is_err(), "{bad}");
        }
        assert_eq!(document.to_string(), JOB);
    }

    #[test]
    fn tables_join_and_leave_their_list() {
        let mut document = document(JOB).unwrap();
        add(
            &mut document,
            &["accept"],
            &[("code", "image.shape".into())],
        )
        .unwrap();
        add(
            &mut document,
            &["rate", "set"],
            &[("path", "a.geojson".into())],
        )
        .unwrap();
        let tree = tree(document.as_item());
        assert_eq!(tree["accept"][1]["code"], "image.shape");
        assert_eq!(tree["rate"]["set"][0]["path"], "a.geojson");
        take(&mut document, &["accept"], 0).unwrap();
        assert!(take(&mut document, &["accept"], 7).is_err());
        assert!(take(&mut document, &["rate", "no"], 0).is_err());
        take(&mut document, &["rate", "set"], 0).unwrap();
        let tree = super::tree(document.as_item());
        assert_eq!(tree["accept"][0]["code"], "image.shape");
        assert!(tree["rate"].get("set").is_none());
    }

    #[test]
    fn a_list_in_one_line_is_changed_where_it_stands() {
        let text = "[field]\nexclude = [{ path = \"a.geojson\" }, { path = \"b.geojson\", buffer = \"5 m\" }] # ours\nedge = \"x\"\n";
        let change = |key: &str, value: Option<&str>| Change {
            section: "field.exclude".to_owned(),
            key: key.to_owned(),
            value: value.map(str::to_owned),
        };
        let path = ["field", "exclude"];
        let mut document = document(text).unwrap();
        put(&mut document, &path, 1, &change("buffer", Some("\"9 m\""))).unwrap();
        assert_eq!(document.to_string(), text.replace("5 m", "9 m"));
        put(&mut document, &path, 1, &change("buffer", None)).unwrap();
        assert!(put(&mut document, &path, 2, &change("buffer", None)).is_err());
        add(&mut document, &path, &[("path", "c.geojson".into())]).unwrap();
        let after = tree(document.as_item());
        assert_eq!(after["field"]["exclude"][2]["path"], "c.geojson");
        assert!(after["field"]["exclude"][1].get("buffer").is_none());
        take(&mut document, &path, 0).unwrap();
        assert!(document.to_string().contains("# ours"), "{document}");
        assert_eq!(
            tree(document.as_item())["field"]["exclude"][0]["path"],
            "b.geojson"
        );
        assert!(add(&mut document, &["field", "edge"], &[("path", "d".into())]).is_err());
    }

    #[test]
    fn one_table_where_a_list_may_stand_is_its_first_entry() {
        let mut document = document("[imagery.mask]\npath = \"a.tif\"\n").unwrap();
        let change = Change {
            section: "imagery.mask".to_owned(),
            key: "band".to_owned(),
            value: Some("2".to_owned()),
        };
        let path = ["imagery", "mask"];
        put(&mut document, &path, 0, &change).unwrap();
        assert_eq!(tree(document.as_item())["imagery"]["mask"]["band"], 2);
        assert!(put(&mut document, &path, 1, &change).is_err());
        take(&mut document, &path, 0).unwrap();
        assert!(tree(document.as_item())["imagery"].get("mask").is_none());
    }
}
