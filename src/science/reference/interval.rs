//! How sure a ratio of two means is that were measured side by side along a strip.

use statrs::distribution::{ContinuousCDF, StudentsT};
use thiserror::Error;

use super::sums::percentile;

/// Least number of blocks with data for an interval.
pub(super) const MINIMUM_BLOCKS: usize = 5;
/// Probability that the interval covers. \[share\]
const COVERAGE: f64 = 0.95;
/// Replicates of the bootstrap that is printed as a check.
pub const BOOTSTRAP_REPLICATES: usize = 2_000;

/// Why there is no interval.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum NoInterval {
    /// Nothing to compare with.
    #[error("nothing was measured beside the strip")]
    NothingBeside,
    /// Too few stretches measured on both sides.
    #[error(
        "only {found} of the strip's stretches have data in strip and swath, {needed} are needed"
    )]
    TooFewBlocks {
        /// Blocks with data.
        found: usize,
        /// Blocks needed.
        needed: usize,
    },
    /// The ground beside cannot be told from 0.
    #[error(
        "the index beside the strip ({beside:.4}) cannot be told from 0, so the ratio has no bounds"
    )]
    Unbounded {
        /// Index beside.
        beside: f64,
    },
    /// One of several pooled strips has none.
    #[error("strip {strip} has no interval of its own")]
    OfStrip {
        /// Number of the strip, from 1.
        strip: usize,
    },
}

/// Two means measured side by side, and how they vary together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PairedMeans {
    /// Mean index of the strip.
    pub reference: f64,
    /// Mean index beside it.
    pub beside: f64,
    /// Variance of the strip's mean.
    pub variance_reference: f64,
    /// Variance of the mean beside.
    pub variance_beside: f64,
    /// Covariance of the two means; 0 for independent samples.
    pub covariance: f64,
    /// Degrees of freedom of the variances.
    pub degrees_of_freedom: f64,
}

impl PairedMeans {
    /// The same relative certainty for means that were taken over more pixels.
    ///
    /// [`fieller`]'s bounds scale with the ratio of the means.
    #[must_use]
    pub fn scaled_to(&self, reference: f64, beside: f64) -> Self {
        let (up, down) = (reference / self.reference, beside / self.beside);
        Self {
            reference,
            beside,
            variance_reference: self.variance_reference * up * up,
            variance_beside: self.variance_beside * down * down,
            covariance: self.covariance * up * down,
            degrees_of_freedom: self.degrees_of_freedom,
        }
    }
}

/// The interval of a response index.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RatioInterval {
    /// Lower bound.
    pub low: f64,
    /// Upper bound.
    pub high: f64,
    /// The means that it comes from.
    pub means: PairedMeans,
    /// Blocks with data.
    pub blocks: usize,
    /// Blocks that the same certainty would take if they were independent: k'.
    pub effective_blocks: f64,
    /// Correlation of neighbouring blocks, held to 0 … 0.9.
    pub neighbour_correlation: f64,
}

/// Quantile of Student's t for the two-sided interval with `degrees_of_freedom` (fractional, above 0).
pub fn student_quantile(degrees_of_freedom: f64) -> f64 {
    // Only degrees of freedom of 0 or less, or NaN, make no distribution; then nothing is known.
    StudentsT::new(0.0, 1.0, degrees_of_freedom).map_or(f64::INFINITY, |t| {
        t.inverse_cdf(1.0 - (1.0 - COVERAGE) / 2.0)
    })
}

/// Bounds of the ratio of two means: the roots x of `(b² − t² V_bb) x² − 2 (ab − t² V_ab) x + (a² − t² V_aa) = 0`.
///
/// a, b are the means, V their (co)variances, t Student's quantile for 95 %. Paired means have a covariance; with 0 this is the form for independent
/// samples.
///
/// # Errors
/// [`NoInterval::Unbounded`] when `b² ≤ t² V_bb`.
///
/// # Source
/// Fieller 1954, Journal of the Royal Statistical Society B 16:175-185 (from memory).
pub fn fieller(means: &PairedMeans) -> Result<(f64, f64), NoInterval> {
    let t = student_quantile(means.degrees_of_freedom);
    let unbounded = NoInterval::Unbounded {
        beside: means.beside,
    };
    // Nothing varies: the ratio is what it is. (Kept apart because an infinite t times 0 is no number.)
    let still = means.variance_reference == 0.0 && means.variance_beside == 0.0;
    let (aa, ab, bb) = if still {
        (0.0, 0.0, 0.0)
    } else {
        (
            t * t * means.variance_reference,
            t * t * means.covariance,
            t * t * means.variance_beside,
        )
    };
    let (a, b) = (means.reference, means.beside);
    let square = b * b - bb;
    if !(square > 0.0 && square.is_finite()) {
        return Err(unbounded);
    }
    let half = a * b - ab;
    // Never negative but for rounding, since the variances and the covariance come from the same pairs.
    let root = libm::sqrt((half * half - square * (a * a - aa)).max(0.0));
    let (low, high) = ((half - root) / square, (half + root) / square);
    if low.is_finite() && high.is_finite() {
        Ok((low, high))
    } else {
        Err(unbounded)
    }
}

