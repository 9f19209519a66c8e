//! Square root of what a chlorophyll index of the canopy lacks: `N = 317 · √(0.97 − SI)` kg/ha, nothing from 0.97 up.

use crate::key::{Record, keys};
use crate::science::certainty::Certainty;
use crate::science::methods::given::{Given, Read, checked};
use crate::science::methods::shared::{CURVE_SPREAD, INDEX, REGION, SENSOR, SOURCE};
use crate::science::methods::{About, CellRate, Compared, Formula, Method, MethodError, parameter};
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

    fn checked(&self) -> Result<(), MethodError> {
        if !(self.scale.get() >= 0.0 && self.scale.is_finite()) {
            return Err(parameter(
                ABOUT.name,
                "the scale",
                &self.scale,
                "it must be 0 or more",
            ));
        }
        if !(self.enough > 0.0 && self.enough <= 1.0) {
            return Err(parameter(
                ABOUT.name,
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

keys! {
    KEYS: ChlorophyllKeys = "response", "[response]", "The method that turns index into nitrogen rate, and its parameters; each method has its own keys.",
    {
        curve_spread: f64 = CURVE_SPREAD,
        index: String = INDEX,
        region: String = REGION,
        sensor: String = SENSOR,
        source: String = SOURCE,
    }
}

/// What the method is.
pub const ABOUT: About = About {
    name: "chlorophyll root",
    gives: "the same for a canopy sensor's chlorophyll index",
    formula: "N = 317 · √(0.97 − SI); nothing from SI = 0.97 up",
    units: "N in kg N/ha, SI a plain number",
    range: "corn, vegetative stages; chlorophyll index of near infrared over 590 nm from an active sensor",
    needs: "nothing",
    source: "Solari et al. 2010, Agronomy Journal 102",
    certainty: Certainty::FromMemory,
    crop: Some("corn"),
    instrument: Some("a chlorophyll index at 590 nm"),
    keys: ChlorophyllKeys::TABLE.keys,
    tables: &[],
    read: Some(read),
};

fn read(given: &mut dyn Given) -> Option<Read> {
    let method = Method::new(ChlorophyllRoot::PUBLISHED);
    checked(given, &KEYS.index, method)
}

impl Formula for ChlorophyllRoot {
    fn about(&self) -> &'static About {
        &ABOUT
    }
    fn check(&self) -> Result<(), MethodError> {
        self.checked()
    }
    fn rate(&self, at: &Compared<'_>) -> Option<CellRate> {
        Some(at.by_need(true, |seen| {
            let held = seen.ratio.clamp(1.0, at.limits.maximum_ratio.max(1.0));
            (Some(held), self.needed(1.0 / held))
        }))
    }
    fn divides_by_index(&self) -> bool {
        true
    }
    fn falls_with_index(&self) -> bool {
        true
    }
    fn parameters(&self) -> Record {
        Record::new()
            .add("scale_kg_n_ha", self.scale.get())
            .add("enough", self.enough)
    }
    fn scaled(&self, factor: f64) -> Option<Method> {
        Some(Method::new(Self {
            scale: self.scale * factor,
            ..*self
        }))
    }
}
