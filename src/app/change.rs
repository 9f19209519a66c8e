//! Changes of a job's text that leave comments, order and spelling of everything else as they are. What they mean is for the job's own reader to say.

use toml_edit::{DocumentMut, InlineTable, Item, Table, TableLike, Value};

use crate::app::error::AppError;

/// One change: a key, and its new value as it would stand in the job; nothing takes the key out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// Names from the top of the job down to the key: `response`, `yield_curve`, `a`.
    pub path: Vec<String>,
    /// The value as it would stand in the job: `"80 kg N/ha"` with its quotes, `0.9`, `2026-04-14`, `true`.
    pub value: Option<String>,
}

impl Change {
    /// A change of the key that a section and a name stand for; sections are dotted, and the job's own top has none.
    pub fn new(section: &str, key: &str, value: Option<String>) -> Self {
        let path = section
            .split('.')
            .filter(|part| !part.is_empty())
            .chain([key])
            .map(str::to_owned)
            .collect();
        Self { path, value }
    }
    /// The dotted key: `rate.maximum`.
    pub fn key(&self) -> String {
        self.path.join(".")
    }
}

/// Reads the text of a job as something that can be changed.
///
/// # Errors
/// When it is no TOML.
pub(crate) fn document(text: &str) -> Result<DocumentMut, AppError> {
    text.parse::<DocumentMut>().map_err(|error| {
        AppError::refused(
            "job.toml",
            "the job is no TOML, so nothing in it can be changed",
        )
        .with_fact("job", error.to_string())
        .with_hint("correct it in an editor, then load it again")
    })
}

/// What is wrong with a change.
pub(crate) fn wrong(change: &Change, what: impl Into<String>) -> AppError {
    AppError::refused("job.value", what)
        .with_fact(change.key(), change.value.clone().unwrap_or_default())
}

/// The new value of a change.
///
/// # Errors
/// When it is none that could stand in a job.
pub(crate) fn value_of(change: &Change, text: &str) -> Result<Value, AppError> {
    text.trim()
        .parse()
        .map_err(|_error| wrong(change, "this is no value of a job: text stands in quotes"))
}

/// The table at a path; made where it is missing. A value that is no table, such as a name in its place, is replaced by a table.
fn table_of<'a>(root: &'a mut Table, path: &[String]) -> &'a mut dyn TableLike {
    let mut table: &mut dyn TableLike = root;
    for (depth, part) in path.iter().enumerate() {
        let item = table.entry(part).or_insert_with(|| {
            if depth == 0 {
                Item::Table(Table::new())
            } else {
                Item::Value(Value::InlineTable(InlineTable::new()))
            }
        });
        if item.as_table_like().is_none() {
            *item = Item::Value(Value::InlineTable(InlineTable::new()));
        }
        // A table was put there just now.
        let Some(inner) = item.as_table_like_mut() else {
            unreachable!("{part} is a table")
        };
        table = inner;
    }
    table
}

/// Makes one change.
///
/// # Errors
/// When the value is none that could stand in a job.
pub(crate) fn apply(document: &mut DocumentMut, change: &Change) -> Result<(), AppError> {
    let Some((key, path)) = change.path.split_last() else {
        return Err(wrong(change, "a change names no key"));
    };
    if change.value.is_some() {
        return set(table_of(document.as_table_mut(), path), change);
    }
    let mut table: Option<&mut dyn TableLike> = Some(document.as_table_mut());
    for part in path {
        table = table
            .and_then(|table| table.get_mut(part))
            .and_then(Item::as_table_like_mut);
    }
    if let Some(table) = table {
        table.remove(key);
    }
    Ok(())
}

/// Puts the value of a change into the table that holds its key, in place of what was there, or takes the key out.
///
/// # Errors
/// When the value is none that could stand in a job.
pub(crate) fn set(table: &mut dyn TableLike, change: &Change) -> Result<(), AppError> {
    let Some(key) = change.path.last() else {
        return Err(wrong(change, "a change names no key"));
    };
    let Some(text) = &change.value else {
        table.remove(key);
        return Ok(());
    };
    let mut value = value_of(change, text)?;
    match table.get_mut(key) {
        Some(Item::Value(old)) => {
            // What stands around the old value, a comment behind it among it, stays.
            *value.decor_mut() = old.decor().clone();
            *old = value;
        }
        Some(other) => *other = Item::Value(value),
        None => {
            table.insert(key, Item::Value(value));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const JOB: &str = "# a field\n[rate]\nmaximum = \"80 kg N/ha\"   # the law's\n\n[[accept]]\ncode = \"image.age\"\n";

    fn changed(path: &[&str], value: Option<&str>) -> String {
        let mut document = document(JOB).unwrap();
        let change = Change {
            path: path.iter().map(|part| (*part).to_owned()).collect(),
            value: value.map(str::to_owned),
        };
        apply(&mut document, &change).unwrap();
        document.to_string()
    }

    #[test]
    fn tables_and_lists_of_tables_are_values_too() {
        assert_eq!(
            changed(&["rate", "maximum"], Some("\"90 kg N/ha\"")),
            JOB.replace("80 kg", "90 kg")
        );
        let curve = changed(&["response", "yield_curve", "a"], Some("\"590 kg/ha\""));
        assert!(
            curve.ends_with("[response]\nyield_curve = { a = \"590 kg/ha\" }\n"),
            "{curve}"
        );
        // A list takes the place of the tables that stood there, above the first section, where only it may stand.
        let list = changed(&["accept"], Some("[{ code = \"image.shape\" }]"));
        let read: toml::Table = list.parse().unwrap();
        assert_eq!(read["accept"][0]["code"].as_str(), Some("image.shape"));
        assert_eq!(read["accept"].as_array().map(Vec::len), Some(1));
        assert!(!changed(&["accept"], None).contains("accept"));
        // A name with a dot in it is one name.
        let dotted = changed(&["imagery", "bands", "red.edge"], Some("4"));
        assert!(dotted.contains("bands = { \"red.edge\" = 4 }"), "{dotted}");
    }

    #[test]
    fn a_change_without_a_key_is_refused() {
        let mut document = document(JOB).unwrap();
        let change = Change {
            path: Vec::new(),
            value: None,
        };
        assert!(apply(&mut document, &change).is_err());
    }
}
