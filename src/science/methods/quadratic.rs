//! Sufficiency index of a chlorophyll meter: nitrogen up to the top of a parabola.
//!
//! `SI = c0 + c1 · N + c2 · N²`, so a crop at SI has had `N(SI)` and lacks `N_top − N(SI) = √((SI_top − SI) / −c2)`, with `N_top = −c1 / (2 c2)`.

use crate::key::{Any, Kind, Record, key, keys};
use crate::science::certainty::Certainty;
use crate::science::methods::given::{Given, Read, checked};
use crate::science::methods::shared::{
    CURVE_SPREAD, DEAD_BAND, INDEX, REGION, SENSOR, SOURCE, number, source,
};
use crate::science::methods::{
    About, CellRate, Compared, Formula, Method, MethodError, ROUNDING_TOLERANCE, parameter,
};
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

    fn checked(&self) -> Result<(), MethodError> {
        let refuse =
            |what, value: f64, requirement| Err(parameter(ABOUT.name, what, &value, requirement));
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
                "it must be below 0: without a top the parabola gives no rate",
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
        if short <= 0.0 || 1.0 - sufficiency <= self.dead_band + ROUNDING_TOLERANCE {
            return NRate::ZERO;
        }
        NRate::kg_per_ha(libm::sqrt(short / -self.quadratic)).min(self.top()) * self.factor
    }

    /// The response index as used: 1 where nothing is needed.
    fn used(&self, ratio_raw: f64) -> f64 {
        if self.needed(1.0 / ratio_raw) == NRate::ZERO {
            1.0
        } else {
            ratio_raw
        }
    }
}

keys! {
    KEYS: QuadraticKeys = "response", "[response]", "The method that turns index into nitrogen rate, and its parameters; each method has its own keys.",
    {
        dead_band: f64 = DEAD_BAND,
        meter_curve: Any = key(
            Kind::Table("response.meter_curve"),
            "the meter's curve",
            "{ intercept = 0.81, linear = 0.002, quadratic = -0.0000056, source = \"own trials\" }",
            "Your own quadratic of sufficiency index over nitrogen.",
        )
        .or_else("the published one"),
        curve_spread: f64 = CURVE_SPREAD,
        index: String = INDEX,
        region: String = REGION,
        sensor: String = SENSOR,
        source: String = SOURCE,
    }
}

keys! {
    METER_CURVE: MeterCurveKeys = "response.meter_curve", "meter_curve = { … }", "Sufficiency index as a quadratic of nitrogen in kg/ha.",
    {
        intercept: f64 = number(
            "the sufficiency index without nitrogen",
            "0.81",
            "Sufficiency index without nitrogen.",
        )
        .within("0", "1", "the sufficiency index without nitrogen")
        .required(),
        linear: f64 = number(
            "the linear term, a kg N/ha",
            "0.002",
            "Linear term, a kg N/ha.",
        )
        .within(
            "0",
            "0.1",
            "a kg N/ha raises the sufficiency index by about 0.002",
        )
        .required().recorded("ha_kg_n"),
        quadratic: f64 = number(
            "the quadratic term, a kg N/ha squared",
            "-0.0000056",
            "Quadratic term, a kg N/ha squared; below 0.",
        )
        .within(
            "-0.01",
            "0",
            "below 0: the parabola bends down, by about −0.0000056 a kg N/ha squared",
        )
        .required().recorded("ha2_kg2_n"),
        source: String = source("where the coefficients come from"),
    }
}

/// What the method is.
pub const ABOUT: About = About {
    name: "quadratic",
    gives: "nitrogen up to the top of a parabola of meter readings",
    formula: "SI = 0.8073 + 0.002 · N − 0.0000056 · N²; N = √((SI_top − SI) / 0.0000056), at most 178.6 kg N/ha; nothing from SI = 1 − dead band up",
    units: "N in kg N/ha, the rest plain numbers",
    range: "corn V8 to V12, readings of a leaf chlorophyll meter",
    needs: "nothing; meter_curve for coefficients of your own",
    source: "Varvel et al. 2007, Agronomy Journal 99:701-706",
    certainty: Certainty::FromMemory,
    crop: Some("corn"),
    instrument: Some("a leaf chlorophyll meter"),
    keys: QuadraticKeys::TABLE.keys,
    tables: &[MeterCurveKeys::TABLE],
    read: Some(read),
};

fn read(given: &mut dyn Given) -> Option<Read> {
    let mut curve = Quadratic::published(given.number(&KEYS.dead_band)?);
    let mut own = None;
    let stands = given.table(&KEYS.meter_curve, &mut |table| {
        let intercept = table.number(&METER_CURVE.intercept);
        let linear = table.number(&METER_CURVE.linear);
        let quadratic = table.number(&METER_CURVE.quadratic);
        let source = table.text(&METER_CURVE.source);
        own = intercept.zip(linear).zip(quadratic).zip(source);
    });
    let source = if stands {
        let (((intercept, linear), quadratic), source) = own?;
        curve = Quadratic {
            intercept,
            linear,
            quadratic,
            ..curve
        };
        Some(source)
    } else {
        None
    };
    let read = checked(given, &KEYS.meter_curve, Method::new(curve))?;
    Some(Read { source, ..read })
}

impl Formula for Quadratic {
    fn about(&self) -> &'static About {
        &ABOUT
    }
    fn check(&self) -> Result<(), MethodError> {
        self.checked()
    }
    fn rate(&self, at: &Compared<'_>) -> Option<CellRate> {
        Some(at.by_need(false, |seen| {
            (Some(self.used(seen.ratio)), self.needed(seen.sufficiency))
        }))
    }
    fn divides_by_index(&self) -> bool {
        true
    }
    fn falls_with_index(&self) -> bool {
        true
    }
    fn dead_band(&self) -> Option<f64> {
        Some(self.dead_band)
    }
    fn parameters(&self) -> Record {
        Record::new()
            .put(&METER_CURVE.intercept, self.intercept)
            .put(&METER_CURVE.linear, self.linear)
            .put(&METER_CURVE.quadratic, self.quadratic)
            .put(&KEYS.dead_band, self.dead_band)
    }
    fn scaled(&self, factor: f64) -> Option<Method> {
        Some(Method::new(Self {
            factor: self.factor * factor,
            ..*self
        }))
    }
}
