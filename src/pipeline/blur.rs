//! Shares of pixels in a strip as a blurring sensor sees them, and the blur that fits a strip's own pixels best.

use std::ops::Range;

use crate::science::reference::{MixedPixel, SpreadFit, mixture_squares, spread_of_profile};
use crate::space::coverage::{Span, spans_of};
use crate::space::pixel_matrix::PixelMatrix;
use ndarray::Axis;

/// Widest blur that is tried. \[pixels\]
const MAXIMUM_WIDTH: f64 = 3.0;
/// Steps of the widths that are tried, one pixel's worth.
const STEPS: usize = 20;
/// Parts that a pixel's side is cut into for a blur: one narrower than a pixel is lost on whole pixels.
const PARTS: i64 = 4;

/// Share of each pixel near a strip that lies in it, blurred as the sensor blurs.
#[derive(Clone, Debug)]
pub struct Shares(PixelMatrix);

impl Shares {
    /// Shares of pixels in rings (pixel coordinates), convolved with a Gaussian of this full width at half maximum \[pixels\], cut at 4 σ.
    ///
    /// The blur works on quarter pixels, whose means are the pixels: sampled at whole pixels a Gaussian narrower than one would be nothing at all.
    pub fn of(rings: &[Vec<[f64; 2]>], point_spread: f64) -> Self {
        let sigma = point_spread / (2.0 * libm::sqrt(2.0 * libm::log(2.0)));
        if sigma <= 0.0 {
            return Self(covered(rings, 0));
        }
        let parts = PARTS as f64;
        let scaled: Vec<Vec<[f64; 2]>> = rings
            .iter()
            .map(|ring| ring.iter().map(|p| [p[0] * parts, p[1] * parts]).collect())
            .collect();
        let reach = libm::ceil(4.0 * sigma * parts) as i64;
        let mut fine = covered(&scaled, reach);
        blur(&mut fine, sigma * parts, reach as usize);
        Self(whole_pixels(&fine))
    }
    /// Plain shares of pixels in spans, which are in row order.
    pub(crate) fn of_spans(spans: &[Span]) -> Self {
        let first = spans.iter().map(|span| span.col).min().unwrap_or(0);
        let end = spans.iter().map(|span| span.col + span.len).max();
        let rows = spans.first().zip(spans.last());
        let rows = rows.map_or(0..0, |(first, last)| first.row..last.row + 1);
        Self(filled(&rows, &(first..end.unwrap_or(first)), spans))
    }
    /// Share of one pixel; 0 away from the strip.
    pub fn at(&self, row: i64, col: i64) -> f64 {
        self.0.get(row, col).unwrap_or(0.0)
    }
}

/// Plain shares, with a margin of zeros around them.
fn covered(rings: &[Vec<[f64; 2]>], margin: i64) -> PixelMatrix {
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for p in rings.iter().flatten() {
        low = [low[0].min(p[0]), low[1].min(p[1])];
        high = [high[0].max(p[0]), high[1].max(p[1])];
    }
    let range = |axis: usize| {
        libm::floor(low[axis]) as i64 - margin - 1..libm::ceil(high[axis]) as i64 + margin + 1
    };
    filled(&range(1), &range(0), &spans_of(rings))
}

/// Shares of spans, and 0 elsewhere in these rows and columns.
fn filled(rows: &Range<i64>, cols: &Range<i64>, spans: &[Span]) -> PixelMatrix {
    let mut shares = PixelMatrix::filled(rows, cols, 0.0);
    for span in spans {
        for col in span.col..span.col + span.len {
            if let Some(share) = shares.get_mut(span.row, col) {
                *share = span.share;
            }
        }
    }
    shares
}

/// Convolves with a Gaussian along rows, then along columns.
fn blur(shares: &mut PixelMatrix, sigma: f64, reach: usize) {
    let from_middle = -(reach as i64)..=reach as i64;
    let kernel: Vec<f64> = from_middle
        .map(|d| libm::exp(-((d * d) as f64) / (2.0 * sigma * sigma)))
        .collect();
    let total: f64 = kernel.iter().sum();
    for along in [Axis(1), Axis(0)] {
        for mut lane in shares.lanes_mut(along) {
            // Zeros beyond both ends.
            let mut before = vec![0.0; lane.len() + 2 * reach];
            for (to, value) in before[reach..].iter_mut().zip(&lane) {
                *to = *value;
            }
            for (value, around) in lane.iter_mut().zip(before.windows(kernel.len())) {
                let sum: f64 = kernel.iter().zip(around).map(|(w, v)| w * v).sum();
                *value = sum / total;
            }
        }
    }
}

/// Means of parts by whole pixel.
fn whole_pixels(fine: &PixelMatrix) -> PixelMatrix {
    let whole =
        |range: Range<i64>| range.start.div_euclid(PARTS)..(range.end - 1).div_euclid(PARTS) + 1;
    let mut pixels = PixelMatrix::filled(&whole(fine.rows()), &whole(fine.cols()), 0.0);
    for (row, col, value) in fine.pixels() {
        if let Some(sum) = pixels.get_mut(row.div_euclid(PARTS), col.div_euclid(PARTS)) {
            *sum += value / (PARTS * PARTS) as f64;
        }
    }
    pixels
}

