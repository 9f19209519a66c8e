//! Whether a strip is one stand: pieces of it against pieces of the ground beside it.

use super::sums::{median, percentile};

/// Least number of pieces for a verdict.
const MINIMUM_PIECES: usize = 5;
/// Variance between pieces of the strip over that beside it, from which the strip is uneven.
const VARIANCES: f64 = 4.0;
/// Largest gap between sorted pieces in median absolute deviations, from which they are of two kinds.
const GAP: f64 = 4.0;
/// Least share of the pieces on either side of that gap.
const SIDE: f64 = 0.2;
/// Standard deviation between pieces, and gap, that never matter, as shares of the mean: rates move by less than a step.
const NEVER: f64 = 0.02;

/// A strip that is not one stand.
#[derive(Clone, Debug, PartialEq)]
pub struct Uneven {
    /// Variance between pieces of the strip over that beside it.
    pub variances: f64,
    /// The pieces that are unlike the rest, from 0: the smaller kind of two, else the one furthest off.
    pub unlike: Vec<usize>,
    /// Their mean index.
    pub index_unlike: f64,
    /// Mean index of the others.
    pub index_others: f64,
}

/// Looks at pieces along a strip and beside it, `None` where a piece has no data or is left out.
///
/// Uneven is a strip whose pieces vary by more than four times the variance beside it, or are of two kinds: the largest gap between sorted pieces, with at
/// least a fifth of them on either side, is above 4 median absolute deviations, and the same pieces beside the strip differ by less than half as much
/// (else it is the ground that changes). Deviations count from the median of their own side: from the median of all, two equal halves never show. `noise`
/// is the variance that pixels alone give a piece of the strip; it is taken off first. Below 2 % of the index nothing is uneven.
///
/// # Source
/// Ours; shown by simulation on made strips (`tests/it/scenes.rs`).
pub fn uneven(strip: &[Option<f64>], beside: &[Option<f64>], noise: f64) -> Option<Uneven> {
    let pieces: Vec<(usize, f64)> = numbered(strip);
    if pieces.len() < MINIMUM_PIECES {
        return None;
    }
    let values: Vec<f64> = pieces.iter().map(|piece| piece.1).collect();
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let never = NEVER * mean.abs();
    let both: Vec<(f64, f64)> = strip
        .iter()
        .zip(beside)
        .filter_map(|(own, other)| own.zip(*other))
        .collect();
    let (own, other) = (
        variance(both.iter().map(|pair| pair.0)),
        variance(both.iter().map(|pair| pair.1)),
    );
    let own = (own - noise).max(0.0);
    let variances = if other > 0.0 {
        own / other
    } else {
        f64::INFINITY
    };
    let unlike = two_kinds(&pieces, beside, never).or_else(|| {
        let varies = both.len() >= MINIMUM_PIECES && own > VARIANCES * other && own > never * never;
        let middle = median(&values)?;
        let off = |piece: &&(usize, f64)| (piece.1 - middle).abs();
        let furthest = pieces.iter().max_by(|a, b| off(a).total_cmp(&off(b)))?;
        varies.then(|| vec![furthest.0])
    })?;
    let of = |requirement: bool| {
        let some: Vec<f64> = pieces
            .iter()
            .filter(|piece| unlike.contains(&piece.0) == requirement)
            .map(|piece| piece.1)
            .collect();
        some.iter().sum::<f64>() / some.len().max(1) as f64
    };
    Some(Uneven {
        variances,
        index_unlike: of(true),
        index_others: of(false),
        unlike,
    })
}

fn numbered(values: &[Option<f64>]) -> Vec<(usize, f64)> {
    values
        .iter()
        .enumerate()
        .filter_map(|(place, value)| Some((place, (*value)?)))
        .collect()
}

