//! From sums of pixels to states and rates of cells.

use geo::{Centroid, Contains, Point};

use crate::finding::Finding;
use crate::job::settings::{RateRules, Response, Settings, StateRate};
use crate::map::prescription::{Capped, CellRecord, CellState};
use crate::pipeline::ground::Ground;
use crate::pipeline::ratio_limit::{Evidence, RatioLimit, limit_of, thin_ratio};
use crate::pipeline::reference::Reference;
use crate::pipeline::reference_at::{field_ratio_of, reference_of};
use crate::pipeline::scan::{Scanned, TIE};
use crate::pipeline::share::{Measured, blend_of};
use crate::science::blend::Blend;
use crate::science::methods::{CellRate, Limits, MethodError, RateModel};
use crate::science::nitrogen_share::NoShare;
use crate::science::yield_response::{Capped as Bound, is_thin, round_to_step, thin_below};
use crate::units::{Area, NRate, Share};
use crate::zones::build::{Kind, Rate};

/// A cell below this share of a full one is a sliver.
const SLIVER: f64 = 0.01;

/// What the image says of a cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// Share seen and whole.
    pub seen: f64,
    /// Share of canopy.
    pub canopy: f64,
    /// Mean canopy index, where there is canopy.
    pub index: Option<f64>,
    /// Its standard error, when it was kriged.
    pub index_se: Option<f64>,
    /// State, before `thin` and `sliver`.
    pub state: CellState,
}

/// Shares, index and state of every cell.
pub fn seen(scanned: &Scanned, minimum_seen: f64) -> Vec<Seen> {
    let cell = |((sums, area), error): ((&crate::pipeline::scan::CellSums, &f64), &Option<f64>)| {
        let (seen, canopy) = (sums.seen.get() / area, sums.canopy.get() / area);
        let state = if seen < minimum_seen - TIE {
            CellState::Unseen
        } else if seen - canopy > seen / 2.0 + TIE {
            CellState::Bare
        } else if canopy < minimum_seen - TIE {
            CellState::Unseen
        } else {
            CellState::Canopy
        };
        let index = (state == CellState::Canopy && !sums.canopy.is_zero())
            .then(|| sums.weighted.get() / sums.canopy.get());
        Seen {
            seen,
            canopy,
            index,
            index_se: index.and(*error),
            state,
        }
    };
    scanned
        .cells
        .iter()
        .zip(&scanned.areas)
        .zip(&scanned.standard_errors)
        .map(cell)
        .collect()
}

/// Cells with their rates, and the field rate.
#[derive(Clone, Debug)]
pub struct Rated {
    /// Records in grid order; `zone` is still 0.
    pub cells: Vec<CellRecord>,
    /// What zones take of each cell: kind, exact rate, rate.
    pub zone_rates: Vec<(Kind, f64, Rate)>,
    /// The cell that a sliver follows.
    pub follows: Vec<Option<u32>>,
    /// Field rate in steps.
    pub field_q: i64,
    /// Field rate before rounding. \[kg N/ha\]
    pub field_exact: f64,
    /// What rates were computed with.
    pub model: RateModel,
    /// The greatest response index that counts, and what sets it.
    pub limit: RatioLimit,
    /// `I_ref` used for each cell.
    pub reference_of: Vec<f64>,
    /// `RI_field` of the strips that each cell is compared with, where one is known.
    pub field_ratio_of: Vec<Option<f64>>,
    /// Canopy cells outside strips.
    pub outside_strips: Vec<bool>,
    /// Limit of the thin rule, at the field's reference.
    pub thin_below: f64,
}

/// Why there are no rates.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RateError {
    /// No canopy.
    #[error("no cell of the field shows canopy: {unseen} unseen, {bare} bare")]
    NoCanopy {
        /// Unseen cells.
        unseen: usize,
        /// Bare cells.
        bare: usize,
    },
    /// No multiple of the step lies in the range.
    #[error("no multiple of {step} lies between {minimum} and {maximum}")]
    NoStep {
        /// The step.
        step: NRate,
        /// The least rate.
        minimum: NRate,
        /// The greatest rate.
        maximum: NRate,
    },
    /// Not all paleness is to count as nitrogen, but nothing was measured beside a strip.
    #[error("a nitrogen_share below 1 needs a response index of the field, but there is none")]
    NoRatio,
    /// The share is to be measured, and is not known.
    #[error(
        "nitrogen_share = \"measured\" cannot be worked out: {reason}; state a share, 1 is the default"
    )]
    NoShare {
        /// Why it is not known.
        reason: NoShare,
    },
    /// `maximum_ratio = "seen"`, but the strips show no spread.
    #[error(
        "maximum_ratio = \"seen\" needs a strip with comparison ground along it, but there is none: give a number"
    )]
    NothingSeen,
    /// A zone of the reference has no strip.
    #[error(
        "zone {zone} of the {zones} in reference.zones ({area_ha:.2} ha of the field) holds no usable strip; without_strip = \"pooled\" in reference.zones lets it take the reference of all strips"
    )]
    ZoneWithoutStrip {
        /// The zone, from 1.
        zone: usize,
        /// How many there are.
        zones: usize,
        /// What it has of the field. \[ha\]
        area_ha: f64,
    },
    /// Two zones of the reference overlap.
    #[error(
        "zones {first} and {second} of reference.zones overlap by {area:.1} m²; each place needs one zone"
    )]
    ZonesOverlap {
        /// The earlier zone, from 1.
        first: usize,
        /// The later one.
        second: usize,
        /// By how much. \[m²\]
        area: f64,
    },
    /// Inputs without meaning.
    #[error(transparent)]
    Inputs(#[from] MethodError),
}

