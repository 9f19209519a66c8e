//! Growing degrees of a day: how far it lay above a crop's base temperature, by either of the two published readings of one equation.
//!
//! Everything is reckoned in whole parts of a degree, so that a mean of exactly the base gives exactly nothing, whatever the unit of the record.

use super::growing_days::{PARTS_PER_CELSIUS, TemperatureUnit, ThresholdTemperature};
use thiserror::Error;

/// How a day's least and greatest temperature become its growing degrees.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DayRule {
    /// Method 1: the mean of both, less the base, never below zero.
    Mean,
    /// Method 2: each of both is first raised to the base if it lies below, then the mean less the base. Never less than method 1.
    Extremes,
}

impl DayRule {
    /// The word of it in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Mean => "mean",
            Self::Extremes => "extremes",
        }
    }
}

/// What a ceiling holds down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CeilingOn {
    /// Each of the two temperatures, before they are averaged.
    Extremes,
    /// The mean of both.
    Mean,
}

impl CeilingOn {
    /// The word of it in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Extremes => "extremes",
            Self::Mean => "mean",
        }
    }
}

/// Growing degrees, summed over days. \[parts of a degree Celsius and day\] Exact.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct DegreeDays(i64);

impl DegreeDays {
    /// In degrees Celsius and days. \[°C d\]
    pub fn celsius(self) -> f64 {
        self.0 as f64 / (2 * PARTS_PER_CELSIUS) as f64
    }
    /// In degrees Fahrenheit and days. \[°F d\] A difference: no 32 comes in.
    pub fn fahrenheit(self) -> f64 {
        self.0 as f64 / 10_000.0
    }
}

impl std::ops::Add for DegreeDays {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

/// Why a rule is none.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum GrowingRuleError {
    /// The ceiling leaves no room above the base.
    #[error("the ceiling of {ceiling} does not lie above the base temperature of {base}")]
    CeilingBelowBase {
        /// Ceiling.
        ceiling: ThresholdTemperature,
        /// Base.
        base: ThresholdTemperature,
    },
}

/// How growing degrees of a day are reckoned.
///
/// # Source
/// G. S. `McMaster` and W. W. Wilhelm 1997, Agricultural and Forest Meteorology 87:291-300: the two methods (abstract read). Ceilings: 86 °F on the greatest temperature
/// of corn is common practice; that some hold down the mean instead, too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct GrowingRule {
    base: ThresholdTemperature,
    rule: DayRule,
    ceiling: Option<(ThresholdTemperature, CeilingOn)>,
}

impl GrowingRule {
    /// Method 1 without a ceiling.
    pub const fn mean(base: ThresholdTemperature) -> Self {
        Self {
            base,
            rule: DayRule::Mean,
            ceiling: None,
        }
    }

    /// Any rule.
    ///
    /// # Errors
    /// When the ceiling does not lie above the base.
    pub const fn new(
        base: ThresholdTemperature,
        rule: DayRule,
        ceiling: Option<(ThresholdTemperature, CeilingOn)>,
    ) -> Result<Self, GrowingRuleError> {
        match ceiling {
            Some((ceiling, _)) if ceiling.parts() <= base.parts() => {
                Err(GrowingRuleError::CeilingBelowBase { ceiling, base })
            }
            _ => Ok(Self {
                base,
                rule,
                ceiling,
            }),
        }
    }

    /// The temperature above which the crop grows.
    pub const fn base(&self) -> ThresholdTemperature {
        self.base
    }
    /// Method 1 or 2.
    pub const fn rule(&self) -> DayRule {
        self.rule
    }
    /// The temperature above which it grows no faster, and what that holds down.
    pub const fn ceiling(&self) -> Option<(ThresholdTemperature, CeilingOn)> {
        self.ceiling
    }

    /// Growing degrees of one day, from its least and greatest temperature in thousandths of `unit`.
    ///
    /// Method 1: `max(0, (Tmax + Tmin) / 2 − base)`. Method 2: the same after each was raised to the base. A ceiling on the extremes lowers each of
    /// them to it first; a ceiling on the mean lowers their mean.
    pub fn degrees(
        &self,
        tmin_thousandths: i64,
        tmax_thousandths: i64,
        unit: TemperatureUnit,
    ) -> DegreeDays {
        let base = self.base.parts();
        let mut extremes = [unit.parts(tmin_thousandths), unit.parts(tmax_thousandths)];
        if let Some((ceiling, CeilingOn::Extremes)) = self.ceiling {
            extremes = extremes.map(|value| value.min(ceiling.parts()));
        }
        if self.rule == DayRule::Extremes {
            extremes = extremes.map(|value| value.max(base));
        }
        let mut twice_mean = extremes[0].saturating_add(extremes[1]);
        if let Some((ceiling, CeilingOn::Mean)) = self.ceiling {
            twice_mean = twice_mean.min(ceiling.parts().saturating_mul(2));
        }
        DegreeDays(twice_mean.saturating_sub(base.saturating_mul(2)).max(0))
    }

    /// In a sentence: `mean of the day above 4.4 °C`.
    pub fn text(&self) -> String {
        let what = match self.rule {
            DayRule::Mean => "mean of the day",
            DayRule::Extremes => "mean of the day, each extreme raised to the base,",
        };
        let held = match self.ceiling {
            None => String::new(),
            Some((ceiling, CeilingOn::Extremes)) => format!(", extremes limited to {ceiling}"),
            Some((ceiling, CeilingOn::Mean)) => format!(", mean limited to {ceiling}"),
        };
        format!("{what} above {}{held}", self.base)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_ceiling_must_lie_above_the_base() {
        let (base, ceiling) = (
            ThresholdTemperature::celsius(10.0),
            ThresholdTemperature::fahrenheit(50.0),
        );
        let error =
            GrowingRule::new(base, DayRule::Mean, Some((ceiling, CeilingOn::Mean))).unwrap_err();
        assert_eq!(
            error.to_string(),
            "the ceiling of 50 °F does not lie above the base temperature of 10 °C"
        );
    }

    proptest! {
        /// Method 2 never gives less than method 1, a ceiling never more, and a mean of the base or less gives nothing by method 1.
        #[test]
        fn order_of_the_methods(tmin in -40_000_i64..40_000, warmer in 0_i64..30_000) {
            let base = ThresholdTemperature::celsius(4.4);
            let ceiling = ThresholdTemperature::celsius(30.0);
            let tmax = tmin + warmer;
            let degrees = |rule, ceiling| GrowingRule::new(base, rule, ceiling).unwrap().degrees(tmin, tmax, TemperatureUnit::Celsius);
            let (one, two) = (degrees(DayRule::Mean, None), degrees(DayRule::Extremes, None));
            prop_assert!(one <= two);
            prop_assert!(degrees(DayRule::Mean, Some((ceiling, CeilingOn::Extremes))) <= one);
            prop_assert!(degrees(DayRule::Extremes, Some((ceiling, CeilingOn::Extremes))) <= two);
            prop_assert_eq!(one > DegreeDays::default(), tmin + tmax > 8_800);
        }
    }
}
