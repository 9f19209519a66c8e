//! The rate that pays best on a fitted curve, and how sure it is.

use super::plateau::{about_mean, limit, starts};
use super::search::Profile;
use super::{PlateauFit, PlateauShape, Point, QuadraticFit, student};
use thiserror::Error;

/// Places looked at between nothing and the greatest rate before the search is refined.
const PLACES: usize = 200;

/// Why there is no optimum.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum NoOptimum {
    /// The curve bends upwards or not at all: it has no top.
    #[error(
        "no interior optimum: the curve bends upwards (c = {c:.3e} per (kg N/ha)², it must be below 0), so it has no top within the trial"
    )]
    CurvesUp {
        /// Coefficient of N².
        c: f64,
    },
    /// Prices that make no ratio.
    #[error(
        "the price ratio {ratio} is no number of 0 or more: give the price of nitrogen over that of grain"
    )]
    Ratio {
        /// As given.
        ratio: f64,
    },
}

/// The optimum's interval as a set of rates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum OptimumSet {
    /// From a rate to a rate; `None` on a side that stays open within the trial.
    Between(Option<f64>, Option<f64>),
    /// The curvature cannot be told from none: nothing bounds the optimum.
    Unbounded,
}

/// The rate at which the curve's slope equals the price ratio. \[kg N/ha\]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Optimum {
    /// The rate; may lie below 0 (nitrogen does not pay) or beyond the greatest rate of the trial (not supported by it).
    pub rate: f64,
    /// Symmetric interval by the delta method; too narrow and too low where the curve is flat. `None` where the shape has none.
    pub symmetric: Option<(f64, f64)>,
    /// Set of all optima that the observations do not contradict.
    pub set: OptimumSet,
}

pub(super) fn checked(ratio: f64) -> Result<f64, NoOptimum> {
    if ratio >= 0.0 && ratio.is_finite() {
        Ok(ratio)
    } else {
        Err(NoOptimum::Ratio { ratio })
    }
}

impl QuadraticFit {
    /// `N* = (r − b)/(2 c)`, the rate at which one more unit of nitrogen brings `r` units of value.
    ///
    /// The set is Fieller's: all N at which the slope, `b + 2 c N`, differs from r by no more than t standard errors. It is the same as the profile
    /// likelihood's. The symmetric interval is Wald's.
    ///
    /// # Units
    /// - `ratio`: price of a kg of nitrogen over the price of one unit of value, as in the fit; 0 asks for the greatest value.
    /// - `level`: probability that the intervals cover. \[share\]
    ///
    /// # Errors
    /// A curve that does not bend downwards; a ratio below 0 or none.
    ///
    /// # Source
    /// Bachmaier 2009, Statistical Papers 50:649-660 (set); Hernandez and Mulla 2008, Agronomy Journal 100:1221-1229 (comparison of intervals); both by
    /// way of the help pages of the R package agridat.
    pub fn optimum(&self, ratio: f64, level: f64) -> Result<Optimum, NoOptimum> {
        let ratio = checked(ratio)?;
        // A curvature that is no number has no top either.
        if self.c.is_nan() || self.c >= 0.0 {
            return Err(NoOptimum::CurvesUp { c: self.c });
        }
        let (c, slope) = (self.c, self.b - ratio);
        let t = student(level, self.quality.degrees_of_freedom());
        let rate = -slope / (2.0 * c);
        let (by_b, by_c) = (-1.0 / (2.0 * c), slope / (2.0 * c * c));
        let error = libm::sqrt(
            (by_b * by_b * self.b_variance
                + 2.0 * by_b * by_c * self.covariance
                + by_c * by_c * self.c_variance)
                .max(0.0),
        );
        // q N² + 2 p N + o <= 0
        let q = 4.0 * (c * c - t * t * self.c_variance);
        let p = 2.0 * (slope * c - t * t * self.covariance);
        let o = slope * slope - t * t * self.b_variance;
        let set = if q > 0.0 {
            let root = libm::sqrt((p * p - q * o).max(0.0));
            OptimumSet::Between(Some((-p - root) / q), Some((-p + root) / q))
        } else {
            OptimumSet::Unbounded
        };
        Ok(Optimum {
            rate,
            symmetric: Some((rate - t * error, rate + t * error)),
            set,
        })
    }
}

