//! Bands of many draws, against what probability theory says of them. No number here comes from this program.
//!
//! Moments and quantiles of normal and uniform distributions and of products of independent factors: textbook (for instance Casella and Berger, "Statistical
//! Inference"; deviates 1.2816 and 1.96 of any normal table). Standard error of a quantile: √(p(1 − p)/n)/f, the same.

use haulm::science::methods::square_root::SquareRoot;
use haulm::science::methods::{Limits, Method, RateModel};
use haulm::science::monte_carlo::{Band, Spreads, band_of};
use haulm::science::yield_response::{YieldCurve, YieldResponse};
use haulm::units::{NRate, Yield};

/// Standard normal deviate that one in ten exceeds.
const Z_90: f64 = 1.281_552;

fn limits() -> Limits {
    Limits {
        maximum_ratio: 3.0,
        limits_sufficiency: false,
        applied_since_sensing: NRate::ZERO,
        minimum: NRate::ZERO,
        maximum: NRate::kg_per_ha(2_000.0),
    }
}

/// Nothing binds: N = a · exp(b I / D) · (RI − 1) · g / e, a straight line in the ratio, the curve and the place, one over e.
fn straight() -> RateModel {
    let method = YieldResponse {
        curve: YieldCurve {
            a: Yield::kg_per_ha(590.0),
            b: 258.2,
        },
        growing_days: 94.0,
        maximum_yield: Yield::kg_per_ha(90_000.0),
        ratio_adjustment: None,
        dead_band: 0.0,
        grain_nitrogen: 0.0239,
        use_efficiency: 0.5,
    };
    RateModel {
        method: Method::new(method),
        limits: limits(),
        blend: None,
    }
}

const DRAWS: u64 = 4_000;
const AT: (f64, f64) = (0.50, 0.665);

fn drawn(spreads: Spreads, seed: u64) -> Band {
    let model = straight();
    let mut all: Vec<f64> = (0..DRAWS)
        .map(|k| {
            spreads
                .draw(seed, k)
                .moved(&model)
                .exact(AT.0, AT.1)
                .unwrap()
        })
        .collect();
    band_of(&mut all).unwrap()
}

fn plain() -> f64 {
    straight().exact(AT.0, AT.1).unwrap().get()
}

/// Within four standard errors: mean, SD, and the P10 and P90 of a normal distribution.
fn normal_within(band: &Band, mean: f64, sd: f64) {
    let root = libm::sqrt(DRAWS as f64);
    assert!(
        (band.mean - mean).abs() < 4.0 * sd / root,
        "mean {} for {mean} ± {}",
        band.mean,
        sd / root
    );
    assert!(
        (band.sd - sd).abs() < 4.0 * sd / root / core::f64::consts::SQRT_2,
        "SD {} for {sd}",
        band.sd
    );
    let density = libm::exp(-Z_90 * Z_90 / 2.0) / libm::sqrt(core::f64::consts::TAU) / sd;
    let error = 4.0 * libm::sqrt(0.09) / root / density;
    assert!(
        (band.low - (mean - Z_90 * sd)).abs() < error,
        "P10 {} for {}",
        band.low,
        mean - Z_90 * sd
    );
    assert!(
        (band.high - (mean + Z_90 * sd)).abs() < error,
        "P90 {} for {}",
        band.high,
        mean + Z_90 * sd
    );
    let error = 4.0 * 0.5 / root * sd * libm::sqrt(core::f64::consts::TAU);
    assert!(
        (band.middle - mean).abs() < error,
        "P50 {} for {mean}",
        band.middle
    );
}

#[test]
fn a_straight_line_carries_the_spread_of_the_reference() {
    // RI 1.33, 95 % from 1.23 to 1.43 by the reference index: N is straight in it, so its own 95 % interval comes from those two, 1.96 standard deviations to
    // either side.
    let spreads = Spreads {
        place: 0.10 / 1.96 / 1.33,
        ..Spreads::default()
    };
    let per_ratio = plain() / 0.33;
    normal_within(&drawn(spreads, 1), plain(), per_ratio * 0.10 / 1.96);
}

