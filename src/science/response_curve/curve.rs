//! A response curve with given coefficients: its value, the rate that pays best, and the rates that pay nearly as well.

use super::NoOptimum;
use super::optimum::checked;

/// Value as a function of nitrogen, with given coefficients. Rates in kg N/ha, values in any one unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ResponseCurve {
    /// `a + b N + c N²`.
    Quadratic {
        /// Value without nitrogen.
        a: f64,
        /// Slope without nitrogen.
        b: f64,
        /// Coefficient of N²; below 0 for a curve with a top.
        c: f64,
    },
    /// `plateau − k/2 (join − N)²` below the join, `plateau` from there on.
    QuadraticPlateau {
        /// Greatest value.
        plateau: f64,
        /// Rate at which the plateau starts.
        join: f64,
        /// Curvature, above 0.
        k: f64,
    },
    /// `plateau − slope (join − N)` below the join, `plateau` from there on.
    LinearPlateau {
        /// Greatest value.
        plateau: f64,
        /// Rate at which the plateau starts.
        join: f64,
        /// Slope, above 0.
        slope: f64,
    },
}

impl ResponseCurve {
    /// Value at a rate in kg N/ha.
    pub fn at(&self, rate: f64) -> f64 {
        match *self {
            Self::Quadratic { a, b, c } => a + (b + c * rate) * rate,
            Self::QuadraticPlateau { plateau, join, k } => {
                let below = (join - rate).max(0.0);
                plateau - k / 2.0 * below * below
            }
            Self::LinearPlateau {
                plateau,
                join,
                slope,
            } => plateau - slope * (join - rate).max(0.0),
        }
    }

    /// The rate at which value × price less rate × price of nitrogen is greatest, 0 when nitrogen does not pay. \[kg N/ha\]
    ///
    /// Quadratic `(r − b)/(2 c)`, quadratic plateau `J − r/k`, linear plateau `J` where the slope exceeds r.
    ///
    /// # Units
    /// - `ratio`: price of a kg of nitrogen over the price of one unit of value.
    ///
    /// # Errors
    /// A quadratic that does not bend downwards; a ratio below 0 or none.
    ///
    /// # Source
    /// Slope equal to price ratio: textbook; quadratic plateau as on the help page of `engelstad.nitro` in the R package agridat.
    pub fn optimum(&self, ratio: f64) -> Result<f64, NoOptimum> {
        let ratio = checked(ratio)?;
        let rate = match *self {
            // A curvature that is no number has no top either.
            Self::Quadratic { c, .. } if c.is_nan() || c >= 0.0 => {
                return Err(NoOptimum::CurvesUp { c });
            }
            Self::Quadratic { b, c, .. } => (ratio - b) / (2.0 * c),
            Self::QuadraticPlateau { k, .. } if k.is_nan() || k <= 0.0 => {
                return Err(NoOptimum::CurvesUp { c: -k / 2.0 });
            }
            Self::QuadraticPlateau { join, k, .. } => join - ratio / k,
            Self::LinearPlateau { join, slope, .. } => {
                if slope > ratio {
                    join
                } else {
                    0.0
                }
            }
        };
        Ok(rate.max(0.0))
    }

    /// Least and greatest rate whose return lies within `less` of the best one: how little the exact optimum matters. \[kg N/ha\]
    ///
    /// # Units
    /// - `ratio`: as in [`ResponseCurve::optimum`].
    /// - `less`: return given up, in units of value (money over the price of one unit).
    ///
    /// # Errors
    /// As [`ResponseCurve::optimum`].
    pub fn profitable_range(&self, ratio: f64, less: f64) -> Result<(f64, f64), NoOptimum> {
        let best = self.optimum(ratio)?;
        let short = |rate: f64| (self.at(best) - ratio * best) - (self.at(rate) - ratio * rate);
        // The return falls on both sides of the optimum without end, but for free nitrogen on a plateau, where any rate is as good as the start.
        let mut reach = best.max(1.0);
        while short(best + reach) <= less {
            reach *= 2.0;
            if reach > 1e6 {
                reach = f64::INFINITY;
                break;
            }
        }
        let high = if reach.is_finite() {
            super::search::crossing(best, best + reach, less, &short)
        } else {
            f64::INFINITY
        };
        let low = if short(0.0) <= less {
            0.0
        } else {
            super::search::crossing(best, 0.0, less, &short)
        };
        Ok((low, high))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn optimum_of_each_shape() {
        let quadratic = ResponseCurve::Quadratic {
            a: 4.0,
            b: 0.05,
            c: -1e-4,
        };
        assert!((quadratic.optimum(0.01).unwrap() - 200.0).abs() < 1e-9);
        assert_eq!(quadratic.optimum(0.06), Ok(0.0));
        assert!(matches!(
            ResponseCurve::Quadratic {
                a: 4.0,
                b: 0.05,
                c: 1e-4
            }
            .optimum(0.01),
            Err(NoOptimum::CurvesUp { .. })
        ));
        let plateau = ResponseCurve::QuadraticPlateau {
            plateau: 9.0,
            join: 200.0,
            k: 2e-4,
        };
        assert!((plateau.optimum(0.01).unwrap() - 150.0).abs() < 1e-9);
        let line = ResponseCurve::LinearPlateau {
            plateau: 9.0,
            join: 120.0,
            slope: 0.03,
        };
        assert_eq!(
            (line.optimum(0.01), line.optimum(0.04)),
            (Ok(120.0), Ok(0.0))
        );
    }

    #[test]
    fn rates_that_pay_nearly_as_well() {
        // On a parabola the loss is |c| (N − N*)²: half a hundredth of a tonne gives √(0.005/1e-4) = 7.07 either way.
        let curve = ResponseCurve::Quadratic {
            a: 4.0,
            b: 0.05,
            c: -1e-4,
        };
        let (low, high) = curve.profitable_range(0.01, 0.005).unwrap();
        assert!(
            (low - (200.0 - 50.0_f64.sqrt())).abs() < 1e-6
                && (high - (200.0 + 50.0_f64.sqrt())).abs() < 1e-6
        );
        // Beyond the join every kg only costs: 0.1 more at 0.01 a kg is 10 kg.
        let line = ResponseCurve::LinearPlateau {
            plateau: 9.0,
            join: 120.0,
            slope: 0.03,
        };
        let (low, high) = line.profitable_range(0.01, 0.1).unwrap();
        assert!((low - 115.0).abs() < 1e-6 && (high - 130.0).abs() < 1e-6);
        assert_eq!(line.profitable_range(0.0, 0.1).unwrap().1, f64::INFINITY);
    }

    proptest! {
        #[test]
        fn no_rate_pays_better_than_the_optimum(
            join in 20.0_f64..300.0, slope in 0.001_f64..0.1, k in 1e-5_f64..1e-3, ratio in 0.0_f64..0.05, share in 0.0_f64..2.0,
        ) {
            let curves = [
                ResponseCurve::Quadratic { a: 3.0, b: k * join, c: -k / 2.0 },
                ResponseCurve::QuadraticPlateau { plateau: 9.0, join, k },
                ResponseCurve::LinearPlateau { plateau: 9.0, join, slope },
            ];
            for curve in curves {
                let best = curve.optimum(ratio).unwrap();
                prop_assert!((0.0..=join * (1.0 + 1e-12)).contains(&best));
                let rate = share * join;
                prop_assert!(curve.at(rate) - ratio * rate <= curve.at(best) - ratio * best + 1e-9);
                prop_assert!(curve.at(rate * 0.99) <= curve.at(rate.min(join)) + 1e-12, "rises up to the join");
            }
        }
    }
}
