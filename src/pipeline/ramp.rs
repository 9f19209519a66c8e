//! One flat rate from a nitrogen ramp: what was asked, what comes out, and what the user must know of it.

use crate::finding::{Finding, codes};
pub(crate) use crate::job::settings::ramp::RampSettings;
use crate::science::ramp::{RampAnswer, RampFits, fit_ramp};
use crate::science::response_curve::{CurveError, PlateauFit, PlateauShape};
use crate::science::yield_response::round_to_step;
use crate::units::NRate;

/// NDVI above which more nitrogen hardly shows. Common practice, no source.
const SATURATED: f64 = 0.85;
/// Readings below which a fit of three numbers says little. Ours.
const FEW: usize = 6;

/// Why a ramp gives no rate.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub(crate) enum RampError {
    /// The readings.
    #[error(transparent)]
    Curve(#[from] CurveError),
    /// No multiple of the step in the range.
    #[error(
        "no multiple of the step {step} lies between the least rate {minimum} and the greatest {maximum}"
    )]
    Step {
        /// The step.
        step: NRate,
        /// Least rate.
        minimum: NRate,
        /// Greatest rate.
        maximum: NRate,
    },
}

/// One flat rate and what it comes from.
#[derive(Clone, Debug)]
pub(crate) struct RampOutcome {
    /// Every curve.
    pub fits: RampFits,
    /// By the chosen one.
    pub answer: RampAnswer,
    /// All nitrogen that the crop needs by the chosen curve; the greatest rate of the ramp, as the least that it can be, without a plateau; `None` without a
    /// response.
    pub need: Option<NRate>,
    /// `need` less what the field got, before it is held; may lie below 0.
    pub n_raw: Option<NRate>,
    /// Held to the least and the greatest rate.
    pub n_exact: NRate,
    /// Rounded to the step.
    pub rate: NRate,
}

/// What the field got in all.
pub(crate) fn applied(settings: &RampSettings) -> NRate {
    settings.applied.unwrap_or(NRate::ZERO) + settings.applied_since_sensing
}

/// What a plateau's start would give, held to the limits but not rounded.
pub(crate) fn rate_for(settings: &RampSettings, need: NRate) -> NRate {
    (need - applied(settings)).clamp(settings.rate.minimum, settings.rate.maximum)
}

/// Fits the ramp and takes the rate from it.
///
/// N = start of the plateau − what the field got; held to least and greatest rate; rounded to the step. Without a response the least rate. Without a plateau
/// the ramp's greatest rate stands in for the start, since the need is at least that; a stop says so.
///
/// # Errors
/// Readings that no curve can be fitted to; a step that has no multiple between the limits.
pub(crate) fn ramp_rate(settings: &RampSettings) -> Result<RampOutcome, RampError> {
    let fits = fit_ramp(&settings.readings)?;
    let answer = fits.answer(settings.model);
    let need = match answer {
        RampAnswer::Plateau(fit) => Some(fit.join),
        RampAnswer::NoPlateau => Some(fits.top),
        RampAnswer::NoResponse | RampAnswer::Falls => None,
    };
    let rules = &settings.rate;
    let n_exact = need.map_or(rules.minimum, |need| rate_for(settings, need));
    let none = RampError::Step {
        step: rules.step,
        minimum: rules.minimum,
        maximum: rules.maximum,
    };
    let steps = round_to_step(n_exact, rules.minimum, rules.maximum, rules.step).ok_or(none)?;
    Ok(RampOutcome {
        fits,
        answer,
        need,
        n_raw: need.map(|need| need - applied(settings)),
        n_exact,
        rate: rules.step * steps as f64,
    })
}

/// Both systems of units, in a sentence.
/// A rate in both systems, the one that people read first.
fn both(us: bool, rate: NRate) -> String {
    format!("{} ({})", rate.text(us), rate.text(!us))
}

/// Says everything that can be said of a ramp.
pub(crate) fn judge(settings: &RampSettings, outcome: &RampOutcome) -> Vec<Finding> {
    let mut findings = Vec::new();
    if settings.applied.is_none() {
        findings.push(Finding::note(
            codes::RAMP_APPLIED,
            "rate.applied_before is not given: the field beside the ramp is taken to have had no nitrogen yet; what it did have must be taken off the ramp's answer",
        ));
    }
    if settings.readings.len() < FEW {
        findings.push(Finding::caution(
            codes::RAMP_FEW,
            format!(
                "the ramp has {} readings, and a rise with a plateau takes three numbers out of them: with fewer than {FEW} it says little; read each step more than once",
                settings.readings.len()
            ),
        ));
    }
    let top = outcome.fits.top;
    match outcome.answer {
        RampAnswer::Plateau(fit) => findings.extend(plateau(settings, outcome, &fit)),
        RampAnswer::NoPlateau => findings.push(Finding::stop(
            codes::RAMP_NO_PLATEAU,
            format!(
                "no plateau: the index still rises at the ramp's greatest rate, {} ({}), so the need is at least that and nothing says how much more; look again later, or lay a ramp that reaches further",
                both(settings.us_units, top),
                settings.model.name()
            ),
        ).with_figure(top.text(settings.us_units))),
        RampAnswer::NoResponse => findings.push(Finding::note(
            codes::RAMP_NO_RESPONSE,
            format!(
                "no response: a rise of the index along the ramp cannot be told from none ({}); the least rate is an answer; look again in 10 to 14 days",
                rise(outcome, settings.model)
            ),
        )),
        RampAnswer::Falls => {
            let (low, high) = outcome.fits.linear.slope_interval(crate::science::response_curve::USUAL_LEVEL).unwrap_or((f64::NAN, f64::NAN));
            findings.push(Finding::stop(
                codes::RAMP_FALLS,
                format!(
                    "the index falls along the ramp, by {:.5} for each kg N/ha (95 %: {low:.5} to {high:.5}): look whether rates and readings are in the same order, and whether the crop was burnt",
                    -outcome.fits.linear.b
                ),
            ).with_figure(format!("{:.5}", -outcome.fits.linear.b)));
        }
    }
    if let RampAnswer::NoResponse | RampAnswer::Falls = outcome.answer
        && outcome.rate > NRate::ZERO
    {
        findings.push(Finding::caution(
            codes::RESPONSE_SPENT,
            format!(
                "the least rate spends {} although the ramp shows no response",
                both(settings.us_units, outcome.rate)
            ),
        ));
    }
    findings
}

