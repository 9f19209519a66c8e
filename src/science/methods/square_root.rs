//! Sufficiency index with a square-root response.
//!
//! `N = (s · N_opt − N_before − N_credits + N_extra) · √min(1, (1 − SI) / ΔSI)`, and with a back-off
//! `√min(1, (1 − SI) / (ΔSI · (1 + 0.1 · exp(m · (SI_b − SI)))))`.

use crate::key::{Any, Kind, Record, key, keys, nitrogen};
use crate::science::certainty::Certainty;
use crate::science::methods::given::{Economic, Given, Read, checked};
use crate::science::methods::shared::{
    CURVE_ROW, CURVE_SPREAD, DEAD_BAND, ECONOMIC, INDEX, REGION, SENSOR, SOURCE, number,
};
use crate::science::methods::{
    About, BACKS_OFF, CellRate, Compared, Formula, Method, MethodError, ROUNDING_TOLERANCE,
    parameter,
};
use crate::units::NRate;

/// Record of the square-root response.
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
    fn checked(&self) -> Result<(), MethodError> {
        let refuse = |what, value: String, requirement| {
            Err(parameter(ABOUT.name, what, &value, requirement))
        };
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
    pub fn maximum(&self) -> NRate {
        (self.optimum * self.zone_scalar - self.applied_before - self.credits + self.extra)
            .max(NRate::ZERO)
    }

    /// Nitrogen for a sufficiency index.
    pub fn needed(&self, sufficiency: f64) -> NRate {
        let short = 1.0 - sufficiency;
        if short <= self.dead_band + ROUNDING_TOLERANCE {
            return NRate::ZERO;
        }
        let backed = self.back_off.map_or(1.0, |back| {
            1.0 + 0.1 * libm::exp(back.steepness * (back.below - sufficiency))
        });
        self.maximum() * libm::sqrt((short / (self.delta * backed)).min(1.0))
    }

    /// The response index as used: 1 inside the dead band.
    fn used(&self, ratio_raw: f64) -> f64 {
        if 1.0 - 1.0 / ratio_raw <= self.dead_band + ROUNDING_TOLERANCE {
            1.0
        } else {
            ratio_raw
        }
    }
}

keys! {
    KEYS: SquareRootKeys = "response", "[response]", "The method that turns index into nitrogen rate, and its parameters; each method has its own keys.",
    {
        optimum: NRate = nitrogen(
            "the season's optimum nitrogen rate, economic or your own,",
            "\"180 kg N/ha\"",
            "Optimum nitrogen rate of the season.",
        )
        .required_when("unless economic = true"),
        credits: NRate = nitrogen("the credits", "\"20 kg N/ha\"", "Nitrogen from manure, preceding crop or water, taken off the optimum.")
            .or("\"0 kg N/ha\""),
        extra: NRate = nitrogen("the compensation", "\"10 kg N/ha\"", "Nitrogen added to make up for a late application.")
            .or("\"0 kg N/ha\""),
        zone_scalar: f64 = key(
            Kind::Number,
            "the zone scalar",
            "1.0",
            "Factor on the optimum, for a field that is known to need more or less.",
        )
        .within("0", "2", "the optimum is multiplied by it")
        .or("1.0"),
        delta_si: f64 = key(
            Kind::Number,
            "1 − the sufficiency index of ground that got no nitrogen",
            "0.3",
            "How far the sufficiency index of ground without nitrogen lies below 1.",
        )
        .within(
            "0.02",
            "0.95",
            "1 − sufficiency index of ground without nitrogen, about 0.3 for corn in the middle of its growth",
        )
        .required(),
        dead_band: f64 = DEAD_BAND,
        back_off: Any = key(
            Kind::Table("response.back_off"),
            "the back-off",
            "{ steepness = 20, below = 0.7 }",
            "Lowers the rate where the crop is too poor to recover.",
        )
        .or_else("none"),
        curve_spread: f64 = CURVE_SPREAD,
        economic: bool = ECONOMIC,
        curve: Any = CURVE_ROW,
        index: String = INDEX.required(),
        region: String = REGION,
        sensor: String = SENSOR,
        source: String = SOURCE,
    }
}