/// Interval from block means `(A_j, B_j)` along the strip, `None` where a block has no data in strip or swath.
///
/// k blocks, `r = ΣA/ΣB`, `d_j = A_j − r B_j`, `ρ = Σ d_j d_{j+1} / Σ d_j² + 1/k` held to 0 … 0.9, `k' = max(2.5, k (1 − ρ)/(1 + ρ))`;
/// [`fieller`] for the paired means with `var(A)/k'`, `var(B)/k'`, `cov(A, B)/k'` (n − 1 in the sample variances) and `max(3, k' − 1)` degrees of
/// freedom; then scaled to `reference / beside`. Only blocks that touch count as neighbours.
///
/// # Errors
/// Fewer than 5 blocks with data, or an unbounded ratio.
///
/// # Source
/// Effective sample size of a first-order autoregression, `n (1 − ρ)/(1 + ρ)`, and the bias of its estimate, about `−1/n`: textbook, from memory. The
/// limits 0.9, 2.5 and 3 are ours, chosen by simulation: with 1.5 degrees of freedom clearly responding strips were too often called unresponsive.
pub fn paired_blocks(
    blocks: &[Option<(f64, f64)>],
    reference: f64,
    beside: f64,
) -> Result<RatioInterval, NoInterval> {
    let pairs: Vec<(f64, f64)> = blocks.iter().flatten().copied().collect();
    if pairs.len() < MINIMUM_BLOCKS {
        return Err(NoInterval::TooFewBlocks {
            found: pairs.len(),
            needed: MINIMUM_BLOCKS,
        });
    }
    let k = pairs.len() as f64;
    let a = pairs.iter().map(|pair| pair.0).sum::<f64>() / k;
    let b = pairs.iter().map(|pair| pair.1).sum::<f64>() / k;
    let ratio = a / b;
    let difference = |block: &Option<(f64, f64)>| block.map(|(strip, swath)| strip - ratio * swath);
    let squares: f64 = blocks.iter().filter_map(difference).map(|d| d * d).sum();
    let products: f64 = blocks
        .windows(2)
        .filter_map(|two| Some(difference(&two[0])? * difference(&two[1])?))
        .sum();
    let neighbour_correlation = if squares > 0.0 {
        (products / squares + 1.0 / k).clamp(0.0, 0.9)
    } else {
        0.0
    };
    let effective_blocks = f64::max(
        2.5,
        k * (1.0 - neighbour_correlation) / (1.0 + neighbour_correlation),
    );
    let spread = |left: &dyn Fn(&(f64, f64)) -> f64, right: &dyn Fn(&(f64, f64)) -> f64| {
        pairs
            .iter()
            .map(|pair| left(pair) * right(pair))
            .sum::<f64>()
            / (k - 1.0)
            / effective_blocks
    };
    let (from_a, from_b) = (
        |pair: &(f64, f64)| pair.0 - a,
        |pair: &(f64, f64)| pair.1 - b,
    );
    let means = PairedMeans {
        reference: a,
        beside: b,
        variance_reference: spread(&from_a, &from_a),
        variance_beside: spread(&from_b, &from_b),
        covariance: spread(&from_a, &from_b),
        degrees_of_freedom: f64::max(3.0, effective_blocks - 1.0),
    }
    .scaled_to(reference, beside);
    let (low, high) = fieller(&means)?;
    Ok(RatioInterval {
        low,
        high,
        means,
        blocks: pairs.len(),
        effective_blocks,
        neighbour_correlation,
    })
}

