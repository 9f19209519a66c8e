//! A typed reader of TOML tables that knows where every value stands and gathers every fault instead of ending at the first.
//!
//! Getters consume keys. `None` means that the key is absent or faulty; a faulty one has been logged by then, so a default taken in its place never
//! leaves this module: the whole file is refused at the end.

use std::cell::RefCell;
use std::ops::Range;

use crate::app::job::fault::{Fault, Wanted};
use crate::app::job::keys;
use crate::app::job::problem::Problem;
use crate::app::job::suggest::nearest;
use crate::finding::Finding;
use jiff::civil::Date;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Slips of spelling that are told at once.
const MOST_SLIPS: usize = 5;

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
    key_span: Range<usize>,
}

/// Where faults and notes go.
#[derive(Debug)]
pub(crate) struct Log {
    file: String,
    text: String,
    /// The job's currency, once it is known: what hints speak of.
    currency: RefCell<Option<String>>,
    faults: RefCell<Vec<(usize, Fault)>>,
    notes: RefCell<Vec<Finding>>,
}

impl Log {
    pub(crate) fn new(file: String, text: String) -> Self {
        Self {
            file,
            text,
            currency: RefCell::default(),
            faults: RefCell::default(),
            notes: RefCell::default(),
        }
    }

    /// Logs a fault of the value that stands at `span`.
    pub(crate) fn fault(&self, span: &Range<usize>, key: &str, show: bool, problem: Problem) {
        let before = self.text.get(..span.start).unwrap_or(&self.text);
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
        let found = if show {
            shorten(self.text.get(span.clone()).unwrap_or(""))
        } else {
            String::new()
        };
        let fault = Fault {
            file: self.file.clone(),
            line,
            column,
            key: key.to_owned(),
            found,
            problem,
            currency: None,
        };
        self.faults.borrow_mut().push((span.start, fault));
    }

    /// Hints of all faults speak of this currency.
    pub(crate) fn set_currency(&self, currency: &str) {
        *self.currency.borrow_mut() = Some(currency.to_owned());
    }

    /// Takes back faults that only follow from another one.
    pub(crate) fn forget(&self, follows: impl Fn(&Problem) -> bool) {
        self.faults
            .borrow_mut()
            .retain(|(_, fault)| !follows(&fault.problem));
    }

    pub(crate) fn note(&self, finding: Finding) {
        self.notes.borrow_mut().push(finding);
    }

    /// Faults in file order, and the notes.
    pub(crate) fn into_parts(self) -> (Vec<Fault>, Vec<Finding>) {
        let mut faults = self.faults.into_inner();
        faults.sort_by_key(|(at, _)| *at);
        let currency = self.currency.into_inner();
        let told = |(_, fault): (usize, Fault)| Fault {
            currency: currency.clone(),
            ..fault
        };
        (
            faults.into_iter().map(told).collect(),
            self.notes.into_inner(),
        )
    }
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

/// Parses a whole file; every syntax fault is logged, and `None` returned when there is one.
pub(crate) fn parse(log: &Log) -> Option<Section<'_>> {
    let (table, errors) = DeTable::parse_recoverable(&log.text);
    // What comes after the first slips of spelling is mostly their echo.
    for error in errors.iter().take(MOST_SLIPS) {
        let span = error.span().unwrap_or(log.text.len()..log.text.len());
        // The parser's place may be a single letter, or lie between two: the rest of the line says more.
        let rest = log
            .text
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
    Some(Section {
        log,
        path: String::new(),
        kind: "",
        span: 0..0,
        present: true,
        entries: entries(table.get_ref()),
        taken: Vec::new(),
        missing: Vec::new(),
    })
}

fn entries(table: &DeTable<'_>) -> Vec<(String, Entry)> {
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

/// One table of the file, being read.
#[derive(Debug)]
pub(crate) struct Section<'a> {
    log: &'a Log,
    path: String,
    /// Its name in [`keys::KEYS`]: the path without list positions.
    kind: &'static str,
    span: Range<usize>,
    present: bool,
    entries: Vec<(String, Entry)>,
    taken: Vec<(&'static str, Range<usize>)>,
    missing: Vec<(&'static str, Problem)>,
}

impl<'a> Section<'a> {
    pub(crate) const fn log(&self) -> &'a Log {
        self.log
    }
    /// Whether the file has it at all.
    pub(crate) const fn is_present(&self) -> bool {
        self.present
    }
    /// The dotted key of one of its values.
    pub(crate) fn key(&self, key: &str) -> String {
        if self.path.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.path)
        }
    }
    /// Whether a key is given and not yet consumed.
    pub(crate) fn has(&self, key: &str) -> bool {
        self.entries.iter().any(|(name, _)| name == key)
    }
    /// Whether a key was given, consumed or not.
    pub(crate) fn given(&self, key: &str) -> bool {
        self.has(key) || self.taken.iter().any(|(name, _)| *name == key)
    }

