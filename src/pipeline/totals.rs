//! Totals, and how they move with the uncertainties.

use crate::job::settings::{Capacity, MaximumRatio, ProductFacts};
use crate::map::prescription::{Capped, CellState, ZoneRecord};
use crate::pipeline::ground::Ground;
use crate::pipeline::product::loads_of;
use crate::pipeline::rates::Rated;
use crate::pipeline::ratio_limit::{Evidence, RatioLimit, SetBy, limit_of};
use crate::pipeline::reference::Reference;
use crate::pipeline::share::Measured;
use crate::pipeline::survey::Survey;
use crate::science::blend::Blend;
use crate::science::loads::Loads;
use crate::science::methods::RateModel;
use crate::science::noise::{NoiseTotals, noise_nitrogen, noise_sd, noise_totals};
use crate::units::{Area, NRate, Product, RateUnit, Yield};
use rayon::prelude::*;

/// Totals of a run. Nitrogen in kg, product in the unit of the job.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Totals {
    /// From zones: what is spread.
    pub n_kg: f64,
    /// From cells, rounded.
    pub n_kg_from_cells: f64,
    /// From cells, not rounded.
    pub n_kg_exact: f64,
    /// From canopy and thin cells only, rounded.
    pub n_kg_seen: f64,
    /// Exact total of seen cells with `I_ref` replaced by `RI_field` × field mean index.
    pub n_kg_by_ratio: Option<f64>,
    /// Exact total of seen cells, the base of comparisons.
    pub n_kg_base: f64,
    /// The same with no segment dropped.
    pub n_kg_without_dropping: Option<f64>,
    /// The same with each strip alone: number, total.
    pub n_kg_by_strip: Vec<(usize, f64)>,
    /// The same with less and with more inset (or reach) of all strips.
    pub n_kg_by_inset: [Option<f64>; 2],
    /// The same at the bounds of RI's interval.
    pub n_kg_by_bounds: Option<(f64, f64)>,
    /// The same at use efficiencies of 0.6 and 0.4; `None` where the method has none.
    pub n_kg_by_efficiency: Option<(f64, f64)>,
    /// Product in all.
    pub product: Option<f64>,
    /// Fills of the machine for it.
    pub loads: Option<Loads>,
    /// Share of canopy area where a ceiling binds.
    pub capped_share: f64,
    /// Share of canopy area where it binds already without nitrogen.
    pub capped_without_share: f64,
    /// Share of canopy area where the method asks for more than the greatest rate.
    pub held_share: f64,
    /// Share of the field's area.
    pub unseen_share: f64,
    /// Share of the field's area.
    pub bare_share: f64,
    /// Share of the field's area.
    pub thin_share: f64,
    /// Share of canopy area that asks for more than the greatest response index that counts.
    pub beyond_share: f64,
    /// That area. \[ha\]
    pub beyond_ha: f64,
    /// Nitrogen that the limit withholds there. \[kg\]
    pub withheld_kg: f64,
    /// Share of canopy area whose in-season estimate lies outside 0.002 … 0.010.
    pub insey_share: f64,
    /// Area mean of yields of canopy cells without and with nitrogen.
    pub yields: Option<(Yield, Yield)>,
    /// Area mean rate of the map over the field.
    pub mean_rate: NRate,
    /// Cell-to-cell noise of the index, and the nitrogen that it makes.
    pub noise: Option<(f64, NoiseTotals)>,
    /// Exact totals by the nitrogen share.
    pub n_kg_by_share: ByShare,
}

/// A number by each way of comparing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ByShare {
    /// Each cell with the strip: a share of 1.
    pub each_cell: f64,
    /// The field's response index for every cell: a share of 0.
    pub whole_field: Option<f64>,
    /// By the share as it was measured.
    pub measured: Option<f64>,
}

