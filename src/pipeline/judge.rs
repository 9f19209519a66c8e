//! What the user must know of a map before trusting it.

use crate::finding::{Finding, codes};
use crate::job::settings::{Application, Crop, Output, RateRules, Response};
use crate::pipeline::judge_share;
use crate::pipeline::rates::Rated;
use crate::pipeline::reference::Reference;
use crate::pipeline::strips::Strip;
use crate::pipeline::totals::Totals;
use crate::units::{NRate, Yield};
use jiff::civil::Date;

/// Fewer growing days than this stop a map: response indices are all close to 1.
const MINIMUM_DAYS: f64 = 60.0;
/// Growing days beyond which the curves are extrapolated.
const MAXIMUM_DAYS: f64 = 120.0;
/// Response index without an interval below which the strip is no longer as green as the rest. Common practice, no source.
const PALER: f64 = 0.95;
/// Share of the maximum yield below which the curve's yield is no crop's that is worth a map. Common practice, no source.
const MINIMUM_YIELD: f64 = 0.1;
/// Share of the canopy at the maximum yield without nitrogen above which the map is one of nothing, and says nothing of the crop. \[–\]
const NO_MAP: f64 = 0.9;
/// Totals that differ by less are the same. \[kg N\]
const MINIMUM_TOTAL: f64 = 0.05;

/// Says how much ground was not seen.
pub fn unseen(totals: &Totals) -> Option<Finding> {
    if totals.unseen_share > 0.25 {
        Some(Finding::stop(
            codes::IMAGE_UNSEEN,
            format!(
                "{:.1} % of the field has no image, more than a quarter: a field rate on so much ground is no map; use another image",
                100.0 * totals.unseen_share
            ),
        )
        .with_figure(format!("{:.1} %", 100.0 * totals.unseen_share)))
    } else if totals.unseen_share > 0.0 {
        Some(Finding::note(
            codes::IMAGE_UNSEEN_PART,
            format!(
                "{:.1} % of the field has no image and gets its stated rate",
                100.0 * totals.unseen_share
            ),
        ))
    } else {
        None
    }
}

/// Says where a map's mean lies far from the grower's usual rate.
pub fn usual(rule: &RateRules, output: &Output, totals: &Totals) -> Option<Finding> {
    let usual = rule.usual?;
    let mean = totals.mean_rate;
    (mean < usual * 0.5 || mean > usual * 1.5).then(|| far_from_usual(rule, mean, output.us_units))
}

/// A mean or flat rate outside half to one and a half times the usual one: a stop where the job says that the usual rate is the one in question.
pub fn far_from_usual(rule: &RateRules, mean: NRate, us: bool) -> Finding {
    let usual = rule.usual.unwrap_or(NRate::ZERO).text(us);
    let notice = format!(
        "mean {} is outside half to one and a half times the usual {usual}: check strip or readings, method and units before you apply it",
        mean.text(us)
    );
    if rule.usual_is_this_pass {
        Finding::stop(codes::RATE_USUAL, notice).with_figure(mean.text(us))
    } else {
        Finding::caution(codes::RATE_USUAL, notice)
    }
}

/// Says how much canopy the season's limit holds back.
pub fn season_limit(rule: &RateRules, output: &Output, totals: &Totals) -> Option<Finding> {
    (rule.season_limit.is_some() && rule.maximum < rule.maximum_written && totals.held_share > 0.0)
        .then(|| {
            Finding::caution(
                codes::RATE_SEASON_HELD,
                format!(
                    "{:.1} % of the canopy asks for more than the {} that the season's limit leaves and is limited to it",
                    100.0 * totals.held_share,
                    rule.maximum.text(output.us_units)
                ),
            )
        })
}

/// Says how much of the field is thin.
pub fn thin(rated: &Rated, totals: &Totals) -> Option<Finding> {
    (totals.thin_share > 0.0).then(|| {
        Finding::note(
            codes::RATE_THIN,
            format!(
                "{:.1} % of the field is a poor stand (index below {:.3}): lack of nitrogen is not the likely reason there; go and look",
                100.0 * totals.thin_share,
                rated.thin_below
            ),
        )
    })
}

