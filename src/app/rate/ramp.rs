//! A flat rate from a nitrogen ramp, for people, in both systems of units, and for scripts.

use std::path::Path;

use super::text::{Both, next_of_rate, product_rate, product_row, row};
use super::{judge, ramp_image};
use crate::app::accepted::accept;
use crate::app::error::AppError;
use crate::app::job::ramp_record;
use crate::app::record;
use crate::app::requests::Common;
use crate::finding::{Checked, Finding, by_weight};
use crate::pipeline::product::product_findings;
use crate::pipeline::ramp;
use crate::pipeline::ramp::{RampError, RampOutcome, RampSettings};
use crate::report::model::{Block, Brief, Column, Report, Row, Table};
use crate::science::ramp::RampAnswer;
use crate::science::response_curve::{CurveError, PlateauFit, PlateauShape, Quality, USUAL_LEVEL};
use crate::units::{NRate, half_up_to_hundredth};
use serde_json::{Value, json};

/// Shown where a number does not exist.
const NONE: &str = "–";

/// One flat rate from a ramp.
pub(super) fn rate(
    settings: Checked<RampSettings>,
    folder: &Path,
    common: &Common,
) -> Result<Report, AppError> {
    let mut findings = Vec::new();
    let mut settings = settings.into_log(&mut findings);
    if let Some(image) = &settings.image {
        settings.readings = ramp_image::readings(
            image,
            settings.index.as_deref(),
            folder,
            common,
            &mut findings,
        )?;
    }
    let outcome = ramp::ramp_rate(&settings).map_err(|error| match error {
        RampError::Curve(CurveError::TooFewRates { .. } | CurveError::TooFewPoints { .. }) => AppError::refused("reference.ramp", error.to_string()).with_hint(
            "a rise and its plateau need at least four different rates, better six or more: give every step of the ramp, also the one without nitrogen",
        ),
        RampError::Curve(_) => AppError::refused("reference.ramp", error.to_string()).with_hint("correct the reading that the message names"),
        _ => AppError::refused("rate.empty", error.to_string()).with_hint("choose a smaller step or a wider range"),
    })?;
    if let Some(product) = &settings.product {
        findings.extend(product_findings(product, &settings.product_facts));
    }
    findings.extend(ramp::judge(&settings, &outcome));
    judge::age(settings.sensed, &settings.application, &mut findings);
    judge::usual(
        outcome.rate,
        &settings.rate,
        settings.us_units,
        &mut findings,
    );
    let mut findings = accept(&settings.accept, findings);
    by_weight(&mut findings);
    let stopped = findings.iter().any(Finding::stops);
    let both = Both {
        us: settings.us_units,
        lb_per_bu: None,
    };
    let (first, second) = both.rate(outcome.rate);
    let name = settings
        .name
        .as_ref()
        .map_or_else(String::new, |name| format!("{name}: "));
    let blocks = vec![
        rate_block(&settings, &outcome, both),
        curves_block(&settings, &outcome, both),
        readings_block(&settings, &outcome, both),
        Block::text(
            "Before you spread",
            vec![
                "The start of a plateau is where the index stops rising, not where nitrogen stops paying: prices, the product's label and the law where you are come on top; a licensed adviser decides.".to_owned(),
                "The ramp shows one place. It is right for the field as far as that place is like the rest.".to_owned(),
            ],
        ),
    ];
    Ok(Report {
        title: format!(
            "{name}{first} ({second}){}",
            if stopped { ": NOT FOR USE" } else { "" }
        ),
        brief: Some(brief(&settings, &outcome, both, stopped)),
        blocks,
        json: value(&settings, folder, &outcome, &findings, stopped),
        findings,
        files: Vec::new(),
        stopped,
    })
}

fn brief(settings: &RampSettings, outcome: &RampOutcome, both: Both, stopped: bool) -> Brief {
    let mut rows = vec![row("nitrogen", both.rate(outcome.rate))];
    if let Some(product) = &settings.product {
        rows.push(product_row(product, outcome.rate, settings.unit));
    }
    rows.push(
        Row::new("ramp", words(outcome.answer))
            .with_note(format!("by the {}", settings.model.name())),
    );
    if let RampAnswer::Plateau(fit) = outcome.answer {
        rows.push(
            Row::new("plateau starts at", both.rate(fit.join).0).with_note(format!(
                "95 % limits {}",
                span(fit.join_low, fit.join_high, |rate| both.rate(rate).0)
            )),
        );
    }
    rows.push(Row::new(
        "allowed",
        format!(
            "{} to {}",
            both.rate(settings.rate.minimum).0,
            both.rate(settings.rate.maximum).0
        ),
    ));
    Brief {
        rows,
        next: next_of_rate(stopped),
        ..Brief::default()
    }
}

