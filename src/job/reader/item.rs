//! Values of a job file and where they stand.

use std::ops::Range;

use jiff::civil::Date;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A value of the file, free of the parser's lifetimes.
#[derive(Clone, Debug)]
pub(crate) enum Item {
    Text(String),
    /// An integer or a float, as written.
    Number(String),
    Boolean(bool),
    Date(Date),
    /// A date and time, a time, or a date that the calendar does not have.
    OtherTime,
    List(Vec<Entry>),
    Table(Vec<(String, Entry)>),
}

impl Item {
    pub(crate) const fn kind(&self) -> &'static str {
        match self {
            Self::Text(_) => "text",
            Self::Number(_) => "a number",
            Self::Boolean(_) => "true or false",
            Self::Date(_) => "a date",
            Self::OtherTime => "a time",
            Self::List(_) => "a list",
            Self::Table(_) => "a table",
        }
    }
}

/// A value and the bytes that it takes in the file.
#[derive(Clone, Debug)]
pub(crate) struct Entry {
    pub(crate) item: Item,
    pub(crate) span: Range<usize>,
    /// Where its key stands.
    pub(super) key_span: Range<usize>,
}

pub(super) fn entries(table: &DeTable<'_>) -> Vec<(String, Entry)> {
    let mut all: Vec<(String, Entry)> = table
        .iter()
        .map(|(key, value)| (key.get_ref().to_string(), entry(value, key.span())))
        .collect();
    all.sort_by_key(|(_, entry)| entry.key_span.start);
    all
}

fn entry(value: &Spanned<DeValue<'_>>, key_span: Range<usize>) -> Entry {
    let item = match value.get_ref() {
        DeValue::String(text) => Item::Text(text.to_string()),
        DeValue::Integer(number) if number.radix() == 10 => {
            Item::Number(number.as_str().to_owned())
        }
        DeValue::Integer(number) => Item::Number(
            i64::from_str_radix(number.as_str(), number.radix())
                .map_or_else(|_| number.to_string(), |n| n.to_string()),
        ),
        DeValue::Float(number) => Item::Number(number.as_str().to_owned()),
        DeValue::Boolean(truth) => Item::Boolean(*truth),
        DeValue::Datetime(when) => match (when.date, when.time, when.offset) {
            (Some(date), None, None) => Date::new(
                i16::try_from(date.year).unwrap_or(i16::MAX),
                date.month.cast_signed(),
                date.day.cast_signed(),
            )
            .map_or(Item::OtherTime, Item::Date),
            _ => Item::OtherTime,
        },
        DeValue::Array(list) => Item::List(
            list.iter()
                .map(|value| entry(value, value.span()))
                .collect(),
        ),
        DeValue::Table(table) => Item::Table(entries(table)),
    };
    Entry {
        item,
        span: value.span(),
        key_span,
    }
}
