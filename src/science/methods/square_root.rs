//! Sufficiency index with a square-root response.
//!
//! `N = (s · N_opt − N_before − N_credits + N_extra) · √min(1, (1 − SI) / ΔSI)`, and with a back-off
//! `√min(1, (1 − SI) / (ΔSI · (1 + 0.1 · exp(m · (SI_b − SI)))))`.

use super::{HAIR, MethodError, about, parameter};
use crate::units::NRate;

/// Parameters of the square-root response.
///
/// # Source
/// Holland and Schepers 2010, Agronomy Journal 102:1415-1424; the back-off: Holland and Schepers 2013, Precision Agriculture 14:71-85. Both formulas from
/// memory: the papers' own text was not at hand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SquareRoot {
    /// Optimum nitrogen of the whole season, `N_opt`: economic, or the grower's own.
    pub optimum: NRate,
    /// Nitrogen applied before sensing, `N_before`.
    pub applied_before: NRate,
    /// Nitrogen from elsewhere: legumes, manure, water, organic matter; `N_credits`.
    pub credits: NRate,
    /// Nitrogen added for limits that stress sets, `N_extra`.
    pub extra: NRate,
    /// Scalar of a management zone, s; 0 … 2. \[–\]
    pub zone_scalar: f64,
    /// `ΔSI`: 1 − sufficiency index where no nitrogen was given. \[–\]
    pub delta: f64,
    /// Sufficiency indices from 1 − this up need nothing. \[–\] The root is infinitely steep at SI = 1, so that noise alone would draw nitrogen.
    pub dead_band: f64,
    /// Less again for ground so poor that nitrogen is not what it lacks.
    pub back_off: Option<BackOff>,
}

/// Where and how fast the rate falls back on ruined ground.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BackOff {
    /// Steepness, m; 0 … 100. \[–\]
    pub steepness: f64,
    /// Sufficiency index around which it sets in, `SI_b`. \[–\]
    pub below: f64,
}

impl SquareRoot {
    pub(super) fn check(&self) -> Result<(), MethodError> {
        let refuse =
            |what, value: String, wanted| Err(parameter(about::SQUARE_ROOT, what, &value, wanted));
        let amounts = [
            ("the optimum", self.optimum),
            ("nitrogen applied before", self.applied_before),
            ("the credits", self.credits),
            ("the extra nitrogen", self.extra),
        ];
        for (what, amount) in amounts {
            if !(amount.get() >= 0.0 && amount.is_finite()) {
                return refuse(what, amount.to_string(), "it must be 0 or more");
            }
        }
        if !(0.0..=2.0).contains(&self.zone_scalar) {
            return refuse(
                "the zone scalar",
                self.zone_scalar.to_string(),
                "it must lie between 0 and 2",
            );
        }
        if !(self.delta > 0.0 && self.delta < 1.0) {
            return refuse(
                "delta_si",
                self.delta.to_string(),
                "it must lie between 0 and 1",
            );
        }
        if !(0.0..self.delta).contains(&self.dead_band) {
            return refuse(
                "the dead band",
                self.dead_band.to_string(),
                "it must be 0 or more and less than delta_si",
            );
        }
        match self.back_off {
            Some(back) if !(0.0..=100.0).contains(&back.steepness) => refuse(
                "the back-off's steepness",
                back.steepness.to_string(),
                "it must lie between 0 and 100",
            ),
            Some(back) if !(back.below > 0.0 && back.below < 1.0) => refuse(
                "the back-off's threshold",
                back.below.to_string(),
                "it must lie between 0 and 1",
            ),
            _ => Ok(()),
        }
    }

    /// What the bracket leaves at most: `max(0, s · N_opt − N_before − N_credits + N_extra)`.
    pub fn greatest(&self) -> NRate {
        (self.optimum * self.zone_scalar - self.applied_before - self.credits + self.extra)
            .max(NRate::ZERO)
    }

    /// Nitrogen for a sufficiency index.
    pub fn needed(&self, sufficiency: f64) -> NRate {
        let short = 1.0 - sufficiency;
        if short <= self.dead_band + HAIR {
            return NRate::ZERO;
        }
        let backed = self.back_off.map_or(1.0, |back| {
            1.0 + 0.1 * libm::exp(back.steepness * (back.below - sufficiency))
        });
        self.greatest() * libm::sqrt((short / (self.delta * backed)).min(1.0))
    }

    /// The response index as used: 1 inside the dead band.
    pub(super) fn used(&self, ratio_raw: f64) -> f64 {
        if 1.0 - 1.0 / ratio_raw <= self.dead_band + HAIR {
            1.0
        } else {
            ratio_raw
        }
    }
}
