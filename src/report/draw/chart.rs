//! Charts: index along a strip, rates by area, what a rate does. Axes with units, marks by shape as well as by colour.

use crate::map::palette::{Colour, INK, PAPER};
use crate::report::draw::drawing::{
    Anchor, Drawing, GRID, Stroke, Style, THIN, TextStyle, rough_width,
};
use crate::report::draw::frame::round_length;

/// Colours of two lines that stay apart for any sight and in grey.
const FIRST: Colour = Colour::new(0x08, 0x30, 0x6b);
const SECOND: Colour = Colour::new(0xb3, 0x58, 0x06);

/// Width of a chart: half a page, or a phone.
const WIDTH: f64 = 352.0;
/// Height of a chart.
const HEIGHT: f64 = 190.0;
/// Colour of bars that have no rate.
const BAR: Colour = Colour::new(0xb4, 0xb4, 0xb4);

/// Axes of a chart.
struct Axes {
    left: f64,
    top: f64,
    width: f64,
    height: f64,
    x: (f64, f64),
    y: (f64, f64),
}

impl Axes {
    fn at(&self, x: f64, y: f64) -> (f64, f64) {
        let fx = (x - self.x.0) / (self.x.1 - self.x.0);
        let fy = (y - self.y.0) / (self.y.1 - self.y.0);
        (
            self.left + fx * self.width,
            self.top + (1.0 - fy) * self.height,
        )
    }
    fn draw(&self, drawing: &mut Drawing, x_label: &str, y_label: &str) {
        for (value, label) in ticks(self.x, self.width / 70.0) {
            let at = self.at(value, self.y.0);
            drawing.line(at, (at.0, self.top), Stroke::new(GRID, 0.6));
            drawing.text(
                (at.0, at.1 + 13.0),
                &label,
                TextStyle {
                    size: 10.5,
                    anchor: Anchor::Middle,
                    ..TextStyle::default()
                },
            );
        }
        for (value, label) in ticks(self.y, self.height / 32.0) {
            let at = self.at(self.x.0, value);
            drawing.line(at, (self.left + self.width, at.1), Stroke::new(GRID, 0.6));
            drawing.text(
                (at.0 - 5.0, at.1 + 3.5),
                &label,
                TextStyle {
                    size: 10.5,
                    anchor: Anchor::End,
                    ..TextStyle::default()
                },
            );
        }
        drawing.rect(
            self.left,
            self.top,
            self.width,
            self.height,
            Style::line(Stroke::new(INK, 0.9)),
        );
        let (middle, bottom) = (self.left + self.width / 2.0, self.top + self.height);
        drawing.text(
            (middle, bottom + 28.0),
            x_label,
            TextStyle {
                size: 10.5,
                anchor: Anchor::Middle,
                ..TextStyle::default()
            },
        );
        drawing.text(
            (self.left, self.top - 7.0),
            y_label,
            TextStyle {
                size: 10.5,
                ..TextStyle::default()
            },
        );
    }
}

/// Round numbers in a range, about `count` of them, with labels of as many decimals as they need.
fn ticks(range: (f64, f64), count: f64) -> Vec<(f64, String)> {
    let step = round_length((range.1 - range.0) / count.max(2.0) * 1.6);
    let decimals = (-libm::floor(libm::log10(step) + 1e-9)).max(0.0) as usize;
    let first = libm::ceil(range.0 / step - 1e-9) as i64;
    let last = libm::floor(range.1 / step + 1e-9) as i64;
    (first..=last)
        .map(|k| k as f64 * step)
        .map(|value| (value, format!("{:.decimals$}", value + 0.0)))
        .collect()
}

/// A range a little wider than its values.
fn wider(values: impl Iterator<Item = f64>) -> (f64, f64) {
    let (low, high) = values
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(v), high.max(v))
        });
    if low > high {
        return (0.0, 1.0);
    }
    let room = ((high - low) * 0.12).max(1e-3 * high.abs().max(1e-6));
    (low - room, high + room)
}

