//! Nitrogen from the yield that is in reach without and with it.
//!
//! `YP0 = min(a · exp(b · I / D), YPmax)`, `YPN = min(YP0 · RI, YPmax)`, `N = (YPN − YP0) · g / e − applied since sensing`.

use crate::key::{Any, Key, Kind, Record, Requirement, key, keys};
use crate::science::blend::{Blend, response_index};
use crate::science::certainty::Certainty;
use crate::science::methods::shared::{CURVE_SPREAD, number};
use crate::science::methods::{
    About, CellRate as Rate, Compared, Formula, Limits, Method, MethodError,
};
use crate::units::{NRate, Yield};
use thiserror::Error;

/// Yield in reach without more nitrogen, by canopy index and growing days.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct YieldCurve {
    /// Yield at index 0.
    pub a: Yield,
    /// Exponent. \[d\]
    pub b: f64,
}

impl YieldCurve {
    /// `a · exp(b · I / D)`, not yet held to the site's maximum.
    ///
    /// # Units
    /// - `index`: canopy index. \[–\]
    /// - `growing_days`: days from planting to sensing with a mean above the crop's base. \[d\] Above 0.
    ///
    /// # Source
    /// Exponential in the in-season estimate: Raun et al. 2002, Agronomy Journal 94:815-820 (from memory).
    ///
    /// # Examples
    /// ```
    /// # use haulm::{science::yield_response::YieldCurve, units::Yield};
    /// let curve = YieldCurve { a: Yield::kg_per_ha(590.0), b: 258.2 };
    /// assert_eq!(format!("{:.2}", curve.yield_at(0.50, 94.0)), "2329.77 kg/ha");
    /// ```
    pub fn yield_at(&self, index: f64, growing_days: f64) -> Yield {
        self.a * self.growth(index, growing_days)
    }
    /// The yield as a multiple of `a`: what hangs on the index alone, whatever scales the curve.
    fn growth(&self, index: f64, growing_days: f64) -> f64 {
        libm::exp(self.b * in_season_estimate(index, growing_days))
    }
}

/// The in-season estimate `I / D`. \[1/d\]
pub const fn in_season_estimate(index: f64, growing_days: f64) -> f64 {
    index / growing_days
}

/// What a rate depends on besides a cell's own index and the strip's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RateInputs {
    /// Yield curve.
    pub curve: YieldCurve,
    /// Growing days, D. \[d\]
    pub growing_days: f64,
    /// What the site can never exceed, `YPmax`.
    pub maximum_yield: Yield,
    /// Greatest response index that counts. \[–\]
    pub maximum_ratio: f64,
    /// Linear adjustment of the response index before it is held: slope and intercept; `None` leaves it raw.
    pub ratio_adjustment: Option<(f64, f64)>,
    /// Response indices up to 1 + this count as 1. \[–\]
    pub dead_band: f64,
    /// How much of a cell's index deficit counts as nitrogen, when not all of it does; `None` compares each cell with the strip.
    pub blend: Option<Blend>,
    /// Grain nitrogen, share of grain mass at market moisture, g.
    pub grain_nitrogen: f64,
    /// Share of applied nitrogen that reaches the grain, e.
    pub use_efficiency: f64,
    /// Nitrogen that went on after sensing.
    pub applied_since_sensing: NRate,
    /// Least rate.
    pub minimum: NRate,
    /// Greatest rate.
    pub maximum: NRate,
}

/// The method's own parameters, without the limits that hold for every method.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct YieldResponse {
    /// Yield curve.
    pub curve: YieldCurve,
    /// Growing days, D. \[d\]
    pub growing_days: f64,
    /// What the site can never exceed, `YPmax`.
    pub maximum_yield: Yield,
    /// Linear adjustment of the response index before it is held: slope and intercept; `None` leaves it raw.
    pub ratio_adjustment: Option<(f64, f64)>,
    /// Response indices up to 1 + this count as 1. \[–\]
    pub dead_band: f64,
    /// Grain nitrogen, share of grain mass at market moisture, g.
    pub grain_nitrogen: f64,
    /// Share of applied nitrogen that reaches the grain, e.
    pub use_efficiency: f64,
}