/// The smaller of two kinds of pieces, in order along the strip.
fn two_kinds(pieces: &[(usize, f64)], beside: &[Option<f64>], never: f64) -> Option<Vec<usize>> {
    let mut sorted = pieces.to_vec();
    sorted.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
    let n = sorted.len();
    let minimum = libm::ceil(SIDE * n as f64 - 1e-9).max(1.0) as usize;
    let cut = (minimum..=n - minimum).max_by(|a, b| {
        let gap = |cut: usize| sorted[cut].1 - sorted[cut - 1].1;
        gap(*a).total_cmp(&gap(*b))
    })?;
    let gap = sorted[cut].1 - sorted[cut - 1].1;
    let (low, high) = sorted.split_at(cut);
    let mut off = deviations(low)?;
    off.extend(deviations(high)?);
    if gap <= GAP * median(&off)? || gap <= never {
        return None;
    }
    let mean_beside = |side: &[(usize, f64)]| {
        let values: Vec<f64> = side
            .iter()
            .filter_map(|piece| beside.get(piece.0).copied().flatten())
            .collect();
        (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
    };
    let differ = middle_of(high)? - middle_of(low)?;
    if let Some((low, high)) = mean_beside(low).zip(mean_beside(high))
        && high - low >= 0.5 * differ
    {
        return None;
    }
    let smaller = if low.len() <= high.len() { low } else { high };
    let mut places: Vec<usize> = smaller.iter().map(|piece| piece.0).collect();
    places.sort_unstable();
    Some(places)
}

fn middle_of(side: &[(usize, f64)]) -> Option<f64> {
    let values: Vec<f64> = side.iter().map(|piece| piece.1).collect();
    percentile(&values, 50.0)
}

fn deviations(side: &[(usize, f64)]) -> Option<Vec<f64>> {
    let middle = middle_of(side)?;
    Some(side.iter().map(|piece| (piece.1 - middle).abs()).collect())
}

/// Sample variance (n − 1); 0 of fewer than two.
fn variance(values: impl Iterator<Item = f64> + Clone) -> f64 {
    let n = values.clone().count();
    if n < 2 {
        return 0.0;
    }
    let mean = values.clone().sum::<f64>() / n as f64;
    values
        .map(|value| (value - mean) * (value - mean))
        .sum::<f64>()
        / (n as f64 - 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Unevenness that repeats nowhere.
    fn waves(size: f64, shift: f64) -> Vec<f64> {
        (0..20)
            .map(|k| size * libm::sin(2.3 * f64::from(k) + shift))
            .collect()
    }

    fn pieces(level: f64, waves: &[f64], extra: impl Fn(usize) -> f64) -> Vec<Option<f64>> {
        waves
            .iter()
            .enumerate()
            .map(|(k, wave)| Some(level + wave + extra(k)))
            .collect()
    }

    #[test]
    fn an_even_strip_is_even() {
        let (a, b) = (waves(0.02, 0.0), waves(0.02, 1.0));
        assert_eq!(
            uneven(&pieces(0.75, &a, |_| 0.0), &pieces(0.62, &b, |_| 0.0), 0.0),
            None
        );
        // A change that strip and ground share is the ground's.
        let step = |k: usize| if k < 8 { 0.10 } else { 0.0 };
        assert_eq!(
            uneven(&pieces(0.75, &a, step), &pieces(0.62, &b, step), 0.0),
            None
        );
        // Pieces all alike, and a gap of nothing.
        assert_eq!(uneven(&[Some(0.7); 20], &[Some(0.6); 20], 0.0), None);
        assert_eq!(uneven(&[Some(0.7), Some(0.2)], &[Some(0.6); 2], 0.0), None);
    }

    #[test]
    fn two_kinds_are_found_with_their_place() {
        let (a, b) = (waves(0.01, 0.0), waves(0.02, 1.0));
        let weeds = |k: usize| if (6..14).contains(&k) { 0.09 } else { 0.0 };
        let found = uneven(&pieces(0.72, &a, weeds), &pieces(0.62, &b, |_| 0.0), 0.0).unwrap();
        assert_eq!(found.unlike, (6..14).collect::<Vec<_>>());
        assert!((found.index_unlike - found.index_others - 0.09).abs() < 0.01);
        // Two halves: measured from the median of all, the gap would be two deviations and never show.
        let half = |k: usize| if k < 10 { -0.35 } else { 0.0 };
        let found = uneven(&pieces(0.75, &a, half), &pieces(0.62, &b, |_| 0.0), 0.0).unwrap();
        assert_eq!(found.unlike.len(), 10);
        assert!(found.variances > 100.0);
    }

    #[test]
    fn a_strip_that_varies_more_than_its_surroundings() {
        let slope = |k: usize| 0.012 * k as f64;
        let b = waves(0.02, 1.0);
        let strip = pieces(0.60, &waves(0.01, 0.0), slope);
        let found = uneven(&strip, &pieces(0.62, &b, |_| 0.0), 0.0).unwrap();
        assert!(found.variances > 4.0 && found.unlike.len() == 1);
        // What pixels alone do is no unevenness.
        assert_eq!(uneven(&strip, &pieces(0.62, &b, |_| 0.0), 0.01), None);
    }
}
