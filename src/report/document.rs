//! A document as blocks, before anybody decides how it looks: the same blocks become HTML and PDF, so that both say the same.

use crate::finding::Severity;
use crate::report::draw::drawing::Drawing;

/// A whole document.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Document {
    /// Its title.
    pub title: String,
    /// Its language, as RFC 5646 writes it.
    pub language: &'static str,
    /// What it is about, one line.
    pub subject: String,
    /// Stands at the foot of every page.
    pub foot: String,
    /// Printed across everything when it must not be used.
    pub warning: Option<String>,
    /// Whether paper is Letter rather than A4.
    pub letter: bool,
    /// Its parts, each on a page of its own.
    pub parts: Vec<Part>,
}

/// A part of a document; begins on a new page.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Its name in links: letters, digits, hyphens.
    pub id: &'static str,
    /// Its heading.
    pub heading: String,
    /// What stands in it.
    pub blocks: Vec<Block>,
    /// Whether it is meant for one page: figures shrink somewhat before it takes two.
    pub one_page: bool,
}

/// What stands in a part.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// A heading below the part's own; no level is left out.
    Heading(String),
    /// The sentence that matters most.
    Lead(String),
    /// A paragraph.
    Text(String),
    /// A paragraph in small print.
    Small(String),
    /// What is what: label, value, note.
    Facts(Vec<Fact>),
    /// The few numbers that everybody looks for, in large figures side by side.
    Big(Vec<Fact>),
    /// A table.
    Table(Table),
    /// A drawing.
    Figure(Figure),
    /// A list.
    List(Vec<String>),
    /// What was noticed, each with its weight.
    Findings(Vec<Noticed>),
    /// Items of a checklist: what the run can say, or a line to fill in.
    Checks(Vec<Check>),
    /// Lines to fill in.
    Blanks(Vec<String>),
    /// Who signs: a line each.
    Signatures(Vec<String>),
    /// Text to be copied as it stands.
    Code(String),
    /// Two columns; one below the other on a narrow screen.
    Beside(Vec<Block>, Vec<Block>),
}

/// One fact.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Fact {
    /// What it is.
    pub label: String,
    /// Number and unit, or a word.
    pub value: String,
    /// Where it comes from, or what to think of it; may be empty.
    pub note: String,
}

impl Fact {
    /// Without a note.
    pub fn new(label: impl Into<String>, value: impl Into<String>) -> Self {
        Self {
            label: label.into(),
            value: value.into(),
            note: String::new(),
        }
    }
    /// With a note.
    #[must_use]
    pub fn note(mut self, note: impl Into<String>) -> Self {
        self.note = note.into();
        self
    }
}

/// A table; every row has as many cells as there are columns.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Table {
    /// What it shows.
    pub caption: String,
    /// Headings, with units, and whether numbers stand below them (then they lean right).
    pub columns: Vec<(String, bool)>,
    /// Cells.
    pub rows: Vec<Vec<String>>,
    /// Whether the last row is a sum.
    pub summed: bool,
}

/// A drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// The drawing.
    pub drawing: Drawing,
    /// The same less high, each lower than the one before: for a page whose part would not fit on it.
    pub lower: Vec<Drawing>,
    /// The same for a phone, where letters of the other would be too small to read.
    pub phone: Option<Drawing>,
    /// What it shows, in words, for those who cannot see it.
    pub alt: String,
    /// What stands below it; may be empty.
    pub caption: String,
    /// Share of the column's width.
    pub width: f64,
}

/// Something noticed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Noticed {
    /// How much it weighs.
    pub severity: Severity,
    /// The word of it.
    pub word: String,
    /// What it says.
    pub message: String,
    /// Its code, for scripts and for accepting it; empty where nobody needs it.
    pub code: String,
}

/// One item of a checklist.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Check {
    /// What is asked.
    pub label: String,
    /// What the run says of it; `None` is a line to fill in.
    pub value: Option<String>,
}

impl Document {
    /// Every word of it, block by block: for tests and searches.
    pub fn words(&self) -> String {
        let mut out = vec![self.title.clone(), self.subject.clone(), self.foot.clone()];
        out.extend(self.warning.clone());
        for part in &self.parts {
            out.push(part.heading.clone());
            for block in &part.blocks {
                block.words(&mut out);
            }
        }
        out.join("\n")
    }
}

impl Block {
    fn words(&self, out: &mut Vec<String>) {
        match self {
            Self::Heading(text)
            | Self::Lead(text)
            | Self::Text(text)
            | Self::Small(text)
            | Self::Code(text) => out.push(text.clone()),
            Self::Facts(facts) | Self::Big(facts) => out.extend(
                facts
                    .iter()
                    .map(|fact| format!("{} {} {}", fact.label, fact.value, fact.note)),
            ),
            Self::Table(table) => {
                out.push(table.caption.clone());
                out.push(
                    table
                        .columns
                        .iter()
                        .map(|column| column.0.clone())
                        .collect::<Vec<_>>()
                        .join(" "),
                );
                out.extend(table.rows.iter().map(|row| row.join(" ")));
            }
            Self::Figure(figure) => out.push(format!("{} {}", figure.alt, figure.caption)),
            Self::List(items) | Self::Blanks(items) | Self::Signatures(items) => {
                out.extend(items.iter().cloned());
            }
            Self::Findings(list) => out.extend(
                list.iter()
                    .map(|one| format!("{} {} {}", one.word, one.message, one.code)),
            ),
            Self::Checks(checks) => {
                out.extend(checks.iter().map(|check| {
                    format!("{} {}", check.label, check.value.as_deref().unwrap_or(""))
                }));
            }
            Self::Beside(left, right) => {
                left.iter().chain(right).for_each(|block| block.words(out));
            }
        }
    }
}
