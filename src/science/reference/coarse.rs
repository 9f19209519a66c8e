//! A strip that is narrow for the image: no pixel is pure, so the mixture of strip and field is solved instead.

use super::ReferenceError;
use super::evenness::{Uneven, uneven};
use super::interval::{
    MINIMUM_BLOCKS, NoInterval, PairedMeans, RatioInterval, block_bootstrap, fieller,
};

/// Pixels needed in all.
const MINIMUM_PIXELS: usize = 12;
/// Pixels needed that are more than half strip.
const MINIMUM_INSIDE: usize = 4;
/// Pixels needed that are less than a tenth strip.
const MINIMUM_BESIDE: usize = 4;
/// Largest standard error of `I_ref` as a share of it.
const MAXIMUM_STANDARD_ERROR: f64 = 0.03;
/// Shares are often exact ties (half a pixel); only what lies clear of the tie counts as above or below.
const TIE_TOLERANCE: f64 = 1e-6;
/// Greatest correlation of neighbouring blocks that is reckoned with.
const MAXIMUM_CORRELATION: f64 = 0.9;
/// Least number of independent blocks that is reckoned with.
const MINIMUM_EFFECTIVE: f64 = 2.5;
/// Least degrees of freedom of the interval.
const MINIMUM_FREEDOM: f64 = 3.0;
/// Seed of the printed bootstrap; any would do, this one never changes.
const BOOTSTRAP_SEED: u64 = 2_026;

/// A seen, not bare pixel on or near a strip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MixedPixel {
    /// Share of the pixel that lies in the strip, after any point spread. \[0..1\]
    pub share: f64,
    /// Its canopy index.
    pub index: f64,
    /// The stretch of the strip that it lies beside, from 0.
    pub block: usize,
}

/// A strip's estimate from mixed pixels.
#[derive(Clone, Debug, PartialEq)]
pub struct CoarseEstimate {
    /// `I_ref`: the fitted index at share 1.
    pub index: f64,
    /// `I_beside`: the fitted index at share 0.
    pub beside: f64,
    /// Pixels used.
    pub pixels: usize,
    /// Pixels more than half in the strip.
    pub pixels_inside: usize,
    /// Jackknife standard error of `I_ref`.
    pub standard_error: f64,
    /// 95 % interval of `I_ref` / `I_beside`, or why there is none.
    pub interval: Result<RatioInterval, NoInterval>,
    /// 2.5th to 97.5th percentile of the block bootstrap of the ratio; a check only.
    pub bootstrap: Option<(f64, f64)>,
    /// Whether the blocks, each solved for itself, are of two kinds, or vary much more in the strip than beside it.
    pub uneven: Option<Uneven>,
}

impl CoarseEstimate {
    /// `I_ref / I_beside`; `None` when nothing positive was found beside.
    pub fn ratio(&self) -> Option<f64> {
        (self.beside > 0.0).then(|| self.index / self.beside)
    }
}

