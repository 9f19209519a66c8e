//! `response.economic`: the rate that pays best on the job's own response curve. Never the default: prices move a rate only when asked.

use crate::finding::{Finding, codes};
use crate::job::amount;
use crate::job::problem::{Problem, short};
use crate::job::reader::Section;
use crate::job::settings::{EconomicOptimum, Prices};
use crate::science::response_curve::ResponseCurve;
use crate::units::{NRate, Yield};

/// Shapes of a curve.
#[derive(Clone, Copy)]
enum Shape {
    Quadratic,
    QuadraticPlateau,
    LinearPlateau,
}

/// `response.curve` with its source and the greatest rate of its trial.
fn curve(section: &mut Section<'_>) -> Option<(ResponseCurve, String, Option<NRate>)> {
    let entry = section.take("curve")?;
    let mut table = section.sub(&entry, "curve")?;
    let words = [
        ("quadratic", Shape::Quadratic),
        ("quadratic plateau", Shape::QuadraticPlateau),
        ("linear plateau", Shape::LinearPlateau),
    ];
    let shape = table.choice("shape", &words);
    table.require("shape");
    let grain = |table: &mut Section<'_>, key: &'static str| {
        table
            .amount(key, |text| {
                amount::grain_yield(text, "a response curve", None)
            })
            .map(Yield::get)
    };
    let nitrogen = |table: &mut Section<'_>, key: &'static str| {
        table
            .amount(key, |text| amount::nitrogen(text, None, false))
            .map(|n| n.rate)
    };
    let curve = match shape {
        Some(Shape::Quadratic) => {
            let a = grain(&mut table, "a");
            let b = table.number("b");
            let c = table.number("c");
            table.require("a");
            table.require("b");
            table.require("c");
            a.zip(b)
                .zip(c)
                .map(|((a, b), c)| ResponseCurve::Quadratic { a, b, c })
        }
        Some(Shape::QuadraticPlateau | Shape::LinearPlateau) => {
            let plateau = grain(&mut table, "plateau");
            let join = nitrogen(&mut table, "join").map(NRate::get);
            table.require("plateau");
            table.require("join");
            if let Some(Shape::LinearPlateau) = shape {
                let slope = table.number("slope");
                table.require("slope");
                plateau
                    .zip(join)
                    .zip(slope)
                    .map(|((plateau, join), slope)| ResponseCurve::LinearPlateau {
                        plateau,
                        join,
                        slope,
                    })
            } else {
                let k = table.number("curvature");
                table.require("curvature");
                plateau.zip(join).zip(k).map(|((plateau, join), k)| {
                    ResponseCurve::QuadraticPlateau { plateau, join, k }
                })
            }
        }
        None => {
            // Which other keys it needs depends on the shape.
            table.rest();
            None
        }
    };
    let greatest = nitrogen(&mut table, "maximum_rate");
    let source = table.text("source");
    table.require("source");
    table.finish();
    Some((curve?, source?, greatest))
}

/// Whether the job asks for the economic optimum.
pub(crate) fn wanted(section: &mut Section<'_>) -> bool {
    section.boolean_or("economic")
}

/// The economic optimum, if it is `wanted`. `own` is the key that the optimum takes the place of.
pub(crate) fn economic(
    section: &mut Section<'_>,
    wanted: bool,
    own: &'static str,
    prices: Option<&Prices>,
) -> Option<EconomicOptimum> {
    if !wanted {
        if section.has("curve") {
            section.take("curve");
            section.log().note(Finding::note(
                codes::RESPONSE_CURVE,
                "response.curve moves nothing without response.economic = true: it is passed over",
            ));
        }
        return None;
    }
    section.require("curve");
    if section.has(own) {
        section.take(own);
        section.refuse(
            own,
            Problem::Together {
                keys: vec![
                    if own == "rate" {
                        "response.rate"
                    } else {
                        "response.optimum"
                    },
                    "response.economic",
                ],
            },
        );
    }
    let read = curve(section);
    let Some(prices) = prices else {
        let example = "[prices] grain = \"210 EUR/t\", nitrogen = \"1.15 EUR/kg N\"".to_owned();
        section
            .refuse("economic", Problem::Missing { what: "[prices] with the prices of grain and nitrogen, from which the economic optimum comes,", example });
        return None;
    };
    let (curve, source, maximum_rate) = read?;
    let price_ratio = prices.nitrogen / prices.grain;
    let optimum = match curve.optimum(price_ratio) {
        Ok(optimum) => NRate::kg_per_ha(optimum),
        Err(error) => {
            section.refuse(
                "curve",
                Problem::Method {
                    reason: error.to_string(),
                },
            );
            return None;
        }
    };
    let us = section.log().us();
    let said = format!(
        "the rate is the economic optimum: at a price ratio of {} kg of grain a kg of nitrogen the response curve ({source}) pays best at {} in the season",
        short(price_ratio),
        optimum.told(us)
    );
    // A hundredth of the grain at stake: how little the exact rate matters.
    let nearly = curve
        .profitable_range(price_ratio, 0.01 * curve.at(optimum.get()))
        .ok()
        .filter(|(_, high)| high.is_finite());
    let nearly = nearly.map_or_else(String::new, |(low, high)| {
        let [low, high] = [low, high].map(|n| NRate::kg_per_ha(n).told(us));
        format!("; {low} to {high} pay within 1 % of the yield of it")
    });
    section.log().note(Finding::note(
        codes::RESPONSE_ECONOMIC,
        format!("{said}{nearly}"),
    ));
    if let Some(greatest) = maximum_rate.filter(|greatest| optimum > *greatest) {
        section.log().note(Finding::caution(
            codes::RESPONSE_BEYOND_TRIAL,
            format!("the economic optimum of {optimum:.1} lies beyond the trial's greatest rate of {greatest:.1}: no yield was measured there"),
        ));
    }
    Some(EconomicOptimum {
        curve,
        source,
        price_ratio,
        optimum,
        maximum_rate,
    })
}
