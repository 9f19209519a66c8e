//! The shape of a row: what is known of one key of the job file.

use super::requirement::Requirement;

/// What may stand at a key.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// Text in quotes.
    Text,
    /// A path, relative to the job file.
    Path,
    /// A layer of a vector file: its path, or this table with path, layer and filter.
    Layer(&'static str),
    /// A number without quotes.
    Number,
    /// A whole number.
    Whole,
    /// A share, 0.25 for 25 %.
    Share,
    /// A day of the calendar.
    Date,
    /// `true` or `false`.
    YesNo,
    /// One of these words; case does not count.
    Words(&'static [&'static str]),
    /// A name out of the list that this command prints.
    NameOf(&'static str),
    /// An amount with its unit.
    Amount(Requirement),
    /// A nitrogen rate, or a product rate when the job names its product.
    NitrogenOrProduct,
    /// As [`Self::NitrogenOrProduct`], below zero too: by how much a rate changes.
    NitrogenChange,
    /// A table with the keys of this section.
    Table(&'static str),
    /// A list of tables with the keys of this section.
    Tables(&'static str),
    /// A list.
    List(&'static Self),
    /// A table whose keys are the user's own.
    Free(&'static Self),
    /// Any of these.
    Or(&'static [Self]),
}

impl Kind {
    /// This kind and all that it is made of.
    fn parts(&self) -> &[Self] {
        if let Self::Or(parts) = self {
            parts
        } else {
            std::slice::from_ref(self)
        }
    }

    /// The amount that it may be.
    pub(crate) fn requirement(&self) -> Option<Requirement> {
        self.parts().iter().find_map(|part| match part {
            Self::Amount(requirement) => Some(*requirement),
            Self::NitrogenOrProduct | Self::NitrogenChange => Some(Requirement::Nitrogen),
            _ => None,
        })
    }

    /// The words that it may be.
    pub(crate) fn words(&self) -> Option<&'static [&'static str]> {
        self.parts().iter().find_map(|part| match part {
            Self::Words(words) => Some(*words),
            _ => None,
        })
    }

    /// What else it may be where it may be a word, in a word or two.
    pub(crate) fn besides_words(&self) -> Option<String> {
        let else_where = self.parts().iter().find(|part| {
            matches!(
                part,
                Self::NitrogenOrProduct
                    | Self::Amount(_)
                    | Self::Number
                    | Self::Share
                    | Self::List(_)
            )
        });
        self.words().and(else_where).map(Self::short)
    }

    /// The section of one table.
    pub(crate) fn table(&self) -> Option<&'static str> {
        self.parts().iter().find_map(|part| match part {
            Self::Table(section) | Self::Layer(section) => Some(*section),
            _ => None,
        })
    }

    /// The section of each table of a list.
    pub(crate) fn tables(&self) -> Option<&'static str> {
        self.parts().iter().find_map(|part| match part {
            Self::Tables(section) => Some(*section),
            _ => None,
        })
    }

    /// What may stand there, in a word or two.
    pub fn short(&self) -> String {
        match self {
            Self::Words(_) => "word".to_owned(),
            Self::NameOf(_) => "name".to_owned(),
            Self::Share => "share".to_owned(),
            Self::YesNo => "true, false".to_owned(),
            Self::Amount(requirement) => plain_name(*requirement).to_owned(),
            Self::NitrogenOrProduct | Self::NitrogenChange => {
                plain_name(Requirement::Nitrogen).to_owned()
            }
            Self::List(_) => "list".to_owned(),
            Self::Free(_) => "table".to_owned(),
            Self::Or(parts) => {
                let each: Vec<String> = parts.iter().map(Self::short).collect();
                each.join(", ")
            }
            other => other.text(),
        }
    }

    /// What may stand there, with units and words: `length (m, km, ft)`.
    pub fn text(&self) -> String {
        match self {
            Self::Text => "text".to_owned(),
            Self::Path => "path".to_owned(),
            Self::Layer(_) => "path, or table".to_owned(),
            Self::Number => "number".to_owned(),
            Self::Whole => "whole number".to_owned(),
            Self::Share => "share (0.25 is 25 %)".to_owned(),
            Self::Date => "date".to_owned(),
            Self::YesNo => "true or false".to_owned(),
            Self::Words(words) => quoted(words).join(" or "),
            Self::NameOf(list) => format!("name out of `{list}`"),
            Self::Amount(requirement) => amount(*requirement),
            Self::NitrogenOrProduct => {
                "nitrogen rate (kg N/ha, lb N/ac), or product rate with [product]".to_owned()
            }
            Self::NitrogenChange => {
                "nitrogen rate (kg N/ha, lb N/ac), or product rate with [product]; below zero too"
                    .to_owned()
            }
            Self::Table(_) => "table".to_owned(),
            Self::Tables(_) => "list of tables".to_owned(),
            Self::List(each) => format!("list, each: {}", each.text()),
            Self::Free(each) => format!("table of your own keys, each: {}", each.text()),
            Self::Or(parts) => {
                let each: Vec<String> = parts.iter().map(Self::text).collect();
                each.join(", or ")
            }
        }
    }
}

/// An amount with the units that it may be written in.
fn amount(requirement: Requirement) -> String {
    format!(
        "{} ({})",
        plain_name(requirement),
        requirement.units().join(", ")
    )
}

/// The name of an amount without its article.
fn plain_name(requirement: Requirement) -> &'static str {
    let name = requirement.name();
    ["an ", "a ", "the "]
        .iter()
        .find_map(|article| name.strip_prefix(article))
        .unwrap_or(name)
}

fn quoted(words: &[&str]) -> Vec<String> {
    words.iter().map(|word| format!("\"{word}\"")).collect()
}

/// What counts when a key is not given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standard {
    /// Nothing does.
    None,
    /// This value, as it would stand in the job.
    Value(&'static str),
    /// What these words say.
    Words(&'static str),
}

/// Whether a key must be given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// No.
    Never,
    /// Wherever its section stands.
    Always,
    /// In the job of a map; one flat rate does without.
    Map,
    /// In the case that these words name.
    When(&'static str),
}

/// Bounds of a value, both allowed, and why nothing beyond them makes sense.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// Lowest value, as written in a job without quotes.
    pub low: &'static str,
    /// Highest value.
    pub high: &'static str,
    /// Why.
    pub why: &'static str,
}

/// One key.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Key {
    /// The dotted name of its section.
    pub section: &'static str,
    /// Its name in its section.
    pub name: &'static str,
    /// What may stand there.
    pub kind: Kind,
    /// What it is, with its article: "the working width is missing".
    pub noun: &'static str,
    /// What it does, in one sentence.
    pub about: &'static str,
    /// A value that would do, as it stands in a job.
    pub example: &'static str,
    /// What counts when it is not given.
    pub standard: Standard,
    /// Bounds.
    pub bounds: Option<Bounds>,
    /// Whether zero is refused.
    pub above_zero: bool,
    /// Whether it must be given.
    pub need: Need,
    /// Methods that it belongs to; all when empty.
    pub of: &'static [&'static str],
    /// The option of `haulm rate` that stands for it.
    pub option: Option<&'static str>,
    /// The unit that ends its name in records, where its kind does not say it.
    pub recorded: Option<&'static str>,
}

