//! One rate for all canopy: `N = rate − applied since sensing`.

use crate::key::{Any, Record, keys, nitrogen};
use crate::science::certainty::Certainty;
use crate::science::methods::given::{Economic, Given, Read};
use crate::science::methods::shared::{CURVE_ROW, ECONOMIC, REGION, SENSOR, SOURCE};
use crate::science::methods::{About, CellRate, Compared, Formula, Method, MethodError, parameter};
use crate::units::NRate;

/// The one rate.
///
/// # Source
/// The user's own or the adviser's; common practice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flat(pub NRate);

impl Flat {
    fn checked(self) -> Result<(), MethodError> {
        if self.0.get() >= 0.0 && self.0.is_finite() {
            return Ok(());
        }
        Err(parameter(
            ABOUT.name,
            "the rate",
            &self.0,
            "it must be 0 or more",
        ))
    }
}

keys! {
    KEYS: FlatKeys = "response", "[response]", "The method that turns index into nitrogen rate, and its parameters; each method has its own keys.",
    {
        rate: NRate = nitrogen("the rate", "\"60 kg N/ha\"", "The one rate of the field.").required_when("unless economic = true"),
        economic: bool = ECONOMIC,
        curve: Any = CURVE_ROW,
        region: String = REGION,
        sensor: String = SENSOR,
        source: String = SOURCE,
    }
}

/// What the method is.
pub const ABOUT: About = About {
    name: "flat",
    gives: "one rate for all canopy; bare, thin and unseen ground keep their rules",
    formula: "N = rate − applied since sensing",
    units: "kg N/ha",
    range: "everywhere",
    needs: "rate",
    source: "the user's or the adviser's own rate; common practice",
    certainty: Certainty::CommonPractice,
    crop: None,
    instrument: None,
    keys: FlatKeys::TABLE.keys,
    tables: &[],
    read: Some(read),
};

fn read(given: &mut dyn Given) -> Option<Read> {
    // The optimum is the season's; what the crop got before is no longer to be given.
    let before = given.applied_before();
    let rate = match given.economic() {
        Economic::Optimum(optimum) => Some((optimum - before).max(NRate::ZERO)),
        Economic::Missing => given.nitrogen(&KEYS.rate),
        Economic::NotAsked => {
            let own = given.nitrogen(&KEYS.rate);
            given.require(&KEYS.rate);
            own
        }
    };
    Some(Read {
        method: Method::new(Flat(rate?)),
        source: None,
    })
}

impl Formula for Flat {
    fn about(&self) -> &'static About {
        &ABOUT
    }
    fn check(&self) -> Result<(), MethodError> {
        self.checked()
    }
    fn rate(&self, at: &Compared<'_>) -> Option<CellRate> {
        Some(at.by_need(false, |_| (None, self.0)))
    }
    fn divides_by_index(&self) -> bool {
        false
    }
    fn falls_with_index(&self) -> bool {
        true
    }
    fn direction(&self) -> &'static str {
        "one rate for all canopy"
    }
    fn parameters(&self) -> Record {
        Record::new().put(&KEYS.rate, self.0.get())
    }
}
