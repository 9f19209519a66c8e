//! Searching one number: the least value of a function between two places, and the place where it crosses a limit.

/// Golden section: `(√5 − 1)/2`.
const GOLDEN: f64 = 0.618_033_988_749_894_9;
/// Steps of the golden section; each keeps 0.618 of the bracket, so that 80 reach the last digits of a number.
const STEPS: usize = 80;
/// Halvings of a bracket: more than a number has bits.
const HALVINGS: usize = 60;

/// Place and value of the least of `f` between `low` and `high`, where `f` falls and then rises.
pub(super) fn minimum(low: f64, high: f64, f: &dyn Fn(f64) -> f64) -> (f64, f64) {
    let (mut a, mut b) = (low, high);
    let (mut x, mut y) = (b - GOLDEN * (b - a), a + GOLDEN * (b - a));
    let (mut fx, mut fy) = (f(x), f(y));
    for _ in 0..STEPS {
        if fx <= fy {
            (b, y, fy) = (y, x, fx);
            x = b - GOLDEN * (b - a);
            fx = f(x);
        } else {
            (a, x, fx) = (x, y, fy);
            y = a + GOLDEN * (b - a);
            fy = f(y);
        }
    }
    if fx <= fy { (x, fx) } else { (y, fy) }
}

/// Where `f` crosses `limit` between `inside` (at or below it) and `outside` (above it).
pub(super) fn crossing(inside: f64, outside: f64, limit: f64, f: &dyn Fn(f64) -> f64) -> f64 {
    let (mut inside, mut outside) = (inside, outside);
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(inside, outside);
        if f(middle) <= limit {
            inside = middle;
        } else {
            outside = middle;
        }
    }
    inside
}

/// A function on a grid, with its least value found between the grid's places.
#[derive(Clone, Debug)]
pub(super) struct Profile {
    /// Places, rising, with the value at each; the least one is among them.
    pub(super) places: Vec<(f64, f64)>,
    /// Place of the least value; the first of equals.
    pub(super) at: f64,
    /// The least value.
    pub(super) minimum: f64,
}

impl Profile {
    /// Looks at every place of `grid` (rising, at least one), and refines around each local least one.
    pub(super) fn of(grid: &[f64], f: &dyn Fn(f64) -> f64) -> Self {
        let mut places: Vec<(f64, f64)> = grid.iter().map(|at| (*at, f(*at))).collect();
        let mut best = places
            .iter()
            .copied()
            .fold((f64::NAN, f64::INFINITY), |best, place| {
                if place.1 < best.1 { place } else { best }
            });
        for k in 0..grid.len() {
            let (before, after) = (k.saturating_sub(1), (k + 1).min(grid.len() - 1));
            if places[k].1 <= places[before].1 && places[k].1 <= places[after].1 && before < after {
                let found = minimum(grid[before], grid[after], f);
                if found.1 < best.1 {
                    best = found;
                }
            }
        }
        let slot = places.partition_point(|place| place.0 < best.0);
        if places.get(slot).is_none_or(|place| place.0 != best.0) && best.0.is_finite() {
            places.insert(slot, best);
        }
        Self {
            places,
            at: best.0,
            minimum: best.1,
        }
    }

    /// Least and greatest place whose value does not exceed `limit`; `None` on a side where the set reaches the grid's end.
    pub(super) fn within(&self, limit: f64, f: &dyn Fn(f64) -> f64) -> (Option<f64>, Option<f64>) {
        let inside = |place: &(f64, f64)| place.1 <= limit;
        let low = self
            .places
            .iter()
            .position(inside)
            .filter(|k| *k > 0)
            .map(|k| crossing(self.places[k].0, self.places[k - 1].0, limit, f));
        let last = self.places.len() - 1;
        let high = self
            .places
            .iter()
            .rposition(inside)
            .filter(|k| *k < last)
            .map(|k| crossing(self.places[k].0, self.places[k + 1].0, limit, f));
        (low, high)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn least_of_a_parabola_and_of_a_kink() {
        let (at, value) = minimum(0.0, 10.0, &|x| (x - 3.25) * (x - 3.25) + 1.0);
        assert!((at - 3.25).abs() < 1e-7 && (value - 1.0).abs() < 1e-12);
        assert!((minimum(0.0, 10.0, &|x| (x - 7.0).abs()).0 - 7.0).abs() < 1e-12);
    }

    #[test]
    fn the_deeper_of_two_valleys() {
        let f = |x: f64| {
            if x < 5.0 {
                (x - 2.2) * (x - 2.2)
            } else {
                (x - 7.3) * (x - 7.3) - 0.5
            }
        };
        let grid: Vec<f64> = (0..=20).map(|k| f64::from(k) * 0.5).collect();
        let profile = Profile::of(&grid, &f);
        assert!((profile.at - 7.3).abs() < 1e-7 && (profile.minimum + 0.5).abs() < 1e-12);
        // Values up to 0 lie within √0.5 of 7.3, and at 2.2 alone, which no place of the grid hits.
        let (low, high) = profile.within(0.0, &f);
        assert!(
            (low.unwrap() - (7.3 - 0.5_f64.sqrt())).abs() < 1e-9
                && (high.unwrap() - (7.3 + 0.5_f64.sqrt())).abs() < 1e-9
        );
        assert_eq!(profile.within(100.0, &f), (None, None));
    }
}
