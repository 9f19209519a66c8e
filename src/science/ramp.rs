//! The nitrogen ramp: known rates in steps along a strip, read once the crop shows them. The rate at which the index stops rising is what the crop needs.

use crate::science::response_curve::{
    CurveError, LinearFit, PlateauFit, PlateauShape, Point, QuadraticFit, USUAL_LEVEL, fit_linear,
    fit_plateau, fit_quadratic,
};
use crate::units::NRate;

/// Every curve that was fitted to a ramp. All of them are shown, since the choice among them moves the answer more than the readings do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RampFits {
    /// Straight line.
    pub linear: LinearFit,
    /// Parabola; only to compare with.
    pub quadratic: QuadraticFit,
    /// Line up to a plateau.
    pub linear_plateau: Result<PlateauFit, CurveError>,
    /// Parabola up to a plateau.
    pub quadratic_plateau: Result<PlateauFit, CurveError>,
    /// Greatest rate of the ramp.
    pub top: NRate,
}

/// What a ramp says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RampAnswer {
    /// The index rises up to this rate and no further.
    Plateau(PlateauFit),
    /// The index still rises at the greatest rate of the ramp.
    NoPlateau,
    /// A rise cannot be told from none.
    NoResponse,
    /// The index falls with nitrogen, surely.
    Falls,
}

impl RampFits {
    /// The fit of a shape.
    ///
    /// # Errors
    /// What kept it from being fitted: values that do not rise.
    pub const fn of(&self, shape: PlateauShape) -> Result<PlateauFit, CurveError> {
        match shape {
            PlateauShape::Linear => self.linear_plateau,
            PlateauShape::Quadratic => self.quadratic_plateau,
        }
    }

    /// What the ramp says by one of the two plateau shapes.
    ///
    /// Falling: the interval of the straight line's slope lies wholly below 0. No response: the interval of the rise up to the plateau holds 0. No
    /// plateau: the best start of the plateau is the greatest rate of the ramp.
    ///
    /// # Source
    /// Raun and others 2008, Agronomy Journal 100:1088-1093 (from memory) for the ramp; the order of the questions is ours.
    pub fn answer(&self, shape: PlateauShape) -> RampAnswer {
        if self
            .linear
            .slope_interval(USUAL_LEVEL)
            .is_some_and(|(_, high)| high < 0.0)
        {
            return RampAnswer::Falls;
        }
        match self.of(shape) {
            Ok(fit) if fit.responds && fit.at_top => RampAnswer::NoPlateau,
            Ok(fit) if fit.responds => RampAnswer::Plateau(fit),
            Ok(_) | Err(_) => RampAnswer::NoResponse,
        }
    }
}