    /// What stands at a key that is not yet consumed.
    pub(crate) fn peek(&self, key: &str) -> Option<&Item> {
        self.entries
            .iter()
            .find(|(name, _)| name == key)
            .map(|(_, entry)| &entry.item)
    }

    /// Consumes a key.
    pub(crate) fn take(&mut self, key: &'static str) -> Option<Entry> {
        debug_assert!(
            keys::known_in(self.kind).contains(&key),
            "{}.{key} is not listed in KEYS",
            self.kind
        );
        let at = self.entries.iter().position(|(name, _)| name == key)?;
        let (_, entry) = self.entries.remove(at);
        self.taken.push((key, entry.span.clone()));
        Some(entry)
    }

    /// Logs a fault of a key: at its value if it was consumed, else at the section's head.
    pub(crate) fn refuse(&self, key: &str, problem: Problem) {
        match self.taken.iter().find(|(name, _)| *name == key) {
            Some((_, span)) => self.log.fault(span, &self.key(key), true, problem),
            None => self.log.fault(&self.span, &self.key(key), false, problem),
        }
    }

    /// Remembers that a required key is absent; dropped again when a mistyped one turns up. Nothing happens when it was there but faulty.
    pub(crate) fn require(&mut self, key: &'static str, what: &'static str, value: &str) {
        if !self.given(key) {
            let example = if self.present {
                format!("{key} = {value}")
            } else {
                format!("[{}] {key} = {value}", self.path)
            };
            self.missing.push((key, Problem::Missing { what, example }));
        }
    }

    /// Logs a fault at an entry of this section, and consumes nothing.
    pub(crate) fn at(&self, entry: &Entry, key: &str, problem: Problem) {
        self.log.fault(&entry.span, &self.key(key), true, problem);
    }

    fn wrong_type<T>(&self, entry: &Entry, key: &str, wanted: &'static str) -> Option<T> {
        self.at(
            entry,
            key,
            Problem::WrongType {
                got: entry.item.kind(),
                wanted,
            },
        );
        None
    }

    /// Text of an entry: not empty, not left open.
    pub(crate) fn text_of(
        &self,
        entry: &Entry,
        key: &str,
        example: &'static str,
    ) -> Option<String> {
        let Item::Text(text) = &entry.item else {
            return self.wrong_type(entry, key, "text in quotes");
        };
        let trimmed = text.trim();
        if trimmed.is_empty() {
            self.at(entry, key, Problem::Empty { example });
        } else if is_open(trimmed) {
            self.at(entry, key, Problem::Open);
        } else {
            return Some(trimmed.to_owned());
        }
        None
    }

    /// Text.
    pub(crate) fn text(&mut self, key: &'static str, example: &'static str) -> Option<String> {
        let entry = self.take(key)?;
        self.text_of(&entry, key, example)
    }

    /// A finite number of an entry.
    pub(crate) fn number_of(&self, entry: &Entry, key: &str) -> Option<f64> {
        match &entry.item {
            Item::Number(written) => match written.replace('_', "").parse::<f64>() {
                Ok(number) if number.is_finite() => return Some(number),
                _ => self.at(
                    entry,
                    key,
                    Problem::NotFinite {
                        text: written.clone(),
                    },
                ),
            },
            Item::Text(text) if is_open(text.trim()) => self.at(entry, key, Problem::Open),
            _ => return self.wrong_type(entry, key, "a number without quotes"),
        }
        None
    }

    /// A finite number from `low` to `high`.
    pub(crate) fn number(
        &mut self,
        key: &'static str,
        low: f64,
        high: f64,
        why: &'static str,
    ) -> Option<f64> {
        let entry = self.take(key)?;
        let number = self.number_of(&entry, key)?;
        if (low..=high).contains(&number) {
            return Some(number);
        }
        self.at(
            &entry,
            key,
            Problem::OutOfRange {
                got: number.to_string(),
                low: low.to_string(),
                high: high.to_string(),
                why,
            },
        );
        None
    }

