//! What the user must know of the strips before trusting a map: whether they answer at all, agree, and are one stand each.

use crate::finding::{Finding, codes};
use crate::job::settings::{MaximumRatio, Output};
use crate::pipeline::ratio_limit::{RatioLimit, SetBy};
use crate::pipeline::reference::Reference;
use crate::pipeline::strips::{How, Strip, StripFound};
use crate::pipeline::totals::Totals;
use crate::science::reference::{Answer, Uneven};
use crate::units::Length;

/// An interval of the response index wider than this says nothing. Common practice, no source.
const MAXIMUM_WIDTH: f64 = 0.5;
/// Share of the canopy limited by the greatest ratio above which it is a caution.
const MUCH_BEYOND: f64 = 0.10;
/// A strip narrower than this share of the working width is no whole pass; below it lies only how exactly it was drawn.
const WHOLE_PASS: f64 = 0.98;
/// Feet in a metre, square metres in an acre.
const FT: f64 = 1.0 / 0.3048;
const HA_PER_AC: f64 = 0.404_685_642_24;

/// Says what the strips answer.
pub(crate) fn answer(
    maximum_ratio: MaximumRatio,
    output: &Output,
    reference: &Reference,
    limit: &RatioLimit,
    totals: &Totals,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    let (Some(low), Some(high), Some(ratio)) = (reference.low, reference.high, reference.ratio)
    else {
        return findings;
    };
    let notice = format!("the response index {ratio:.3} (95 %: {low:.3} to {high:.3})");
    let chance = chance(reference);
    // Placebo strips know the field's error of place; only the strip's own blocks know whether it is one stand.
    findings.extend(unclear(ratio, low, high).or_else(|| {
        let (low, high) = reference.paired?;
        unclear(ratio, low, high)
    }));
    match reference.answer {
        Some(Answer::Responds) => findings.push(Finding::note(
            codes::RESPONSE_RESPONDS,
            format!("the crop responds to nitrogen: {notice} is significantly above 1{chance}"),
        )),
        Some(Answer::None) if high >= 1.0 => {
            findings.push(Finding::note(
                codes::RESPONSE_NONE,
                format!("no response: {notice} is not significantly above 1{chance}; the minimum rate is an answer; look again in 10 to 14 days"),
            ));
            if let MaximumRatio::Value(value) = maximum_ratio {
                findings.push(Finding::stop(
                    codes::RESPONSE_STATED_RATIO,
                    format!("response.maximum_ratio = {value} is stated, but {notice} is not significantly above 1: ground that is pale for other reasons would get nitrogen that the strip shows no need of; leave the number out"),
                )
                .with_figure(format!("{value}")));
            }
        }
        Some(Answer::Doubtful) => findings.push(Finding::caution(
            codes::RESPONSE_DOUBTFUL,
            format!("a response is doubtful: {notice} is not significantly above 1, yet high for chance alone{chance}: ratios up to {:.3} count ({}); another strip, or this one 10 to 14 days later, would decide", limit.value, limit.by.reason()),
        )),
        _ => {}
    }
    if let Some(reason) = &reference.no_placebo {
        findings.push(Finding::note(
            codes::REFERENCE_NO_PLACEBO,
            format!("that interval is the paired one, from along the strip alone, and too narrow where the ground differs: there are no placebo strips ({reason})"),
        ));
    }
    if totals.n_kg > 0.0
        && matches!(reference.answer, Some(Answer::Doubtful | Answer::None))
        && high >= 1.0
    {
        findings.push(Finding::caution(
            codes::RESPONSE_SPENT,
            format!(
                "the map spends {} although the response index is not significantly above 1 (95 %: {low:.3} to {high:.3})",
                output.nitrogen(totals.n_kg)
            ),
        ));
    }
    findings
}

/// Whether an interval says too little for any rate.
pub(crate) fn unclear(ratio: f64, low: f64, high: f64) -> Option<Finding> {
    (low <= 0.0 || high - low > MAXIMUM_WIDTH + 1e-9).then(|| {
        Finding::stop(
            codes::REFERENCE_UNCLEAR,
            format!("the response index {ratio:.3} has a 95 % interval of {low:.3} to {high:.3}, wider than {MAXIMUM_WIDTH} or reaching to 0: the strip does not tell what nitrogen does here; look whether it is one even stand all along, and take another strip, image or readings"),
        )
        .with_figure(format!("{ratio:.3}"))
    })
}

/// How often ground alone gives such a ratio, in words.
fn chance(reference: &Reference) -> String {
    reference.placebo.map_or_else(String::new, |placebo| {
        let percent = 100.0 * placebo.answer.probability;
        format!(
            "; ground alone gives as much in {} of {} placebo strips",
            if percent < 9.95 {
                format!("{percent:.1} %")
            } else {
                format!("{percent:.0} %")
            },
            placebo.places
        )
    })
}

/// Says how much ground the greatest ratio limits.
pub(crate) fn beyond(output: &Output, limit: &RatioLimit, totals: &Totals) -> Option<Finding> {
    if totals.beyond_share <= 0.0 {
        return None;
    }
    let finding = if totals.beyond_share > MUCH_BEYOND {
        Finding::caution
    } else {
        Finding::note
    };
    let way_out = match limit.by {
        SetBy::Stated => {
            "if the crop lacks nitrogen there, lay a reference strip there, or raise response.maximum_ratio"
        }
        SetBy::NoResponse => {
            "if the crop lacks nitrogen there, only a reference strip there shows it"
        }
        SetBy::Usual | SetBy::Seen | SetBy::Doubtful => {
            "if the crop lacks nitrogen there, lay a reference strip there, or state response.maximum_ratio"
        }
    };
    Some(finding(
        codes::RATE_BEYOND,
        format!(
            "{:.1} % of the canopy ({}) asks for a response index above {:.3} ({}): it is limited to that, which withholds {}; {way_out}",
            100.0 * totals.beyond_share,
            area(output, totals.beyond_ha),
            limit.value,
            limit.by.reason(),
            output.nitrogen(totals.withheld_kg)
        ),
    ))
}

