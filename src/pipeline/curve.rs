//! What one flat rate would bring on the mean of the canopy: the curve on which a report shows the field's place.

use crate::job::settings::{RateRules, Response};
use crate::pipeline::rates::Rated;
use crate::science::money::{GrainResponse, yield_at_rate};
use crate::units::{NRate, Yield};

/// Points of the curve.
const POINTS: u32 = 41;

/// Area mean of the yields of cells that have them, at flat rates from 0 to the greatest rate allowed; empty when no cell has yields.
///
/// `min(YP0 + (N + applied) · e / g, YPN)` cell by cell, so the mean bends where single cells reach their ceilings.
pub(crate) fn mean_yield_at_flat_rates(
    response: &Response,
    rule: &RateRules,
    rated: &Rated,
) -> Vec<(NRate, Yield)> {
    let Some(yields) = response.yields() else {
        return Vec::new();
    };
    let grain = GrainResponse {
        grain_nitrogen: yields.grain_nitrogen,
        use_efficiency: yields.use_efficiency,
        applied_since_sensing: response.applied_since_sensing,
    };
    let cells: Vec<(f64, Yield, Yield)> = rated
        .cells
        .iter()
        .filter_map(|cell| Some((cell.area.get(), cell.yield_without?, cell.yield_with?)))
        .collect();
    let area: f64 = cells.iter().map(|cell| cell.0).sum();
    if area <= 0.0 {
        return Vec::new();
    }
    let most = rule.maximum.get();
    let at = |k: u32| {
        let rate = NRate::kg_per_ha(most * f64::from(k) / f64::from(POINTS - 1));
        let sum: f64 = cells
            .iter()
            .map(|(area, without, with)| yield_at_rate(*without, *with, rate, &grain).get() * area)
            .sum();
        (rate, Yield::kg_per_ha(sum / area))
    };
    (0..POINTS).map(at).collect()
}
