//! From the working plane to paper: one scale for both directions, north of the plane upwards; scale bar and north arrow.

use geo::{BoundingRect, MultiPolygon};

use crate::map::palette::{INK, PAPER};
use crate::report::draw::drawing::{
    Anchor, Drawing, Item, Paint, Rings, Style, THIN, TextStyle, rough_width,
};
use crate::report::draw::svg::num;
use crate::units::M_PER_FT;

/// A rectangle of the drawing: left, top, width, height.
pub(crate) type Window = (f64, f64, f64, f64);

/// The way from the plane to the drawing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MapFrame {
    /// Plane point in the middle of the window.
    centre: (f64, f64),
    /// Drawing point of it.
    middle: (f64, f64),
    /// Drawing units a metre.
    pub scale: f64,
    /// Where the map may be drawn.
    pub window: Window,
}

impl MapFrame {
    /// The frame of nothing.
    pub const EMPTY: Self = Self {
        centre: (0.0, 0.0),
        middle: (0.0, 0.0),
        scale: 1.0,
        window: (0.0, 0.0, 1.0, 1.0),
    };

    /// Fits a shape into a window, leaving `margin` drawing units on every side. `None` for an empty shape.
    pub fn fit(shape: &MultiPolygon<f64>, window: Window, margin: f64) -> Option<Self> {
        let bounds = shape.bounding_rect()?;
        let (w, h) = (bounds.width().max(1e-6), bounds.height().max(1e-6));
        let scale = ((window.2 - 2.0 * margin) / w).min((window.3 - 2.0 * margin) / h);
        let centre = bounds.center();
        Some(Self {
            centre: (centre.x, centre.y),
            middle: (window.0 + window.2 / 2.0, window.1 + window.3 / 2.0),
            scale,
            window,
        })
    }
    /// Height that a shape needs in a window of this width, margins included, held to `most`.
    pub fn height_for(shape: &MultiPolygon<f64>, width: f64, margin: f64, most: f64) -> f64 {
        let Some(bounds) = shape.bounding_rect() else {
            return most;
        };
        let scale = (width - 2.0 * margin) / bounds.width().max(1e-6);
        (bounds.height() * scale + 2.0 * margin).clamp(most / 2.5, most)
    }
    /// A plane point on the drawing.
    pub fn place(&self, x: f64, y: f64) -> (f64, f64) {
        (
            self.middle.0 + (x - self.centre.0) * self.scale,
            self.middle.1 - (y - self.centre.1) * self.scale,
        )
    }
    /// The plane point of a drawing point.
    pub fn plane(&self, x: f64, y: f64) -> (f64, f64) {
        (
            self.centre.0 + (x - self.middle.0) / self.scale,
            self.centre.1 - (y - self.middle.1) / self.scale,
        )
    }
    /// Rings of a shape. Points closer than a tenth of a unit to the one before are left out: nobody can see them.
    pub fn rings(&self, shape: &MultiPolygon<f64>) -> Rings {
        let mut rings = Rings::new();
        for polygon in shape {
            for ring in std::iter::once(polygon.exterior()).chain(polygon.interiors()) {
                let mut points: Vec<(f64, f64)> = Vec::with_capacity(ring.0.len());
                for point in ring.0.iter().map(|c| self.place(c.x, c.y)) {
                    if points.last().is_none_or(|last| is_apart(*last, point)) {
                        points.push(point);
                    }
                }
                if points.len() > 1 && points.first() == points.last() {
                    points.pop();
                }
                if points.len() > 2 {
                    rings.push(points);
                }
            }
        }
        rings
    }
}

/// Whether an eye can tell two places of the paper apart: they are more than a tenth of a unit from each other.
pub(crate) fn is_apart(a: (f64, f64), b: (f64, f64)) -> bool {
    (a.0 - b.0).abs().max((a.1 - b.1).abs()) > 0.1
}

/// A line of equal latitude or longitude.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct GraticuleLine {
    /// `48.912° N`.
    pub label: String,
    /// The line on the plane, across all that maps show.
    pub points: Vec<(f64, f64)>,
}

