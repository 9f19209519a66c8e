//! A bent guidance line as a frame: how far along the line, and how far to its left.
//!
//! The line is a chain of straight segments, drawn out straight at both ends. Parallels to it are chains with their corners on the bisectors of the line's bends, so that every pass keeps its width.
//! Between two bisectors lies the strip of one segment. In it a pass runs straight along the segment; rows are cut by straight lines that turn evenly from the one bisector to the other. So cells
//! are quadrilaterals, a little longer on the outside of a bend than on its inside.
//!
//! Two bisectors meet at the centre of the bend. Ground beyond it has no place in the frame: [`CurveFrame::new`] refuses a line whose bend is too tight for the ground that lies on its inside.

use geo::{Coord, LineString, MultiPolygon, Polygon, Simplify};

use crate::space::cells::CellFrame;
use crate::space::polygon::rings_of;
use crate::space::regions::off_and_along;

/// A line that turns by more than this would meet itself. \[°\]
const MAXIMUM_TURN: f64 = 150.0;
/// What must be left of a segment's length at the far side of the ground. \[–\]
const MINIMUM_LEFT: f64 = 0.1;
/// The ground's edge is looked at every so many metres. \[m\]
const EVERY: f64 = 5.0;

/// Why a line cannot be followed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CurveFault {
    /// No two different points.
    NoLength,
    /// It turns by more than can be followed.
    Turns {
        /// By how much between its extreme headings. \[°\]
        degrees: f64,
    },
    /// Parallels would cross on the inside of a bend.
    Tight {
        /// Where the bend is, on the plane. \[m\]
        place: [f64; 2],
        /// Radius of the bend. \[m\]
        radius: f64,
        /// How far the ground reaches on its inside. \[m\]
        reach: f64,
    },
}

/// One segment and its strip.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Strip {
    /// The segment's own frame; `v0` is where column 0 begins.
    pub(crate) frame: CellFrame,
    /// Where the segment begins, in that frame.
    origin: [f64; 2],
    /// Distance along the line at which it begins, and its length. \[m\]
    start: f64,
    length: f64,
    /// How far the bisectors at its ends lean along the segment for each metre to its left. \[–\]
    lean: (f64, f64),
}

impl Strip {
    /// The line of points that lie `s` along: `u = a + b v` in the strip's frame.
    pub(crate) fn across(&self, s: f64) -> (f64, f64) {
        let share = (s - self.start) / self.length;
        let lean = self.lean.0 + share * (self.lean.1 - self.lean.0);
        (
            self.origin[0] + share * self.length - lean * self.origin[1],
            lean,
        )
    }
    /// Where the strip begins and ends along the line. \[m\]
    pub(crate) const fn span(&self) -> (f64, f64) {
        (self.start, self.start + self.length)
    }
    /// Along and to the left, if the place lies in the strip.
    fn locate(&self, x: f64, y: f64) -> Option<(f64, f64)> {
        let (u, v) = self.frame.to_uv(x, y);
        let (along, left) = (u - self.origin[0], v - self.origin[1]);
        let width = self.length + (self.lean.1 - self.lean.0) * left;
        let share = (along - self.lean.0 * left) / width;
        (width > 0.0 && (0.0..=1.0).contains(&share))
            .then_some((self.start + share * self.length, left))
    }
    /// The corner at one of its bisectors, `left` of the line.
    fn corner(&self, at_end: bool, left: f64) -> Coord<f64> {
        let (from, lean) = if at_end {
            (self.length, self.lean.1)
        } else {
            (0.0, self.lean.0)
        };
        self.frame
            .to_xy(self.origin[0] + from + lean * left, self.origin[1] + left)
            .into()
    }
}

/// A bent line as a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct CurveFrame {
    strips: Vec<Strip>,
    /// Rows begin here, along the line. \[m\]
    pub s0: f64,
    /// How far the ground reaches from the line, to the right (below 0) and to the left, with some room. \[m\]
    reach: (f64, f64),
    /// Length and width of cells, and the line's mean heading.
    mean: CellFrame,
    /// Where the rightmost pass begins, to the left of the line. \[m\]
    pub first_pass: f64,
}

/// What a curve is laid over.
#[derive(Clone, Copy, Debug)]
pub struct CurveRule {
    /// Cell length along the line. \[m\]
    pub length: f64,
    /// Cell width. \[m\]
    pub width: f64,
    /// Working width: a pass's middle falls on the line. \[m\]
    pub pass: f64,
    /// How much further than the ground the frame must hold. \[m\]
    pub room: f64,
}

