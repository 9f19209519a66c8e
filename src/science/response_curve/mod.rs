//! Response curves: how an index or a yield rises with nitrogen, fitted by least squares, with intervals, and the rate that pays best on them.
//!
//! Four shapes: a straight line, a parabola, a line up to a plateau, a parabola up to a plateau. The two plateau shapes have one parameter that enters not
//! linearly, the rate at which the plateau starts. With that rate given, each of them is a straight-line regression, so the rate is searched alone and no
//! general minimiser is needed: nothing to start wrongly, nothing that fails to converge.

mod curve;
mod optimum;
mod plateau;
mod polynomial;
mod search;

pub use curve::ResponseCurve;
pub use optimum::{NoOptimum, Optimum, OptimumSet};
pub use plateau::{PlateauFit, PlateauShape, fit_plateau};
pub use polynomial::{LinearFit, QuadraticFit, fit_linear, fit_quadratic};

use statrs::distribution::{ContinuousCDF, StudentsT};
use thiserror::Error;

use crate::units::NRate;

/// Probability that intervals cover, unless told otherwise. \[share\]
pub const USUAL_LEVEL: f64 = 0.95;

/// One observation: what was measured where this much nitrogen had been given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Nitrogen given.
    pub rate: NRate,
    /// Canopy index, or yield in any one unit.
    pub value: f64,
}

impl Point {
    /// A point from its two numbers; `rate` in kg N/ha.
    pub const fn new(rate: f64, value: f64) -> Self {
        Self {
            rate: NRate::kg_per_ha(rate),
            value,
        }
    }
}

/// Why a curve cannot be fitted.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum CurveError {
    /// Too few different rates.
    #[error("{found} different nitrogen rates, but this curve needs at least {needed}")]
    TooFewRates {
        /// Different rates found.
        found: usize,
        /// Different rates needed.
        needed: usize,
    },
    /// Too few observations.
    #[error("{found} readings, but this curve needs at least {needed}")]
    TooFewPoints {
        /// Observations found.
        found: usize,
        /// Observations needed.
        needed: usize,
    },
    /// A rate below zero, or a number that is none.
    #[error(
        "reading {point} is {value} at {rate:.1}: rates must be zero or more and both numbers finite"
    )]
    NotUsable {
        /// Number of the observation, from 1.
        point: usize,
        /// Its rate.
        rate: NRate,
        /// Its value.
        value: f64,
    },
    /// No start of a plateau makes the values rise towards it.
    #[error("the values do not rise with nitrogen, so there is no rise that a plateau could end")]
    NotRising,
}

/// How well a curve fits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quality {
    /// Sum of squared residuals, in squared units of the values.
    pub sse: f64,
    /// Observations.
    pub points: usize,
    /// Parameters of the curve, without the variance.
    pub parameters: usize,
}

impl Quality {
    /// Observations less parameters.
    pub const fn degrees_of_freedom(&self) -> usize {
        self.points.saturating_sub(self.parameters)
    }
    /// Akaike's criterion `n ln(SSE/n) + 2 (p + 1)`: smaller is better; only differences between fits to the same values mean something.
    ///
    /// `None` when the curve passes through every point.
    ///
    /// # Source
    /// Akaike 1974, IEEE Transactions on Automatic Control 19:716-723; least-squares form of Burnham and Anderson 2002 (from memory).
    pub fn aic(&self) -> Option<f64> {
        let n = self.points as f64;
        (self.sse > 0.0 && self.points > 0)
            .then(|| n * libm::log(self.sse / n) + 2.0 * (self.parameters + 1) as f64)
    }
    /// [`Quality::aic`] with the correction for few observations, `2 q (q + 1)/(n − q − 1)`, q = p + 1. `None` where it is not defined.
    ///
    /// # Source
    /// Hurvich and Tsai 1989, Biometrika 76:297-307 (from memory).
    pub fn aicc(&self) -> Option<f64> {
        let q = self.parameters + 1;
        let left = self.points.checked_sub(q + 1).filter(|left| *left > 0)?;
        Some(self.aic()? + 2.0 * (q * (q + 1)) as f64 / left as f64)
    }
}

/// Two-sided quantile of Student's t.
///
/// # Units
/// - `level`: probability that the interval covers. \[share\]
/// - returns: half-width in standard errors; infinite without a degree of freedom.
pub fn student(level: f64, degrees_of_freedom: usize) -> f64 {
    StudentsT::new(0.0, 1.0, degrees_of_freedom as f64)
        .map_or(f64::INFINITY, |t| t.inverse_cdf(0.5 + level / 2.0))
}

/// Checks observations; answers their different rates, rising. \[kg N/ha\]
fn different_rates(points: &[Point], needed: usize) -> Result<Vec<f64>, CurveError> {
    for (k, point) in points.iter().enumerate() {
        if !(point.rate.is_finite() && point.rate.get() >= 0.0 && point.value.is_finite()) {
            return Err(CurveError::NotUsable {
                point: k + 1,
                rate: point.rate,
                value: point.value,
            });
        }
    }
    let mut rates: Vec<f64> = points.iter().map(|point| point.rate.get()).collect();
    rates.sort_by(f64::total_cmp);
    rates.dedup();
    if rates.len() < needed {
        return Err(CurveError::TooFewRates {
            found: rates.len(),
            needed,
        });
    }
    Ok(rates)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn criteria_by_hand() {
        // n = 6, SSE = 6, p = 3: 6 ln 1 + 8, corrected by 2·4·5/(6 − 5).
        let quality = Quality {
            sse: 6.0,
            points: 6,
            parameters: 3,
        };
        assert_eq!(
            (quality.aic(), quality.aicc(), quality.degrees_of_freedom()),
            (Some(8.0), Some(48.0), 3)
        );
        assert_eq!(
            Quality {
                points: 5,
                ..quality
            }
            .aicc(),
            None
        );
        assert_eq!(
            Quality {
                sse: 0.0,
                ..quality
            }
            .aic(),
            None
        );
    }

    #[test]
    fn quantiles_of_student() {
        // Tables of Student's t: 2.228 at 95 % and 10 degrees, 1.721 at 90 % and 21.
        assert!((student(0.95, 10) - 2.228_138_852).abs() < 1e-6);
        assert!((student(0.90, 21) - 1.720_742_903).abs() < 1e-6);
        assert_eq!(student(0.95, 0), f64::INFINITY);
    }

    #[test]
    fn what_cannot_be_used() {
        let named = |points: &[Point]| different_rates(points, 2).unwrap_err();
        assert!(matches!(
            named(&[Point::new(0.0, 1.0), Point::new(-1.0, 1.0)]),
            CurveError::NotUsable { point: 2, .. }
        ));
        assert!(matches!(
            named(&[Point::new(0.0, f64::NAN)]),
            CurveError::NotUsable { point: 1, .. }
        ));
        assert_eq!(
            named(&[Point::new(5.0, 1.0), Point::new(5.0, 2.0)]),
            CurveError::TooFewRates {
                found: 1,
                needed: 2
            }
        );
    }
}