/// One segment of a strip and of the ground beside it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct ProfilePoint {
    /// Its middle along the strip, in the unit of the axis.
    pub along: f64,
    /// Mean index in the strip.
    pub strip: Option<f64>,
    /// Mean index beside it.
    pub beside: Option<f64>,
    /// Whether the strip's part was dropped.
    pub strip_dropped: bool,
    /// Whether the swath's part was dropped.
    pub beside_dropped: bool,
}

/// Words of a strip's chart.
pub(crate) struct ProfileWords<'a> {
    /// What it shows, for those who cannot see it.
    pub title: &'a str,
    /// Horizontal axis.
    pub along: &'a str,
    /// Vertical axis.
    pub index: &'a str,
    /// The strip's line.
    pub strip: &'a str,
    /// The swaths' line.
    pub beside: &'a str,
    /// Dropped segments.
    pub dropped: &'a str,
}

/// A vertical axis for the points of all strips and the means that were used.
pub(crate) fn profile_range<'a>(
    points: impl Iterator<Item = &'a ProfilePoint>,
    means: impl Iterator<Item = f64>,
) -> (f64, f64) {
    wider(
        points
            .flat_map(|p| [p.strip, p.beside])
            .flatten()
            .chain(means),
    )
}

/// What a line of a profile shows of a point: its value, and whether it was dropped.
type Picked = fn(&ProfilePoint) -> (Option<f64>, bool);

/// The index along a strip and beside it, segment by segment; the means that were used as level lines.
///
/// `range` is the vertical axis: the same for all strips of a field, so that one look compares them; see [`profile_range`].
pub(crate) fn profile(
    points: &[ProfilePoint],
    means: (f64, Option<f64>),
    length: f64,
    range: (f64, f64),
    words: &ProfileWords<'_>,
) -> Drawing {
    let mut drawing = Drawing::new("profile", WIDTH, HEIGHT);
    let axes = Axes {
        left: 52.0,
        top: 28.0,
        width: WIDTH - 62.0,
        height: HEIGHT - 66.0,
        x: (0.0, length),
        y: range,
    };
    axes.draw(&mut drawing, words.along, words.index);
    let levels = [(Some(means.0), FIRST), (means.1, SECOND)];
    for (level, colour) in levels
        .into_iter()
        .filter_map(|(level, colour)| level.map(|level| (level, colour)))
    {
        drawing.line(
            axes.at(0.0, level),
            axes.at(length, level),
            Stroke::dashed(colour, 1.0, &[2.0, 3.0]),
        );
    }
    let lines: [(Colour, Picked); 2] = [
        (FIRST, |p| (p.strip, p.strip_dropped)),
        (SECOND, |p| (p.beside, p.beside_dropped)),
    ];
    for (k, (colour, of)) in lines.into_iter().enumerate() {
        let kept = points.iter().filter_map(|p| {
            of(p)
                .0
                .filter(|_| !of(p).1)
                .map(|value| axes.at(p.along, value))
        });
        drawing.chain(kept.collect(), Stroke::new(colour, 1.6));
        for (at, dropped) in points
            .iter()
            .filter_map(|p| of(p).0.map(|value| (axes.at(p.along, value), of(p).1)))
        {
            if dropped {
                cross(&mut drawing, at, colour);
            } else {
                mark(&mut drawing, at, k == 0, colour);
            }
        }
    }
    let mut x = 104.0;
    for (kind, label, colour) in [
        (0, words.strip, FIRST),
        (1, words.beside, SECOND),
        (2, words.dropped, INK),
    ] {
        match kind {
            2 => cross(&mut drawing, (x, 14.0), colour),
            kind => mark(&mut drawing, (x, 14.0), kind == 0, colour),
        }
        drawing.text(
            (x + 9.0, 18.0),
            label,
            TextStyle {
                size: 10.5,
                ..TextStyle::default()
            },
        );
        x += 9.0 + rough_width(label, 10.5) + 12.0;
    }
    words.title.clone_into(&mut drawing.title);
    drawing
}

