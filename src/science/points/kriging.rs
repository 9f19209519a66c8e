//! Ordinary kriging of the mean of a piece of ground from the readings near it.

use super::{Neighbours, Sample, Variogram};
use ndarray::Array2;

/// Least nugget as a share of the whole variance: two readings at one place may differ, and the system must have one solution.
const MINIMUM_NUGGET: f64 = 1e-6;

/// A mean of ground, estimated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kriged {
    /// The estimate.
    pub value: f64,
    /// Its kriging standard error. It takes the variogram as known, and a reading's own error (the nugget) as noise that the mean does not have.
    pub standard_error: f64,
}

/// How readings that were left out are met by the others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CrossValidation {
    /// Readings left out, one at a time.
    pub readings: usize,
    /// Mean of estimate − reading.
    pub mean_error: f64,
    /// Root of the mean squared difference.
    pub root_mean_square: f64,
    /// Mean of squared difference / predicted variance; 1 where the standard errors are right.
    pub variance_ratio: f64,
}

/// Estimates the mean over `block` (places that stand for equal parts of a piece of ground; one place is point kriging) from `near`.
///
/// Weights w solve `C w + μ 1 = c`, `1·w = 1`: C the covariance between readings with the nugget on its diagonal, c that between each reading and the
/// mean, both without the nugget elsewhere; variance `c̄ − w·c − μ`, c̄ the mean covariance within the block. `None` without readings, or when the
/// variogram has no variance at all.
///
/// # Source
/// Textbook: Journel and Huijbregts 1978, Mining Geostatistics; Webster and Oliver 2007, Geostatistics for Environmental Scientists (from memory).
/// Checked against the Python package `PyKrige`.
pub fn krige(near: &[Sample], block: &[[f64; 2]], variogram: &Variogram) -> Option<Kriged> {
    let Solved {
        weights,
        to_block,
        multiplier,
    } = solved(near, block, variogram)?;
    let (mut value, mut explained) = (0.0, 0.0);
    // Around the first reading: readings are near to each other, and digits are kept.
    let base = near[0].value;
    for ((weight, sample), to_block) in weights.iter().zip(near).zip(&to_block) {
        value += weight * (sample.value - base);
        explained += weight * to_block;
    }
    let variance = between_blocks(block, block, variogram) - explained - multiplier;
    Some(Kriged {
        value: base + value,
        standard_error: libm::sqrt(variance.max(0.0)),
    })
}

/// Weights of readings in the mean over a block, as in [`krige`]; they add up to 1.
pub fn kriging_weights(
    near: &[Sample],
    block: &[[f64; 2]],
    variogram: &Variogram,
) -> Option<Vec<f64>> {
    solved(near, block, variogram).map(|solved| solved.weights)
}

/// The mean over a block and the readings that it is estimated from: position in a list of all, reading, weight.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimated {
    /// Places that stand for the block.
    pub block: Vec<[f64; 2]>,
    /// Readings.
    pub readings: Vec<(usize, Sample, f64)>,
}

/// Covariance of the kriging errors of two estimates: `C(V, V') − Σ w C(x, V') − Σ w' C(x', V) + Σ Σ w w' C(x, x')`, with the nugget where both
/// rest on the same reading.
///
/// # Source
/// Variance of a linear combination, written out: Journel and Huijbregts 1978, Mining Geostatistics (from memory).
pub fn error_covariance(one: &Estimated, other: &Estimated, variogram: &Variogram) -> f64 {
    let to_block = |from: &Estimated, to: &Estimated| -> f64 {
        from.readings
            .iter()
            .map(|(_, sample, weight)| weight * to_mean(sample, &to.block, variogram))
            .sum()
    };
    let mut between = 0.0;
    for (at, sample, weight) in &one.readings {
        for (other_at, other_sample, other_weight) in &other.readings {
            let nugget = if at == other_at {
                variogram.nugget
            } else {
                0.0
            };
            between += weight
                * other_weight
                * (variogram.covariance(sample.distance(other_sample.x, other_sample.y)) + nugget);
        }
    }
    between_blocks(&one.block, &other.block, variogram)
        - to_block(one, other)
        - to_block(other, one)
        + between
}

/// Mean covariance between two blocks, without the nugget.
fn between_blocks(one: &[[f64; 2]], other: &[[f64; 2]], variogram: &Variogram) -> f64 {
    let sum: f64 = one
        .iter()
        .map(|a| {
            other
                .iter()
                .map(|b| variogram.covariance(libm::hypot(a[0] - b[0], a[1] - b[1])))
                .sum::<f64>()
        })
        .sum();
    sum / (one.len() * other.len()) as f64
}

/// Covariance of a reading and the mean over a block.
fn to_mean(sample: &Sample, block: &[[f64; 2]], variogram: &Variogram) -> f64 {
    block
        .iter()
        .map(|b| variogram.covariance(sample.distance(b[0], b[1])))
        .sum::<f64>()
        / block.len() as f64
}

