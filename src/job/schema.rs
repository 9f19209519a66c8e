//! The JSON Schema of the job file, out of the rows of its keys.
//!
//! It says draft-07 and uses only what draft-04 knows too, because language servers for TOML read one or the other. It sees keys, types, words, ranges of
//! numbers and the shape of amounts; units, dates and what holds between sections are the reader's.

use std::fmt::Write as _;

use crate::job::keys::{RESPONSE, table};
use crate::key::{Key, Kind, Need, Requirement, Table};
use crate::science::methods::METHODS;
use serde_json::{Map, Value, json};

/// A number at the start of an amount, and something after it that is not part of the number.
const AMOUNT: &str = r"^\s*[0-9_.]+([eE][-+]?[0-9]+)?\s*[^0-9\s.,eE_-].*$";
/// As [`AMOUNT`], with the letter of nitrogen in what follows.
const NITROGEN: &str = r"^\s*[0-9_.]+([eE][-+]?[0-9]+)?\s*[^0-9\s.,eE_-].*[nN].*$";
/// As [`AMOUNT`], below zero too.
const CHANGE: &str = r"^\s*[-+−]?\s*[0-9_.]+([eE][-+]?[0-9]+)?\s*[^0-9\s.,eE_-].*$";
/// As [`AMOUNT`] without an exponent, below zero too.
const TEMPERATURE: &str = r"^\s*[-+−]?\s*[0-9_.]+\s*[^0-9\s.,_-].*$";
/// A number, a currency before or after it, and what it is the price of.
const PRICE: &str = r"^[^0-9]*[0-9_.]+[^0-9]*(/| per ).+$";
/// A day of the calendar.
const DATE: &str = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$";

/// The schema of a job file.
pub fn schema() -> Value {
    let mut root = table("").map_or(Value::Null, |root| of_table(root, None));
    let head = json!({
        "$schema": "http://json-schema.org/draft-07/schema#",
        "title": format!("haulm {} job file", env!("CARGO_PKG_VERSION")),
        "description": "One field, one decision. Made by haulm keys --schema; haulm check sees more than it: units, dates, and what holds between sections.",
    });
    put_all(&mut root, &head);
    put_all(
        &mut root,
        &json!({ "required": ["rate", "reference"], "allOf": [map_or_rate()] }),
    );
    root
}

fn put_all(value: &mut Value, more: &Value) {
    if let (Value::Object(value), Value::Object(more)) = (value, more) {
        for (key, item) in more {
            value.insert(key.clone(), item.clone());
        }
    }
}

/// A job of one flat rate, told by its readings or its ramp, does without what only a map needs.
fn map_or_rate() -> Value {
    let needs = |section: &str| {
        let keys = table(section).map_or(&[][..], |table| table.keys);
        let required: Vec<&str> = keys
            .iter()
            .filter(|key| key.need == Need::Map)
            .map(|key| key.name)
            .collect();
        json!({ "required": required })
    };
    json!({ "anyOf": [
        { "properties": { "reference": { "anyOf": [{ "required": ["readings"] }, { "required": ["ramp"] }] } } },
        {
            "required": ["field", "response", "machine"],
            "properties": {
                "field": needs("field"), "imagery": needs("imagery"), "points": needs("points"), "machine": needs("machine"),
                "reference": { "anyOf": [{ "required": ["strips"] }, { "required": ["percentile"] }] },
            },
            "anyOf": [{ "required": ["imagery"] }, { "required": ["points"] }],
        },
    ] })
}

fn of_table(table: &Table, about: Option<&str>) -> Value {
    let mut properties = Map::new();
    for key in table.keys {
        let own = of_key(key);
        let both = match properties.remove(key.name) {
            None => own,
            Some(other) => json!({ "anyOf": [other, own] }),
        };
        properties.insert(key.name.to_owned(), both);
    }
    let required: Vec<&str> = table
        .keys
        .iter()
        .filter(|key| key.need == Need::Always && key.of.is_empty())
        .map(|key| key.name)
        .collect();
    let mut value = json!({
        "type": "object",
        "description": about.unwrap_or(table.about),
        "properties": properties,
        "additionalProperties": false,
    });
    // An empty list of required keys is no draft-04.
    if !required.is_empty() {
        put_all(&mut value, &json!({ "required": required }));
    }
    if table.keys.iter().any(|key| !key.of.is_empty()) {
        put_all(&mut value, &json!({ "allOf": by_method(table) }));
    }
    value
}

/// One clause a method: where it is the job's, its required keys are there and those of other methods are not.
fn by_method(table: &Table) -> Vec<Value> {
    let default =
        crate::job::keys::row(table.name, &RESPONSE.method, None).and_then(Key::default_value);
    METHODS
        .iter()
        .map(|method| {
            let mut chosen = json!({ "properties": { "method": { "enum": [method.name] } } });
            if default != Some(&*format!("\"{}\"", method.name)) {
                put_all(&mut chosen, &json!({ "required": ["method"] }));
            }
            let required: Vec<&str> = table
                .keys
                .iter()
                .filter(|key| key.need == Need::Always && key.of.contains(&method.name))
                .map(|key| key.name)
                .collect();
            let mut properties = Map::new();
            for key in table.keys.iter().filter(|key| !key.of.is_empty()) {
                if key.belongs_to(method.name) {
                    properties.insert(key.name.to_owned(), of_key(key));
                } else if !properties.contains_key(key.name) {
                    properties.insert(key.name.to_owned(), json!({ "not": {} }));
                }
            }
            let mut then = json!({ "properties": properties });
            if !required.is_empty() {
                put_all(&mut then, &json!({ "required": required }));
            }
            json!({ "anyOf": [{ "not": chosen }, then] })
        })
        .collect()
}

