//! Published formulas of rates, against numbers that were worked out apart from this program.
//!
//! Visible lines: equations read in Scharf, Kitchen and Lory, slide set "Missouri algorithm for N in corn". The others are **arithmetic only**: their
//! formulas are from memory (Holland and Schepers 2010 and 2013, Varvel et al. 2007, Solari et al. 2010), so agreement says that the formula as we know it
//! is worked out right, not that it is the paper's.

use approx::assert_abs_diff_eq;
use haulm::science::methods::ReadBy;
use haulm::science::methods::chlorophyll::ChlorophyllRoot;
use haulm::science::methods::linear_ramp::LinearRamp;
use haulm::science::methods::quadratic::Quadratic;
use haulm::science::methods::square_root::{BackOff, SquareRoot};
use haulm::science::methods::visible::published;
use haulm::units::NRate;

fn kg(n: f64) -> NRate {
    NRate::kg_per_ha(n)
}

fn root() -> SquareRoot {
    SquareRoot {
        optimum: kg(200.0),
        applied_before: kg(40.0),
        credits: kg(20.0),
        extra: NRate::ZERO,
        zone_scalar: 1.0,
        delta: 0.3,
        dead_band: 0.0,
        back_off: None,
    }
}

#[test]
fn visible_lines_of_the_slides() {
    // Values at x = 1.0, 1.1, 1.2, 1.3 in lb N/ac, and the x at which a line gives nothing.
    for (light, stages, rates, zero) in [
        ("green", "V6-V7", [60.0, 93.0, 126.0, 159.0], 270.0 / 330.0),
        ("amber", "V8-V10", [50.0, 75.0, 100.0, 125.0], 0.80),
        ("red", "V6-V7", [50.0, 72.0, 94.0, 116.0], 170.0 / 220.0),
        ("red", "V8-V10", [50.0, 67.0, 84.0, 101.0], 120.0 / 170.0),
    ] {
        let line = published(light, stages).unwrap().line();
        for (relative, rate) in [1.0, 1.1, 1.2, 1.3].into_iter().zip(rates) {
            assert_abs_diff_eq!(line.needed(relative).as_lb_per_ac(), rate, epsilon = 1e-9);
        }
        assert_abs_diff_eq!(line.needed(zero).get(), 0.0, epsilon = 1e-9);
        assert_eq!(line.needed(zero - 0.05), NRate::ZERO);
    }
    assert!(published("blue", "V6-V7").is_none() && published("red", "V12").is_none());
}

#[test]
fn square_root_response_arithmetic_only() {
    for (sufficiency, rate) in [
        (1.0, 0.0),
        (0.98, 36.148),
        (0.95, 57.155),
        (0.90, 80.829),
        (0.85, 98.995),
        (0.80, 114.310),
        (0.70, 140.0),
    ] {
        assert_abs_diff_eq!(root().needed(sufficiency).get(), rate, epsilon = 1e-3);
    }
    let backed = SquareRoot {
        back_off: Some(BackOff {
            steepness: 20.0,
            below: 0.7,
        }),
        ..root()
    };
    for (sufficiency, rate) in [
        (0.9, 80.755),
        (0.8, 113.544),
        (0.7, 133.485),
        (0.6, 122.591),
        (0.5, 71.112),
        (0.4, 30.792),
    ] {
        assert_abs_diff_eq!(backed.needed(sufficiency).get(), rate, epsilon = 1e-3);
    }
}

#[test]
fn quadratic_meter_curve_arithmetic_only() {
    let curve = Quadratic::published(0.0);
    assert_abs_diff_eq!(curve.top().get(), 178.571, epsilon = 1e-3);
    assert_abs_diff_eq!(curve.top_sufficiency(), 0.98587, epsilon = 1e-5);
    for (sufficiency, rate) in [
        (0.95, 80.035),
        (0.93, 99.885),
        (0.90, 123.831),
        (0.85, 155.765),
    ] {
        assert_abs_diff_eq!(curve.needed(sufficiency).get(), rate, epsilon = 1e-3);
    }
}

#[test]
fn chlorophyll_root_arithmetic_only() {
    for (sufficiency, rate) in [
        (0.97, 0.0),
        (0.99, 0.0),
        (0.95, 44.831),
        (0.90, 83.870),
        (0.85, 109.812),
        (0.80, 130.702),
        (0.70, 164.718),
    ] {
        assert_abs_diff_eq!(
            ChlorophyllRoot::PUBLISHED.needed(sufficiency).get(),
            rate,
            epsilon = 1e-3
        );
    }
    // The sensor's form is the meter's parabola with a slope of 0.5625 = 0.750².
    let by_meter = ChlorophyllRoot::PUBLISHED.scale.get() / libm::sqrt(1.0 / 5.6e-6);
    assert_abs_diff_eq!(by_meter, 0.750, epsilon = 5e-4);
}

#[test]
fn a_ramp_between_two_values() {
    let ramp = LinearRamp {
        by: ReadBy::Index,
        low: 0.35,
        high: 0.80,
        at_low: kg(120.0),
        at_high: kg(20.0),
    };
    assert_abs_diff_eq!(ramp.needed(0.55).get(), 75.556, epsilon = 5e-4);
    assert_eq!((ramp.needed(0.2), ramp.needed(0.9)), (kg(120.0), kg(20.0)));
}
