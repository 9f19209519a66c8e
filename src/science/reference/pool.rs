//! Several strips as one reference, and averaged hand readings.

use super::ReferenceError;
use super::interval::{NoInterval, PairedMeans, RatioInterval, paired_blocks};
use super::random_effects::{RandomEffects, random_effects};

/// What pooling needs of one strip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StripEstimate {
    /// Area of strip ∩ field. \[m²\]
    pub area_m2: f64,
    /// `I_ref`.
    pub index: f64,
    /// `I_beside`, if it was measured.
    pub beside: Option<f64>,
    /// Interval of the ratio, or why there is none.
    pub interval: Result<RatioInterval, NoInterval>,
}

/// Strips taken together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PooledEstimate {
    /// `I_ref`.
    pub index: f64,
    /// `I_beside`; `None` when no strip has one.
    pub beside: Option<f64>,
    /// `RI_field`, over the strips that have a comparison.
    pub ratio: Option<f64>,
    /// 95 % interval of the ratio, or why there is none.
    pub interval: Result<RatioInterval, NoInterval>,
    /// Strips.
    pub strips: usize,
    /// Standard deviation (n − 1, unweighted) of the strips' `I_ref`; `None` of one strip.
    pub between_strips_sd: Option<f64>,
    /// Standard deviation (n − 1, unweighted) of the strips' own ratios; `None` with fewer than two.
    pub between_ratios_sd: Option<f64>,
    /// The strips' ratios by random effects, where each of several has an interval.
    pub random_effects: Option<RandomEffects>,
    /// Whether the strips contradict each other: intervals of two do not overlap, or Cochran's Q has a probability below 0.05.
    pub disagree: bool,
}

/// Pools strips by area: `I_ref = Σ w I_i`, `w = area / Σ area`; `I_beside` and `RI_field` likewise, both over the strips that have a comparison.
///
/// The interval is that of the strips' own ratios by [`random_effects`], moved to `I_ref / I_beside`: each ratio's variance is
/// `(V_aa − 2 r V_ab + r² V_bb) / I_beside²` of its own means, and what strips differ by beyond it counts as well. Where they contradict each other it
/// reaches at least from the least to the greatest of their ratios. A strip with a comparison but without an interval of its own leaves the pool without
/// one. One strip keeps its own interval.
///
/// `None` without strips.
///
/// # Source
/// See [`random_effects`]; variance of a ratio by its linear terms: textbook. That contradicting strips are spanned is ours.
pub fn pool(strips: &[StripEstimate]) -> Option<PooledEstimate> {
    let index = weighted(strips.iter().map(|strip| (strip.area_m2, strip.index)))?;
    let compared: Vec<(usize, &StripEstimate, f64)> = strips
        .iter()
        .enumerate()
        .filter_map(|(place, strip)| {
            strip
                .beside
                .filter(|beside| *beside > 0.0)
                .map(|beside| (place, strip, beside))
        })
        .collect();
    let beside = weighted(
        compared
            .iter()
            .map(|(_, strip, beside)| (strip.area_m2, *beside)),
    );
    let reference = weighted(
        compared
            .iter()
            .map(|(_, strip, _)| (strip.area_m2, strip.index)),
    );
    let ratio = reference
        .zip(beside)
        .map(|(reference, beside)| reference / beside);
    let random_effects = ratio_variances(&compared).and_then(|ratios| random_effects(&ratios));
    let disagree = random_effects.is_some_and(|pooled| pooled.disagree()) || apart(&compared);
    let interval = match (compared.as_slice(), reference, beside) {
        ([(_, strip, _)], ..) => strip.interval,
        (_, Some(reference), Some(beside)) => {
            let span = Span {
                reference,
                beside,
                disagree,
            };
            pooled_interval(&compared, random_effects, &span)
        }
        _ => Err(NoInterval::NothingBeside),
    };
    let ratios: Vec<f64> = compared
        .iter()
        .map(|(_, strip, beside)| strip.index / beside)
        .collect();
    let indices: Vec<f64> = strips.iter().map(|strip| strip.index).collect();
    Some(PooledEstimate {
        index,
        beside,
        ratio,
        interval,
        strips: strips.len(),
        between_strips_sd: sample_sd(&indices),
        between_ratios_sd: sample_sd(&ratios),
        random_effects,
        disagree,
    })
}

/// Ratio of each strip and its variance; `None` when one of them has no interval.
fn ratio_variances(compared: &[(usize, &StripEstimate, f64)]) -> Option<Vec<(f64, f64)>> {
    let one = |(_, strip, beside): &(usize, &StripEstimate, f64)| {
        let means = strip.interval.ok()?.means;
        let ratio = strip.index / beside;
        let variance = means.variance_reference - 2.0 * ratio * means.covariance
            + ratio * ratio * means.variance_beside;
        Some((ratio, (variance / (beside * beside)).max(0.0)))
    };
    compared.iter().map(one).collect()
}

