//! A straight line between two values: `N = N_high + (N_low − N_high) · clamp((V_high − V) / (V_high − V_low), 0, 1)`.

use super::{MethodError, ReadBy, about, parameter};
use crate::units::NRate;

/// A ramp that the user draws.
///
/// # Source
/// Arithmetic. That almost any line that falls with the index helps and that its place is the real question: two authors of the wheat methods in a slide
/// set of 2013 (read, in our words).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinearRamp {
    /// What the ramp is read by.
    pub by: ReadBy,
    /// Value at and below which `at_low` is given. \[–\]
    pub low: f64,
    /// Value at and above which `at_high` is given. \[–\]
    pub high: f64,
    /// Rate of the poorest.
    pub at_low: NRate,
    /// Rate of the best.
    pub at_high: NRate,
}

impl LinearRamp {
    pub(super) fn check(&self) -> Result<(), MethodError> {
        if !(self.low.is_finite() && self.high.is_finite() && self.low < self.high) {
            return Err(parameter(
                about::LINEAR_RAMP,
                "the pair of values",
                &format!("{} and {}", self.low, self.high),
                "the low one must be below the high one",
            ));
        }
        for rate in [self.at_low, self.at_high] {
            if !(rate.get() >= 0.0 && rate.is_finite()) {
                return Err(parameter(
                    about::LINEAR_RAMP,
                    "a rate",
                    &rate,
                    "it must be 0 or more",
                ));
            }
        }
        Ok(())
    }

    /// Nitrogen for a value.
    pub fn needed(&self, value: f64) -> NRate {
        let share = ((self.high - value) / (self.high - self.low)).clamp(0.0, 1.0);
        self.at_high + (self.at_low - self.at_high) * share
    }
}
