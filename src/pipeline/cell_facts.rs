//! What ground and pixels say of every cell, whatever rates are asked for: worked out once, and used by every decision.

use geo::{BooleanOps as _, Centroid as _, Contains as _, Point};

use crate::job::settings::Machine;
use crate::pipeline::ground::Ground;
use crate::pipeline::looked::Looked;
use crate::pipeline::overrun::{Margin, filled, margin_of};
use crate::pipeline::share::{Measured, measured};
use crate::space::lay::{LayError, cells_along};
use crate::space::polygon::{grown, oriented};

/// A cell below this share of a full one is a sliver.
const SLIVER: f64 = 0.01;
/// A cell belongs to the headland when more than this share of it lies there. \[–\]
const MOSTLY: f64 = 0.5;

/// Facts of cells, each list in grid order.
#[derive(Clone, Debug)]
pub struct CellFacts {
    /// Centroids, on the plane. \[m\]
    pub centres: Vec<Option<Point<f64>>>,
    /// Whether the centroid lies in a strip.
    pub in_strip: Vec<bool>,
    /// The cell that a sliver follows.
    pub follows: Vec<Option<u32>>,
    /// Whether more than half of the cell lies in the headland; `None` when the headland has no rule of its own.
    pub in_headland: Option<Vec<bool>>,
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
    pub fn of(ground: &Ground, looked: &Looked, machine: &Machine) -> Result<Self, LayError> {
        let centres: Vec<Option<Point<f64>>> = (0..ground.grid.cells.len())
            .map(|k| ground.grid.outline(k).centroid())
            .collect();
        let in_strip = centres
            .iter()
            .map(|c| c.is_some_and(|c| ground.strips.iter().any(|strip| strip.contains(&c))))
            .collect();
        Ok(Self {
            in_strip,
            follows: slivers(ground),
            in_headland: in_headland(ground, machine)?,
            margin: margin_of(ground, &centres, machine.overrun)?,
            share: measured(ground, looked),
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
    let inside = ground
        .driven
        .iter()
        .enumerate()
        .map(|(part, driven)| {
            cells_along(
                &oriented(&driven.region.intersection(&inner)),
                &ground.grid.way(part),
            )
        })
        .collect::<Result<Vec<_>, _>>()?;
    let inner_area = |part: usize, row: i32, col: i32| {
        inside[part]
            .find(0, row, col)
            .map_or(0.0, |k| inside[part].cells[k].area)
    };
    let lies_in = |(k, cell): (usize, &crate::space::cells::Cell)| {
        cell.area - inner_area(ground.grid.part_of(k), cell.row, cell.col) > MOSTLY * cell.area
    };
    Ok(Some(
        ground.grid.cells.iter().enumerate().map(lies_in).collect(),
    ))
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