/// Lines of latitude and longitude in round steps.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Graticule {
    /// From south to north.
    pub meridians: Vec<GraticuleLine>,
    /// From west to east.
    pub parallels: Vec<GraticuleLine>,
}

impl Graticule {
    /// All lines.
    pub(crate) fn lines(&self) -> impl Iterator<Item = &GraticuleLine> {
        self.meridians.iter().chain(&self.parallels)
    }

    /// Writes each line's number where it leaves the map: meridians above, parallels on the left. A number without room is left out.
    pub(crate) fn number(&self, drawing: &mut Drawing, frame: &MapFrame) {
        const SIZE: f64 = 10.5;
        let (x, y, w, h) = frame.window;
        let style = TextStyle {
            size: SIZE,
            anchor: Anchor::Middle,
            ..TextStyle::default()
        };
        let cut = |line: &GraticuleLine,
                   of: fn((f64, f64)) -> f64,
                   at: f64,
                   other: fn((f64, f64)) -> f64| {
            let placed: Vec<(f64, f64)> =
                line.points.iter().map(|p| frame.place(p.0, p.1)).collect();
            placed.windows(2).find_map(|pair| {
                let (a, b) = (of(pair[0]), of(pair[1]));
                if (a - at) * (b - at) > 0.0 || a == b {
                    return None;
                }
                let share = (at - a) / (b - a);
                Some(other(pair[0]) + share * (other(pair[1]) - other(pair[0])))
            })
        };
        let mut last = f64::NEG_INFINITY;
        for line in &self.meridians {
            let half = rough_width(&line.label, SIZE) / 2.0;
            let Some(at) = cut(line, |p| p.1, y, |p| p.0)
                .filter(|at| *at - half > x.max(last + 8.0) && *at + half < x + w)
            else {
                continue;
            };
            drawing.line((at, y - 3.0), (at, y), THIN);
            drawing.text((at, y - 4.5), &line.label, style);
            last = at + half;
        }
        last = f64::INFINITY;
        for line in &self.parallels {
            let half = rough_width(&line.label, SIZE) / 2.0;
            let Some(at) = cut(line, |p| p.0, x, |p| p.1)
                .filter(|at| *at - half > y && *at + half < (y + h).min(last - 8.0))
            else {
                continue;
            };
            drawing.line((x - 3.0, at), (x, at), THIN);
            drawing.items.push(Item::Turned((x - 4.5, at), -90.0));
            drawing.text((0.0, 0.0), &line.label, style);
            drawing.items.push(Item::End);
            last = at - half;
        }
    }
}

/// The greatest of 1, 2, 5 × 10^k that is not above a length.
pub(crate) fn round_length(most: f64) -> f64 {
    let decade = libm::pow(10.0, libm::floor(libm::log10(most.max(1e-9))));
    [5.0, 2.0, 1.0]
        .into_iter()
        .map(|step| step * decade)
        .find(|length| *length <= most * (1.0 + 1e-12))
        .unwrap_or(decade)
}

/// Draws a scale bar whose left end stands at a point; `room` is the most that it may take.
pub(crate) fn scale_bar(
    drawing: &mut Drawing,
    frame: &MapFrame,
    at: (f64, f64),
    room: f64,
    us: bool,
) {
    let unit = if us { M_PER_FT } else { 1.0 };
    let length = round_length(room / frame.scale / unit);
    let width = length * unit * frame.scale;
    let label = match (us, length >= 1000.0) {
        (true, _) => format!("{} ft", num(length)),
        (false, true) => format!("{} km", num(length / 1000.0)),
        (false, false) => format!("{} m", num(length)),
    };
    drawing.rect(
        at.0 - 4.0,
        at.1 - 16.0,
        width + 10.0,
        24.0,
        Style {
            fill: Some(Paint::Veil),
            stroke: None,
        },
    );
    for (from, colour) in [(0.0, INK), (0.5, PAPER)] {
        drawing.rect(
            at.0 + from * width,
            at.1,
            width / 2.0,
            4.0,
            Style::filled(colour).with(THIN),
        );
    }
    drawing.text(
        (at.0, at.1 - 4.0),
        "0",
        TextStyle {
            size: 11.0,
            ..TextStyle::default()
        },
    );
    drawing.text(
        (at.0 + width, at.1 - 4.0),
        &label,
        TextStyle {
            size: 11.0,
            anchor: Anchor::End,
            ..TextStyle::default()
        },
    );
}