/// Says what the sensor's blur is taken out of, where it is reckoned with.
pub fn point_spread() -> Finding {
    Finding::note(
        codes::REFERENCE_POINT_SPREAD,
        "the sensor's blur is taken out of the strip's reading only; cells are not sharpened",
    )
}

/// Says where prices are given that nothing can be reckoned with: the method predicts no yield.
pub fn no_money(response: &Response) -> Option<Finding> {
    response.yields().is_none().then(|| {
        Finding::note(
            codes::MONEY_NONE,
            format!(
                "the method {} predicts no yield, so that no gain can be given; prices {}",
                response.name(),
                if response.economic.is_some() {
                    "set the economic optimum and nothing else"
                } else {
                    "are not used"
                }
            ),
        )
    })
}

/// Says where the curve and the greatest yield cannot both be right: an amount in the wrong unit looks like a field that needs nothing.
pub fn yields(
    response: &Response,
    crop: &Crop,
    output: &Output,
    totals: &Totals,
) -> Option<Finding> {
    let (yields, (without, _)) = (response.yields()?, totals.yields?);
    let most = yields.maximum_yield;
    let grain = |grain: Yield| grain.text(output.us_units, crop.lb_per_bu);
    if totals.capped_without_share > 0.5 {
        let notice = format!(
            "{:.0} % of the canopy reaches the maximum yield of {} without more nitrogen by the curve, and so gets nothing for it: check maximum yield, curve and growing days, and their units",
            100.0 * totals.capped_without_share,
            grain(most)
        );
        Some(if totals.capped_without_share > NO_MAP {
            Finding::stop(codes::RATE_AT_MAXIMUM, notice)
                .with_figure(format!("{:.0} %", 100.0 * totals.capped_without_share))
        } else {
            Finding::caution(codes::RATE_AT_MAXIMUM, notice)
        })
    } else if without.get() < most.get() * MINIMUM_YIELD {
        Some(Finding::caution(
            codes::RATE_FAR_BELOW,
            format!(
                "by the curve the canopy yields {} without more nitrogen, less than a tenth of the maximum {}: check maximum yield, curve and growing days, and their units",
                grain(without),
                grain(most)
            ),
        ))
    } else {
        None
    }
}

/// Which way round the map is, and whether the response index is raw.
pub fn direction(
    response: &Response,
    output: &Output,
    rated: &Rated,
    totals: &Totals,
) -> Vec<Finding> {
    if response.yields().is_none() {
        let method = response.method(f64::NAN);
        let words = match &method {
            _ if rated.model.blend.is_some() => &judge_share::direction(rated.model.blend, rated),
            method => method.direction(),
        };
        return vec![Finding::note(
            codes::RATE_DIRECTION,
            format!("{words}; ratios are used as measured, not adjusted"),
        )];
    }
    let words = judge_share::direction(rated.model.blend, rated);
    let other = judge_share::totals_by_share(output, &totals.n_kg_by_share);
    let mut findings = vec![Finding::note(
        codes::RATE_DIRECTION,
        format!("{words}{other}"),
    )];
    findings.extend(adjustment(response));
    findings
}

/// Says whether the response index is raw or adjusted; it is never adjusted twice.
pub fn adjustment(response: &Response) -> Option<Finding> {
    let yields = response.yields()?;
    Some(match yields.ratio_adjustment {
        Some((slope, intercept)) => Finding::note(
            codes::RATE_ADJUSTED,
            format!(
                "response indices are adjusted linearly as the job says ({slope} · RI {intercept:+}), once, before they are held"
            ),
        ),
        None => Finding::note(
            codes::RATE_RAW,
            "response indices are used raw, as measured: no adjustment towards yields is made",
        ),
    })
}

