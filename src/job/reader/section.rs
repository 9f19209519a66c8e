//! One table of a job file, being read.

use std::ops::Range;

use crate::job::problem::Problem;
use crate::job::reader::{Entry, Item, Log, MAXIMUM_TABLES, is_open, shorten};
use crate::job::{amount, keys};
use crate::key::{Bounds, Key, Need};

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
    /// Which required keys [`Section::finish`] asks for.
    asks: Asks,
}

/// Which required keys of a section are asked for at its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Asks {
    /// None: what stands there is of no use, or the section may be absent and is.
    Nothing,
    /// Those that are always required.
    Always,
    /// Those that a map needs too.
    ForAMap,
}

impl<'a> Section<'a> {
    /// The file itself; `kind`: which tables of keys it has.
    pub(super) fn root(log: &'a Log, kind: &'static str, entries: Vec<(String, Entry)>) -> Self {
        Self {
            log,
            path: String::new(),
            kind,
            method: None,
            span: 0..0,
            present: true,
            entries,
            taken: Vec::new(),
            missing: Vec::new(),
            asks: Asks::Always,
        }
    }

    pub(crate) const fn log(&self) -> &'a Log {
        self.log
    }
    /// Its name among the tables of keys.
    pub(super) const fn kind(&self) -> &'static str {
        self.kind
    }
    /// Whether the file has it at all.
    pub(crate) const fn is_present(&self) -> bool {
        self.present
    }
    /// The dotted name of one of its keys, with its place in a list.
    pub(crate) fn key(&self, key: &Key) -> String {
        self.dotted(key.name)
    }
    fn dotted(&self, name: &str) -> String {
        if self.path.is_empty() {
            name.to_owned()
        } else {
            format!("{}.{name}", self.path)
        }
    }
    /// Whether a key is given and not yet consumed.
    pub(crate) fn has(&self, key: &Key) -> bool {
        self.entries.iter().any(|(name, _)| name == key.name)
    }
    /// Whether a key was given, consumed or not.
    pub(crate) fn given(&self, key: &Key) -> bool {
        self.has(key) || self.taken.iter().any(|(name, _)| *name == key.name)
    }

    /// What stands at a key that is not yet consumed.
    pub(crate) fn peek(&self, key: &Key) -> Option<&Item> {
        self.entries
            .iter()
            .find(|(name, _)| name == key.name)
            .map(|(_, entry)| &entry.item)
    }

    /// Keys are from here on read as those of this method.
    pub(crate) fn set_method(&mut self, method: &'static str) {
        self.method = Some(method);
    }

    /// The section's own row of a key: of the chosen method, where each has one.
    pub(crate) fn row(&self, key: &Key) -> Option<&'static Key> {
        let row = keys::row(self.kind, key, self.method);
        debug_assert!(row.is_some(), "{}.{} has no row", self.kind, key.name);
        row
    }

    /// Consumes a key.
    pub(crate) fn take(&mut self, key: &Key) -> Option<Entry> {
        let row = self.row(key);
        #[cfg(test)]
        consumed::note(self.kind, row);
        debug_assert!(row.is_some());
        let at = self.entries.iter().position(|(name, _)| name == key.name)?;
        let (_, entry) = self.entries.remove(at);
        self.taken.push((key.name, entry.span.clone()));
        Some(entry)
    }

    /// The value of a key as the file has it, without its quotes.
    fn written(&self, span: &Range<usize>) -> String {
        let text = self.log.text().get(span.clone()).unwrap_or_default();
        shorten(text.trim().trim_matches(['"', '\'']))
    }

    /// Logs a fault of a key: at its value if it was consumed, else at the section's head.
    pub(crate) fn refuse(&self, key: &Key, problem: Problem) {
        match self.taken.iter().find(|(name, _)| *name == key.name) {
            Some((_, span)) => self.log.fault(span, &self.key(key), true, problem),
            None => self.log.fault(&self.span, &self.key(key), false, problem),
        }
    }

    /// Refuses a key that is given, because another one that it does not go with is too.
    pub(crate) fn refuse_together(&mut self, key: &Key, keys: Vec<String>) {
        self.take(key);
        self.refuse(key, Problem::Together { keys });
    }

    /// Whatever required keys are missing in it at its end is asked for, even where the section itself is.
    pub(crate) fn ask(&mut self) {
        self.asks = Asks::Always;
    }

    /// As [`Self::ask`], in the job of a map.
    pub(crate) fn ask_for_a_map(&mut self) {
        self.asks = Asks::ForAMap;
    }

    /// Remembers that a key which other keys make required is absent; dropped again when a mistyped one turns up. Nothing happens when it was there but
    /// faulty. Keys that are always required are asked for by [`Self::finish`].
    pub(crate) fn require(&mut self, key: &Key) {
        let what = self.row(key).map_or("a value", |row| row.noun);
        self.require_as(key, what);
    }

    /// As [`Self::require`], where it takes more than the row's noun to say what is missing.
    pub(crate) fn require_as(&mut self, key: &Key, what: &'static str) {
        let example = self.row(key).map_or("", |row| row.example);
        self.require_like(key, what, example);
    }

    /// As [`Self::require_as`], with an example of its own.
    pub(crate) fn require_like(&mut self, key: &Key, what: &'static str, value: &str) {
        debug_assert!(
            self.row(key)
                .is_some_and(|row| row.need != Need::Never || what != row.noun),
            "{}.{} is required, but its row does not say so",
            self.kind,
            key.name
        );
        if !self.given(key) && !self.missing.iter().any(|(name, _)| *name == key.name) {
            let value = amount::example_in_units(value, self.log.us());
            let example = if self.present {
                format!("{} = {value}", key.name)
            } else {
                format!("[{}] {} = {value}", self.path, key.name)
            };
            self.missing
                .push((key.name, Problem::Missing { what, example }));
        }
    }

    /// Asks for the keys that are required wherever the section stands, or in the job of a map.
    fn require_all(&mut self) {
        if self.asks == Asks::Nothing {
            return;
        }
        let rows = keys::table(self.kind).map_or(&[][..], |table| table.keys);
        for row in rows {
            let own = self.method.is_none_or(|method| row.belongs_to(method))
                && (row.of.is_empty() || self.method.is_some());
            let needed = match row.need {
                Need::Always => true,
                Need::Map => self.asks == Asks::ForAMap,
                Need::Never | Need::When(_) => false,
            };
            if own && needed {
                self.require(row);
            }
        }
    }

    /// Logs that a value lies outside the bounds of its row.
    pub(crate) fn outside(&self, key: &Key, got: String) {
        if let Some(Bounds { low, high, why }) = self.row(key).and_then(|row| row.bounds) {
            self.refuse(
                key,
                Problem::OutOfRange {
                    got,
                    low: amount::in_units(low, self.log.us()),
                    high: amount::in_units(high, self.log.us()),
                    why,
                },
            );
        }
    }

    /// Whether a value lies within the bounds of its row, which `read` reads like the value itself. A row without bounds allows everything.
    pub(crate) fn is_within<T: PartialOrd>(
        &self,
        key: &Key,
        value: &T,
        read: impl Fn(&str) -> Result<T, Problem>,
    ) -> bool {
        let Some(bounds) = self.row(key).and_then(|row| row.bounds) else {
            return true;
        };
        let (Ok(low), Ok(high)) = (read(bounds.low), read(bounds.high)) else {
            debug_assert!(false, "bounds of {}.{} cannot be read", self.kind, key.name);
            return true;
        };
        (low..=high).contains(value)
    }

    /// Refuses a value outside the bounds of its row, as it was written.
    pub(crate) fn hold<T: PartialOrd>(
        &self,
        key: &Key,
        value: Option<&T>,
        read: impl Fn(&str) -> Result<T, Problem>,
    ) {
        if let Some(value) = value
            && !self.is_within(key, value, read)
            && let Some((_, span)) = self.taken.iter().find(|(name, _)| *name == key.name)
        {
            self.outside(key, self.written(span));
        }
    }

    /// Logs a fault at an entry of this section, and consumes nothing.
    pub(crate) fn at(&self, entry: &Entry, key: &Key, problem: Problem) {
        self.at_name(entry, key.name, problem);
    }

    /// As [`Self::at`], under a name of the user's own.
    pub(crate) fn at_name(&self, entry: &Entry, name: &str, problem: Problem) {
        self.log
            .fault(&entry.span, &self.dotted(name), true, problem);
    }

    pub(crate) fn list(&mut self, key: &Key) -> Option<Vec<Entry>> {
        let entry = self.take(key)?;
        if let Item::List(list) = &entry.item {
            return Some(list.clone());
        }
        let example = self.row(key).map_or("", |row| row.example);
        self.wrong_type(&entry, key.name, format!("a list such as {example}"))
    }

    /// A sub-table out of an entry that is known to be one.
    pub(crate) fn sub(&self, entry: &Entry, key: &Key) -> Option<Section<'a>> {
        self.sub_as(entry, key.name, self.row(key)?.kind.table().unwrap_or(FREE))
    }

    /// A sub-table with the keys of this section, under a name of the user's own.
    pub(crate) fn sub_like(
        &self,
        entry: &Entry,
        name: &str,
        kind: &'static str,
    ) -> Option<Section<'a>> {
        self.sub_as(entry, name, kind)
    }

    /// The table at a key, if one stands there.
    pub(crate) fn sub_at(&mut self, key: &Key) -> Option<Section<'a>> {
        let entry = self.take(key)?;
        self.sub(&entry, key)
    }

    fn sub_as(&self, entry: &Entry, key: &str, kind: &'static str) -> Option<Section<'a>> {
        match &entry.item {
            Item::Table(entries) => Some(Section {
                log: self.log,
                path: self.dotted(key),
                kind,
                method: None,
                // An inline table's own place; the header's for [[field.exclude]].
                span: entry.span.clone(),
                present: true,
                entries: entries.clone(),
                taken: Vec::new(),
                missing: Vec::new(),
                asks: Asks::Always,
            }),
            _ => self.wrong_type(entry, key, "a table: { key = value, ... }"),
        }
    }

    /// A section of the file; an absent one is empty.
    pub(crate) fn section(&mut self, key: &Key) -> Section<'a> {
        let name = key.name;
        let absent = |log| Section {
            log,
            path: name.to_owned(),
            kind: name,
            method: None,
            span: 0..0,
            present: false,
            entries: Vec::new(),
            taken: Vec::new(),
            missing: Vec::new(),
            asks: Asks::Nothing,
        };
        let Some(entry) = self.take(key) else {
            return absent(self.log);
        };
        if matches!(entry.item, Item::Table(_)) {
            let kind = self.row(key).and_then(|row| row.kind.table());
            return self
                .sub_as(&entry, name, kind.unwrap_or(name))
                .unwrap_or_else(|| absent(self.log));
        }
        self.at(
            &entry,
            key,
            Problem::WrongType {
                got: entry.item.kind(),
                requirement: "a section".into(),
            },
        );
        // Given but unusable.
        Section {
            present: true,
            span: entry.span,
            ..absent(self.log)
        }
    }

    /// A list of tables: `[[field.exclude]]` or `readings = [{ ... }]`.
    pub(crate) fn tables(&mut self, key: &Key) -> Vec<Section<'a>> {
        let kind = self.row(key).and_then(|row| row.kind.tables());
        let (Some(entry), Some(kind)) = (self.take(key), kind) else {
            return Vec::new();
        };
        match &entry.item {
            Item::List(list) if list.len() > MAXIMUM_TABLES => {
                let (count, most) = (list.len(), MAXIMUM_TABLES);
                self.at(&entry, key, Problem::TooMany { count, most });
                Vec::new()
            }
            Item::List(list) => list
                .iter()
                .enumerate()
                .filter_map(|(at, entry)| {
                    self.sub_as(entry, &format!("{}[{}]", key.name, at + 1), kind)
                })
                .collect(),
            // One table where a list is due is what [field.exclude] with single brackets gives.
            Item::Table(_) => self.sub_as(&entry, key.name, kind).into_iter().collect(),
            Item::Text(text) if is_open(text.trim()) => {
                self.at(&entry, key, Problem::Open);
                Vec::new()
            }
            _ => self
                .wrong_type::<Vec<Self>>(&entry, key.name, "a list of tables")
                .unwrap_or_default(),
        }
    }

    /// What is left, for tables whose keys are the user's own.
    /// Nothing that is missing is asked for then.
    pub(crate) fn rest(&mut self) -> Vec<(String, Entry)> {
        self.asks = Asks::Nothing;
        std::mem::take(&mut self.entries)
    }

    /// Looks at the names of keys alone, to any depth: what stands at them is read elsewhere, and nothing that is missing is asked for.
    pub(crate) fn names_only(mut self) {
        let rows = keys::table(self.kind).map_or(&[][..], |table| table.keys);
        for (name, entry) in self.rest() {
            let Some(row) = rows.iter().find(|row| row.name == name) else {
                self.entries.push((name, entry));
                continue;
            };
            self.taken.push((row.name, entry.span.clone()));
            // Methods may have rows of the same name, of which one has a table.
            let same = || rows.iter().filter(|row| row.name == name);
            let one = same().find_map(|row| row.kind.table().or_else(|| row.kind.tables()));
            let each = same().find_map(|row| row.kind.tables());
            match (&entry.item, one, each) {
                (Item::Table(_), Some(kind), _) => {
                    if let Some(table) = self.sub_as(&entry, row.name, kind) {
                        table.names_only();
                    }
                }
                (Item::List(list), _, Some(kind)) => {
                    for (at, entry) in list.iter().enumerate() {
                        let name = format!("{}[{}]", row.name, at + 1);
                        if let Some(table) = self.sub_as(entry, &name, kind) {
                            table.names_only();
                        }
                    }
                }
                _ => {}
            }
        }
        self.finish();
    }

    /// Refuses what was not consumed, with the nearest known key, and then what is missing.
    pub(crate) fn finish(mut self) {
        self.require_all();
        let known = keys::known_in(self.kind);
        for (name, entry) in std::mem::take(&mut self.entries) {
            // Likely meanings take long to find.
            if self.log.is_full() {
                break;
            }
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
                .fault(&entry.key_span, &self.dotted(&name), false, problem);
        }
        for (key, problem) in std::mem::take(&mut self.missing) {
            self.log
                .fault(&self.span, &self.dotted(key), false, problem);
        }
    }
}

/// Which rows the reader has consumed, for the test that none is without a use.
#[cfg(test)]
pub(crate) mod consumed {
    use std::cell::RefCell;

    use crate::key::Key;

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
