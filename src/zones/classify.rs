//! Classes of a canopy index: natural breaks, equal areas, or breaks as given.
//!
//! Every interval is open below and closed above; the lowest class reaches down to −∞ and the highest up to +∞, so that each finite value has exactly
//! one class.

use thiserror::Error;

/// Why values could not be cut into classes.
#[derive(Clone, Debug, Error, PartialEq)]
#[non_exhaustive]
pub enum ClassifyError {
    /// Fewer than one class was asked for.
    #[error("no classes asked for; at least 1 is needed")]
    NoClasses,
    /// More classes than different values.
    #[error(
        "{classes} classes asked for, but there are only {distinct} different values; ask for {distinct} or fewer"
    )]
    TooFewValues {
        /// Classes asked for.
        classes: usize,
        /// Different values at hand.
        distinct: usize,
    },
    /// A value is not a finite number.
    #[error(
        "value {value} at position {position} is not a finite number; leave cells without an index out"
    )]
    NotFinite {
        /// Position in the values, from 0.
        position: usize,
        /// The value.
        value: f64,
    },
    /// An area is not a positive number.
    #[error("area {area} m2 at position {position} is not a positive number")]
    BadArea {
        /// Position in the areas, from 0.
        position: usize,
        /// The area. \[m²\]
        area: f64,
    },
    /// Values and areas differ in number.
    #[error("{values} values, but {areas} areas; each value needs its area")]
    Unpaired {
        /// Number of values.
        values: usize,
        /// Number of areas.
        areas: usize,
    },
    /// Breaks do not rise.
    #[error("break {second} follows {first}; breaks must be finite and rise")]
    BreaksNotRising {
        /// A break.
        first: f64,
        /// The one after it.
        second: f64,
    },
}

/// Classes by their inner bounds.
#[derive(Clone, Debug, PartialEq)]
pub struct Classes {
    inner: Vec<f64>,
    maximum: f64,
}

