//! Placebo places on a coarse image: the field's pixels kept once, the mixture solved at each place.

use std::collections::BTreeMap;

use geo::{Area as _, MultiPolygon};

use super::{COVERED, PIECE, Place, TIE_TOLERANCE, bounds, rings_along, whole_pieces};
use crate::pipeline::blur::Shares;
use crate::pipeline::scan::KeptPixel;
use crate::pipeline::strips::{REACHES, StripPlan};
use crate::science::reference::{MixedPixel, mixture, piece_mixture};
use crate::space::coverage::{Span, spans_of};
use crate::space::pixel_matrix::PixelMatrix;
use crate::space::polygon::grown;
use crate::space::squares::{Cuts, SquareGrid};

/// A pixel belongs to the surroundings when this share of it does.
const WHOLLY: f64 = 0.999;
/// Places that are tried, at the most; of more every second, third and so on across is taken.
const MAXIMUM_PLACES: f64 = 4_000.0;

/// The strip and its surroundings, and the field around them.
#[derive(Clone, Debug)]
pub(super) struct Layout {
    /// Used for its way between pixels and u and v only.
    way: SquareGrid,
    /// Rings of the strip, and of what lies within reach of it. \[m, u and v\]
    strip: Vec<Vec<[f64; 2]>>,
    reach: Vec<Vec<[f64; 2]>>,
    /// Their areas. \[pixels\]
    strip_area: f64,
    reach_area: f64,
    length: f64,
    /// How many pieces of the strip's length can be solved by themselves.
    pieces: usize,
    /// A place's step along and across. \[m\]
    step: (f64, f64),
    /// Steps that the field spans: `(low, high)` along and across.
    steps: ((i64, i64), (i64, i64)),
}

impl Layout {
    pub(super) fn new(
        to_uv: [f64; 6],
        strip: &MultiPolygon<f64>,
        plan: &StripPlan,
        area: &MultiPolygon<f64>,
    ) -> Self {
        let frame = &plan.outer;
        let step = (0.25 * frame.length, 0.5 * frame.width);
        let around = grown(strip, REACHES[0] * plan.pixel);
        let ((u0, u1), (v0, v1)) = bounds(&rings_along(area, frame));
        let count = |from: f64, to: f64, size: f64, step: f64| {
            (
                libm::floor(from / step) as i64,
                libm::ceil((to - size) / step) as i64,
            )
        };
        let pixel = plan.pixel * plan.pixel;
        let cuts = |period| Cuts::new(period, &[], period);
        Self {
            way: SquareGrid::new(
                to_uv,
                cuts(step.0),
                cuts(step.1),
                ((0.0, step.0), (0.0, step.1)),
            ),
            strip: rings_along(strip, frame),
            reach: rings_along(&around, frame),
            strip_area: strip.unsigned_area() / pixel,
            reach_area: around.unsigned_area() / pixel,
            length: frame.length,
            pieces: whole_pieces(frame.length, PIECE * plan.pixel),
            step,
            steps: (
                count(u0, u1, frame.length, step.0),
                count(v0, v1, frame.width, step.1),
            ),
        }
    }
    pub(super) const fn length(&self) -> f64 {
        self.length
    }
    fn moved(&self, rings: &[Vec<[f64; 2]>], place: Place) -> Vec<Vec<[f64; 2]>> {
        let by = (
            place.along as f64 * self.step.0,
            place.across as f64 * self.step.1,
        );
        let pixel = |p: &[f64; 2]| {
            let (col, row) = self.way.pixel(p[0] + by.0, p[1] + by.1);
            [col, row]
        };
        rings
            .iter()
            .map(|ring| ring.iter().map(pixel).collect())
            .collect()
    }
}

/// The field's pixels, and the places of one strip.
#[derive(Clone, Debug)]
pub(super) struct PixelPlaces {
    layout: Layout,
    /// Index of canopy that may be used, NaN elsewhere.
    values: PixelMatrix,
    /// How many of them lie in the first rows and columns.
    known: KnownPixels,
    /// Shares of pixels in the strip itself.
    own: Shares,
    blur: f64,
    /// What was solved piece by piece at each place, once places are known.
    solved: BTreeMap<Place, Vec<Option<f64>>>,
}

