//! Placebo strips: what a strip without nitrogen would have shown elsewhere in the same field.
//!
//! The strip's shape with the ground beside it is laid over the rest of the canopy and measured as if it were a strip. Its true ratio there is 1, so what its
//! ratios vary by is the field's own error of place, whatever makes it: soil, sowing, water, the tramlines. No model of the ground is needed.

use super::answer::PlaceboAnswer;
use super::interval::student_quantile;
use super::random_effects::random_effects;

/// Places needed: fewer say too little of how much ratios vary.
pub const MINIMUM_PLACES: usize = 20;
/// Strip and swaths together take about three times the strip's area, so a field holds this many that do not overlap.
const FOOTPRINTS: f64 = 3.0;
/// Least number of independent places that is reckoned with.
const MINIMUM_EFFECTIVE: f64 = 4.0;
/// Least degrees of freedom of the interval.
const MINIMUM_FREEDOM: f64 = 3.0;

/// One strip and its placebo places.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlaceboStrip {
    /// The strip's own ratio to the ground beside it.
    pub ratio: f64,
    /// Area of strip ∩ field. \[m²\]
    pub area_m2: f64,
    /// The same ratio at each placebo place.
    pub ratios: Vec<f64>,
    /// Mean index of a strip at each placebo place.
    pub levels: Vec<f64>,
}

/// What placebo strips say of the reference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placebo {
    /// Places of all strips together.
    pub places: usize,
    /// Strips that have places enough.
    pub strips: usize,
    /// `s_p`: standard deviation of a placebo ratio, as a share of their mean.
    pub spread: f64,
    /// Standard deviation of a strip's mean index over the places, as a share of their mean.
    pub level_spread: f64,
    /// `n_eff`: places that do not overlap.
    pub effective: f64,
    /// Whether the strips agree, so that together they are surer than one.
    pub agree: bool,
    /// Interval (95 %) and probability.
    pub answer: PlaceboAnswer,
}

/// Standard deviation (n − 1) over the mean. `None` of fewer than two or without a mean above 0.
pub fn spread_of(values: &[f64]) -> Option<f64> {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    if values.len() < 2 || mean.is_nan() || mean <= 0.0 {
        return None;
    }
    let squares: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
    Some(libm::sqrt(squares / (n - 1.0)) / mean)
}

/// Half of the 95 % interval of a response index, as a share of it: `t · s_p · √(1 + 1/n_eff) / √strips`, t of `max(3, n_eff − 1)` degrees of freedom.
///
/// It is the interval of one more draw, not that of a mean: the strip's place is one place of the field. `strips` is their number where they agree, else 1.
pub fn half_width(spread: f64, effective: f64, strips: usize) -> f64 {
    let t = student_quantile(f64::max(MINIMUM_FREEDOM, effective - 1.0));
    t * spread * libm::sqrt(1.0 + 1.0 / effective) / libm::sqrt(strips.max(1) as f64)
}