impl YieldResponse {
    /// With the limits of a run.
    pub const fn inputs(&self, limits: &Limits, blend: Option<Blend>) -> RateInputs {
        RateInputs {
            curve: self.curve,
            growing_days: self.growing_days,
            maximum_yield: self.maximum_yield,
            maximum_ratio: limits.maximum_ratio,
            ratio_adjustment: self.ratio_adjustment,
            dead_band: self.dead_band,
            blend,
            grain_nitrogen: self.grain_nitrogen,
            use_efficiency: self.use_efficiency,
            applied_since_sensing: limits.applied_since_sensing,
            minimum: limits.minimum,
            maximum: limits.maximum,
        }
    }
}

/// Which ceiling of yield binds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Capped {
    /// None.
    #[default]
    None,
    /// The yield without nitrogen already lies above the site's maximum: no response is left.
    Without,
    /// The yield with nitrogen does.
    With,
}

/// What one cell's rate comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CellRate {
    /// Response index as measured.
    pub ratio_raw: f64,
    /// Response index as used: adjusted, limited to 1 … maximum, dead band taken off.
    pub ratio: f64,
    /// YP0.
    pub yield_without: Yield,
    /// YPN.
    pub yield_with: Yield,
    /// Before it is held to the range; may be negative.
    pub n_raw: NRate,
    /// Held to the range, not rounded.
    pub n_exact: NRate,
    /// Which ceiling binds.
    pub capped: Capped,
}

/// An input that makes no sense.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum RateInputError {
    /// Growing days of 0 or less.
    #[error("growing days are {days}; they must be above 0")]
    GrowingDays {
        /// As given.
        days: f64,
    },
    /// A curve that gives no yield, or less with more canopy.
    #[error("the yield curve has a = {a} and b = {b} d; both must be above 0")]
    Curve {
        /// As given.
        a: Yield,
        /// As given.
        b: f64,
    },
    /// No yield to reach.
    #[error("the maximum yield is {maximum}; it must be above 0")]
    MaximumYield {
        /// As given.
        maximum: Yield,
    },
    /// A greatest response index below 1.
    #[error("the maximum response index is {maximum}; it must be 1 or more")]
    MaximumRatio {
        /// As given.
        maximum: f64,
    },
    /// An adjustment that is no number or turns the response round.
    #[error(
        "the response index is adjusted by {slope} · RI + {intercept}; the slope must be above 0"
    )]
    Adjustment {
        /// As given.
        slope: f64,
        /// As given.
        intercept: f64,
    },
    /// A negative dead band.
    #[error("the dead band is {dead_band}; it must be 0 or more")]
    DeadBand {
        /// As given.
        dead_band: f64,
    },
    /// A response index of the field of 0 or less.
    #[error("the field's response index is {ratio}; it must be above 0")]
    FieldRatio {
        /// As given.
        ratio: f64,
    },
    /// A nitrogen share outside 0 … 1.
    #[error("the nitrogen share is {share}; it must lie between 0 and 1")]
    NitrogenShare {
        /// As given.
        share: f64,
    },
    /// Shares outside 0 … 1.
    #[error(
        "grain nitrogen is {grain_nitrogen} and use efficiency {use_efficiency}; both are shares above 0 and up to 1 (2.39 % is 0.0239)"
    )]
    Shares {
        /// As given.
        grain_nitrogen: f64,
        /// As given.
        use_efficiency: f64,
    },
    /// A range of rates that is none.
    #[error(
        "the least rate is {minimum} and the greatest {maximum}; 0 or more is needed, and the least must not exceed the greatest"
    )]
    Range {
        /// As given.
        minimum: NRate,
        /// As given.
        maximum: NRate,
    },
    /// Nitrogen that was taken off.
    #[error("nitrogen applied since sensing is {applied}; it must be 0 or more")]
    Applied {
        /// As given.
        applied: NRate,
    },
}

/// Refuses a share that is none, and a response index of the field that is none.
pub(super) fn check_blend(blend: Option<Blend>) -> Result<(), RateInputError> {
    match blend {
        Some(Blend { share, .. }) if !(0.0..=1.0).contains(&share) => {
            Err(RateInputError::NitrogenShare { share })
        }
        Some(Blend { field_ratio, .. }) if !(field_ratio > 0.0 && field_ratio.is_finite()) => {
            Err(RateInputError::FieldRatio { ratio: field_ratio })
        }
        _ => Ok(()),
    }
}

