//! A drawing as a list of what is drawn, before anybody decides the file: SVG, PDF and PNG are made of the same list.

use crate::map::palette::{Colour, INK, PAPER};
use crate::report::draw::hatch::Hatch;

/// Chains of points; each is closed when it is filled.
pub(crate) type Rings = Vec<Vec<(f64, f64)>>;

/// A grey that helps the eye along an axis and means nothing.
pub(crate) const GRID: Colour = Colour::new(0xc8, 0xc8, 0xc8);

/// What a shape is filled with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Paint {
    /// One colour.
    Colour(Colour),
    /// White through which the map still shows.
    Veil,
    /// A hatch over whatever lies below.
    Hatch(Hatch),
}

/// A line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// Its colour.
    pub colour: Colour,
    /// Its width.
    pub width: f64,
    /// Dash and gap; empty for a full line.
    pub dash: &'static [f64],
}

impl Stroke {
    /// A full line.
    pub const fn new(colour: Colour, width: f64) -> Self {
        Self {
            colour,
            width,
            dash: &[],
        }
    }
    /// A dashed line.
    pub const fn dashed(colour: Colour, width: f64, dash: &'static [f64]) -> Self {
        Self {
            colour,
            width,
            dash,
        }
    }
}

/// How a shape looks.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Style {
    /// Inside.
    pub fill: Option<Paint>,
    /// Border.
    pub stroke: Option<Stroke>,
}

impl Style {
    /// Filled with a colour.
    pub const fn filled(colour: Colour) -> Self {
        Self {
            fill: Some(Paint::Colour(colour)),
            stroke: None,
        }
    }
    /// Hatched.
    pub const fn hatched(hatch: Hatch) -> Self {
        Self {
            fill: Some(Paint::Hatch(hatch)),
            stroke: None,
        }
    }
    /// A border alone.
    pub const fn line(stroke: Stroke) -> Self {
        Self {
            fill: None,
            stroke: Some(stroke),
        }
    }
    /// With a border.
    #[must_use]
    pub const fn with(self, stroke: Stroke) -> Self {
        Self {
            fill: self.fill,
            stroke: Some(stroke),
        }
    }
}

/// Where text begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// At the point.
    Start,
    /// Around the point.
    Middle,
    /// Ends at the point.
    End,
}

/// How text looks. It is always ink.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TextStyle {
    /// Size in drawing units.
    pub size: f64,
    /// Where it begins.
    pub anchor: Anchor,
    /// Whether it is bold.
    pub bold: bool,
    /// Whether it has a white halo, so that it can be read on any ground.
    pub halo: bool,
}

impl Default for TextStyle {
    fn default() -> Self {
        Self {
            size: 11.0,
            anchor: Anchor::Start,
            bold: false,
            halo: false,
        }
    }
}

/// A picture of pixels: indices into a palette, and which of them is nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct Pixels {
    /// Columns.
    pub cols: usize,
    /// Rows.
    pub rows: usize,
    /// Index of each pixel, row by row from the top.
    pub indices: Vec<u8>,
    /// Colours of the indices below [`Pixels::CLEAR`].
    pub palette: Vec<Colour>,
}

impl Pixels {
    /// The index of nothing.
    pub const CLEAR: u8 = 255;
}

/// One thing drawn.
#[derive(Clone, Debug, PartialEq)]
pub enum Item {
    /// Chains of points.
    Path {
        /// The chains.
        rings: Rings,
        /// Whether each ends where it began.
        closed: bool,
        /// How it looks.
        style: Style,
    },
    /// A circle.
    Circle {
        /// Its middle.
        at: (f64, f64),
        /// Its radius.
        radius: f64,
        /// How it looks.
        style: Style,
    },
    /// A line of text.
    Text {
        /// Where its base line begins, or its middle, or its end.
        at: (f64, f64),
        /// The text; may come from data.
        text: String,
        /// How it looks.
        style: TextStyle,
    },
    /// Pixels, stretched over a rectangle: left, top, width, height.
    Image {
        /// Where.
        window: (f64, f64, f64, f64),
        /// What.
        pixels: Pixels,
    },
    /// What follows, up to the next end, is seen inside this rectangle only: left, top, width, height.
    Clip(f64, f64, f64, f64),
    /// What follows, up to the next end, is moved to a point and turned clockwise. \[°\]
    Turned((f64, f64), f64),
    /// Ends the last clip or turn.
    End,
}

/// A drawing that grows by items.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    /// Keeps its parts apart from those of other drawings on the same page: letters and hyphens.
    pub name: &'static str,
    /// What it shows, for those who cannot see it.
    pub title: String,
    /// Width in drawing units: a quarter of a millimetre on paper where 720 of them fill a page.
    pub width: f64,
    /// Height in drawing units.
    pub height: f64,
    /// What is drawn, in order.
    pub items: Vec<Item>,
}

impl Drawing {
    /// An empty white drawing.
    pub fn new(name: &'static str, width: f64, height: f64) -> Self {
        let mut drawing = Self {
            name,
            title: String::new(),
            width,
            height,
            items: Vec::new(),
        };
        drawing.rect(0.0, 0.0, width, height, Style::filled(PAPER));
        drawing
    }
    /// A rectangle.
    pub fn rect(&mut self, x: f64, y: f64, width: f64, height: f64, style: Style) {
        self.shape(
            vec![vec![
                (x, y),
                (x + width, y),
                (x + width, y + height),
                (x, y + height),
            ]],
            style,
        );
    }
    /// A straight line.
    pub fn line(&mut self, a: (f64, f64), b: (f64, f64), stroke: Stroke) {
        self.chain(vec![a, b], stroke);
    }
    /// A chain of straight lines.
    pub fn chain(&mut self, points: Vec<(f64, f64)>, stroke: Stroke) {
        if points.len() > 1 {
            self.chains(vec![points], stroke);
        }
    }
    /// Chains of straight lines, each of two points at least.
    pub fn chains(&mut self, chains: Rings, stroke: Stroke) {
        if !chains.is_empty() {
            self.items.push(Item::Path {
                rings: chains,
                closed: false,
                style: Style::line(stroke),
            });
        }
    }
    /// Closed rings, filled by the even-odd rule.
    pub fn shape(&mut self, rings: Rings, style: Style) {
        if !rings.is_empty() {
            self.items.push(Item::Path {
                rings,
                closed: true,
                style,
            });
        }
    }
    /// A circle.
    pub fn circle(&mut self, at: (f64, f64), radius: f64, style: Style) {
        self.items.push(Item::Circle { at, radius, style });
    }
    /// A line of text; `text` may come from data.
    pub fn text(&mut self, at: (f64, f64), text: &str, style: TextStyle) {
        self.items.push(Item::Text {
            at,
            text: text.to_owned(),
            style,
        });
    }
}

/// A thin border of ink.
pub(crate) const THIN: Stroke = Stroke::new(INK, 0.8);

/// Width that a text takes, roughly: enough to keep labels apart, never to cut them.
pub(crate) fn rough_width(text: &str, size: f64) -> f64 {
    let of = |c: char| match c {
        'i' | 'l' | '.' | ',' | ':' | '/' | ' ' | '|' | 'j' | 't' | 'f' | 'r' | '(' | ')' => 0.33,
        c if c.is_uppercase() || c == 'm' || c == 'w' => 0.72,
        _ => 0.57,
    };
    text.chars().map(of).sum::<f64>() * size
}