/// The ways of comparing with their blends; those that are not known are missing.
pub fn ways(reference: &Reference, measured: &Measured) -> [Option<Option<Blend>>; 3] {
    let blend = |share: f64| {
        if share >= 1.0 {
            return Some(None);
        }
        reference
            .ratio
            .map(|field_ratio| Some(Blend { share, field_ratio }))
    };
    [
        Some(None),
        blend(0.0),
        measured.as_ref().ok().and_then(|found| blend(found.share)),
    ]
}

/// A cell whose rate follows from its index, as sums of other references and inputs need it.
struct SeenCell {
    /// Its position.
    at: usize,
    index: f64,
    /// What the method keeps of the index.
    kept: f64,
    area: Area,
    state: CellState,
}

/// Seen cells, to be summed again and again: passes over the whole records would wait for memory.
struct Varied<'a> {
    rated: &'a Rated,
    cells: Vec<SeenCell>,
}

impl<'a> Varied<'a> {
    fn of(rated: &'a Rated) -> Self {
        let cells = rated.cells.iter().enumerate().filter_map(|(at, cell)| {
            // Canopy that is only a sliver has a part in the field's mean.
            let counts = matches!(cell.state, CellState::Canopy | CellState::Thin)
                || rated.outside_strips[at];
            let index = cell.index.filter(|_| counts)?;
            Some(SeenCell {
                at,
                index,
                kept: rated.model.method.kept(index),
                area: cell.area,
                state: cell.state,
            })
        });
        Self {
            rated,
            cells: cells.collect(),
        }
    }

    /// Exact nitrogen for other references or inputs. \[kg\]
    fn nitrogen(&self, model: &RateModel, reference: impl Fn(usize) -> f64) -> f64 {
        let own = |k: usize| self.rated.field_ratio_of[k];
        self.nitrogen_against(model, reference, own, self.rated.field_exact)
    }

    /// The field rate that another model would have, not rounded.
    fn field_mean(&self, model: &RateModel) -> NRate {
        let rated = self.rated;
        let outside = rated.outside_strips.iter().any(|outside| *outside);
        let (mut sum, mut area) = (0.0, 0.0);
        for cell in &self.cells {
            let k = cell.at;
            let counts = if outside {
                rated.outside_strips[k]
            } else {
                cell.state == CellState::Canopy
            };
            if !counts {
                continue;
            }
            let own = (cell.index, cell.kept);
            if let Some(rate) = model.rate_kept(own, rated.reference_of[k], rated.field_ratio_of[k])
            {
                sum += rate.n_exact.get() * cell.area.get();
                area += cell.area.get();
            }
        }
        NRate::kg_per_ha(sum / area.max(f64::MIN_POSITIVE))
    }

    /// [`Self::nitrogen`] for other response indices of the strips too, and another field rate for thin cells.
    fn nitrogen_against(
        &self,
        model: &RateModel,
        reference: impl Fn(usize) -> f64,
        field_ratio: impl Fn(usize) -> Option<f64>,
        field_exact: NRate,
    ) -> f64 {
        let mut sum = 0.0;
        for cell in &self.cells {
            if cell.state == CellState::Sliver {
                continue;
            }
            let k = cell.at;
            let own = (cell.index, cell.kept);
            if let Some(rate) = model.rate_kept(own, reference(k), field_ratio(k)) {
                let exact = rate.n_exact;
                let n = if cell.state == CellState::Thin {
                    exact.min(field_exact)
                } else {
                    exact
                };
                sum += (n * cell.area).get();
            }
        }
        sum
    }
}

/// The field rate that another model would have, not rounded: the mean over canopy outside strips, or over all canopy where none lies outside.
pub fn field_mean(rated: &Rated, model: &RateModel) -> NRate {
    Varied::of(rated).field_mean(model)
}

/// What is spread, as far as totals need to know.
pub struct Spread<'a> {
    /// `[product]`.
    pub product: Option<&'a Product>,
    /// What more is known of it.
    pub facts: &'a ProductFacts,
    /// What the machine's tank or hopper holds.
    pub capacity: Option<Capacity>,
    /// Unit that product is shown in.
    pub unit: RateUnit,
}