impl RateInputs {
    /// Refuses inputs with which the formulas mean nothing.
    ///
    /// # Errors
    /// When one of them is not a number, not positive where it must be, or outside its range.
    pub fn check(&self) -> Result<(), RateInputError> {
        let positive = |value: f64| value > 0.0 && value.is_finite();
        let share = |value: f64| value > 0.0 && value <= 1.0;
        if !positive(self.growing_days) {
            return Err(RateInputError::GrowingDays {
                days: self.growing_days,
            });
        }
        if !positive(self.curve.a.get()) || !positive(self.curve.b) {
            return Err(RateInputError::Curve {
                a: self.curve.a,
                b: self.curve.b,
            });
        }
        if !positive(self.maximum_yield.get()) {
            return Err(RateInputError::MaximumYield {
                maximum: self.maximum_yield,
            });
        }
        if !(self.maximum_ratio >= 1.0 && self.maximum_ratio.is_finite()) {
            return Err(RateInputError::MaximumRatio {
                maximum: self.maximum_ratio,
            });
        }
        if let Some((slope, intercept)) = self.ratio_adjustment
            && !(positive(slope) && intercept.is_finite())
        {
            return Err(RateInputError::Adjustment { slope, intercept });
        }
        if !(self.dead_band >= 0.0 && self.dead_band.is_finite()) {
            return Err(RateInputError::DeadBand {
                dead_band: self.dead_band,
            });
        }
        check_blend(self.blend)?;
        if !(share(self.grain_nitrogen) && share(self.use_efficiency)) {
            return Err(RateInputError::Shares {
                grain_nitrogen: self.grain_nitrogen,
                use_efficiency: self.use_efficiency,
            });
        }
        if !(self.minimum.get() >= 0.0 && self.minimum <= self.maximum && self.maximum.is_finite())
        {
            return Err(RateInputError::Range {
                minimum: self.minimum,
                maximum: self.maximum,
            });
        }
        if !(self.applied_since_sensing.get() >= 0.0 && self.applied_since_sensing.is_finite()) {
            return Err(RateInputError::Applied {
                applied: self.applied_since_sensing,
            });
        }
        Ok(())
    }

    /// The response index as the job adjusts it, before any limit.
    pub fn adjusted_ratio(&self, raw: f64) -> f64 {
        self.ratio_adjustment
            .map_or(raw, |(slope, intercept)| slope * raw + intercept)
    }

    /// Whether a response index asks for more than counts.
    pub fn is_beyond(&self, raw: f64) -> bool {
        self.adjusted_ratio(raw) > self.maximum_ratio + 1e-12
    }

    /// The response index as used: adjusted first, then held to 1 … maximum, then 1 if not above 1 + dead band.
    pub fn held_ratio(&self, raw: f64) -> f64 {
        let adjusted = self.adjusted_ratio(raw);
        let held = adjusted.clamp(1.0, self.maximum_ratio.max(1.0));
        // The hair keeps a ratio that is 1 + dead band by hand, such as 1.05, from counting by its last bit.
        if held <= 1.0 + self.dead_band + 1e-12 {
            1.0
        } else {
            held
        }
    }
}

