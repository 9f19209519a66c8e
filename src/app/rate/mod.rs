//! `rate`: one flat rate from hand readings, by the formulas of the map, without an image.

mod flags;
mod judge;
mod ramp;
mod ramp_image;
mod text;

use std::path::Path;

use crate::app::accepted::accept;
use crate::app::error::AppError;
use crate::app::job::{read_ramp_job, read_rate_job};
use crate::app::requests::RateRequest;
use crate::app::season::growing_season;
use crate::finding::{Finding, by_weight};
use crate::job::settings::{MaximumRatio, RateSettings};
use crate::pipeline::money::prices_of;
use crate::pipeline::product::product_findings;
use crate::pipeline::rates::model_of;
use crate::pipeline::ratio_limit::{RatioLimit, SetBy, USUAL};
use crate::pipeline::season::GrowingSeason;
use crate::report::model::Report;
use crate::science::index::Index;
use crate::science::methods::{CellRate, RateModel};
use crate::science::money::{
    Comparison, FieldMoney, GrainResponse, MoneyCell, PriceInputs, break_even_gain,
    break_even_ratio, field_money,
};
use crate::science::monte_carlo::USUAL_CURVE_SPREAD;
use crate::science::reference::{ReadingsEstimate, readings};
use crate::science::yield_response::round_to_step;
use crate::units::{Area, NRate, Yield};

/// One flat rate and what it comes from.
#[derive(Clone, Debug)]
struct Flat {
    readings: ReadingsEstimate,
    season: GrowingSeason,
    cell: CellRate,
    /// Rounded to the step.
    rate: NRate,
    /// Exact rate at the bounds of the response index.
    by_bounds: Option<(NRate, NRate)>,
    /// Exact rate at a use efficiency of 0.6 and of 0.4, where the method has one.
    by_efficiency: Option<(NRate, NRate)>,
    /// Spread of the method's curve, and the exact rate with the curve lower and higher by it, where the method has one.
    by_curve: Option<(f64, NRate, NRate)>,
    money: Option<Money>,
}

/// Money of one hectare.
#[derive(Clone, Debug)]
struct Money {
    currency: String,
    hectare: FieldMoney,
    /// The rate instead of nothing.
    against_none: Comparison,
    /// The rate instead of the usual one.
    against_usual: Option<Comparison>,
    break_even_gain: Option<Yield>,
    break_even_ratio: Option<f64>,
}

/// One flat rate from hand readings of strip and crop beside it, or of a nitrogen ramp.
///
/// # Errors
/// When the job, an option or the weather record is refused.
pub fn rate(request: &RateRequest) -> Result<Report, AppError> {
    if let Some(job) = &request.job
        && let Some(settings) = read_ramp_job(job, request.common.us_units)?
    {
        return ramp::rate(
            settings,
            job.parent().unwrap_or_else(|| Path::new("")),
            &request.common,
        );
    }
    let mut findings = Vec::new();
    let (settings, folder) = match &request.job {
        Some(job) => (
            read_rate_job(job, request.common.us_units)?,
            job.parent().unwrap_or_else(|| Path::new("")),
        ),
        None => (flags::settings(request)?, Path::new("")),
    };
    let settings = settings.into_log(&mut findings);
    let flat = flat_rate(&settings, &mut findings)?;
    if let Some(product) = &settings.product {
        findings.extend(product_findings(product, &settings.product_facts));
    }
    judge::judge(&settings, &flat, &mut findings);
    let mut findings = accept(&settings.accept, findings);
    by_weight(&mut findings);
    let stopped = findings.iter().any(Finding::stops);
    Ok(text::report(&settings, folder, &flat, findings, stopped))
}

