//! `response.economic`: the rate that pays best on the job's own response curve. Never the default: prices move a rate only when asked.

use crate::finding::{Finding, codes};
use crate::job::amount;
use crate::job::problem::{Problem, short};
use crate::job::reader::Section;
use crate::job::settings::Prices;
use crate::key::{Key, Record, Typed};
use crate::science::methods::shared::{CURVE, SHARED, Shape};
use crate::science::response_curve::ResponseCurve;
use crate::units::{NRate, Yield};
use serde_json::Value;

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

/// `response.curve` with its source and the greatest rate of its trial.
fn curve(section: &mut Section<'_>) -> Option<(ResponseCurve, String, Option<NRate>)> {
    let mut table = section.sub_at(&SHARED.curve)?;
    let grain = |table: &mut Section<'_>, key: &Typed<Yield>| {
        let read = |text: &str| amount::grain_yield(text, "a response curve", None);
        table.amount(key, read).map(Yield::get)
    };
    let nitrogen = |table: &mut Section<'_>, key: &Typed<NRate>| {
        table
            .amount(key, |text| amount::nitrogen(text, None, false))
            .map(|n| n.rate)
    };
    let curve = match table.find(&CURVE.shape) {
        Some(Shape::Quadratic) => {
            let a = grain(&mut table, &CURVE.a);
            let (b, c) = (table.find(&CURVE.b), table.find(&CURVE.c));
            table.require(&CURVE.a);
            table.require(&CURVE.b);
            table.require(&CURVE.c);
            a.zip(b)
                .zip(c)
                .map(|((a, b), c)| ResponseCurve::Quadratic { a, b, c })
        }
        Some(shape) => {
            let plateau = grain(&mut table, &CURVE.plateau);
            let join = nitrogen(&mut table, &CURVE.join).map(NRate::get);
            table.require(&CURVE.plateau);
            table.require(&CURVE.join);
            let straight = shape == Shape::LinearPlateau;
            let key = if straight {
                &CURVE.slope
            } else {
                &CURVE.curvature
            };
            let bend = table.find(key);
            table.require(key);
            plateau.zip(join).zip(bend).map(|((plateau, join), bend)| {
                if straight {
                    ResponseCurve::LinearPlateau {
                        plateau,
                        join,
                        slope: bend,
                    }
                } else {
                    ResponseCurve::QuadraticPlateau {
                        plateau,
                        join,
                        k: bend,
                    }
                }
            })
        }
        None => {
            // Which other keys it needs depends on the shape.
            table.require(&CURVE.shape);
            table.rest();
            None
        }
    };
    let maximum = nitrogen(&mut table, &CURVE.maximum_rate);
    let source = table.find(&CURVE.source);
    table.finish();
    Some((curve?, source?, maximum))
}

/// The economic optimum, if it is `requirement`. `own` is the key that the optimum takes the place of.
pub(crate) fn economic(
    section: &mut Section<'_>,
    requirement: bool,
    own: &Key,
    prices: Option<&Prices>,
) -> Option<EconomicOptimum> {
    if !requirement {
        if section.has(&SHARED.curve) {
            section.take(&SHARED.curve);
            section.log().note(Finding::note(
                codes::RESPONSE_CURVE,
                "response.curve moves nothing without response.economic = true: it is passed over",
            ));
        }
        return None;
    }
    section.require(&SHARED.curve);
    if section.has(own) {
        section.refuse_together(own, vec![own.full(), SHARED.economic.full()]);
    }
    let read = curve(section);
    let Some(prices) = prices else {
        let example = "[prices] grain = \"210 EUR/t\", nitrogen = \"1.15 EUR/kg N\"".to_owned();
        section
            .refuse(&SHARED.economic, Problem::Missing { what: "[prices] with the prices of grain and nitrogen, from which the economic optimum comes,", example });
        return None;
    };
    let (curve, source, maximum_rate) = read?;
    let price_ratio = prices.nitrogen / prices.grain;
    let optimum = match curve.optimum(price_ratio) {
        Ok(optimum) => NRate::kg_per_ha(optimum),
        Err(error) => {
            section.refuse(
                &SHARED.curve,
                Problem::Method {
                    reason: error.to_string(),
                },
            );
            return None;
        }
    };
    let us = section.log().us();
    let wording = format!(
        "the rate is the economic optimum: at a price ratio of {} kg of grain a kg of nitrogen the response curve ({source}) pays best at {} in the season",
        short(price_ratio),
        optimum.text(us)
    );
    // A hundredth of the grain at stake: how little the exact rate matters.
    let nearly = curve
        .profitable_range(price_ratio, 0.01 * curve.at(optimum.get()))
        .ok()
        .filter(|(_, high)| high.is_finite());
    let nearly = nearly.map_or_else(String::new, |(low, high)| {
        let [low, high] = [low, high].map(|n| NRate::kg_per_ha(n).text(us));
        format!("; {low} to {high} pay within 1 % of the yield of it")
    });
    section.log().note(Finding::note(
        codes::RESPONSE_ECONOMIC,
        format!("{wording}{nearly}"),
    ));
    if let Some(maximum) = maximum_rate.filter(|maximum| optimum > *maximum) {
        section.log().note(Finding::caution(
            codes::RESPONSE_BEYOND_TRIAL,
            format!("the economic optimum of {optimum:.1} lies beyond the trial's greatest rate of {maximum:.1}: no yield was measured there"),
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

/// The economic optimum and what it comes from.
pub(crate) fn economic_record(economic: &EconomicOptimum) -> Value {
    let shape = |shape: Shape| Record::new().put(&CURVE.shape, shape.word());
    let curve = match economic.curve {
        ResponseCurve::Quadratic { a, b, c } => shape(Shape::Quadratic)
            .put(&CURVE.a, a)
            .put(&CURVE.b, b)
            .put(&CURVE.c, c),
        ResponseCurve::QuadraticPlateau { plateau, join, k } => shape(Shape::QuadraticPlateau)
            .put(&CURVE.plateau, plateau)
            .put(&CURVE.join, join)
            .put(&CURVE.curvature, k),
        ResponseCurve::LinearPlateau {
            plateau,
            join,
            slope,
        } => shape(Shape::LinearPlateau)
            .put(&CURVE.plateau, plateau)
            .put(&CURVE.join, join)
            .put(&CURVE.slope, slope),
    };
    Record::new()
        .table(&SHARED.curve, curve)
        .put(&CURVE.source, economic.source.clone())
        .add("price_ratio", economic.price_ratio)
        .add("optimum_kg_n_ha", economic.optimum.get())
        .put(&CURVE.maximum_rate, economic.maximum_rate.map(NRate::get))
        .value()
}
