//! How often a tank or hopper is filled for a field, and what stays in it.

/// Loads for one field. \[kg of product\]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loads {
    /// What the tank or hopper holds.
    pub capacity_kg: f64,
    /// How many fills.
    pub fills: u32,
    /// The last fill, when all before it are full.
    pub last_kg: f64,
    /// Each fill, when all are alike.
    pub even_kg: f64,
    /// What stays in the tank when the last fill is a full one too.
    pub leftover_kg: f64,
}

/// Fills of `capacity_kg` for `total_kg`: `⌈total / capacity⌉`.
///
/// A total that exceeds whole fills by less than a billionth of a fill needs no further one. `None` when there is nothing to spread, or nothing holds it.
pub fn loads(total_kg: f64, capacity_kg: f64) -> Option<Loads> {
    let quotient = total_kg / capacity_kg;
    if !(total_kg > 0.0 && capacity_kg > 0.0 && quotient.is_finite() && quotient < 1e9) {
        return None;
    }
    let fills = libm::ceil(quotient - 1e-9).max(1.0);
    Some(Loads {
        capacity_kg,
        fills: fills as u32,
        last_kg: total_kg - (fills - 1.0) * capacity_kg,
        even_kg: total_kg / fills,
        leftover_kg: (fills * capacity_kg - total_kg).max(0.0),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn fills_by_hand() {
        let two_and_a_bit = loads(9_000.0, 4_000.0).unwrap();
        assert_eq!(
            two_and_a_bit,
            Loads {
                capacity_kg: 4_000.0,
                fills: 3,
                last_kg: 1_000.0,
                even_kg: 3_000.0,
                leftover_kg: 3_000.0
            }
        );
        let exact = loads(3.0 * 0.1, 0.1).unwrap();
        assert_eq!(exact.fills, 3, "{exact:?}");
        assert_eq!(
            (loads(0.0, 4_000.0), loads(10.0, 0.0), loads(f64::NAN, 1.0)),
            (None, None, None)
        );
    }

    proptest! {
        #[test]
        fn fills_add_up(total in 0.1_f64..1e6, capacity in 0.1_f64..1e5) {
            let found = loads(total, capacity).unwrap();
            let fills = f64::from(found.fills);
            prop_assert!(((fills - 1.0) * capacity + found.last_kg - total).abs() <= 1e-9 * total);
            prop_assert!((fills * found.even_kg - total).abs() <= 1e-9 * total);
            prop_assert!(found.last_kg <= capacity * (1.0 + 1e-8) && found.last_kg > -1e-8 * capacity && found.even_kg <= capacity * (1.0 + 1e-8));
            prop_assert!((fills * capacity - total - found.leftover_kg).abs() <= 1e-8 * capacity.max(total));
        }
    }
}