/// What the kriging system says.
struct Solved {
    weights: Vec<f64>,
    to_block: Vec<f64>,
    multiplier: f64,
}

fn solved(near: &[Sample], block: &[[f64; 2]], variogram: &Variogram) -> Option<Solved> {
    let n = near.len();
    if n == 0 || block.is_empty() || variogram.nugget + variogram.sill <= 0.0 {
        return None;
    }
    let nugget = variogram
        .nugget
        .max(MINIMUM_NUGGET * (variogram.nugget + variogram.sill));
    let mut matrix = Array2::zeros((n, n));
    for i in 0..n {
        for j in 0..=i {
            let covariance = variogram.covariance(near[i].distance(near[j].x, near[j].y));
            matrix[[i, j]] = if i == j {
                covariance + nugget
            } else {
                covariance
            };
        }
    }
    factor(&mut matrix)?;
    let to_block: Vec<f64> = near
        .iter()
        .map(|sample| to_mean(sample, block, variogram))
        .collect();
    let from_block = solve(&matrix, &to_block);
    let from_ones = solve(&matrix, &vec![1.0; n]);
    let multiplier = (from_block.iter().sum::<f64>() - 1.0) / from_ones.iter().sum::<f64>();
    let weights = from_block
        .iter()
        .zip(&from_ones)
        .map(|(block, one)| block - multiplier * one)
        .collect();
    Some(Solved {
        weights,
        to_block,
        multiplier,
    })
}

/// Cholesky's lower factor in place; `None` when the matrix is not positive definite.
fn factor(matrix: &mut Array2<f64>) -> Option<()> {
    for i in 0..matrix.nrows() {
        for j in 0..=i {
            let mut sum = matrix[[i, j]];
            for k in 0..j {
                sum -= matrix[[i, k]] * matrix[[j, k]];
            }
            if i == j {
                if sum.is_nan() || sum <= 0.0 {
                    return None;
                }
                matrix[[i, i]] = libm::sqrt(sum);
            } else {
                matrix[[i, j]] = sum / matrix[[j, j]];
            }
        }
    }
    Some(())
}

/// Solves with a factor of [`factor`].
fn solve(factor: &Array2<f64>, right: &[f64]) -> Vec<f64> {
    let n = right.len();
    let mut x = right.to_vec();
    for i in 0..n {
        for k in 0..i {
            x[i] -= factor[[i, k]] * x[k];
        }
        x[i] /= factor[[i, i]];
    }
    for i in (0..n).rev() {
        for k in i + 1..n {
            x[i] -= factor[[k, i]] * x[k];
        }
        x[i] /= factor[[i, i]];
    }
    x
}