impl Classes {
    /// How many classes there are, at least 1.
    pub const fn count(&self) -> usize {
        self.inner.len() + 1
    }
    /// Class of a value, from 0 at the lowest.
    ///
    /// A value that equals a bound belongs below it. Not-a-number has no class; do not ask (it lands in the lowest).
    pub fn of(&self, value: f64) -> usize {
        self.inner.partition_point(|&bound| bound < value)
    }
    /// The bounds between classes, rising; one fewer than classes.
    pub fn inner_bounds(&self) -> &[f64] {
        &self.inner
    }
    /// The greatest value of each class as made; the last is the greatest value of all (+∞ where breaks were given).
    pub fn upper_bounds(&self) -> Vec<f64> {
        self.inner
            .iter()
            .copied()
            .chain(std::iter::once(self.maximum))
            .collect()
    }
    /// Classes between breaks as given: `breaks.len() + 1` of them, the last above the last break.
    ///
    /// # Errors
    /// [`ClassifyError::BreaksNotRising`] when a break is not finite or not above the one before it.
    pub fn given(breaks: &[f64]) -> Result<Self, ClassifyError> {
        if let Some(&only) = breaks.iter().find(|b| !b.is_finite()) {
            return Err(ClassifyError::BreaksNotRising {
                first: only,
                second: only,
            });
        }
        if let Some(pair) = breaks.windows(2).find(|pair| pair[1] <= pair[0]) {
            return Err(ClassifyError::BreaksNotRising {
                first: pair[0],
                second: pair[1],
            });
        }
        Ok(Self {
            inner: breaks.to_vec(),
            maximum: f64::INFINITY,
        })
    }
    /// Natural breaks: the `classes` classes with the least sum of squares about their means, each value counted once.
    ///
    /// The optimum is exact (dynamic programme over the sorted values; the best last cut moves one way only, so each layer is filled by halving in
    /// O(n log n)). Equal values stay together. Of equally good partitions, the one with the lowest cuts, from the highest cut down.
    ///
    /// # Errors
    /// See [`ClassifyError`]: no classes, a value that is not finite, fewer different values than classes.
    ///
    /// # Source
    /// Fisher W. D. (1958), On grouping for maximum homogeneity, Journal of the American Statistical Association 53:789-798 (from memory). The halving
    /// rests on the costs' quadrangle inequality.
    pub fn natural(values: &[f64], classes: usize) -> Result<Self, ClassifyError> {
        let groups = Groups::of(values, &vec![1.0; values.len()])?;
        groups.enough_for(classes)?;
        Ok(Self {
            inner: natural_cuts(&groups, classes)
                .into_iter()
                .map(|cut| groups.value[cut - 1])
                .collect(),
            maximum: groups.maximum(),
        })
    }
    /// Classes of equal area: each inner bound is the least value below or at which at least its share of the area lies (within 1e-9 of the total).
    ///
    /// Equal values stay together; where one value alone fills several classes, those in between are left out and there are fewer classes than asked for.
    ///
    /// # Errors
    /// See [`ClassifyError`]: no classes, values and areas not paired, not finite, not positive, fewer different values than classes.
    pub fn quantiles(values: &[f64], areas: &[f64], classes: usize) -> Result<Self, ClassifyError> {
        let groups = Groups::of(values, areas)?;
        groups.enough_for(classes)?;
        let total: f64 = groups.weight.iter().sum();
        let mut inner: Vec<f64> = Vec::with_capacity(classes - 1);
        let (mut below, mut at) = (groups.weight[0], 0);
        for i in 1..classes {
            let want = total * (i as f64 / classes as f64 - 1e-9);
            while below < want && at + 1 < groups.value.len() {
                at += 1;
                below += groups.weight[at];
            }
            if at + 1 < groups.value.len()
                && inner.last().is_none_or(|&last| last < groups.value[at])
            {
                inner.push(groups.value[at]);
            }
        }
        Ok(Self {
            inner,
            maximum: groups.maximum(),
        })
    }
    /// Goodness of variance fit, 1 − (sum of squares within classes) / (sum of squares in all), each value counted once. \[0..1\]
    ///
    /// `None` where the values do not differ. It always rises with the number of classes, so it does not choose that number.
    pub fn goodness(&self, values: &[f64]) -> Option<f64> {
        let within = self.squares_within(values);
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let all: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
        (all > 0.0).then(|| 1.0 - within / all)
    }
    /// Sum of squares about the class means, each value counted once.
    pub fn squares_within(&self, values: &[f64]) -> f64 {
        let mut sum = vec![0.0; self.count()];
        let mut number = vec![0.0; self.count()];
        for &value in values {
            sum[self.of(value)] += value;
            number[self.of(value)] += 1.0;
        }
        values
            .iter()
            .map(|&value| value - sum[self.of(value)] / number[self.of(value)])
            .map(|d| d * d)
            .sum()
    }
    /// How many of the values fall in each class.
    pub fn counts(&self, values: &[f64]) -> Vec<usize> {
        let mut counts = vec![0; self.count()];
        for &value in values {
            counts[self.of(value)] += 1;
        }
        counts
    }
}

/// Different values, rising, with the weight of each.
struct Groups {
    value: Vec<f64>,
    weight: Vec<f64>,
}

impl Groups {
    fn of(values: &[f64], weights: &[f64]) -> Result<Self, ClassifyError> {
        if values.len() != weights.len() {
            return Err(ClassifyError::Unpaired {
                values: values.len(),
                areas: weights.len(),
            });
        }
        if let Some((position, &value)) = values.iter().enumerate().find(|(_, v)| !v.is_finite()) {
            return Err(ClassifyError::NotFinite { position, value });
        }
        if let Some((position, &area)) = weights
            .iter()
            .enumerate()
            .find(|(_, w)| !(w.is_finite() && **w > 0.0))
        {
            return Err(ClassifyError::BadArea { position, area });
        }
        let mut order: Vec<usize> = (0..values.len()).collect();
        // Stable, so that equal values add up their weights in the order given.
        order.sort_by(|&a, &b| values[a].total_cmp(&values[b]));
        let mut groups = Self {
            value: Vec::new(),
            weight: Vec::new(),
        };
        for i in order {
            match (groups.value.last(), groups.weight.last_mut()) {
                (Some(&last), Some(weight)) if last == values[i] => *weight += weights[i],
                _ => {
                    groups.value.push(values[i]);
                    groups.weight.push(weights[i]);
                }
            }
        }
        Ok(groups)
    }
    const fn enough_for(&self, classes: usize) -> Result<(), ClassifyError> {
        if classes == 0 {
            return Err(ClassifyError::NoClasses);
        }
        if classes > self.value.len() {
            return Err(ClassifyError::TooFewValues {
                classes,
                distinct: self.value.len(),
            });
        }
        Ok(())
    }
    fn maximum(&self) -> f64 {
        self.value.last().copied().unwrap_or(f64::INFINITY)
    }
}