/// Estimates a strip from mixed pixels: `I = I_ref · c + I_beside · (1 − c)`, unweighted least squares, c = the pixel's share in the strip.
///
/// Standard error and covariance come from the delete-one-block jackknife, `(k − 1)/k · Σ (θ_j − θ̄)(θ_j − θ̄)ᵀ` over the k blocks that have pixels;
/// fewer than 5 blocks give a standard error but no interval. A point spread is the caller's: it is convolved into `share` beforehand.
///
/// The jackknife takes blocks as independent, and ground that is alike over more than a block makes it too sure. So the interval takes what neighbouring
/// blocks have in common into account, as on fine pixels: with `d_j = A_j − r B_j` of the jackknife's differences from their mean, `ρ = Σ d_j d_{j+1} /
/// Σ d_j² + 1/k` held to 0 … 0.9 and `k' = max(2.5, k (1 − ρ)/(1 + ρ))`, all (co)variances are taken `k / k'` times, with `max(3, k' − 1)` degrees of
/// freedom. The standard error that a strip is refused by stays the jackknife's own.
///
/// # Errors
/// Fewer than 12 pixels, than 4 with c > 0.5, or than 4 with c < 0.1; a mixture that cannot be solved with and without each block; a standard error
/// of 3 % of `I_ref` or more; an `I_ref` that is not above 0.
///
/// # Source
/// Linear mixture of two covers: textbook. Jackknife of blocks: Künsch 1989, Annals of Statistics 17:1217-1241 (from memory). Effective sample size of a
/// first-order autoregression: textbook, as for fine pixels. The limits are ours, chosen by simulation (`examples/interval_study.rs`).
pub fn coarse(pixels: &[MixedPixel], blocks: usize) -> Result<CoarseEstimate, ReferenceError> {
    let inside = pixels
        .iter()
        .filter(|pixel| pixel.share > 0.5 + TIE_TOLERANCE)
        .count();
    let beside = pixels
        .iter()
        .filter(|pixel| pixel.share < 0.1 - TIE_TOLERANCE)
        .count();
    if pixels.len() < MINIMUM_PIXELS {
        return Err(ReferenceError::TooFewPixels {
            found: pixels.len(),
            needed: MINIMUM_PIXELS,
        });
    }
    if inside < MINIMUM_INSIDE {
        return Err(ReferenceError::TooFewInside {
            found: inside,
            needed: MINIMUM_INSIDE,
        });
    }
    if beside < MINIMUM_BESIDE {
        return Err(ReferenceError::TooFewBeside {
            found: beside,
            needed: MINIMUM_BESIDE,
        });
    }
    let mut sums = vec![MixtureSums::default(); blocks.max(1)];
    let last = sums.len() - 1;
    for pixel in pixels {
        sums[pixel.block.min(last)].add(pixel);
    }
    let uneven = uneven_blocks(pixels, &sums);
    let places: Vec<usize> = (0..sums.len())
        .filter(|place| sums[*place].pixels > 0)
        .collect();
    sums.retain(|block| block.pixels > 0);
    let (index, beside) = MixtureSums::total(&sums)
        .solve()
        .ok_or(ReferenceError::NotSeparable)?;
    if index.is_nan() || index <= 0.0 {
        return Err(ReferenceError::NotPositive { index });
    }
    let replicates = replicates(&sums)?;
    let means = jackknife(&replicates, index, beside);
    let standard_error = libm::sqrt(means.variance_reference);
    if standard_error.is_nan() || standard_error >= MAXIMUM_STANDARD_ERROR * index {
        return Err(ReferenceError::TooUncertain {
            index,
            standard_error,
            maximum_share: MAXIMUM_STANDARD_ERROR,
        });
    }
    Ok(CoarseEstimate {
        index,
        beside,
        pixels: pixels.len(),
        pixels_inside: inside,
        standard_error,
        interval: interval(&means, &replicates, &places),
        bootstrap: bootstrap(&sums),
        uneven,
    })
}

/// Blocks solved one by one. What single pixels do to a block's solution is told from what is left of them, and taken off the strip's variance: of a narrow
/// strip little more than their noise is seen in a block.
fn uneven_blocks(pixels: &[MixedPixel], sums: &[MixtureSums]) -> Option<Uneven> {
    let solved: Vec<Option<(f64, f64)>> = sums.iter().map(MixtureSums::solve).collect();
    let (mut squares, mut freedom) = (0.0, 0.0);
    for pixel in pixels {
        if let Some((index, beside)) = solved[pixel.block.min(sums.len() - 1)] {
            let left = pixel.index - index * pixel.share - beside * (1.0 - pixel.share);
            squares += left * left;
            freedom += 1.0;
        }
    }
    let known = solved.iter().flatten().count();
    freedom -= 2.0 * known as f64;
    if freedom <= 0.0 {
        return None;
    }
    let errors: f64 = sums
        .iter()
        .zip(&solved)
        .filter(|(_, solved)| solved.is_some())
        .map(|(sums, _)| sums.ff / (sums.cc * sums.ff - sums.cf * sums.cf))
        .sum();
    let noise = squares / freedom * errors / known.max(1) as f64;
    let side = |pick: fn((f64, f64)) -> f64| -> Vec<Option<f64>> {
        solved.iter().map(|solved| solved.map(pick)).collect()
    };
    uneven(&side(|pair| pair.0), &side(|pair| pair.1), noise)
}

/// Squares that the mixture leaves: Σ (I − fitted)². `None` when there are too few pixels for [`coarse`] or the mixture cannot be solved.
pub fn mixture_squares(pixels: &[MixedPixel]) -> Option<f64> {
    let mut sums = MixtureSums::default();
    for pixel in pixels {
        sums.add(pixel);
    }
    let (index, beside) = sums.solve().filter(|_| pixels.len() >= MINIMUM_PIXELS)?;
    let left =
        |pixel: &MixedPixel| pixel.index - index * pixel.share - beside * (1.0 - pixel.share);
    Some(pixels.iter().map(|pixel| left(pixel) * left(pixel)).sum())
}