/// The greatest response index that counts in this field.
///
/// # Errors
/// [`RateError::NothingSeen`].
fn limit(settings: &Settings, reference: &Reference) -> Result<RatioLimit, RateError> {
    limit_of(settings.response.maximum_ratio, &Evidence::of(reference))
        .ok_or(RateError::NothingSeen)
}

/// What rates are computed with.
///
/// # Errors
/// [`RateError`] when a needed ratio is missing or an input has no meaning.
pub fn model(
    settings: &Settings,
    reference: &Reference,
    measured: &Measured,
    growing_days: f64,
) -> Result<RateModel, RateError> {
    let response = &settings.response;
    let limit = limit(settings, reference)?;
    let blend = blend_of(settings, reference, measured)?;
    Ok(model_of(
        response,
        &settings.rate,
        limit,
        blend,
        growing_days,
    )?)
}

/// The same from the settings of the response and of the rates alone, for a map and for one flat rate.
///
/// # Errors
/// [`MethodError`] when an input has no meaning.
pub fn model_of(
    response: &Response,
    rule: &RateRules,
    limit: RatioLimit,
    blend: Option<Blend>,
    growing_days: f64,
) -> Result<RateModel, MethodError> {
    let limits = Limits {
        maximum_ratio: limit.value,
        limits_sufficiency: limit.of_this_field(),
        applied_since_sensing: response.applied_since_sensing,
        minimum: rule.minimum,
        maximum: rule.maximum,
    };
    let model = RateModel {
        method: response.method(growing_days),
        limits,
        blend,
    };
    model.check()?;
    Ok(model)
}

