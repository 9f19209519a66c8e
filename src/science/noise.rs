//! How much of a map's nitrogen only noise makes.
//!
//! A rate is held at RI = 1 from below, so in a field that needs nothing every cell that reads low by chance gets nitrogen and none that reads high
//! gives any back. Rates stay as they are; the part is told.

/// Noise of cell means, from their second differences along the drive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CellNoise {
    /// Standard deviation of a cell's mean index.
    pub sd: f64,
    /// Triples of neighbouring cells that it comes from.
    pub triples: usize,
}

/// Least number of triples for an estimate.
const MINIMUM_TRIPLES: usize = 10;

/// Standard deviation of what differs from cell to cell without a trend: `σ² = mean of (I[r−1] − 2 I[r] + I[r+1])² / 6`.
///
/// `columns` holds each column's cells along the heading, `None` where a cell has no index. Three neighbours in a row make a triple; a straight trend
/// drops out, independent noise of variance σ² leaves 6 σ². Real change from cell to cell counts as noise here, so that σ is an upper bound.
///
/// `None` with fewer than 10 triples.
///
/// # Source
/// Variance of differences: von Neumann et al. 1941, Annals of Mathematical Statistics 12:153-162 (from memory), for second differences 1 + 4 + 1 = 6.
pub fn noise_sd<'a>(columns: impl Iterator<Item = &'a [Option<f64>]>) -> Option<CellNoise> {
    let (mut sum, mut triples) = (0.0, 0_usize);
    for column in columns {
        for three in column.windows(3) {
            if let [Some(before), Some(here), Some(after)] = *three {
                let second = before - 2.0 * here + after;
                sum += second * second;
                triples += 1;
            }
        }
    }
    (triples >= MINIMUM_TRIPLES).then(|| CellNoise {
        sd: libm::sqrt(sum / triples as f64 / 6.0),
        triples,
    })
}

/// Nodes x ≥ 0 and weights of the 9-point rule for `∫ exp(−x²) f(x) dx`.
///
/// # Source
/// Abramowitz and Stegun, table 25.10; the digits are those of numpy's `hermgauss(9)`.
pub(crate) const HERMITE: [(f64, f64); 5] = [
    (0.0, 0.720_235_215_606_050_9),
    (0.723_551_018_752_837_6, 0.432_651_559_002_555_8),
    (1.468_553_289_216_668, 0.088_474_527_394_376_58),
    (2.266_580_584_531_843, 0.004_943_624_275_536_945),
    (3.190_993_201_781_528, 3.960_697_726_326_437e-5),
];

/// Expected value of `f(I + σ z) − f(I)`, z standard normal: what noise adds to one cell's nitrogen on average. Negative where the rate bends the
/// other way, at a ceiling.
///
/// `E f = 1/√π · Σ w f(I + √2 σ x)` over 9 points. `f` is asked for indices above 0 only. Where f has a kink, as at RI = 1, the rule is good to about a
/// tenth of the answer.
pub fn noise_nitrogen(index: f64, sd: f64, f: impl Fn(f64) -> f64) -> f64 {
    let at = |x: f64| f((index + core::f64::consts::SQRT_2 * sd * x).max(f64::MIN_POSITIVE));
    let plain = f(index);
    // Differences are summed, not values: without noise the answer is exactly 0.
    let sum: f64 = HERMITE
        .iter()
        .map(|(x, weight)| {
            weight
                * if *x == 0.0 {
                    // In its own middle a cell is what it is.
                    if index >= f64::MIN_POSITIVE {
                        0.0
                    } else {
                        at(0.0) - plain
                    }
                } else {
                    (at(*x) - plain) + (at(-x) - plain)
                }
        })
        .sum();
    sum / libm::sqrt(core::f64::consts::PI)
}

/// What noise makes of a whole map. \[kg N\]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct NoiseTotals {
    /// Cells where noise adds: the nitrogen that it makes.
    pub made_kg: f64,
    /// All cells, signed: what noise moves the total by.
    pub signed_kg: f64,
}

/// Adds up what noise makes of each cell, [`noise_nitrogen`] by its hectares. \[kg N\]
///
/// The observed index stands for the true one, so that a cell that already reads low by chance counts by its slope there; summed over a field this is
/// the usual plug-in estimate. `made_kg` sums the cells whose expected extra is positive, `signed_kg` all of them.
pub fn noise_totals(extra_kg: impl IntoIterator<Item = f64>) -> NoiseTotals {
    let mut totals = NoiseTotals::default();
    for extra in extra_kg {
        totals.signed_kg += extra;
        totals.made_kg += extra.max(0.0);
    }
    totals
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_integrate_polynomials() {
        // Moments of the normal: E z² = 1, E z⁴ = 3, E z⁶ = 15; 9 points are exact to degree 17.
        let moment = |power: i32| {
            noise_nitrogen(5.0, 1.0, |x| {
                (0..power).fold(1.0, |product, _| product * (x - 5.0))
            })
        };
        assert!((moment(2) - 1.0).abs() < 1e-12);
        assert!((moment(4) - 3.0).abs() < 1e-11);
        assert!((moment(6) - 15.0).abs() < 1e-10);
        assert!(moment(3).abs() < 1e-12);
        assert_eq!(noise_nitrogen(0.5, 0.0, |x| 100.0 * x), 0.0);
    }

    #[test]
    fn a_kink_turns_noise_into_nitrogen() {
        // E max(σz, 0) = σ/√(2π) = 0.3989 σ.
        let exact = 0.398_942_280_401_432_7;
        let rule = noise_nitrogen(0.5, 0.02, |x| f64::max((0.5 - x) / 0.02, 0.0));
        assert!((rule - exact).abs() < 0.1 * exact, "{rule}");
        let ceiling = noise_nitrogen(0.5, 0.02, |x| f64::min((0.5 - x) / 0.02, 0.0));
        assert!((ceiling + rule).abs() < 1e-12);
        let rate = |x: f64| f64::max((0.5 - x) / 0.02, 0.0);
        let totals = noise_totals(
            [(2.0, 0.5), (1.0, 0.4)]
                .map(|(hectares, index)| hectares * noise_nitrogen(index, 0.02, rate)),
        );
        assert!((totals.made_kg - 2.0 * rule).abs() < 0.01 && totals.signed_kg <= totals.made_kg);
    }

    #[test]
    fn second_differences_see_noise_and_no_trend() {
        let trend: Vec<Option<f64>> = (0..30)
            .map(|row| Some(0.4 + 0.01 * f64::from(row)))
            .collect();
        assert!(noise_sd([trend.as_slice()].into_iter()).unwrap().sd < 1e-12);
        // Alternating ±δ: second differences are ±4δ, so σ² = 16 δ² / 6.
        let saw: Vec<Option<f64>> = (0..30)
            .map(|row| Some(0.5 + if row % 2 == 0 { 0.03 } else { -0.03 }))
            .collect();
        let noise = noise_sd([saw.as_slice()].into_iter()).unwrap();
        assert_eq!(noise.triples, 28);
        assert!((noise.sd - 0.03 * libm::sqrt(16.0 / 6.0)).abs() < 1e-12);
        let gaps: Vec<Option<f64>> = (0..30).map(|row| (row % 3 != 0).then_some(0.5)).collect();
        assert_eq!(noise_sd([gaps.as_slice()].into_iter()), None);
    }
}
