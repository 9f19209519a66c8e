//! What the map may be expected to earn over one flat rate, and what it would by the other ways of comparing.

use crate::job::settings::{RateRules, Response};
use crate::map::prescription::{CellState, ZoneRecord};
use crate::pipeline::rates::Rated;
use crate::pipeline::ratio_limit::USUAL;
use crate::pipeline::reference::Reference;
use crate::pipeline::share::Measured;
use crate::pipeline::totals::{ByShare, field_mean, ways};
use crate::science::blend::Blend;
pub use crate::science::expected_gain::ExpectedNet;
use crate::science::expected_gain::{Expectation, GainCell, GainInputs};
use crate::science::money::{GrainResponse, PriceInputs};
use crate::science::yield_response::round_to_step;
use crate::units::{Area, NRate};

/// Flat rates that are tried at the most; a finer step tries each that many-th part of the range.
const MAXIMUM_FLATS: usize = 400;

/// Expected earnings of the map and of flat rates, above grain without nitrogen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gain {
    /// Nitrogen share that was taken for true.
    pub share: f64,
    /// Draws of each cell.
    pub draws: u32,
    /// Ground that was counted.
    pub area: Area,
    /// The map as decided, image and map paid.
    pub map: ExpectedNet,
    /// One flat rate at the map's mean.
    pub mean_flat: (NRate, ExpectedNet),
    /// The flat rate that may be expected to earn most.
    pub best_flat: (NRate, ExpectedNet),
    /// The grower's usual rate.
    pub usual: Option<(NRate, ExpectedNet)>,
    /// Rates cell by cell by each way of comparing, over the best flat rate; nothing paid for image and map. \[currency\]
    pub by_share: ByShare,
}

impl Gain {
    /// The map over a flat rate. \[currency\]
    pub fn over(&self, flat: &ExpectedNet) -> f64 {
        self.map.net - flat.net
    }
    /// The same a hectare. \[currency/ha\]
    pub fn over_per_ha(&self, flat: &ExpectedNet) -> f64 {
        self.map.per_ha - flat.per_ha
    }
}

/// What the expected gain depends on besides the map.
pub struct GainRules<'a> {
    /// Prices.
    pub prices: PriceInputs,
    /// `[response]`.
    pub response: &'a Response,
    /// `[rate]`.
    pub rule: &'a RateRules,
    /// Seed of the draws.
    pub seed: u64,
}

/// A cell that counts, with its place among all cells. Cells in a strip do not: they have their nitrogen already.
fn cells_of(rated: &Rated) -> Vec<(usize, GainCell)> {
    rated
        .cells
        .iter()
        .enumerate()
        .filter(|(k, cell)| cell.state != CellState::Canopy || rated.outside_strips[*k])
        .filter_map(|(k, cell)| {
            let counted = GainCell {
                area: cell.area,
                index: cell.index?,
                reference: rated.reference_of[k],
                field_ratio: rated.field_ratio_of[k]?,
                yield_without: cell.yield_without?,
            };
            Some((k, counted))
        })
        .collect()
}

/// The flat rates that the job could choose: multiples of its step within its range.
fn flats(rule: &RateRules) -> Vec<NRate> {
    let step = rule.step.get();
    let minimum = libm::ceil(rule.minimum.get() / step - 1e-9).max(0.0) as usize;
    let maximum = libm::floor(rule.maximum.get() / step + 1e-9).max(0.0) as usize;
    let every = (maximum.saturating_sub(minimum) / MAXIMUM_FLATS).max(1);
    (minimum..=maximum)
        .step_by(every)
        .map(|steps| NRate::kg_per_ha(steps as f64 * step))
        .collect()
}

/// Rounded rates of the cells `counted` by another nitrogen share, thin cells at most the field's.
pub fn rates_by(
    rule: &RateRules,
    rated: &Rated,
    blend: Option<Blend>,
    counted: impl Iterator<Item = usize>,
) -> Vec<NRate> {
    let model = rated.model.with_blend(blend);
    let rounded = |rate: NRate| {
        round_to_step(rate, rule.minimum, rule.maximum, rule.step)
            .map_or(rate, |steps| rule.step * steps as f64)
    };
    let field = field_mean(rated, &model);
    counted
        .map(|k| {
            let cell = &rated.cells[k];
            let own = cell
                .index
                .and_then(|index| {
                    model.rate_against(index, rated.reference_of[k], rated.field_ratio_of[k])
                })
                .map_or(NRate::ZERO, |rate| rate.n_exact);
            rounded(if cell.state == CellState::Thin {
                own.min(field)
            } else {
                own
            })
        })
        .collect()
}

/// Draws what cells would be with nitrogen, and what rates make of it. `None` without a measured share, or by a method that predicts no yield.
pub fn gain_of(
    rules: &GainRules<'_>,
    (reference, measured): (&Reference, &Measured),
    rated: &Rated,
    zones: &[ZoneRecord],
) -> Option<Gain> {
    let (response, rule) = (rules.response, rules.rule);
    let yields = response.yields()?;
    let found = measured.as_ref().ok()?;
    let method = rated.model.method.yields()?;
    let inputs = GainInputs {
        share: found.share,
        within_strip: found.within_strip,
        // What a doubtful strip sets is the map's limit, not the truth's.
        maximum_ratio: rated.model.limits.maximum_ratio.max(USUAL),
        ratio_adjustment: method.ratio_adjustment,
        maximum_yield: method.maximum_yield,
        response: GrainResponse {
            grain_nitrogen: yields.grain_nitrogen,
            use_efficiency: yields.use_efficiency,
            applied_since_sensing: response.applied_since_sensing,
        },
        prices: rules.prices,
        seed: rules.seed,
    };
    let (places, cells): (Vec<usize>, Vec<GainCell>) = cells_of(rated).into_iter().unzip();
    let expected = Expectation::of(&cells, &inputs)?;
    let decided = |k: usize| {
        let cell = &rated.cells[k];
        zones
            .get((cell.zone as usize).wrapping_sub(1))
            .map_or(cell.n, |zone| zone.n)
    };
    let map = expected.of_map(places.iter().map(|k| decided(*k)), true);
    let total: f64 = places
        .iter()
        .map(|k| decided(*k).get() * rated.cells[*k].area.as_ha())
        .sum();
    let mean = NRate::kg_per_ha(total / expected.area().as_ha());
    let best_flat = expected.best_flat(&flats(rule))?;
    let by = |blend: Option<Blend>| {
        let rates = rates_by(rule, rated, blend, places.iter().copied());
        expected.of_map(rates.into_iter(), false).net - best_flat.1.net
    };
    let [_, whole_field, of_measured] = ways(reference, measured);
    let (each_cell, (whole_field, of_measured)) = rayon::join(
        || by(None),
        || rayon::join(|| whole_field.map(by), || of_measured.map(by)),
    );
    Some(Gain {
        share: found.share,
        draws: expected.draws,
        area: expected.area(),
        map,
        mean_flat: (mean, expected.of_flat(mean)),
        best_flat,
        usual: rule.usual.map(|rate| (rate, expected.of_flat(rate))),
        by_share: ByShare {
            each_cell,
            whole_field,
            measured: of_measured,
        },
    })
}