/// The nitrogen rate of one cell.
///
/// `RI = clamp(s · I_ref / I_cell + (1 − s) · RI_field, 1, maximum)` with the nitrogen share `s`, 1 without a blend, `YP0 = min(a · exp(b · I_cell / D), YPmax)`, `YPN = min(YP0 · RI, YPmax)`,
/// `N_raw = (YPN − YP0) · g / e − applied`, `N_exact = clamp(N_raw, minimum, maximum)`.
///
/// `None` when an index is missing or not above 0, so that a cell without a value never gets a rate. The inputs are taken to have passed
/// [`RateInputs::check`].
///
/// # Source
/// Difference of grain nitrogen over use efficiency: Raun et al. 2002, Agronomy Journal 94:815-820 (from memory); common practice.
///
/// # Examples
/// The check of the trade: index 0.50, 94 growing days and a strip 1.33 times as green give 33 lb of nitrogen an acre.
/// ```
/// # use haulm::science::yield_response::{RateInputs, YieldCurve, rate_of};
/// # use haulm::units::{NRate, Yield};
/// let inputs = RateInputs {
///     curve: YieldCurve { a: Yield::kg_per_ha(590.0), b: 258.2 },
///     growing_days: 94.0,
///     maximum_yield: Yield::bu_per_ac(100.0, 60.0),
///     maximum_ratio: 2.0,
///     ratio_adjustment: None,
///     dead_band: 0.0,
///     blend: None,
///     grain_nitrogen: 0.0239,
///     use_efficiency: 0.5,
///     applied_since_sensing: NRate::ZERO,
///     minimum: NRate::ZERO,
///     maximum: NRate::kg_per_ha(150.0),
/// };
/// let rate = rate_of(0.50, 0.665, &inputs).unwrap();
/// assert_eq!(format!("{:.0}", rate.n_exact.as_lb_per_ac()), "33");
/// ```
pub fn rate_of(index: f64, reference: f64, inputs: &RateInputs) -> Option<CellRate> {
    let uncapped = inputs.curve.yield_at(index, inputs.growing_days);
    rate_from(uncapped, index, reference, inputs)
}

/// The same from the yield of the curve at this index, which costs most of it.
fn rate_from(uncapped: Yield, index: f64, reference: f64, inputs: &RateInputs) -> Option<CellRate> {
    if !(index > 0.0 && index.is_finite() && reference > 0.0 && reference.is_finite()) {
        return None;
    }
    let ratio_raw = response_index(index, reference, inputs.blend);
    let ratio = inputs.held_ratio(ratio_raw);
    let yield_without = uncapped.min(inputs.maximum_yield);
    let reachable = yield_without * ratio;
    let yield_with = reachable.min(inputs.maximum_yield);
    let capped = if uncapped > inputs.maximum_yield {
        Capped::Without
    } else if reachable > inputs.maximum_yield {
        Capped::With
    } else {
        Capped::None
    };
    let needed = nitrogen_for(
        yield_with - yield_without,
        inputs.grain_nitrogen,
        inputs.use_efficiency,
    );
    let n_raw = needed - inputs.applied_since_sensing;
    Some(CellRate {
        ratio_raw,
        ratio,
        yield_without,
        yield_with,
        n_raw,
        n_exact: n_raw.clamp(inputs.minimum, inputs.maximum),
        capped,
    })
}

/// Nitrogen to be applied for a gain in grain: `gain · g / e`.
pub fn nitrogen_for(gain: Yield, grain_nitrogen: f64, use_efficiency: f64) -> NRate {
    NRate::kg_per_ha(gain.get() * grain_nitrogen / use_efficiency)
}

/// How many steps a rate is: `⌊N/step + 1/2⌋` held to `⌈minimum/step⌉ … ⌊maximum/step⌋`.
///
/// The bounds have a slack of 1e-9 steps, so that 150 / 0.1 counts as 1500. `None` when no multiple of the step lies in the range, and when
/// something is not a number.
///
/// # Examples
/// ```
/// # use haulm::{science::yield_response::round_to_step, units::NRate};
/// let kg = NRate::kg_per_ha;
/// assert_eq!(round_to_step(kg(32.5), kg(0.0), kg(150.0), kg(5.0)), Some(7));   // half up: 35 kg N/ha
/// assert_eq!(round_to_step(kg(12.0), kg(12.0), kg(14.0), kg(5.0)), None);      // no multiple of 5 between 12 and 14
/// ```
pub fn round_to_step(n_exact: NRate, minimum: NRate, maximum: NRate, step: NRate) -> Option<i64> {
    let step = step.get();
    if !(step > 0.0
        && step.is_finite()
        && n_exact.is_finite()
        && minimum.is_finite()
        && maximum.is_finite())
    {
        return None;
    }
    let first = libm::ceil(minimum.get() / step - 1e-9);
    let last = libm::floor(maximum.get() / step + 1e-9);
    let nearest = libm::floor(n_exact.get() / step + 0.5);
    (first <= last).then(|| nearest.clamp(first, last) as i64)
}