fn flat_rate(settings: &RateSettings, findings: &mut Vec<Finding>) -> Result<Flat, AppError> {
    let pairs: Vec<(f64, f64)> = settings
        .readings
        .iter()
        .map(|pair| (pair.strip, pair.beside))
        .collect();
    let estimate = readings(&pairs).map_err(|error| {
        AppError::refused("reference.readings", error.to_string()).with_hint(
            "give averaged readings of the index, such as 0.66 in the strip and 0.50 beside it",
        )
    })?;
    possible(settings, &pairs)?;
    let season = growing_season(&settings.season, None, None, findings)?.season;
    let model = model(settings, season.growing_days)?;
    let none = || {
        AppError::refused("rate.inputs", "the readings give no rate")
            .with_fact("beside", format!("{}", estimate.beside))
    };
    let at =
        |reference: f64, model: &RateModel| model.rate(estimate.beside, reference).ok_or_else(none);
    let cell = at(estimate.strip, &model)?;
    let rules = &settings.rate;
    let steps =
        round_to_step(cell.n_exact, rules.minimum, rules.maximum, rules.step).ok_or_else(|| {
            AppError::refused(
                "rate.empty",
                "no multiple of the step lies between the least and the greatest rate",
            )
            .with_fact(
                "step, least, greatest",
                format!("{}, {}, {}", rules.step, rules.minimum, rules.maximum),
            )
            .with_hint("choose a smaller step or a wider range")
        })?;
    let by_bounds = match &estimate.interval {
        Ok(interval) => Some((
            at(estimate.beside * interval.low, &model)?.n_exact,
            at(estimate.beside * interval.high, &model)?.n_exact,
        )),
        Err(_) => None,
    };
    let efficient = |use_efficiency: f64| {
        model
            .with_use_efficiency(use_efficiency)
            .and_then(|model| model.exact(estimate.beside, estimate.strip))
    };
    let by_efficiency = efficient(0.6).zip(efficient(0.4));
    let spread = settings.response.curve_spread.unwrap_or(USUAL_CURVE_SPREAD);
    let scaled = |factor: f64| {
        model
            .with_curve_factor(factor)
            .and_then(|model| model.exact(estimate.beside, estimate.strip))
    };
    let by_curve = scaled(1.0 - spread)
        .zip(scaled(1.0 + spread))
        .map(|(low, high)| (spread, low, high));
    let rate = rules.step * steps as f64;
    let money = money(settings, &cell, rate);
    Ok(Flat {
        readings: estimate,
        season,
        cell,
        rate,
        by_bounds,
        by_efficiency,
        by_curve,
        money,
    })
}

/// Refuses a reading that the index cannot have: one of 66 is a share in per cent, and a curve takes it for the densest canopy of all.
fn possible(settings: &RateSettings, pairs: &[(f64, f64)]) -> Result<(), AppError> {
    let Some(name) = settings.response.index() else {
        return Ok(());
    };
    let Some((low, high)) = Index::parse(name).ok().and_then(|index| index.range()) else {
        return Ok(());
    };
    let odd = pairs
        .iter()
        .flat_map(|(strip, beside)| [("strip", *strip), ("beside", *beside)])
        .find(|(_, value)| !(low..=high).contains(value));
    odd.map_or(Ok(()), |(place, value)| {
        Err(AppError::refused(
            "reference.range",
            format!("a reading of {value} cannot be {name}, which lies between {low} and {high}"),
        )
        .with_fact(place, format!("{value}"))
        .with_hint("write 0.66, not 66, where the sensor shows per cent; else check the index"))
    })
}

fn model(settings: &RateSettings, growing_days: f64) -> Result<RateModel, AppError> {
    let response = &settings.response;
    // One flat rate asks for the readings' own ratio, which no answer of theirs lowers: a stated limit counts, or the usual one.
    let maximum_ratio = match response.maximum_ratio {
        MaximumRatio::Value(value) => value,
        MaximumRatio::ByAnswer => USUAL,
        MaximumRatio::Seen => {
            return Err(AppError::refused("rate.inputs", "response.maximum_ratio = \"seen\" needs a strip on an image: hand readings show no range along it")
                .with_hint("give a number, such as maximum_ratio = 2.0"));
        }
    };
    let limit = RatioLimit {
        value: maximum_ratio,
        by: SetBy::Usual,
    };
    // One index stands for the whole field, so both ways of comparing are the same.
    model_of(response, &settings.rate, limit, None, growing_days).map_err(|error| {
        AppError::refused("rate.inputs", error.to_string())
            .with_hint("correct the number that the message names")
    })
}

fn money(settings: &RateSettings, cell: &CellRate, rate: NRate) -> Option<Money> {
    let prices = settings.prices.as_ref()?;
    // Without a yield in reach there is no gain to put a price on.
    let (yields, (yield_without, yield_with)) = settings.response.yields().zip(cell.yields)?;
    let response = GrainResponse {
        grain_nitrogen: yields.grain_nitrogen,
        use_efficiency: yields.use_efficiency,
        applied_since_sensing: settings.response.applied_since_sensing,
    };
    // A flat rate has no map to pay.
    let inputs = PriceInputs {
        mapping: 0.0,
        ..prices_of(prices)
    };
    let hectare = MoneyCell {
        area: Area::ha(1.0),
        rate,
        yield_without,
        yield_with,
    };
    let hectare = field_money(&[hectare], settings.rate.usual, &response, &inputs)?;
    Some(Money {
        currency: prices.currency.clone(),
        against_none: hectare.map.instead_of(&hectare.none, &inputs),
        against_usual: hectare
            .usual
            .as_ref()
            .map(|usual| hectare.map.instead_of(usual, &inputs)),
        hectare,
        break_even_gain: break_even_gain(rate, &inputs),
        break_even_ratio: break_even_ratio(yield_without, &response, &inputs),
    })
}