/// 2.5th to 97.5th percentile of a statistic over `BOOTSTRAP_REPLICATES` samples of `blocks` blocks drawn with replacement; a check beside the
/// interval, never instead of it, because it covers too seldom with few, correlated blocks.
///
/// `statistic` gets the numbers of the drawn blocks. The same seed gives the same bounds. `None` without blocks or when no sample has a value.
pub fn block_bootstrap(
    blocks: usize,
    seed: u64,
    mut statistic: impl FnMut(&[usize]) -> Option<f64>,
) -> Option<(f64, f64)> {
    if blocks == 0 {
        return None;
    }
    let mut state = seed;
    let mut drawn = vec![0_usize; blocks];
    let mut values = Vec::with_capacity(BOOTSTRAP_REPLICATES);
    for _ in 0..BOOTSTRAP_REPLICATES {
        for place in &mut drawn {
            // Multiply and shift: even to one part in 2⁶⁴ / blocks.
            *place = ((u128::from(split_mix(&mut state)) * blocks as u128) >> 64) as usize;
        }
        values.extend(statistic(&drawn).filter(|value| value.is_finite()));
    }
    Some((percentile(&values, 2.5)?, percentile(&values, 97.5)?))
}

/// Next number of a small generator: same seed, same numbers, everywhere.
///
/// # Source
/// Steele, Lea and Flood 2014, "Fast splittable pseudorandom number generators" (constants from memory, checked in a test against its published first
/// values for seed 1234567).
const fn split_mix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn generator_gives_its_published_numbers() {
        // First values for seed 1234567, as printed with many ports of the generator (from memory).
        let mut state = 1_234_567;
        let first: Vec<u64> = (0..3).map(|_| split_mix(&mut state)).collect();
        assert_eq!(
            first,
            [
                6_457_827_717_110_365_317,
                3_203_168_211_198_807_973,
                9_817_491_932_198_370_423
            ]
        );
    }

    #[test]
    fn quantiles_of_student() {
        // Tables of Student's t, two-sided 95 %: 10 degrees 2.228, 1 degree 12.706.
        assert!((student_quantile(10.0) - 2.228_138_852).abs() < 1e-6);
        assert!((student_quantile(1.0) - 12.706_204_74).abs() < 1e-5);
        assert_eq!(student_quantile(0.0), f64::INFINITY);
    }

    #[test]
    fn no_variation_has_no_width() {
        let interval = paired_blocks(&[Some((0.75, 0.5)); 6], 0.75, 0.5).unwrap();
        assert_eq!(
            (interval.low, interval.high, interval.blocks),
            (1.5, 1.5, 6)
        );
    }

    #[test]
    fn too_little_and_too_loose() {
        let few = [
            Some((0.7, 0.5)),
            None,
            Some((0.7, 0.5)),
            Some((0.7, 0.5)),
            Some((0.7, 0.5)),
        ];
        assert_eq!(
            paired_blocks(&few, 0.7, 0.5),
            Err(NoInterval::TooFewBlocks {
                found: 4,
                needed: 5
            })
        );
        let loose = PairedMeans {
            reference: 0.7,
            beside: 0.1,
            variance_reference: 0.01,
            variance_beside: 0.01,
            covariance: 0.0,
            degrees_of_freedom: 5.0,
        };
        assert_eq!(fieller(&loose), Err(NoInterval::Unbounded { beside: 0.1 }));
    }

    #[test]
    fn bounds_scale_with_the_means() {
        let blocks = [
            (0.70, 0.52),
            (0.74, 0.55),
            (0.69, 0.50),
            (0.75, 0.53),
            (0.71, 0.54),
            (0.73, 0.51),
        ]
        .map(Some);
        let plain = paired_blocks(&blocks, 0.72, 0.525).unwrap();
        let scaled = paired_blocks(&blocks, 0.80, 0.500).unwrap();
        let factor = (0.80 / 0.500) / (0.72 / 0.525);
        assert!((scaled.low / plain.low - factor).abs() < 1e-12);
        assert!((scaled.high / plain.high - factor).abs() < 1e-12);
        assert!(plain.low < 0.72 / 0.525 && 0.72 / 0.525 < plain.high);
    }

    #[test]
    fn bootstrap_repeats_itself() {
        let values = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0];
        let mean = |drawn: &[usize]| {
            Some(drawn.iter().map(|i| values[*i]).sum::<f64>() / drawn.len() as f64)
        };
        let bounds = block_bootstrap(8, 11, mean).unwrap();
        assert_eq!(block_bootstrap(8, 11, mean), Some(bounds));
        // The mean of 8 draws has SD √(5.25 / 8) = 0.81: 95 % within about 1.59.
        assert!(
            (bounds.0 - 2.9).abs() < 0.2 && (bounds.1 - 6.1).abs() < 0.2,
            "{bounds:?}"
        );
        assert_eq!(block_bootstrap(0, 11, mean), None);
    }
}