/// Whether the intervals of two strips do not overlap.
fn apart(compared: &[(usize, &StripEstimate, f64)]) -> bool {
    let known = || compared.iter().filter_map(|(_, s, _)| s.interval.ok());
    let highest = known().map(|own| own.low).fold(f64::NEG_INFINITY, f64::max);
    let lowest = known().map(|own| own.high).fold(f64::INFINITY, f64::min);
    highest > lowest
}

/// Pooled means, and whether the interval has to reach from strip to strip.
struct Span {
    reference: f64,
    beside: f64,
    disagree: bool,
}

fn pooled_interval(
    compared: &[(usize, &StripEstimate, f64)],
    random_effects: Option<RandomEffects>,
    span: &Span,
) -> Result<RatioInterval, NoInterval> {
    let area: f64 = compared.iter().map(|(_, strip, _)| strip.area_m2).sum();
    let mut means = PairedMeans {
        reference: span.reference,
        beside: span.beside,
        variance_reference: 0.0,
        variance_beside: 0.0,
        covariance: 0.0,
        degrees_of_freedom: f64::INFINITY,
    };
    let (mut blocks, mut effective_blocks) = (0, 0.0);
    for (place, strip, _) in compared {
        let own = strip
            .interval
            .map_err(|_| NoInterval::OfStrip { strip: place + 1 })?;
        let weight = strip.area_m2 / area * (strip.area_m2 / area);
        means.variance_reference += weight * own.means.variance_reference;
        means.variance_beside += weight * own.means.variance_beside;
        means.covariance += weight * own.means.covariance;
        blocks += own.blocks;
        effective_blocks += own.effective_blocks;
    }
    let pooled = random_effects.ok_or(NoInterval::NothingBeside)?;
    means.degrees_of_freedom = pooled.degrees_of_freedom;
    let moved = span.reference / span.beside / pooled.mean;
    let (mut low, mut high) = (pooled.low * moved, pooled.high * moved);
    if span.disagree {
        for (_, strip, beside) in compared {
            low = low.min(strip.index / beside);
            high = high.max(strip.index / beside);
        }
    }
    Ok(RatioInterval {
        low,
        high,
        means,
        blocks,
        effective_blocks,
        neighbour_correlation: 0.0,
    })
}

/// What hand readings tell: a ratio. Their level belongs to another sensor than the image's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadingsEstimate {
    /// Mean reading in the strip.
    pub strip: f64,
    /// Mean reading beside it.
    pub beside: f64,
    /// `strip / beside`.
    pub ratio: f64,
    /// 95 % interval of the ratio, or why there is none; needs 5 pairs, taken in the order along the strip.
    pub interval: Result<RatioInterval, NoInterval>,
}

impl ReadingsEstimate {
    /// `I_ref` on the scale of an image: `(strip / beside) · field mean index`.
    pub fn reference_on(&self, field_mean: f64) -> f64 {
        self.ratio * field_mean
    }
}

/// Averages pairs `(strip, beside)` of hand readings: `RI = Σ strip / Σ beside`.
///
/// # Errors
/// No pair, or a reading that is not above 0.
pub fn readings(pairs: &[(f64, f64)]) -> Result<ReadingsEstimate, ReferenceError> {
    if pairs.is_empty() {
        return Err(ReferenceError::NoPixels);
    }
    for (place, (strip, beside)) in pairs.iter().enumerate() {
        if !(*strip > 0.0 && *beside > 0.0 && strip.is_finite() && beside.is_finite()) {
            return Err(ReferenceError::Reading {
                pair: place + 1,
                strip: *strip,
                beside: *beside,
            });
        }
    }
    let strip = pairs.iter().map(|pair| pair.0).sum::<f64>() / pairs.len() as f64;
    let beside = pairs.iter().map(|pair| pair.1).sum::<f64>() / pairs.len() as f64;
    let blocks: Vec<Option<(f64, f64)>> = pairs.iter().copied().map(Some).collect();
    Ok(ReadingsEstimate {
        strip,
        beside,
        ratio: strip / beside,
        interval: paired_blocks(&blocks, strip, beside),
    })
}

fn weighted(values: impl Iterator<Item = (f64, f64)>) -> Option<f64> {
    let (weight, sum) = values.fold((0.0, 0.0), |(weight, sum), (w, value)| {
        (weight + w, sum + w * value)
    });
    (weight > 0.0).then(|| sum / weight)
}