/// `I_ref` and `I_beside` alone, by the same least squares as [`coarse`] and with its needs of pixels (12, 4 with c > 0.5, 4 with c < 0.1), but without standard
/// error and interval: for the many places that a strip is tried at. `None` when the needs are not met or both are not above 0.
pub fn mixture(pixels: &[MixedPixel]) -> Option<(f64, f64)> {
    let (mut sums, mut inside, mut beside) = (MixtureSums::default(), 0, 0);
    for pixel in pixels {
        sums.add(pixel);
        inside += usize::from(pixel.share > 0.5 + TIE_TOLERANCE);
        beside += usize::from(pixel.share < 0.1 - TIE_TOLERANCE);
    }
    let enough =
        pixels.len() >= MINIMUM_PIXELS && inside >= MINIMUM_INSIDE && beside >= MINIMUM_BESIDE;
    sums.solve().filter(|(a, b)| enough && *a > 0.0 && *b > 0.0)
}

/// `I_ref` of a short piece of a strip by the same least squares, for variances between pieces. A piece holds too few pixels for the needs of [`mixture`], so it
/// needs what makes its solution mean anything: one whole pixel's worth of strip and four of ground beside it, shares added up. Its error is large, but it is the
/// same in the strip and at the places that it is compared with. `None` when the needs are not met or the index is not above 0.
pub fn piece_mixture(pixels: &[MixedPixel]) -> Option<f64> {
    let mut sums = MixtureSums::default();
    let mut inside = 0.0;
    for pixel in pixels {
        sums.add(pixel);
        inside += pixel.share;
    }
    let beside = pixels.len() as f64 - inside;
    let (index, _) = sums
        .solve()
        .filter(|_| inside >= 1.0 - TIE_TOLERANCE && beside >= 4.0 - TIE_TOLERANCE)?;
    (index > 0.0).then_some(index)
}

/// `places`: the number of each replicate's block along the strip.
fn interval(
    means: &PairedMeans,
    replicates: &[(f64, f64)],
    places: &[usize],
) -> Result<RatioInterval, NoInterval> {
    let blocks = replicates.len();
    if means.beside <= 0.0 {
        return Err(NoInterval::NothingBeside);
    }
    if blocks < MINIMUM_BLOCKS {
        return Err(NoInterval::TooFewBlocks {
            found: blocks,
            needed: MINIMUM_BLOCKS,
        });
    }
    let k = blocks as f64;
    let neighbour_correlation = neighbour_correlation(means, replicates, places);
    let effective_blocks = f64::max(
        MINIMUM_EFFECTIVE,
        k * (1.0 - neighbour_correlation) / (1.0 + neighbour_correlation),
    );
    let inflation = k / effective_blocks;
    let means = PairedMeans {
        variance_reference: inflation * means.variance_reference,
        variance_beside: inflation * means.variance_beside,
        covariance: inflation * means.covariance,
        degrees_of_freedom: f64::max(MINIMUM_FREEDOM, effective_blocks - 1.0),
        ..*means
    };
    let (low, high) = fieller(&means)?;
    Ok(RatioInterval {
        low,
        high,
        means,
        blocks,
        effective_blocks,
        neighbour_correlation,
    })
}

/// Correlation of what neighbouring blocks do to the ratio, held to 0 … 0.9. Only blocks that touch count as neighbours.
fn neighbour_correlation(means: &PairedMeans, replicates: &[(f64, f64)], places: &[usize]) -> f64 {
    let (k, ratio) = (replicates.len() as f64, means.reference / means.beside);
    let differences: Vec<f64> = replicates.iter().map(|(a, b)| a - ratio * b).collect();
    let mean = differences.iter().sum::<f64>() / k;
    let squares: f64 = differences.iter().map(|d| (d - mean) * (d - mean)).sum();
    let touching = differences
        .windows(2)
        .zip(places.windows(2))
        .filter(|(_, places)| places[1] == places[0] + 1);
    let products: f64 = touching.map(|(d, _)| (d[0] - mean) * (d[1] - mean)).sum();
    if squares > 0.0 {
        (products / squares + 1.0 / k).clamp(0.0, MAXIMUM_CORRELATION)
    } else {
        0.0
    }
}

