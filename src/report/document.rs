//! A document as blocks, before anybody decides how it looks: the same blocks become HTML and PDF, so that both say the same.

use crate::finding::Severity;
use crate::report::draw::drawing::Drawing;

/// A whole document.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Document {
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
pub(crate) struct Part {
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
pub(crate) enum Block {
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
pub(crate) struct Fact {
    /// What it is.
    pub label: String,
    /// Number and unit, or a word.
    pub value: String,
    /// Where it comes from, or what to think of it; may be empty.
    pub note: String,
}

impl Fact {
    /// Without a note.
    pub(crate) fn new(label: impl Into<String>, value: impl Into<String>) -> Self {
        Self {
            label: label.into(),
            value: value.into(),
            note: String::new(),
        }
    }
    #[must_use]
    pub(crate) fn note(mut self, note: impl Into<String>) -> Self {
        self.note = note.into();
        self
    }
}

/// A table; every row has as many cells as there are columns.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Table {
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
pub(crate) struct Figure {
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
pub(crate) struct Noticed {
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
pub(crate) struct Check {
    /// What is asked.
    pub label: String,
    /// What the run says of it; `None` is a line to fill in.
    pub value: Option<String>,
}