    /// A whole number from `low` to `high`.
    pub(crate) fn whole(
        &mut self,
        key: &'static str,
        low: i64,
        high: i64,
        why: &'static str,
    ) -> Option<i64> {
        let entry = self.take(key)?;
        self.whole_of(&entry, key, low, high, why)
    }

    /// A whole number of an entry.
    pub(crate) fn whole_of(
        &self,
        entry: &Entry,
        key: &str,
        low: i64,
        high: i64,
        why: &'static str,
    ) -> Option<i64> {
        let number = self.number_of(entry, key)?;
        let whole = libm::trunc(number) as i64;
        if number != whole as f64 {
            return self.wrong_type(entry, key, "a whole number");
        }
        if (low..=high).contains(&whole) {
            return Some(whole);
        }
        self.at(
            entry,
            key,
            Problem::OutOfRange {
                got: whole.to_string(),
                low: low.to_string(),
                high: high.to_string(),
                why,
            },
        );
        None
    }

    /// `true` or `false`.
    pub(crate) fn boolean(&mut self, key: &'static str) -> Option<bool> {
        let entry = self.take(key)?;
        match entry.item {
            Item::Boolean(truth) => Some(truth),
            _ => self.wrong_type(&entry, key, "true or false without quotes"),
        }
    }

    /// A date, with or without quotes.
    pub(crate) fn date(&mut self, key: &'static str) -> Option<Date> {
        let entry = self.take(key)?;
        match &entry.item {
            Item::Date(date) => return Some(*date),
            Item::Text(text) if is_open(text.trim()) => self.at(&entry, key, Problem::Open),
            Item::Text(text) => match text.trim().parse::<Date>() {
                Ok(date) if text.trim().len() == 10 => return Some(date),
                _ => self.at(&entry, key, Problem::NotADate),
            },
            _ => self.at(&entry, key, Problem::NotADate),
        }
        None
    }

    /// An amount with its unit, read by `read`.
    pub(crate) fn amount<T>(
        &mut self,
        key: &'static str,
        wanted: Wanted,
        read: impl FnOnce(&str) -> Result<T, Problem>,
    ) -> Option<T> {
        let entry = self.take(key)?;
        self.amount_of(&entry, key, wanted, read)
    }

    /// An amount of an entry.
    pub(crate) fn amount_of<T>(
        &self,
        entry: &Entry,
        key: &str,
        wanted: Wanted,
        read: impl FnOnce(&str) -> Result<T, Problem>,
    ) -> Option<T> {
        let problem = match &entry.item {
            Item::Text(text) if text.trim().is_empty() => Problem::NotANumber {
                text: text.clone(),
                wanted,
            },
            Item::Text(text) if is_open(text.trim()) => Problem::Open,
            Item::Text(text) => match read(text) {
                Ok(value) => return Some(value),
                Err(problem) => problem,
            },
            Item::Number(number) if number.contains("nan") || number.contains("inf") => {
                Problem::NotFinite {
                    text: number.clone(),
                }
            }
            Item::Number(number) if number.starts_with('-') && wanted != Wanted::Temperature => {
                Problem::Negative {
                    text: number.clone(),
                }
            }
            Item::Number(number) => Problem::BareNumber {
                number: number.trim_start_matches('+').to_owned(),
                wanted,
            },
            other => Problem::WrongType {
                got: other.kind(),
                wanted: "an amount with its unit, in quotes",
            },
        };
        self.at(entry, key, problem);
        None
    }

    /// One of several words.
    pub(crate) fn choice<T: Copy>(
        &mut self,
        key: &'static str,
        what: &'static str,
        words: &[(&str, T)],
    ) -> Option<T> {
        let entry = self.take(key)?;
        self.choice_of(&entry, key, what, words)
    }

    /// One of several words, of an entry. Case does not count.
    pub(crate) fn choice_of<T: Copy>(
        &self,
        entry: &Entry,
        key: &str,
        what: &'static str,
        words: &[(&str, T)],
    ) -> Option<T> {
        let text = self.text_of(entry, key, "one of the words of the manual")?;
        if let Some((_, value)) = words
            .iter()
            .find(|(word, _)| word.eq_ignore_ascii_case(&text))
        {
            return Some(*value);
        }
        let near = nearest(&text, words.iter().map(|(word, _)| *word)).map(str::to_owned);
        self.at(
            entry,
            key,
            Problem::Choice {
                got: text,
                what,
                near,
                known: words.iter().map(|(word, _)| (*word).to_owned()).collect(),
            },
        );
        None
    }

