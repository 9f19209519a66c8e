//! A straight line between two values: `N = N_high + (N_low − N_high) · clamp((V_high − V) / (V_high − V_low), 0, 1)`.

use crate::key::{Kind, Record, key, keys, nitrogen};
use crate::science::certainty::Certainty;
use crate::science::methods::given::{Given, Read, checked, choice};
use crate::science::methods::shared::{INDEX, READ_BY, REGION, SENSOR, SOURCE};
use crate::science::methods::{
    About, CellRate, Compared, Formula, Method, MethodError, ReadBy, parameter,
};
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
    fn checked(&self) -> Result<(), MethodError> {
        if !(self.low.is_finite() && self.high.is_finite() && self.low < self.high) {
            return Err(parameter(
                ABOUT.name,
                "the pair of values",
                &format!("{} and {}", self.low, self.high),
                "the low one must be below the high one",
            ));
        }
        for rate in [self.at_low, self.at_high] {
            if !(rate.get() >= 0.0 && rate.is_finite()) {
                return Err(parameter(
                    ABOUT.name,
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

const VALUE: &str = "values of an index or of sufficiency";

keys! {
    KEYS: LinearRampKeys = "response", "[response]", "The method that turns index into nitrogen rate, and its parameters; each method has its own keys.",
    {
        by: ReadBy = READ_BY,
        low: f64 = key(
            Kind::Number,
            "the value at and below which at_low is given",
            "0.35",
            "Value at and below which at_low is applied.",
        )
        .within("-1", "100", VALUE)
        .required(),
        high: f64 = key(
            Kind::Number,
            "the value at and above which at_high is given",
            "0.80",
            "Value at and above which at_high is applied.",
        )
        .within("-1", "100", VALUE)
        .required(),
        at_low: NRate = nitrogen("the rate of the poorest", "\"120 kg N/ha\"", "Rate of the poorest crop.").required(),
        at_high: NRate = nitrogen("the rate of the best", "\"20 kg N/ha\"", "Rate of the best crop.").required(),
        index: String = INDEX.required(),
        region: String = REGION,
        sensor: String = SENSOR,
        source: String = SOURCE,
    }
}

/// What the method is.
pub const ABOUT: About = About {
    name: "linear ramp",
    gives: "a straight line between two values of the index or of sufficiency",
    formula: "N = at_high + (at_low − at_high) · clamp((high − V) / (high − low), 0, 1)",
    units: "rates in kg N/ha, V a plain number",
    range: "where the user's two values hold: of one index, or of sufficiency by one index",
    needs: "by, index, low, high, at_low, at_high",
    source: "arithmetic; where the two values lie is the user's or the adviser's decision",
    certainty: Certainty::CommonPractice,
    crop: None,
    instrument: None,
    keys: LinearRampKeys::TABLE.keys,
    tables: &[],
    read: Some(read),
};

fn read(given: &mut dyn Given) -> Option<Read> {
    let by = choice(given, &KEYS.by);
    let (low, high) = (given.number(&KEYS.low), given.number(&KEYS.high));
    let (at_low, at_high) = (given.nitrogen(&KEYS.at_low), given.nitrogen(&KEYS.at_high));
    let ramp = LinearRamp {
        by: by?,
        low: low?,
        high: high?,
        at_low: at_low?,
        at_high: at_high?,
    };
    checked(given, &KEYS.low, Method::new(ramp))
}

impl Formula for LinearRamp {
    fn about(&self) -> &'static About {
        &ABOUT
    }
    fn check(&self) -> Result<(), MethodError> {
        self.checked()
    }
    fn rate(&self, at: &Compared<'_>) -> Option<CellRate> {
        Some(at.by_need(false, |seen| {
            let (used, value) = seen.read(self.by);
            (used, self.needed(value))
        }))
    }
    fn divides_by_index(&self) -> bool {
        self.by == ReadBy::Sufficiency
    }
    fn falls_with_index(&self) -> bool {
        self.at_low >= self.at_high
    }
    fn rises(&self) -> Option<String> {
        (self.at_low < self.at_high).then(|| {
            format!(
                "the ramp rises: {:.1} at {} and {:.1} at {}",
                self.at_low, self.low, self.at_high, self.high
            )
        })
    }
    fn parameters(&self) -> Record {
        Record::new()
            .put(&KEYS.by, self.by.word())
            .put(&KEYS.low, self.low)
            .put(&KEYS.high, self.high)
            .put(&KEYS.at_low, self.at_low.get())
            .put(&KEYS.at_high, self.at_high.get())
    }
}