/// The interval of the response index at the strip's place, and the probability that ground alone gives such a ratio.
///
/// `s_p` is the standard deviation of the placebo ratios as a share of their mean (several strips: each by its own places, variances averaged), `n_eff =
/// max(4, field / (3 · strip))`, and the interval `RI · (1 ± t · s_p · √(1 + 1/n_eff))` with t of `max(3, n_eff − 1)` degrees, divided by √strips where they
/// agree. Strips agree when the intervals that each has alone all overlap and Cochran's Q, with the variance `(s_p · ratio)² (1 + 1/n_eff)` of each, has a
/// probability of 0.05 or more; where they do not, the interval reaches at least from the least to the greatest of their ratios. The probability is `(1 + placebo ratios ≥ RI) / (1 + placebo ratios)`; several strips
/// that agree are as one whose ratios lie √strips times nearer to 1.
///
/// `None` when no strip has at least 20 places. Strips with fewer count neither for the spread nor for the probability.
///
/// # Source
/// Ours: percentiles of the placebo ratios themselves are no interval, since overlapping places are alike (docs/concepts/placebo-strips.md). Prediction interval
/// of a normal variable: textbook.
pub fn placebo_of(strips: &[PlaceboStrip], ratio: f64, field_m2: f64) -> Option<Placebo> {
    let usable: Vec<(&PlaceboStrip, f64, f64)> = strips
        .iter()
        .filter(|strip| strip.ratios.len() >= MINIMUM_PLACES)
        .filter_map(|strip| Some((strip, spread_of(&strip.ratios)?, spread_of(&strip.levels)?)))
        .collect();
    let n = usable.len() as f64;
    if usable.is_empty() || ratio.is_nan() || ratio <= 0.0 {
        return None;
    }
    let averaged = |of: &dyn Fn(&(&PlaceboStrip, f64, f64)) -> f64| {
        libm::sqrt(usable.iter().map(|one| of(one) * of(one)).sum::<f64>() / n)
    };
    let (spread, level_spread) = (averaged(&|one| one.1), averaged(&|one| one.2));
    let area = usable.iter().map(|(strip, ..)| strip.area_m2).sum::<f64>() / n;
    let effective = f64::max(MINIMUM_EFFECTIVE, field_m2 / (FOOTPRINTS * area));
    let alone = half_width(spread, effective, 1);
    let (lowest, highest) = strips
        .iter()
        .filter(|strip| strip.ratio > 0.0)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), strip| {
            (low.min(strip.ratio), high.max(strip.ratio))
        });
    let error = spread * libm::sqrt(1.0 + 1.0 / effective);
    let own: Vec<(f64, f64)> = strips
        .iter()
        .filter(|strip| strip.ratio > 0.0)
        .map(|strip| (strip.ratio, strip.ratio * error * strip.ratio * error))
        .collect();
    let agree = lowest * (1.0 + alone) >= highest * (1.0 - alone)
        && !random_effects(&own).is_some_and(|pooled| pooled.disagree());
    let counted = if agree { strips.len() } else { 1 };
    let half = half_width(spread, effective, counted);
    let nearer = libm::sqrt(counted.max(1) as f64);
    let all = usable.iter().flat_map(|(strip, ..)| &strip.ratios);
    let (mut places, mut as_high) = (0_usize, 0_usize);
    for placebo in all {
        places += 1;
        as_high += usize::from(1.0 + (placebo - 1.0) / nearer >= ratio);
    }
    let mut interval = (ratio * (1.0 - half), ratio * (1.0 + half));
    if !agree {
        interval = (interval.0.min(lowest), interval.1.max(highest));
    }
    Some(Placebo {
        places,
        strips: usable.len(),
        spread,
        level_spread,
        effective,
        agree,
        answer: PlaceboAnswer {
            interval,
            probability: (1.0 + as_high as f64) / (1.0 + places as f64),
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 40 places, ratios 1 ± 0.02 in turn.
    fn strip(ratio: f64) -> PlaceboStrip {
        let around = |level: f64, by: f64| {
            (0..40)
                .map(|k| if k % 2 == 0 { level - by } else { level + by })
                .collect()
        };
        PlaceboStrip {
            ratio,
            area_m2: 10_000.0,
            ratios: around(1.0, 0.02),
            levels: around(0.5, 0.015),
        }
    }

    #[test]
    fn the_interval_by_hand() {
        // 60 ha over 3 · 1 ha: 20 places, t of 19 degrees 2.0930 (table), SD 0.02 · √(40/39) = 0.020255, √(1 + 1/20) = 1.024695.
        let placebo = placebo_of(&[strip(1.10)], 1.10, 600_000.0).unwrap();
        let half = 2.0930 * 0.020_255 * 1.024_695;
        assert!((placebo.answer.interval.0 - 1.10 * (1.0 - half)).abs() < 2e-5);
        assert!((placebo.answer.interval.1 - 1.10 * (1.0 + half)).abs() < 2e-5);
        assert_eq!(placebo.answer.probability, 1.0 / 41.0);
        assert!((placebo.level_spread - 0.03 * libm::sqrt(40.0 / 39.0)).abs() < 1e-12);
        // A ratio that half of the places reach.
        let placebo = placebo_of(&[strip(1.02)], 1.02, 600_000.0).unwrap();
        assert_eq!(placebo.answer.probability, 21.0 / 41.0);
    }

    #[test]
    fn a_small_field_has_four_places_and_three_degrees() {
        let placebo = placebo_of(&[strip(1.10)], 1.10, 20_000.0).unwrap();
        assert_eq!(placebo.effective, 4.0);
        // t of 3 degrees 3.1824 (table), √1.25 = 1.118034.
        let half = 3.1824 * 0.020_255 * 1.118_034;
        assert!((placebo.answer.interval.0 - 1.10 * (1.0 - half)).abs() < 2e-5);
    }

    #[test]
    fn strips_that_agree_are_surer_and_others_are_not() {
        let one = placebo_of(&[strip(1.10)], 1.10, 600_000.0).unwrap();
        let two = placebo_of(&[strip(1.09), strip(1.11)], 1.10, 600_000.0).unwrap();
        let wide = |placebo: &Placebo| placebo.answer.interval.1 - placebo.answer.interval.0;
        assert!((wide(&one) / wide(&two) - libm::sqrt(2.0)).abs() < 1e-12);
        assert!(two.agree && two.places == 80);
        let apart = placebo_of(&[strip(1.00), strip(1.20)], 1.10, 600_000.0).unwrap();
        assert!(!apart.agree && apart.answer.interval == (1.00, 1.20));
        // Further apart than two strips of this field ever are, though the wide intervals of each overlap.
        let odd = placebo_of(&[strip(1.06), strip(1.14)], 1.10, 600_000.0).unwrap();
        assert!(!odd.agree && (wide(&odd) - wide(&one)).abs() < 1e-12);
    }

    #[test]
    fn too_few_places_say_nothing() {
        let mut few = strip(1.1);
        few.ratios.truncate(19);
        assert_eq!(placebo_of(&[few], 1.1, 600_000.0), None);
        assert_eq!(placebo_of(&[], 1.1, 600_000.0), None);
        assert_eq!(spread_of(&[1.0]), None);
    }
}
