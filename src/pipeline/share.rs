//! The nitrogen share: how much of a cell's paleness a run takes for lack of nitrogen, and what is said of it.

use crate::finding::{Finding, codes};
use crate::job::settings::{NitrogenShare, ReferenceSource, Settings};
use crate::pipeline::ground::Ground;
use crate::pipeline::money::Money;
use crate::pipeline::placebo::Place;
use crate::pipeline::rates::{RateError, Rated};
use crate::pipeline::reference::Reference;
use crate::pipeline::run::Looked;
use crate::pipeline::totals::ByShare;
use crate::science::blend::Blend;
use crate::science::monte_carlo::uses_reference;
use crate::science::nitrogen_share::{
    NitrogenShareEstimate, NoShare, nitrogen_share, relative_variance,
};
use crate::zones::prescription::CellState;

/// Below this share of nitrogen, most of what is pale is pale for another reason.
const LOW_SHARE: f64 = 0.5;
/// Ways that differ by more than this share differ enough to be told as a caution.
const DIFFER: f64 = 0.10;

/// The share as the strips and the rest of the field show it, or why it is not known.
pub type Measured = Result<NitrogenShareEstimate, NoShare>;

/// What the job's share makes of the response index; `None` where each cell is compared with the strip, and for methods that compare nothing.
///
/// # Errors
/// [`RateError::NoRatio`] when the field's response index is needed and unknown, [`RateError::NoShare`] when the share is to be measured and is not known.
pub fn blend_of(
    settings: &Settings,
    reference: &Reference,
    measured: &Measured,
) -> Result<Option<Blend>, RateError> {
    if !uses_reference(&settings.response.method(f64::NAN)) {
        return Ok(None);
    }
    let share = match settings.response.nitrogen_share {
        NitrogenShare::Stated(share) => share,
        NitrogenShare::Measured => {
            measured
                .as_ref()
                .map_err(|reason| RateError::NoShare {
                    reason: reason.clone(),
                })?
                .share
        }
    };
    if share >= 1.0 {
        return Ok(None);
    }
    let field_ratio = reference.ratio.ok_or(RateError::NoRatio)?;
    Ok(Some(Blend { share, field_ratio }))
}

/// Which way round the map is, in words.
pub fn direction(blend: Option<Blend>, rated: &Rated) -> String {
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
            "{:.0} % of the paleness is taken for nitrogen, the rest of every cell by the field's response index: {}",
            100.0 * share,
            which_get_more(rated)
        ),
    }
}

/// The totals by each way of comparing, in brackets; nothing where the field has no response index.
pub fn totals_by_share(settings: &Settings, totals: &ByShare) -> String {
    let n = |kg: f64| settings.output.nitrogen(kg);
    totals.whole_field.map_or_else(String::new, |whole| {
        let measured = totals.measured.map_or_else(String::new, |kg| {
            format!(", {} by the measured share", n(kg))
        });
        format!(
            " (exact totals of seen ground: {} by each cell, {} by the whole field{measured})",
            n(totals.each_cell),
            n(whole)
        )
    })
}

/// A share in words: `62 %`.
pub fn per_hundred(share: f64) -> String {
    format!("{:.0} %", 100.0 * share)
}

/// Says how much of the paleness is nitrogen, and what that does to nitrogen and money: as a caution where less than half of it is and the ways differ.
pub fn findings_of(
    settings: &Settings,
    measured: &Measured,
    totals: &ByShare,
    money: Option<&Money>,
    findings: &mut Vec<Finding>,
) {
    if !uses_reference(&settings.response.method(f64::NAN))
        || !matches!(settings.reference.source, ReferenceSource::Strips(_))
    {
        return;
    }
    let found = match measured {
        Ok(found) => found,
        Err(reason) => {
            findings.push(Finding::note(
                codes::RATE_SHARE_UNKNOWN,
                format!("how much of the paleness is nitrogen is not known: {reason}"),
            ));
            return;
        }
    };
    let n = |kg: f64| settings.output.nitrogen(kg);
    let ways = match (totals.whole_field, totals.measured) {
        (Some(whole), Some(own)) => format!(
            "; seen ground gets {}, {}, {} by each cell, by the whole field, by this share",
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
        "{} of the paleness is nitrogen (80 % range {:.0} to {:.0} %){ways}{gains}",
        per_hundred(found.share),
        100.0 * found.low,
        100.0 * found.high
    );
    let apart = differ(totals, 0.0)
        || settings
            .prices
            .as_ref()
            .zip(gain)
            .is_some_and(|(prices, (_, gain))| {
                differ(&gain.by_share, prices.nitrogen * gain.area.as_ha())
            });
    findings.push(if found.share < LOW_SHARE && apart {
        Finding::caution(codes::RATE_SHARE, text)
    } else {
        Finding::note(codes::RATE_SHARE, text)
    });
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

/// Where rates rise with paleness and where they fall, by the covariance of index and rate over canopy.
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

/// Measures the share on pieces of every strip and of its shape at every place of the rest of the field, one cell long, or three pixels where pieces are solved
/// as mixtures.
///
/// # Errors
/// [`NoShare`].
pub fn measured(ground: &Ground, looked: &Looked) -> Measured {
    let cell_m = ground.grid.frame.length;
    let (mut strips, mut places, mut longest) = (Vec::new(), Vec::new(), None);
    for (placebo, strip) in looked.placebos.iter().zip(&looked.strips) {
        let Ok(placebo) = placebo else { continue };
        let length = if placebo.is_mixture() {
            3.0 * strip.plan.pixel
        } else {
            cell_m
        };
        let pieces = libm::floor(placebo.length / length + 1e-9) as usize;
        let known = |place: Place| -> Vec<f64> {
            placebo
                .pieces(place, pieces)
                .into_iter()
                .flatten()
                .collect()
        };
        let of_strip = known(Place::STRIP);
        longest = longest.max(Some((of_strip.len(), length as u32)));
        let Some(own) = relative_variance(&of_strip) else {
            continue;
        };
        strips.push(own);
        places.extend(
            placebo
                .strip_places
                .iter()
                .filter_map(|place| relative_variance(&known(*place))),
        );
    }
    match (strips.is_empty(), longest) {
        (true, Some((pieces, length))) => Err(NoShare::TooShort {
            pieces,
            cell_m: f64::from(length),
        }),
        _ => nitrogen_share(&strips, &places),
    }
}