/// A row with what every key has; [`keys!`](crate::key::keys) gives it its name.
pub(crate) const fn key(
    kind: Kind,
    noun: &'static str,
    example: &'static str,
    about: &'static str,
) -> Key {
    Key {
        section: "",
        name: "",
        kind,
        noun,
        about,
        example,
        standard: Standard::None,
        bounds: None,
        above_zero: false,
        need: Need::Never,
        of: &[],
        option: None,
        recorded: None,
    }
}

/// A row of a nitrogen rate that is written as nitrogen.
pub(crate) const fn nitrogen(
    noun: &'static str,
    example: &'static str,
    about: &'static str,
) -> Key {
    key(Kind::Amount(Requirement::Nitrogen), noun, example, about).within(
        "0 kg N/ha",
        "1000 kg N/ha",
        "more than any crop gets",
    )
}

impl Key {
    /// The value that counts when it is not given, as it would stand in a job.
    pub(crate) const fn or(self, value: &'static str) -> Self {
        Self {
            standard: Standard::Value(value),
            ..self
        }
    }
    /// What counts when it is not given, in words.
    pub(crate) const fn or_else(self, words: &'static str) -> Self {
        Self {
            standard: Standard::Words(words),
            ..self
        }
    }
    pub(crate) const fn within(
        self,
        low: &'static str,
        high: &'static str,
        why: &'static str,
    ) -> Self {
        Self {
            bounds: Some(Bounds { low, high, why }),
            ..self
        }
    }
    pub(crate) const fn above_zero(self) -> Self {
        Self {
            above_zero: true,
            ..self
        }
    }
    pub(crate) const fn required(self) -> Self {
        Self {
            need: Need::Always,
            ..self
        }
    }
    pub(crate) const fn required_for_a_map(self) -> Self {
        Self {
            need: Need::Map,
            ..self
        }
    }
    pub(crate) const fn required_when(self, words: &'static str) -> Self {
        Self {
            need: Need::When(words),
            ..self
        }
    }
    /// The option of `haulm rate` that stands for it.
    pub(crate) const fn option(self, option: &'static str) -> Self {
        Self {
            option: Some(option),
            ..self
        }
    }
    /// The unit that ends its name in records; empty for none.
    pub(crate) const fn recorded(self, unit: &'static str) -> Self {
        Self {
            recorded: Some(unit),
            ..self
        }
    }
    /// The same under a name. A raw identifier stands for a word that Rust keeps for itself.
    pub(crate) const fn named(self, section: &'static str, name: &'static str) -> Self {
        let name = match name.as_bytes() {
            [b'r', b'#', rest @ ..] => match std::str::from_utf8(rest) {
                Ok(name) => name,
                Err(_) => name,
            },
            _ => name,
        };
        Self {
            section,
            name,
            ..self
        }
    }