/// Rates of all cells by a [`model`] of them. `bare_below` is the limit in force.
///
/// # Errors
/// [`RateError`]: no canopy, an empty range, zones of the reference without a strip, inputs without meaning.
pub fn rates(
    ground: &Ground,
    settings: &Settings,
    seen: &[Seen],
    reference: &Reference,
    model: RateModel,
    bare_below: Option<f64>,
    findings: &mut Vec<Finding>,
) -> Result<Rated, RateError> {
    let rule = &settings.rate;
    let steps = |n: NRate| {
        round_to_step(n, rule.minimum, rule.maximum, rule.step).ok_or(RateError::NoStep {
            step: rule.step,
            minimum: rule.minimum,
            maximum: rule.maximum,
        })
    };
    let centres: Vec<Option<Point<f64>>> = (0..ground.grid.cells.len())
        .map(|k| ground.grid.outline(k).centroid())
        .collect();
    let in_strip: Vec<bool> = centres
        .iter()
        .map(|c| c.is_some_and(|c| ground.strips.iter().any(|strip| strip.contains(&c))))
        .collect();
    let reference_of: Vec<f64> = reference_of(
        ground,
        &settings.reference.strips_use,
        reference,
        &centres,
        findings,
    )?;
    let field_ratios: Vec<Option<f64>> =
        field_ratio_of(ground, &settings.reference.strips_use, reference, &centres)?.map_or_else(
            || vec![None; centres.len()],
            |ratios| ratios.into_iter().map(Some).collect(),
        );

    let own: Vec<Option<CellRate>> = seen
        .iter()
        .zip(&reference_of)
        .zip(&field_ratios)
        .map(|((cell, reference), ratio)| {
            cell.index
                .and_then(|index| model.rate_against(index, *reference, *ratio))
        })
        .collect();
    let state: Vec<CellState> = seen
        .iter()
        .zip(&reference_of)
        .map(|(cell, reference_index)| match cell.index {
            Some(index)
                if is_thin(
                    index,
                    thin_below(
                        bare_below,
                        *reference_index,
                        thin_ratio(settings.response.maximum_ratio),
                        reference.beside,
                    ),
                    (cell.seen - cell.canopy) / cell.seen,
                ) =>
            {
                CellState::Thin
            }
            _ => cell.state,
        })
        .collect();
    let outside_strips: Vec<bool> = state
        .iter()
        .zip(&in_strip)
        .map(|(state, inside)| *state == CellState::Canopy && !inside)
        .collect();
    let mean = |pick: &dyn Fn(usize) -> bool| {
        let (mut sum, mut area) = (0.0, 0.0);
        for (k, rate) in own.iter().enumerate().filter(|(k, _)| pick(*k)) {
            if let Some(rate) = rate {
                sum += rate.n_exact.get() * ground.grid.cells[k].area;
                area += ground.grid.cells[k].area;
            }
        }
        (area > 0.0).then(|| sum / area)
    };
    let count = |wanted: CellState| state.iter().filter(|state| **state == wanted).count();
    let field_exact = mean(&|k| outside_strips[k])
        .or_else(|| mean(&|k| state[k] == CellState::Canopy))
        .ok_or_else(|| RateError::NoCanopy {
            unseen: count(CellState::Unseen),
            bare: count(CellState::Bare),
        })?;
    let field_q = steps(NRate::kg_per_ha(field_exact))?;
    let step = rule.step.get();

    let mut zone_rates = Vec::with_capacity(state.len());
    for (k, state) in state.iter().enumerate() {
        let exact = own[k].map(|rate| rate.n_exact);
        let stated = |amount: NRate| (amount.get(), Rate::Written(amount.get()));
        let field = (field_q as f64 * step, Rate::Steps(field_q));
        let (kind, (exact, rate)) = match (state, exact) {
            (CellState::Canopy, Some(exact)) => {
                (Kind::Canopy, (exact.get(), Rate::Steps(steps(exact)?)))
            }
            (CellState::Thin, Some(exact)) => (
                Kind::Canopy,
                match rule.thin {
                    StateRate::Own => (exact.get(), Rate::Steps(steps(exact)?)),
                    StateRate::FieldRate => (
                        exact.get().min(field_exact),
                        Rate::Steps(steps(exact)?.min(field_q)),
                    ),
                    StateRate::Amount(amount) => stated(amount),
                },
            ),
            (CellState::Bare, _) => (
                Kind::Bare,
                if let StateRate::Amount(amount) = rule.bare {
                    stated(amount)
                } else {
                    field
                },
            ),
            _ => (
                Kind::Unseen,
                if let StateRate::Amount(amount) = rule.unseen {
                    stated(amount)
                } else {
                    field
                },
            ),
        };
        zone_rates.push((kind, exact, rate));
    }
    let follows = slivers(ground);
    let mut cells = Vec::with_capacity(state.len());
    for (k, cell) in ground.grid.cells.iter().enumerate() {
        // A sliver takes value and state of its neighbour; what it shows itself stays in its record.
        let host = follows[k].map_or(k, |host| host as usize);
        let rate = own[k];
        cells.push(CellRecord {
            row: cell.row,
            col: cell.col,
            area: Area::m2(cell.area),
            seen: Share::held(seen[k].seen),
            bare: Share::held(seen[k].seen - seen[k].canopy),
            index: seen[k].index,
            index_se: seen[k].index_se,
            ratio_raw: rate.map(|rate| rate.ratio_raw),
            ratio: rate.and_then(|rate| rate.ratio),
            yield_without: rate.and_then(|rate| rate.yields).map(|yields| yields.0),
            yield_with: rate.and_then(|rate| rate.yields).map(|yields| yields.1),
            n_raw: rate.map(|rate| rate.n_raw),
            n_exact: rate.map(|rate| rate.n_exact),
            n: NRate::kg_per_ha(zone_rates[host].2.n(step)),
            capped: match rate.map(|rate| rate.capped) {
                Some(Bound::Without) => Capped::Without,
                Some(Bound::With) => Capped::With,
                _ => Capped::None,
            },
            beyond: rate.is_some_and(|rate| rate.beyond),
            n_low: None,
            n_high: None,
            state: if host == k {
                state[k]
            } else {
                CellState::Sliver
            },
            zone: 0,
        });
    }
    let thin_limit = thin_below(
        bare_below,
        reference.index,
        thin_ratio(settings.response.maximum_ratio),
        reference.beside,
    );
    Ok(Rated {
        cells,
        zone_rates,
        follows,
        field_q,
        field_exact,
        model,
        limit: limit(settings, reference)?,
        reference_of,
        field_ratio_of: field_ratios,
        outside_strips,
        thin_below: thin_limit,
    })
}

/// Which cell each sliver follows: the neighbour with the longest border.
fn slivers(ground: &Ground) -> Vec<Option<u32>> {
    let frame = &ground.grid.frame;
    let limit = SLIVER * frame.length * frame.width;
    let mut best: Vec<(f64, Option<u32>)> = vec![(0.0, None); ground.grid.cells.len()];
    for border in &ground.borders {
        for (own, other) in [(border.a, border.b), (border.b, border.a)] {
            let small = |cell: u32| ground.grid.cells[cell as usize].area < limit;
            if small(own) && !small(other) && border.length > best[own as usize].0 {
                best[own as usize] = (border.length, Some(other));
            }
        }
    }
    best.into_iter().map(|(_, host)| host).collect()
}