/// Says what is not sure about a method itself.
pub fn method(response: &Response) -> Vec<Finding> {
    let mut findings = Vec::new();
    let name = response.name();
    let fitted = response.fitted();
    if fitted.from_memory {
        findings.push(Finding::caution(
            codes::METHOD_MEMORY,
            format!(
                "the formula of the method {name} is from memory and was not compared with its paper, {}: let an adviser check it before you spread by it",
                fitted.source
            ),
        ));
    }
    let method = response.method(f64::NAN);
    if let Some(rises) = method.rises() {
        findings.push(Finding::caution(
            codes::METHOD_RISING,
            format!("{rises}, so that the best ground gets most; look whether that is meant"),
        ));
    }
    if let Some(band) = method.dead_band().filter(|band| *band < 0.02) {
        findings.push(Finding::caution(
            codes::METHOD_STEEP,
            format!(
                "with a dead band of {band} the rate is steepest where the crop is nearly sufficient: noise alone draws nitrogen there; 0.03 to 0.05 is usual"
            ),
        ));
    }
    findings
}

/// What the job says of its ground and its sensor.
#[derive(Clone, Copy, Debug)]
pub struct Judged<'a> {
    /// Region.
    pub region: Option<&'a str>,
    /// Kind of sensor.
    pub sensor: Option<&'a str>,
    /// Index that is read, where that is known.
    pub index: Option<&'a str>,
}

/// Says where a method's numbers were made for another region or sensor than the job's, or nobody says for which.
pub fn made_for(response: &Response, notice: &Judged<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    let fitted = response.fitted();
    let pairs = [
        (
            codes::RESPONSE_REGION,
            "region",
            "field.region",
            fitted.region.as_deref(),
            notice.region,
        ),
        (
            codes::RESPONSE_SENSOR,
            "sensor",
            "imagery.sensor",
            fitted.sensor.as_deref(),
            notice.sensor,
        ),
    ];
    for (code, what, key, made_for, here) in pairs {
        match (made_for, here) {
            (Some(made_for), Some(here)) if !made_for.eq_ignore_ascii_case(here) => findings.push(Finding::caution(
                code,
                format!("the numbers of [response] were made for the {what} \"{made_for}\", but the job's is \"{here}\": they may not hold here"),
            )),
            (Some(made_for), None) => {
                findings.push(Finding::note(
                    code,
                    format!("the numbers of [response] were made for the {what} \"{made_for}\"; the job does not say its own ({key})"),
                ));
            }
            (None, Some(here)) => {
                findings.push(Finding::note(code, format!("the {what} that the numbers of [response] were made for is unknown; the job's is \"{here}\"")));
            }
            _ => {}
        }
    }
    let meter = response.method(f64::NAN).about().instrument;
    if let (Some(meter), Some(index)) = (meter, notice.index) {
        findings.push(Finding::caution(
            codes::METHOD_INDEX,
            format!("the method's sufficiency index is that of {meter}, but {index} is read: sufficiency moves differently with every index, so rates are shifted; the size is not known"),
        ));
    }
    findings
}

/// Says whether the crop has grown long enough, and not too long, for its index to foretell the yield.
pub fn growing_days(crop: &Crop, days: f64) -> Vec<Finding> {
    let mut findings = Vec::new();
    if days < MINIMUM_DAYS {
        findings.push(Finding::stop(
            codes::SEASON_EARLY,
            format!("only {days} growing days since planting: below {MINIMUM_DAYS:.0} every response index is close to 1 and says nothing; sense again later"),
        )
        .with_figure(format!("{days} d")));
    } else if let Some((low, high)) = crop
        .window_days
        .filter(|(low, high)| days < *low || days > *high)
    {
        findings.push(Finding::caution(
            codes::SEASON_WINDOW,
            format!("{days} growing days lie outside {low:.0} to {high:.0}, where the index predicts the yield of {} best", crop.name),
        ));
    }
    if days > MAXIMUM_DAYS {
        findings.push(Finding::caution(
            codes::SEASON_LATE,
            format!(
                "{days} growing days are more than the {MAXIMUM_DAYS:.0} that the curve was made for"
            ),
        ));
    }
    findings
}