impl PlateauFit {
    /// The rate that pays best: `J − r/(2 s)` on a parabola, `J` on a line that is steeper than r, else nothing.
    ///
    /// The set holds the starts of the plateau for a line. For a parabola it holds every rate N at which a curve with slope r at N fits not worse than the
    /// best one by the F test; it ends at 0 and at the greatest rate of the trial.
    ///
    /// # Units
    /// As [`QuadraticFit::optimum`]; `points` are those of the fit.
    ///
    /// # Errors
    /// A ratio below 0 or none.
    pub fn optimum(&self, points: &[Point], ratio: f64, level: f64) -> Result<Optimum, NoOptimum> {
        let ratio = checked(ratio)?;
        let join = self.join.get();
        match self.shape {
            PlateauShape::Linear => {
                let rate = if self.steepness > ratio { join } else { 0.0 };
                let pays = self.steepness_bounds.is_some_and(|(low, _)| low > ratio);
                let low = if pays { self.join_low } else { None };
                Ok(Optimum {
                    rate,
                    symmetric: None,
                    set: OptimumSet::Between(
                        low.map(crate::units::NRate::get),
                        self.join_high.map(crate::units::NRate::get),
                    ),
                })
            }
            PlateauShape::Quadratic => {
                let rate = join - ratio / (2.0 * self.steepness);
                if ratio == 0.0 {
                    let bounds = (
                        self.join_low.map(crate::units::NRate::get),
                        self.join_high.map(crate::units::NRate::get),
                    );
                    return Ok(Optimum {
                        rate,
                        symmetric: None,
                        set: OptimumSet::Between(bounds.0, bounds.1),
                    });
                }
                let mut rates: Vec<f64> = points.iter().map(|p| p.rate.get()).collect();
                rates.sort_by(f64::total_cmp);
                rates.dedup();
                let joins = starts(&rates);
                let sse = |optimum: f64| best_with_optimum(points, &joins, optimum, ratio);
                let top = self.top.get();
                let grid: Vec<f64> = (0..=PLACES)
                    .map(|k| top * k as f64 / PLACES as f64)
                    .collect();
                let limit = limit(
                    self.quality.sse,
                    self.quality.degrees_of_freedom(),
                    level,
                    about_mean(points),
                );
                let (low, high) = Profile::of(&grid, &sse).within(limit, &sse);
                Ok(Optimum {
                    rate,
                    symmetric: None,
                    set: OptimumSet::Between(low, high),
                })
            }
        }
    }
}

/// Least sum of squares of parabolas with a plateau whose slope is `ratio` at the rate `optimum`.
fn best_with_optimum(points: &[Point], joins: &[f64], optimum: f64, ratio: f64) -> f64 {
    let n = points.len() as f64;
    let sse = |join: f64| {
        let steepness = ratio / (2.0 * (join - optimum));
        let lifted =
            |p: &Point| p.value + steepness * PlateauShape::Quadratic.distance(p.rate.get(), join);
        let plateau = points.iter().map(lifted).sum::<f64>() / n;
        points
            .iter()
            .map(|p| (lifted(p) - plateau) * (lifted(p) - plateau))
            .sum()
    };
    let after: Vec<f64> = joins
        .iter()
        .copied()
        .filter(|join| *join > optimum)
        .collect();
    if after.is_empty() {
        f64::INFINITY
    } else {
        Profile::of(&after, &sse).minimum
    }
}

#[cfg(test)]
mod tests {
    use super::super::{fit_plateau, fit_quadratic};
    use super::*;

    #[test]
    fn a_curve_that_bends_upwards_has_no_optimum() {
        let points: Vec<Point> = [(0.0, 5.0), (40.0, 5.1), (80.0, 5.5), (120.0, 6.4)]
            .map(|(n, y)| Point::new(n, y))
            .to_vec();
        let error = fit_quadratic(&points)
            .unwrap()
            .optimum(0.005, 0.95)
            .unwrap_err();
        assert!(matches!(error, NoOptimum::CurvesUp { c } if c > 0.0));
        assert!(error.to_string().contains("no interior optimum"));
    }

    #[test]
    fn dear_nitrogen_does_not_pay_and_flat_curves_bound_nothing() {
        let points: Vec<Point> = [
            (0.0, 5.0),
            (40.0, 6.1),
            (80.0, 6.9),
            (120.0, 7.2),
            (160.0, 7.3),
        ]
        .map(|(n, y)| Point::new(n, y))
        .to_vec();
        let fit = fit_quadratic(&points).unwrap();
        assert!(fit.optimum(0.05, 0.95).unwrap().rate < 0.0);
        assert!(matches!(
            fit.optimum(f64::NAN, 0.95),
            Err(NoOptimum::Ratio { .. })
        ));
        let straight: Vec<Point> = [
            (0.0, 5.0),
            (40.0, 5.5),
            (80.0, 5.9),
            (120.0, 6.5),
            (160.0, 6.8),
        ]
        .map(|(n, y)| Point::new(n, y))
        .to_vec();
        assert_eq!(
            fit_quadratic(&straight)
                .unwrap()
                .optimum(0.005, 0.95)
                .unwrap()
                .set,
            OptimumSet::Unbounded
        );
    }

    #[test]
    fn the_set_of_a_parabola_with_plateau_holds_its_optimum() {
        let values = [4.1, 5.9, 7.2, 8.1, 8.4, 8.5, 8.35, 8.5];
        let points: Vec<Point> = values
            .iter()
            .enumerate()
            .map(|(k, y)| Point::new(30.0 * k as f64, *y))
            .collect();
        let fit = fit_plateau(&points, PlateauShape::Quadratic, 0.95).unwrap();
        let optimum = fit.optimum(&points, 0.01, 0.95).unwrap();
        let OptimumSet::Between(Some(low), Some(high)) = optimum.set else {
            panic!("{optimum:?}")
        };
        assert!(
            low < optimum.rate && optimum.rate < high && optimum.rate < fit.join.get(),
            "{optimum:?}"
        );
        assert!(high - low < 60.0, "{optimum:?}");
        // Cheaper nitrogen, more of it.
        assert!(fit.optimum(&points, 0.002, 0.95).unwrap().rate > optimum.rate);
    }
}
