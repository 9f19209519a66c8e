//! A typed reader of TOML tables that knows where every value stands and gathers every fault instead of ending at the first.
//!
//! Getters consume keys and take the key's row, [`Typed`](crate::key::Typed) with what is read by it. A faulty value has been logged before a default is
//! taken in its place, so such a default never leaves this module: the whole file is refused at the end.

mod item;
mod log;
mod section;
mod values;

use crate::job::amount::is_us;
use crate::job::problem::Problem;
use toml::de::DeTable;

use item::entries;
pub(crate) use item::{Entry, Item};
pub(crate) use log::Log;
pub(crate) use section::Section;
#[cfg(test)]
pub(crate) use section::consumed;

/// Tables of one list, such as `[[field.exclusion]]`.
const MAXIMUM_TABLES: usize = 5_000;
/// Slips of spelling that are told at once.
const MAXIMUM_SLIPS: usize = 5;

/// Parses a whole file; every syntax fault is logged, and `None` returned when there is one.
pub(crate) fn parse(log: &Log) -> Option<Section<'_>> {
    parse_as(log, "")
}

/// As [`parse`], of a file with the keys of another root than the job's.
pub(crate) fn parse_as<'a>(log: &'a Log, kind: &'static str) -> Option<Section<'a>> {
    let (table, errors) = DeTable::parse_recoverable(log.text());
    // What comes after the first slips of spelling is mostly their echo.
    for error in errors.iter().take(MAXIMUM_SLIPS) {
        let span = error.span().unwrap_or(log.text().len()..log.text().len());
        // The parser's place may be a single letter, or lie between two: the rest of the line says more.
        let rest = log
            .text()
            .get(span.start..)
            .and_then(|text| text.lines().next())
            .map_or(0, str::len);
        let span = span.start..span.start + rest;
        let reason = error.message().lines().collect::<Vec<_>>().join(", ");
        log.fault(&span, "", true, Problem::Syntax { reason });
    }
    if !errors.is_empty() {
        return None;
    }
    let entries = entries(table.get_ref());
    log.speaks(entries.iter().any(speaks_us));
    Some(Section::root(log, kind, entries))
}

/// Whether an entry, or one within it, is an amount in US units. Free texts are none.
fn speaks_us((key, entry): &(String, Entry)) -> bool {
    match &entry.item {
        Item::Text(text) => !FREE_TEXTS.contains(&key.as_str()) && is_us(text),
        Item::List(list) => list
            .iter()
            .any(|entry| speaks_us(&(key.clone(), entry.clone()))),
        Item::Table(table) => table.iter().any(speaks_us),
        _ => false,
    }
}

/// Keys whose texts are nobody's amounts, however they look.
const FREE_TEXTS: [&str; 6] = ["name", "where", "reason", "by", "source", "label"];

/// Whether a value is one that a made job file left to fill.
fn is_open(text: &str) -> bool {
    text.starts_with("TODO")
}

/// One line, 60 characters at most.
fn shorten(text: &str) -> String {
    let line = text.lines().next().unwrap_or("").trim();
    let cut: String = line.chars().filter(|c| !c.is_control()).take(60).collect();
    if cut.len() < text.trim().len() {
        format!("{cut} …")
    } else {
        cut
    }
}
