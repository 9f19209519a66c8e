//! Legends: what a colour or a hatch means, with its unit, in words beside it.

use crate::map::palette::{Colour, INK, ramp};
use crate::report::draw::drawing::{Drawing, Item, Stroke, Style, THIN, TextStyle};
use crate::report::draw::hatch::Hatch;

/// Height of a row.
const ROW: f64 = 16.5;

/// One row of a legend.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Entry {
    /// A heading.
    Heading(String),
    /// A word on the rows above.
    Note(String),
    /// A colour.
    Colour(Colour, String),
    /// A hatch.
    Hatch(Hatch, String),
    /// A line.
    Line(Stroke, String),
    /// A ramp from least to greatest, with labels at shares of its height.
    Ramp(Vec<(f64, String)>),
    /// The way that ground is driven, both ways, clockwise from the top of the page. \[°\]
    Arrow(f64, String),
}

impl Entry {
    /// Height that it takes.
    pub(crate) fn height(&self) -> f64 {
        match self {
            Self::Ramp(labels) => (labels.len() as f64 * 14.0).max(90.0) + 14.0,
            Self::Heading(_) => ROW + 4.0,
            Self::Arrow(..) => ROW + 10.0,
            _ => ROW,
        }
    }
}

/// Height of a legend in one column.
pub(crate) fn height(entries: &[Entry]) -> f64 {
    entries.iter().map(Entry::height).sum()
}

/// Where the second of two columns begins: the left one is the higher.
fn split(entries: &[Entry]) -> usize {
    let half = height(entries) / 2.0;
    let at = (1..entries.len())
        .find(|k| height(&entries[..*k]) >= half)
        .unwrap_or(entries.len());
    // A heading goes with what stands below it.
    let is_heading = |k: usize| matches!(entries.get(k), Some(Entry::Heading(_)));
    if at > 1 && is_heading(at - 1) {
        at - 1
    } else {
        at
    }
}

/// Height of a legend in two columns.
pub(crate) fn columns_height(entries: &[Entry]) -> f64 {
    let at = split(entries);
    height(&entries[..at]).max(height(&entries[at..]))
}

/// Draws a legend in two columns.
pub(crate) fn columns(drawing: &mut Drawing, at: (f64, f64), width: f64, entries: &[Entry]) {
    let second = split(entries);
    draw(drawing, at, &entries[..second]);
    draw(drawing, (at.0 + width / 2.0, at.1), &entries[second..]);
}

/// Draws a legend from a point downwards; returns where it ends.
pub(crate) fn draw(drawing: &mut Drawing, at: (f64, f64), entries: &[Entry]) -> f64 {
    let (x, mut y) = at;
    for entry in entries {
        match entry {
            Entry::Heading(label) => drawing.text(
                (x, y + 13.0),
                label,
                TextStyle {
                    size: 11.0,
                    bold: true,
                    ..TextStyle::default()
                },
            ),
            Entry::Note(label) => drawing.text((x, y + 10.0), label, TextStyle::default()),
            Entry::Arrow(degrees, label) => {
                driven(drawing, (x + 11.0, y + 12.0), *degrees);
                drawing.text((x + 28.0, y + 16.0), label, TextStyle::default());
            }
            Entry::Colour(colour, label) => {
                drawing.rect(x, y, 20.0, 12.0, Style::filled(*colour).with(THIN));
                drawing.text((x + 26.0, y + 10.0), label, TextStyle::default());
            }
            Entry::Hatch(hatch, label) => {
                drawing.rect(x, y, 20.0, 12.0, Style::hatched(*hatch).with(THIN));
                drawing.text((x + 26.0, y + 10.0), label, TextStyle::default());
            }
            Entry::Line(stroke, label) => {
                drawing.line((x, y + 6.0), (x + 20.0, y + 6.0), *stroke);
                drawing.text((x + 26.0, y + 10.0), label, TextStyle::default());
            }
            Entry::Ramp(labels) => ramp_of(drawing, (x, y + 5.0), entry.height() - 14.0, labels),
        }
        y += entry.height();
    }
    y
}

/// A line with a head at each end, turned clockwise from the top of the page.
fn driven(drawing: &mut Drawing, at: (f64, f64), degrees: f64) {
    drawing.items.push(Item::Turned(at, degrees));
    drawing.line((0.0, -11.0), (0.0, 11.0), Stroke::new(INK, 1.4));
    for end in [-11.0, 11.0] {
        let back = end - f64::signum(end) * 6.0;
        drawing.chain(
            vec![(-3.5, back), (0.0, end), (3.5, back)],
            Stroke::new(INK, 1.4),
        );
    }
    drawing.items.push(Item::End);
}

/// The ramp, greatest on top as people read a scale.
fn ramp_of(drawing: &mut Drawing, at: (f64, f64), height: f64, labels: &[(f64, String)]) {
    const SLICES: u32 = 48;
    let slice = height / f64::from(SLICES);
    for k in 0..SLICES {
        let share = 1.0 - (f64::from(k) + 0.5) / f64::from(SLICES);
        // A hair of overlap, so that no light shows between slices.
        drawing.rect(
            at.0,
            at.1 + f64::from(k) * slice,
            20.0,
            slice + 0.3,
            Style::filled(ramp(share)),
        );
    }
    drawing.rect(at.0, at.1, 20.0, height, Style::line(THIN));
    for (share, label) in labels {
        let y = at.1 + height * (1.0 - share);
        drawing.line((at.0 + 20.0, y), (at.0 + 24.0, y), THIN);
        drawing.text((at.0 + 27.0, y + 3.5), label, TextStyle::default());
    }
}
