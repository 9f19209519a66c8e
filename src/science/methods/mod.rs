//! Methods that turn a canopy index into a nitrogen rate, all behind one interface.
//!
//! A [`RateModel`] is a method with its own parameters and the limits that hold for every method. Given the reference index and a cell's index it
//! answers with a rate; it knows nothing of fields, files or cells, so that a simulation may ask it a million times.

pub mod about;
pub mod chlorophyll;
pub mod class_table;
pub mod linear_ramp;
pub mod quadratic;
pub mod square_root;
pub mod visible;

use crate::science::blend::{Blend, response_index, sufficiency};
use crate::science::methods::chlorophyll::ChlorophyllRoot;
use crate::science::methods::class_table::ClassTable;
use crate::science::methods::linear_ramp::LinearRamp;
use crate::science::methods::quadratic::Quadratic;
use crate::science::methods::square_root::SquareRoot;
use crate::science::methods::visible::VisibleLine;
use crate::science::yield_response::{Capped, RateInputError, YieldResponse, check_blend, rate_of};
use crate::units::{NRate, Yield};
use thiserror::Error;

/// A hair that keeps a sufficiency index that is 1 − dead band by hand, such as 0.97, from counting by its last bit.
const HAIR: f64 = 1e-12;

/// One way from a canopy index to a rate, with its own parameters.
#[derive(Clone, Debug, PartialEq)]
pub enum Method {
    /// Yield in reach without and with nitrogen.
    YieldResponse(YieldResponse),
    /// Sufficiency index with a square-root response.
    SquareRoot(SquareRoot),
    /// Sufficiency index of a chlorophyll meter, quadratic.
    Quadratic(Quadratic),
    /// Its form for a canopy sensor's chlorophyll index.
    Chlorophyll(ChlorophyllRoot),
    /// Relative visible over near-infrared reflectance, a line.
    Visible(VisibleLine),
    /// A straight line between two values.
    LinearRamp(LinearRamp),
    /// A rate for each class of values.
    ClassTable(ClassTable),
    /// One rate everywhere.
    Flat(NRate),
}

/// What a ramp or a table is read by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReadBy {
    /// The cell's canopy index.
    Index,
    /// The sufficiency index: the cell's index over the reference's.
    Sufficiency,
}

impl ReadBy {
    /// The word of it in jobs and records.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Index => "index",
            Self::Sufficiency => "sufficiency",
        }
    }
}

/// Guard rails, the same for every method.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Greatest response index that counts. \[–\]
    pub maximum_ratio: f64,
    /// Whether it holds for methods by sufficiency too: when it was stated, or the strip sets it. They are published without one.
    pub limits_sufficiency: bool,
    /// Nitrogen that went on after sensing; taken off whatever the method asks for.
    pub applied_since_sensing: NRate,
    /// Least rate.
    pub minimum: NRate,
    /// Greatest rate; never above what a limit for the season leaves.
    pub maximum: NRate,
}

/// A method and the limits that it works within.
#[derive(Clone, Debug, PartialEq)]
pub struct RateModel {
    /// The method.
    pub method: Method,
    /// The limits.
    pub limits: Limits,
    /// How much of a cell's paleness counts as nitrogen, when not all of it does; `None` compares each cell with the strip.
    pub blend: Option<Blend>,
}

/// What one cell's rate comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CellRate {
    /// Response index before it is adjusted and limited: the reference index over the cell's, or what the nitrogen share makes of it.
    pub ratio_raw: f64,
    /// The ratio as the method used it: adjusted, held; `None` where the method uses none.
    pub ratio: Option<f64>,
    /// Yield in reach without and with nitrogen; `None` where the method foretells none.
    pub yields: Option<(Yield, Yield)>,
    /// Before it is held to the range; may be negative.
    pub n_raw: NRate,
    /// Held to the range, not rounded.
    pub n_exact: NRate,
    /// Which ceiling of yield binds.
    pub capped: Capped,
    /// Whether it asks for more than the greatest response index that counts.
    pub beyond: bool,
}

