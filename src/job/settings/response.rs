//! `[response]`: the method and its parameters.

use crate::science::methods::{Method, yield_response};
use crate::science::response_curve::ResponseCurve;
use crate::units::{NRate, Yield};

/// `[response]`: the method that sets rates, and what holds for every method.
#[derive(Clone, Debug)]
pub struct Response {
    /// The method with its own parameters.
    pub method: MethodSettings,
    /// How much of a cell's paleness counts as nitrogen.
    pub nitrogen_share: NitrogenShare,
    /// The greatest response index that counts.
    pub maximum_ratio: MaximumRatio,
    /// Nitrogen that went on after sensing.
    pub applied_since_sensing: NRate,
    /// Standard deviation of the method's curve, as a share, when stated.
    pub curve_spread: Option<f64>,
    /// The economic optimum, when the job asks for it.
    pub economic: Option<EconomicOptimum>,
}

/// `response.economic`: the rate that pays best on the job's own response curve.
#[derive(Clone, Debug, PartialEq)]
pub struct EconomicOptimum {
    /// Grain \[kg/ha\] as a function of the season's nitrogen \[kg N/ha\].
    pub curve: ResponseCurve,
    /// Where the curve comes from.
    pub source: String,
    /// Price of a kg of nitrogen over that of a kg of grain.
    pub price_ratio: f64,
    /// The season's nitrogen that pays best.
    pub optimum: NRate,
    /// Greatest rate of the trial, when stated.
    pub maximum_rate: Option<NRate>,
}

/// The method of a job.
#[derive(Clone, Debug)]
pub enum MethodSettings {
    /// Yield in reach without and with nitrogen; it still wants growing days and reference.
    YieldResponse(YieldSettings),
    /// Any other: its parameters are complete.
    Other {
        /// The method.
        method: Method,
        /// What its numbers were made for.
        fitted: Fitted,
    },
}

/// What a method's numbers were made for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fitted {
    /// Canopy index, where the numbers hold for one.
    pub index: Option<String>,
    /// Region, when it is stated.
    pub region: Option<String>,
    /// Kind of sensor, when it is stated.
    pub sensor: Option<String>,
    /// Source and certainty.
    pub source: String,
    /// Whether the formula is from memory and was not compared with its paper.
    pub from_memory: bool,
}

/// `[response]` of the yield-response method.
#[derive(Clone, Debug)]
pub struct YieldSettings {
    /// What the site can never exceed.
    pub maximum_yield: Yield,
    /// Yield curve.
    pub curve: YieldCurve,
    /// Linear adjustment of the response index: slope, intercept.
    pub ratio_adjustment: Option<(f64, f64)>,
    /// Response indices up to 1 + this count as 1.
    pub dead_band: f64,
    /// Grain nitrogen, share of grain mass.
    pub grain_nitrogen: f64,
    /// Share of applied nitrogen that reaches the grain.
    pub use_efficiency: f64,
}

impl Response {
    /// The method's name in jobs and records.
    pub fn name(&self) -> &'static str {
        match &self.method {
            MethodSettings::YieldResponse(_) => yield_response::ABOUT.name,
            MethodSettings::Other { method, .. } => method.name(),
        }
    }
    /// Settings of the yield-response method; `None` with any other: it foretells no yield.
    pub const fn yields(&self) -> Option<&YieldSettings> {
        match &self.method {
            MethodSettings::YieldResponse(yields) => Some(yields),
            MethodSettings::Other { .. } => None,
        }
    }
    /// The index that the method's numbers hold for.
    pub fn index(&self) -> Option<&str> {
        match &self.method {
            MethodSettings::YieldResponse(yields) => Some(&yields.curve.index),
            MethodSettings::Other { fitted, .. } => fitted.index.as_deref(),
        }
    }
    /// What the method's numbers were made for.
    pub fn fitted(&self) -> Fitted {
        match &self.method {
            MethodSettings::YieldResponse(yields) => Fitted {
                index: Some(yields.curve.index.clone()),
                region: yields.curve.region.clone(),
                sensor: yields.curve.sensor.clone(),
                source: yields.curve.source.clone(),
                from_memory: false,
            },
            MethodSettings::Other { fitted, .. } => fitted.clone(),
        }
    }
    /// The method, once growing days are known.
    pub fn method(&self, growing_days: f64) -> Method {
        match &self.method {
            MethodSettings::YieldResponse(yields) => Method::new(yield_response::YieldResponse {
                curve: yield_response::YieldCurve {
                    a: yields.curve.a,
                    b: yields.curve.b,
                },
                growing_days,
                maximum_yield: yields.maximum_yield,
                ratio_adjustment: yields.ratio_adjustment,
                dead_band: yields.dead_band,
                grain_nitrogen: yields.grain_nitrogen,
                use_efficiency: yields.use_efficiency,
            }),
            MethodSettings::Other { method, .. } => method.clone(),
        }
    }
}

/// `YP0 = a · exp(b · I / D)`.
#[derive(Clone, Debug, PartialEq)]
pub struct YieldCurve {
    /// Yield at index 0.
    pub a: Yield,
    /// Exponent. \[d\]
    pub b: f64,
    /// Index it was fitted with.
    pub index: String,
    /// Region it was fitted in, when it says so.
    pub region: Option<String>,
    /// Sensor kind, when it says so.
    pub sensor: Option<String>,
    /// Source and certainty.
    pub source: String,
}

/// `response.nitrogen_share`: how much of a cell's paleness counts as nitrogen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NitrogenShare {
    /// 1: each cell against the strip; 0: the field's response index for every cell; or between.
    Stated(f64),
    /// What the strip and other places of the field show.
    Measured,
}

/// `response.maximum_ratio`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MaximumRatio {
    /// Not stated: 2, or less where the strip's answer is doubtful or none.
    ByAnswer,
    /// A number above 1.
    Value(f64),
    /// The most that the strip itself showed.
    Seen,
}
