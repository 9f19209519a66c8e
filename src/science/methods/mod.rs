//! Methods that turn a canopy index into a nitrogen rate, all behind one trait and in one list.
//!
//! A method is one file here: formula, limits, source, certainty, the keys of the job that it reads and what the record says of it. [`METHODS`] lists
//! them. A [`RateModel`] is a method with its own parameters and the limits that hold for every method. Given the reference index and a cell's index it
//! answers with a rate; it knows nothing of fields, files or cells, so that a simulation may ask it a million times.

pub mod chlorophyll;
pub(crate) mod class_table;
pub mod flat;
pub mod given;
pub mod linear_ramp;
pub mod quadratic;
pub(crate) mod shared;
pub mod square_root;
pub mod visible;
pub mod yield_response;

use std::fmt;
use std::sync::Arc;

use crate::key::{Key, Record, Table};
use crate::science::blend::{Blend, response_index, sufficiency};
use crate::science::certainty::Certainty;
use crate::science::methods::given::{Given, Read};
use crate::science::methods::yield_response::{Capped, RateInputError, YieldResponse, check_blend};
use crate::units::{NRate, Yield};
use thiserror::Error;

pub use shared::ReadBy;

/// Every method, in the order in which they are listed; the first is what a job without `response.method` gets.
pub const METHODS: &[&About] = &[
    &yield_response::ABOUT,
    &square_root::ABOUT,
    &quadratic::ABOUT,
    &chlorophyll::ABOUT,
    &visible::ABOUT,
    &linear_ramp::ABOUT,
    &class_table::ABOUT,
    &flat::ABOUT,
];

/// The method of this name.
pub fn about(name: &str) -> Option<&'static About> {
    METHODS.iter().find(|method| method.name == name).copied()
}

/// A hair that keeps a sufficiency index that is 1 − dead band by hand, such as 0.97, from counting by its last bit.
const ROUNDING_TOLERANCE: f64 = 1e-12;

/// Which way round the map is where a method gives the palest ground less again.
const BACKS_OFF: &str =
    "paler patches get more, down to where the method backs off: the palest get less again";

/// What one method is.
#[derive(Clone, Copy, Debug)]
pub struct About {
    /// Name in jobs and records: `response.method`.
    pub name: &'static str,
    /// What it gives, in a line.
    pub gives: &'static str,
    /// Its formula.
    pub formula: &'static str,
    /// Units of its parameters and answer.
    pub units: &'static str,
    /// Where it holds.
    pub range: &'static str,
    /// Keys of `[response]` that it needs; others have defaults.
    pub needs: &'static str,
    /// Where it comes from.
    pub source: &'static str,
    /// How far the formula may be trusted.
    pub certainty: Certainty,
    /// The one crop that its published numbers are for, when there is one.
    pub crop: Option<&'static str>,
    /// What its sufficiency index is read with, where that is no canopy image.
    pub instrument: Option<&'static str>,
    /// Its keys of `[response]`, besides those of every method.
    pub keys: &'static [Key],
    /// Tables within them.
    pub tables: &'static [Table],
    /// Reads it from a job; `None` of the yield response, whose curve hangs on the crop.
    pub read: Option<fn(&mut dyn Given) -> Option<Read>>,
}

impl About {
    /// Whether it has a key of this name.
    pub fn owns(&self, key: &Key) -> bool {
        self.keys.iter().any(|own| own.name == key.name)
    }
    /// Whether it foretells yields, and so works with a yield curve and growing days.
    pub const fn predicts_yield(&self) -> bool {
        self.read.is_none()
    }
}

