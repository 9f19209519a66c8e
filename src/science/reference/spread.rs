//! How much a sensor blurs beyond its own pixel: published figures, and a fit from the pixels of a strip.

use super::interval::student_quantile;

/// A sensor's blur, from a published figure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensorSpread {
    /// Name in job files.
    pub name: &'static str,
    /// What the figure says.
    pub figure: SensorFigure,
    /// Source and certainty.
    pub source: &'static str,
}

/// Ways in which sensors' sharpness is published.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SensorFigure {
    /// Share of contrast that is left at half a cycle a pixel, pixel included (modulation transfer at the Nyquist frequency).
    Contrast(f64),
    /// Steepest rise of a step, pixel included, as a share of the step a pixel.
    Slope(f64),
}

/// Sensors with a published figure. An image that was resampled after it was taken is blurred more than its sensor.
pub const SENSORS: &[SensorSpread] = &[
    SensorSpread {
        name: "Sentinel-2 10 m",
        figure: SensorFigure::Contrast(0.25),
        source: "contrast at the Nyquist frequency 0.24 (B4) and 0.26 (B8) as research code on sharpening carries them (read there); the agency's data quality reports that they come from: from memory",
    },
    SensorSpread {
        name: "Sentinel-2 20 m",
        figure: SensorFigure::Contrast(0.345),
        source: "contrast at the Nyquist frequency 0.38 (B5), 0.34 (B6), 0.34 (B7), 0.33 (B8A), as for 10 m",
    },
    SensorSpread {
        name: "Landsat OLI 30 m",
        figure: SensorFigure::Slope(0.81),
        source: "requirement on the slope of an edge, 0.027 a metre or steeper at 30 m (from memory; the sensor is sharper than required)",
    },
];

/// The sensor of this name, case aside.
pub fn find_sensor(name: &str) -> Option<&'static SensorSpread> {
    SENSORS
        .iter()
        .find(|sensor| sensor.name.eq_ignore_ascii_case(name.trim()))
}

/// Standard deviations to full width at half maximum of a Gaussian: 2 √(2 ln 2).
fn width_of(sigma: f64) -> f64 {
    2.0 * libm::sqrt(2.0 * libm::log(2.0)) * sigma
}

impl SensorSpread {
    /// Full width at half maximum beyond the pixel, in pixels, taking the blur as Gaussian.
    ///
    /// A pixel alone leaves 2/π of the contrast at half a cycle a pixel, a Gaussian `exp(−π² σ² / 2)` of that; a step seen by a pixel and a Gaussian
    /// rises by at most `erf(1 / (2 √2 σ))` a pixel.
    pub fn full_width(&self) -> f64 {
        match self.figure {
            SensorFigure::Contrast(left) => {
                let pixel = 2.0 / std::f64::consts::PI;
                width_of(
                    libm::sqrt((2.0 * libm::log(pixel / left)).max(0.0)) / std::f64::consts::PI,
                )
            }
            SensorFigure::Slope(slope) => {
                // erf rises: halve the bracket.
                let (mut low, mut high) = (0.01, 3.0);
                for _ in 0..60 {
                    let sigma = f64::midpoint(low, high);
                    if libm::erf(1.0 / (2.0 * libm::sqrt(2.0) * sigma)) > slope {
                        low = sigma;
                    } else {
                        high = sigma;
                    }
                }
                width_of(low)
            }
        }
    }
}

/// A blur fitted from a strip's own pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpreadFit {
    /// Full width at half maximum beyond the pixel. \[pixels\]
    pub full_width: f64,
    /// Lower bound of its 95 % interval. \[pixels\]
    pub low: f64,
    /// Upper bound; the greatest width tried when the pixels set none.
    pub high: f64,
    /// Pixels that it rests on.
    pub pixels: usize,
}

/// Takes from a profile (width, squares that the mixture leaves with it) the width that leaves least, and those that leave at most
/// `1 + t² / ν` times as much: ν = pixels − parameters, t the 97.5 % quantile of Student's t. `None` for an empty profile or too few pixels.
///
/// The interval takes pixels as independent; the ground's own patches make it too narrow.
///
/// # Source
/// Profile likelihood of normal errors: textbook (from memory).
pub fn spread_of_profile(
    profile: &[(f64, f64)],
    pixels: usize,
    parameters: usize,
) -> Option<SpreadFit> {
    let freedom = pixels
        .checked_sub(parameters)
        .filter(|freedom| *freedom > 0)? as f64;
    let best = profile
        .iter()
        .filter(|point| point.1.is_finite())
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let t = student_quantile(freedom);
    let limit = best.1 * (1.0 + t * t / freedom) + 1e-18;
    let within = || {
        profile
            .iter()
            .filter(|point| point.1 <= limit)
            .map(|point| point.0)
    };
    let (low, high) = (
        within().fold(f64::INFINITY, f64::min),
        within().fold(f64::NEG_INFINITY, f64::max),
    );
    Some(SpreadFit {
        full_width: best.0,
        low,
        high,
        pixels,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widths_of_figures() {
        // A pixel alone: contrast 2/π at the Nyquist frequency (0.6366), no blur beyond it.
        let of = |figure| {
            SensorSpread {
                name: "",
                figure,
                source: "",
            }
            .full_width()
        };
        assert!(of(SensorFigure::Contrast(2.0 / std::f64::consts::PI)).abs() < 1e-9);
        // By hand: σ = √(2 ln(0.63662 / 0.25)) / π = 0.43520, times 2.35482.
        assert!((of(SensorFigure::Contrast(0.25)) - 1.0248).abs() < 1e-3);
        // erf(x) = 0.81 at x = 0.9268 (table), σ = 1 / (2.8284 · 0.9268) = 0.3815, times 2.35482.
        assert!((of(SensorFigure::Slope(0.81)) - 0.898).abs() < 2e-3);
        assert!(find_sensor(" sentinel-2 10 M").is_some() && find_sensor("Sentinel").is_none());
    }

    #[test]
    fn a_profile_gives_width_and_interval() {
        // Squares 1 + (w − 1)²: with ν = 100, t = 1.984, limit 1 + 3.936 / 100, so ± 0.198.
        let profile: Vec<(f64, f64)> = (0..=300)
            .map(|k| 0.01 * f64::from(k))
            .map(|w| (w, 1.0 + (w - 1.0) * (w - 1.0)))
            .collect();
        let fit = spread_of_profile(&profile, 103, 3).unwrap();
        assert!(
            (fit.full_width - 1.0).abs() < 1e-9
                && (fit.low - 0.81).abs() < 1e-9
                && (fit.high - 1.19).abs() < 1e-9,
            "{fit:?}"
        );
        assert_eq!(spread_of_profile(&profile, 3, 3), None);
        assert_eq!(spread_of_profile(&[], 30, 3), None);
    }
}