    /// A list.
    pub(crate) fn list(&mut self, key: &'static str, wanted: &'static str) -> Option<Vec<Entry>> {
        let entry = self.take(key)?;
        match &entry.item {
            Item::List(list) => Some(list.clone()),
            _ => self.wrong_type(&entry, key, wanted),
        }
    }

    /// A sub-table out of an entry that is known to be one, under the kind that lists its keys.
    pub(crate) fn sub(&self, entry: &Entry, key: &str, kind: &'static str) -> Option<Section<'a>> {
        match &entry.item {
            Item::Table(entries) => Some(Section {
                log: self.log,
                path: self.key(key),
                kind,
                // An inline table's own place; the header's for [[field.exclude]].
                span: entry.span.clone(),
                present: true,
                entries: entries.clone(),
                taken: Vec::new(),
                missing: Vec::new(),
            }),
            _ => self.wrong_type(entry, key, "a table: { key = value, ... }"),
        }
    }

    /// A section of the file; an absent one is empty.
    pub(crate) fn section(&mut self, key: &'static str) -> Section<'a> {
        let absent = |log| Section {
            log,
            path: key.to_owned(),
            kind: key,
            span: 0..0,
            present: false,
            entries: Vec::new(),
            taken: Vec::new(),
            missing: Vec::new(),
        };
        let Some(entry) = self.take(key) else {
            return absent(self.log);
        };
        if matches!(entry.item, Item::Table(_)) {
            return self
                .sub(&entry, key, key)
                .unwrap_or_else(|| absent(self.log));
        }
        self.at(
            &entry,
            key,
            Problem::WrongType {
                got: entry.item.kind(),
                wanted: "a section",
            },
        );
        // Given but unusable: its required values are not asked for on top.
        Section {
            present: true,
            span: entry.span,
            ..absent(self.log)
        }
    }

    /// A list of tables: `[[field.exclude]]` or `readings = [{ ... }]`.
    pub(crate) fn tables(&mut self, key: &'static str, kind: &'static str) -> Vec<Section<'a>> {
        let Some(entry) = self.take(key) else {
            return Vec::new();
        };
        match &entry.item {
            Item::List(list) => list
                .iter()
                .enumerate()
                .filter_map(|(at, entry)| self.sub(entry, &format!("{key}[{}]", at + 1), kind))
                .collect(),
            // One table where a list is due is what [field.exclude] with single brackets gives.
            Item::Table(_) => self.sub(&entry, key, kind).into_iter().collect(),
            _ => self
                .wrong_type::<Vec<Self>>(&entry, key, "a list of tables")
                .unwrap_or_default(),
        }
    }

    /// What is left, for tables whose keys are the user's own.
    pub(crate) fn rest(&mut self) -> Vec<(String, Entry)> {
        std::mem::take(&mut self.entries)
    }

    /// Refuses what was not consumed, with the nearest known key, and then what is missing.
    pub(crate) fn finish(mut self) {
        let known = keys::known_in(self.kind);
        for (name, entry) in std::mem::take(&mut self.entries) {
            // Keys that are already there are no likely meaning of another one.
            let free = known
                .iter()
                .copied()
                .filter(|key| !self.taken.iter().any(|(taken, _)| taken == key));
            let elsewhere: Vec<&'static str> = keys::sections_with(&name)
                .into_iter()
                .filter(|section| *section != self.kind)
                .collect();
            let near = if elsewhere.is_empty() {
                nearest(&name, free)
                    .or_else(|| nearest(&name, known.iter().copied()))
                    .map(str::to_owned)
            } else {
                None
            };
            if let Some(near) = &near {
                self.missing.retain(|(key, _)| key != near);
            }
            let problem = Problem::UnknownKey {
                near,
                elsewhere,
                known: known.to_vec(),
                name: name.clone(),
            };
            self.log
                .fault(&entry.key_span, &self.key(&name), false, problem);
        }
        for (key, problem) in std::mem::take(&mut self.missing) {
            self.log.fault(&self.span, &self.key(key), false, problem);
        }
    }
}

/// Whether a value is one that a made job file left to fill.
fn is_open(text: &str) -> bool {
    text.starts_with("TODO")
}