/// One way from a canopy index to a rate, with its own parameters.
pub trait Formula: fmt::Debug + Send + Sync + 'static {
    /// What the method is.
    fn about(&self) -> &'static About;

    /// Refuses parameters that make no sense by themselves.
    ///
    /// # Errors
    /// When one of them is not a number or outside its range.
    fn check(&self) -> Result<(), MethodError>;

    /// The same together with the limits that it works within.
    ///
    /// # Errors
    /// When one of them is not a number or outside its range.
    fn check_within(&self, _limits: &Limits, _blend: Option<Blend>) -> Result<(), MethodError> {
        self.check()
    }

    /// What of its answer hangs on the cell's own index alone and takes long, for [`Compared::kept`]; not a number where there is nothing of the kind.
    fn kept(&self, _index: f64) -> f64 {
        f64::NAN
    }

    /// The rate of one cell, and what it comes from; `Compared::by_need` serves every method that asks for nitrogen by the ratio or the index alone.
    fn rate(&self, at: &Compared<'_>) -> Option<CellRate>;

    /// Whether the rate comes from the ratio of two values of the index, so that an index is needed whose zero means "no canopy".
    fn divides_by_index(&self) -> bool;

    /// Whether the rate depends on the response index, so that a nitrogen share means something.
    fn uses_response_index(&self) -> bool {
        self.divides_by_index()
    }

    /// Whether it wants an index that is near infrared over visible light.
    fn of_visible_light(&self) -> bool {
        false
    }

    /// Whether it promises that the rate never rises with the index of a cell, all else equal.
    fn falls_with_index(&self) -> bool;

    /// Which way round its map is, in words, where [`Self::falls_with_index`] does not say it all.
    fn direction(&self) -> &'static str {
        if self.falls_with_index() {
            "paler patches get more"
        } else {
            "greener patches get more: the ramp rises with what it is read by"
        }
    }

    /// That the best ground gets most, with its numbers, where the user may not have meant it.
    fn rises(&self) -> Option<String> {
        None
    }

    /// The sufficiency index's dead band, where a steep formula hangs on it.
    fn dead_band(&self) -> Option<f64> {
        None
    }

    /// Whether the rate jumps from one class of values to the next.
    fn has_steps(&self) -> bool {
        false
    }

    /// Its own parameters, as the record has them.
    fn parameters(&self) -> Record;

    /// The same with its curve scaled: the yield curve's `a`, the optimum rate of the square root, the whole answer of the other published formulas. `None`
    /// where the numbers are the user's own decision, not an estimate.
    fn scaled(&self, _factor: f64) -> Option<Method> {
        None
    }

    /// The yield response that it is, when it foretells yields.
    fn yields(&self) -> Option<&YieldResponse> {
        None
    }
}

/// Any method.
#[derive(Clone, Debug)]
pub struct Method(Arc<dyn Formula>);

impl Method {
    /// A formula with its parameters.
    pub fn new(formula: impl Formula) -> Self {
        Self(Arc::new(formula))
    }
    /// Its name in jobs, lists and records.
    pub fn name(&self) -> &'static str {
        self.0.about().name
    }
}

impl std::ops::Deref for Method {
    type Target = dyn Formula;
    fn deref(&self) -> &Self::Target {
        self.0.as_ref()
    }
}

impl PartialEq for Method {
    fn eq(&self, other: &Self) -> bool {
        // Numbers are written so that they read back as they were.
        format!("{:?}", self.0) == format!("{:?}", other.0)
    }
}

/// A cell and what it is compared with.
#[derive(Clone, Copy, Debug)]
pub struct Compared<'a> {
    /// The cell's canopy index. \[–\] Above 0 and finite.
    pub index: f64,
    /// That of the strip. \[–\] Above 0 and finite.
    pub reference: f64,
    /// The limits.
    pub limits: &'a Limits,
    /// How much of the index deficit counts as nitrogen, when not all of it does.
    pub blend: Option<Blend>,
    /// [`Formula::kept`] of the index, where it is known already.
    pub kept: Option<f64>,
}

/// What a method may read of a cell.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    /// Reference index over the cell's, or what the nitrogen share makes of it. \[–\]
    pub ratio: f64,
    /// Its inverse, the sufficiency index. \[–\]
    pub sufficiency: f64,
    /// The cell's canopy index. \[–\]
    pub index: f64,
}

impl Seen {
    /// The ratio as used and the value that a ramp or a table is read at.
    fn read(&self, by: ReadBy) -> (Option<f64>, f64) {
        match by {
            ReadBy::Index => (None, self.index),
            ReadBy::Sufficiency => (Some(self.ratio), self.sufficiency),
        }
    }
}

