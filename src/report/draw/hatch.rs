//! Hatching of ground that is not plain crop, so that a grey print tells it apart.

use crate::report::draw::svg::Svg;
use crate::zones::prescription::CellState;

/// Ground that is drawn over the rates.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Hatch {
    /// Mostly bare ground: dots.
    Bare,
    /// Not seen: lines that rise.
    Unseen,
    /// Thin crop: upright lines.
    Thin,
    /// Left out with its buffer: crossed lines.
    LeftOut,
}

impl Hatch {
    /// All of them, in the order of the legend.
    pub const ALL: [Self; 4] = [Self::Thin, Self::Bare, Self::Unseen, Self::LeftOut];

    /// The hatch of a cell's state, if it has one.
    pub const fn of(state: CellState) -> Option<Self> {
        match state {
            CellState::Bare => Some(Self::Bare),
            CellState::Unseen => Some(Self::Unseen),
            CellState::Thin => Some(Self::Thin),
            CellState::Canopy | CellState::Sliver => None,
        }
    }
    /// Name of its pattern.
    const fn name(self) -> &'static str {
        match self {
            Self::Bare => "bare",
            Self::Unseen => "unseen",
            Self::Thin => "thin",
            Self::LeftOut => "left-out",
        }
    }
    /// What a shape is filled with.
    pub fn fill(self, drawing: &str) -> String {
        format!("url(#{drawing}-{})", self.name())
    }
    /// Lines of the pattern, dark on a white casing, so that they show on pale and on dark ground.
    const fn lines(self) -> &'static str {
        match self {
            Self::Bare => "<circle cx=\"2\" cy=\"2\" r=\"1.5\" fill=\"#fff\"/><circle cx=\"2\" cy=\"2\" r=\"1\"/><circle cx=\"6\" cy=\"6\" r=\"1.5\" fill=\"#fff\"/><circle cx=\"6\" cy=\"6\" r=\"1\"/>",
            Self::Unseen => {
                "<path d=\"M-1 9L9 -1M-1 1L1 -1M7 9L9 7\" stroke=\"#fff\" stroke-width=\"2.2\"/><path d=\"M-1 9L9 -1M-1 1L1 -1M7 9L9 7\" stroke=\"#1a1a1a\" stroke-width=\"1\"/>"
            }
            Self::Thin => "<path d=\"M4 0V8\" stroke=\"#fff\" stroke-width=\"2.2\"/><path d=\"M4 0V8\" stroke=\"#1a1a1a\" stroke-width=\"1\"/>",
            Self::LeftOut => {
                "<rect width=\"8\" height=\"8\" fill=\"#e6e6e6\"/><path d=\"M0 8L8 0M0 0L8 8\" stroke=\"#4d4d4d\" stroke-width=\"0.8\"/>"
            }
        }
    }
}

/// Defines the patterns of one drawing; `drawing` keeps them apart from those of other drawings on the same page.
pub fn define(svg: &mut Svg, drawing: &str) {
    for hatch in Hatch::ALL {
        let (name, lines) = (hatch.name(), hatch.lines());
        svg.define(&format!("<pattern id=\"{drawing}-{name}\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\">{lines}</pattern>"));
    }
}