/// Says whether growing days and in-season estimates lie where the curve was made; nothing by a method without one.
pub fn season(response: &Response, crop: &Crop, days: f64, totals: &Totals) -> Vec<Finding> {
    if response.yields().is_none() {
        // Growing days and in-season estimates belong to yield curves.
        return Vec::new();
    }
    let mut findings = growing_days(crop, days);
    if totals.insey_share > 0.0 {
        findings.push(Finding::caution(
            codes::SEASON_ESTIMATE,
            format!(
                "{:.1} % of the canopy has an in-season estimate outside 0.002 to 0.010 a day: the yield curve is stretched beyond its data there",
                100.0 * totals.insey_share
            ),
        ));
    }
    findings
}

/// Says where the strip is paler than the crop beside it.
pub fn below_one(reference: &Reference) -> Option<Finding> {
    let (Some(low), Some(high), Some(ratio)) = (reference.low, reference.high, reference.ratio)
    else {
        let ratio = reference.ratio.filter(|ratio| *ratio < PALER)?;
        return Some(Finding::caution(
            codes::REFERENCE_BELOW,
            format!(
                "the strip is paler than the crop beside it: response index {ratio:.3} lies below 1; look whether strip, readings and names are right"
            ),
        ));
    };
    (high < 1.0).then(|| {
        Finding::stop(
            codes::REFERENCE_BELOW,
            format!("the strip is paler than the crop beside it: response index {ratio:.3} (95 %: {low:.3} to {high:.3}) lies wholly below 1; look whether strip, image and names are right"),
        )
        .with_figure(format!("{ratio:.3}"))
    })
}

/// Says how the total moves with the reference and with noise.
pub fn uncertainties(
    output: &Output,
    strips: &[Strip],
    reference: &Reference,
    totals: &Totals,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    let base = totals.n_kg_base;
    let n = |kg: f64| output.nitrogen(kg);
    // Against a total of nothing no percentage means anything, but another total is an uncertainty all the more.
    let by_how_much = |other: f64, digits: usize| {
        if base > MINIMUM_TOTAL {
            format!(" ({:+.*} %)", digits, 100.0 * (other / base - 1.0))
        } else {
            String::new()
        }
    };
    let moves = |other: f64, share: f64| (other - base).abs() > (share * base).max(MINIMUM_TOTAL);
    if let Some(other) = totals
        .n_kg_by_ratio
        .filter(|other| reference.kind == "strips" && moves(*other, 0.15))
    {
        findings.push(Finding::caution(
            codes::REFERENCE_RATIO_TOTAL,
            format!("by the strip's ratio instead of its level ground with image would get {} instead of {}{}: where the strip lies decides; look whether its place stands for the field", n(other), n(base), by_how_much(other, 0)),
        ));
    }
    for (other, what) in totals.n_kg_by_inset.iter().zip(["less", "more"]) {
        if let Some(other) = other.filter(|other| moves(*other, 0.05)) {
            findings.push(Finding::caution(
                codes::REFERENCE_INSET_TOTAL,
                format!("with {what} inset (or reach) of the strips ground with image would get {} instead of {}{}", n(other), n(base), by_how_much(other, 1)),
            ));
        }
    }
    if let Some(other) = totals
        .n_kg_without_dropping
        .filter(|other| moves(*other, 0.0))
    {
        findings.push(Finding::note(
            codes::REFERENCE_DROPPED_TOTAL,
            format!(
                "without leaving segments out ground with image would get {} instead of {}{}",
                n(other),
                n(base),
                by_how_much(other, 1)
            ),
        ));
    }
    if let Some(spread) = reference.between_strips {
        let each: Vec<String> = totals
            .n_kg_by_strip
            .iter()
            .map(|(number, kg)| format!("strip {number} alone {}{}", n(*kg), by_how_much(*kg, 0)))
            .collect();
        findings.push(Finding::note(
            codes::REFERENCE_STRIPS,
            format!(
                "the strips' indices differ with a standard deviation of {spread:.4}: {}",
                each.join(", ")
            ),
        ));
    } else if strips.len() == 1 {
        findings.push(Finding::note(codes::REFERENCE_ONE_STRIP, "one strip alone: canopy differs for more reasons than nitrogen, so its place moves the field's nitrogen (standard deviation 28 % in made fields; with two 21 %)".to_owned()));
    }
    if let Some((sd, noise)) = &totals.noise
        && noise.made_kg.abs() > (0.05 * base).max(MINIMUM_TOTAL)
    {
        findings.push(Finding::caution(
            codes::RATE_NOISE,
            format!("cell-to-cell noise of the index (standard deviation {sd:.4}) makes about {} of the total ({} net): where the crop is nearly sufficient, noise is turned into nitrogen", n(noise.made_kg), output.nitrogen_moved(noise.signed_kg)),
        ));
    }
    findings
}

