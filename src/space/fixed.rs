//! Sums that do not depend on the order of their terms.
//!
//! A term is rounded once, to a multiple of 2⁻⁶⁰, and added as an integer. So a field gives the same bits for any number of threads and any order of tiles.

/// 2⁶⁰, the units in one.
const ONE: f64 = (1_u64 << 60) as f64;

/// A sum in units of 2⁻⁶⁰.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Fixed(i128);

impl Fixed {
    /// One term, rounded to the nearest unit.
    pub fn of(value: f64) -> Self {
        let scaled = value * ONE;
        // Above 2⁵² a double is a whole number already; most terms are, and `round` is slow.
        let whole = if scaled.abs() >= 4_503_599_627_370_496.0 { scaled } else { libm::rint(scaled) };
        Self(if whole.abs() < 9.0e18 { i128::from(whole as i64) } else { whole as i128 })
    }
    /// So many ones.
    pub const fn whole(count: u64) -> Self {
        Self((count as i128) << 60)
    }
    /// Adds another sum.
    pub const fn add(&mut self, other: Self) {
        self.0 += other.0;
    }
    /// The sum as a number.
    pub fn get(self) -> f64 {
        self.0 as f64 / ONE
    }
    /// Whether nothing was added, or all cancelled.
    pub const fn is_zero(self) -> bool {
        self.0 == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn order_does_not_matter() {
        let terms = [0.1, 1e-9, -0.3, 0.75, 3.5, 1e-3, 40.0];
        let sum = |order: &[usize]| {
            let mut sum = Fixed::default();
            for &k in order {
                sum.add(Fixed::of(terms[k]));
            }
            sum
        };
        assert_eq!(sum(&[0, 1, 2, 3, 4, 5, 6]), sum(&[6, 3, 1, 0, 5, 2, 4]));
        assert!((sum(&[0, 1, 2, 3, 4, 5, 6]).get() - terms.iter().sum::<f64>()).abs() < 1e-13);
        assert_eq!(Fixed::whole(3).get(), 3.0);
    }
}