/// Says that strips contradict each other, with what each of them says alone.
pub(crate) fn disagree(output: &Output, reference: &Reference, totals: &Totals) -> Option<Finding> {
    if !reference.disagree {
        return None;
    }
    let mut each: Vec<(f64, String)> = reference
        .alone
        .iter()
        .map(|strip| {
            let interval = strip.interval.map_or_else(String::new, |(low, high)| {
                format!(" ({low:.3} to {high:.3})")
            });
            let total = totals
                .n_kg_by_strip
                .iter()
                .find(|total| total.0 == strip.number)
                .map_or_else(String::new, |total| {
                    format!(", alone {}", output.nitrogen(total.1))
                });
            let notice = format!("strip {} {:.3}{interval}{total}", strip.number, strip.ratio);
            (strip.ratio, notice)
        })
        .collect();
    each.sort_by(|a, b| a.0.total_cmp(&b.0));
    let all = each.len();
    if all > 3 {
        // The message stays short: the least and the greatest; the record holds all.
        each = vec![each[0].clone(), each[all - 1].clone()];
    }
    let wording: Vec<String> = each.into_iter().map(|each| each.1).collect();
    Some(Finding::caution(
        codes::REFERENCE_DISAGREE,
        format!(
            "the strips contradict each other in their response index{}: {}; nitrogen is short in one place and not in another, or a strip is none: look at them",
            if all > 3 {
                format!(", {all} strips from least to greatest")
            } else {
                String::new()
            },
            wording.join("; ")
        ),
    ))
}

/// Says which strips are not one stand, or too narrow for their image.
pub(crate) fn stands(working_width: Length, output: &Output, strips: &[Strip]) -> Vec<Finding> {
    let mut findings = Vec::new();
    let width = working_width.get();
    for (k, strip) in strips.iter().enumerate() {
        let number = k + 1;
        let Ok(found) = &strip.found else { continue };
        if matches!(found, StripFound::Coarse(_)) && strip.plan.outer.width < WHOLE_PASS * width {
            findings.push(Finding::caution(
                codes::REFERENCE_NARROW,
                format!(
                    "reference strip {number} is {} wide, less than the working width of {}: at pixels of {} it holds another share of wheel tracks than the field, and the total comes out too low; lay strips a whole pass wide",
                    length(output, strip.plan.outer.width),
                    length(output, width),
                    length(output, strip.plan.pixel)
                ),
            ));
        }
        if let Some(uneven) = found.uneven() {
            findings.push(uneven_finding(output, number, strip, uneven));
        }
    }
    findings
}

fn uneven_finding(output: &Output, number: usize, strip: &Strip, uneven: &Uneven) -> Finding {
    let (pieces, along) = match &strip.plan.how {
        How::Fine { segments, core, .. } => (*segments, core),
        How::Coarse { blocks } => (*blocks, &strip.plan.outer),
    };
    let mut stretches: Vec<(usize, usize)> = Vec::new();
    for piece in &uneven.unlike {
        match stretches.last_mut() {
            Some(last) if last.1 == *piece => last.1 = piece + 1,
            _ => stretches.push((*piece, piece + 1)),
        }
    }
    let place = |piece: usize| along.length * piece as f64 / pieces.max(1) as f64;
    let mut wording: Vec<String> = stretches
        .iter()
        .take(3)
        .map(|(from, to)| {
            format!(
                "{:.0} to {}",
                if output.us_units {
                    place(*from) * FT
                } else {
                    place(*from)
                },
                length(output, place(*to))
            )
        })
        .collect();
    if stretches.len() > 3 {
        wording.push(format!("{} more stretches", stretches.len() - 3));
    }
    let variances = if uneven.variances > 100.0 {
        "more than 100".to_owned()
    } else {
        format!("{:.1}", uneven.variances)
    };
    Finding::caution(
        codes::REFERENCE_UNEVEN,
        format!(
            "reference strip {number} is not one stand: index {:.3} at {} from its {} end, {:.3} elsewhere (variance between pieces {variances} times that beside it): look there for weeds, disease, gaps or spread that missed",
            uneven.index_unlike,
            wording.join(", "),
            start_of(along.azimuth_deg()),
            uneven.index_others
        ),
    )
}

/// Where a rectangle begins whose longer side has this azimuth, 0 to 180.
fn start_of(azimuth: f64) -> &'static str {
    const ENDS: [&str; 5] = ["south", "southwest", "west", "northwest", "north"];
    ENDS[(libm::floor(azimuth / 45.0 + 0.5).max(0.0) as usize).min(4)]
}

fn area(output: &Output, ha: f64) -> String {
    if output.us_units {
        format!("{:.1} ac", ha / HA_PER_AC)
    } else {
        format!("{ha:.2} ha")
    }
}

fn length(output: &Output, m: f64) -> String {
    if output.us_units {
        format!("{:.0} ft", m * FT)
    } else if m < 20.0 {
        format!("{m:.1} m")
    } else {
        format!("{m:.0} m")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_of_strips_have_names() {
        let named = [0.0, 44.0, 90.0, 130.0, 179.0].map(start_of);
        assert_eq!(named, ["south", "southwest", "west", "northwest", "north"]);
    }
}