/// Draws an arrow to true north around a point. `convergence_deg`: true azimuth less grid azimuth.
pub(crate) fn north_arrow(drawing: &mut Drawing, at: (f64, f64), convergence_deg: f64) {
    // True north lies at grid azimuth −convergence; on paper, north of the plane upwards, a positive turn is clockwise.
    drawing.items.push(Item::Turned(at, -convergence_deg));
    drawing.circle(
        (0.0, 0.0),
        17.0,
        Style {
            fill: Some(Paint::Veil),
            stroke: None,
        },
    );
    drawing.shape(
        vec![vec![(0.0, -15.0), (5.0, 8.0), (0.0, 4.0)]],
        Style::filled(INK).with(THIN),
    );
    drawing.shape(
        vec![vec![(0.0, -15.0), (-5.0, 8.0), (0.0, 4.0)]],
        Style::filled(PAPER).with(THIN),
    );
    drawing.text(
        (0.0, 17.0),
        "N",
        TextStyle {
            size: 10.5,
            anchor: Anchor::Middle,
            bold: true,
            ..TextStyle::default()
        },
    );
    drawing.items.push(Item::End);
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::polygon;

    #[test]
    fn lengths_are_round() {
        assert_eq!(
            [
                round_length(1.0),
                round_length(99.0),
                round_length(260.0),
                round_length(1999.0)
            ],
            [1.0, 50.0, 200.0, 1000.0]
        );
    }

    #[test]
    fn a_known_distance_has_its_length_on_paper() {
        let field = MultiPolygon::new(vec![
            polygon![(x: 1000.0, y: 5000.0), (x: 1600.0, y: 5000.0), (x: 1600.0, y: 5300.0), (x: 1000.0, y: 5300.0)],
        ]);
        let frame = MapFrame::fit(&field, (10.0, 20.0, 640.0, 400.0), 20.0).unwrap();
        // 600 m in 600 units: one unit a metre, north up.
        assert_eq!(frame.scale, 1.0);
        let (a, b) = (frame.place(1000.0, 5300.0), frame.place(1600.0, 5000.0));
        assert_eq!((b.0 - a.0, b.1 - a.1), (600.0, 300.0));
        let back = frame.plane(a.0, a.1);
        assert!((back.0 - 1000.0).abs() < 1e-9 && (back.1 - 5300.0).abs() < 1e-9);
        assert_eq!(MapFrame::height_for(&field, 640.0, 20.0, 400.0), 340.0);
    }

    #[test]
    fn the_scale_bar_is_as_long_as_it_says() {
        let field = MultiPolygon::new(vec![
            polygon![(x: 0.0, y: 0.0), (x: 1200.0, y: 0.0), (x: 1200.0, y: 600.0), (x: 0.0, y: 600.0)],
        ]);
        let frame = MapFrame::fit(&field, (0.0, 0.0, 600.0, 400.0), 0.0).unwrap();
        for (us, label, metres) in [(false, "200 m", 200.0), (true, "500 ft", 152.4)] {
            let mut drawing = Drawing::new("test", 600.0, 400.0);
            scale_bar(&mut drawing, &frame, (10.0, 390.0), 120.0, us);
            assert!(
                drawing
                    .items
                    .iter()
                    .any(|item| matches!(item, Item::Text { text, .. } if text == label))
            );
            let dark = drawing.items.iter().find_map(|item| match item {
                Item::Path { rings, style, .. } if style.fill == Some(Paint::Colour(INK)) => {
                    Some(rings[0][1].0 - rings[0][0].0)
                }
                _ => None,
            });
            assert!((dark.unwrap() - metres * frame.scale / 2.0).abs() < 1e-9);
        }
    }

    #[test]
    fn north_is_turned_by_the_convergence() {
        let mut drawing = Drawing::new("test", 10.0, 10.0);
        north_arrow(&mut drawing, (5.0, 5.0), 1.5);
        assert!(drawing.items.contains(&Item::Turned((5.0, 5.0), -1.5)));
    }
}
