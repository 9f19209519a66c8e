//! Whether the highest rates lie beside ground that is kept clear: wet ground beside a pond is pale too, and needs no nitrogen.

use geo::{Distance as _, Euclidean, Point};

use crate::finding::{Finding, codes};
use crate::map::prescription::CellState;
use crate::pipeline::cell_facts::{BESIDE_WIDTHS, CellFacts};
use crate::pipeline::ground::Ground;
use crate::pipeline::rates::Rated;
use crate::space::crs::{Crs, Projector};
use crate::units::{Area, Length, M_PER_FT};

/// The highest rates: this share of the canopy's area. \[–\]
const HIGHEST: f64 = 0.1;
/// Rates that more than this share of the canopy has are no highest ones. \[–\]
const COMMON: f64 = 0.5;
/// How many times as often as the canopy the highest rates must lie beside it.
const OFTEN: f64 = 2.0;
/// Fewer cells than this are chance.
const MINIMUM_CELLS: usize = 3;

/// Says where the highest tenth of rates lies beside exclusions or holes more than twice as often as the canopy does.
///
/// # Findings
/// `rate.beside_exclusion` (caution) with area and place.
pub(crate) fn finding_of(
    working_width: Length,
    us: bool,
    (ground, facts): (&Ground, &CellFacts),
    rated: &Rated,
) -> Option<Finding> {
    if ground.kept_clear.0.is_empty() {
        return None;
    }
    let reach = working_width.get() * BESIDE_WIDTHS;
    let grid = &ground.grid;
    // Exact rates: rounded ones are alike too often to be ranked.
    let mut ranked: Vec<(usize, f64, f64)> = (0..grid.cells.len())
        .filter(|k| matches!(rated.cells[*k].state, CellState::Canopy | CellState::Thin))
        .map(|k| (k, rated.due[k].exact.get(), grid.cells[k].area))
        .collect();
    ranked.sort_by(|a, b| b.1.total_cmp(&a.1));
    let canopy: f64 = ranked.iter().map(|cell| cell.2).sum();
    let mut sum = 0.0;
    let limit = ranked
        .iter()
        .find(|cell| {
            sum += cell.2;
            sum >= HIGHEST * canopy
        })
        .map(|cell| cell.1)?;
    let top = ranked.partition_point(|cell| cell.1 >= limit);
    let of_top: f64 = ranked[..top].iter().map(|cell| cell.2).sum();
    if limit <= 0.0 || of_top > COMMON * canopy {
        return None;
    }
    let near: Vec<bool> = ranked
        .iter()
        .map(|cell| facts.beside_kept_clear[cell.0])
        .collect();
    let area = |count: usize| -> f64 {
        ranked[..count]
            .iter()
            .zip(&near)
            .filter(|(_, near)| **near)
            .map(|(cell, _)| cell.2)
            .sum()
    };
    let (fed, beside) = (area(top), area(ranked.len()));
    let cells: Vec<usize> = ranked[..top]
        .iter()
        .zip(&near)
        .filter(|(_, near)| **near)
        .map(|(cell, _)| cell.0)
        .collect();
    let often = (fed / of_top, beside / canopy);
    if cells.len() < MINIMUM_CELLS || often.0 <= OFTEN * often.1 {
        return None;
    }
    let patch = maximum_patch(ground, &cells);
    let place = patch
        .first()
        .and_then(|first| middle(facts, &patch).or_else(|| facts.centres[*first]))
        .and_then(|place| {
            Projector::new(&ground.plane.crs, &Crs::wgs84())
                .and_then(|way| way.point(place.x(), place.y()))
                .ok()
        });
    let shown = |m2: f64| {
        if us {
            format!("{:.2} ac", Area::m2(m2).as_ac())
        } else {
            format!("{:.2} ha", m2 / 10_000.0)
        }
    };
    let far = if us {
        format!("{:.0} ft", reach / M_PER_FT)
    } else {
        format!("{reach:.0} m")
    };
    let at = place.map_or_else(String::new, |(longitude, latitude)| {
        format!(", most of it about latitude {latitude:.5}, longitude {longitude:.5}")
    });
    Some(Finding::caution(
        codes::RATE_BESIDE_EXCLUSION,
        format!(
            "{:.0} % of the highest tenth of rates, {}, lies within {far} of exclusions or holes, of the canopy {:.0} %{at}: pale by water? Walk there first; more nitrogen does not help drowned crop",
            100.0 * often.0,
            shown(fed),
            100.0 * often.1
        ),
    ))
}

/// The largest connected group of some cells, by area; of equal ones the first.
fn maximum_patch(ground: &Ground, cells: &[usize]) -> Vec<usize> {
    let mut patch_of: Vec<Option<usize>> = vec![None; ground.grid.cells.len()];
    for &cell in cells {
        patch_of[cell] = Some(cell);
    }
    // Labels sink to the least cell of each group; borders are few beside what is kept clear.
    let mut changed = true;
    while changed {
        changed = false;
        for border in &ground.borders {
            let (a, b) = (border.a as usize, border.b as usize);
            if let (Some(p), Some(q)) = (patch_of[a], patch_of[b])
                && p != q
            {
                (patch_of[a], patch_of[b]) = (Some(p.min(q)), Some(p.min(q)));
                changed = true;
            }
        }
    }
    let mut patches: std::collections::BTreeMap<usize, (f64, Vec<usize>)> =
        std::collections::BTreeMap::new();
    for (cell, patch) in patch_of.iter().enumerate() {
        if let Some(patch) = patch {
            let (area, members) = patches.entry(*patch).or_default();
            *area += ground.grid.cells[cell].area;
            members.push(cell);
        }
    }
    let mut best: (f64, Vec<usize>) = (0.0, Vec::new());
    for (area, members) in patches.into_values() {
        if area > best.0 {
            best = (area, members);
        }
    }
    best.1
}

/// The middle of the cell that lies nearest to the middle of all.
fn middle(facts: &CellFacts, cells: &[usize]) -> Option<Point<f64>> {
    let middles: Vec<Point<f64>> = cells
        .iter()
        .filter_map(|cell| facts.centres[*cell])
        .collect();
    let count = middles.len() as f64;
    let all = middles
        .iter()
        .fold(Point::new(0.0, 0.0), |sum, middle| sum + *middle);
    let all = Point::new(all.x() / count, all.y() / count);
    middles.into_iter().min_by(|a, b| {
        Euclidean
            .distance(&all, a)
            .total_cmp(&Euclidean.distance(&all, b))
    })
}