/// The schema of one key's value.
fn of_key(key: &Key) -> Value {
    let mut value = of_kind(&key.kind, key);
    put_all(&mut value, &json!({ "description": described(key) }));
    if let Some(default) = key.default_value().and_then(toml_value) {
        put_all(&mut value, &json!({ "default": default }));
    }
    if let Some(example) = toml_value(key.example) {
        put_all(&mut value, &json!({ "examples": [example] }));
    }
    value
}

/// What an editor shows beside the key.
fn described(key: &Key) -> String {
    if key.about.is_empty() {
        return key
            .kind
            .table()
            .or(key.kind.tables())
            .and_then(table)
            .map_or_else(String::new, |table| table.about.to_owned());
    }
    let mut text = format!("{} {}.", key.about, sentence(&key.kind.text()));
    let need = key.need_text();
    if !need.is_empty() {
        let _ = write!(text, " {}.", sentence(&need));
    }
    let default = key.default_text();
    if !default.is_empty() {
        let _ = write!(text, " Default: {default}.");
    }
    let bounds = key.bounds_text();
    if !bounds.is_empty() {
        let _ = write!(text, " {}.", sentence(&bounds));
    }
    let _ = write!(text, " Example: {} = {}", key.name, key.example);
    text
}

/// With a capital first letter.
pub(super) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().collect::<String>() + letters.as_str()
    })
}

/// A value of TOML as one of JSON; a date is text there.
fn toml_value(text: &str) -> Option<Value> {
    let table: toml::Table = format!("key = {text}").parse().ok()?;
    Some(json_of(table.get("key")?))
}

fn json_of(value: &toml::Value) -> Value {
    match value {
        toml::Value::String(text) => json!(text),
        toml::Value::Integer(number) => json!(number),
        toml::Value::Float(number) => json!(number),
        toml::Value::Boolean(truth) => json!(truth),
        toml::Value::Datetime(date) => json!(date.to_string()),
        toml::Value::Array(list) => list.iter().map(json_of).collect(),
        toml::Value::Table(table) => table
            .iter()
            .map(|(key, value)| (key.clone(), json_of(value)))
            .collect::<Map<_, _>>()
            .into(),
    }
}

fn of_kind(kind: &Kind, key: &Key) -> Value {
    match kind {
        // The table of methods is whole; crops, curves and products may be the user's own.
        Kind::NameOf("haulm methods") => {
            json!({ "type": "string", "enum": METHODS.iter().map(|method| method.name).collect::<Vec<_>>() })
        }
        Kind::Text | Kind::Path | Kind::NameOf(_) => text(),
        Kind::Layer(section) => json!({ "anyOf": [text(), inner(section)] }),
        Kind::Number | Kind::Share => number("number", key),
        Kind::Whole => number("integer", key),
        Kind::Date => pattern(DATE),
        Kind::YesNo => json!({ "type": "boolean" }),
        Kind::Words(words) => json!({ "type": "string", "enum": words }),
        Kind::Amount(Requirement::Nitrogen) => pattern(NITROGEN),
        Kind::Amount(Requirement::Temperature) => pattern(TEMPERATURE),
        Kind::Amount(
            Requirement::GrainPrice
            | Requirement::NitrogenPrice
            | Requirement::ProductPrice
            | Requirement::AreaPrice,
        ) => pattern(PRICE),
        Kind::Amount(_) | Kind::NitrogenOrProduct => pattern(AMOUNT),
        Kind::NitrogenChange => pattern(CHANGE),
        Kind::Table(section) => inner(section),
        Kind::Tables(section) => {
            json!({ "type": "array", "minItems": 1, "items": inner(section) })
        }
        Kind::List(each) => {
            json!({ "type": "array", "minItems": 1, "items": of_kind(each, key) })
        }
        Kind::Free(each) => {
            json!({ "type": "object", "additionalProperties": of_kind(each, key) })
        }
        Kind::Or(parts) => {
            json!({ "anyOf": parts.iter().map(|part| of_kind(part, key)).collect::<Vec<_>>() })
        }
    }
}

fn inner(section: &str) -> Value {
    table(section).map_or(Value::Null, |table| of_table(table, None))
}

fn text() -> Value {
    json!({ "type": "string", "pattern": r"\S" })
}

fn pattern(pattern: &str) -> Value {
    json!({ "type": "string", "pattern": pattern })
}

fn number(kind: &str, key: &Key) -> Value {
    let mut value = json!({ "type": kind });
    let bound = |text: &str| toml_value(text).filter(Value::is_number);
    if let Some(bounds) = key.bounds {
        for (name, end) in [("minimum", bounds.low), ("maximum", bounds.high)] {
            if let Some(end) = bound(end) {
                put_all(&mut value, &json!({ name: end }));
            }
        }
    }
    if key.above_zero {
        put_all(&mut value, &json!({ "not": { "maximum": 0 } }));
    }
    value
}
