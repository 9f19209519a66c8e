//! Line or parabola up to a plateau: the start of the plateau is searched, the rest follows from a straight-line regression.

use super::search::Profile;
use super::{CurveError, Point, Quality, different_rates, student};
use crate::units::NRate;

/// Different rates without which a plateau cannot be told from a rise.
pub(super) const MINIMUM_RATES: usize = 4;
/// Parameters of either shape.
pub(super) const PARAMETERS: usize = 3;
/// Places looked at between two neighbouring rates before the search is refined.
const PLACES: usize = 48;
/// Share of the range of rates within which a plateau's start counts as the greatest rate itself.
const AT_TOP: f64 = 1e-6;
/// Share of the values' own squares below which sums of squares are rounding.
const ROUNDING: f64 = 1e-13;

/// How values rise towards their plateau.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlateauShape {
    /// In a straight line: `y = P − s (J − min(N, J))`.
    Linear,
    /// In a parabola whose top is the plateau: `y = P − s (J − min(N, J))²`.
    Quadratic,
}

impl PlateauShape {
    /// Its name in files and sentences.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Linear => "linear plateau",
            Self::Quadratic => "quadratic plateau",
        }
    }
    /// How far a rate is from the plateau, in the power that the shape has.
    pub(super) fn distance(self, rate: f64, join: f64) -> f64 {
        let below = (join - rate).max(0.0);
        match self {
            Self::Linear => below,
            Self::Quadratic => below * below,
        }
    }
}

/// A fitted plateau `P` that starts at the rate `J`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlateauFit {
    /// How values rise towards it.
    pub shape: PlateauShape,
    /// `J`, never beyond the greatest rate observed.
    pub join: NRate,
    /// Lower bound of `J`; `None` when it may lie at or below the second rate.
    pub join_low: Option<NRate>,
    /// Upper bound of `J`; `None` when it may lie at or beyond the greatest rate.
    pub join_high: Option<NRate>,
    /// `P`.
    pub plateau: f64,
    /// `s`: slope of the line, or half the curvature of the parabola. Above 0.
    pub steepness: f64,
    /// Bounds of `s`; `None` without a degree of freedom.
    pub steepness_bounds: Option<(f64, f64)>,
    /// Whether the values rise at all: whether the bounds of `s` leave 0 out.
    pub responds: bool,
    /// Whether no plateau is seen: the best start is the greatest rate observed, where the curve still rises.
    pub at_top: bool,
    /// Different rates on the plateau.
    pub rates_on_plateau: usize,
    /// Greatest rate observed.
    pub top: NRate,
    /// How well it fits.
    pub quality: Quality,
}

impl PlateauFit {
    /// Value at a rate.
    pub fn at(&self, rate: NRate) -> f64 {
        self.plateau - self.steepness * self.shape.distance(rate.get(), self.join.get())
    }
    /// Slope without nitrogen. \[value per kg N/ha\]
    pub const fn first_slope(&self) -> f64 {
        match self.shape {
            PlateauShape::Linear => self.steepness,
            PlateauShape::Quadratic => 2.0 * self.steepness * self.join.get(),
        }
    }
}

/// The regression for one given start of the plateau.
struct At {
    plateau: f64,
    steepness: f64,
    sse: f64,
    squares: f64,
}

fn at(points: &[Point], shape: PlateauShape, join: f64) -> At {
    let n = points.len() as f64;
    let distance = |p: &Point| shape.distance(p.rate.get(), join);
    let mean_distance = points.iter().map(distance).sum::<f64>() / n;
    let mean_value = points.iter().map(|p| p.value).sum::<f64>() / n;
    let squares: f64 = points
        .iter()
        .map(|p| (distance(p) - mean_distance) * (distance(p) - mean_distance))
        .sum();
    let products: f64 = points
        .iter()
        .map(|p| (distance(p) - mean_distance) * (p.value - mean_value))
        .sum();
    let steepness = -products / squares;
    let plateau = mean_value + steepness * mean_distance;
    let residual = |p: &Point| p.value - plateau + steepness * distance(p);
    At {
        plateau,
        steepness,
        sse: points.iter().map(|p| residual(p) * residual(p)).sum(),
        squares,
    }
}

