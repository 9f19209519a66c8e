//! Square root of what a chlorophyll index of the canopy lacks: `N = 317 · √(0.97 − SI)` kg/ha, nothing from 0.97 up.

use super::{MethodError, about, parameter};
use crate::units::NRate;

/// `N = scale · √(enough − SI)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChlorophyllRoot {
    /// Nitrogen at a lack of 1. \[kg N/ha\]
    pub scale: NRate,
    /// Sufficiency index from which nothing is needed. \[–\]
    pub enough: f64,
}

impl ChlorophyllRoot {
    /// The published form for corn, sufficiency from a chlorophyll index of an active canopy sensor at 590 nm and near infrared.
    ///
    /// # Source
    /// Solari et al. 2010, Agronomy Journal 102 (figures from memory, pages not recalled). It is the meter's parabola with a sensor-to-meter slope of
    /// 0.5625: 317 / √(1 / 5.6e-6) = 0.750 = √0.5625 (arithmetic).
    pub const PUBLISHED: Self = Self {
        scale: NRate::kg_per_ha(317.0),
        enough: 0.97,
    };

    pub(super) fn check(&self) -> Result<(), MethodError> {
        if !(self.scale.get() >= 0.0 && self.scale.is_finite()) {
            return Err(parameter(
                about::CHLOROPHYLL,
                "the scale",
                &self.scale,
                "it must be 0 or more",
            ));
        }
        if !(self.enough > 0.0 && self.enough <= 1.0) {
            return Err(parameter(
                about::CHLOROPHYLL,
                "the index that is enough",
                &self.enough,
                "it must lie above 0 and not above 1",
            ));
        }
        Ok(())
    }

    /// Nitrogen for a sufficiency index.
    pub fn needed(&self, sufficiency: f64) -> NRate {
        self.scale * libm::sqrt((self.enough - sufficiency).max(0.0))
    }
}