/// Index below which a canopy cell is `thin`: `max(1.2 · bare_below, min(I_ref / ratio, 0.7 · I_beside))`, the ratio being 2 or a greater stated
/// `maximum_ratio`, never what a doubtful strip sets.
///
/// Winter-kill, drowned, salt or shallow ground has the lowest index and the poorest response; without this limit it would draw the highest rate.
/// Parts that are not known are left out.
///
/// # Source
/// Ours. That the poorest stand must not draw the most: common practice.
pub fn thin_below(bare_below: Option<f64>, reference: f64, ratio: f64, beside: Option<f64>) -> f64 {
    let poor = reference / ratio;
    let poor = beside.map_or(poor, |beside| poor.min(0.7 * beside));
    bare_below.map_or(poor, |bare| poor.max(1.2 * bare))
}

/// Whether a canopy cell is thin: its index lies below the limit, or more than 0.3 of what is seen of it is bare.
pub fn is_thin(index: f64, thin_below: f64, bare_share_of_seen: f64) -> bool {
    // Shares are often exact ties; a tie is not more than 0.3.
    index < thin_below || bare_share_of_seen > 0.3 + 1e-6
}

/// Nitrogen in grain, of the crop's row or for this job.
pub(crate) const fn grain_nitrogen(about: &'static str) -> Key {
    key(
        Kind::Share,
        "the grain's nitrogen as a share of its mass",
        "0.0239",
        about,
    )
    .within(
        "0.003",
        "0.1",
        "nitrogen as a share of grain mass, 0.0239 for wheat",
    )
}

keys! {
    KEYS: YieldResponseKeys = "response", "[response]", "The method that turns index into nitrogen rate, and its parameters; each method has its own keys.",
    {
        maximum_yield: Yield = key(
            Kind::Amount(Requirement::Yield),
            "the yield that the site can never exceed",
            "\"6.7 t/ha\"",
            "Yield that the site can never exceed: no rate asks for more.",
        )
        .within("100 kg/ha", "40000 kg/ha", "no site's maximum yield; check the unit")
        .required().option("--max-yield"),
        yield_curve: Any = key(
            Kind::Or(&[Kind::NameOf("haulm crops"), Kind::Table("response.yield_curve")]),
            "the yield curve (a crop alone picks none)",
            "\"winter wheat, common practice\"",
            "In-season estimated yield from index and growing days: the name of a curve, or your own.",
        )
        .required().option("--curve"),
        ratio_adjustment: Any = key(
            Kind::Table("response.ratio_adjustment"),
            "the adjustment of the response index",
            "{ slope = 1.69, intercept = -0.70 }",
            "Linear adjustment from the response index in season to the one at harvest.",
        )
        .or_else("none: the response index counts as it is"),
        dead_band: f64 = key(
            Kind::Number,
            "the dead band",
            "0.05",
            "Response indices up to 1 plus this count as 1.",
        )
        .within("0", "1", "response indices up to 1 + this count as 1")
        .or("0.0"),
        grain_nitrogen: f64 = grain_nitrogen("Nitrogen in grain, as a share of its mass.").or_else("the crop's own; required where none is confirmed").option("--grain-nitrogen"),
        use_efficiency: f64 = key(
            Kind::Share,
            "the use efficiency",
            "0.5",
            "Share of the applied nitrogen that reaches the grain.",
        )
        .within("0.05", "1", "share of the applied nitrogen that reaches the grain")
        .or("0.5").option("--use-efficiency"),
        curve_spread: f64 = CURVE_SPREAD,
    }
}