/// Fits every curve to the readings of a ramp. Several readings of one rate, from several ramps, are welcome: they tell noise from shape.
///
/// # Units
/// - `points`: all nitrogen that a step got until it was read [kg N/ha], and the index there [–].
///
/// # Errors
/// Fewer than four different rates; a rate below zero or a number that is none.
pub fn fit_ramp(points: &[Point]) -> Result<RampFits, CurveError> {
    let fitted = |shape| match fit_plateau(points, shape, USUAL_LEVEL) {
        Err(CurveError::NotRising) => Ok(Err(CurveError::NotRising)),
        Err(error) => Err(error),
        Ok(fit) => Ok(Ok(fit)),
    };
    Ok(RampFits {
        linear_plateau: fitted(PlateauShape::Linear)?,
        quadratic_plateau: fitted(PlateauShape::Quadratic)?,
        linear: fit_linear(points)?,
        quadratic: fit_quadratic(points)?,
        top: points
            .iter()
            .fold(NRate::ZERO, |top, point| top.max(point.rate)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn ramp(values: &[f64]) -> Vec<Point> {
        values
            .iter()
            .enumerate()
            .map(|(k, value)| Point::new(20.0 * k as f64, *value))
            .collect()
    }

    fn by_line(values: &[f64]) -> RampAnswer {
        fit_ramp(&ramp(values))
            .unwrap()
            .answer(PlateauShape::Linear)
    }

    #[test]
    fn the_four_answers() {
        let RampAnswer::Plateau(fit) =
            by_line(&[0.452, 0.508, 0.571, 0.619, 0.655, 0.648, 0.661, 0.652])
        else {
            panic!("a plateau")
        };
        assert!((60.0..80.0).contains(&fit.join.get()), "{fit:?}");
        assert_eq!(
            by_line(&[0.40, 0.45, 0.51, 0.55, 0.60, 0.66]),
            RampAnswer::NoPlateau
        );
        assert_eq!(
            by_line(&[0.61, 0.63, 0.60, 0.64, 0.61, 0.63]),
            RampAnswer::NoResponse
        );
        assert_eq!(by_line(&[0.70, 0.66, 0.61, 0.58, 0.52]), RampAnswer::Falls);
        assert!(matches!(
            fit_ramp(&ramp(&[0.5, 0.6, 0.7])),
            Err(CurveError::TooFewRates { .. })
        ));
    }

    #[test]
    fn level_ground_is_seldom_taken_for_a_response() {
        // 2000 ramps of eight steps without any response; sums of twelve even draws as noise. The start is chosen where it fits best, so the rise is found
        // a little more often than the one-sided 2.5 % of a line that is fixed beforehand.
        let mut state = 20_260_414_u64;
        let mut draw = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        let mut found = 0;
        for _ in 0..2_000 {
            let values: Vec<f64> = (0..8)
                .map(|_| 0.6 + 0.02 * ((0..12).map(|_| draw()).sum::<f64>() - 6.0))
                .collect();
            found += u32::from(matches!(
                by_line(&values),
                RampAnswer::Plateau(_) | RampAnswer::NoPlateau
            ));
        }
        assert!((50..100).contains(&found), "{found} of 2000 level ramps");
    }

    proptest! {
        #[test]
        fn what_was_put_in_comes_out(
            start in 25.0_f64..135.0, low in 0.3_f64..0.6, rise in 0.05_f64..0.3, line in any::<bool>(),
        ) {
            let shape = if line { PlateauShape::Linear } else { PlateauShape::Quadratic };
            let distance = |rate: f64| { let below = (start - rate).max(0.0) / start; if line { below } else { below * below } };
            let points: Vec<Point> = (0..8).map(|k| 20.0 * f64::from(k)).map(|n| Point::new(n, low + rise - rise * distance(n))).collect();
            let RampAnswer::Plateau(fit) = fit_ramp(&points).unwrap().answer(shape) else { return Err(TestCaseError::fail("no plateau")) };
            prop_assert!((fit.join.get() - start).abs() < 1e-2, "{} instead of {}", fit.join, start);
            prop_assert!((fit.plateau - low - rise).abs() < 1e-5);
            prop_assert!(fit.steepness > 0.0);
            // The curve rises up to its plateau and is level beyond.
            let values: Vec<f64> = (0..60).map(|k| fit.at(NRate::kg_per_ha(3.0 * f64::from(k)))).collect();
            prop_assert!(values.windows(2).all(|pair| pair[0] <= pair[1] + 1e-12));
        }

        #[test]
        fn units_do_not_move_the_answer(factor in 0.01_f64..100.0, shift in -5.0_f64..5.0) {
            let values = [0.452, 0.508, 0.571, 0.619, 0.655, 0.648, 0.661, 0.652];
            let plain = fit_ramp(&ramp(&values)).unwrap();
            let other = fit_ramp(&ramp(&values.map(|value| value * factor + shift))).unwrap();
            for shape in [PlateauShape::Linear, PlateauShape::Quadratic] {
                let (one, two) = (plain.of(shape).unwrap(), other.of(shape).unwrap());
                prop_assert!((one.join.get() - two.join.get()).abs() < 1e-3);
                prop_assert!((one.join_high.unwrap().get() - two.join_high.unwrap().get()).abs() < 1e-3);
            }
        }
    }
}