/// The mixture's solution without each block in turn.
fn replicates(sums: &[MixtureSums]) -> Result<Vec<(f64, f64)>, ReferenceError> {
    if sums.len() < 2 {
        return Err(ReferenceError::NotSeparable);
    }
    // Summed anew rather than subtracted: what is left must not depend on rounding in what is gone.
    let without = |left_out: usize| {
        MixtureSums::total(
            sums.iter()
                .enumerate()
                .filter(|(place, _)| *place != left_out)
                .map(|(_, block)| block),
        )
    };
    (0..sums.len())
        .map(|left_out| {
            without(left_out)
                .solve()
                .ok_or(ReferenceError::NotSeparable)
        })
        .collect()
}

fn jackknife(replicates: &[(f64, f64)], index: f64, beside: f64) -> PairedMeans {
    let k = replicates.len() as f64;
    let mean_a = replicates.iter().map(|replicate| replicate.0).sum::<f64>() / k;
    let mean_b = replicates.iter().map(|replicate| replicate.1).sum::<f64>() / k;
    let spread = |product: &dyn Fn(f64, f64) -> f64| {
        (k - 1.0) / k
            * replicates
                .iter()
                .map(|(a, b)| product(a - mean_a, b - mean_b))
                .sum::<f64>()
    };
    PairedMeans {
        reference: index,
        beside,
        variance_reference: spread(&|a, _| a * a),
        variance_beside: spread(&|_, b| b * b),
        covariance: spread(&|a, b| a * b),
        degrees_of_freedom: k - 1.0,
    }
}

fn bootstrap(sums: &[MixtureSums]) -> Option<(f64, f64)> {
    block_bootstrap(sums.len(), BOOTSTRAP_SEED, |drawn| {
        let (index, beside) =
            MixtureSums::total(drawn.iter().map(|place| &sums[*place])).solve()?;
        (beside > 0.0).then(|| index / beside)
    })
}

/// Normal equations of the mixture, c = share inside, f = 1 − c.
#[derive(Clone, Copy, Debug, Default)]
struct MixtureSums {
    cc: f64,
    cf: f64,
    ff: f64,
    ci: f64,
    fi: f64,
    pixels: usize,
}