keys! {
    YIELD_CURVE: YieldCurveKeys = "response.yield_curve", "yield_curve = { … }", "Your own yield curve: yield potential without nitrogen YP0 = a · exp(b · index / growing days).",
    {
        a: Yield = key(
            Kind::Amount(Requirement::Yield),
            "the yield at index 0",
            "\"590 kg/ha\"",
            "Yield at index 0.",
        )
        .above_zero()
        .required().option("--curve-a"),
        b: f64 = number("the exponent in days", "258.2", "Exponent in days.")
            .within(
                "0.001",
                "10000",
                "in days, for an index between 0 and 1 over 60 to 120 growing days",
            )
            .required().option("--curve-b").recorded("d"),
        index: String = key(
            Kind::Text,
            "the index that the curve was fitted with",
            "\"NDVI\"",
            "Index that the curve was fitted with; the image's must be the same.",
        )
        .required(),
        region: String = key(
            Kind::Text,
            "the curve's region",
            "\"dry plains\"",
            "Region that it was fitted in, compared with field.region.",
        ),
        sensor: String = key(
            Kind::Text,
            "the curve's sensor",
            "\"active, red\"",
            "Kind of sensor that it was fitted with, compared with imagery.sensor.",
        ),
        source: String = key(
            Kind::Text,
            "where the curve comes from",
            "\"common practice\"",
            "Source of the curve; stands in record and report.",
        )
        .required(),
    }
}

keys! {
    RATIO_ADJUSTMENT: RatioAdjustmentKeys = "response.ratio_adjustment", "ratio_adjustment = { … }", "Linear adjustment of the response index.",
    {
        slope: f64 = number("the slope of the adjustment", "1.69", "Slope.")
            .within("0", "10", "a response index is stretched by it")
            .required(),
        intercept: f64 = number(
            "the intercept of the adjustment",
            "-0.70",
            "Intercept.",
        )
        .within("-10", "10", "a response index is moved by it")
        .required(),
    }
}

/// What the method is.
pub const ABOUT: About = About {
    name: "yield response",
    gives: "how much yield nitrogen adds at a place, and how much nitrogen that yield takes up",
    formula: "RI = I_ref / I, limited to 1 … maximum; YP0 = min(a · exp(b · I / D), YPmax); YPN = min(YP0 · RI, YPmax); N = (YPN − YP0) · g / e − applied since sensing",
    units: "yields and a in kg/ha, b and D in days, N in kg N/ha, the rest plain numbers",
    range: "growing days 60 to 120 (winter wheat best at 87 to 112), in-season estimate I / D 0.002 to 0.010 a day; refused below 60 days unless accepted",
    needs: "maximum_yield, yield_curve; growing days of the season",
    source: "Raun et al. 2002, Agronomy Journal 94:815-820; the difference of grain nitrogen over use efficiency is common practice",
    certainty: Certainty::FromMemory,
    crop: None,
    instrument: None,
    keys: YieldResponseKeys::TABLE.keys,
    tables: &[YieldCurveKeys::TABLE, RatioAdjustmentKeys::TABLE],
    read: None,
};

