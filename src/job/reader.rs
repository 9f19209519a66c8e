//! A typed reader of TOML tables that knows where every value stands and gathers every fault instead of ending at the first.
//!
//! Getters consume keys. `None` means that the key is absent or faulty; a faulty one has been logged by then, so a default taken in its place never
//! leaves this module: the whole file is refused at the end.

use std::borrow::Cow;
use std::cell::{Cell, RefCell};
use std::ops::Range;

use crate::finding::Finding;
use crate::job::amount::is_us;
use crate::job::fault::{Fault, Wanted};
use crate::job::keys;
use crate::job::keys::{Bounds, Key, Need};
use crate::job::problem::Problem;
use crate::job::suggest::nearest;
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
    /// Whether people read US units first, once that is known.
    us: Cell<Option<bool>>,
}

impl Log {
    pub(crate) fn new(file: String, text: String) -> Self {
        Self {
            file,
            text,
            currency: RefCell::default(),
            faults: RefCell::default(),
            notes: RefCell::default(),
            us: Cell::default(),
        }
    }

    /// Has people read these units, whatever the job's amounts are written in.
    pub(crate) fn set_units(&self, us: Option<bool>) {
        self.us.set(us);
    }

    /// Whether people read US units first: any amount of the job is written in them, or somebody asked for them.
    pub(crate) fn us(&self) -> bool {
        self.us.get().unwrap_or(false)
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
    let entries = entries(table.get_ref());
    if log.us.get().is_none() {
        log.us.set(Some(entries.iter().any(speaks_us)));
    }
    Some(Section {
        log,
        path: String::new(),
        kind: "",
        method: None,
        span: 0..0,
        present: true,
        entries,
        taken: Vec::new(),
        missing: Vec::new(),
    })
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

/// A section whose keys are the user's own: bands, files of bands.
const FREE: &str = "*";

/// One table of the file, being read.
#[derive(Debug)]
pub(crate) struct Section<'a> {
    log: &'a Log,
    path: String,
    /// Its name in [`keys::TABLES`]: the path without list positions.
    kind: &'static str,
    /// The method whose keys are read, once it is known.
    method: Option<&'static str>,
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

    /// Keys are from here on read as those of this method.
    pub(crate) fn set_method(&mut self, method: &'static str) {
        self.method = Some(method);
    }

    /// The row of a key.
    pub(crate) fn row(&self, key: &str) -> Option<&'static Key> {
        let row = keys::row(self.kind, key, self.method);
        debug_assert!(row.is_some(), "{}.{key} has no row", self.kind);
        row
    }

    /// Consumes a key.
    pub(crate) fn take(&mut self, key: &'static str) -> Option<Entry> {
        let row = self.row(key);
        #[cfg(test)]
        consumed::note(self.kind, row);
        debug_assert!(row.is_some());
        let at = self.entries.iter().position(|(name, _)| name == key)?;
        let (_, entry) = self.entries.remove(at);
        self.taken.push((key, entry.span.clone()));
        Some(entry)
    }

    /// The value of a key as the file has it, without its quotes.
    fn written(&self, span: &Range<usize>) -> String {
        let text = self.log.text.get(span.clone()).unwrap_or_default();
        shorten(text.trim().trim_matches(['"', '\'']))
    }

    /// Logs a fault of a key: at its value if it was consumed, else at the section's head.
    pub(crate) fn refuse(&self, key: &str, problem: Problem) {
        match self.taken.iter().find(|(name, _)| *name == key) {
            Some((_, span)) => self.log.fault(span, &self.key(key), true, problem),
            None => self.log.fault(&self.span, &self.key(key), false, problem),
        }
    }

    /// Remembers that a required key is absent; dropped again when a mistyped one turns up. Nothing happens when it was there but faulty.
    pub(crate) fn require(&mut self, key: &'static str) {
        let what = self.row(key).map_or("a value", |row| row.noun);
        self.require_as(key, what);
    }