/// Running sums from which the cost of any run of values follows at once.
struct Sums {
    weight: Vec<f64>,
    first: Vec<f64>,
    second: Vec<f64>,
}

impl Sums {
    fn of(groups: &Groups) -> Self {
        // About the mean, so that the difference of squares loses no digits.
        let total: f64 = groups.weight.iter().sum();
        let mean = groups
            .value
            .iter()
            .zip(&groups.weight)
            .map(|(v, w)| v * w)
            .sum::<f64>()
            / total;
        let mut sums = Self {
            weight: vec![0.0],
            first: vec![0.0],
            second: vec![0.0],
        };
        let (mut weight, mut first, mut second) = (0.0, 0.0, 0.0);
        for (value, w) in groups.value.iter().zip(&groups.weight) {
            let d = value - mean;
            weight += w;
            first += w * d;
            second += w * d * d;
            sums.weight.push(weight);
            sums.first.push(first);
            sums.second.push(second);
        }
        sums
    }
    /// Sum of squares of values `from..to` about their mean; `from < to`.
    fn cost(&self, from: usize, to: usize) -> f64 {
        let first = self.first[to] - self.first[from];
        (self.second[to]
            - self.second[from]
            - first * first / (self.weight[to] - self.weight[from]))
            .max(0.0)
    }
}