#[test]
fn curve_and_reference_multiply() {
    normal_within(
        &drawn(
            Spreads {
                curve: 0.15,
                ..Spreads::default()
            },
            2,
        ),
        plain(),
        0.15 * plain(),
    );
    // N is straight in the reference too: 0.15 of N is 0.15 · (RI − 1)/RI of the reference. Independent factors: (1 + 0.1²)(1 + 0.15²) − 1 = relative
    // variance of the product.
    let both = drawn(
        Spreads {
            curve: 0.10,
            place: 0.15 * 0.33 / 1.33,
            ..Spreads::default()
        },
        3,
    );
    let sd = plain() * libm::sqrt(1.01 * 1.0225 - 1.0);
    let root = libm::sqrt(DRAWS as f64);
    assert!(
        (both.mean - plain()).abs() < 4.0 * sd / root,
        "{} for {}",
        both.mean,
        plain()
    );
    assert!(
        (both.sd - sd).abs() < 5.0 * sd / root / core::f64::consts::SQRT_2,
        "{} for {sd}",
        both.sd
    );
}

#[test]
fn an_even_use_efficiency_gives_its_own_quantiles() {
    // e evenly from 0.4 to 0.6: N goes as 1/e, so its P10, P50, P90 are those at e = 0.58, 0.50, 0.42; its mean is N · 0.5 · ln(0.6/0.4)/0.2.
    let band = drawn(
        Spreads {
            use_efficiency: 0.2,
            ..Spreads::default()
        },
        4,
    );
    let error = 4.0 * 0.3 / libm::sqrt(DRAWS as f64) * 0.2; // of e
    for (found, e) in [(band.low, 0.58), (band.middle, 0.50), (band.high, 0.42)] {
        let requirement = plain() * 0.5 / e;
        assert!(
            (found - requirement).abs() < requirement * error / e * 1.7,
            "{found} for {requirement}"
        );
    }
    let mean = plain() * 0.5 * libm::log(1.5) / 0.2;
    assert!(
        (band.mean - mean).abs() < 4.0 * band.sd / libm::sqrt(DRAWS as f64),
        "{} for {mean}",
        band.mean
    );
}

#[test]
fn a_limit_that_moves_clamps_inside_every_draw() {
    // The cell asks for 1.33, the limit 1.2 moves with SD 0.1: N is straight in min(1.33, max(1, 1.2 · z)) − 1. Mean of a clamped normal variable:
    // m = a Φ(α) + b (1 − Φ(β)) + μ (Φ(β) − Φ(α)) + σ (φ(α) − φ(β)), α = (a − μ)/σ, β = (b − μ)/σ (textbook).
    let spreads = Spreads {
        ratio: 0.1,
        limit: Some(1.2),
        ..Spreads::default()
    };
    let band = drawn(spreads, 6);
    let (a, b, mean, sd) = (1.0, 1.33, 1.2, 0.12);
    let (alpha, beta) = ((a - mean) / sd, (b - mean) / sd);
    let below = |z: f64| 0.5 * libm::erfc(-z / core::f64::consts::SQRT_2);
    let density = |z: f64| libm::exp(-z * z / 2.0) / libm::sqrt(core::f64::consts::TAU);
    let clamped = a * below(alpha)
        + b * (1.0 - below(beta))
        + mean * (below(beta) - below(alpha))
        + sd * (density(alpha) - density(beta));
    let per_ratio = plain() / 0.33;
    let error = 4.0 * band.sd / libm::sqrt(DRAWS as f64);
    assert!(
        (band.mean - per_ratio * (clamped - 1.0)).abs() < error,
        "{} for {}",
        band.mean,
        per_ratio * (clamped - 1.0)
    );
    assert!(band.high <= plain() + 1e-9 && band.low >= 0.0);
}

#[test]
fn the_optimum_of_a_square_root_is_its_curve() {
    let root = SquareRoot {
        optimum: NRate::kg_per_ha(200.0),
        applied_before: NRate::ZERO,
        credits: NRate::ZERO,
        extra: NRate::ZERO,
        zone_scalar: 1.0,
        delta: 0.3,
        dead_band: 0.0,
        back_off: None,
    };
    let model = RateModel {
        method: Method::new(root),
        limits: limits(),
        blend: None,
    };
    let spreads = Spreads {
        curve: 0.1,
        ..Spreads::default()
    }
    .of_model(&model);
    let mut all: Vec<f64> = (0..DRAWS)
        .map(|k| spreads.draw(9, k).moved(&model).exact(0.85, 1.0).unwrap())
        .collect();
    // SI 0.85: √0.5 of 200.
    let n = 200.0 * libm::sqrt(0.5);
    normal_within(&band_of(&mut all).unwrap(), n, 0.1 * n);
}
