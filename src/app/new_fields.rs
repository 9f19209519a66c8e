//! The fields of a boundary file that holds several: their names, and the filter that picks each.

use std::collections::BTreeSet;
use std::path::Path;

use crate::app::error::AppError;
use crate::format::vector::{Columns, read_columns};

/// Columns that hold the name of a field, in the order of trust. Common practice, no source.
const NAME_COLUMNS: [&str; 8] = [
    "name",
    "field_name",
    "fieldname",
    "field",
    "label",
    "field_id",
    "fieldid",
    "id",
];

/// One field of the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct NamedField {
    /// What the file calls it.
    pub(crate) name: String,
    /// The filter that picks it alone, as `where` of a job takes it.
    pub(crate) filter: String,
}

/// Every field of a boundary file, by `column`, or by the first column that tells all apart, or by the number of the feature.
///
/// # Errors
/// When the file cannot be read, has no such column, or the column does not tell its fields apart.
pub(crate) fn fields_of(path: &Path, column: Option<&str>) -> Result<Vec<NamedField>, AppError> {
    named_fields(&read_columns(path, None)?, path, column, "FID")
}

/// The fields of a table that was read; `number`: what a filter calls the number of a feature.
///
/// # Errors
/// When there is no such column, or it does not tell the fields apart.
pub(crate) fn named_fields(
    table: &Columns,
    path: &Path,
    column: Option<&str>,
    number: &str,
) -> Result<Vec<NamedField>, AppError> {
    let Some(column) = column else {
        let mut places: Vec<usize> = (0..table.columns.len()).collect();
        places.sort_by_key(|at| {
            let name = table.columns[*at].0.to_lowercase();
            NAME_COLUMNS
                .iter()
                .position(|known| *known == name)
                .unwrap_or(NAME_COLUMNS.len())
        });
        let chosen = places.into_iter().find_map(|at| by_column(table, at));
        return Ok(chosen.unwrap_or_else(|| by_number(table, number)));
    };
    let names = || {
        let all: Vec<&str> = table
            .columns
            .iter()
            .map(|(name, _)| name.as_str())
            .collect();
        all.join(", ")
    };
    let place = table
        .columns
        .iter()
        .position(|(name, _)| name.eq_ignore_ascii_case(column))
        .ok_or_else(|| {
            AppError::refused("boundary.column", format!("there is no column {column:?}"))
                .with_fact(path.display().to_string(), format!("columns: {}", names()))
                .with_hint(
                    "name one of them with --name-column, or with fields.name in a farm file",
                )
        })?;
    by_column(table, place).ok_or_else(|| {
        AppError::refused(
            "boundary.column",
            format!("the column {column:?} does not tell the fields apart"),
        )
        .with_fact(
            path.display().to_string(),
            "a value stands twice, or is empty",
        )
        .with_hint(format!("name another of: {}", names()))
    })
}

/// The fields by a column, if every value stands once.
fn by_column(table: &Columns, at: usize) -> Option<Vec<NamedField>> {
    let (column, is_text) = table.columns.get(at)?;
    let mut fields: Vec<NamedField> = Vec::new();
    let mut seen = BTreeSet::new();
    for (_, values) in &table.rows {
        let value = values
            .get(at)?
            .as_ref()
            .filter(|value| !value.trim().is_empty())?;
        if !seen.insert(value) {
            return None;
        }
        let literal = if *is_text {
            format!("'{}'", value.replace('\'', "''"))
        } else {
            value.clone()
        };
        fields.push(NamedField {
            name: value.clone(),
            filter: format!("{} = {literal}", identifier(column)),
        });
    }
    Some(fields)
}

/// The fields by the number of the feature.
fn by_number(table: &Columns, column: &str) -> Vec<NamedField> {
    let rows = table.rows.iter();
    rows.map(|(number, _)| NamedField {
        name: format!("field {number}"),
        filter: format!("{column} = {number}"),
    })
    .collect()
}

/// A column as it stands in a filter: in double quotes where it is no plain word.
pub(crate) fn identifier(column: &str) -> String {
    let plain = column
        .chars()
        .all(|c| c.is_ascii_alphanumeric() || c == '_')
        && !column.starts_with(|c: char| c.is_ascii_digit());
    if plain {
        column.to_owned()
    } else {
        format!("\"{}\"", column.replace('"', "\"\""))
    }
}

/// A name as the name of a file or folder: letters and digits, the rest one hyphen.
pub(crate) fn slug(name: &str) -> String {
    let mut out = String::new();
    for c in name.chars().take(60) {
        if c.is_alphanumeric() {
            out.extend(c.to_lowercase());
        } else if !out.is_empty() && !out.ends_with('-') {
            out.push('-');
        }
    }
    let out = out.trim_end_matches('-');
    if out.is_empty() {
        "field".to_owned()
    } else {
        out.to_owned()
    }
}

/// Slugs of names, each once: the second of two alike gets a number.
pub(crate) fn slugs(fields: &[NamedField]) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    let mut taken = BTreeSet::new();
    for field in fields {
        let first = slug(&field.name);
        let mut one = first.clone();
        let mut number = 2;
        while !taken.insert(one.clone()) {
            one = format!("{first}-{number}");
            number += 1;
        }
        all.push(one);
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(columns: &[(&str, bool)], rows: &[&[&str]]) -> Columns {
        Columns {
            columns: columns
                .iter()
                .map(|(name, text)| ((*name).to_owned(), *text))
                .collect(),
            rows: rows
                .iter()
                .zip(1..)
                .map(|(values, number)| {
                    let values = values.iter().map(|value| Some((*value).to_owned()));
                    (number, values.collect())
                })
                .collect(),
        }
    }

    #[test]
    fn a_column_that_tells_all_apart_gives_names_and_filters() {
        let table = table(
            &[("farm", true), ("FIELD NO", false), ("name", true)],
            &[&["A", "7", "O'Hara 40"], &["A", "8", "Low Ley"]],
        );
        assert_eq!(by_column(&table, 0), None);
        let numbered = by_column(&table, 1).unwrap();
        assert_eq!(numbered[0].filter, "\"FIELD NO\" = 7");
        let named = by_column(&table, 2).unwrap();
        assert_eq!(named[0].filter, "name = 'O''Hara 40'");
        assert_eq!(named[1].name, "Low Ley");
    }

    #[test]
    fn names_become_file_names_each_once() {
        let fields = ["Miller North 40", "miller north-40", "Höhe/1", "…"].map(|name| NamedField {
            name: name.to_owned(),
            filter: String::new(),
        });
        assert_eq!(
            slugs(&fields),
            ["miller-north-40", "miller-north-40-2", "höhe-1", "field"]
        );
    }
}
