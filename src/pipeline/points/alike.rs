//! Over what ground kriging errors are alike: neighbouring cells rest on the same readings, and miss the truth together.

use geo::Centroid as _;

use super::cells::{CellFound, Rule, near};
use super::clean::Kept;
use crate::pipeline::ground::Ground;
use crate::science::points::{Estimated, Neighbours, error_covariance, kriging_weights};

/// Cells that are looked at.
const MAXIMUM_CELLS: usize = 24;
/// Cells around one that are looked at, in a circle: errors forget each other well within it.
const MAXIMUM_AROUND: f64 = 400.0;

/// The area that a cell's kriging error is worth: Σ covariance with every other cell's × area, over its own variance, in the mean over cells spread over
/// the open field, and never less than a cell. Errors that are alike in squares of it, and independent between them, give the field's mean the same
/// variance. \[m²\]
///
/// `None` without kriged cells.
pub(super) fn alike_area(
    ground: &Ground,
    kept: &[Kept],
    found: &[CellFound],
    trees: &[Neighbours],
    rule: &Rule<'_>,
) -> Option<f64> {
    let cells = &ground.grid.cells;
    let estimated = |cell: usize| -> Option<(usize, Estimated)> {
        let (block, class, readings) = near(ground, cell, trees, rule);
        let samples: Vec<_> = readings.iter().map(|at| kept[*at].sample).collect();
        let weights = kriging_weights(&samples, &block, rule.variogram)?;
        let readings = readings
            .into_iter()
            .zip(samples)
            .zip(weights)
            .map(|((at, sample), weight)| (at, sample, weight))
            .collect();
        Some((class, Estimated { block, readings }))
    };
    let kriged: Vec<usize> = (0..found.len())
        .filter(|cell| found[*cell].1.is_some_and(|error| error > 0.0))
        .collect();
    // Wherever a cell lies, along whatever way it is driven.
    let middles: Vec<(f64, f64)> = kriged
        .iter()
        .map(|cell| {
            ground
                .grid
                .outline(*cell)
                .centroid()
                .map_or((f64::NAN, f64::NAN), |middle| (middle.x(), middle.y()))
        })
        .collect();
    let (mut areas, mut count) = (0.0, 0.0);
    for at in (0..kriged.len()).step_by(kriged.len().div_ceil(MAXIMUM_CELLS).max(1)) {
        let cell = kriged[at];
        let Some((0, own)) = estimated(cell) else {
            continue;
        };
        let variance = error_covariance(&own, &own, rule.variogram);
        if variance <= 0.0 {
            continue;
        }
        let frame = ground.grid.drive(ground.grid.part_of(cell));
        let whole = frame.length * frame.width;
        // Beyond the reach of both no reading is shared.
        let shared = 2.0 * rule.reach + libm::hypot(frame.length, frame.width);
        let farthest = shared.min(libm::sqrt(MAXIMUM_AROUND * whole / core::f64::consts::PI));
        let (x, y) = middles[at];
        let mut sum = variance * cells[cell].area;
        for (&other, middle) in kriged.iter().zip(&middles) {
            let near = libm::hypot(middle.0 - x, middle.1 - y) <= farthest;
            if other == cell || !near {
                continue;
            }
            // A strip's cells rest on the strip's readings.
            if let Some((0, theirs)) = estimated(other) {
                sum += error_covariance(&own, &theirs, rule.variogram) * cells[other].area;
            }
        }
        areas += (sum / variance).max(whole);
        count += 1.0;
    }
    (count > 0.0).then(|| areas / count)
}