/// Says whether the image of `taken` will be too old on the day of application.
pub fn dates(taken: Date, application: &Application) -> Option<Finding> {
    let Some(applied) = application.date else {
        return Some(Finding::caution(
            codes::IMAGE_AGE_UNCHECKED,
            format!(
                "no application date is given, so nothing tells whether the image of {} will be too old by then: give application.date, and spread within {} days of the image",
                taken, application.maximum_image_age
            ),
        ));
    };
    let days = (applied - taken).get_days();
    if days > application.maximum_image_age {
        Some(Finding::stop(
            codes::IMAGE_AGE,
            format!(
                "the image of {} is {days} days old on {applied}, more than {}: the crop has moved on; sense again",
                taken, application.maximum_image_age
            ),
        )
        .with_figure(format!("{days} d")))
    } else if days < 0 {
        Some(Finding::caution(
            codes::APPLICATION_BEFORE,
            format!("the application on {applied} lies before the image of {taken}"),
        ))
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reference() -> Reference {
        Reference {
            kind: "strips",
            index: 0.5,
            measured: 0.5,
            beside: Some(0.4),
            ratio: Some(1.25),
            low: None,
            high: None,
            paired: None,
            placebo: None,
            no_placebo: None,
            answer: None,
            no_interval: None,
            place: None,
            between_strips: None,
            disagree: false,
            random_effects: None,
            alone: Vec::new(),
            seen_ratios: None,
            index_without_dropping: None,
            each: Vec::new(),
            each_ratio: Vec::new(),
        }
    }

    fn output(us_units: bool) -> Output {
        Output {
            folder: std::path::PathBuf::new(),
            unit: crate::units::RateUnit::KgPerHa,
            us_units,
            formats: Vec::new(),
            task_data: crate::map::task_options::TaskOptions::default(),
        }
    }

    #[test]
    fn totals_are_told_in_the_unit_of_the_job() {
        let totals = Totals {
            n_kg_base: 100.0,
            n_kg_by_ratio: Some(145.359_237),
            ..Totals::default()
        };
        let findings = uncertainties(&output(true), &[], &reference(), &totals);
        // 1 lb = 0.45359237 kg exactly.
        assert!(
            findings[0]
                .message
                .contains("would get 320 lb N instead of 220 lb N"),
            "{}",
            findings[0].message
        );
    }

    fn wording(base: f64, by_ratio: f64) -> Vec<Finding> {
        let totals = Totals {
            n_kg_base: base,
            n_kg_by_ratio: Some(by_ratio),
            ..Totals::default()
        };
        uncertainties(&output(false), &[], &reference(), &totals)
    }

    #[test]
    fn another_total_is_a_doubt_against_nothing_too() {
        // A strip on poor ground can lie below the whole field: the map then spends nothing, and the user must be told.
        let against_nothing = wording(0.0, 240.0);
        assert_eq!(against_nothing[0].code, "reference.ratio_total");
        assert!(
            against_nothing[0]
                .message
                .contains("240 kg N instead of 0 kg N:"),
            "{}",
            against_nothing[0].message
        );
        assert!(
            wording(200.0, 240.0)[0]
                .message
                .contains("240 kg N instead of 200 kg N (+20 %)")
        );
        assert!(wording(200.0, 220.0).is_empty() && wording(0.0, 0.0).is_empty());
    }
}
