//! The nitrogen share as strips and the rest of the field show it: how much of a cell's index deficit is lack of nitrogen.

use crate::pipeline::ground::Ground;
use crate::pipeline::placebo::{PIECE, Place, whole_pieces};
use crate::pipeline::survey::Survey;
use crate::science::nitrogen_share::{
    NitrogenShareEstimate, NoShare, nitrogen_share, relative_variance,
};

/// The share as the strips and the rest of the field show it, or why it is not known.
pub(crate) type Measured = Result<NitrogenShareEstimate, NoShare>;

/// A share in words: `62 %`.
pub(crate) fn per_hundred(share: f64) -> String {
    format!("{:.0} %", 100.0 * share)
}

/// Measures the share on pieces of every strip and of its shape at every place of the rest of the field, one cell long, or three pixels where pieces are solved
/// as mixtures.
///
/// # Errors
/// [`NoShare`].
pub(crate) fn measured(ground: &Ground, survey: &Survey) -> Measured {
    let cell_m = ground.grid.frame.length;
    let (mut strips, mut places, mut longest) = (Vec::new(), Vec::new(), None);
    for (placebo, strip) in survey.placebos.iter().zip(&survey.strips) {
        let Ok(placebo) = placebo else { continue };
        let length = if placebo.is_mixture() {
            PIECE * strip.plan.pixel
        } else {
            cell_m
        };
        let pieces = whole_pieces(placebo.length, length);
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
