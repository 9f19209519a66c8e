//! What the drive does to cell rates before zones are formed: the headland's own rule, and the largest step along the drive.

use crate::finding::{Checked, Finding, codes};
use crate::job::settings::{Headland, Machine, Output, RateRules, StateRate};
use crate::map::prescription::CellState;
use crate::pipeline::cell_facts::CellFacts;
use crate::pipeline::ground::Ground;
use crate::pipeline::rates::{Due, Rated};
use crate::science::yield_response::round_to_step;
use crate::units::{Area, NRate};
use crate::zones::build::{Kind, Rate, Zoning};
use crate::zones::gentle::hold_steps;

/// Gives canopy cells of the headland their rule. Thin, bare and unseen ground keeps its own.
///
/// The headland is what lies within so many working widths of the boundary's outer edge; a cell belongs to it when more than half of it does.
///
/// # Findings
/// `machine.headland` (note): cells, area, and what the rule did to the total; (caution) when no cell, or every canopy cell, lies in it.
pub fn headland(
    machine: &Machine,
    (rule, output): (&RateRules, &Output),
    (ground, facts): (&Ground, &CellFacts),
    mut rated: Rated,
) -> Checked<Rated> {
    let (Some(Headland { passes, rate }), Some(in_headland)) =
        (machine.headland, &facts.in_headland)
    else {
        return Checked::clean(rated);
    };
    let depth = machine.working_width * f64::from(passes);
    let step = rule.step.get();
    let (mut cells, mut canopy, mut area, mut moved) = (0_usize, 0_usize, Area::ZERO, 0.0);
    for (k, cell) in ground.grid.cells.iter().enumerate() {
        if rated.cells[k].state != CellState::Canopy {
            continue;
        }
        canopy += 1;
        if !in_headland[k] {
            continue;
        }
        cells += 1;
        area = area + Area::m2(cell.area);
        let own = rated.due[k];
        let (exact, rate) = match rate {
            StateRate::Own => (own.exact, own.rate),
            StateRate::FieldRate => (rule.step * rated.field_q as f64, Rate::Steps(rated.field_q)),
            StateRate::Amount(amount) => (amount, Rate::Written(amount.get())),
        };
        moved += (rate.n(step) - own.rate.n(step)) * cell.area / 10_000.0;
        rated.due[k] = Due {
            kind: Kind::Headland,
            exact,
            rate,
            ..own
        };
    }
    let way = match rate {
        StateRate::Own => "keeps its own rates, in zones of its own".to_owned(),
        StateRate::FieldRate => format!(
            "gets the field rate, {}",
            NRate::kg_per_ha(rated.field_q as f64 * step).text(output.us_units)
        ),
        StateRate::Amount(amount) => format!("gets {}", amount.text(output.us_units)),
    };
    let what = format!(
        "the headland, {passes} passes or {} from the boundary, {way}: {cells} canopy cells, {}, {}",
        depth.text(output.us_units),
        area.text(output.us_units),
        output.nitrogen_moved(moved)
    );
    let finding = if cells == 0 || cells == canopy {
        let why = if cells == 0 {
            "no canopy cell lies in it"
        } else {
            "every canopy cell lies in it, so that nothing of the map is left"
        };
        Finding::caution(
            codes::MACHINE_HEADLAND,
            format!("{what}; {why}: look at machine.headland"),
        )
    } else {
        Finding::note(codes::MACHINE_HEADLAND, what)
    };
    Checked::new(rated.with_own_rates(rule.step), vec![finding])
}

/// Holds canopy rates to the largest step from one cell to the next along the drive. Thin, bare and unseen ground, and a headland with a rule of its own, end a run.
///
/// # Findings
/// `rate.maximum_step` (note): cells changed, and what that did to the total.
pub fn maximum_step(
    (rule, output): (&RateRules, &Output),
    ground: &Ground,
    mut rated: Rated,
) -> Checked<Rated> {
    let Some(largest) = rule.maximum_step else {
        return Checked::clean(rated);
    };
    let step = rule.step.get();
    // A multiple of the step, so that rounded rates keep it too.
    let largest = libm::floor(largest.get() / step + 1e-9) * step;
    let grid = &ground.grid;
    let mut order: Vec<usize> = (0..grid.cells.len()).collect();
    let column_of = |k: usize| (grid.part_of(k), grid.cells[k].col);
    order.sort_by_key(|&k| (column_of(k), grid.cells[k].row));
    let (mut changed, mut moved) = (0_usize, 0.0);
    for column in order.chunk_by(|&a, &b| {
        column_of(a) == column_of(b) && grid.cells[b].row == grid.cells[a].row + 1
    }) {
        let free = |k: usize| {
            rated.cells[k].state == CellState::Canopy && rated.due[k].kind == Kind::Canopy
        };
        let mut rates: Vec<Option<f64>> = column
            .iter()
            .map(|&k| free(k).then_some(rated.due[k].exact.get()))
            .collect();
        hold_steps(&mut rates, largest);
        for (&k, held) in column.iter().zip(rates) {
            let Some(held) = held else { continue };
            let before = rated.due[k];
            let rate = round_to_step(
                NRate::kg_per_ha(held),
                rule.minimum,
                rule.maximum,
                rule.step,
            )
            .map_or(before.rate, Rate::Steps);
            if !rate.same(before.rate) {
                changed += 1;
                moved += (rate.n(step) - before.rate.n(step)) * grid.cells[k].area / 10_000.0;
            }
            rated.due[k] = Due {
                exact: NRate::kg_per_ha(held),
                rate,
                ..before
            };
        }
    }
    let finding = Finding::note(
        codes::RATE_MAXIMUM_STEP,
        format!(
            "rates change by at most {} from cell to cell along the drive: {changed} cells were raised or lowered, {} in all",
            output.nitrogen_rate(largest),
            output.nitrogen_moved(moved)
        ),
    );
    Checked::new(rated.with_own_rates(rule.step), vec![finding])
}

/// Says where zones step by more than the largest step all the same: small zones joined, totals kept, or ground with a rule of its own.
pub fn steps_left(
    (rule, output): (&RateRules, &Output),
    ground: &Ground,
    zoning: &Zoning,
) -> Option<Finding> {
    let largest = rule.maximum_step?;
    let (mut borders, mut maximum) = (0_usize, 0.0_f64);
    for border in &ground.borders {
        let (a, b) = (border.a as usize, border.b as usize);
        let rate_of = |cell: usize| zoning.zones[zoning.zone_of[cell] as usize - 1].n;
        let change = (rate_of(a) - rate_of(b)).abs();
        let column_of = |k: usize| (ground.grid.part_of(k), ground.grid.cells[k].col);
        if column_of(a) == column_of(b) && change > largest.get() + 1e-9 {
            borders += 1;
            maximum = maximum.max(change);
        }
    }
    (borders > 0).then(|| {
        Finding::caution(
            codes::ZONES_MAXIMUM_STEP,
            format!(
                "{borders} borders between cells along the drive still step by more than {}, by up to {}: at bare, thin, unseen or headland ground, or where small zones were joined; a smaller zones.minimum_area leaves fewer",
                output.nitrogen_rate(largest.get()),
                output.nitrogen_rate(maximum)
            ),
        )
    })
}