impl Formula for YieldResponse {
    fn about(&self) -> &'static About {
        &ABOUT
    }
    fn check(&self) -> Result<(), MethodError> {
        // Looked at together with the limits.
        Ok(())
    }
    fn check_within(&self, limits: &Limits, blend: Option<Blend>) -> Result<(), MethodError> {
        Ok(self.inputs(limits, blend).check()?)
    }
    fn kept(&self, index: f64) -> f64 {
        self.curve.growth(index, self.growing_days)
    }
    fn rate(&self, at: &Compared<'_>) -> Option<Rate> {
        let inputs = self.inputs(at.limits, at.blend);
        let uncapped = self.curve.a * at.kept.unwrap_or_else(|| self.kept(at.index));
        let cell = rate_from(uncapped, at.index, at.reference, &inputs)?;
        Some(Rate {
            beyond: inputs.is_beyond(cell.ratio_raw),
            ratio_raw: cell.ratio_raw,
            ratio: Some(cell.ratio),
            yields: Some((cell.yield_without, cell.yield_with)),
            n_raw: cell.n_raw,
            n_exact: cell.n_exact,
            capped: cell.capped,
        })
    }
    fn divides_by_index(&self) -> bool {
        true
    }
    fn falls_with_index(&self) -> bool {
        false
    }
    fn parameters(&self) -> Record {
        // Its settings are written key by key.
        Record::new()
    }
    fn scaled(&self, factor: f64) -> Option<Method> {
        let mut scaled = *self;
        scaled.curve.a = scaled.curve.a * factor;
        Some(Method::new(scaled))
    }
    fn yields(&self) -> Option<&YieldResponse> {
        Some(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::KG_HA_PER_LB_AC;

    fn wheat() -> RateInputs {
        RateInputs {
            curve: YieldCurve {
                a: Yield::kg_per_ha(590.0),
                b: 258.2,
            },
            growing_days: 94.0,
            maximum_yield: Yield::bu_per_ac(100.0, 60.0),
            maximum_ratio: 2.0,
            ratio_adjustment: None,
            dead_band: 0.0,
            blend: None,
            grain_nitrogen: 0.0239,
            use_efficiency: 0.5,
            applied_since_sensing: NRate::ZERO,
            minimum: NRate::ZERO,
            maximum: NRate::kg_per_ha(150.0),
        }
    }

    #[test]
    fn no_response_gives_the_minimum() {
        let inputs = RateInputs {
            minimum: NRate::kg_per_ha(20.0),
            ..wheat()
        };
        let rate = rate_of(0.70, 0.65, &inputs).unwrap();
        assert_eq!(
            (rate.ratio, rate.n_raw, rate.n_exact),
            (1.0, NRate::ZERO, NRate::kg_per_ha(20.0))
        );
        assert!(rate.ratio_raw < 1.0);
    }

    #[test]
    fn ceilings_are_told_apart() {
        let low = RateInputs {
            maximum_yield: Yield::kg_per_ha(2_000.0),
            ..wheat()
        };
        let without = rate_of(0.50, 0.665, &low).unwrap();
        assert_eq!(
            (without.capped, without.n_exact),
            (Capped::Without, NRate::ZERO)
        );
        let middle = RateInputs {
            maximum_yield: Yield::kg_per_ha(2_500.0),
            ..wheat()
        };
        let with = rate_of(0.50, 0.665, &middle).unwrap();
        assert_eq!(
            (with.capped, with.yield_with),
            (Capped::With, Yield::kg_per_ha(2_500.0))
        );
        assert!(with.n_exact < rate_of(0.50, 0.665, &wheat()).unwrap().n_exact);
    }

    #[test]
    fn the_ratio_is_adjusted_first_and_once() {
        let inputs = RateInputs {
            ratio_adjustment: Some((1.69, -0.70)),
            ..wheat()
        };
        assert!((inputs.held_ratio(1.20) - 1.328).abs() < 1e-12);
        assert_eq!(inputs.held_ratio(0.9), 1.0);
        assert_eq!(inputs.held_ratio(1.9), 2.0);
        let dead = RateInputs {
            dead_band: 0.05,
            ..wheat()
        };
        assert_eq!((dead.held_ratio(1.05), dead.held_ratio(1.06)), (1.0, 1.06));
    }

    #[test]
    fn whole_field_and_applied_since() {
        let inputs = RateInputs {
            blend: Some(Blend {
                share: 0.0,
                field_ratio: 1.33,
            }),
            applied_since_sensing: NRate::kg_per_ha(10.0),
            ..wheat()
        };
        let each = rate_of(0.50, 0.665, &wheat()).unwrap();
        let whole = rate_of(0.50, 0.9, &inputs).unwrap();
        assert!((whole.n_raw.get() - (each.n_raw.get() - 10.0)).abs() < 1e-9);
        assert_eq!(whole.ratio_raw, 1.33);
    }

    #[test]
    fn a_missing_value_has_no_rate() {
        for (index, reference) in [
            (f64::NAN, 0.7),
            (0.5, f64::NAN),
            (0.0, 0.7),
            (-0.1, 0.7),
            (0.5, 0.0),
            (f64::INFINITY, 0.7),
        ] {
            assert_eq!(rate_of(index, reference, &wheat()), None);
        }
    }

    #[test]
    fn rounding_holds_to_whole_steps_of_the_range() {
        let kg = NRate::kg_per_ha;
        let lb = NRate::lb_per_ac;
        assert_eq!(
            round_to_step(kg(2.4999), kg(0.0), kg(150.0), kg(5.0)),
            Some(0)
        );
        assert_eq!(round_to_step(kg(2.5), kg(0.0), kg(150.0), kg(5.0)), Some(1));
        assert_eq!(
            round_to_step(kg(1.0), kg(12.0), kg(150.0), kg(5.0)),
            Some(3)
        );
        assert_eq!(
            round_to_step(kg(149.9), kg(0.0), kg(149.0), kg(5.0)),
            Some(29)
        );
        assert_eq!(
            round_to_step(kg(150.0), kg(0.0), kg(150.0), kg(0.1)),
            Some(1500)
        );
        // 80 lb/ac in steps of 5 lb/ac is 16 steps, however the pounds were converted.
        assert_eq!(
            round_to_step(lb(80.0), lb(80.0), kg(80.0 * KG_HA_PER_LB_AC), lb(5.0)),
            Some(16)
        );
        assert_eq!(round_to_step(kg(12.0), kg(11.0), kg(14.0), kg(5.0)), None);
        assert_eq!(
            round_to_step(kg(f64::NAN), kg(0.0), kg(150.0), kg(5.0)),
            None
        );
        assert_eq!(round_to_step(kg(5.0), kg(0.0), kg(150.0), kg(0.0)), None);
    }

    #[test]
    fn thin_ground() {
        assert!((thin_below(Some(0.25), 0.80, 2.0, Some(0.60)) - 0.40).abs() < 1e-12);
        assert!((thin_below(Some(0.25), 0.80, 2.0, Some(0.50)) - 0.35).abs() < 1e-12);
        assert!((thin_below(Some(0.25), 0.50, 2.0, None) - 0.30).abs() < 1e-12);
        assert!((thin_below(None, 0.50, 2.0, None) - 0.25).abs() < 1e-12);
        assert!(is_thin(0.34, 0.35, 0.0) && is_thin(0.6, 0.35, 0.31));
        assert!(!is_thin(0.35, 0.35, 0.3));
    }

    #[test]
    fn inputs_that_mean_nothing_are_refused() {
        assert_eq!(wheat().check(), Ok(()));
        let percent = RateInputs {
            grain_nitrogen: 2.39,
            ..wheat()
        };
        assert!(
            percent
                .check()
                .unwrap_err()
                .to_string()
                .contains("2.39 % is 0.0239")
        );
        let reversed = RateInputs {
            minimum: NRate::kg_per_ha(200.0),
            ..wheat()
        };
        assert_eq!(
            reversed.check().unwrap_err().to_string(),
            "the least rate is 200 kg N/ha and the greatest 150 kg N/ha; 0 or more is needed, and the least must not exceed the greatest"
        );
        assert!(
            RateInputs {
                growing_days: 0.0,
                ..wheat()
            }
            .check()
            .is_err()
        );
        assert!(
            RateInputs {
                maximum_ratio: 0.9,
                ..wheat()
            }
            .check()
            .is_err()
        );
        assert!(
            RateInputs {
                dead_band: f64::NAN,
                ..wheat()
            }
            .check()
            .is_err()
        );
        assert!(
            RateInputs {
                ratio_adjustment: Some((0.0, 1.0)),
                ..wheat()
            }
            .check()
            .is_err()
        );
        assert!(
            RateInputs {
                blend: Some(Blend {
                    share: 0.5,
                    field_ratio: 0.0,
                }),
                ..wheat()
            }
            .check()
            .is_err()
        );
        assert!(
            RateInputs {
                applied_since_sensing: NRate::kg_per_ha(-1.0),
                ..wheat()
            }
            .check()
            .is_err()
        );
    }

    proptest::proptest! {
        #[test]
        fn laws(index in 0.05_f64..0.95, reference in 0.05_f64..0.95, minimum in 0.0_f64..50.0, width in 0.0_f64..200.0) {
            let inputs = RateInputs { minimum: NRate::kg_per_ha(minimum), maximum: NRate::kg_per_ha(minimum + width), ..wheat() };
            let rate = rate_of(index, reference, &inputs).unwrap();
            proptest::prop_assert!(inputs.minimum <= rate.n_exact && rate.n_exact <= inputs.maximum);
            proptest::prop_assert!(rate.yield_without <= rate.yield_with && rate.yield_with <= inputs.maximum_yield);
            if reference <= index {
                proptest::prop_assert_eq!(rate.n_exact, inputs.minimum);
            }
        }
    }
}