/// Numbers of pixels with a value, summed from the first row and column on, so that those of any rectangle are told by four of them.
#[derive(Clone, Debug)]
struct KnownPixels(PixelMatrix);

impl KnownPixels {
    fn of(values: &PixelMatrix) -> Self {
        let (rows, cols) = (values.rows(), values.cols());
        let mut sums = PixelMatrix::filled(
            &(rows.start..rows.end + 1),
            &(cols.start..cols.end + 1),
            0.0,
        );
        for row in rows {
            let mut of_row = 0.0;
            for col in cols.clone() {
                of_row += f64::from(u8::from(
                    values.get(row, col).is_some_and(|value| !value.is_nan()),
                ));
                let sum = sums.get(row, col + 1).unwrap_or(0.0) + of_row;
                if let Some(here) = sums.get_mut(row + 1, col + 1) {
                    *here = sum;
                }
            }
        }
        Self(sums)
    }
    /// How many lie in the rectangle around rings.
    fn around(&self, rings: &[Vec<[f64; 2]>]) -> f64 {
        let (rows, cols) = (self.0.rows(), self.0.cols());
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for p in rings.iter().flatten() {
            low = [low[0].min(p[0]), low[1].min(p[1])];
            high = [high[0].max(p[0]), high[1].max(p[1])];
        }
        let within = |value: f64, range: &std::ops::Range<i64>| {
            (value as i64).clamp(range.start, range.end - 1)
        };
        let (first_col, end_col) = (
            within(libm::floor(low[0]), &cols),
            within(libm::ceil(high[0]), &cols),
        );
        let (first_row, end_row) = (
            within(libm::floor(low[1]), &rows),
            within(libm::ceil(high[1]), &rows),
        );
        let sum = |row, col| self.0.get(row, col).unwrap_or(0.0);
        sum(end_row, end_col) - sum(first_row, end_col) - sum(end_row, first_col)
            + sum(first_row, first_col)
    }
}

/// Row, column and share of each pixel, row by row.
fn pixels_of(spans: &[Span]) -> impl Iterator<Item = (i64, i64, f64)> + '_ {
    let each = |span: &Span| {
        let (row, share) = (span.row, span.share);
        (span.col..span.col + span.len).map(move |col| (row, col, share))
    };
    spans.iter().flat_map(each)
}

/// Pixels on and around a strip at a place, with the position of each along the strip as a share of its length.
type Around = Vec<(MixedPixel, f64)>;

impl PixelPlaces {
    pub(super) fn new(layout: Layout, kept: &[KeptPixel], blur: f64) -> Self {
        let extent = |of: fn(&KeptPixel) -> i64| {
            let (low, high) = (kept.iter().map(of).min(), kept.iter().map(of).max());
            low.unwrap_or(0)..high.map_or(0, |high| high + 1)
        };
        let (rows, cols) = (extent(|pixel| pixel.row), extent(|pixel| pixel.col));
        let mut values = PixelMatrix::filled(&rows, &cols, f64::NAN);
        for pixel in kept {
            if let Some(value) = values.get_mut(pixel.row, pixel.col) {
                *value = pixel.index;
            }
        }
        let strip = layout.moved(&layout.strip, Place::STRIP);
        let own = Shares::of(&strip, 0.0);
        Self {
            layout,
            known: KnownPixels::of(&values),
            values,
            own,
            blur,
            solved: BTreeMap::new(),
        }
    }

    fn value(&self, row: i64, col: i64) -> Option<f64> {
        self.values.get(row, col).filter(|value| !value.is_nan())
    }

