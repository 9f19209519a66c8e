//! How much of the canopy's variation is nitrogen.
//!
//! Inside the strip nitrogen is ample, so what still varies there is something else: soil, water, stand. The strip's shape laid over the rest of the field
//! varies by that and by nitrogen. What the strip lacks of it is nitrogen's share.

use crate::science::monte_carlo::quantile;
use thiserror::Error;

/// Fewer pieces of a strip than this tell too little of how it varies.
pub const MINIMUM_PIECES: usize = 8;
/// Fewer places than this tell too little of how much places differ.
pub const MINIMUM_PLACES: usize = 20;

/// Why the share is not known.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum NoShare {
    /// No strip of an image: readings by hand or a percentile vary along nothing.
    #[error("it needs a reference strip on an image")]
    NoStrip,
    /// A strip that is too short for its cells.
    #[error(
        "it needs {MINIMUM_PIECES} pieces of one cell length ({cell_m:.0} m) along a strip, and the longest strip has {pieces}"
    )]
    TooShort {
        /// Pieces of the longest strip.
        pieces: usize,
        /// Length of a cell. \[m\]
        cell_m: f64,
    },
    /// Too few places for the strip's shape in the rest of the field.
    #[error(
        "the field is too small for it: the strip's shape fits {places} times into the rest of the canopy, and {MINIMUM_PLACES} are needed"
    )]
    TooFewPlaces {
        /// Places found.
        places: usize,
    },
    /// A field that does not vary at all.
    #[error("the canopy outside the strips does not vary")]
    Even,
}

/// The share of nitrogen in the canopy's variation, with what it was worked out from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NitrogenShareEstimate {
    /// The share, λ. \[0..1\]
    pub share: f64,
    /// Lower end of its 80 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Relative variance of pieces of the strip, mean of all strips. \[–\]
    pub within_strip: f64,
    /// The same at other places of the field, mean.
    pub elsewhere: f64,
    /// Strips that counted.
    pub strips: usize,
    /// Places in the rest of the field.
    pub places: usize,
}

/// Variance of the means of pieces over their squared mean (n − 1). `None` with fewer than [`MINIMUM_PIECES`], or a mean that is not above 0.
///
/// # Units
/// - `pieces`: canopy index of equal pieces of a strip. \[–\]
/// - returns: square of the coefficient of variation. \[–\]
///
/// # Examples
/// ```
/// # use haulm::science::nitrogen_share::relative_variance;
/// let pieces = [0.6, 0.7, 0.6, 0.7, 0.6, 0.7, 0.6, 0.7];
/// // Mean 0.65, sum of squares 8 · 0.05², over 7.
/// assert!((relative_variance(&pieces).unwrap() - 0.02 / 7.0 / 0.4225).abs() < 1e-12);
/// assert_eq!(relative_variance(&pieces[..7]), None);
/// ```
pub fn relative_variance(pieces: &[f64]) -> Option<f64> {
    if pieces.len() < MINIMUM_PIECES {
        return None;
    }
    let count = pieces.len() as f64;
    let mean = pieces.iter().sum::<f64>() / count;
    let squares: f64 = pieces
        .iter()
        .map(|piece| (piece - mean) * (piece - mean))
        .sum();
    (mean > 0.0).then(|| squares / (count - 1.0) / (mean * mean))
}

/// `λ = clamp(1 − v_strip / mean v_place, 0, 1)`, with an 80 % interval from the 10th and 90th percentile of `v_place`.
///
/// `strips` holds the relative variance of each strip, `places` that of the strip's shape at each place of the rest of the field, by the same estimator. The
/// interval is `1 − v_strip / (mean v_place · q)`, q being the percentiles of `v_place` over their mean: by so much does one strip's variance scatter
/// where nothing but the place differs. It knows differences on the scale of the strip alone; a large one that no strip crosses may be nitrogen or water.
///
/// # Errors
/// [`NoShare`]: no strip, fewer than [`MINIMUM_PLACES`] places, or no variation at all.
///
/// # Source
/// Own rule, checked on made grounds only; no published source is known.
pub fn nitrogen_share(strips: &[f64], places: &[f64]) -> Result<NitrogenShareEstimate, NoShare> {
    if strips.is_empty() {
        return Err(NoShare::NoStrip);
    }
    if places.len() < MINIMUM_PLACES {
        return Err(NoShare::TooFewPlaces {
            places: places.len(),
        });
    }
    let within = strips.iter().sum::<f64>() / strips.len() as f64;
    let elsewhere = places.iter().sum::<f64>() / places.len() as f64;
    let mut sorted = places.to_vec();
    let (Some(minimum), Some(most)) = (quantile(&mut sorted, 0.1), quantile(&mut sorted, 0.9))
    else {
        return Err(NoShare::NoStrip);
    };
    if elsewhere <= 0.0 || !elsewhere.is_finite() {
        return Err(NoShare::Even);
    }
    let left = |variance: f64| {
        if variance > 0.0 {
            (1.0 - within / variance).clamp(0.0, 1.0)
        } else {
            0.0
        }
    };
    Ok(NitrogenShareEstimate {
        share: left(elsewhere),
        low: left(minimum),
        high: left(most).max(left(elsewhere)),
        within_strip: within,
        elsewhere,
        strips: strips.len(),
        places: places.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn by_hand() {
        // Places from 1 to 4, evenly: mean 2.5, P10 1.3 and P90 3.7 of 31 of them.
        let places: Vec<f64> = (0..31).map(|k| 1.0 + 0.1 * f64::from(k)).collect();
        let share = nitrogen_share(&[1.0, 0.5], &places).unwrap();
        assert!((share.share - (1.0 - 0.75 / 2.5)).abs() < 1e-12);
        assert!((share.low - (1.0 - 0.75 / 1.3)).abs() < 1e-12);
        assert!((share.high - (1.0 - 0.75 / 3.7)).abs() < 1e-12);
        assert_eq!((share.strips, share.places), (2, 31));
    }

    #[test]
    fn a_strip_that_varies_as_much_as_the_field_leaves_nothing() {
        let places: Vec<f64> = (0..31).map(|k| 1.0 + 0.1 * f64::from(k)).collect();
        let none = nitrogen_share(&[6.0], &places).unwrap();
        assert_eq!((none.share, none.low, none.high), (0.0, 0.0, 0.0));
        let all = nitrogen_share(&[0.0], &places).unwrap();
        assert_eq!((all.share, all.low, all.high), (1.0, 1.0, 1.0));
    }

    #[test]
    fn where_it_is_not_known_it_says_why() {
        assert_eq!(nitrogen_share(&[], &[1.0; 30]), Err(NoShare::NoStrip));
        assert_eq!(
            nitrogen_share(&[1.0], &[1.0; 19]),
            Err(NoShare::TooFewPlaces { places: 19 })
        );
        assert_eq!(nitrogen_share(&[0.0], &[0.0; 30]), Err(NoShare::Even));
        assert_eq!(relative_variance(&[0.0; 9]), None);
    }

    proptest::proptest! {
        #[test]
        fn the_interval_holds_the_share(
            strips in proptest::collection::vec(0.0_f64..3.0, 1..4), places in proptest::collection::vec(0.001_f64..3.0, 20..60),
        ) {
            let found = nitrogen_share(&strips, &places).unwrap();
            proptest::prop_assert!(0.0 <= found.low && found.low <= 1.0 && found.share <= found.high && found.high <= 1.0);
        }
    }
}
