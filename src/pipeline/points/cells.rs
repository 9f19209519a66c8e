//! Readings into cells: the mean of those inside, or kriging from those near.

use geo::{BoundingRect as _, Centroid, Contains, Point};

use super::clean::Kept;
use crate::pipeline::ground::Ground;
use crate::pipeline::scan::{CellSums, ScanError};
use crate::science::points::{Neighbours, Sample, Variogram, krige};
use crate::space::cells::{CellGrid, CellShape};
use crate::space::fixed::Fixed;

/// Places along each side of a cell that stand for its ground.
const SIDE: usize = 4;
/// Cells worked on before another thread's turn is looked at.
const CHUNK: usize = 128;

/// A cell's sums and, when kriged, its standard error.
pub(super) type CellFound = (CellSums, Option<f64>);

/// Positions of the readings in each cell.
pub(super) fn members(ground: &Ground, kept: &[Kept], strips_mapped: bool) -> Vec<Vec<usize>> {
    let mut members = vec![Vec::new(); ground.grid.cells.len()];
    for (at, one) in kept.iter().enumerate() {
        if one.class > 0 && !strips_mapped {
            continue;
        }
        if let Some(cell) = cell_at(&ground.grid, one.sample.x, one.sample.y) {
            members[cell].push(at);
        }
    }
    members
}

/// The cell in whose rectangle a place lies. Along a seam rectangles of both sides may hold it: then it is the cell's whose ground it is.
fn cell_at(grid: &CellGrid, x: f64, y: f64) -> Option<usize> {
    let found = |part: usize| grid.locate(part, x, y);
    if grid.ways() == 1 {
        return found(0);
    }
    let candidates: Vec<usize> = (0..grid.ways()).filter_map(found).collect();
    let holds = |cell: &&usize| {
        grid.cells[**cell].shape == CellShape::Whole
            || grid.outline(**cell).contains(&Point::new(x, y))
    };
    candidates
        .iter()
        .find(holds)
        .or_else(|| candidates.first())
        .copied()
}

fn sums(area: f64, canopy: f64, index: Option<f64>) -> CellSums {
    let canopy_area = area * canopy;
    CellSums {
        seen: Fixed::of(area),
        canopy: Fixed::of(canopy_area),
        weighted: index.map_or_else(Fixed::default, |index| Fixed::of(canopy_area * index)),
    }
}

/// Means of the readings in each cell; a cell with fewer than `minimum` stays unseen.
pub(super) fn means(
    ground: &Ground,
    kept: &[Kept],
    members: &[Vec<usize>],
    minimum: usize,
) -> Vec<CellFound> {
    let one = |(members, cell): (&Vec<usize>, &crate::space::cells::Cell)| {
        if members.len() < minimum {
            return (CellSums::default(), None);
        }
        let green: Vec<f64> = members
            .iter()
            .filter(|at| !kept[**at].bare)
            .map(|at| kept[*at].sample.value)
            .collect();
        let mean = (!green.is_empty()).then(|| green.iter().sum::<f64>() / green.len() as f64);
        (
            sums(cell.area, green.len() as f64 / members.len() as f64, mean),
            None,
        )
    };
    members.iter().zip(&ground.grid.cells).map(one).collect()
}

/// How cells are kriged.
pub(super) struct Rule<'a> {
    /// The variogram.
    pub(super) variogram: &'a Variogram,
    /// Nearest readings of use.
    pub(super) neighbours: usize,
    /// Farthest of them. \[m\]
    pub(super) reach: f64,
    /// Readings needed.
    pub(super) minimum: usize,
    /// Threads.
    pub(super) threads: usize,
    /// Progress; `false` stops.
    pub(super) progress: &'a (dyn Fn(usize, usize) -> bool + Sync),
}

/// Trees of canopy readings, by class of ground: open field first, then each strip.
pub(super) fn trees(kept: &[Kept], strips: usize) -> Vec<Neighbours> {
    let samples: Vec<Sample> = kept.iter().map(|kept| kept.sample).collect();
    (0..=strips)
        .map(|class| Neighbours::of(&samples, |at| kept[at].class == class && !kept[at].bare))
        .collect()
}