    /// Pixels on and around the strip at a place. Where `placebo` is asked for, `None` unless strip and surroundings lie in canopy and apart from the strip itself:
    /// most places that are tried lie beside the field.
    fn around(&self, place: Place, placebo: bool) -> Option<Around> {
        let layout = &self.layout;
        let strip = layout.moved(&layout.strip, place);
        // Sums in another order differ in their last digits.
        let least = COVERED - 2.0 * TIE_TOLERANCE;
        let too_little = |covered: f64| placebo && covered / layout.strip_area < least;
        // As many pixels as lie around it are the most that it can cover.
        if too_little(self.known.around(&strip)) {
            return None;
        }
        let spans = spans_of(&strip);
        let covered: f64 = pixels_of(&spans)
            .filter(|(row, col, _)| self.value(*row, *col).is_some())
            .map(|(.., share)| share)
            .sum();
        if too_little(covered) {
            return None;
        }
        let plain = Shares::of_spans(&spans);
        let reach = spans_of(&layout.moved(&layout.reach, place));
        let (mut in_strip, mut in_reach, mut inside) = (0.0, 0.0, Vec::new());
        for (row, col, share) in pixels_of(&reach) {
            let Some(index) = self.value(row, col) else {
                continue;
            };
            in_strip += plain.at(row, col);
            in_reach += share;
            if share < WHOLLY - TIE_TOLERANCE {
                continue;
            }
            if placebo && self.own.at(row, col) > 0.0 {
                return None;
            }
            inside.push((row, col, index));
        }
        let strip_covered = in_strip / layout.strip_area;
        let rest_covered = (in_reach - in_strip) / (layout.reach_area - layout.strip_area);
        if placebo && strip_covered.min(rest_covered) < COVERED - TIE_TOLERANCE {
            return None;
        }
        let shares = if self.blur > 0.0 {
            Shares::of(&strip, self.blur)
        } else {
            plain
        };
        let pixels = inside.into_iter().map(|(row, col, index)| {
            let u = layout.way.uv(col as f64 + 0.5, row as f64 + 0.5).0;
            let along = u - place.along as f64 * layout.step.0;
            let pixel = MixedPixel {
                share: shares.at(row, col),
                index,
                block: 0,
            };
            (pixel, along / layout.length)
        });
        Some(pixels.collect())
    }

    /// Each place at which strip and surroundings lie in canopy: the strip's solved index there, and its ratio to the ground beside it.
    pub(super) fn places(&mut self) -> Vec<(Place, f64, Option<f64>)> {
        let ((a0, a1), (c0, c1)) = self.layout.steps;
        let tried = ((a1 - a0 + 1).max(0) * (c1 - c0 + 1).max(0)) as f64;
        let every = libm::ceil(tried / MAXIMUM_PLACES).max(1.0) as i64;
        let mut places = Vec::new();
        for along in a0..=a1 {
            for across in (c0..=c1).filter(|across| across.rem_euclid(every) == 0) {
                let place = Place { along, across };
                let Some(around) = self.around(place, true) else {
                    continue;
                };
                let pixels: Vec<MixedPixel> = around.iter().map(|(pixel, _)| *pixel).collect();
                if let Some((index, beside)) = mixture(&pixels) {
                    places.push((place, index, Some(index / beside)));
                    let solved = solved_in(around, self.layout.pieces);
                    self.solved.insert(place, solved);
                }
            }
        }
        places
    }

    pub(super) fn pieces(&self, place: Place, pieces: usize) -> Vec<Option<f64>> {
        match self.solved.get(&place) {
            Some(solved) if pieces == self.layout.pieces => solved.clone(),
            _ => solved_in(self.around(place, false).unwrap_or_default(), pieces),
        }
    }
}

/// The index of a strip in each of so many pieces of its length, as a mixture.
fn solved_in(around: Around, pieces: usize) -> Vec<Option<f64>> {
    let last = pieces.saturating_sub(1);
    let mut parts: Vec<Vec<MixedPixel>> = vec![Vec::new(); pieces];
    for (pixel, t) in around {
        // Pixels beyond the strip's ends are beside its first and last piece, as its blocks have them.
        let k = (libm::floor(t * pieces as f64).max(0.0) as usize).min(last);
        if let Some(part) = parts.get_mut(k) {
            part.push(pixel);
        }
    }
    parts.iter().map(|part| piece_mixture(part)).collect()
}