impl MixtureSums {
    fn add(&mut self, pixel: &MixedPixel) {
        let (c, f) = (pixel.share, 1.0 - pixel.share);
        self.cc += c * c;
        self.cf += c * f;
        self.ff += f * f;
        self.ci += c * pixel.index;
        self.fi += f * pixel.index;
        self.pixels += 1;
    }
    fn total<'a>(blocks: impl IntoIterator<Item = &'a Self>) -> Self {
        blocks.into_iter().fold(Self::default(), |sum, block| Self {
            cc: sum.cc + block.cc,
            cf: sum.cf + block.cf,
            ff: sum.ff + block.ff,
            ci: sum.ci + block.ci,
            fi: sum.fi + block.fi,
            pixels: sum.pixels + block.pixels,
        })
    }
    /// (`I_ref`, `I_beside`); `None` when the pixels' shares are (nearly) all alike.
    fn solve(&self) -> Option<(f64, f64)> {
        let determinant = self.cc * self.ff - self.cf * self.cf;
        (determinant > 1e-9 * self.cc * self.ff).then(|| {
            (
                (self.ff * self.ci - self.cf * self.fi) / determinant,
                (self.cc * self.fi - self.cf * self.ci) / determinant,
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ten blocks of a strip 1.6 pixels wide: shares 0, 0.3, 1, 0.3, 0 across; `noise` by place.
    fn pixels(noise: impl Fn(usize) -> f64) -> Vec<MixedPixel> {
        (0..10)
            .flat_map(|block| [0.0, 0.3, 1.0, 0.3, 0.0].map(|share| (block, share)))
            .enumerate()
            .map(|(place, (block, share))| MixedPixel {
                share,
                index: 0.8 * share + 0.5 * (1.0 - share) + noise(place),
                block,
            })
            .collect()
    }

    #[test]
    fn a_piece_is_solved_with_fewer_pixels_than_a_strip() {
        // One block: five pixels, 1.6 of them strip and 3.4 ground beside it; two blocks hold 3.2 and 6.8.
        let all = pixels(|_| 0.0);
        assert_eq!(piece_mixture(&all[..5]), None);
        assert!((piece_mixture(&all[..10]).unwrap() - 0.8).abs() < 1e-12);
        assert_eq!(mixture(&all[..10]), None);
        let beside: Vec<MixedPixel> = all
            .iter()
            .copied()
            .filter(|pixel| pixel.share == 0.0)
            .collect();
        assert_eq!(piece_mixture(&beside), None);
    }

    #[test]
    fn a_pure_mixture_is_solved_exactly() {
        let estimate = coarse(&pixels(|_| 0.0), 10).unwrap();
        let (index, beside) = mixture(&pixels(|_| 0.0)).unwrap();
        // Summed in another order: pixel by pixel instead of block by block.
        assert!((index - estimate.index).abs() < 1e-12 && (beside - estimate.beside).abs() < 1e-12);
        assert_eq!(mixture(&pixels(|_| 0.0)[..15]), None);
        assert!((estimate.index - 0.8).abs() < 1e-12 && (estimate.beside - 0.5).abs() < 1e-12);
        assert_eq!((estimate.pixels, estimate.pixels_inside), (50, 10));
        assert!(estimate.standard_error < 1e-12);
        let interval = estimate.interval.unwrap();
        assert!((interval.low - 1.6).abs() < 1e-9 && (interval.high - 1.6).abs() < 1e-9);
    }

    #[test]
    fn what_is_too_little_is_told_with_numbers() {
        let all = pixels(|_| 0.0);
        assert_eq!(
            coarse(&all[..10], 10),
            Err(ReferenceError::TooFewPixels {
                found: 10,
                needed: 12
            })
        );
        assert_eq!(
            coarse(&all[..15], 10),
            Err(ReferenceError::TooFewInside {
                found: 3,
                needed: 4
            })
        );
        let inner: Vec<_> = all
            .iter()
            .copied()
            .filter(|pixel| pixel.share > 0.1)
            .collect();
        assert_eq!(
            coarse(&inner, 10),
            Err(ReferenceError::TooFewBeside {
                found: 0,
                needed: 4
            })
        );
        let half: Vec<_> = all
            .iter()
            .map(|pixel| MixedPixel {
                share: 0.5 * pixel.share,
                ..*pixel
            })
            .collect();
        assert_eq!(
            coarse(&half, 10),
            Err(ReferenceError::TooFewInside {
                found: 0,
                needed: 4
            })
        );
        let one_block: Vec<_> = all
            .iter()
            .map(|pixel| MixedPixel { block: 0, ..*pixel })
            .collect();
        assert_eq!(coarse(&one_block, 10), Err(ReferenceError::NotSeparable));
    }

    #[test]
    fn noise_is_refused_above_three_percent() {
        // The strip's own pixels alternate: ±0.10 in ten blocks is about 4 % of 0.8, ±0.04 about 1.7 %.
        let noisy = |size: f64| {
            pixels(move |place| {
                if place % 5 == 2 {
                    if place % 10 < 5 { size } else { -size }
                } else {
                    0.0
                }
            })
        };
        let error = coarse(&noisy(0.10), 10).unwrap_err();
        assert!(
            matches!(error, ReferenceError::TooUncertain { .. }),
            "{error}"
        );
        assert!(error.to_string().contains("less than 3 % is needed"));
        let estimate = coarse(&noisy(0.04), 10).unwrap();
        let interval = estimate.interval.unwrap();
        assert!(interval.low < 1.6 && 1.6 < interval.high);
        let bootstrap = estimate.bootstrap.unwrap();
        assert!(bootstrap.0 < 1.6 && 1.6 < bootstrap.1);
    }

    #[test]
    fn four_blocks_have_no_interval() {
        let few: Vec<_> = pixels(|_| 0.0)
            .into_iter()
            .filter(|pixel| pixel.block < 4)
            .collect();
        assert_eq!(
            coarse(&few, 10).unwrap().interval,
            Err(NoInterval::TooFewBlocks {
                found: 4,
                needed: 5
            })
        );
    }

    #[test]
    fn only_blocks_that_touch_are_neighbours() {
        let means = PairedMeans {
            reference: 1.0,
            beside: 1.0,
            variance_reference: 0.0,
            variance_beside: 0.0,
            covariance: 0.0,
            degrees_of_freedom: 5.0,
        };
        let rising: Vec<(f64, f64)> = (0..6).map(|k| (1.0 + 0.01 * f64::from(k), 1.0)).collect();
        assert!(neighbour_correlation(&means, &rising, &[0, 1, 2, 3, 4, 5]) > 0.6);
        assert!(
            (neighbour_correlation(&means, &rising, &[0, 2, 4, 6, 8, 10]) - 1.0 / 6.0).abs()
                < 1e-12
        );
    }
}