/// The pixels of one coarse strip.
#[derive(Clone, Debug)]
pub struct StripPixels {
    /// The strip's rings in pixel coordinates.
    pub rings: Vec<Vec<[f64; 2]>>,
    /// Row, column, index and block of each pixel on and beside it.
    pub pixels: Vec<(i64, i64, f64, usize)>,
}

impl StripPixels {
    /// The pixels with their shares in the strip under a blur of this full width. \[pixels\]
    pub fn mixed(&self, point_spread: f64) -> Vec<MixedPixel> {
        let shares = Shares::of(&self.rings, point_spread);
        self.pixels
            .iter()
            .map(|(row, col, index, block)| MixedPixel {
                share: shares.at(*row, *col),
                index: *index,
                block: *block,
            })
            .collect()
    }
}

/// Fits one blur to all coarse strips of an image: that which leaves the least squares of their mixtures, with its interval.
///
/// `None` when no strip has pixels enough.
pub fn fit_spread(strips: &[StripPixels]) -> Option<SpreadFit> {
    let usable: Vec<&StripPixels> = strips
        .iter()
        .filter(|strip| mixture_squares(&strip.mixed(0.0)).is_some())
        .collect();
    let tries = (MAXIMUM_WIDTH * STEPS as f64) as usize;
    let profile: Vec<(f64, f64)> = (0..=tries)
        .map(|k| {
            let width = k as f64 / STEPS as f64;
            // A width with which one strip cannot be solved is no candidate.
            let left = usable
                .iter()
                .map(|strip| mixture_squares(&strip.mixed(width)).unwrap_or(f64::INFINITY))
                .sum::<f64>();
            (width, left)
        })
        .collect();
    let pixels = usable.iter().map(|strip| strip.pixels.len()).sum();
    spread_of_profile(&profile, pixels, 2 * usable.len() + 1).filter(|_| !usable.is_empty())
}

/// Widest blur that [`fit_spread`] tries. \[pixels\]
pub const fn widest() -> f64 {
    MAXIMUM_WIDTH
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A strip along the columns' diagonal-free axis, `width` pixels wide, over 30 rows, with values made by a known blur.
    fn strip(width: f64, blur: f64) -> StripPixels {
        let (west, east) = (10.3, 10.3 + width);
        let rings = vec![vec![
            [west, 2.0],
            [west, 32.0],
            [east, 32.0],
            [east, 2.0],
            [west, 2.0],
        ]];
        let truth = Shares::of(&rings, blur);
        let mut pixels = Vec::new();
        for row in 5..29 {
            for col in 6..(17 + width as i64) {
                let share = truth.at(row, col);
                let ripple = 0.002 * libm::sin((row * 7 + col * 13) as f64);
                pixels.push((
                    row,
                    col,
                    0.75 * share + 0.6 * (1.0 - share) + ripple,
                    (row as usize - 5) / 3,
                ));
            }
        }
        StripPixels { rings, pixels }
    }

    #[test]
    fn a_narrow_blur_is_no_nothing() {
        // A half plane seen by a Gaussian and a pixel: the pixel d beyond the edge sees the mean of Φ(−t/σ) over its width. σ = 0.4, first pixel
        // beyond: ∫₀¹ Φ(−t/0.4) dt = 0.4 · φ(0) − (tail) = 0.1596 − 0.0006 + 1 · Φ(−2.5) = 0.1588 (integration by parts, normal tables).
        let rings = vec![vec![
            [-40.0, -40.0],
            [0.0, -40.0],
            [0.0, 40.0],
            [-40.0, 40.0],
            [-40.0, -40.0],
        ]];
        let shares = Shares::of(&rings, 0.4 * 2.354_82);
        let by_tables = 0.4 * (0.398_942 - 0.017_528) + 0.006_210;
        // Quarter pixels are good to half a hundredth of a pixel here.
        assert!(
            (shares.at(0, 0) - by_tables).abs() < 0.006,
            "{} {by_tables}",
            shares.at(0, 0)
        );
        assert!((shares.at(0, 0) + shares.at(0, -1) - 1.0).abs() < 1e-9);
        let total: f64 = shares.0.pixels().map(|(.., share)| share).sum();
        assert!((total - 3200.0).abs() < 1.0, "{total}");
    }

    #[test]
    fn the_blur_that_was_put_in_is_found() {
        for (width, blur) in [(2.4, 1.5), (3.6, 1.0), (4.0, 2.0)] {
            let fit = fit_spread(&[strip(width, blur)]).unwrap();
            assert!(
                (fit.full_width - blur).abs() < 0.15 && fit.low <= blur && blur <= fit.high,
                "{width} {blur} {fit:?}"
            );
            let both = fit_spread(&[strip(width, blur), strip(width + 0.7, blur)]).unwrap();
            assert!(
                both.high - both.low < fit.high - fit.low + 0.06 && both.pixels > fit.pixels,
                "{both:?}"
            );
        }
        assert_eq!(fit_spread(&[]), None);
    }
}