impl Compared<'_> {
    /// The rate of a method that asks for nitrogen by what is seen: `need` gives the ratio as used and the nitrogen. `holds` says that its formula itself
    /// holds the ratio to the greatest that counts.
    fn by_need(&self, holds: bool, need: impl Fn(&Seen) -> (Option<f64>, NRate)) -> CellRate {
        let limits = self.limits;
        let ratio_raw = response_index(self.index, self.reference, self.blend);
        let own = need(&Seen {
            ratio: ratio_raw,
            sufficiency: sufficiency(self.index, self.reference, self.blend),
            index: self.index,
        });
        // The limit only ever withholds: a method that backs off on the palest ground, or that rises, keeps its own lower rate there.
        let limit = limits.maximum_ratio.max(1.0);
        let over = ratio_raw > limit + ROUNDING_TOLERANCE;
        let at_limit = (limits.limits_sufficiency && over)
            .then(|| {
                need(&Seen {
                    ratio: limit,
                    sufficiency: 1.0 / limit,
                    index: self.index,
                })
            })
            .filter(|at_limit| at_limit.1 < own.1);
        let beyond = at_limit.is_some() || (holds && over);
        let (ratio, needed) = at_limit.unwrap_or(own);
        let (n_raw, n_exact) = limits.held(needed);
        CellRate {
            ratio_raw,
            ratio,
            yields: None,
            n_raw,
            n_exact,
            capped: Capped::None,
            beyond,
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
    /// How much of a cell's index deficit counts as nitrogen, when not all of it does; `None` compares each cell with the strip.
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
    #[error("{method}: {what} is {value}; {requirement}")]
    Parameter {
        /// The method's name.
        method: &'static str,
        /// The parameter.
        what: &'static str,
        /// As given.
        value: String,
        /// What would do.
        requirement: &'static str,
    },
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
        self.method.check_within(limits, self.blend)
    }

    /// The rate of one cell, and what it comes from.
    ///
    /// `index` is the cell's canopy index, `reference` that of the strip; both rise with canopy. `None` when one is missing or not above 0, so that a
    /// cell without a value never gets a rate. The model is taken to have passed [`RateModel::check`].
    pub fn rate(&self, index: f64, reference: f64) -> Option<CellRate> {
        self.rate_by(index, reference, self.blend, None)
    }

    /// The same where the strips that the cell is compared with have a response index of their own, as with `strips_use = "nearest"`; it counts only
    /// where the model has a blend.
    pub fn rate_against(
        &self,
        index: f64,
        reference: f64,
        field_ratio: Option<f64>,
    ) -> Option<CellRate> {
        self.rate_by(index, reference, self.blend_against(field_ratio), None)
    }

    /// The same with what the method keeps of the index ([`Formula::kept`], of the same curve, scaled or not, and growing days): for many rates of one cell.
    pub fn rate_kept(
        &self,
        (index, kept): (f64, f64),
        reference: f64,
        field_ratio: Option<f64>,
    ) -> Option<CellRate> {
        self.rate_by(
            index,
            reference,
            self.blend_against(field_ratio),
            Some(kept),
        )
    }

    /// The blend with the response index of the strips that a cell is compared with.
    const fn blend_against(&self, field_ratio: Option<f64>) -> Option<Blend> {
        match (self.blend, field_ratio) {
            (Some(blend), Some(ratio)) => Some(blend.with_field_ratio(ratio)),
            (blend, _) => blend,
        }
    }

    fn rate_by(
        &self,
        index: f64,
        reference: f64,
        blend: Option<Blend>,
        kept: Option<f64>,
    ) -> Option<CellRate> {
        if !(index > 0.0 && index.is_finite() && reference > 0.0 && reference.is_finite()) {
            return None;
        }
        self.method.rate(&Compared {
            index,
            reference,
            limits: &self.limits,
            blend,
            kept,
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
    pub fn use_efficiency(&self) -> Option<f64> {
        self.method.yields().map(|method| method.use_efficiency)
    }

    /// The same with another use efficiency; `None` where the method has none.
    pub fn with_use_efficiency(&self, use_efficiency: f64) -> Option<Self> {
        let method = *self.method.yields()?;
        Some(self.with(Method::new(YieldResponse {
            use_efficiency,
            ..method
        })))
    }

    /// Whether the rate depends on the response index, so that a nitrogen share means something.
    pub fn uses_response_index(&self) -> bool {
        self.method.uses_response_index()
    }

    /// The same by another nitrogen share; `None` compares each cell with the strip.
    #[must_use]
    pub fn with_blend(&self, blend: Option<Blend>) -> Self {
        Self {
            blend,
            ..self.clone()
        }
    }

    /// The same with the method's curve scaled, as [`Formula::scaled`] says.
    pub fn with_curve_factor(&self, factor: f64) -> Option<Self> {
        self.method.scaled(factor).map(|method| self.with(method))
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
    requirement: &'static str,
) -> MethodError {
    MethodError::Parameter {
        method,
        what,
        value: value.to_string(),
        requirement,
    }
}

#[cfg(test)]
mod tests;