impl CurveFrame {
    /// A frame along a line over a shape.
    ///
    /// # Errors
    /// [`CurveFault`].
    pub fn new(
        line: &LineString<f64>,
        shape: &MultiPolygon<f64>,
        rule: &CurveRule,
    ) -> Result<Self, CurveFault> {
        let rim = densified(shape);
        let points = extended(line, &rim, rule.room)?;
        let headings: Vec<f64> = points
            .windows(2)
            .map(|p| libm::atan2(p[1][0] - p[0][0], p[1][1] - p[0][1]).to_degrees())
            .collect();
        let mut turned = vec![0.0];
        for pair in headings.windows(2) {
            let turn = (pair[1] - pair[0] + 540.0).rem_euclid(360.0) - 180.0;
            turned.push(turned.last().copied().unwrap_or(0.0) + turn);
        }
        let degrees = turned.iter().copied().fold(f64::NEG_INFINITY, f64::max)
            - turned.iter().copied().fold(f64::INFINITY, f64::min);
        if degrees > MAXIMUM_TURN {
            return Err(CurveFault::Turns { degrees });
        }
        let lefts = rim.iter().map(|&p| left_of(&points, p));
        let (right, left) = lefts.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), d| {
            (low.min(d), high.max(d))
        });
        let reach = (right - rule.room, left + rule.room);
        let edge = -rule.pass / 2.0;
        let columns = edge + libm::floor((right - edge) / rule.width) * rule.width;
        let strips = strips(&points, &headings, rule, columns);
        for strip in &strips {
            for d in [reach.0, reach.1] {
                let change = strip.lean.1 - strip.lean.0;
                if strip.length + change * d < MINIMUM_LEFT * strip.length {
                    let middle = strip
                        .frame
                        .to_xy(strip.origin[0] + strip.length / 2.0, strip.origin[1]);
                    return Err(CurveFault::Tight {
                        place: middle.into(),
                        radius: strip.length / change.abs(),
                        reach: d.abs() - rule.room,
                    });
                }
            }
        }
        // Headings weighted by length add up to the way from the first point to the last.
        let ends = line
            .0
            .first()
            .zip(line.0.last())
            .ok_or(CurveFault::NoLength)?;
        let azimuth = libm::atan2(ends.1.x - ends.0.x, ends.1.y - ends.0.y)
            .to_degrees()
            .rem_euclid(360.0);
        let mut frame = Self {
            strips,
            s0: 0.0,
            reach,
            mean: CellFrame::new(azimuth, rule.length, rule.width),
            first_pass: edge + libm::floor((right - edge) / rule.pass) * rule.pass,
        };
        frame.s0 = rim
            .iter()
            .filter_map(|p| frame.along_and_left(p[0], p[1]))
            .map(|place| place.0)
            .fold(f64::INFINITY, f64::min);
        Ok(frame)
    }
    /// Mean heading with length and width of cells; its origin means nothing.
    pub const fn mean(&self) -> &CellFrame {
        &self.mean
    }
    /// How many straight pieces it has.
    pub const fn pieces(&self) -> usize {
        self.strips.len()
    }
    /// Least and greatest heading, as they follow on one another. \[°\]
    pub fn headings(&self) -> (f64, f64) {
        let (first, last) = (self.strips.first(), self.strips.last());
        (
            first.map_or(0.0, |strip| strip.frame.azimuth_deg()),
            last.map_or(0.0, |strip| strip.frame.azimuth_deg()),
        )
    }
    /// Radius of the tightest bend; `None` for a single corner between two straights. \[m\]
    pub fn minimum_radius(&self) -> Option<f64> {
        let inner = self
            .strips
            .get(1..self.strips.len().saturating_sub(1))
            .unwrap_or(&[]);
        let radii = inner
            .iter()
            .map(|strip| strip.length / (strip.lean.1 - strip.lean.0).abs());
        radii.filter(|radius| radius.is_finite()).reduce(f64::min)
    }
    /// Distance along the line and to its left; `None` beyond what the frame holds. \[m\]
    pub fn along_and_left(&self, x: f64, y: f64) -> Option<(f64, f64)> {
        self.strips
            .iter()
            .filter_map(|strip| strip.locate(x, y))
            .find(|place| (self.reach.0..=self.reach.1).contains(&place.1))
    }
    /// Row and column of a place.
    pub fn row_and_column(&self, x: f64, y: f64) -> Option<(i32, i32)> {
        let (s, left) = self.along_and_left(x, y)?;
        let strip = self.strips.first()?;
        let columns = strip.frame.v0 - strip.origin[1];
        Some((
            libm::floor((s - self.s0) / self.mean.length) as i32,
            libm::floor((left - columns) / self.mean.width) as i32,
        ))
    }
    /// Where a row begins along the line. \[m\]
    pub(crate) fn row_start(&self, row: i32) -> f64 {
        self.s0 + f64::from(row) * self.mean.length
    }
    pub(crate) fn strips(&self) -> &[Strip] {
        &self.strips
    }
    /// The ground of each strip.
    pub(crate) fn strip_shapes(&self) -> Vec<MultiPolygon<f64>> {
        let (right, left) = self.reach;
        let shape = |strip: &Strip| {
            let ring = vec![
                strip.corner(false, right),
                strip.corner(true, right),
                strip.corner(true, left),
                strip.corner(false, left),
            ];
            MultiPolygon::new(vec![Polygon::new(LineString::new(ring), Vec::new())])
        };
        self.strips.iter().map(shape).collect()
    }
    /// The ground between two parallels, to the left of the line. \[m\]
    pub fn between(&self, right: f64, left: f64) -> Polygon<f64> {
        let side = |d: f64| {
            self.strips
                .iter()
                .map(move |strip| strip.corner(false, d))
                .chain(self.strips.last().map(|strip| strip.corner(true, d)))
        };
        let mut back: Vec<Coord<f64>> = side(left).collect();
        back.reverse();
        Polygon::new(side(right).chain(back).collect(), Vec::new())
    }
    /// How far it reaches to the right (below 0) and to the left. \[m\]
    pub const fn reach(&self) -> (f64, f64) {
        self.reach
    }
}

