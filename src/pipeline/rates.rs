//! From sums of pixels to states and rates of cells.

use crate::finding::Checked;
use crate::job::settings::{NitrogenShare, RateRules, Response, StateRate, StripsUse};
use crate::map::prescription::{Capped, CellRecord, CellState};
use crate::pipeline::cell_facts::CellFacts;
use crate::pipeline::change::Change;
use crate::pipeline::ground::Ground;
use crate::pipeline::rate_error::RateError;
use crate::pipeline::ratio_limit::{Evidence, RatioLimit, limit_of, thin_ratio};
use crate::pipeline::reference::Reference;
use crate::pipeline::reference_at::{field_ratio_of, reference_of};
use crate::pipeline::scan::{Scanned, TIE_TOLERANCE};
use crate::pipeline::share::Measured;
use crate::science::blend::Blend;
use crate::science::methods::{CellRate, Limits, MethodError, RateModel};
use crate::science::monte_carlo::uses_reference;
use crate::science::yield_response::{Capped as Bound, is_thin, round_to_step, thin_below};
use crate::units::{Area, NRate, Share};
use crate::zones::build::{Kind, Rate};
use rayon::prelude::*;

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
        let state = if seen < minimum_seen - TIE_TOLERANCE {
            CellState::Unseen
        } else if seen - canopy > seen / 2.0 + TIE_TOLERANCE {
            CellState::Bare
        } else if canopy < minimum_seen - TIE_TOLERANCE {
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

/// What zones take of a cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Due {
    /// What kind of ground it is to them.
    pub kind: Kind,
    /// Its rate before rounding.
    pub exact: NRate,
    /// Its rate as it is due.
    pub rate: Rate,
    /// What was set by hand of it, where anything was.
    pub set: Option<Change>,
}

/// Cells with their rates, and the field rate.
#[derive(Clone, Debug)]
pub struct Rated {
    /// Records in grid order; `zone` is still 0.
    pub cells: Vec<CellRecord>,
    /// What zones take of each cell.
    pub due: Vec<Due>,
    /// The cell that a sliver follows.
    pub follows: Vec<Option<u32>>,
    /// Field rate in steps.
    pub field_q: i64,
    /// Field rate before rounding.
    pub field_exact: NRate,
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

/// The greatest response index that counts in this field.
///
/// # Errors
/// [`RateError::NothingSeen`].
fn limit(response: &Response, reference: &Reference) -> Result<RatioLimit, RateError> {
    limit_of(response.maximum_ratio, &Evidence::of(reference)).ok_or(RateError::NothingSeen)
}

/// What the job's share makes of the response index; `None` where each cell is compared with the strip, and for methods that compare nothing.
///
/// # Errors
/// [`RateError::NoRatio`] when the field's response index is needed and unknown, [`RateError::NoShare`] when the share is to be measured and is not known.
fn blend_of(
    response: &Response,
    reference: &Reference,
    measured: &Measured,
) -> Result<Option<Blend>, RateError> {
    if !uses_reference(&response.method(f64::NAN)) {
        return Ok(None);
    }
    let share = match response.nitrogen_share {
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

/// What rates are computed with.
///
/// # Errors
/// [`RateError`] when a needed ratio is missing or an input has no meaning.
pub fn model(
    response: &Response,
    rule: &RateRules,
    reference: &Reference,
    measured: &Measured,
    growing_days: f64,
) -> Result<RateModel, RateError> {
    let limit = limit(response, reference)?;
    let blend = blend_of(response, reference, measured)?;
    Ok(model_of(response, rule, limit, blend, growing_days)?)
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
    (ground, facts): (&Ground, &CellFacts),
    (response, rule, strips_use): (&Response, &RateRules, &StripsUse),
    seen: &[Seen],
    reference: &Reference,
    model: RateModel,
    bare_below: Option<f64>,
) -> Result<Checked<Rated>, RateError> {
    let steps = |n: NRate| {
        round_to_step(n, rule.minimum, rule.maximum, rule.step).ok_or(RateError::NoStep {
            step: rule.step,
            minimum: rule.minimum,
            maximum: rule.maximum,
        })
    };
    let Checked {
        value: reference_of,
        findings,
    } = reference_of(ground, strips_use, reference, &facts.centres)?;
    let field_ratios: Vec<Option<f64>> =
        field_ratio_of(ground, strips_use, reference, &facts.centres)?.map_or_else(
            || vec![None; facts.centres.len()],
            |ratios| ratios.into_iter().map(Some).collect(),
        );

    let own: Vec<Option<CellRate>> = seen
        .par_iter()
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
                        thin_ratio(response.maximum_ratio),
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
        .zip(&facts.in_strip)
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
        (area > 0.0).then(|| NRate::kg_per_ha(sum / area))
    };
    let count =
        |requirement: CellState| state.iter().filter(|state| **state == requirement).count();
    let field_exact = mean(&|k| outside_strips[k])
        .or_else(|| mean(&|k| state[k] == CellState::Canopy))
        .ok_or_else(|| RateError::NoCanopy {
            unseen: count(CellState::Unseen),
            bare: count(CellState::Bare),
        })?;
    let field_q = steps(field_exact)?;
    let step = rule.step.get();

    let mut due = Vec::with_capacity(state.len());
    for (k, state) in state.iter().enumerate() {
        let exact = own[k].map(|rate| rate.n_exact);
        let stated = |amount: NRate| (amount, Rate::Written(amount.get()));
        let field = (rule.step * field_q as f64, Rate::Steps(field_q));
        let (kind, (exact, rate)) = match (state, exact) {
            (CellState::Canopy, Some(exact)) => (Kind::Canopy, (exact, Rate::Steps(steps(exact)?))),
            (CellState::Thin, Some(exact)) => (
                Kind::Canopy,
                match rule.thin {
                    StateRate::Own => (exact, Rate::Steps(steps(exact)?)),
                    StateRate::FieldRate => (
                        exact.min(field_exact),
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
        due.push(Due {
            kind,
            exact,
            rate,
            set: None,
        });
    }
    let follows = facts.follows.clone();
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
            n: NRate::kg_per_ha(due[host].rate.n(step)),
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
        thin_ratio(response.maximum_ratio),
        reference.beside,
    );
    let rated = Rated {
        cells,
        due,
        follows,
        field_q,
        field_exact,
        model,
        limit: limit(response, reference)?,
        reference_of,
        field_ratio_of: field_ratios,
        outside_strips,
        thin_below: thin_limit,
    };
    Ok(Checked::new(rated, findings))
}

impl Rated {
    /// The same with each cell's own rate written anew from what zones take of it; a sliver has that of the cell that it follows.
    #[must_use]
    pub fn with_own_rates(mut self, step: NRate) -> Self {
        for (k, cell) in self.cells.iter_mut().enumerate() {
            let host = self.follows[k].map_or(k, |host| host as usize);
            cell.n = NRate::kg_per_ha(self.due[host].rate.n(step.get()));
        }
        self
    }
    /// The same with the zone of each cell, from 1, in grid order.
    #[must_use]
    pub fn in_zones(mut self, zone_of: &[u32]) -> Self {
        for (cell, zone) in self.cells.iter_mut().zip(zone_of) {
            cell.zone = *zone;
        }
        self
    }
}