/// Leaves readings out one at a time, every `stride`-th of those that `tree` was made of, and estimates each from the nearest `most` others within `reach` \[m\].
///
/// Readings in a row along a track are met too well by their neighbours: the figures flatter an estimate between tracks. `None` when none can be met.
pub fn leave_one_out(
    samples: &[Sample],
    taken: &[usize],
    tree: &Neighbours,
    variogram: &Variogram,
    most: usize,
    reach: f64,
) -> Option<CrossValidation> {
    let (mut count, mut errors, mut squares, mut ratios) = (0_usize, 0.0, 0.0, 0.0);
    for &at in taken {
        let sample = samples[at];
        let near: Vec<Sample> = tree
            .nearest(sample.x, sample.y, most, reach, Some(at))
            .into_iter()
            .map(|k| samples[k])
            .collect();
        let Some(kriged) = krige(&near, &[[sample.x, sample.y]], variogram) else {
            continue;
        };
        let error = kriged.value - sample.value;
        // A reading has the nugget, the estimated mean has not.
        let variance = kriged.standard_error * kriged.standard_error + variogram.nugget;
        if variance > 0.0 {
            count += 1;
            errors += error;
            squares += error * error;
            ratios += error * error / variance;
        }
    }
    let n = count as f64;
    (count > 0).then(|| CrossValidation {
        readings: count,
        mean_error: errors / n,
        root_mean_square: libm::sqrt(squares / n),
        variance_ratio: ratios / n,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::science::points::Model;

    const VARIOGRAM: Variogram = Variogram {
        model: Model::Spherical,
        nugget: 0.0,
        sill: 0.004,
        range: 50.0,
    };

    fn at(x: f64, y: f64, value: f64) -> Sample {
        Sample { x, y, value }
    }

    #[test]
    fn without_nugget_a_reading_is_met_exactly() {
        let near = [at(0.0, 0.0, 0.6), at(20.0, 0.0, 0.7), at(0.0, 30.0, 0.5)];
        let kriged = krige(&near, &[[20.0, 0.0]], &VARIOGRAM).unwrap();
        // The least nugget, a millionth of the sill, is what is left: 0.1 % of its standard deviation.
        assert!(
            (kriged.value - 0.7).abs() < 1e-5 && kriged.standard_error < 1e-4,
            "{kriged:?}"
        );
    }

    #[test]
    fn far_from_all_it_is_the_mean_with_the_whole_variance() {
        let near = [at(0.0, 0.0, 0.6), at(1000.0, 0.0, 0.7)];
        let kriged = krige(&near, &[[500.0, 500.0]], &VARIOGRAM).unwrap();
        assert!((kriged.value - 0.65).abs() < 1e-12);
        // Variance of a value less the mean of two independent ones: sill · (1 + 1/2).
        assert!((kriged.standard_error - libm::sqrt(0.004 * 1.5)).abs() < 1e-6);
        // Pure noise tells its mean: variance nugget / 2.
        let noise = Variogram {
            nugget: 0.004,
            sill: 0.0,
            ..VARIOGRAM
        };
        let kriged = krige(&near, &[[0.0, 0.0]], &noise).unwrap();
        assert!(
            (kriged.value - 0.65).abs() < 1e-12
                && (kriged.standard_error - libm::sqrt(0.002)).abs() < 1e-9
        );
    }

    #[test]
    fn a_block_is_the_mean_of_its_places() {
        let near = [
            at(0.0, 0.0, 0.6),
            at(20.0, 0.0, 0.7),
            at(0.0, 30.0, 0.5),
            at(25.0, 25.0, 0.66),
        ];
        let block = [[5.0, 5.0], [15.0, 5.0], [5.0, 15.0], [15.0, 15.0]];
        let mean = block
            .iter()
            .map(|place| krige(&near, &[*place], &VARIOGRAM).unwrap().value)
            .sum::<f64>()
            / 4.0;
        let kriged = krige(&near, &block, &VARIOGRAM).unwrap();
        assert!((kriged.value - mean).abs() < 1e-12);
        let single = krige(&near, &[[10.0, 10.0]], &VARIOGRAM).unwrap();
        assert!(kriged.standard_error < single.standard_error);
    }

    #[test]
    fn two_readings_at_one_place_are_no_fault() {
        let near = [at(0.0, 0.0, 0.6), at(0.0, 0.0, 0.62), at(20.0, 0.0, 0.7)];
        let kriged = krige(&near, &[[0.0, 0.0]], &VARIOGRAM).unwrap();
        assert!((kriged.value - 0.61).abs() < 1e-3);
        assert_eq!(krige(&[], &[[0.0, 0.0]], &VARIOGRAM), None);
        assert_eq!(
            krige(
                &near,
                &[[0.0, 0.0]],
                &Variogram {
                    nugget: 0.0,
                    sill: 0.0,
                    ..VARIOGRAM
                }
            ),
            None
        );
    }

    #[test]
    fn errors_of_two_estimates_vary_together_as_far_as_readings_allow() {
        let variogram = Variogram {
            nugget: 0.001,
            ..VARIOGRAM
        };
        let readings = [
            at(0.0, 0.0, 0.6),
            at(20.0, 0.0, 0.7),
            at(0.0, 30.0, 0.5),
            at(25.0, 25.0, 0.66),
        ];
        let estimated = |block: Vec<[f64; 2]>| {
            let weights = kriging_weights(&readings, &block, &variogram).unwrap();
            assert!((weights.iter().sum::<f64>() - 1.0).abs() < 1e-12);
            Estimated {
                block,
                readings: readings
                    .iter()
                    .zip(weights)
                    .enumerate()
                    .map(|(at, (sample, weight))| (at, *sample, weight))
                    .collect(),
            }
        };
        let square = |x: f64, y: f64| vec![[x, y], [x + 4.0, y], [x, y + 4.0], [x + 4.0, y + 4.0]];
        // With itself it is the kriging variance.
        let one = estimated(square(8.0, 8.0));
        let kriged = krige(&readings, &one.block, &variogram).unwrap();
        assert!(
            (error_covariance(&one, &one, &variogram)
                - kriged.standard_error * kriged.standard_error)
                .abs()
                < 1e-12
        );
        // The mean of two blocks is a block: variance (V₁₁ + 2 V₁₂ + V₂₂) / 4.
        let two = estimated(square(14.0, 8.0));
        let both = [one.block.clone(), two.block.clone()].concat();
        let mean = krige(&readings, &both, &variogram).unwrap();
        let of = |a: &Estimated, b: &Estimated| error_covariance(a, b, &variogram);
        let expected = (of(&one, &one) + 2.0 * of(&one, &two) + of(&two, &two)) / 4.0;
        assert!(
            (mean.standard_error * mean.standard_error - expected).abs() < 1e-12,
            "{mean:?} {expected}"
        );
        assert!((of(&one, &two) - of(&two, &one)).abs() < 1e-15);
        // Far beyond the range only the readings in common are left: both are their mean there.
        let far = estimated(square(1000.0, 0.0));
        assert!(of(&far, &one).abs() < of(&one, &two));
    }
}