/// A disc or a square: shapes tell lines apart where colours do not.
fn mark(drawing: &mut Drawing, at: (f64, f64), disc: bool, colour: Colour) {
    if disc {
        drawing.circle(at, 3.4, Style::filled(colour));
    } else {
        drawing.rect(
            at.0 - 3.2,
            at.1 - 3.2,
            6.4,
            6.4,
            Style::filled(PAPER).with(Stroke::new(colour, 1.6)),
        );
    }
}

fn cross(drawing: &mut Drawing, at: (f64, f64), colour: Colour) {
    let (x, y) = at;
    for side in [-4.0, 4.0] {
        drawing.line(
            (x - 4.0, y - side),
            (x + 4.0, y + side),
            Stroke::new(colour, 1.8),
        );
    }
}

/// Area by rate: label, area and colour of each bar, least rate first.
pub(crate) fn histogram(
    bars: &[(String, f64, Colour)],
    x_label: &str,
    y_label: &str,
    title: &str,
) -> Drawing {
    let mut drawing = Drawing::new("histogram", WIDTH, HEIGHT);
    let most = bars.iter().map(|bar| bar.1).fold(0.0, f64::max).max(1e-9);
    let axes = Axes {
        left: 44.0,
        top: 28.0,
        width: 298.0,
        height: HEIGHT - 66.0,
        x: (0.0, 1.0),
        y: (0.0, most * 1.12),
    };
    for (value, label) in ticks(axes.y, 4.0) {
        let at = axes.at(0.0, value);
        drawing.line(at, (axes.left + axes.width, at.1), Stroke::new(GRID, 0.6));
        drawing.text(
            (at.0 - 5.0, at.1 + 3.5),
            &label,
            TextStyle {
                size: 10.5,
                anchor: Anchor::End,
                ..TextStyle::default()
            },
        );
    }
    let step = axes.width / bars.len().max(1) as f64;
    // Labels that would run into each other are thinned out; bars never.
    let widest = bars
        .iter()
        .map(|bar| rough_width(&bar.0, 10.5))
        .fold(0.0, f64::max)
        + 4.0;
    let every = libm::ceil(widest / step).max(1.0) as usize;
    for (k, (label, area, colour)) in bars.iter().enumerate() {
        let x = axes.left + (k as f64 + 0.12) * step;
        let top = axes.at(0.0, *area).1;
        drawing.rect(
            x,
            top,
            step * 0.76,
            axes.top + axes.height - top,
            Style::filled(*colour).with(THIN),
        );
        if k % every == 0 {
            let at = (x + step * 0.38, axes.top + axes.height + 13.0);
            drawing.text(
                at,
                label,
                TextStyle {
                    size: 10.5,
                    anchor: Anchor::Middle,
                    ..TextStyle::default()
                },
            );
        }
    }
    let bottom = axes.top + axes.height;
    drawing.line(
        (axes.left, bottom),
        (axes.left + axes.width, bottom),
        Stroke::new(INK, 0.9),
    );
    drawing.text(
        (axes.left + axes.width / 2.0, bottom + 29.0),
        x_label,
        TextStyle {
            size: 10.5,
            anchor: Anchor::Middle,
            ..TextStyle::default()
        },
    );
    drawing.text(
        (axes.left, axes.top - 9.0),
        y_label,
        TextStyle {
            size: 10.5,
            ..TextStyle::default()
        },
    );
    title.clone_into(&mut drawing.title);
    drawing
}