/// Kriges every cell from readings of its own ground: a cell whose middle lies in a strip from that strip's, any other from the open field's.
///
/// The edge of a strip is a known step, and kriging across it would smear it. Each cell is an answer of its own, so threads change nothing.
///
/// # Errors
/// [`ScanError::Cancelled`].
pub(super) fn kriged(
    ground: &Ground,
    kept: &[Kept],
    members: &[Vec<usize>],
    trees: &[Neighbours],
    rule: &Rule<'_>,
) -> Result<Vec<CellFound>, ScanError> {
    let cells = ground.grid.cells.len();
    let chunks: Vec<std::ops::Range<usize>> = (0..cells)
        .step_by(CHUNK)
        .map(|start| start..(start + CHUNK).min(cells))
        .collect();
    let (next, done) = (
        std::sync::atomic::AtomicUsize::new(0),
        std::sync::atomic::AtomicUsize::new(0),
    );
    let order = std::sync::atomic::Ordering::Relaxed;
    let stopped = std::sync::atomic::AtomicBool::new(false);
    let work = || {
        let mut own: Vec<(usize, Vec<CellFound>)> = Vec::new();
        while !stopped.load(order) {
            let k = next.fetch_add(1, order);
            let Some(chunk) = chunks.get(k) else { break };
            own.push((
                k,
                chunk
                    .clone()
                    .map(|cell| cell_kriged(ground, cell, kept, &members[cell], trees, rule))
                    .collect(),
            ));
            if !(rule.progress)(done.fetch_add(1, order) + 1, chunks.len()) {
                stopped.store(true, order);
            }
        }
        own
    };
    let mut parts: Vec<(usize, Vec<CellFound>)> = std::thread::scope(|scope| {
        let handles: Vec<_> = (1..rule.threads.min(chunks.len()))
            .map(|_| scope.spawn(work))
            .collect();
        let mut parts = work();
        for handle in handles {
            match handle.join() {
                Ok(own) => parts.extend(own),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        parts
    });
    if stopped.load(order) {
        return Err(ScanError::Cancelled);
    }
    parts.sort_by_key(|(k, _)| *k);
    Ok(parts.into_iter().flat_map(|(_, found)| found).collect())
}

/// The ground of a cell, the class of its middle, and the readings that it is estimated from.
pub(super) fn near(
    ground: &Ground,
    cell: usize,
    trees: &[Neighbours],
    rule: &Rule<'_>,
) -> (Vec<[f64; 2]>, usize, Vec<usize>) {
    let block = block(ground, cell);
    let n = block.len() as f64;
    let (x, y) = (
        block.iter().map(|p| p[0]).sum::<f64>() / n,
        block.iter().map(|p| p[1]).sum::<f64>() / n,
    );
    let class = ground
        .strips
        .iter()
        .position(|strip| strip.contains(&Point::new(x, y)))
        .map_or(0, |strip| strip + 1);
    let readings = trees
        .get(class)
        .map(|tree| tree.nearest(x, y, rule.neighbours, rule.reach, None))
        .unwrap_or_default();
    (block, class, readings)
}

fn cell_kriged(
    ground: &Ground,
    cell: usize,
    kept: &[Kept],
    members: &[usize],
    trees: &[Neighbours],
    rule: &Rule<'_>,
) -> CellFound {
    let area = ground.grid.cells[cell].area;
    let bare = members.iter().filter(|at| kept[**at].bare).count();
    let canopy = if members.is_empty() {
        1.0
    } else {
        1.0 - bare as f64 / members.len() as f64
    };
    if 2 * bare > members.len() {
        // Its own readings show bare ground: what grows around says nothing of it.
        return (sums(area, canopy, None), None);
    }
    let (block, _, readings) = near(ground, cell, trees, rule);
    if readings.len() < rule.minimum {
        return (CellSums::default(), None);
    }
    let samples: Vec<Sample> = readings.into_iter().map(|at| kept[at].sample).collect();
    match krige(&samples, &block, rule.variogram) {
        Some(kriged) => (
            sums(area, canopy, Some(kriged.value)),
            Some(kriged.standard_error),
        ),
        None => (CellSums::default(), None),
    }
}

/// Places that stand for equal parts of a cell: a lattice over its rectangle, less what the field cuts off.
fn block(ground: &Ground, cell: usize) -> Vec<[f64; 2]> {
    let (frame, one) = (
        ground.grid.drive(ground.grid.part_of(cell)),
        &ground.grid.cells[cell],
    );
    let places = |side: usize| {
        let mut places = Vec::with_capacity(side * side);
        for i in 0..side {
            for j in 0..side {
                let part = |k: usize| (k as f64 + 0.5) / side as f64;
                let (x, y) = frame.to_xy(
                    frame.row_start(one.row) + part(i) * frame.length,
                    frame.col_start(one.col) + part(j) * frame.width,
                );
                places.push([x, y]);
            }
        }
        places
    };
    if matches!(one.shape, CellShape::Whole) {
        return places(SIDE);
    }
    let outline = ground.grid.outline(cell);
    let lattice = match outline.bounding_rect() {
        // A cell along a curve is no rectangle of any frame.
        Some(around) if ground.grid.is_curved(ground.grid.part_of(cell)) => {
            let part = |k: usize| (k as f64 + 0.5) / (2 * SIDE) as f64;
            let place = |k: usize| {
                [
                    around.min().x + part(k / (2 * SIDE)) * around.width(),
                    around.min().y + part(k % (2 * SIDE)) * around.height(),
                ]
            };
            (0..4 * SIDE * SIDE).map(place).collect()
        }
        _ => places(2 * SIDE),
    };
    let inside: Vec<[f64; 2]> = lattice
        .into_iter()
        .filter(|p| outline.contains(&Point::new(p[0], p[1])))
        .collect();
    if inside.is_empty() {
        outline
            .centroid()
            .map_or_else(|| places(1), |c| vec![[c.x(), c.y()]])
    } else {
        inside
    }
}
