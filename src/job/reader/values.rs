//! Typed values out of a table.

use std::borrow::Cow;

use crate::job::amount;
use crate::job::problem::Problem;
use crate::job::reader::{Entry, Item, Section, is_open};
use crate::job::suggest::nearest;
use crate::key::{Bounds, Key, Requirement, Typed, Word};
use crate::units::{Area, Length, Seconds, Speed};
use jiff::civil::Date;

impl Section<'_> {
    pub(super) fn wrong_type<T>(
        &self,
        entry: &Entry,
        name: &str,
        requirement: impl Into<Cow<'static, str>>,
    ) -> Option<T> {
        // What a made job left open is open, whatever is due there.
        let problem = match &entry.item {
            Item::Text(text) if is_open(text.trim()) => Problem::Open,
            item => Problem::WrongType {
                got: item.kind(),
                requirement: requirement.into(),
            },
        };
        self.at_name(entry, name, problem);
        None
    }

    /// Text of an entry: not empty, not left open.
    pub(crate) fn text_of(&self, entry: &Entry, key: &Key) -> Option<String> {
        self.text_like(entry, key.name, self.row(key).map_or("", |row| row.example))
    }

    /// As [`Self::text_of`], under a name of the user's own.
    pub(crate) fn text_like(
        &self,
        entry: &Entry,
        name: &str,
        example: &'static str,
    ) -> Option<String> {
        let Item::Text(text) = &entry.item else {
            return self.wrong_type(entry, name, "text in quotes");
        };
        let trimmed = text.trim();
        if trimmed.is_empty() {
            self.at_name(entry, name, Problem::Empty { example });
        } else if is_open(trimmed) {
            self.at_name(entry, name, Problem::Open);
        } else {
            return Some(trimmed.to_owned());
        }
        None
    }

    /// A finite number of an entry.
    pub(crate) fn number_of(&self, entry: &Entry, key: &Key) -> Option<f64> {
        self.number_named(entry, key.name)
    }

    fn number_named(&self, entry: &Entry, name: &str) -> Option<f64> {
        match &entry.item {
            Item::Number(written) => match written.replace('_', "").parse::<f64>() {
                Ok(number) if number.is_finite() => return Some(number),
                _ => self.at_name(
                    entry,
                    name,
                    Problem::NotFinite {
                        text: written.clone(),
                    },
                ),
            },
            Item::Text(text) if is_open(text.trim()) => self.at_name(entry, name, Problem::Open),
            _ => return self.wrong_type(entry, name, "a number without quotes"),
        }
        None
    }

    /// A whole number of an entry, within these bounds.
    pub(crate) fn whole_of(&self, entry: &Entry, key: &Key, bounds: Option<Bounds>) -> Option<i64> {
        self.whole_named(entry, key.name, bounds)
    }

    /// As [`Self::whole_of`], under a name of the user's own.
    pub(crate) fn whole_named(
        &self,
        entry: &Entry,
        name: &str,
        bounds: Option<Bounds>,
    ) -> Option<i64> {
        let number = self.number_named(entry, name)?;
        let whole = libm::trunc(number) as i64;
        if number != whole as f64 {
            return self.wrong_type(entry, name, "a whole number");
        }
        let Some(Bounds { low, high, why }) = bounds else {
            return Some(whole);
        };
        let end = |text: &str| text.parse::<i64>().ok();
        if end(low).is_none_or(|low| low <= whole) && end(high).is_none_or(|high| whole <= high) {
            return Some(whole);
        }
        self.at_name(
            entry,
            name,
            Problem::OutOfRange {
                got: whole.to_string(),
                low: low.to_owned(),
                high: high.to_owned(),
                why,
            },
        );
        None
    }

    /// An amount with its unit, read by `read`; bounds are the caller's.
    pub(crate) fn amount<T>(
        &mut self,
        key: &Key,
        read: impl FnOnce(&str) -> Result<T, Problem>,
    ) -> Option<T> {
        let entry = self.take(key)?;
        let requirement = self.row(key)?.kind.requirement()?;
        self.amount_of(&entry, key, requirement, read)
    }

    /// An amount with its unit, within the bounds of its row. One outside is refused and still given, so that what hangs on it is not asked for.
    pub(crate) fn amount_within<T: PartialOrd + Default>(
        &mut self,
        key: &Key,
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

    /// An amount of an entry.
    pub(crate) fn amount_of<T>(
        &self,
        entry: &Entry,
        key: &Key,
        requirement: Requirement,
        read: impl FnOnce(&str) -> Result<T, Problem>,
    ) -> Option<T> {
        let problem = match &entry.item {
            Item::Text(text) if text.trim().is_empty() => Problem::NotANumber {
                text: text.clone(),
                requirement,
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
            Item::Number(number)
                if number.starts_with('-') && requirement != Requirement::Temperature =>
            {
                Problem::Negative {
                    text: number.clone(),
                }
            }
            Item::Number(number) => Problem::BareNumber {
                number: number.trim_start_matches('+').to_owned(),
                requirement,
            },
            other => Problem::WrongType {
                got: other.kind(),
                requirement: "an amount with its unit, in quotes".into(),
            },
        };
        self.at(entry, key, problem);
        None
    }

    /// One of the words of the row, of an entry. Case does not count.
    pub(crate) fn word_of<T: Word>(&self, entry: &Entry, key: &Key) -> Option<T> {
        let words = self.row(key)?.kind.words()?;
        let at = self.place_of(entry, key, words)?;
        T::of_word(words.get(at)?)
    }

    /// As [`Self::word_of`], of a list of words.
    pub(crate) fn word_in_list<T: Word>(&self, entry: &Entry, key: &Key) -> Option<T> {
        let at = self.place_of(entry, key, T::WORDS)?;
        T::ALL.get(at).copied()
    }

    /// The place of an entry's text among several words. Case does not count.
    pub(crate) fn place_of(&self, entry: &Entry, key: &Key, words: &[&str]) -> Option<usize> {
        let row = self.row(key)?;
        let text = self.text_like(entry, key.name, "one of the words of the manual")?;
        let found = words
            .iter()
            .position(|word| word.eq_ignore_ascii_case(&text));
        if found.is_none() {
            let near = nearest(&text, words.iter().copied()).map(str::to_owned);
            let known = words.iter().map(|word| (*word).to_owned());
            let problem = Problem::Choice {
                got: text,
                what: row.noun.trim_start_matches("the "),
                near,
                known: known
                    .chain(row.kind.besides_words().map(|kind| format!("or a {kind}")))
                    .collect(),
            };
            self.at(entry, key, problem);
        }
        found
    }

    /// What a key holds; `None` when it is absent or faulty.
    pub(crate) fn find<T: FromJob>(&mut self, key: &Typed<T>) -> Option<T> {
        T::find(self, key)
    }

    /// What a key holds, or the default of its row.
    pub(crate) fn get<T: FromJob>(&mut self, key: &Typed<T>) -> T {
        self.find(key).unwrap_or_else(|| self.default_of(key))
    }

    /// The default of a row.
    pub(crate) fn default_of<T: FromJob>(&self, key: &Typed<T>) -> T {
        let value = self.row(key).and_then(Key::default_value);
        let default = value.and_then(|text| T::of_default(text.trim_matches('"')));
        debug_assert!(
            default.is_some(),
            "{}.{} has no default that can be read",
            self.kind(),
            key.name
        );
        default.unwrap_or_else(T::none)
    }
}

/// What a row reads by its type alone.
pub(crate) trait FromJob: Sized {
    /// Consumes the key; `None` when it is absent or faulty.
    fn find(section: &mut Section<'_>, key: &Key) -> Option<Self>;
    /// The value of a row's default, without quotes.
    fn of_default(text: &str) -> Option<Self>;
    /// Stands in where nothing can: the file is refused then.
    fn none() -> Self;
}

/// A word of the row.
impl<T: Word> FromJob for T {
    fn find(section: &mut Section<'_>, key: &Key) -> Option<Self> {
        let entry = section.take(key)?;
        section.word_of(&entry, key)
    }
    fn of_default(text: &str) -> Option<Self> {
        Self::of_word(text)
    }
    fn none() -> Self {
        Self::ALL[0]
    }
}

impl FromJob for String {
    fn find(section: &mut Section<'_>, key: &Key) -> Option<Self> {
        let entry = section.take(key)?;
        section.text_of(&entry, key)
    }
    fn of_default(text: &str) -> Option<Self> {
        Some(text.to_owned())
    }
    fn none() -> Self {
        Self::new()
    }
}

/// A finite number within the bounds of its row.
impl FromJob for f64 {
    fn find(section: &mut Section<'_>, key: &Key) -> Option<Self> {
        let entry = section.take(key)?;
        let number = section.number_of(&entry, key)?;
        let read = |text: &str| text.parse::<Self>().map_err(|_| Problem::Open);
        if section.is_within(key, &number, read) {
            return Some(number);
        }
        section.outside(key, number.to_string());
        None
    }
    fn of_default(text: &str) -> Option<Self> {
        text.parse().ok()
    }
    fn none() -> Self {
        0.0
    }
}

/// A whole number within the bounds of its row.
impl FromJob for i64 {
    fn find(section: &mut Section<'_>, key: &Key) -> Option<Self> {
        let entry = section.take(key)?;
        section.whole_of(&entry, key, section.row(key)?.bounds)
    }
    fn of_default(text: &str) -> Option<Self> {
        text.parse().ok()
    }
    fn none() -> Self {
        0
    }
}

impl FromJob for bool {
    fn find(section: &mut Section<'_>, key: &Key) -> Option<Self> {
        let entry = section.take(key)?;
        match entry.item {
            Item::Boolean(truth) => Some(truth),
            _ => section.wrong_type(&entry, key.name, "true or false without quotes"),
        }
    }
    fn of_default(text: &str) -> Option<Self> {
        text.parse().ok()
    }
    fn none() -> Self {
        false
    }
}

/// A date, with or without quotes.
impl FromJob for Date {
    fn find(section: &mut Section<'_>, key: &Key) -> Option<Self> {
        let entry = section.take(key)?;
        match &entry.item {
            Item::Date(date) => return Some(*date),
            Item::Text(text) if is_open(text.trim()) => section.at(&entry, key, Problem::Open),
            Item::Text(text) => match text.trim().parse::<Self>() {
                Ok(date) if text.trim().len() == 10 => return Some(date),
                _ => section.at(&entry, key, Problem::NotADate),
            },
            _ => section.at(&entry, key, Problem::NotADate),
        }
        None
    }
    fn of_default(text: &str) -> Option<Self> {
        text.parse().ok()
    }
    fn none() -> Self {
        Self::ZERO
    }
}

/// Quantities: amounts with their unit, within the bounds of their rows.
macro_rules! amounts {
    ($($quantity:ty: $read:path,)*) => {$(
        impl FromJob for $quantity {
            fn find(section: &mut Section<'_>, key: &Key) -> Option<Self> {
                section.amount_within(key, $read)
            }
            fn of_default(text: &str) -> Option<Self> {
                $read(text).ok()
            }
            fn none() -> Self {
                Self::default()
            }
        }
    )*};
}

amounts! {
    Length: amount::length,
    Area: amount::area,
    Speed: amount::speed,
    Seconds: amount::time,
}