fn words(answer: RampAnswer) -> &'static str {
    match answer {
        RampAnswer::Plateau(_) => "plateau",
        RampAnswer::NoPlateau => "no plateau",
        RampAnswer::NoResponse => "no response",
        RampAnswer::Falls => "falls",
    }
}

/// `120 to 180`, with words for sides that are open.
fn span(low: Option<NRate>, high: Option<NRate>, shown: impl Fn(NRate) -> String) -> String {
    let low = low.map_or_else(|| "open".to_owned(), &shown);
    let high = high.map_or_else(|| "open".to_owned(), &shown);
    format!("{low} to {high}")
}

fn rate_block(settings: &RampSettings, outcome: &RampOutcome, both: Both) -> Block {
    let mut rows = vec![row("nitrogen", both.rate(outcome.rate))];
    if let Some(product) = &settings.product {
        rows.push(product_row(product, outcome.rate, settings.unit));
    }
    let shown = |rate| both.rate(rate).0;
    rows.push(
        Row::new("the ramp says", words(outcome.answer))
            .with_note(format!("by the {}", settings.model.name())),
    );
    if let RampAnswer::Plateau(fit) = outcome.answer {
        rows.push(row("plateau starts at", both.rate(fit.join)));
        rows.push(
            Row::new(
                "95 % of its start",
                span(fit.join_low, fit.join_high, shown),
            )
            .with_note("open: not bounded within the ramp"),
        );
        let bound = |bound: Option<NRate>| bound.map(|need| ramp::rate_for(settings, need));
        rows.push(
            Row::new(
                "rate at these bounds",
                span(bound(fit.join_low), bound(fit.join_high), shown),
            )
            .with_note("limited, before rounding"),
        );
    }
    rows.push(row("the field got", both.rate(ramp::applied(settings))));
    if let Some(raw) = outcome
        .n_raw
        .filter(|raw| (*raw - outcome.n_exact).get().abs() > 1e-9)
    {
        rows.push(row("before it is held", both.rate(raw)));
    }
    rows.push(row("before rounding", both.rate(outcome.n_exact)));
    let (minimum, maximum) = (
        both.rate(settings.rate.minimum),
        both.rate(settings.rate.maximum),
    );
    rows.push(row(
        "allowed",
        (
            format!("{} to {}", minimum.0, maximum.0),
            format!("{} to {}", minimum.1, maximum.1),
        ),
    ));
    rows.push(row("step", both.rate(settings.rate.step)));
    Block::rows("Rate", rows)
}

fn curves_block(settings: &RampSettings, outcome: &RampOutcome, both: Both) -> Block {
    let unit = if both.us { "lb N/ac" } else { "kg N/ha" };
    let number = |rate: NRate| {
        format!(
            "{:.1}",
            if both.us {
                rate.as_lb_per_ac()
            } else {
                rate.get()
            }
        )
    };
    let (fits, top) = (&outcome.fits, number(outcome.fits.top));
    let quality = |quality: Quality| {
        let criterion = |value: Option<f64>| {
            value.map_or_else(|| NONE.to_owned(), |value| format!("{value:.2}"))
        };
        [
            format!("{:.3e}", quality.sse),
            criterion(quality.aic()),
            criterion(quality.aicc()),
        ]
    };
    let line = |name: &str, start: String, bounds: String, fit: Option<Quality>| {
        let mut cells = vec![name.to_owned(), start, bounds];
        cells.extend(fit.map_or_else(|| [NONE; 3].map(str::to_owned), quality));
        cells
    };
    let plateau = |shape: PlateauShape| match fits.of(shape) {
        Ok(fit) => {
            let start = if fit.at_top {
                format!("none up to {top}")
            } else {
                number(fit.join)
            };
            let chosen = if shape == settings.model {
                " (used)"
            } else {
                ""
            };
            line(
                &format!("{}{chosen}", shape.name()),
                start,
                span(fit.join_low, fit.join_high, number),
                Some(fit.quality),
            )
        }
        Err(_) => line(
            shape.name(),
            "does not rise".to_owned(),
            NONE.to_owned(),
            None,
        ),
    };
    let rows = vec![
        plateau(PlateauShape::Linear),
        plateau(PlateauShape::Quadratic),
        line(
            "straight line",
            NONE.to_owned(),
            NONE.to_owned(),
            Some(fits.linear.quality),
        ),
        line(
            "parabola",
            NONE.to_owned(),
            NONE.to_owned(),
            Some(fits.quadratic.quality),
        ),
    ];
    let columns = vec![
        Column::left("curve"),
        Column::right(format!("start {unit}")),
        Column::right("95 %"),
        Column::right("SSE"),
        Column::right("AIC"),
        Column::right("AICc"),
    ];
    Block::table("Curves on the same readings", Table { columns, rows })
}