    /// As [`Self::require`], where it takes more than the row's noun to say what is missing.
    pub(crate) fn require_as(&mut self, key: &'static str, what: &'static str) {
        let example = self.row(key).map_or("", |row| row.example);
        self.require_like(key, what, example);
    }

    /// As [`Self::require_as`], with an example of its own.
    pub(crate) fn require_like(&mut self, key: &'static str, what: &'static str, value: &str) {
        debug_assert!(
            self.row(key)
                .is_some_and(|row| row.need != Need::Never || what != row.noun),
            "{}.{key} is required, but its row does not say so",
            self.kind
        );
        if !self.given(key) {
            let example = if self.present {
                format!("{key} = {value}")
            } else {
                format!("[{}] {key} = {value}", self.path)
            };
            self.missing.push((key, Problem::Missing { what, example }));
        }
    }

    /// Logs that a value lies outside the bounds of its row.
    pub(crate) fn outside(&self, key: &str, got: String) {
        if let Some(Bounds { low, high, why }) = self.row(key).and_then(|row| row.bounds) {
            self.refuse(
                key,
                Problem::OutOfRange {
                    got,
                    low: low.to_owned(),
                    high: high.to_owned(),
                    why,
                },
            );
        }
    }

    /// Whether a value lies within the bounds of its row, which `read` reads like the value itself. A row without bounds allows everything.
    pub(crate) fn is_within<T: PartialOrd>(
        &self,
        key: &str,
        value: &T,
        read: impl Fn(&str) -> Result<T, Problem>,
    ) -> bool {
        let Some(bounds) = self.row(key).and_then(|row| row.bounds) else {
            return true;
        };
        let (Ok(low), Ok(high)) = (read(bounds.low), read(bounds.high)) else {
            debug_assert!(false, "bounds of {}.{key} cannot be read", self.kind);
            return true;
        };
        (low..=high).contains(value)
    }

    /// Refuses a value outside the bounds of its row, as it was written.
    pub(crate) fn hold<T: PartialOrd>(
        &self,
        key: &'static str,
        value: Option<&T>,
        read: impl Fn(&str) -> Result<T, Problem>,
    ) {
        if let Some(value) = value
            && !self.is_within(key, value, read)
            && let Some((_, span)) = self.taken.iter().find(|(name, _)| *name == key)
        {
            self.outside(key, self.written(span));
        }
    }

    /// Logs a fault at an entry of this section, and consumes nothing.
    pub(crate) fn at(&self, entry: &Entry, key: &str, problem: Problem) {
        self.log.fault(&entry.span, &self.key(key), true, problem);
    }