/// The interval of the rise, in words.
fn rise(outcome: &RampOutcome, model: PlateauShape) -> String {
    match outcome
        .fits
        .of(model)
        .ok()
        .and_then(|fit| fit.steepness_bounds)
    {
        Some((low, high)) => {
            format!("95 % interval of its steepness {low:.3e} to {high:.3e}, which contains 0")
        }
        None => "the readings nowhere rise".to_owned(),
    }
}

fn plateau(settings: &RampSettings, outcome: &RampOutcome, fit: &PlateauFit) -> Vec<Finding> {
    let mut findings = Vec::new();
    let rate = rate_for(settings, fit.join);
    if fit.join_high.is_none() {
        findings.push(Finding::caution(
            codes::RAMP_OPEN,
            format!(
                "a plateau that starts at the ramp's greatest rate, {}, or beyond it fits nearly as well: the start at {} has no upper bound",
                both(settings.us_units, fit.top),
                both(settings.us_units, fit.join)
            ),
        ));
    }
    if fit.join_low.is_none() {
        findings.push(Finding::caution(
            codes::RAMP_LOW,
            format!("a plateau that starts at the ramp's second rate or below fits nearly as well: the start at {} has no lower bound", both(settings.us_units, fit.join)),
        ));
    }
    if fit.rates_on_plateau < 2 {
        findings.push(Finding::caution(
            codes::RAMP_TOP,
            format!("the plateau rests on a single rate, {}: whether the index would have risen further cannot be seen", both(settings.us_units, fit.top)),
        ));
    }
    let other = match settings.model {
        PlateauShape::Linear => PlateauShape::Quadratic,
        PlateauShape::Quadratic => PlateauShape::Linear,
    };
    match outcome.fits.answer(other) {
        RampAnswer::Plateau(second) if (rate_for(settings, second.join) - rate).get().abs() > settings.rate.step.get() => {
            findings.push(Finding::caution(
                codes::RAMP_MODEL,
                format!(
                    "the choice of the curve moves the start of the plateau from {} ({}, SSE {:.3e}) to {} ({}, SSE {:.3e}) on the same readings; reference.ramp_model chooses",
                    both(settings.us_units, fit.join),
                    fit.shape.name(),
                    fit.quality.sse,
                    both(settings.us_units, second.join),
                    second.shape.name(),
                    second.quality.sse
                ),
            ));
        }
        RampAnswer::NoPlateau => findings.push(Finding::caution(
            codes::RAMP_MODEL,
            format!(
                "by the {} the plateau starts at {}, by the {} there is none up to {}: more readings, or a ramp that reaches further, would tell",
                fit.shape.name(),
                both(settings.us_units, fit.join),
                other.name(),
                both(settings.us_units, fit.top)
            ),
        )),
        RampAnswer::Plateau(_) | RampAnswer::NoResponse | RampAnswer::Falls => {}
    }
    let saturates = settings
        .index
        .as_ref()
        .is_none_or(|index| index.eq_ignore_ascii_case("NDVI"));
    if saturates && fit.plateau > SATURATED {
        findings.push(Finding::caution(
            codes::REFERENCE_SATURATED,
            format!(
                "the plateau lies at {:.3}{}: above {SATURATED} NDVI hardly rises with more nitrogen, so the plateau may be the sensor's and not the crop's; read a red-edge index",
                fit.plateau,
                if settings.index.is_some() { "" } else { " of an index that the job does not name (reference.ramp_index)" }
            ),
        ));
    }
    if fit.join < applied(settings) {
        findings.push(Finding::note(
            codes::RAMP_ENOUGH,
            format!(
                "the field got {}, more than the plateau asks for ({})",
                both(settings.us_units, applied(settings)),
                both(settings.us_units, fit.join)
            ),
        ));
    }
    if fit.join - applied(settings) > settings.rate.maximum {
        findings.push(Finding::caution(
            codes::RAMP_HELD,
            format!(
                "the ramp asks for {} more than the field got, which is limited to the greatest rate, {}",
                both(settings.us_units, fit.join - applied(settings)),
                both(settings.us_units, settings.rate.maximum)
            ),
        ));
    }
    findings
}
