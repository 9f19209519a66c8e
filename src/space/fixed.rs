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
        let whole = if scaled.abs() >= 4_503_599_627_370_496.0 {
            scaled
        } else {
            libm::rint(scaled)
        };
        Self(if whole.abs() < 9.0e18 {
            i128::from(whole as i64)
        } else {
            whole as i128
        })
    }
    /// So many ones.
    pub const fn whole(count: u64) -> Self {
        Self((count as i128) << 60)
    }
    /// Counts and sums of a row in one go: values that are numbers, values of at least `limit`, and the sum of these.
    ///
    /// The same bits as adding `Fixed::of` of each. A value is split into a multiple of 2⁻²⁸ and an exact rest, each turned into an integer by adding a constant that
    /// pushes it into a double's lowest bits, so that the compiler can work on several at once.
    pub fn of_row(values: &[f64], limit: f64) -> (u64, u64, Self) {
        /// 1.5 · 2²⁴: a double of this size ends at 2⁻²⁸.
        const COARSE: f64 = 25_165_824.0;
        /// 1.5 · 2⁻⁸: ends at 2⁻⁶⁰.
        const FINE: f64 = 0.005_859_375;
        /// Up to here the coarse part leaves the constant's exponent alone.
        const MAXIMUM: f64 = 4_194_304.0;
        let (mut seen, mut taken, mut sum) = (0_u64, 0_u64, Self::default());
        for chunk in values.chunks(256) {
            let (mut coarse, mut fine, mut numbers, mut held, mut large) =
                (0_u64, 0_u64, 0_u64, 0_u64, 0_u64);
            for &value in chunk {
                let take = value >= limit;
                numbers += u64::from(!value.is_nan());
                held += u64::from(take);
                large |= u64::from(take && value.abs() > MAXIMUM);
                let value = if take { value } else { 0.0 };
                let pushed = value + COARSE;
                let rest = value - (pushed - COARSE);
                coarse = coarse.wrapping_add(pushed.to_bits().wrapping_sub(COARSE.to_bits()));
                fine = fine.wrapping_add((rest + FINE).to_bits().wrapping_sub(FINE.to_bits()));
            }
            seen += numbers;
            taken += held;
            if large == 0 {
                sum.add(Self(
                    (i128::from(coarse.cast_signed()) << 32) + i128::from(fine.cast_signed()),
                ));
            } else {
                chunk
                    .iter()
                    .filter(|value| **value >= limit)
                    .for_each(|value| sum.add(Self::of(*value)));
            }
        }
        (seen, taken, sum)
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
    use proptest::strategy::Strategy;

    proptest::proptest! {
        #[test]
        fn a_row_at_once_is_each_by_itself(
            row in proptest::collection::vec(proptest::prop_oneof![
                -1.0..1.0_f64, 1e-30..1e-3_f64, -1e7..1e7_f64, proptest::strategy::Just(f64::NAN), proptest::strategy::Just(0.25), proptest::strategy::Just(-0.0),
                proptest::strategy::Just(f64::INFINITY),
            ].prop_filter("sums hold finite numbers", |value| value.is_nan() || value.is_finite()), 0..700),
            limit in -2.0..0.5_f64,
        ) {
            let (seen, taken, sum) = Fixed::of_row(&row, limit);
            let mut each = Fixed::default();
            row.iter().filter(|value| **value >= limit).for_each(|value| each.add(Fixed::of(*value)));
            proptest::prop_assert_eq!(sum, each);
            proptest::prop_assert_eq!(seen, row.iter().filter(|value| !value.is_nan()).count() as u64);
            proptest::prop_assert_eq!(taken, row.iter().filter(|value| **value >= limit).count() as u64);
        }
    }

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