fn readings_block(settings: &RampSettings, outcome: &RampOutcome, both: Both) -> Block {
    let fitted = |shape: PlateauShape, rate: NRate| {
        outcome
            .fits
            .of(shape)
            .map_or_else(|_| NONE.to_owned(), |fit| format!("{:.4}", fit.at(rate)))
    };
    let rows = settings
        .readings
        .iter()
        .map(|point| {
            let (first, second) = both.rate(point.rate);
            vec![
                first,
                second,
                format!("{:.4}", point.value),
                fitted(PlateauShape::Linear, point.rate),
                fitted(PlateauShape::Quadratic, point.rate),
            ]
        })
        .collect();
    let index = settings.index.clone().unwrap_or_else(|| "index".to_owned());
    let columns = vec![
        Column::right("step"),
        Column::right(""),
        Column::right(index),
        Column::right("linear plateau"),
        Column::right("quadratic plateau"),
    ];
    Block::table("Readings of the ramp", Table { columns, rows })
}

fn quality_value(quality: Quality) -> Value {
    json!({
        "sse": quality.sse, "aic": quality.aic(), "aicc": quality.aicc(), "points": quality.points, "parameters": quality.parameters,
        "degrees_of_freedom": quality.degrees_of_freedom(),
    })
}

fn plateau_value(fit: Result<PlateauFit, CurveError>) -> Value {
    match fit {
        Err(reason) => json!({ "fitted": false, "reason": reason.to_string() }),
        Ok(fit) => json!({
            "fitted": true, "start_kg_n_ha": (!fit.at_top).then(|| fit.join.get()), "start_low_kg_n_ha": fit.join_low.map(NRate::get),
            "start_high_kg_n_ha": fit.join_high.map(NRate::get), "plateau": fit.plateau, "steepness": fit.steepness,
            "steepness_low": fit.steepness_bounds.map(|bounds| bounds.0), "steepness_high": fit.steepness_bounds.map(|bounds| bounds.1),
            "responds": fit.responds, "plateau_seen": !fit.at_top, "rates_on_plateau": fit.rates_on_plateau, "quality": quality_value(fit.quality),
        }),
    }
}

fn value(
    settings: &RampSettings,
    folder: &Path,
    outcome: &RampOutcome,
    findings: &[Finding],
    stopped: bool,
) -> Value {
    let fits = &outcome.fits;
    let readings: Vec<Value> = settings
        .readings
        .iter()
        .map(|step| json!({ "rate_kg_n_ha": step.rate.get(), "index": step.value }))
        .collect();
    let slope = fits.linear.slope_interval(USUAL_LEVEL);
    let product = settings.product.as_ref().map(|product| {
        let exact = product_rate(product, outcome.rate, settings.unit);
        json!({ "name": product.name(), "rate": exact.map(half_up_to_hundredth), "rate_exact": exact, "unit": settings.unit.label() })
    });
    json!({
        "version": env!("CARGO_PKG_VERSION"),
        "not_for_use": stopped,
        "settings": ramp_record(settings, folder),
        "reference": {
            "kind": "ramp", "readings": readings, "measured": settings.image.is_some(), "steps": settings.readings.len(), "answer": words(outcome.answer), "model": settings.model.name(),
            "linear_plateau": plateau_value(fits.linear_plateau), "quadratic_plateau": plateau_value(fits.quadratic_plateau),
            "linear": {
                "a": fits.linear.a, "b": fits.linear.b, "b_low": slope.map(|s| s.0), "b_high": slope.map(|s| s.1), "quality": quality_value(fits.linear.quality),
            },
            "quadratic": { "a": fits.quadratic.a, "b": fits.quadratic.b, "c": fits.quadratic.c, "quality": quality_value(fits.quadratic.quality) },
        },
        "rate": {
            "need_kg_ha": outcome.need.map(NRate::get), "applied_kg_ha": ramp::applied(settings).get(), "n_raw_kg_ha": outcome.n_raw.map(NRate::get),
            "n_exact_kg_ha": outcome.n_exact.get(), "n_kg_ha": outcome.rate.get(), "n_exact_lb_ac": outcome.n_exact.as_lb_per_ac(),
            "n_lb_ac": outcome.rate.as_lb_per_ac(),
        },
        "product": product,
        "findings": record::findings(findings),
    })
}
