//! A rate for each class of values, classes half open: a value that stands on a bound belongs to the class above it.

use super::{MethodError, ReadBy, about, parameter};
use crate::units::NRate;

/// One class.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Class {
    /// Upper bound, not included; `None` for the last class, which has none. The lower bound is the class before's, so there are no gaps. \[–\]
    pub below: Option<f64>,
    /// Its rate.
    pub rate: NRate,
    /// Whether it is meant to get less than the class above it, because nitrogen is not what such ground lacks.
    pub back_off: bool,
}

/// A table that the user writes.
///
/// # Source
/// The user's own or the adviser's; the table's form is common practice.
#[derive(Clone, Debug, PartialEq)]
pub struct ClassTable {
    /// What the table is read by.
    pub by: ReadBy,
    /// Classes from the poorest up.
    pub classes: Vec<Class>,
}

impl ClassTable {
    pub(super) fn check(&self) -> Result<(), MethodError> {
        let refuse =
            |what, value: String, wanted| Err(parameter(about::CLASS_TABLE, what, &value, wanted));
        let Some((last, others)) = self.classes.split_last() else {
            return refuse(
                "the number of classes",
                "0".to_owned(),
                "at least one is needed",
            );
        };
        if let Some(bound) = last.below {
            return refuse(
                "the last class's bound",
                bound.to_string(),
                "the last class must have none, so that every value has a rate",
            );
        }
        let mut before = f64::NEG_INFINITY;
        for class in others {
            let Some(bound) = class.below else {
                return refuse(
                    "a class's bound",
                    "missing".to_owned(),
                    "every class but the last needs its upper bound, below",
                );
            };
            if !(bound.is_finite() && bound > before) {
                return refuse(
                    "a class's bound",
                    bound.to_string(),
                    "bounds must rise from class to class",
                );
            }
            before = bound;
        }
        for class in &self.classes {
            if !(class.rate.get() >= 0.0 && class.rate.is_finite()) {
                return refuse(
                    "a class's rate",
                    class.rate.to_string(),
                    "it must be 0 or more",
                );
            }
        }
        for pair in self.classes.windows(2) {
            if let [poorer, better] = pair
                && poorer.rate < better.rate
                && !poorer.back_off
            {
                let rates = format!("{} below {}", poorer.rate, better.rate);
                return refuse(
                    "a class's rate",
                    rates,
                    "a poorer class may get less than the one above it only with back_off = true",
                );
            }
        }
        Ok(())
    }

    /// Nitrogen for a value.
    pub fn needed(&self, value: f64) -> NRate {
        // `check` makes sure that the last class takes every value that no other took.
        self.classes
            .iter()
            .find(|class| class.below.is_none_or(|bound| value < bound))
            .map_or(NRate::ZERO, |class| class.rate)
    }
}
