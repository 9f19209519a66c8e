//! `haulm keys`: the keys of the job file, out of the table that reads them.

use crate::app::error::AppError;
use crate::job::keys::{FARM_TABLES, TABLES, known_in, table};
use crate::job::reference::methods;
use crate::job::suggest::nearest;
use crate::key::{Key, Requirement, Table};
use crate::report::model::{Block, Report, Row};
use serde_json::{Value, json};

pub use crate::job::reference::page;

/// The JSON Schema of the job file, as text.
///
/// # Errors
/// None today; a value that is no JSON would be a fault of the program.
pub fn schema() -> Result<String, AppError> {
    serde_json::to_string_pretty(&crate::job::schema::schema())
        .map(|text| text + "\n")
        .map_err(|error| AppError::fault("keys.schema", error.to_string()))
}

/// All keys, those of a section, or one key; `name` as `rate`, `rate.maximum` or `maximum`.
///
/// # Errors
/// When no section and no key is called so.
pub fn keys(name: Option<&str>) -> Result<Report, AppError> {
    let rows = |table: &'static Table| table.keys.iter().map(move |key| (table, key));
    let sections = || TABLES.iter().filter(|table| !table.name.is_empty());
    let all = || sections().chain(FARM_TABLES.iter());
    let Some(name) = name.map(|name| name.trim().trim_matches(['[', ']'])) else {
        return Ok(listed(
            "Keys of the job file",
            &sections().collect::<Vec<_>>(),
        ));
    };
    if let Some(found) = table(name).filter(|found| !found.name.is_empty()) {
        let inner = format!("{name}.");
        let below = all().filter(|table| table.name.starts_with(&inner));
        let tables: Vec<&'static Table> = std::iter::once(found).chain(below).collect();
        // A key that is a table too is shown as both.
        let own: Vec<_> = sections()
            .flat_map(rows)
            .filter(|(table, key)| full(table, key) == name)
            .collect();
        let mut report = listed(&format!("Keys of {}", found.heading), &tables);
        report
            .blocks
            .splice(0..0, own.iter().flat_map(|(table, key)| whole(table, key)));
        return Ok(report);
    }
    let found: Vec<(&'static Table, &'static Key)> = all()
        .flat_map(rows)
        .filter(|(table, key)| full(table, key) == name || key.name == name)
        .collect();
    if found.is_empty() {
        return Err(unknown(name));
    }
    let title = if let [(table, key)] = found.as_slice() {
        full(table, key)
    } else {
        format!("{} keys called {name}", found.len())
    };
    Ok(Report {
        title,
        blocks: found
            .iter()
            .flat_map(|(table, key)| whole(table, key))
            .collect(),
        json: json!({ "keys": found.iter().map(|(table, key)| value(table, key)).collect::<Vec<_>>() }),
        ..Report::default()
    })
}

/// The dotted name of a key.
fn full(table: &Table, key: &Key) -> String {
    format!("{}.{}", table.name, key.name)
}

fn listed(title: &str, tables: &[&'static Table]) -> Report {
    let blocks = tables
        .iter()
        .flat_map(|table| {
            let rows = table.keys.iter().map(|key| {
                let default = key.default_text();
                let note = match (key.need_text(), default.is_empty()) {
                    (need, true) if need.is_empty() => key.about.to_owned(),
                    (need, true) => format!(
                        "{} Required{}.",
                        key.about,
                        need.trim_start_matches("required")
                    ),
                    (_, false) => format!("{} Default: {default}.", key.about),
                };
                Row::new(key.name, key.kind.short()).with_note(note)
            });
            [
                Block::text(table.heading, vec![table.about.to_owned()]),
                Block::rows("", rows.collect()),
            ]
        })
        .collect();
    let json = tables
        .iter()
        .flat_map(|table| table.keys.iter().map(|key| value(table, key)))
        .collect::<Vec<_>>();
    Report {
        title: title.to_owned(),
        blocks,
        json: json!({ "keys": json }),
        ..Report::default()
    }
}

/// Everything about one key.
fn whole(table: &Table, key: &Key) -> [Block; 2] {
    let rows = [
        ("value", key.kind.text()),
        ("default", key.default_text()),
        (
            "required",
            key.need_text()
                .trim_start_matches("required")
                .trim()
                .to_owned(),
        ),
        ("bounds", key.bounds_text()),
        ("of", methods(key).unwrap_or_default()),
        ("example", format!("{} = {}", key.name, key.example)),
    ];
    let always = key.need_text() == "required";
    let rows = rows
        .into_iter()
        .map(|(label, text)| {
            if label == "required" && always {
                (label, "yes".to_owned())
            } else {
                (label, text)
            }
        })
        .filter(|(_, text)| !text.is_empty())
        .map(|(label, text)| Row::new(label, text))
        .collect();
    [
        Block::text(full(table, key), vec![key.about.to_owned()]),
        Block::rows("", rows),
    ]
}

fn value(table: &Table, key: &Key) -> Value {
    json!({
        "key": full(table, key),
        "section": table.name,
        "name": key.name,
        "type": key.kind.text(),
        "units": key.kind.requirement().map(Requirement::units),
        "words": key.kind.words(),
        "default": key.default_value(),
        "default_text": key.default_text(),
        "required": key.need_text(),
        "bounds": key.bounds.map(|bounds| json!({ "low": bounds.low, "high": bounds.high, "why": bounds.why })),
        "above_zero": key.above_zero,
        "methods": key.of,
        "about": key.about,
        "example": format!("{} = {}", key.name, key.example),
    })
}

fn unknown(name: &str) -> AppError {
    let names: Vec<String> = TABLES
        .iter()
        .filter(|table| !table.name.is_empty())
        .flat_map(|table| {
            let own = table.keys.iter().map(|key| full(table, key));
            let bare = table.keys.iter().map(|key| key.name.to_owned());
            std::iter::once(table.name.to_owned())
                .chain(own)
                .chain(bare)
        })
        .collect();
    let notice = AppError::refused(
        "keys.unknown",
        format!("no section and no key is called \"{name}\""),
    )
    .with_fact("sections", known_in("").join(", "));
    match nearest(name, names.iter().map(String::as_str)) {
        Some(near) => notice.with_hint(format!("did you mean \"{near}\"?")),
        None => notice.with_hint("haulm keys lists them all"),
    }
}
