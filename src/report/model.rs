//! What a command has to say, before anybody decides how it looks: blocks for people, one value for scripts.

use crate::finding::Finding;

/// The result of a command.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Report {
    /// One line above all; may be empty.
    pub title: String,
    /// For people in a hurry: what is printed unless details are asked for. Without it the blocks are printed.
    pub brief: Option<Brief>,
    /// For people, in order.
    pub blocks: Vec<Block>,
    /// For scripts: an object.
    pub json: serde_json::Value,
    /// What was noticed, by weight.
    pub findings: Vec<Finding>,
    /// Path below the output folder and size of each file written, or that would be written. (bytes)
    pub files: Vec<(String, u64)>,
    /// Whether a finding kept the machine's files from being written.
    pub stopped: bool,
}

/// The short answer: what a command prints unless details are asked for. The printer puts stops above it and cautions below, one line each.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Brief {
    /// The figures that decide, in order; a note follows its value on the same line.
    pub rows: Vec<Row>,
    /// What to do next, a sentence each.
    pub next: Vec<String>,
    /// Where the files are.
    pub folder: Option<String>,
    /// Findings to count and tell instead of the report's, where those are only the first of many alike.
    pub findings: Option<Vec<Finding>>,
}

/// A heading and what stands below it.
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    /// May be empty.
    pub heading: String,
    /// What stands below.
    pub body: Body,
}

/// What a block holds.
#[derive(Clone, Debug, PartialEq)]
pub enum Body {
    /// Aligned label, value and note.
    Rows(Vec<Row>),
    /// A small table.
    Table(Table),
    /// Paragraphs, wrapped to the width.
    Text(Vec<String>),
    /// Lines printed as they are: text that is to be copied.
    Lines(Vec<String>),
}

/// One line of facts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Row {
    /// What it is.
    pub label: String,
    /// Number and unit, or a word.
    pub value: String,
    /// Where it comes from, or what to think of it; may be empty.
    pub note: String,
}

/// A small table; every row has as many cells as there are columns.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Table {
    /// Columns, left to right. The last one is wrapped when the table is too wide.
    pub columns: Vec<Column>,
    /// Cells, row by row.
    pub rows: Vec<Vec<String>>,
}

/// A column of a table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// With the unit in it.
    pub heading: String,
    /// To which side its cells lean.
    pub align: Align,
}

/// To which side a cell leans.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

impl Block {
    /// Aligned facts below a heading.
    pub fn rows(heading: impl Into<String>, rows: Vec<Row>) -> Self {
        Self {
            heading: heading.into(),
            body: Body::Rows(rows),
        }
    }
    /// A table below a heading.
    pub fn table(heading: impl Into<String>, table: Table) -> Self {
        Self {
            heading: heading.into(),
            body: Body::Table(table),
        }
    }
    /// Paragraphs below a heading.
    pub fn text(heading: impl Into<String>, paragraphs: Vec<String>) -> Self {
        Self {
            heading: heading.into(),
            body: Body::Text(paragraphs),
        }
    }
}

impl Row {
    /// Label and value.
    pub fn new(label: impl Into<String>, value: impl Into<String>) -> Self {
        Self {
            label: label.into(),
            value: value.into(),
            note: String::new(),
        }
    }
    /// With a note.
    #[must_use]
    pub fn with_note(self, note: impl Into<String>) -> Self {
        Self {
            note: note.into(),
            ..self
        }
    }
}

impl Column {
    /// A column of words.
    pub fn left(heading: impl Into<String>) -> Self {
        Self {
            heading: heading.into(),
            align: Align::Left,
        }
    }
    /// A column of numbers.
    pub fn right(heading: impl Into<String>) -> Self {
        Self {
            heading: heading.into(),
            align: Align::Right,
        }
    }
}