/// Where each class but the first begins.
fn natural_cuts(groups: &Groups, classes: usize) -> Vec<usize> {
    let n = groups.value.len();
    let sums = Sums::of(groups);
    // best[j]: least cost of the first j values in the layer's number of classes.
    let mut best: Vec<f64> = (0..=n)
        .map(|j| if j == 0 { 0.0 } else { sums.cost(0, j) })
        .collect();
    let mut cuts: Vec<Vec<u32>> = Vec::with_capacity(classes.saturating_sub(1));
    for layer in 2..=classes {
        let mut next = vec![f64::INFINITY; n + 1];
        let mut cut = vec![0_u32; n + 1];
        // Spans of j still to fill, with the span in which their cuts lie.
        let mut open = vec![(layer, n, layer - 1, n - 1)];
        while let Some((low, high, cut_low, cut_high)) = open.pop() {
            if low > high {
                continue;
            }
            let j = low.midpoint(high);
            let mut at = cut_low;
            for (i, before) in best
                .iter()
                .enumerate()
                .take(cut_high.min(j - 1) + 1)
                .skip(cut_low)
            {
                let cost = before + sums.cost(i, j);
                if cost < next[j] {
                    next[j] = cost;
                    at = i;
                }
            }
            cut[j] = at as u32;
            open.push((low, j - 1, cut_low, at));
            open.push((j + 1, high, at, cut_high));
        }
        best = next;
        cuts.push(cut);
    }
    let mut found = Vec::with_capacity(classes.saturating_sub(1));
    let mut end = n;
    for cut in cuts.iter().rev() {
        end = cut[end] as usize;
        found.push(end);
    }
    found.reverse();
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    #[test]
    fn intervals_are_open_below_and_closed_above() {
        let classes = Classes::given(&[0.5, 0.6]).unwrap();
        assert_eq!(
            [0.1, 0.5, 0.500_001, 0.6, 0.61, 9.0].map(|v| classes.of(v)),
            [0, 0, 1, 1, 2, 2]
        );
        assert_eq!(classes.count(), 3);
        assert_eq!(Classes::given(&[]).unwrap().of(3.0), 0);
    }

    #[test]
    fn breaks_that_do_not_rise_are_refused() {
        assert_eq!(
            Classes::given(&[0.5, 0.5]),
            Err(ClassifyError::BreaksNotRising {
                first: 0.5,
                second: 0.5
            })
        );
        assert!(
            Classes::given(&[f64::NAN]).is_err() && Classes::given(&[0.1, f64::INFINITY]).is_err()
        );
    }

    #[test]
    fn natural_breaks_refuse_what_they_cannot_cut() {
        assert_eq!(
            Classes::natural(&[1.0, 1.0, 2.0], 3),
            Err(ClassifyError::TooFewValues {
                classes: 3,
                distinct: 2
            })
        );
        assert_eq!(Classes::natural(&[1.0], 0), Err(ClassifyError::NoClasses));
        assert!(matches!(
            Classes::natural(&[1.0, f64::NAN], 1),
            Err(ClassifyError::NotFinite { position: 1, .. })
        ));
        assert_eq!(
            Classes::natural(&[1.0, 2.0], 2).unwrap().upper_bounds(),
            [1.0, 2.0]
        );
    }

    #[test]
    fn quantiles_share_the_area() {
        let values = [0.1, 0.2, 0.3, 0.4];
        assert_eq!(
            Classes::quantiles(&values, &[1.0; 4], 2)
                .unwrap()
                .upper_bounds(),
            [0.2, 0.4]
        );
        assert_eq!(
            Classes::quantiles(&values, &[3.0, 1.0, 1.0, 1.0], 2)
                .unwrap()
                .upper_bounds(),
            [0.1, 0.4]
        );
        assert_eq!(
            Classes::quantiles(&values, &[1.0; 4], 4)
                .unwrap()
                .upper_bounds(),
            values
        );
        // One value fills three quarters: the class above it stays, the ones within it go.
        assert_eq!(
            Classes::quantiles(&[0.1, 0.2, 0.3, 0.4], &[0.5, 8.5, 0.5, 0.5], 4)
                .unwrap()
                .upper_bounds(),
            [0.2, 0.4]
        );
        assert_eq!(
            Classes::quantiles(&[0.1], &[0.0], 1),
            Err(ClassifyError::BadArea {
                position: 0,
                area: 0.0
            })
        );
    }

    /// Least sum of squares over every partition, by trying them all.
    fn by_trying_all(sorted: &[f64], classes: usize) -> f64 {
        let squares = |part: &[f64]| {
            let mean = part.iter().sum::<f64>() / part.len() as f64;
            part.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>()
        };
        if classes == 1 {
            return squares(sorted);
        }
        (classes - 1..sorted.len())
            .map(|cut| by_trying_all(&sorted[..cut], classes - 1) + squares(&sorted[cut..]))
            .fold(f64::INFINITY, f64::min)
    }

    proptest! {
        #[test]
        fn natural_breaks_are_the_best_there_are(mut values in proptest::collection::vec(0_u32..60, 4..14), classes in 1_usize..5) {
            values.sort_unstable();
            let values: Vec<f64> = values.into_iter().map(|v| f64::from(v) / 8.0).collect();
            match Classes::natural(&values, classes) {
                Ok(found) => {
                    prop_assert_eq!(found.count(), classes);
                    let best = by_trying_all(&values, classes);
                    prop_assert!((found.squares_within(&values) - best).abs() < 1e-9, "{} against {}", found.squares_within(&values), best);
                }
                Err(ClassifyError::TooFewValues { distinct, .. }) => prop_assert!(distinct < classes),
                Err(other) => prop_assert!(false, "{other}"),
            }
        }

        #[test]
        fn order_of_values_does_not_matter(values in proptest::collection::vec(0.0_f64..1.0, 8..200).prop_shuffle(), classes in 1_usize..6) {
            let mut sorted = values.clone();
            sorted.sort_by(f64::total_cmp);
            prop_assert_eq!(Classes::natural(&values, classes), Classes::natural(&sorted, classes));
        }
    }

    #[test]
    fn a_hundred_thousand_values_are_no_trouble() {
        let values: Vec<f64> = (0..100_000_u32)
            .map(|i| f64::from(i.wrapping_mul(2_654_435_761) >> 8) / f64::from(1 << 24))
            .collect();
        let classes = Classes::natural(&values, 4).unwrap();
        // Even values: even classes.
        for (bound, even) in classes.inner_bounds().iter().zip([0.25, 0.5, 0.75]) {
            assert_relative_eq!(*bound, even, max_relative = 0.01);
        }
        assert_relative_eq!(
            classes.goodness(&values).unwrap(),
            15.0 / 16.0,
            max_relative = 1e-3
        );
    }
}