/// Totals and how they move. `maximum_ratio` is the job's rule for the greatest response index that counts.
pub fn totals_of(
    spread: &Spread<'_>,
    maximum_ratio: MaximumRatio,
    (ground, survey): (&Ground, &Survey),
    (reference, measured): (&Reference, &Measured),
    rated: &Rated,
    zones: &[ZoneRecord],
) -> Totals {
    let mut totals = Totals::default();
    for zone in zones {
        totals.n_kg += (zone.n * zone.area).get();
    }
    let (mut canopy, mut capped, mut without, mut beyond, mut insey, mut field) =
        (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    let (mut grown, mut reachable, mut with_yield, mut held) = (0.0, 0.0, 0.0, 0.0);
    // In-season estimates are the yield curve's matter.
    let days = rated
        .model
        .method
        .yields()
        .map(|yields| yields.growing_days);
    let unlimited = rated.model.with_maximum_ratio(f64::INFINITY);
    for (k, cell) in rated.cells.iter().enumerate() {
        let area = cell.area.get();
        field += area;
        totals.n_kg_from_cells += (cell.n * cell.area).get();
        let host = rated.follows[k].map_or(k, |host| host as usize);
        totals.n_kg_exact += rated.due[host].exact.get() * area / 10_000.0;
        match rated.cells[host].state {
            CellState::Unseen => totals.unseen_share += area,
            CellState::Bare => totals.bare_share += area,
            CellState::Thin => totals.thin_share += area,
            CellState::Canopy | CellState::Sliver => {}
        }
        if matches!(rated.cells[host].state, CellState::Canopy | CellState::Thin) {
            totals.n_kg_seen += (cell.n * cell.area).get();
        }
        if cell.state != CellState::Canopy {
            continue;
        }
        canopy += area;
        capped += if cell.capped == Capped::None {
            0.0
        } else {
            area
        };
        without += if cell.capped == Capped::Without {
            area
        } else {
            0.0
        };
        if cell.beyond {
            beyond += area;
            let unlimited = cell
                .index
                .and_then(|index| unlimited.exact(index, rated.reference_of[k]));
            if let Some((more, own)) = unlimited.zip(cell.n_exact) {
                totals.withheld_kg += ((more - own) * cell.area).get();
            }
        }
        if let (Some(index), Some(days)) = (cell.index, days)
            && !(0.002..=0.010).contains(&(index / days))
        {
            insey += area;
        }
        held += if cell
            .n_raw
            .is_some_and(|raw| raw > rated.model.limits.maximum)
        {
            area
        } else {
            0.0
        };
        if let (Some(a), Some(b)) = (cell.yield_without, cell.yield_with) {
            grown += a.get() * area;
            reachable += b.get() * area;
            with_yield += area;
        }
    }
    for share in [
        &mut totals.unseen_share,
        &mut totals.bare_share,
        &mut totals.thin_share,
    ] {
        *share /= field.max(f64::MIN_POSITIVE);
    }
    if canopy > 0.0 {
        (totals.capped_share, totals.capped_without_share) = (capped / canopy, without / canopy);
        (totals.beyond_share, totals.insey_share) = (beyond / canopy, insey / canopy);
        totals.held_share = held / canopy;
        totals.beyond_ha = beyond / 10_000.0;
    }
    if with_yield > 0.0 {
        totals.yields = Some((
            Yield::kg_per_ha(grown / with_yield),
            Yield::kg_per_ha(reachable / with_yield),
        ));
    }
    totals.mean_rate = NRate::kg_per_ha(totals.n_kg / (field / 10_000.0).max(f64::MIN_POSITIVE));
    if let Some(product) = spread.product {
        // kg of product in all, then in the unit of the total.
        let per_ha = product.rate_for(NRate::kg_per_ha(totals.n_kg));
        let unit = spread.unit;
        let area = Area::ha(1.0);
        totals.product = product
            .in_unit(per_ha, unit)
            .map(|rate| rate * unit.area_of(area));
    }
    totals.loads = loads_of(spread.product, spread.facts, spread.capacity, totals.n_kg);
    varied(
        maximum_ratio,
        (ground, survey),
        (reference, measured),
        rated,
        totals,
    )
}

/// The model with another limit of the ratio.
fn limited(model: &RateModel, limit: &RatioLimit) -> RateModel {
    let mut model = model.with_maximum_ratio(limit.value);
    model.limits.limits_sufficiency = limit.of_this_field();
    model
}

/// The limit that a strip alone would set.
fn limit_alone(
    maximum_ratio: MaximumRatio,
    reference: &Reference,
    number: usize,
) -> Option<RatioLimit> {
    let strip = reference
        .alone
        .iter()
        .find(|strip| strip.number == number)?;
    let evidence = Evidence {
        answer: strip.answer,
        ratio: Some(strip.ratio),
        seen: strip.seen,
        high: strip.interval.map(|interval| interval.1),
    };
    limit_of(maximum_ratio, &evidence)
}

/// Totals with what other references or inputs would make of them; each is a pass of its own over the cells, on as many threads as there are.
fn varied(
    maximum_ratio: MaximumRatio,
    (ground, survey): (&Ground, &Survey),
    (reference, measured): (&Reference, &Measured),
    rated: &Rated,
    mut totals: Totals,
) -> Totals {
    let model = &rated.model;
    let cells = &Varied::of(rated);
    let own = |k: usize| rated.reference_of[k];
    // Another strip index is another response index too; in a balanced level both halves move with it.
    let scaled_by = |model: &RateModel, factor: f64| {
        cells.nitrogen_against(
            model,
            |k| rated.reference_of[k] * factor,
            |k| rated.field_ratio_of[k].map(|ratio| ratio * factor),
            rated.field_exact,
        )
    };
    let scaled = &|factor: f64| scaled_by(model, factor);
    let Totals {
        n_kg_base,
        n_kg_by_share,
        n_kg_by_ratio,
        n_kg_without_dropping,
        n_kg_by_strip,
        n_kg_by_inset,
        n_kg_by_bounds,
        n_kg_by_efficiency,
        noise,
        ..
    } = &mut totals;
    rayon::scope(|scope| {
        // The longest first.
        scope.spawn(|_| *noise = noise_of(ground, reference, rated));
        if model.uses_response_index() {
            scope.spawn(|_| *n_kg_by_share = by_share(cells, reference, measured));
        }
        scope.spawn(|_| *n_kg_base = cells.nitrogen(model, own));
        if let Some(ratio) = reference.ratio {
            scope.spawn(move |_| {
                *n_kg_by_ratio = Some(cells.nitrogen(model, |_| ratio * survey.field_mean));
            });
        }
        if let Some(index) = reference.index_without_dropping {
            scope.spawn(move |_| *n_kg_without_dropping = Some(scaled(index / reference.measured)));
        }
        if reference.each.len() > 1 {
            scope.spawn(|_| *n_kg_by_strip = by_strip(maximum_ratio, reference, cells));
        }
        for (k, inset) in n_kg_by_inset.iter_mut().enumerate() {
            let (mut sum, mut weight, mut any) = (0.0, 0.0, false);
            for strip in &survey.strips {
                if let Ok(found) = &strip.found {
                    any |= strip.variants[k].is_some();
                    sum += strip.variants[k].unwrap_or(found.index()) * strip.plan.area;
                    weight += strip.plan.area;
                }
            }
            if any {
                scope.spawn(move |_| *inset = Some(scaled(sum / weight / reference.measured)));
            }
        }
        if let (Some(low), Some(high), Some(ratio)) =
            (reference.low, reference.high, reference.ratio)
        {
            let at = move |bound: f64| {
                // A limit that is the field's own ratio moves with it.
                let limit = RatioLimit {
                    value: bound.max(1.0),
                    ..rated.limit
                };
                let moved = (rated.limit.by == SetBy::NoResponse).then(|| limited(model, &limit));
                scaled_by(moved.as_ref().unwrap_or(model), bound / ratio)
            };
            scope.spawn(move |_| *n_kg_by_bounds = Some(rayon::join(|| at(low), || at(high))));
        }
        scope.spawn(|_| {
            let efficient = |e: f64| {
                model
                    .with_use_efficiency(e)
                    .map(|model| cells.nitrogen(&model, own))
            };
            let (high, low) = rayon::join(|| efficient(0.6), || efficient(0.4));
            *n_kg_by_efficiency = high.zip(low);
        });
    });
    totals
}

/// Exact nitrogen by each way of comparing; equal ways are summed once.
fn by_share(cells: &Varied<'_>, reference: &Reference, measured: &Measured) -> ByShare {
    let rated = cells.rated;
    let by = |blend: Option<Blend>| {
        let model = rated.model.with_blend(blend);
        let field = cells.field_mean(&model);
        cells.nitrogen_against(
            &model,
            |k| rated.reference_of[k],
            |k| rated.field_ratio_of[k],
            field,
        )
    };
    let [each_cell, whole_field, measured] = ways(reference, measured);
    let (each_sum, field_sum) = rayon::join(|| each_cell.map(by), || whole_field.map(by));
    ByShare {
        each_cell: each_sum.unwrap_or_default(),
        whole_field: field_sum,
        measured: if measured == each_cell {
            each_sum
        } else if measured == whole_field {
            field_sum
        } else {
            measured.map(by)
        },
    }
}

/// Exact nitrogen by each strip alone.
fn by_strip(
    maximum_ratio: MaximumRatio,
    reference: &Reference,
    cells: &Varied<'_>,
) -> Vec<(usize, f64)> {
    let rated = cells.rated;
    let alone = |(number, index): &(usize, f64)| {
        // Alone, a strip would also have set the limit alone.
        let limit = limit_alone(maximum_ratio, reference, *number);
        let model = limit.map_or_else(
            || rated.model.clone(),
            |limit| limited(&rated.model, &limit),
        );
        let own = reference
            .each_ratio
            .iter()
            .find(|(other, _)| other == number)
            .map(|(_, ratio)| *ratio);
        let sum = cells.nitrogen_against(&model, |_| *index, |_| own, rated.field_exact);
        (*number, sum)
    };
    reference.each.par_iter().map(alone).collect()
}

/// Cell-to-cell noise of the index, and the nitrogen that it makes.
fn noise_of(ground: &Ground, reference: &Reference, rated: &Rated) -> Option<(f64, NoiseTotals)> {
    // Columns of cells along the drive, with gaps where there is no canopy.
    let mut columns: std::collections::BTreeMap<(usize, i32), Vec<Option<f64>>> =
        std::collections::BTreeMap::new();
    let first_of = |part: usize| {
        ground
            .grid
            .cells
            .get(ground.grid.cells_of(part).start)
            .map_or(0, |cell| cell.row)
    };
    let first: Vec<i32> = (0..ground.grid.ways()).map(first_of).collect();
    let mut canopy = Vec::new();
    for (k, cell) in rated
        .cells
        .iter()
        .enumerate()
        .filter(|(_, cell)| cell.state == CellState::Canopy)
    {
        canopy.extend(cell.index.map(|index| (cell.area.as_ha(), index)));
        let part = ground.grid.part_of(k);
        let column = columns.entry((part, cell.col)).or_default();
        let at = (cell.row - first[part]) as usize;
        if column.len() <= at {
            column.resize(at + 1, None);
        }
        column[at] = cell.index;
    }
    let noise = noise_sd(columns.values().map(Vec::as_slice))?;
    let rate = |index: f64| {
        rated
            .model
            .exact(index, reference.index)
            .map_or(0.0, NRate::get)
    };
    // What noise makes of each cell on all threads, and the sum in the order of the cells: the same to the last digit on every machine.
    let extra: Vec<f64> = canopy
        .par_iter()
        .map(|(hectares, index)| hectares * noise_nitrogen(*index, noise.sd, rate))
        .collect();
    Some((noise.sd, noise_totals(extra)))
}
