//! Placebo places on a fine image, by sums over rectangles.

use geo::MultiPolygon;

use super::{COVERED, NoPlacebo, Place, TIE_TOLERANCE, bounds, rings_along, shrunk};
use crate::job::settings::ReferenceSettings;
use crate::pipeline::scan::SquareSum;
use crate::pipeline::strips::StripPlan;
use crate::space::polygon::Rectangle;
use crate::space::squares::{Cuts, SquareGrid};

/// Rectangles of one strip's grid, at the most: 32 MB.
const MAXIMUM_SQUARES: usize = 1 << 20;
/// A rectangle of which less than this share lies in a shape does not belong to it.
const SHARE_TOLERANCE: f64 = 1e-9;
/// A piece has a mean when this share of its pixels is seen canopy.
const PIECE_SEEN: f64 = 0.5;

/// A rectangle of a shape, with the strip where it is drawn.
#[derive(Clone, Copy, Debug)]
struct Part {
    along: i64,
    across: i64,
    /// Share of it that the shape covers.
    weight: f64,
}

/// Where rectangles lie, and which of them make strip and swaths.
#[derive(Clone, Debug)]
pub(super) struct Layout {
    grid: SquareGrid,
    strip: Vec<Part>,
    swaths: Vec<Part>,
    /// Share of each rectangle that may be used.
    free: Vec<f64>,
    /// Whether the strip itself reaches into a rectangle.
    own: Vec<bool>,
    length: f64,
}

impl Layout {
    /// `core`: rectangle of the shrunk strip; `area`: the ground that may be used, the strip with it.
    ///
    /// # Errors
    /// [`NoPlacebo::ManySquares`].
    pub(super) fn new(
        to_uv: [f64; 6],
        strip: &MultiPolygon<f64>,
        core: &Rectangle,
        plan: &StripPlan,
        area: &MultiPolygon<f64>,
        reference: &ReferenceSettings,
    ) -> Result<Self, NoPlacebo> {
        let own = rings_along(strip, core);
        let shrunk = rings_along(&shrunk(strip, reference, plan.pixel), core);
        let (low, high) = bounds(&own).1;
        let (gap, width) = (reference.gap.get(), high - low);
        let side = |low: f64, high: f64| {
            let shape = MultiPolygon::new(vec![core.part((0.0, core.length), (low, high))]);
            rings_along(&shape, core)
        };
        let mut swaths = side(high + gap, high + gap + width);
        swaths.extend(side(low - gap - width, low - gap));
        let field = rings_along(area, core);
        let reach = {
            let (a, b) = (bounds(&field), bounds(&swaths));
            let widest = |a: (f64, f64), b: (f64, f64)| (a.0.min(b.0), a.1.max(b.1));
            (widest(a.0, b.0), widest(a.1, b.1))
        };
        let across_at = [core.width, high + gap, low - gap];
        let mut longest = (0.25 * width).max(plan.pixel);
        let grid = loop {
            let grid = SquareGrid::new(
                to_uv,
                Cuts::new(0.25 * plan.outer.length, &[core.length], longest),
                Cuts::new(0.5 * width, &across_at, longest),
                reach,
            );
            // Cuts across hardly get fewer; those along do.
            if grid.len() <= MAXIMUM_SQUARES || longest > plan.outer.length {
                break grid;
            }
            longest *= 1.5;
        };
        if grid.len() > MAXIMUM_SQUARES {
            return Err(NoPlacebo::ManySquares {
                squares: grid.len(),
                maximum: MAXIMUM_SQUARES,
            });
        }
        let parts = |rings: &[Vec<[f64; 2]>]| {
            let shares = grid.shares(rings);
            let ((u0, v0), (nu, nv)) = grid.reach();
            let mut parts = Vec::new();
            for along in u0..u0 + nu {
                for across in v0..v0 + nv {
                    let weight = grid.position(along, across).map_or(0.0, |at| shares[at]);
                    if weight > SHARE_TOLERANCE {
                        parts.push(Part {
                            along,
                            across,
                            weight,
                        });
                    }
                }
            }
            parts
        };
        let (strip, swaths) = (parts(&shrunk), parts(&swaths));
        let own = grid
            .shares(&own)
            .iter()
            .map(|share| *share > SHARE_TOLERANCE)
            .collect();
        let free = grid.shares(&field);
        Ok(Self {
            strip,
            swaths,
            free,
            own,
            length: core.length,
            grid,
        })
    }
    pub(super) const fn grid(&self) -> &SquareGrid {
        &self.grid
    }
    pub(super) const fn length(&self) -> f64 {
        self.length
    }
}

/// Sums of a shape at a place.
#[derive(Clone, Copy, Debug, Default)]
struct ShapeSum {
    area: f64,
    free: f64,
    pixels: f64,
    canopy: f64,
    weighted: f64,
}