/// Placebo strips: how often the ratio of strip to comparison ground takes which value where there is no strip; the strips' own ratios as lines, the 95 % limits as a
/// bracket above.
pub(crate) fn placebo(
    ratios: &[f64],
    own: &[(f64, String)],
    limits: Option<(f64, f64)>,
    labels: (&str, &str),
    title: &str,
) -> Drawing {
    const BINS: usize = 24;
    let mut drawing = Drawing::new("placebo", WIDTH, HEIGHT);
    let all = || {
        ratios
            .iter()
            .copied()
            .chain(own.iter().map(|one| one.0))
            .chain(limits.into_iter().flat_map(|(low, high)| [low, high]))
            .chain([1.0])
    };
    let x = wider(all());
    let bin = |value: f64| {
        ((value - x.0) / (x.1 - x.0) * BINS as f64).clamp(0.0, BINS as f64 - 1.0) as usize
    };
    let mut counts = [0_u32; BINS];
    for ratio in ratios {
        counts[bin(*ratio)] += 1;
    }
    let most = counts.iter().copied().max().unwrap_or(1).max(1);
    let axes = Axes {
        left: 44.0,
        top: 40.0,
        width: 298.0,
        height: HEIGHT - 78.0,
        x,
        y: (0.0, f64::from(most) * 1.15),
    };
    axes.draw(&mut drawing, labels.0, "");
    drawing.text(
        (axes.left, axes.top - 28.0),
        labels.1,
        TextStyle {
            size: 10.5,
            ..TextStyle::default()
        },
    );
    for (k, count) in counts.iter().enumerate().filter(|(_, count)| **count > 0) {
        let step = (x.1 - x.0) / BINS as f64;
        let from = axes.at(x.0 + k as f64 * step, f64::from(*count));
        let to = axes.at(x.0 + (k + 1) as f64 * step, 0.0);
        drawing.rect(
            from.0,
            from.1,
            to.0 - from.0,
            to.1 - from.1,
            Style::filled(BAR).with(Stroke::new(INK, 0.6)),
        );
    }
    let one = axes.at(1.0, 0.0).0;
    drawing.line(
        (one, axes.top),
        (one, axes.top + axes.height),
        Stroke::dashed(INK, 1.0, &[2.0, 3.0]),
    );
    if let Some((low, high)) = limits {
        let (low, high) = (axes.at(low, 0.0).0, axes.at(high, 0.0).0);
        let y = axes.top - 6.0;
        drawing.line((low, y), (high, y), Stroke::new(FIRST, 1.6));
        for end in [low, high] {
            drawing.line((end, y - 4.0), (end, y + 4.0), Stroke::new(FIRST, 1.6));
        }
    }
    let mut right = f64::NEG_INFINITY;
    let mut level = 0.0;
    let mut sorted: Vec<&(f64, String)> = own.iter().collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (ratio, label) in sorted {
        let at = axes.at(*ratio, 0.0).0;
        drawing.line(
            (at, axes.top),
            (at, axes.top + axes.height),
            Stroke::new(FIRST, 2.0),
        );
        // Labels of strips that lie close together go one below the other.
        let half = rough_width(label, 10.5) / 2.0;
        level = if at - half < right { level + 13.0 } else { 0.0 };
        right = at + half + 4.0;
        drawing.text(
            (
                at.min(axes.left + axes.width - half - 2.0),
                axes.top + 14.0 + level,
            ),
            label,
            TextStyle {
                size: 10.5,
                anchor: Anchor::Middle,
                bold: true,
                halo: true,
            },
        );
    }
    title.clone_into(&mut drawing.title);
    drawing
}

/// A place on a curve.
pub(crate) struct Place<'a> {
    /// Where.
    pub x: f64,
    /// Where.
    pub y: f64,
    /// What it is.
    pub label: &'a str,
}

