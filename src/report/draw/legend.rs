//! Legends: what a colour or a hatch means, with its unit, in words beside it.

use crate::report::draw::hatch::Hatch;
use crate::report::draw::shade::Rgb;
use crate::report::draw::shade::hex;
use crate::report::draw::shade::ramp;
use crate::report::draw::svg::INK;
use crate::report::draw::svg::Svg;
use crate::report::draw::svg::TextStyle;

/// Most classes that a legend may show apart; more are drawn as one ramp.
pub const MOST_CLASSES: usize = 7;
/// Height of a row.
const ROW: f64 = 16.0;

/// One row of a legend.
#[derive(Clone, Debug, PartialEq)]
pub enum Entry {
    /// A heading.
    Heading(String),
    /// A colour.
    Colour(Rgb, String),
    /// A hatch.
    Hatch(Hatch, String),
    /// A line with these SVG attributes.
    Line(&'static str, String),
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
pub fn draw(svg: &mut Svg, drawing: &str, at: (f64, f64), entries: &[Entry]) -> f64 {
    let (x, mut y) = at;
    for entry in entries {
        let text = |svg: &mut Svg, label: &str| svg.text((x + 26.0, y + 10.0), label, &TextStyle { size: 10.5, ..TextStyle::default() });
        match entry {
            Entry::Heading(label) => svg.text((x, y + 13.0), label, &TextStyle { bold: true, ..TextStyle::default() }),
            Entry::Words(label) => svg.text((x, y + 10.0), label, &TextStyle { size: 10.5, ..TextStyle::default() }),
            Entry::Colour(colour, label) => {
                svg.rect(x, y, 20.0, 12.0, &format!("fill=\"{}\" stroke=\"{INK}\" stroke-width=\"0.8\"", hex(*colour)));
                text(svg, label);
            }
            Entry::Hatch(hatch, label) => {
                svg.rect(x, y, 20.0, 12.0, &format!("fill=\"{}\" stroke=\"{INK}\" stroke-width=\"0.8\"", hatch.fill(drawing)));
                text(svg, label);
            }
            Entry::Line(attributes, label) => {
                svg.line((x, y + 6.0), (x + 20.0, y + 6.0), attributes);
                text(svg, label);
            }
            Entry::Ramp(labels) => {
                let height = entry.height() - 14.0;
                let slices = 48;
                for k in 0..slices {
                    // Greatest on top, as people read a scale.
                    let share = 1.0 - (f64::from(k) + 0.5) / f64::from(slices);
                    let slice = height / f64::from(slices);
                    svg.rect(x, y + 5.0 + f64::from(k) * slice, 20.0, slice + 0.3, &format!("fill=\"{}\"", hex(ramp(share))));
                }
                svg.rect(x, y + 5.0, 20.0, height, &format!("fill=\"none\" stroke=\"{INK}\" stroke-width=\"0.8\""));
                for (share, label) in labels {
                    let at = y + 5.0 + height * (1.0 - share);
                    svg.line((x + 20.0, at), (x + 24.0, at), &format!("stroke=\"{INK}\" stroke-width=\"0.8\""));
                    svg.text((x + 27.0, at + 3.5), label, &TextStyle { size: 10.5, ..TextStyle::default() });
                }
            }
        }
        y += entry.height();
    }
    y
}