impl ShapeSum {
    /// Share of the shape that is seen canopy of ground that may be used.
    fn covered(&self) -> f64 {
        if self.area > 0.0 && self.pixels > 0.0 {
            self.free / self.area * self.canopy / self.pixels
        } else {
            0.0
        }
    }
    fn mean(&self) -> Option<f64> {
        (self.canopy > 0.0).then(|| self.weighted / self.canopy)
    }
}

/// The places of one strip, measured.
#[derive(Clone, Debug)]
pub(super) struct SquarePlaces {
    layout: Layout,
    sums: Vec<SquareSum>,
}

impl SquarePlaces {
    pub(super) const fn new(layout: Layout, sums: Vec<SquareSum>) -> Self {
        Self { layout, sums }
    }

    /// Positions of a shape's rectangles at a place; `None` for those outside the grid.
    fn at<'a>(
        &'a self,
        shape: &'a [Part],
        place: Place,
    ) -> impl Iterator<Item = (&'a Part, Option<usize>)> {
        let grid = &self.layout.grid;
        let by = (
            place.along * grid.along().each_period(),
            place.across * grid.across().each_period(),
        );
        shape
            .iter()
            .map(move |part| (part, grid.position(part.along + by.0, part.across + by.1)))
    }

    /// Whether a shape at a place touches the strip itself.
    fn touches(&self, shape: &[Part], place: Place) -> bool {
        self.at(shape, place)
            .any(|(_, at)| at.is_some_and(|at| self.layout.own[at]))
    }

    fn sum(&self, shape: &[Part], place: Place) -> ShapeSum {
        let mut sum = ShapeSum::default();
        for (part, at) in self.at(shape, place) {
            let area = part.weight * self.layout.grid.area(part.along, part.across);
            sum.area += area;
            let Some(at) = at else { continue };
            let found = &self.sums[at];
            sum.free += area * self.layout.free[at];
            sum.pixels += part.weight * f64::from(found.pixels);
            sum.canopy += part.weight * f64::from(found.canopy);
            sum.weighted += part.weight * found.weighted.get();
        }
        sum
    }

    /// Each place at which the strip lies in canopy: its mean index there, and its ratio to its swaths where they do too.
    pub(super) fn places(&self) -> Vec<(Place, f64, Option<f64>)> {
        let (layout, mut places) = (&self.layout, Vec::new());
        let ((u0, v0), (nu, nv)) = layout.grid.reach();
        let (du, dv) = (
            layout.grid.along().each_period(),
            layout.grid.across().each_period(),
        );
        let Some(first) = layout.strip.first() else {
            return places;
        };
        // Places at which the strip's first rectangle lies in the grid.
        let alongs = (u0 - first.along).div_euclid(du)..=(u0 + nu - first.along).div_euclid(du);
        for along in alongs {
            let acrosses =
                (v0 - first.across).div_euclid(dv)..=(v0 + nv - first.across).div_euclid(dv);
            for across in acrosses {
                let place = Place { along, across };
                let strip = self.sum(&layout.strip, place);
                if strip.covered() < COVERED - TIE_TOLERANCE || self.touches(&layout.strip, place) {
                    continue;
                }
                let Some(level) = strip.mean() else { continue };
                let swaths = self.sum(&layout.swaths, place);
                let beside = swaths.mean().filter(|beside| {
                    *beside > 0.0
                        && swaths.covered() >= COVERED - TIE_TOLERANCE
                        && !self.touches(&layout.swaths, place)
                });
                places.push((place, level, beside.map(|beside| level / beside)));
            }
        }
        places
    }

    pub(super) fn pieces(&self, place: Place, pieces: usize) -> Vec<Option<f64>> {
        let cuts = self.layout.grid.along();
        let piece = self.layout.length / pieces.max(1) as f64;
        let mut sums = vec![ShapeSum::default(); pieces];
        for (part, at) in self.at(&self.layout.strip, place) {
            let Some(at) = at else { continue };
            let found = &self.sums[at];
            let (low, high) = (cuts.edge(part.along), cuts.edge(part.along + 1));
            let last = pieces.saturating_sub(1);
            let of = |u: f64| (libm::floor(u / piece).max(0.0) as usize).min(last);
            for (k, sum) in sums.iter_mut().enumerate().take(of(high) + 1).skip(of(low)) {
                let (from, to) = (piece * k as f64, piece * (k + 1) as f64);
                let share = (high.min(to) - low.max(from)).max(0.0) / (high - low);
                let weight = part.weight * share;
                sum.pixels += weight * f64::from(found.pixels);
                sum.canopy += weight * f64::from(found.canopy);
                sum.weighted += weight * found.weighted.get();
            }
        }
        sums.iter()
            .map(|sum| sum.mean().filter(|_| sum.canopy >= PIECE_SEEN * sum.pixels))
            .collect()
    }
}