/// The edge of a shape, looked at every few metres.
fn densified(shape: &MultiPolygon<f64>) -> Vec<[f64; 2]> {
    let mut out = Vec::new();
    for ring in rings_of(shape) {
        for edge in ring.windows(2) {
            let steps =
                libm::ceil(libm::hypot(edge[1][0] - edge[0][0], edge[1][1] - edge[0][1]) / EVERY)
                    .max(1.0);
            out.extend((0..steps as u32).map(|k| {
                let share = f64::from(k) / steps;
                [
                    edge[0][0] + share * (edge[1][0] - edge[0][0]),
                    edge[0][1] + share * (edge[1][1] - edge[0][1]),
                ]
            }));
        }
    }
    out
}

/// The line thinned, and drawn out straight at both ends beyond the ground.
fn extended(
    line: &LineString<f64>,
    rim: &[[f64; 2]],
    room: f64,
) -> Result<Vec<[f64; 2]>, CurveFault> {
    let mut points: Vec<[f64; 2]> = line.0.iter().map(|c| [c.x, c.y]).collect();
    points.dedup();
    let n = points.len();
    if n < 2 {
        return Err(CurveFault::NoLength);
    }
    let far = rim
        .iter()
        .flat_map(|p| {
            [points[0], points[n - 1]].map(|end| libm::hypot(p[0] - end[0], p[1] - end[1]))
        })
        .fold(0.0, f64::max)
        + room
        + 100.0;
    let drawn_out = |from: [f64; 2], to: [f64; 2]| {
        let length = libm::hypot(to[0] - from[0], to[1] - from[1]);
        [
            to[0] + far / length * (to[0] - from[0]),
            to[1] + far / length * (to[1] - from[1]),
        ]
    };
    (points[0], points[n - 1]) = (
        drawn_out(points[1], points[0]),
        drawn_out(points[n - 2], points[n - 1]),
    );
    Ok(points)
}

/// The line without points that bend it by less than `within` \[m\]; its ends stay.
pub fn thinned(line: &LineString<f64>, within: f64) -> LineString<f64> {
    line.simplify(within)
}

/// Distance of a place from the line, to the left above 0.
fn left_of(points: &[[f64; 2]], p: [f64; 2]) -> f64 {
    let near = points
        .windows(2)
        .map(|edge| (off_and_along(p, edge[0], edge[1]).0, edge))
        .min_by(|a, b| a.0.total_cmp(&b.0));
    near.map_or(0.0, |(off, edge)| {
        let side = (edge[1][0] - edge[0][0]) * (p[1] - edge[0][1])
            - (edge[1][1] - edge[0][1]) * (p[0] - edge[0][0]);
        if side < 0.0 { -off } else { off }
    })
}

fn strips(points: &[[f64; 2]], headings: &[f64], rule: &CurveRule, columns: f64) -> Vec<Strip> {
    let mut start = 0.0;
    let mut strips = Vec::with_capacity(headings.len());
    for (k, &heading) in headings.iter().enumerate() {
        let mut frame = CellFrame::new(heading.rem_euclid(360.0), rule.length, rule.width);
        let (from, to) = (
            frame.to_uv(points[k][0], points[k][1]),
            frame.to_uv(points[k + 1][0], points[k + 1][1]),
        );
        // A bend to the right leans its bisector forwards at the end of the segment before it, by the tangent of half its angle; and backwards in the one after.
        let half = |a: f64, b: f64| {
            libm::tan((((b - a + 540.0).rem_euclid(360.0) - 180.0) / 2.0).to_radians())
        };
        let lean = (
            if k == 0 {
                0.0
            } else {
                -half(headings[k - 1], heading)
            },
            headings.get(k + 1).map_or(0.0, |next| half(heading, *next)),
        );
        let length = to.0 - from.0;
        (frame.u0, frame.v0) = (from.0, from.1 + columns);
        strips.push(Strip {
            frame,
            origin: [from.0, from.1],
            start,
            length,
            lean,
        });
        start += length;
    }
    strips
}