/// A parameter that makes no sense.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum MethodError {
    /// Of the yield-response method, or a range that is none.
    #[error(transparent)]
    Inputs(#[from] RateInputError),
    /// Of another method.
    #[error("{method}: {what} is {value}; {wanted}")]
    Parameter {
        /// The method's name.
        method: &'static str,
        /// The parameter.
        what: &'static str,
        /// As given.
        value: String,
        /// What would do.
        wanted: &'static str,
    },
}

impl Method {
    /// Its name in jobs, lists and records.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::YieldResponse(_) => about::YIELD_RESPONSE,
            Self::SquareRoot(_) => about::SQUARE_ROOT,
            Self::Quadratic(_) => about::QUADRATIC,
            Self::Chlorophyll(_) => about::CHLOROPHYLL,
            Self::Visible(_) => about::VISIBLE,
            Self::LinearRamp(_) => about::LINEAR_RAMP,
            Self::ClassTable(_) => about::CLASS_TABLE,
            Self::Flat(_) => about::FLAT,
        }
    }

    /// Refuses a method's own parameters; those of the yield response are looked at together with the limits, in [`RateModel::check`].
    ///
    /// # Errors
    /// When one of them is not a number or outside its range.
    pub fn check(&self) -> Result<(), MethodError> {
        match self {
            Self::YieldResponse(_) => Ok(()),
            Self::SquareRoot(method) => method.check(),
            Self::Quadratic(method) => method.check(),
            Self::Chlorophyll(method) => method.check(),
            Self::Visible(method) => method.check(),
            Self::LinearRamp(method) => method.check(),
            Self::ClassTable(method) => method.check(),
            Self::Flat(rate) if rate.get() >= 0.0 && rate.is_finite() => Ok(()),
            Self::Flat(rate) => Err(parameter(
                about::FLAT,
                "the rate",
                rate,
                "it must be 0 or more",
            )),
        }
    }

    /// The ratio as used and what the method asks for at a ratio of reference over index, and its inverse; `None` of the yield response, which is worked out
    /// by itself.
    fn needed(
        &self,
        ratio: f64,
        sufficiency: f64,
        index: f64,
        limits: &Limits,
    ) -> Option<(Option<f64>, NRate)> {
        let held = ratio.clamp(1.0, limits.maximum_ratio.max(1.0));
        let read = |by: ReadBy| match by {
            ReadBy::Index => (None, index),
            ReadBy::Sufficiency => (Some(ratio), sufficiency),
        };
        Some(match self {
            Self::YieldResponse(_) => return None,
            Self::SquareRoot(method) => (Some(method.used(ratio)), method.needed(sufficiency)),
            Self::Quadratic(method) => (Some(method.used(ratio)), method.needed(sufficiency)),
            Self::Chlorophyll(method) => (Some(held), method.needed(1.0 / held)),
            Self::Visible(method) => {
                let relative = ratio.min(limits.maximum_ratio);
                (Some(relative), method.needed(relative))
            }
            Self::LinearRamp(method) => {
                let (used, value) = read(method.by);
                (used, method.needed(value))
            }
            Self::ClassTable(method) => {
                let (used, value) = read(method.by);
                (used, method.needed(value))
            }
            Self::Flat(rate) => (None, *rate),
        })
    }

    /// Whether the rate comes from the ratio of two values of the index, so that an index is needed whose zero means "no canopy".
    pub const fn divides_by_index(&self) -> bool {
        match self {
            Self::YieldResponse(_)
            | Self::SquareRoot(_)
            | Self::Quadratic(_)
            | Self::Chlorophyll(_) => true,
            Self::LinearRamp(LinearRamp { by, .. }) | Self::ClassTable(ClassTable { by, .. }) => {
                matches!(by, ReadBy::Sufficiency)
            }
            // A ratio of two simple ratios is meant there.
            Self::Visible(_) | Self::Flat(_) => false,
        }
    }

    /// Whether it promises that the rate never rises with the index of a cell, all else equal.
    pub fn falls_with_index(&self) -> bool {
        match self {
            Self::YieldResponse(_) => false,
            Self::SquareRoot(root) => root.back_off.is_none(),
            Self::Quadratic(_) | Self::Chlorophyll(_) | Self::Visible(_) | Self::Flat(_) => true,
            Self::LinearRamp(ramp) => ramp.at_low >= ramp.at_high,
            Self::ClassTable(table) => !table.classes.iter().any(|class| class.back_off),
        }
    }
}