/// A curve with places marked on it.
pub(crate) fn curve(
    points: &[(f64, f64)],
    places: &[Place<'_>],
    x_label: &str,
    y_label: &str,
    title: &str,
) -> Drawing {
    let mut drawing = Drawing::new("response", WIDTH, HEIGHT);
    let x = wider(points.iter().map(|p| p.0).chain(places.iter().map(|p| p.x)));
    let y = wider(points.iter().map(|p| p.1).chain(places.iter().map(|p| p.y)));
    let axes = Axes {
        left: 44.0,
        top: 28.0,
        width: 298.0,
        height: HEIGHT - 66.0,
        x,
        y,
    };
    axes.draw(&mut drawing, x_label, y_label);
    drawing.chain(
        points.iter().map(|p| axes.at(p.0, p.1)).collect(),
        Stroke::new(FIRST, 2.0),
    );
    let mut below = axes.top + axes.height - 8.0;
    for (number, place) in ('A'..).zip(places) {
        let at = axes.at(place.x, place.y);
        drawing.circle(at, 7.0, Style::filled(PAPER).with(Stroke::new(SECOND, 1.8)));
        drawing.text(
            (at.0, at.1 + 3.6),
            &number.to_string(),
            TextStyle {
                size: 10.5,
                anchor: Anchor::Middle,
                bold: true,
                ..TextStyle::default()
            },
        );
        let style = TextStyle {
            size: 10.5,
            anchor: Anchor::End,
            halo: true,
            ..TextStyle::default()
        };
        drawing.text(
            (axes.left + axes.width - 6.0, below),
            &format!("{number} {}", place.label),
            style,
        );
        below -= 13.0;
    }
    title.clone_into(&mut drawing.title);
    drawing
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::draw::drawing::Item;

    #[test]
    fn ticks_are_round_and_inside() {
        let all: Vec<String> = ticks((0.0, 100.0), 5.0)
            .into_iter()
            .map(|tick| tick.1)
            .collect();
        assert_eq!(all, ["0", "20", "40", "60", "80", "100"]);
        let small: Vec<String> = ticks((0.612, 0.688), 4.0)
            .into_iter()
            .map(|tick| tick.1)
            .collect();
        assert_eq!(small, ["0.62", "0.64", "0.66", "0.68"]);
    }

    #[test]
    fn dropped_segments_are_crosses_and_leave_the_line() {
        let point = |along: f64, dropped: bool| ProfilePoint {
            along,
            strip: Some(0.6),
            beside: None,
            strip_dropped: dropped,
            beside_dropped: false,
        };
        let words = ProfileWords {
            title: "t",
            along: "a",
            index: "i",
            strip: "s",
            beside: "b",
            dropped: "d",
        };
        let count = |dropped: bool| {
            let drawing = profile(
                &[point(10.0, false), point(20.0, dropped)],
                (0.6, None),
                30.0,
                (0.5, 0.7),
                &words,
            );
            drawing
                .items
                .iter()
                .filter(|item| matches!(item, Item::Circle { .. }))
                .count()
        };
        // One disc of the key in both.
        assert_eq!((count(false), count(true)), (3, 2));
    }

    #[test]
    fn placebo_strips_are_counted_and_the_strip_stands_beside_them() {
        let ratios = [0.98, 0.99, 1.0, 1.0, 1.01, 1.02];
        let drawing = placebo(
            &ratios,
            &[(1.3, "S1".to_owned())],
            Some((1.2, 1.4)),
            ("ratio", "places"),
            "t",
        );
        let bars: Vec<f64> = drawing
            .items
            .iter()
            .filter_map(|item| match item {
                Item::Path { rings, style, .. }
                    if style.fill == Some(crate::report::draw::drawing::Paint::Colour(BAR)) =>
                {
                    Some(rings[0][2].1 - rings[0][0].1)
                }
                _ => None,
            })
            .collect();
        let one = bars.iter().copied().fold(f64::INFINITY, f64::min);
        // Bars of one place each are the unit of height; six places in all.
        assert!((bars.iter().sum::<f64>() / one).round() % 1.0 == 0.0 && bars.len() > 1);
        assert!(
            drawing
                .items
                .iter()
                .any(|item| matches!(item, Item::Text { text, .. } if text == "S1"))
        );
    }
}