    fn wrong_type<T>(
        &self,
        entry: &Entry,
        key: &str,
        wanted: impl Into<Cow<'static, str>>,
    ) -> Option<T> {
        self.at(
            entry,
            key,
            Problem::WrongType {
                got: entry.item.kind(),
                wanted: wanted.into(),
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
    pub(crate) fn text(&mut self, key: &'static str) -> Option<String> {
        let entry = self.take(key)?;
        self.text_of(&entry, key, self.row(key).map_or("", |row| row.example))
    }

    /// Text, or the row's default.
    pub(crate) fn text_or(&mut self, key: &'static str) -> String {
        self.text(key)
            .unwrap_or_else(|| self.default(key).trim_matches('"').to_owned())
    }

    /// The default of a row, as it would stand in the job.
    fn default(&self, key: &str) -> &'static str {
        let value = self.row(key).and_then(Key::default_value);
        debug_assert!(value.is_some(), "{}.{key} has no default value", self.kind);
        value.unwrap_or_default()
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

    /// A finite number within the bounds of its row.
    pub(crate) fn number(&mut self, key: &'static str) -> Option<f64> {
        let entry = self.take(key)?;
        let number = self.number_of(&entry, key)?;
        let read = |text: &str| text.parse::<f64>().map_err(|_| Problem::Open);
        if self.is_within(key, &number, read) {
            return Some(number);
        }
        self.outside(key, number.to_string());
        None
    }

    /// A number, or the row's default.
    pub(crate) fn number_or(&mut self, key: &'static str) -> f64 {
        self.number(key)
            .unwrap_or_else(|| self.default(key).parse().unwrap_or_default())
    }

    /// A whole number within the bounds of its row.
    pub(crate) fn whole(&mut self, key: &'static str) -> Option<i64> {
        let entry = self.take(key)?;
        self.whole_of(&entry, key, self.row(key)?.bounds)
    }

    /// A whole number, or the row's default.
    pub(crate) fn whole_or(&mut self, key: &'static str) -> i64 {
        self.whole(key)
            .unwrap_or_else(|| self.default(key).parse().unwrap_or_default())
    }

    /// A whole number of an entry, within these bounds.
    pub(crate) fn whole_of(&self, entry: &Entry, key: &str, bounds: Option<Bounds>) -> Option<i64> {
        let number = self.number_of(entry, key)?;
        let whole = libm::trunc(number) as i64;
        if number != whole as f64 {
            return self.wrong_type(entry, key, "a whole number");
        }
        let Some(Bounds { low, high, why }) = bounds else {
            return Some(whole);
        };
        let end = |text: &str| text.parse::<i64>().ok();
        if end(low).is_none_or(|low| low <= whole) && end(high).is_none_or(|high| whole <= high) {
            return Some(whole);
        }
        self.at(
            entry,
            key,
            Problem::OutOfRange {
                got: whole.to_string(),
                low: low.to_owned(),
                high: high.to_owned(),
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

    /// `true` or `false`, or the row's default.
    pub(crate) fn boolean_or(&mut self, key: &'static str) -> bool {
        self.boolean(key)
            .unwrap_or_else(|| self.default(key) == "true")
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

    /// An amount with its unit, read by `read`; bounds are the caller's.
    pub(crate) fn amount<T>(
        &mut self,
        key: &'static str,
        read: impl FnOnce(&str) -> Result<T, Problem>,
    ) -> Option<T> {
        let entry = self.take(key)?;
        let wanted = self.row(key)?.kind.wanted()?;
        self.amount_of(&entry, key, wanted, read)
    }

    /// An amount with its unit, within the bounds of its row. One outside is refused and still given, so that what hangs on it is not asked for.
    pub(crate) fn amount_within<T: PartialOrd + Default>(
        &mut self,
        key: &'static str,
        read: impl Fn(&str) -> Result<T, Problem>,
    ) -> Option<T> {
        let row = self.row(key)?;
        let value = self.amount(key, |text| match read(text) {
            Ok(value) if row.above_zero && value <= T::default() => Err(Problem::Zero {
                text: text.trim().to_owned(),
                what: row.noun,
            }),
            read => read,
        });
        self.hold(key, value.as_ref(), read);
        value
    }

    /// An amount, or the row's default.
    pub(crate) fn amount_or<T: PartialOrd + Default>(
        &mut self,
        key: &'static str,
        read: impl Fn(&str) -> Result<T, Problem>,
    ) -> T {
        self.amount_within(key, &read).unwrap_or_else(|| {
            let default = read(self.default(key).trim_matches('"'));
            debug_assert!(default.is_ok(), "the default of {key} cannot be read");
            default.unwrap_or_default()
        })
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
                wanted: "an amount with its unit, in quotes".into(),
            },
        };
        self.at(entry, key, problem);
        None
    }

    /// One of the words of the row; its default where none is given.
    pub(crate) fn choice<T: Copy>(&mut self, key: &'static str, words: &[(&str, T)]) -> Option<T> {
        let given = self
            .take(key)
            .and_then(|entry| self.choice_of(&entry, key, words));
        given.or_else(|| {
            let default = self.row(key)?.default_value()?.trim_matches('"');
            let (_, value) = words.iter().find(|(word, _)| *word == default)?;
            Some(*value)
        })
    }

    /// One of several words, of an entry. Case does not count.
    pub(crate) fn choice_of<T: Copy>(
        &self,
        entry: &Entry,
        key: &str,
        words: &[(&str, T)],
    ) -> Option<T> {
        let row = self.row(key)?;
        debug_assert!(
            row.kind.words().is_none_or(|known| known
                .iter()
                .all(|word| words.iter().any(|(w, _)| w == word))),
            "the words of {}.{key} are others than its row's",
            self.kind
        );
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
                what: row.noun.trim_start_matches("the "),
                near,
                known: words
                    .iter()
                    .map(|(word, _)| (*word).to_owned())
                    .chain(row.kind.besides_words().map(|kind| format!("or a {kind}")))
                    .collect(),
            },
        );
        None
    }

    /// A list.
    pub(crate) fn list(&mut self, key: &'static str) -> Option<Vec<Entry>> {
        let entry = self.take(key)?;
        if let Item::List(list) = &entry.item {
            return Some(list.clone());
        }
        let example = self.row(key).map_or("", |row| row.example);
        self.wrong_type(&entry, key, format!("a list such as {example}"))
    }

    /// A sub-table out of an entry that is known to be one.
    pub(crate) fn sub(&self, entry: &Entry, key: &'static str) -> Option<Section<'a>> {
        self.sub_as(entry, key, self.row(key)?.kind.table().unwrap_or(FREE))
    }

    fn sub_as(&self, entry: &Entry, key: &str, kind: &'static str) -> Option<Section<'a>> {
        match &entry.item {
            Item::Table(entries) => Some(Section {
                log: self.log,
                path: self.key(key),
                kind,
                method: None,
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
            method: None,
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
                .sub_as(&entry, key, key)
                .unwrap_or_else(|| absent(self.log));
        }
        self.at(
            &entry,
            key,
            Problem::WrongType {
                got: entry.item.kind(),
                wanted: "a section".into(),
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
    pub(crate) fn tables(&mut self, key: &'static str) -> Vec<Section<'a>> {
        let kind = self.row(key).and_then(|row| row.kind.tables());
        let (Some(entry), Some(kind)) = (self.take(key), kind) else {
            return Vec::new();
        };
        match &entry.item {
            Item::List(list) => list
                .iter()
                .enumerate()
                .filter_map(|(at, entry)| self.sub_as(entry, &format!("{key}[{}]", at + 1), kind))
                .collect(),
            // One table where a list is due is what [field.exclude] with single brackets gives.
            Item::Table(_) => self.sub_as(&entry, key, kind).into_iter().collect(),
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
            let free: Vec<&'static str> = known
                .iter()
                .copied()
                .filter(|key| !self.taken.iter().any(|(taken, _)| taken == key))
                .collect();
            let elsewhere: Vec<&'static str> = keys::sections_with(&name)
                .into_iter()
                .filter(|section| *section != self.kind)
                .collect();
            let near = if elsewhere.is_empty() {
                keys::meant(self.kind, &name, &free)
            } else {
                None
            };
            if let Some(near) = &near {
                self.missing.retain(|(key, _)| key != near);
            }
            let problem = Problem::UnknownKey {
                near,
                elsewhere,
                known: known.clone(),
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

/// Which rows the reader has consumed, for the test that none is without a use.
#[cfg(test)]
pub(crate) mod consumed {
    use std::cell::RefCell;

    use crate::job::keys::Key;

    thread_local! {
        static ROWS: RefCell<Vec<(&'static str, &'static Key)>> = const { RefCell::new(Vec::new()) };
    }

    pub(super) fn note(section: &'static str, row: Option<&'static Key>) {
        ROWS.with_borrow_mut(|rows| rows.extend(row.map(|row| (section, row))));
    }

    /// All that this thread has consumed.
    pub(crate) fn all() -> Vec<(&'static str, &'static Key)> {
        ROWS.with_borrow(Clone::clone)
    }
}
