//! Refuses maps whose coordinates no place can have, before anything is computed from them.

use std::path::Path;

use geo::Coord;

use crate::format::extent::Extent;
use crate::format::maps::MapError;
use crate::map::imported::{ImportedMap, System};

/// Beyond this no system has a place, whatever it is called.
const MAXIMUM_DISTANCE: f64 = 1e8;

/// Refuses the first vertex where no place can be. `explained`: a check tells by itself of maps whose numbers are all those of another system, or stand in the
/// wrong order, and says more than a single vertex would.
pub(super) fn check(map: &ImportedMap, path: &Path, explained: bool) -> Result<(), MapError> {
    let extent = match &map.system {
        System::Known(crs) => Extent::of(crs),
        System::Missing(_) => Extent::unknown(),
    };
    let places = places(map);
    let degrees = |c: &Coord<f64>| Extent::like_degrees(c.x, c.y);
    let all = |test: &dyn Fn(&Coord<f64>) -> bool| places.iter().all(|(_, _, c)| test(c));
    let near = all(&|c| c.x.abs().max(c.y.abs()) < MAXIMUM_DISTANCE);
    let notice_of_check = near
        && if extent.is_geographic() {
            // Exchanged, or all of them numbers of another system.
            all(&|c| Extent::like_degrees(c.y, c.x)) || all(&|c| !degrees(c))
        } else {
            all(&degrees)
        };
    let missing = map.system.known().is_none();
    if explained && notice_of_check || places.is_empty() {
        return Ok(());
    }
    let problem = |c: &Coord<f64>| {
        if !missing && !extent.is_geographic() && degrees(c) && notice_of_check {
            return Some(
                "looks like longitude and latitude, and the system is one of metres".to_owned(),
            );
        }
        extent.problem(c.x, c.y)
    };
    let found = places
        .iter()
        .find_map(|(patch, vertex, c)| Some((*patch, *vertex, c, problem(c)?)));
    found.map_or(Ok(()), |(patch, vertex, c, problem)| {
        Err(MapError::Place {
            path: path.to_owned(),
            place: map
                .patches
                .get(patch)
                .map_or_else(|| "corner".to_owned(), |patch| patch.place.to_string()),
            vertex,
            x: c.x,
            y: c.y,
            problem,
        })
    })
}

/// Every vertex with the patch that it belongs to; of a raster its corners.
fn places(map: &ImportedMap) -> Vec<(usize, usize, Coord<f64>)> {
    if let Some(lattice) = &map.lattice {
        let (last_col, last_row) = (
            lattice.cols.saturating_sub(1),
            lattice.rows.saturating_sub(1),
        );
        return vec![
            (usize::MAX, 1, lattice.cell(0, 0).0),
            (usize::MAX, 2, lattice.cell(last_col, last_row).1),
        ];
    }
    map.patches
        .iter()
        .enumerate()
        .flat_map(|(patch, own)| {
            let rings = own.parts.iter().flat_map(|part| &part.rings);
            rings
                .flat_map(|ring| ring.points.iter())
                .enumerate()
                .map(move |(k, c)| (patch, k + 1, *c))
        })
        .collect()
}
