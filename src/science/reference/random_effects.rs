//! Ratios of several strips as one: what each of them leaves open, and what lies between them.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::interval::student_quantile;

/// Least degrees of freedom of the interval, as for a single strip.
const MINIMUM_FREEDOM: f64 = 3.0;
/// Probability of Cochran's Q below which strips disagree.
const DISAGREE: f64 = 0.05;
/// Variances below this share of the squared value count as this: a strip without any spread of its own would otherwise have all the weight.
const MINIMUM_VARIANCE: f64 = 1e-10;

/// A pooled value with its interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RandomEffects {
    /// How many were pooled.
    pub count: usize,
    /// Weighted mean.
    pub mean: f64,
    /// Variance between the true values, by moments; 0 when they differ by no more than their own variances say.
    pub between: f64,
    /// Cochran's Q of the fixed-effect weights.
    pub q: f64,
    /// Probability of a Q as great as this when all true values are one.
    pub probability: f64,
    /// Standard error by Hartung and Knapp.
    pub standard_error: f64,
    /// The same, but never below that of the weights alone.
    pub safe_error: f64,
    /// Degrees of freedom of the interval.
    pub degrees_of_freedom: f64,
    /// Lower bound of the 95 % interval.
    pub low: f64,
    /// Upper bound.
    pub high: f64,
}

impl RandomEffects {
    /// Whether the values differ by more than their own variances say, at 5 %.
    pub fn disagree(&self) -> bool {
        self.probability < DISAGREE
    }
}

/// Pools `(value, variance)`. `None` of fewer than two, and where something is no number.
///
/// `τ² = max(0, (Q − (k − 1)) / (Σw − Σw²/Σw))` with `w = 1/v`; `w* = 1/(v + τ²)`; mean `Σw*y / Σw*`; variance `Σw*(y − mean)² / ((k − 1) Σw*)`.
///
/// Two departures, both towards the wider: the variance is never below `1 / Σw*`, because a few strips that are alike by chance would have an interval of
/// nothing. And Student's t has `max(3, k − 1)` degrees of freedom, as for one strip: with the single degree of two strips the interval is four times as
/// wide as that of either strip alone, also where both say the same, and would stop every map with two strips.
///
/// # Source
/// `DerSimonian` and Laird 1986, Controlled Clinical Trials 7:177-188; Hartung and Knapp 2001, Statistics in Medicine 20:3875-3889; never narrower than the
/// weights: Röver, Knapp and Friede 2015, BMC Medical Research Methodology 15:99 (all from memory). Checked against statsmodels (`tests/truth`).
pub fn random_effects(estimates: &[(f64, f64)]) -> Option<RandomEffects> {
    let k = estimates.len() as f64;
    if estimates.len() < 2
        || estimates
            .iter()
            .any(|(value, variance)| !(value.is_finite() && variance.is_finite()))
    {
        return None;
    }
    let variance = |(value, variance): &(f64, f64)| variance.max(MINIMUM_VARIANCE * value * value);
    let weights: Vec<f64> = estimates.iter().map(|own| 1.0 / variance(own)).collect();
    let sum: f64 = weights.iter().sum();
    let squares: f64 = weights.iter().map(|weight| weight * weight).sum();
    let fixed = mean(estimates, &weights);
    let q = spread(estimates, &weights, fixed);
    let between = ((q - (k - 1.0)) / (sum - squares / sum)).max(0.0);
    let weights: Vec<f64> = estimates
        .iter()
        .map(|own| 1.0 / (variance(own) + between))
        .collect();
    let sum: f64 = weights.iter().sum();
    let middle = mean(estimates, &weights);
    let scale = spread(estimates, &weights, middle) / (k - 1.0);
    let standard_error = libm::sqrt(scale / sum);
    let safe_error = libm::sqrt(scale.max(1.0) / sum);
    let degrees_of_freedom = f64::max(MINIMUM_FREEDOM, k - 1.0);
    let reach = student_quantile(degrees_of_freedom) * safe_error;
    let estimate = RandomEffects {
        count: estimates.len(),
        mean: middle,
        between,
        q,
        probability: ChiSquared::new(k - 1.0).map_or(1.0, |chi| chi.sf(q)),
        standard_error,
        safe_error,
        degrees_of_freedom,
        low: middle - reach,
        high: middle + reach,
    };
    estimate.mean.is_finite().then_some(estimate)
}

fn mean(estimates: &[(f64, f64)], weights: &[f64]) -> f64 {
    let sum: f64 = weights.iter().sum();
    estimates
        .iter()
        .zip(weights)
        .map(|((value, _), weight)| value * weight)
        .sum::<f64>()
        / sum
}

/// `Σ w (y − middle)²`.
fn spread(estimates: &[(f64, f64)], weights: &[f64], middle: f64) -> f64 {
    estimates
        .iter()
        .zip(weights)
        .map(|((value, _), weight)| weight * (value - middle) * (value - middle))
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn by_hand() {
        // v = 0.01 each, y = 1.0 and 1.4: w = 100, fixed mean 1.2, Q = 100 (0.04 + 0.04) = 8, τ² = (8 − 1) / (200 − 20000/200) = 0.07,
        // w* = 12.5, variance by Hartung and Knapp 12.5 · 0.08 / 1 / 25 = 0.04, t(3) = 3.18245 (table).
        let two = random_effects(&[(1.0, 0.01), (1.4, 0.01)]).unwrap();
        assert!((two.mean - 1.2).abs() < 1e-12 && (two.q - 8.0).abs() < 1e-9);
        assert!((two.between - 0.07).abs() < 1e-12 && (two.standard_error - 0.2).abs() < 1e-12);
        assert!((two.high - (1.2 + 3.182_446_3 * 0.2)).abs() < 1e-6);
        // P(χ² > 8) with one degree = 0.00468 (table).
        assert!(two.disagree() && (two.probability - 0.004_678).abs() < 1e-5);
    }

    #[test]
    fn strips_alike_by_chance_are_not_certain() {
        let alike = random_effects(&[(1.2, 0.01), (1.2, 0.01)]).unwrap();
        assert_eq!((alike.standard_error, alike.between), (0.0, 0.0));
        assert!((alike.safe_error - libm::sqrt(0.005)).abs() < 1e-12 && !alike.disagree());
        assert!(random_effects(&[(1.2, 0.01)]).is_none());
        assert!(random_effects(&[(1.2, f64::NAN), (1.0, 0.1)]).is_none());
        assert!(random_effects(&[(1.2, 0.0), (1.2, 0.0)]).is_some());
    }
}
