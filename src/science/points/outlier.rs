//! Readings that are no readings of the canopy beside them: a stone, a hand before the sensor, a marker post.

use super::{Neighbours, Sample};
use crate::science::reference::median;

/// Neighbours that a reading is compared with.
const NEIGHBOURS: usize = 12;
/// With fewer neighbours of its own kind a reading is never dropped.
pub const MINIMUM_NEIGHBOURS: usize = 5;
/// Standard deviations in a median absolute deviation of normal numbers, textbook value.
const SD_PER_MAD: f64 = 1.4826;
/// Readings within this share of the median are never dropped.
const NEVER_DROPPED: f64 = 0.05;
/// Largest share of all readings that may be dropped.
const MAXIMUM_DROPPED: f64 = 0.25;

/// What the rule found.
#[derive(Clone, Debug, PartialEq)]
pub struct Outliers {
    /// By reading: whether it is dropped.
    pub dropped: Vec<bool>,
    /// How many lie so far off, when that were more than a quarter of all and none was dropped.
    pub too_many: Option<usize>,
}

/// Finds readings unlike their neighbours: further from the median of the 12 nearest readings of the same class than
/// `max(deviations · 1.4826 · MAD, 0.05 · |median|) + 1e-12`; 0 `deviations` keeps every one.
///
/// Classes are pieces of ground that are known to differ (each strip, and the rest): a reading in a narrow strip is never judged by the crop beside
/// it. The same rule holds on both sides of every comparison and in every cell, and it looks at places, not at rates.
///
/// # Source
/// Median and scaled median absolute deviation of a neighbourhood: the identifier that Davies and Gather 1993, JASA 88:782-792, name after Hampel
/// (from memory). 12 neighbours, the 5 % floor and the quarter are our own.
pub fn outliers(samples: &[Sample], classes: &[usize], deviations: f64) -> Outliers {
    let mut dropped = vec![false; samples.len()];
    if deviations <= 0.0 {
        return Outliers {
            dropped,
            too_many: None,
        };
    }
    let most = classes.iter().copied().max().unwrap_or(0);
    for class in 0..=most {
        let tree = Neighbours::of(samples, |at| classes.get(at) == Some(&class));
        if tree.len() <= MINIMUM_NEIGHBOURS {
            continue;
        }
        for (at, sample) in samples
            .iter()
            .enumerate()
            .filter(|(at, _)| classes.get(*at) == Some(&class))
        {
            let near: Vec<f64> = tree
                .nearest(sample.x, sample.y, NEIGHBOURS, f64::INFINITY, Some(at))
                .into_iter()
                .map(|k| samples[k].value)
                .collect();
            let Some(middle) = median(&near).filter(|_| near.len() >= MINIMUM_NEIGHBOURS) else {
                continue;
            };
            let off: Vec<f64> = near.iter().map(|value| (value - middle).abs()).collect();
            let Some(mad) = median(&off) else { continue };
            let limit = (deviations * SD_PER_MAD * mad).max(NEVER_DROPPED * middle.abs()) + 1e-12;
            dropped[at] = (sample.value - middle).abs() > limit;
        }
    }
    let count = dropped.iter().filter(|dropped| **dropped).count();
    if count as f64 > MAXIMUM_DROPPED * samples.len() as f64 {
        return Outliers {
            dropped: vec![false; samples.len()],
            too_many: Some(count),
        };
    }
    Outliers {
        dropped,
        too_many: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(values: &[f64]) -> Vec<Sample> {
        values
            .iter()
            .enumerate()
            .map(|(k, value)| Sample {
                x: k as f64,
                y: 0.0,
                value: *value,
            })
            .collect()
    }

    #[test]
    fn a_post_is_dropped_and_a_strip_is_not() {
        let mut values: Vec<f64> = (0..40)
            .map(|k| 0.60 + 0.01 * libm::sin(f64::from(k)))
            .collect();
        values[7] = 0.05;
        values[20] = 0.74;
        values[21] = 0.75;
        let samples = line(&values);
        let mut classes = vec![0; 40];
        (classes[20], classes[21]) = (1, 1);
        let found = outliers(&samples, &classes, 5.0);
        let gone: Vec<usize> = (0..40).filter(|k| found.dropped[*k]).collect();
        assert_eq!(gone, [7]);
        // Told nothing of the strip, the rule takes its two readings for faults: that is what classes are for.
        assert!(outliers(&samples, &[0; 40], 5.0).dropped[20]);
        assert_eq!(outliers(&samples, &classes, 0.0).dropped, vec![false; 40]);
    }

    #[test]
    fn a_real_step_in_the_crop_stays() {
        let values: Vec<f64> = (0..60)
            .map(|k| if k < 30 { 0.4 } else { 0.7 } + 0.01 * libm::sin(3.0 * f64::from(k)))
            .collect();
        let found = outliers(&line(&values), &[0; 60], 5.0);
        assert!(found.dropped.iter().all(|d| !d));
    }

    #[test]
    fn more_than_a_quarter_is_nobodys_outlier() {
        let values: Vec<f64> = (0..40)
            .map(|k| if k % 3 == 0 { 0.2 } else { 0.6 })
            .collect();
        let found = outliers(&line(&values), &[0; 40], 3.0);
        assert!(
            found.too_many.is_some() && found.dropped.iter().all(|d| !d),
            "{found:?}"
        );
    }
}
