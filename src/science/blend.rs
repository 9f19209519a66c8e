//! How much of a cell's index deficit counts as lack of nitrogen.
//!
//! A cell can be compared with the strip, `I_ref / I`, or take the field's own response index, `RI_field`. The first holds where everything that makes the
//! canopy differ is nitrogen, the second where nothing is. Between them lies the nitrogen share `s`: `s · I_ref / I + (1 − s) · RI_field`.

/// A share below 1 of what a cell's own index deficit tells; the rest is told by the field's response index.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Blend {
    /// Share of the index deficit that counts as nitrogen, `s`: 0 is the field's response index for every cell. \[0..1\]
    pub share: f64,
    /// Response index of the strips that the cell is compared with, `RI_field`. \[–\]
    pub field_ratio: f64,
}

impl Blend {
    /// The same with another response index of the field.
    #[must_use]
    pub const fn with_field_ratio(self, field_ratio: f64) -> Self {
        Self {
            field_ratio,
            ..self
        }
    }
}

/// The response index of a cell before it is adjusted and limited: `s · I_ref / I + (1 − s) · RI_field`.
///
/// Without a blend it is `I_ref / I`, and with a share of 0 `RI_field`, to the last bit.
///
/// # Units
/// - `index`, `reference`: canopy index of the cell and of the strip. \[–\] Above 0.
/// - returns: response index. \[–\]
///
/// # Source
/// Each cell against the strip, and one response index for the whole field: both published practice (Raun et al. 2002, Agronomy Journal 94:815-820, from
/// memory). What lies between them is an own rule.
///
/// # Examples
/// ```
/// # use haulm::science::blend::{Blend, response_index};
/// let half = Blend { share: 0.5, field_ratio: 1.25 };
/// assert_eq!(response_index(0.5, 0.75, Some(half)), 1.375);   // half of 1.5, half of 1.25
/// assert_eq!(response_index(0.5, 0.75, None), 1.5);
/// ```
pub fn response_index(index: f64, reference: f64, blend: Option<Blend>) -> f64 {
    match blend {
        None => reference / index,
        Some(Blend { share, field_ratio }) if share <= 0.0 => field_ratio,
        Some(Blend { share, field_ratio }) => {
            share * (reference / index) + (1.0 - share) * field_ratio
        }
    }
}

/// The sufficiency index that goes with it, `1 / RI`: `I / I_ref` without a blend. Not limited.
pub fn sufficiency(index: f64, reference: f64, blend: Option<Blend>) -> f64 {
    if blend.is_none() {
        index / reference
    } else {
        1.0 / response_index(index, reference, blend)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ends_are_the_two_published_ways_to_the_last_bit() {
        let (index, reference) = (0.531_7, 0.714_3);
        let none = Blend {
            share: 0.0,
            field_ratio: 1.234_567,
        };
        assert_eq!(response_index(index, reference, None), reference / index);
        assert_eq!(sufficiency(index, reference, None), index / reference);
        assert_eq!(response_index(index, reference, Some(none)), 1.234_567);
        assert_eq!(sufficiency(index, reference, Some(none)), 1.0 / 1.234_567);
    }

    proptest::proptest! {
        #[test]
        fn it_lies_between_the_two(index in 0.05_f64..0.95, reference in 0.05_f64..0.95, ratio in 0.8_f64..2.0, share in 0.0_f64..1.0) {
            let own = reference / index;
            let mixed = response_index(index, reference, Some(Blend { share, field_ratio: ratio }));
            proptest::prop_assert!(own.min(ratio) - 1e-12 <= mixed && mixed <= own.max(ratio) + 1e-12);
        }
    }
}