fn sample_sd(values: &[f64]) -> Option<f64> {
    let n = values.len() as f64;
    if values.len() < 2 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / n;
    Some(libm::sqrt(
        values
            .iter()
            .map(|value| (value - mean) * (value - mean))
            .sum::<f64>()
            / (n - 1.0),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strip(area_m2: f64, index: f64, beside: f64, shift: f64) -> StripEstimate {
        let blocks: Vec<_> = [0.01, -0.02, 0.00, 0.02, -0.01, 0.01]
            .iter()
            .map(|d| Some((index + d, beside - shift * d)))
            .collect();
        StripEstimate {
            area_m2,
            index,
            beside: Some(beside),
            interval: paired_blocks(&blocks, index, beside),
        }
    }

    #[test]
    fn means_are_weighted_by_area() {
        let pooled = pool(&[strip(300.0, 0.8, 0.5, 0.3), strip(100.0, 0.6, 0.5, 0.3)]).unwrap();
        assert!((pooled.index - 0.75).abs() < 1e-12 && (pooled.ratio.unwrap() - 1.5).abs() < 1e-12);
        assert!((pooled.between_strips_sd.unwrap() - 0.2 / libm::sqrt(2.0)).abs() < 1e-12);
        assert!(pool(&[]).is_none());
    }

    #[test]
    fn two_like_strips_are_surer_than_one() {
        let one = strip(100.0, 0.8, 0.5, 0.3);
        let alone = pool(&[one]).unwrap();
        assert_eq!(alone.interval, one.interval);
        assert!(alone.random_effects.is_none() && !alone.disagree);
        let alone = alone.interval.unwrap();
        let both = pool(&[one, one]).unwrap();
        assert!(!both.disagree && both.random_effects.unwrap().between == 0.0);
        let interval = both.interval.unwrap();
        let narrower = (interval.high - interval.low) / (alone.high - alone.low);
        assert!(narrower < 0.9 && narrower > 0.5, "{narrower}");
    }

    #[test]
    fn strips_that_contradict_each_other_are_never_surer_than_they_differ() {
        let (poor, rich) = (strip(100.0, 0.5, 0.5, 0.3), strip(100.0, 0.65, 0.5, 0.3));
        let pooled = pool(&[poor, rich]).unwrap();
        let interval = pooled.interval.unwrap();
        assert!(pooled.disagree && interval.low <= 1.0 && interval.high >= 1.3);
        // Before, their own variances alone gave an interval that held neither of them.
        assert!(poor.interval.unwrap().high < rich.interval.unwrap().low);
        let like = strip(100.0, 0.66, 0.5, 0.3);
        let pooled = pool(&[rich, like]).unwrap();
        let interval = pooled.interval.unwrap();
        assert!(!pooled.disagree && interval.low > 1.0);
    }

    #[test]
    fn a_strip_without_comparison_counts_for_the_reference_only() {
        let bare = StripEstimate {
            area_m2: 100.0,
            index: 0.7,
            beside: None,
            interval: Err(NoInterval::NothingBeside),
        };
        let pooled = pool(&[strip(100.0, 0.8, 0.5, 0.3), bare]).unwrap();
        assert!((pooled.index - 0.75).abs() < 1e-12);
        assert!((pooled.ratio.unwrap() - 1.6).abs() < 1e-12 && pooled.interval.is_ok());
        let loose = StripEstimate {
            beside: Some(0.5),
            ..bare
        };
        assert_eq!(
            pool(&[strip(100.0, 0.8, 0.5, 0.3), loose])
                .unwrap()
                .interval,
            Err(NoInterval::OfStrip { strip: 2 })
        );
        assert_eq!(
            pool(&[bare]).unwrap().interval,
            Err(NoInterval::NothingBeside)
        );
    }

    #[test]
    fn hand_readings_give_a_ratio() {
        let one = readings(&[(0.665, 0.50)]).unwrap();
        assert!((one.ratio - 1.33).abs() < 1e-12 && one.interval.is_err());
        assert!((one.reference_on(0.45) - 0.5985).abs() < 1e-12);
        let several = readings(&[
            (0.66, 0.50),
            (0.70, 0.50),
            (0.64, 0.47),
            (0.68, 0.52),
            (0.67, 0.49),
        ])
        .unwrap();
        let interval = several.interval.unwrap();
        assert!(interval.low < several.ratio && several.ratio < interval.high);
        assert_eq!(
            readings(&[(0.66, 0.5), (0.66, 0.0)]),
            Err(ReferenceError::Reading {
                pair: 2,
                strip: 0.66,
                beside: 0.0
            })
        );
    }
}
