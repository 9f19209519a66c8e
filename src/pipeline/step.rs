//! Whether the step of rates is fine enough for what the cells ask for.

use crate::finding::{Finding, codes};
use crate::job::settings::{Output, RateRules};
use crate::pipeline::rates::Rated;
use crate::space::cells::Border;
use crate::units::KG_PER_LB;
use crate::zones::build::{GroupBy, Kind, Rate, ZoneCell, ZoneRule, Zoning, build};

/// Zones may hold this much more or less nitrogen than their cells ask for. \[share\]
const KEPT: f64 = 0.02;
/// A field's mean that differs by less is the same: nothing spreads so finely. \[kg N/ha\] Common practice, no source.
const SAME: f64 = 0.1;
/// The step divided by these is tried, one after the other.
const FINER: [f64; 6] = [2.0, 5.0, 10.0, 20.0, 50.0, 100.0];
/// Share of the canopy whose rates must lie within one step for the step to be called coarse. \[–\]
const NEARLY_ALL: f64 = 0.95;

/// What zones hold, what their cells ask for \[kg N\], and the ground \[ha\].
fn totals(cells: &[ZoneCell], zoning: &Zoning) -> (f64, f64, f64) {
    let (mut held, mut asked, mut area) = (0.0, 0.0, 0.0);
    for (cell, zone) in cells.iter().zip(&zoning.zone_of) {
        let own = cell.follows.map_or(cell, |host| &cells[host as usize]);
        let ha = cell.area / 10_000.0;
        held += zoning.zones[*zone as usize - 1].n * ha;
        asked += own.n_exact * ha;
        area += ha;
    }
    (held, asked, area)
}

fn is_kept((held, asked, area): (f64, f64, f64)) -> bool {
    (held - asked).abs() <= (KEPT * asked.abs()).max(SAME * area)
}

/// The coarsest of the finer steps at which zones would keep what the cells ask for. \[kg N/ha\]
fn finer_step(
    limits: &RateRules,
    rated: &Rated,
    cells: &[ZoneCell],
    borders: &[Border],
    by: GroupBy,
    rule: &ZoneRule,
) -> Option<f64> {
    FINER.into_iter().map(|part| rule.step / part).find(|step| {
        let finer = ZoneRule {
            step: *step,
            minimum_q: libm::ceil(limits.minimum.get() / step - 1e-9) as i64,
            maximum_q: libm::floor(limits.maximum.get() / step + 1e-9) as i64,
            ..*rule
        };
        let mut cells = cells.to_vec();
        for cell in &mut cells {
            if matches!(cell.rate, Rate::Written(_)) {
                continue;
            }
            if cell.kind == Kind::Unseen {
                cell.n_exact = rated.field_exact.get();
            }
            cell.rate = Rate::Steps(finer.steps_of(cell.n_exact));
        }
        build(&cells, borders, by, &finer).is_ok_and(|zoning| is_kept(totals(&cells, &zoning)))
    })
}

/// Says where zones hold another total than their cells, and where the step is as large as all rates.
///
/// # Findings
/// `zones.total` (caution): more than 2 % apart, with the step that would keep it. `rate.one_step` (note): rates lie between 0 and one step.
pub(crate) fn finding_of(
    (limits, output): (&RateRules, &Output),
    rated: &Rated,
    (cells, borders, by): (&[ZoneCell], &[Border], GroupBy),
    (rule, zoning): (&ZoneRule, &Zoning),
) -> Option<Finding> {
    let mass = |kg: f64| {
        if output.us_units {
            format!("{:.1} lb N", kg / KG_PER_LB)
        } else {
            format!("{kg:.1} kg N")
        }
    };
    let all = totals(cells, zoning);
    if !is_kept(all) {
        let (held, asked, _) = all;
        let share = if asked > 0.0 {
            format!(" ({:+.0} %)", 100.0 * (held / asked - 1.0))
        } else {
            String::new()
        };
        let way = finer_step(limits, rated, cells, borders, by, rule).map_or_else(
            || {
                "no finer step keeps it: look at the least area of zones and at the limits of rates"
                    .to_owned()
            },
            |step| {
                format!(
                    "a step of {} would keep it (rate.step)",
                    output.nitrogen_rate(step)
                )
            },
        );
        return Some(Finding::caution(
            codes::ZONES_TOTAL,
            format!(
                "the zones hold {}, their cells ask for {}{share}, with rates in steps of {}: {way}",
                mass(held),
                mass(asked),
                output.nitrogen_rate(rule.step)
            ),
        ));
    }
    let (mut canopy, mut within, mut maximum) = (0.0, 0.0, 0.0_f64);
    for cell in cells
        .iter()
        .filter(|cell| cell.kind == Kind::Canopy && cell.follows.is_none())
    {
        canopy += cell.area;
        if cell.n_exact <= rule.step * (1.0 + 1e-9) {
            within += cell.area;
            maximum = maximum.max(cell.n_exact);
        }
    }
    (within >= NEARLY_ALL * canopy && maximum > 0.5 * rule.step && rule.minimum_q <= 0).then(|| {
        Finding::note(
            codes::RATE_ONE_STEP,
            format!(
                "nearly all rates lie between 0 and one step of {}, so that the map knows hardly more than two: a step of {} shows their differences (rate.step)",
                output.nitrogen_rate(rule.step),
                output.nitrogen_rate(rule.step / FINER[1])
            ),
        )
    })
}
