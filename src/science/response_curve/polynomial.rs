//! Straight line and parabola by least squares, in closed form over polynomials that are orthogonal at the observed rates.

use super::{CurveError, Point, Quality, different_rates, student};

/// A straight line `y = a + b N`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinearFit {
    /// Value without nitrogen.
    pub a: f64,
    /// Slope. \[value per kg N/ha\]
    pub b: f64,
    /// Standard error of the slope; `None` without a degree of freedom.
    pub b_error: Option<f64>,
    /// How well it fits.
    pub quality: Quality,
}

impl LinearFit {
    /// Interval of the slope; `None` without a degree of freedom.
    pub fn slope_interval(&self, level: f64) -> Option<(f64, f64)> {
        let width = student(level, self.quality.degrees_of_freedom()) * self.b_error?;
        Some((self.b - width, self.b + width))
    }
}

/// A parabola `y = a + b N + c N²`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct QuadraticFit {
    /// Value without nitrogen.
    pub a: f64,
    /// Slope without nitrogen. \[value per kg N/ha\]
    pub b: f64,
    /// Half the change of the slope. \[value per (kg N/ha)²\]
    pub c: f64,
    /// Variance of `b`.
    pub b_variance: f64,
    /// Covariance of `b` and `c`.
    pub covariance: f64,
    /// Variance of `c`.
    pub c_variance: f64,
    /// Greatest rate observed. \[kg N/ha\]
    pub top: f64,
    /// How well it fits.
    pub quality: Quality,
}

impl QuadraticFit {
    /// Value at a rate in kg N/ha.
    pub fn at(&self, rate: f64) -> f64 {
        self.a + (self.b + self.c * rate) * rate
    }
}

/// Sums that both fits share: means, and the part that a line explains.
struct Line {
    mean_rate: f64,
    mean_value: f64,
    squares: f64,
    slope: f64,
}

fn line(points: &[Point]) -> Line {
    let n = points.len() as f64;
    let mean_rate = points.iter().map(|p| p.rate.get()).sum::<f64>() / n;
    let mean_value = points.iter().map(|p| p.value).sum::<f64>() / n;
    let squares: f64 = points
        .iter()
        .map(|p| (p.rate.get() - mean_rate) * (p.rate.get() - mean_rate))
        .sum();
    let products: f64 = points
        .iter()
        .map(|p| (p.rate.get() - mean_rate) * (p.value - mean_value))
        .sum();
    Line {
        mean_rate,
        mean_value,
        squares,
        slope: products / squares,
    }
}

/// Fits a straight line.
///
/// # Errors
/// Fewer than two different rates; a rate below zero or a number that is none.
pub fn fit_linear(points: &[Point]) -> Result<LinearFit, CurveError> {
    different_rates(points, 2)?;
    let Line {
        mean_rate,
        mean_value,
        squares,
        slope,
    } = line(points);
    let residual = |p: &Point| p.value - mean_value - slope * (p.rate.get() - mean_rate);
    let quality = Quality {
        sse: points.iter().map(|p| residual(p) * residual(p)).sum(),
        points: points.len(),
        parameters: 2,
    };
    let free = quality.degrees_of_freedom();
    let b_error = (free > 0).then(|| libm::sqrt(quality.sse / free as f64 / squares));
    Ok(LinearFit {
        a: mean_value - slope * mean_rate,
        b: slope,
        b_error,
        quality,
    })
}

/// Fits a parabola.
///
/// # Errors
/// Fewer than three different rates or four observations; a rate below zero or a number that is none.
pub fn fit_quadratic(points: &[Point]) -> Result<QuadraticFit, CurveError> {
    let rates = different_rates(points, 3)?;
    if points.len() < 4 {
        return Err(CurveError::TooFewPoints {
            found: points.len(),
            needed: 4,
        });
    }
    let Line {
        mean_rate,
        mean_value,
        squares,
        slope,
    } = line(points);
    // The square of the centred rate, less what mean and line already say of it: p₂ = d² − g d − h.
    let from_mean = |p: &Point| p.rate.get() - mean_rate;
    let h = squares / points.len() as f64;
    let g = points
        .iter()
        .map(|p| from_mean(p) * from_mean(p) * from_mean(p))
        .sum::<f64>()
        / squares;
    let second = |p: &Point| (from_mean(p) - g) * from_mean(p) - h;
    let second_squares: f64 = points.iter().map(|p| second(p) * second(p)).sum();
    let c = points
        .iter()
        .map(|p| second(p) * (p.value - mean_value))
        .sum::<f64>()
        / second_squares;
    let residual = |p: &Point| p.value - mean_value - slope * from_mean(p) - c * second(p);
    let quality = Quality {
        sse: points.iter().map(|p| residual(p) * residual(p)).sum(),
        points: points.len(),
        parameters: 3,
    };
    let variance = quality.sse / quality.degrees_of_freedom() as f64;
    let shift = 2.0 * mean_rate + g;
    let c_variance = variance / second_squares;
    Ok(QuadraticFit {
        a: mean_value - slope * mean_rate + c * ((mean_rate + g) * mean_rate - h),
        b: slope - c * shift,
        c,
        b_variance: variance / squares + shift * shift * c_variance,
        covariance: -shift * c_variance,
        c_variance,
        top: rates.last().copied().unwrap_or(f64::NAN),
        quality,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_by_hand() {
        // Values 1, 3, 2, 4 at 0, 1, 2, 3: slope 0.8, intercept 1.3, SSE 1.8; error √(1.8/2/5).
        let points: Vec<Point> = [1.0, 3.0, 2.0, 4.0]
            .iter()
            .enumerate()
            .map(|(k, value)| Point::new(k as f64, *value))
            .collect();
        let fit = fit_linear(&points).unwrap();
        assert!(
            (fit.b - 0.8).abs() < 1e-12
                && (fit.a - 1.3).abs() < 1e-12
                && (fit.quality.sse - 1.8).abs() < 1e-12
        );
        assert!((fit.b_error.unwrap() - 0.18_f64.sqrt()).abs() < 1e-12);
        let (low, high) = fit.slope_interval(0.95).unwrap();
        // Student's t for 2 degrees of freedom and 95 %: 4.303.
        assert!((high - low - 2.0 * 4.302_652_73 * 0.18_f64.sqrt()).abs() < 1e-6);
        assert_eq!(fit_linear(&points[..2]).unwrap().slope_interval(0.95), None);
    }

    #[test]
    fn a_parabola_comes_back() {
        let points: Vec<Point> = [0.0, 30.0, 50.0, 90.0, 180.0]
            .iter()
            .map(|n| Point::new(*n, 2.0 + 0.05 * n - 1.5e-4 * n * n))
            .collect();
        let fit = fit_quadratic(&points).unwrap();
        assert!(
            (fit.a - 2.0).abs() < 1e-10
                && (fit.b - 0.05).abs() < 1e-12
                && (fit.c + 1.5e-4).abs() < 1e-14
        );
        assert!(fit.quality.sse < 1e-20 && (fit.at(60.0) - 4.46).abs() < 1e-10);
        assert!(matches!(
            fit_quadratic(&points[..2]),
            Err(CurveError::TooFewRates {
                found: 2,
                needed: 3
            })
        ));
        assert!(matches!(
            fit_quadratic(&points[..3]),
            Err(CurveError::TooFewPoints {
                found: 3,
                needed: 4
            })
        ));
    }
}