    /// Its dotted name: `rate.maximum`.
    pub fn full(&self) -> String {
        if self.section.is_empty() {
            self.name.to_owned()
        } else {
            format!("{}.{}", self.section, self.name)
        }
    }

    /// Its name in records, which ends with its unit: `working_width_m`.
    pub fn in_record(&self) -> String {
        let unit = self.recorded.unwrap_or_else(|| match self.kind {
            Kind::Share => "share",
            ref kind if kind.words().is_none() => {
                kind.requirement().map_or("", Requirement::recorded)
            }
            _ => "",
        });
        if unit.is_empty() {
            self.name.to_owned()
        } else {
            format!("{}_{unit}", self.name)
        }
    }

    /// Whether it is a key of this method.
    pub fn belongs_to(&self, method: &str) -> bool {
        self.of.is_empty() || self.of.contains(&method)
    }

    /// The default as it would stand in a job.
    pub fn default_value(&self) -> Option<&'static str> {
        match self.standard {
            Standard::Value(value) => Some(value),
            _ => None,
        }
    }

    /// Whether and when it must be given, for people; empty when never.
    pub fn need_text(&self) -> String {
        match self.need {
            Need::Never => String::new(),
            Need::Always => "required".to_owned(),
            Need::Map => "required for a map".to_owned(),
            Need::When(words) => format!("required {words}"),
        }
    }

    /// The default for people; empty without one.
    pub fn default_text(&self) -> String {
        match self.standard {
            Standard::None => String::new(),
            Standard::Value(value) => value.to_owned(),
            Standard::Words(words) => words.to_owned(),
        }
    }

    /// The bounds for people; empty without any.
    pub fn bounds_text(&self) -> String {
        match (self.bounds, self.above_zero) {
            (Some(bounds), true) => {
                format!("above 0, {} to {}: {}", bounds.low, bounds.high, bounds.why)
            }
            (Some(bounds), false) => {
                format!("{} to {}: {}", bounds.low, bounds.high, bounds.why)
            }
            (None, true) => "above 0".to_owned(),
            (None, false) => String::new(),
        }
    }
}

/// A section of the job file, or a table within one.
#[derive(Clone, Copy, Debug)]
pub struct Table {
    /// Dotted name; empty for the file itself.
    pub name: &'static str,
    /// How it stands in a job.
    pub heading: &'static str,
    /// What it holds, in one sentence.
    pub about: &'static str,
    /// Its keys, in the order of the page.
    pub keys: &'static [Key],
}