keys! {
    BACK_OFF: BackOffKeys = "response.back_off", "back_off = { … }", "How the rate falls back where the crop is too poor to recover.",
    {
        steepness: f64 = number(
            "how fast the rate falls back",
            "20",
            "How fast the rate falls back.",
        )
        .within("0", "100", "how fast the rate falls back")
        .required(),
        below: f64 = number(
            "the sufficiency index around which it falls back",
            "0.7",
            "Sufficiency index around which it falls back.",
        )
        .within("0", "1", "the sufficiency index around which it falls back")
        .required(),
    }
}

/// What the method is.
pub const ABOUT: About = About {
    name: "square root",
    gives: "the share of the season's optimum that is still lacking, steep near sufficiency",
    formula: "SI = I / I_ref; N = max(0, s · optimum − applied before − credits + extra) · √min(1, (1 − SI) / ΔSI); nothing from SI = 1 − dead band up; with back-off ΔSI · (1 + 0.1 · exp(m · (SI_b − SI))) in its place",
    units: "amounts in kg N/ha, the rest plain numbers",
    range: "corn, vegetative stages; ΔSI is that of the index and stage in hand; back-off steepness 0 to 100, zone scalar 0 to 2",
    needs: "optimum, delta_si, index",
    source: "Holland and Schepers 2010, Agronomy Journal 102:1415-1424; back-off: 2013, Precision Agriculture 14:71-85",
    certainty: Certainty::FromMemory,
    crop: None,
    instrument: None,
    keys: SquareRootKeys::TABLE.keys,
    tables: &[BackOffKeys::TABLE],
    read: Some(read),
};

fn read(given: &mut dyn Given) -> Option<Read> {
    let optimum = match given.economic() {
        Economic::Optimum(optimum) => Some(optimum),
        Economic::Missing => given.nitrogen(&KEYS.optimum),
        Economic::NotAsked => {
            let own = given.nitrogen(&KEYS.optimum);
            given.require(&KEYS.optimum);
            own
        }
    };
    let credits = given.nitrogen(&KEYS.credits).unwrap_or(NRate::ZERO);
    let extra = given.nitrogen(&KEYS.extra).unwrap_or(NRate::ZERO);
    let zone_scalar = given.number(&KEYS.zone_scalar);
    let delta = given.number(&KEYS.delta_si);
    let dead_band = given.number(&KEYS.dead_band);
    let mut back_off = None;
    given.table(&KEYS.back_off, &mut |table| {
        let steepness = table.number(&BACK_OFF.steepness);
        let below = table.number(&BACK_OFF.below);
        back_off = steepness
            .zip(below)
            .map(|(steepness, below)| BackOff { steepness, below });
    });
    let root = SquareRoot {
        optimum: optimum?,
        applied_before: given.applied_before(),
        credits,
        extra,
        zone_scalar: zone_scalar?,
        delta: delta?,
        dead_band: dead_band?,
        back_off,
    };
    let key = if root.dead_band >= root.delta {
        &KEYS.dead_band.row
    } else {
        &KEYS.optimum.row
    };
    checked(given, key, Method::new(root))
}

impl Formula for SquareRoot {
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
        self.back_off.is_none()
    }
    fn direction(&self) -> &'static str {
        BACKS_OFF
    }
    fn dead_band(&self) -> Option<f64> {
        Some(self.dead_band)
    }
    fn parameters(&self) -> Record {
        Record::new()
            .put(&KEYS.optimum, self.optimum.get())
            .add("applied_before_kg_n_ha", self.applied_before.get())
            .put(&KEYS.credits, self.credits.get())
            .put(&KEYS.extra, self.extra.get())
            .put(&KEYS.zone_scalar, self.zone_scalar)
            .put(&KEYS.delta_si, self.delta)
            .put(&KEYS.dead_band, self.dead_band)
            .put(
                &KEYS.back_off,
                self.back_off.map(|back| {
                    Record::new()
                        .put(&BACK_OFF.steepness, back.steepness)
                        .put(&BACK_OFF.below, back.below)
                        .value()
                }),
            )
    }
    fn scaled(&self, factor: f64) -> Option<Method> {
        Some(Method::new(Self {
            optimum: self.optimum * factor,
            ..*self
        }))
    }
}