/// Sum of squares about the mean.
pub(super) fn about_mean(points: &[Point]) -> f64 {
    let mean = points.iter().map(|p| p.value).sum::<f64>() / points.len() as f64;
    points
        .iter()
        .map(|p| (p.value - mean) * (p.value - mean))
        .sum()
}

/// Places from the second rate to the last at which a plateau may start, rising; every observed rate is one of them.
///
/// Below the second rate every start fits alike, so nothing could tell them apart.
pub(super) fn starts(rates: &[f64]) -> Vec<f64> {
    let mut places = Vec::new();
    for pair in rates.windows(2).skip(1) {
        places
            .extend((0..PLACES).map(|k| pair[0] + (pair[1] - pair[0]) * k as f64 / PLACES as f64));
    }
    places.extend(rates.last());
    places
}

/// Largest sum of squares that still belongs to the interval: `SSE (1 + t²/ν)`, which is the F test of one parameter.
pub(super) fn limit(sse: f64, degrees_of_freedom: usize, level: f64, flat: f64) -> f64 {
    let t = student(level, degrees_of_freedom);
    sse * (1.0 + t * t / degrees_of_freedom.max(1) as f64) + ROUNDING * flat
}

/// Fits a rise and its plateau.
///
/// The start `J` of the plateau is the only parameter that enters not linearly. It is looked for from the second to the greatest rate: on a grid, then by
/// golden section around every local least sum of squares. The interval of `J` is the set of all starts whose best fit is not worse than the very best by
/// the F test (1 and n − 3 degrees of freedom); the bounds of `s` are those of the same set over all starts. Values respond when `s = 0`, a level line,
/// lies outside of it.
///
/// # Units
/// - `level`: probability that the intervals cover. \[share\] Approximate: the sum of squares has kinks at the rates.
///
/// # Errors
/// Fewer than four different rates; a rate below zero or a number that is none; values that rise towards no start at all.
///
/// # Source
/// Profile (likelihood) intervals: Bates and Watts 1988, Nonlinear Regression Analysis (from memory). Plateau shapes as in Cerrato and Blackmer 1990,
/// Agronomy Journal 82:138-143 (from memory).
pub fn fit_plateau(
    points: &[Point],
    shape: PlateauShape,
    level: f64,
) -> Result<PlateauFit, CurveError> {
    let rates = different_rates(points, MINIMUM_RATES)?;
    let flat = about_mean(points);
    let free = points.len() - PARAMETERS;
    // A curve that falls towards its plateau is no response: the best that is allowed there is a level line.
    let sse = |join: f64| {
        let at = at(points, shape, join);
        if at.steepness > 0.0 { at.sse } else { flat }
    };
    let grid = starts(&rates);
    if !grid
        .iter()
        .any(|join| at(points, shape, *join).steepness > 0.0)
    {
        return Err(CurveError::NotRising);
    }
    let profile = Profile::of(&grid, &sse);
    let best = at(points, shape, profile.at);
    if best.steepness <= 0.0 || flat <= 0.0 {
        return Err(CurveError::NotRising);
    }
    let (lowest, top) = (rates[0], rates[rates.len() - 1]);
    let near = AT_TOP * (top - lowest);
    let limit = limit(profile.minimum, free, level, flat);
    let (join_low, join_high) = profile.within(limit, &sse);
    let mut bounds: Option<(f64, f64)> = None;
    if free > 0 {
        for (join, _) in &profile.places {
            let at = at(points, shape, *join);
            if at.sse <= limit {
                let width = libm::sqrt((limit - at.sse) / at.squares);
                let (low, high) = bounds.unwrap_or((f64::INFINITY, f64::NEG_INFINITY));
                bounds = Some((
                    low.min(at.steepness - width),
                    high.max(at.steepness + width),
                ));
            }
        }
    }
    Ok(PlateauFit {
        shape,
        join: NRate::kg_per_ha(profile.at),
        join_low: join_low.filter(|_| free > 0).map(NRate::kg_per_ha),
        join_high: join_high.filter(|_| free > 0).map(NRate::kg_per_ha),
        plateau: best.plateau,
        steepness: best.steepness,
        steepness_bounds: bounds,
        responds: free > 0 && flat > limit,
        at_top: profile.at >= top - near,
        rates_on_plateau: rates
            .iter()
            .filter(|rate| **rate >= profile.at - near)
            .count(),
        top: NRate::kg_per_ha(top),
        quality: Quality {
            sse: profile.minimum,
            points: points.len(),
            parameters: PARAMETERS,
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp(values: &[f64]) -> Vec<Point> {
        values
            .iter()
            .enumerate()
            .map(|(k, value)| Point::new(20.0 * k as f64, *value))
            .collect()
    }

    #[test]
    fn a_clear_plateau_of_either_shape() {
        let rates: Vec<f64> = (0..9).map(|k| 20.0 * f64::from(k)).collect();
        for (shape, steepness) in [
            (PlateauShape::Linear, 0.003),
            (PlateauShape::Quadratic, 2e-5),
        ] {
            let points: Vec<Point> = rates
                .iter()
                .map(|n| Point::new(*n, 0.75 - steepness * shape.distance(*n, 87.0)))
                .collect();
            let fit = fit_plateau(&points, shape, 0.95).unwrap();
            assert!((fit.join.get() - 87.0).abs() < 1e-4, "{fit:?}");
            assert!(
                (fit.plateau - 0.75).abs() < 1e-7 && (fit.steepness / steepness - 1.0).abs() < 1e-5,
                "{fit:?}"
            );
            assert!(
                fit.responds && !fit.at_top && fit.rates_on_plateau == 4,
                "{fit:?}"
            );
            assert!((fit.at(NRate::kg_per_ha(40.0)) - points[2].value).abs() < 1e-6);
        }
    }

    #[test]
    fn a_straight_rise_has_no_plateau() {
        let fit = fit_plateau(
            &ramp(&[0.40, 0.45, 0.51, 0.55, 0.60, 0.66]),
            PlateauShape::Linear,
            0.95,
        )
        .unwrap();
        assert!(
            fit.at_top && fit.responds && fit.join_high.is_none(),
            "{fit:?}"
        );
        let fit = fit_plateau(
            &ramp(&[0.40, 0.46, 0.53, 0.60, 0.68, 0.77]),
            PlateauShape::Quadratic,
            0.95,
        )
        .unwrap();
        assert!(fit.at_top && fit.responds, "{fit:?}");
    }

    #[test]
    fn noise_is_no_response_and_a_fall_is_none() {
        let fit = fit_plateau(
            &ramp(&[0.61, 0.63, 0.60, 0.64, 0.61, 0.63]),
            PlateauShape::Linear,
            0.95,
        )
        .unwrap();
        assert!(!fit.responds, "{fit:?}");
        assert!(fit.steepness_bounds.unwrap().0 <= 0.0);
        for shape in [PlateauShape::Linear, PlateauShape::Quadratic] {
            assert_eq!(
                fit_plateau(&ramp(&[0.70, 0.66, 0.61, 0.58, 0.52]), shape, 0.95),
                Err(CurveError::NotRising)
            );
            assert_eq!(
                fit_plateau(&ramp(&[0.5; 6]), shape, 0.95),
                Err(CurveError::NotRising)
            );
        }
        assert!(matches!(
            fit_plateau(&ramp(&[0.5, 0.6, 0.7]), PlateauShape::Linear, 0.95),
            Err(CurveError::TooFewRates {
                found: 3,
                needed: 4
            })
        ));
    }

    #[test]
    fn the_interval_holds_the_start_and_widens_with_the_level() {
        let points = ramp(&[0.452, 0.508, 0.571, 0.619, 0.655, 0.648, 0.661, 0.652]);
        let at = |level| fit_plateau(&points, PlateauShape::Linear, level).unwrap();
        let (narrow, wide) = (at(0.5), at(0.95));
        let bounds = |fit: &PlateauFit| (fit.join_low.unwrap().get(), fit.join_high.unwrap().get());
        assert_eq!(narrow.join, wide.join);
        assert!(bounds(&wide).0 < bounds(&narrow).0 && bounds(&narrow).0 < wide.join.get());
        assert!(wide.join.get() < bounds(&narrow).1 && bounds(&narrow).1 < bounds(&wide).1);
        // At the bound itself the sum of squares is the limit.
        let limit = limit(wide.quality.sse, 5, 0.95, 0.0);
        for bound in [wide.join_low, wide.join_high] {
            assert!(
                (super::at(&points, PlateauShape::Linear, bound.unwrap().get()).sse / limit - 1.0)
                    .abs()
                    < 1e-6
            );
        }
    }
}
