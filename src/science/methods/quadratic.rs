//! Sufficiency index of a chlorophyll meter: nitrogen up to the top of a parabola.
//!
//! `SI = c0 + c1 · N + c2 · N²`, so a crop at SI has had `N(SI)` and lacks `N_top − N(SI) = √((SI_top − SI) / −c2)`, with `N_top = −c1 / (2 c2)`.

use super::{HAIR, MethodError, about, parameter};
use crate::units::NRate;

/// The parabola of sufficiency index against nitrogen. \[kg N/ha\]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quadratic {
    /// Sufficiency index without nitrogen, c0. \[–\]
    pub intercept: f64,
    /// c1. \[ha/kg N\]
    pub linear: f64,
    /// c2, below 0. \[(ha/kg N)²\]
    pub quadratic: f64,
    /// Sufficiency indices from 1 − this up need nothing. \[–\]
    pub dead_band: f64,
    /// The whole answer times this; 1 unless a simulation asks. \[–\]
    pub factor: f64,
}

impl Quadratic {
    /// The published parabola of corn between V8 and V12, read by a leaf chlorophyll meter.
    ///
    /// # Source
    /// Varvel et al. 2007, Agronomy Journal 99:701-706 (coefficients from memory: the paper's own text was not at hand).
    pub const fn published(dead_band: f64) -> Self {
        Self {
            intercept: 0.8073,
            linear: 0.002,
            quadratic: -0.000_005_6,
            dead_band,
            factor: 1.0,
        }
    }

    pub(super) fn check(&self) -> Result<(), MethodError> {
        let refuse =
            |what, value: f64, wanted| Err(parameter(about::QUADRATIC, what, &value, wanted));
        if !(self.intercept > 0.0 && self.intercept < 1.0) {
            return refuse(
                "the intercept",
                self.intercept,
                "it must lie between 0 and 1",
            );
        }
        if !(self.linear > 0.0 && self.linear.is_finite()) {
            return refuse("the linear term", self.linear, "it must be above 0");
        }
        if !(self.quadratic < 0.0 && self.quadratic.is_finite()) {
            return refuse(
                "the quadratic term",
                self.quadratic,
                "it must be below 0: without a top the parabola foretells no rate",
            );
        }
        if !(0.0..1.0).contains(&self.dead_band) {
            return refuse(
                "the dead band",
                self.dead_band,
                "it must be 0 or more and less than 1",
            );
        }
        if !(self.factor >= 0.0 && self.factor.is_finite()) {
            return refuse("the factor", self.factor, "it must be 0 or more");
        }
        Ok(())
    }

    /// Nitrogen at the top of the parabola: more than that it never asks for.
    pub fn top(&self) -> NRate {
        NRate::kg_per_ha(-self.linear / (2.0 * self.quadratic))
    }

    /// Sufficiency index at the top. \[–\]
    pub fn top_sufficiency(&self) -> f64 {
        self.intercept - self.linear * self.linear / (4.0 * self.quadratic)
    }

    /// Nitrogen for a sufficiency index; a crop that reads below the parabola's foot had nothing and lacks the whole of it.
    pub fn needed(&self, sufficiency: f64) -> NRate {
        let short = self.top_sufficiency() - sufficiency;
        if short <= 0.0 || 1.0 - sufficiency <= self.dead_band + HAIR {
            return NRate::ZERO;
        }
        NRate::kg_per_ha(libm::sqrt(short / -self.quadratic)).min(self.top()) * self.factor
    }

    /// The response index as used: 1 where nothing is needed.
    pub(super) fn used(&self, ratio_raw: f64) -> f64 {
        if self.needed(1.0 / ratio_raw) == NRate::ZERO {
            1.0
        } else {
            ratio_raw
        }
    }
}
