//! What ground and pixels say of every cell, whatever rates are asked for: worked out once, and used by every decision.

use geo::{
    BooleanOps as _, BoundingRect as _, Centroid as _, Contains as _, Distance as _, Euclidean,
    MultiPolygon, Point,
};

use crate::job::settings::Machine;
use crate::pipeline::ground::Ground;
use crate::pipeline::overrun::{Margin, filled, margin_of};
use crate::pipeline::share::{Measured, measured};
use crate::pipeline::survey::Survey;
use crate::space::cells::Cell;
use crate::space::lay::{LayError, cells_along};
use crate::space::polygon::{grown, oriented};
use crate::units::Length;

/// A cell below this share of a full one is a sliver.
const SLIVER: f64 = 0.01;
/// A cell belongs to the headland when more than this share of it lies there. \[–\]
const MOSTLY: f64 = 0.5;
/// Ground within so many working widths lies beside what is kept clear.
pub const BESIDE_WIDTHS: f64 = 2.0;

/// Facts of cells, each list in grid order.
#[derive(Clone, Debug)]
pub struct CellFacts {
    /// Centroids, on the plane. \[m\]
    pub centres: Vec<Option<Point<f64>>>,
    /// Whether the centroid lies in a strip.
    pub in_strip: Vec<bool>,
    /// Whether the centroid lies beside ground that is kept clear.
    pub beside_kept_clear: Vec<bool>,
    /// The cell that a sliver follows.
    pub follows: Vec<Option<u32>>,
    /// Whether more than half of the cell lies in the headland; `None` when the headland has no rule of its own.
    pub in_headland: Option<Vec<bool>>,
    /// The last table of `rate.set` that more than half of the cell lies in; no list where the job sets no rate.
    pub set: Vec<Option<u32>>,
    /// Cells that lie in more than one of them.
    pub set_twice: usize,
    /// Cells outside the field that carry its rates outwards; `None` without overrun.
    pub margin: Option<Margin>,
    /// The nitrogen share as it was measured, or why it is not known.
    pub share: Measured,
}

impl CellFacts {
    /// From ground, pixels and strips, and the machine's headland and overrun.
    ///
    /// # Errors
    /// [`LayError`] when headland or margin cannot be cut into cells.
    pub fn of(ground: &Ground, survey: &Survey, machine: &Machine) -> Result<Self, LayError> {
        let centres: Vec<Option<Point<f64>>> = (0..ground.grid.cells.len())
            .map(|k| ground.grid.outline(k).centroid())
            .collect();
        let in_strip = centres
            .iter()
            .map(|c| c.is_some_and(|c| ground.strips.iter().any(|strip| strip.contains(&c))))
            .collect();
        let (set, set_twice) = set_of(ground)?;
        Ok(Self {
            set,
            set_twice,
            in_strip,
            beside_kept_clear: beside_kept_clear(
                &ground.kept_clear,
                &centres,
                machine.working_width,
            ),
            follows: slivers(ground),
            in_headland: in_headland(ground, machine)?,
            margin: margin_of(ground, &centres, machine.overrun)?,
            share: measured(ground, survey),
            centres,
        })
    }
}

/// Which cells lie in the headland: what lies within so many working widths of the boundary's outer edge.
fn in_headland(ground: &Ground, machine: &Machine) -> Result<Option<Vec<bool>>, LayError> {
    let Some(headland) = machine.headland else {
        return Ok(None);
    };
    let depth = machine.working_width * f64::from(headland.passes);
    let inner = grown(&filled(&ground.boundary), -depth.get());
    let mostly_inner = mostly_in(ground, &inner)?;
    Ok(Some(
        mostly_inner
            .into_iter()
            .map(|(_, outside)| outside)
            .collect(),
    ))
}

/// For each cell whether more than half of it lies in a shape, and whether more than half of it lies outside.
fn mostly_in(ground: &Ground, shape: &MultiPolygon<f64>) -> Result<Vec<(bool, bool)>, LayError> {
    let inside = ground
        .driven
        .iter()
        .enumerate()
        .map(|(part, driven)| {
            cells_along(
                &oriented(&driven.region.intersection(shape)),
                &ground.grid.way(part),
            )
        })
        .collect::<Result<Vec<_>, _>>()?;
    let inner_area = |part: usize, row: i32, col: i32| {
        inside[part]
            .find(0, row, col)
            .map_or(0.0, |k| inside[part].cells[k].area)
    };
    let lies = |(k, cell): (usize, &Cell)| {
        let inner = inner_area(ground.grid.part_of(k), cell.row, cell.col);
        let half = MOSTLY * cell.area;
        (inner > half, cell.area - inner > half)
    };
    Ok(ground.grid.cells.iter().enumerate().map(lies).collect())
}

/// Which table of `rate.set` each cell lies in, the last where there are several, and how many cells lie in several.
fn set_of(ground: &Ground) -> Result<(Vec<Option<u32>>, usize), LayError> {
    if ground.set.is_empty() {
        return Ok((Vec::new(), 0));
    }
    let mut set_of = vec![None; ground.grid.cells.len()];
    let mut twice = vec![false; set_of.len()];
    for (shape, table) in ground.set.iter().zip(0..) {
        for (k, (inside, _)) in mostly_in(ground, shape)?.into_iter().enumerate() {
            if inside {
                twice[k] = set_of[k].replace(table).is_some();
            }
        }
    }
    Ok((set_of, twice.into_iter().filter(|twice| *twice).count()))
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

/// For each cell whether its middle lies beside ground that is kept clear.
fn beside_kept_clear(
    kept_clear: &MultiPolygon<f64>,
    centres: &[Option<Point<f64>>],
    working_width: Length,
) -> Vec<bool> {
    let reach = working_width.get() * BESIDE_WIDTHS;
    centres
        .iter()
        .map(|centre| centre.is_some_and(|middle| lies_within(middle, kept_clear, reach)))
        .collect()
}

fn lies_within(place: Point<f64>, shape: &MultiPolygon<f64>, reach: f64) -> bool {
    shape.iter().any(|part| {
        part.bounding_rect().is_some_and(|around| {
            place.x() >= around.min().x - reach
                && place.x() <= around.max().x + reach
                && place.y() >= around.min().y - reach
                && place.y() <= around.max().y + reach
        }) && Euclidean.distance(&place, part) <= reach
    })
}