impl Limits {
    fn held(&self, needed: NRate) -> (NRate, NRate) {
        let raw = needed - self.applied_since_sensing;
        (raw, raw.clamp(self.minimum, self.maximum))
    }
}

impl RateModel {
    /// Refuses parameters and limits with which the formulas mean nothing.
    ///
    /// # Errors
    /// When one of them is not a number, not positive where it must be, or outside its range.
    pub fn check(&self) -> Result<(), MethodError> {
        let limits = &self.limits;
        if !(limits.maximum_ratio >= 1.0 && limits.maximum_ratio.is_finite()) {
            return Err(RateInputError::MaximumRatio {
                maximum: limits.maximum_ratio,
            }
            .into());
        }
        if !(limits.minimum.get() >= 0.0
            && limits.minimum <= limits.maximum
            && limits.maximum.is_finite())
        {
            return Err(RateInputError::Range {
                minimum: limits.minimum,
                maximum: limits.maximum,
            }
            .into());
        }
        if !(limits.applied_since_sensing.get() >= 0.0 && limits.applied_since_sensing.is_finite())
        {
            return Err(RateInputError::Applied {
                applied: limits.applied_since_sensing,
            }
            .into());
        }
        check_blend(self.blend)?;
        match &self.method {
            Method::YieldResponse(method) => Ok(method.inputs(limits, self.blend).check()?),
            other => other.check(),
        }
    }

    /// The rate of one cell, and what it comes from.
    ///
    /// `index` is the cell's canopy index, `reference` that of the strip; both rise with canopy. `None` when one is missing or not above 0, so that a
    /// cell without a value never gets a rate. The model is taken to have passed [`RateModel::check`].
    pub fn rate(&self, index: f64, reference: f64) -> Option<CellRate> {
        self.rate_by(index, reference, self.blend)
    }

    /// The same where the strips that the cell is compared with have a response index of their own, as with `strips_use = "nearest"`; it counts only
    /// where the model has a blend.
    pub fn rate_against(
        &self,
        index: f64,
        reference: f64,
        field_ratio: Option<f64>,
    ) -> Option<CellRate> {
        let blend = match (self.blend, field_ratio) {
            (Some(blend), Some(ratio)) => Some(blend.with_field_ratio(ratio)),
            (blend, _) => blend,
        };
        self.rate_by(index, reference, blend)
    }

    fn rate_by(&self, index: f64, reference: f64, blend: Option<Blend>) -> Option<CellRate> {
        if !(index > 0.0 && index.is_finite() && reference > 0.0 && reference.is_finite()) {
            return None;
        }
        let limits = &self.limits;
        if let Method::YieldResponse(method) = &self.method {
            let inputs = method.inputs(limits, blend);
            let cell = rate_of(index, reference, &inputs)?;
            return Some(CellRate {
                beyond: inputs.is_beyond(cell.ratio_raw),
                ratio_raw: cell.ratio_raw,
                ratio: Some(cell.ratio),
                yields: Some((cell.yield_without, cell.yield_with)),
                n_raw: cell.n_raw,
                n_exact: cell.n_exact,
                capped: cell.capped,
            });
        }
        let ratio_raw = response_index(index, reference, blend);
        let own = self.method.needed(
            ratio_raw,
            sufficiency(index, reference, blend),
            index,
            limits,
        )?;
        // The limit only ever withholds: a method that backs off on the palest ground, or that rises, keeps its own lower rate there.
        let limit = limits.maximum_ratio.max(1.0);
        let at_limit = (limits.limits_sufficiency && ratio_raw > limit + HAIR)
            .then(|| self.method.needed(limit, 1.0 / limit, index, limits))
            .flatten()
            .filter(|at_limit| at_limit.1 < own.1);
        let beyond = at_limit.is_some()
            || (matches!(self.method, Method::Chlorophyll(_) | Method::Visible(_))
                && ratio_raw > limit + HAIR);
        let (ratio, needed) = at_limit.unwrap_or(own);
        let (n_raw, n_exact) = limits.held(needed);
        Some(CellRate {
            ratio_raw,
            ratio,
            yields: None,
            n_raw,
            n_exact,
            capped: Capped::None,
            beyond,
        })
    }

