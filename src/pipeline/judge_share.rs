//! What is said of the nitrogen share: which way round the map is, and what the share does to totals and money.

use crate::finding::{Finding, codes};
use crate::job::settings::{Output, ReferenceSource, Response};
use crate::map::prescription::CellState;
use crate::pipeline::money::Money;
use crate::pipeline::rates::Rated;
use crate::pipeline::share::{Measured, per_hundred};
use crate::pipeline::totals::ByShare;
use crate::science::blend::Blend;
use crate::science::monte_carlo::uses_reference;

/// Below this share of nitrogen, most of what is pale is pale for another reason.
const LOW_SHARE: f64 = 0.5;
/// Ways that differ by more than this share differ enough to be told as a caution.
const DIFFER: f64 = 0.10;

/// Which way round the map is, in words.
pub(crate) fn direction(blend: Option<Blend>, rated: &Rated) -> String {
    match blend.map_or(1.0, |blend| blend.share) {
        share if share >= 1.0 => {
            "each cell is compared with the strip: paler patches get more".to_owned()
        }
        share if share <= 0.0 => {
            let words = match rated.model.method.yields() {
                Some(_) => "greener patches get more",
                None => which_get_more(rated),
            };
            format!("every cell gets the field's response index: {words}")
        }
        share => format!(
            "{:.0} % of the index deficit is taken for nitrogen, the rest of every cell by the field's response index: {}",
            100.0 * share,
            which_get_more(rated)
        ),
    }
}

/// The totals by each way of comparing, in brackets; nothing where the field has no response index.
pub(crate) fn totals_by_share(output: &Output, totals: &ByShare) -> String {
    let n = |kg: f64| output.nitrogen(kg);
    totals.whole_field.map_or_else(String::new, |whole| {
        let measured = totals.measured.map_or_else(String::new, |kg| {
            format!(", {} by the measured share", n(kg))
        });
        format!(
            " (exact totals of ground with image: {} by each cell, {} by the whole field{measured})",
            n(totals.each_cell),
            n(whole)
        )
    })
}

/// Says how much of the index deficit is nitrogen, and what that does to nitrogen and money: as a caution where less than half of it is and the ways differ.
///
/// `nitrogen_price`: what nitrogen costs. \[currency/kg N\]
pub(crate) fn finding_of(
    (response, source): (&Response, &ReferenceSource),
    (output, nitrogen_price): (&Output, Option<f64>),
    measured: &Measured,
    totals: &ByShare,
    money: Option<&Money>,
) -> Option<Finding> {
    if !uses_reference(&response.method(f64::NAN)) || !matches!(source, ReferenceSource::Strips(_))
    {
        return None;
    }
    let found = match measured {
        Ok(found) => found,
        Err(reason) => {
            return Some(Finding::note(
                codes::RATE_SHARE_UNKNOWN,
                format!("how much of the index deficit is nitrogen is not known: {reason}"),
            ));
        }
    };
    let n = |kg: f64| output.nitrogen(kg);
    let ways = match (totals.whole_field, totals.measured) {
        (Some(whole), Some(own)) => format!(
            "; ground with image gets {}, {}, {} by each cell, by the whole field, by this share",
            n(totals.each_cell),
            n(whole),
            n(own)
        ),
        _ => String::new(),
    };
    let gain = money.and_then(|money| Some((money, money.expected.as_ref()?)));
    let gains = gain.map_or_else(String::new, |(money, gain)| {
        let shown =
            |value: Option<f64>| value.map_or("–".to_owned(), |value| format!("{value:+.0}"));
        format!(
            "; expected gain over the best flat rate {}, {}, {} {}",
            shown(Some(gain.by_share.each_cell)),
            shown(gain.by_share.whole_field),
            shown(gain.by_share.measured),
            money.currency
        )
    });
    let text = format!(
        "{} of the index deficit is nitrogen (80 % range {:.0} to {:.0} %){ways}{gains}",
        per_hundred(found.share),
        100.0 * found.low,
        100.0 * found.high
    );
    let apart = differ(totals, 0.0)
        || nitrogen_price
            .zip(gain)
            .is_some_and(|(price, (_, gain))| differ(&gain.by_share, price * gain.area.as_ha()));
    Some(if found.share < LOW_SHARE && apart {
        Finding::caution(codes::RATE_SHARE, text)
    } else {
        Finding::note(codes::RATE_SHARE, text)
    })
}

/// Whether the ways differ by more than 10 % of the largest, and by more than `at_least`.
fn differ(by: &ByShare, at_least: f64) -> bool {
    let all = [Some(by.each_cell), by.whole_field, by.measured];
    let (mut low, mut high, mut largest) = (f64::INFINITY, f64::NEG_INFINITY, 0.0_f64);
    for value in all.into_iter().flatten() {
        (low, high) = (low.min(value), high.max(value));
        largest = largest.max(value.abs());
    }
    high - low > DIFFER * largest && high - low > at_least
}

/// Where rates rise with the index deficit and where they fall, by the covariance of index and rate over canopy.
fn which_get_more(rated: &Rated) -> &'static str {
    let canopy = || {
        rated
            .cells
            .iter()
            .filter(|cell| cell.state == CellState::Canopy)
            .filter_map(|cell| Some((cell.area.get(), cell.index?, cell.n_exact?.get())))
    };
    let (mut area, mut index, mut rate) = (0.0, 0.0, 0.0);
    for (own, i, n) in canopy() {
        area += own;
        index += own * i;
        rate += own * n;
    }
    if area <= 0.0 {
        return "no canopy shows which patches get more";
    }
    let (index, rate) = (index / area, rate / area);
    let (mut both, mut of_index, mut of_rate) = (0.0, 0.0, 0.0);
    for (own, i, n) in canopy() {
        both += own * (i - index) * (n - rate);
        of_index += own * (i - index) * (i - index);
        of_rate += own * (n - rate) * (n - rate);
    }
    let scale = libm::sqrt(of_index * of_rate);
    if scale <= 0.0 || both.abs() < 0.1 * scale {
        "rates hardly follow the canopy"
    } else if both < 0.0 {
        "paler patches get more"
    } else {
        "greener patches get more"
    }
}
