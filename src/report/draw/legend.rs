//! Legends: what a colour or a hatch means, with its unit, in words beside it.

use crate::map::palette::{Colour, ramp};
use crate::report::draw::drawing::{Drawing, Stroke, Style, THIN, TextStyle};
use crate::report::draw::hatch::Hatch;

/// Height of a row.
const ROW: f64 = 16.0;

/// One row of a legend.
#[derive(Clone, Debug, PartialEq)]
pub enum Entry {
    /// A heading.
    Heading(String),
    /// A colour.
    Colour(Colour, String),
    /// A hatch.
    Hatch(Hatch, String),
    /// A line.
    Line(Stroke, String),
    /// A ramp from least to greatest, with labels at shares of its height.
    Ramp(Vec<(f64, String)>),
    /// Words alone.
    Words(String),
}

impl Entry {
    /// Height that it takes.
    pub fn height(&self) -> f64 {
        match self {
            Self::Ramp(labels) => (labels.len() as f64 * 14.0).max(90.0) + 14.0,
            Self::Heading(_) => ROW + 4.0,
            _ => ROW,
        }
    }
}

/// Draws a legend from a point downwards; returns where it ends.
pub fn draw(drawing: &mut Drawing, at: (f64, f64), entries: &[Entry]) -> f64 {
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
            Entry::Words(label) => drawing.text((x, y + 10.0), label, TextStyle::default()),
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
