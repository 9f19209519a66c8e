//! The nitrogen share: how much of a cell's paleness a run takes for lack of nitrogen, and what is said of it.

use crate::pipeline::rates::{RateError, Rated};
use crate::pipeline::reference::Reference;
use crate::pipeline::run::Looked;
use crate::pipeline::settings::{NitrogenShare, Settings};
use crate::pipeline::totals::ByShare;
use crate::science::blend::Blend;
use crate::science::methods::Method;
use crate::science::monte_carlo::uses_reference;
use crate::science::nitrogen_share::{NitrogenShareEstimate, NoShare};
use crate::zones::prescription::CellState;

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
            let words = match &rated.model.method {
                Method::YieldResponse(_) => "greener patches get more",
                _ => which_get_more(rated),
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

/// Measures the share.
///
/// # Errors
/// [`NoShare`].
pub fn measured(_settings: &Settings, _looked: &Looked) -> Measured {
    Err(NoShare::NoStrip)
}
