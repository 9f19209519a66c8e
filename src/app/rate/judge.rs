//! What the user must know of a flat rate before trusting it; the codes are those of a map.

use super::Flat;
use crate::finding::{Finding, codes};
use crate::job::settings::{Application, RateRules, RateSettings};
use crate::pipeline::judge::{Judged, adjustment, far_from_usual, growing_days, made_for, method};
use crate::pipeline::judge_strips::unclear;
use crate::science::yield_response::{Capped, in_season_estimate};
use crate::units::NRate;
use jiff::civil::Date;

/// In-season estimates between which the curves were fitted. [1/d] Common practice, no source.
const ESTIMATES: (f64, f64) = (0.002, 0.010);
/// NDVI of a strip above which more nitrogen hardly shows. Common practice, no source.
const SATURATED: f64 = 0.85;

/// Response index of a single pair below which the strip is no longer as green as the rest within what hand readings tell. Common practice, no source.
const PALER: f64 = 0.95;

/// Says everything that can be said of a flat rate.
pub(super) fn judge(settings: &RateSettings, flat: &Flat, findings: &mut Vec<Finding>) {
    season(settings, flat, findings);
    response(flat, settings.us_units, findings);
    age(settings.season.sensed, &settings.application, findings);
    findings.extend(method(&settings.response));
    let notice = Judged {
        region: settings.region.as_deref(),
        sensor: settings.sensor.as_deref(),
        index: None,
    };
    findings.extend(made_for(&settings.response, &notice));
    let maximum_yield = settings
        .response
        .yields()
        .map_or_else(String::new, |yields| {
            let bushel = settings.season.crop.lb_per_bu;
            yields.maximum_yield.text(settings.us_units, bushel)
        });
    if settings
        .response
        .index()
        .is_some_and(|index| index.eq_ignore_ascii_case("NDVI"))
        && flat.readings.strip > SATURATED
    {
        findings.push(Finding::caution(
            codes::REFERENCE_SATURATED,
            format!(
                "NDVI in the strip is {:.3}: above {SATURATED} it hardly rises with more nitrogen, so differences are understated; read a red-edge index with a curve of its own",
                flat.readings.strip
            ),
        ));
    }
    match flat.cell.capped {
        Capped::None => {}
        Capped::Without => findings.push(Finding::caution(
            codes::RATE_CAPPED,
            format!(
                "the yield in reach without more nitrogen lies above the maximum yield of {maximum_yield}, so no response is left: check maximum yield, curve and growing days"
            ),
        )),
        Capped::With => findings.push(Finding::note(
            codes::RATE_CAPPED,
            format!("the yield with more nitrogen is limited to the maximum yield of {maximum_yield}"),
        )),
    }
    findings.extend(adjustment(&settings.response));
    if settings.prices.is_some() && flat.money.is_none() {
        findings.push(Finding::note(
            codes::MONEY_NONE,
            format!(
                "the method {} predicts no yield, so that no gain can be given; prices {}",
                settings.response.name(),
                if settings.response.economic.is_some() {
                    "set the economic optimum and nothing else"
                } else {
                    "are not used"
                }
            ),
        ));
    }
    if settings.rate.maximum < settings.rate.maximum_written
        && flat.cell.n_raw > settings.rate.maximum
    {
        findings.push(Finding::caution(
            codes::RATE_SEASON_HELD,
            format!(
                "the method asks for {}, more than the {} that the season's limit leaves: it is limited to that",
                flat.cell.n_raw.text(settings.us_units),
                settings.rate.maximum.text(settings.us_units)
            ),
        ));
    }
    usual(flat.rate, &settings.rate, settings.us_units, findings);
}

fn season(settings: &RateSettings, flat: &Flat, findings: &mut Vec<Finding>) {
    let days = flat.season.growing_days;
    if settings.response.yields().is_none() {
        return;
    }
    findings.extend(growing_days(&settings.season.crop, days));
    let estimate = in_season_estimate(flat.readings.beside, days);
    if !(ESTIMATES.0..=ESTIMATES.1).contains(&estimate) {
        findings.push(Finding::caution(
            codes::SEASON_ESTIMATE,
            format!(
                "the in-season estimate of {estimate:.4} a day lies outside {:.3} to {:.3}: the yield curve is stretched beyond its data",
                ESTIMATES.0, ESTIMATES.1
            ),
        ));
    }
}

fn response(flat: &Flat, us: bool, findings: &mut Vec<Finding>) {
    let ratio = flat.readings.ratio;
    let Ok(interval) = &flat.readings.interval else {
        findings.push(Finding::note(codes::REFERENCE_INTERVAL, "nothing says how sure the response index is: give at least 5 pairs of readings along the strip"));
        if ratio < PALER {
            findings.push(Finding::caution(
                codes::REFERENCE_BELOW,
                format!("the strip is paler than the crop beside it: response index {ratio:.3} lies below 1; look whether the readings are swapped, or the strip is no reference"),
            ));
        } else if ratio <= 1.0 {
            findings.push(Finding::note(
                codes::RESPONSE_NONE,
                format!(
                    "the strip reads no greener than the crop beside it (response index {ratio:.3}): the least rate is an answer; look again in 10 to 14 days"
                ),
            ));
        }
        return;
    };
    let (low, high) = (interval.low, interval.high);
    findings.extend(unclear(ratio, low, high));
    if high < 1.0 {
        findings.push(Finding::stop(
            codes::REFERENCE_BELOW,
            format!(
                "the strip is paler than the crop beside it: response index {ratio:.3} (95 %: {low:.3} to {high:.3}) lies wholly below 1; look whether the readings are swapped"
            ),
        ).with_figure(format!("{ratio:.3}")));
    } else if low <= 1.0 {
        findings.push(Finding::note(
            codes::RESPONSE_NONE,
            format!(
                "no response: the response index {ratio:.3} (95 %: {low:.3} to {high:.3}) is not significantly above 1; the minimum rate is an answer: look again in 10 to 14 days"
            ),
        ));
        if flat.rate.get() > 0.0 {
            findings.push(Finding::caution(
                codes::RESPONSE_SPENT,
                format!("the rate spends {} although the response index is not significantly above 1 (95 %: {low:.3} to {high:.3})", flat.rate.text(us)),
            ));
        }
    }
}

/// Readings that are older than the application allows.
pub(super) fn age(sensed: Option<Date>, application: &Application, findings: &mut Vec<Finding>) {
    let (Some(sensed), Some(applied)) = (sensed, application.date) else {
        return;
    };
    let days = (applied - sensed).get_days();
    if days > application.maximum_image_age {
        findings.push(Finding::stop(
            codes::IMAGE_AGE,
            format!("the readings of {sensed} are {days} days old on {applied}, more than {}: the crop has moved on; read again", application.maximum_image_age),
        ).with_figure(format!("{days} d")));
    }
}

/// A rate far from what the grower usually gives.
pub(super) fn usual(rate: NRate, rules: &RateRules, us: bool, findings: &mut Vec<Finding>) {
    if let Some(usual) = rules.usual
        && (rate < usual * 0.5 || rate > usual * 1.5)
    {
        findings.push(far_from_usual(rules, rate, us));
    }
}