    /// The rate alone: held to the range, not rounded. Cheap; meant for simulations.
    pub fn exact(&self, index: f64, reference: f64) -> Option<NRate> {
        self.rate(index, reference).map(|rate| rate.n_exact)
    }

    /// The same with another greatest response index.
    #[must_use]
    pub fn with_maximum_ratio(&self, maximum_ratio: f64) -> Self {
        Self {
            limits: Limits {
                maximum_ratio,
                ..self.limits
            },
            ..self.clone()
        }
    }

    /// The share of applied nitrogen that reaches the grain, where the method has one.
    pub const fn use_efficiency(&self) -> Option<f64> {
        match &self.method {
            Method::YieldResponse(method) => Some(method.use_efficiency),
            _ => None,
        }
    }

    /// The same with another use efficiency; `None` where the method has none.
    pub fn with_use_efficiency(&self, use_efficiency: f64) -> Option<Self> {
        match &self.method {
            Method::YieldResponse(method) => {
                Some(self.with(Method::YieldResponse(YieldResponse {
                    use_efficiency,
                    ..*method
                })))
            }
            _ => None,
        }
    }

    /// Whether the rate depends on the response index, so that a nitrogen share means something.
    pub const fn uses_response_index(&self) -> bool {
        self.method.divides_by_index() || matches!(self.method, Method::Visible(_))
    }

    /// The same by another nitrogen share; `None` compares each cell with the strip.
    #[must_use]
    pub fn with_blend(&self, blend: Option<Blend>) -> Self {
        Self {
            blend,
            ..self.clone()
        }
    }

    /// The same with the method's curve scaled: the yield curve's `a`, the optimum rate of the square root, the whole answer of the other published
    /// formulas. `None` for a ramp, a table and a flat rate: they are the user's own decision, not an estimate.
    pub fn with_curve_factor(&self, factor: f64) -> Option<Self> {
        let method = match &self.method {
            Method::YieldResponse(method) => {
                let mut scaled = *method;
                scaled.curve.a = scaled.curve.a * factor;
                Method::YieldResponse(scaled)
            }
            Method::SquareRoot(method) => Method::SquareRoot(SquareRoot {
                optimum: method.optimum * factor,
                ..*method
            }),
            Method::Quadratic(method) => Method::Quadratic(Quadratic {
                factor: method.factor * factor,
                ..*method
            }),
            Method::Chlorophyll(method) => Method::Chlorophyll(ChlorophyllRoot {
                scale: method.scale * factor,
                ..*method
            }),
            Method::Visible(method) => Method::Visible(VisibleLine {
                slope: method.slope * factor,
                less: method.less * factor,
            }),
            Method::LinearRamp(_) | Method::ClassTable(_) | Method::Flat(_) => return None,
        };
        Some(self.with(method))
    }

    fn with(&self, method: Method) -> Self {
        Self {
            method,
            limits: self.limits,
            blend: self.blend,
        }
    }
}

/// A parameter that a method refuses.
fn parameter(
    method: &'static str,
    what: &'static str,
    value: &dyn ToString,
    wanted: &'static str,
) -> MethodError {
    MethodError::Parameter {
        method,
        what,
        value: value.to_string(),
        wanted,
    }
}

#[cfg(test)]
mod tests;
