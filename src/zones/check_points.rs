//! Points of the field where driver and terminal can compare: deep inside zones of different rates, so that map and grid must show the same number there.

use std::collections::{BTreeMap, VecDeque};

use geo::{Centroid as _, Contains as _};

use crate::space::cells::CellShape;
use crate::space::crs::{Crs, CrsError, Projector};
use crate::units::Length;
use crate::zones::machine::MachineRates;
use crate::zones::prescription::Prescription;

/// A place and what a screen must show there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CheckPoint {
    /// Longitude on WGS 84. \[°\]
    pub longitude: f64,
    /// Latitude on WGS 84. \[°\]
    pub latitude: f64,
    /// On the working plane. \[m\]
    pub plane: (f64, f64),
    /// Number of the zone.
    pub zone: u32,
    /// The rate in the unit of the machine file, rounded as exported.
    pub rate: f64,
    /// Cells to the nearest other rate or edge, this one counted: 1 lies beside one.
    pub depth: u32,
}

/// Up to `count` points, none twice: first the largest zones of different rates (those above 0 before 0), then further zones by area, then the cells farthest from
/// the points chosen. Zones too narrow to be shown unblended by a coarse grid come last. Each point is the centre of the zone's deepest cell.
///
/// # Errors
/// [`CrsError`] when the working plane cannot be carried into longitude and latitude.
pub fn check_points(
    prescription: &Prescription,
    rates: &MachineRates,
    count: usize,
) -> Result<Vec<CheckPoint>, CrsError> {
    let cells = &prescription.grid.cells;
    let exported: BTreeMap<u32, f64> = rates
        .zones
        .iter()
        .map(|zone| (zone.zone, zone.exported()))
        .collect();
    let rate: Vec<Option<f64>> = prescription
        .cells
        .iter()
        .map(|cell| exported.get(&cell.zone).copied())
        .collect();
    let depth = depths(prescription, &rate);

    // The deepest cell of each zone; ties keep the first in row, column order.
    let mut deepest: BTreeMap<u32, usize> = BTreeMap::new();
    for (cell, record) in prescription
        .cells
        .iter()
        .enumerate()
        .filter(|(cell, _)| rate[*cell].is_some() && depth[*cell] > 0)
    {
        let best = deepest.entry(record.zone).or_insert(cell);
        if depth[cell] > depth[*best] {
            *best = cell;
        }
    }
    let frame = &prescription.grid.frame;
    let side = frame.length.min(frame.width);
    // A task grid's cell is half the machine's, 5 m at least; its diagonal must fit between point and border.
    let ahead = prescription.look_ahead.map_or(0.0, Length::get);
    let clear = 1.5
        * (side / 2.0)
            .max(prescription.machine.working_width.get() / 2.0)
            .max(5.0)
        + ahead;
    let is_clear = |cell: usize| (f64::from(depth[cell]) - 0.5) * side >= clear;
    let mut zones: Vec<(usize, f64, f64)> = prescription
        .zones
        .iter()
        .filter_map(|zone| {
            deepest
                .get(&zone.zone)
                .and_then(|cell| rate[*cell].map(|rate| (*cell, rate, zone.area.get())))
        })
        .collect();
    // Where machine files look ahead, a place nearer to another rate than they are shifted shows that one.
    zones.retain(|zone| ahead <= 0.0 || is_clear(zone.0));
    zones.sort_by(|a, b| {
        is_clear(b.0)
            .cmp(&is_clear(a.0))
            .then((b.1 > 0.0).cmp(&(a.1 > 0.0)))
            .then(b.2.total_cmp(&a.2))
    });

    let mut chosen: Vec<(usize, f64)> = Vec::new();
    for different in [true, false] {
        for &(cell, rate, _) in &zones {
            let known = chosen
                .iter()
                .any(|(other, shown)| *other == cell || (different && *shown == rate));
            if !known && chosen.len() < count {
                chosen.push((cell, rate));
            }
        }
    }
    let grid = &prescription.grid;
    // In the grid's own frame: of a grid in parts, on the plane.
    let centre = |cell: usize| {
        if let Some(middle) = grid
            .is_curved(grid.part_of(cell))
            .then(|| middle(prescription, cell))
            .flatten()
        {
            return middle;
        }
        let frame = grid.drive(grid.part_of(cell));
        let (u, v) = (
            frame.row_start(cells[cell].row) + frame.length / 2.0,
            frame.col_start(cells[cell].col) + frame.width / 2.0,
        );
        if grid.parts.is_empty() {
            (u, v)
        } else {
            frame.to_xy(u, v)
        }
    };
    let least_depth = depth.iter().max().map_or(1, |most| most.div_ceil(2).max(1));
    while chosen.len() < count && !chosen.is_empty() {
        let away = |cell: usize| {
            let (u, v) = centre(cell);
            chosen
                .iter()
                .map(|(other, _)| libm::hypot(centre(*other).0 - u, centre(*other).1 - v))
                .fold(f64::INFINITY, f64::min)
        };
        let candidates = (0..cells.len())
            .filter(|cell| depth[*cell] >= least_depth && (ahead <= 0.0 || is_clear(*cell)))
            .filter_map(|cell| rate[cell].map(|rate| (cell, rate, away(cell))));
        match candidates.reduce(|best, next| if next.2 > best.2 { next } else { best }) {
            Some((cell, rate, far)) if far > 0.0 => chosen.push((cell, rate)),
            _ => break,
        }
    }

    let way = Projector::new(&prescription.plane, &Crs::wgs84())?;
    let point = |(cell, rate): (usize, f64)| {
        let (u, v) = centre(cell);
        let (x, y) = frame.to_xy(u, v);
        let (longitude, latitude) = way.point(x, y)?;
        Ok(CheckPoint {
            longitude,
            latitude,
            plane: (x, y),
            zone: prescription.cells[cell].zone,
            rate,
            depth: depth[cell],
        })
    };
    chosen.into_iter().map(point).collect()
}

/// The middle of a cell that is one piece with its middle in it.
fn middle(prescription: &Prescription, cell: usize) -> Option<(f64, f64)> {
    let outline = prescription.grid.outline(cell);
    let centre = outline
        .centroid()
        .filter(|centre| outline.0.len() == 1 && outline.contains(centre))?;
    Some((centre.x(), centre.y()))
}

/// Steps from each cell, in any of eight directions, to the nearest cell that is cut, missing or of another rate; 0 for a cut cell itself.
fn depths(prescription: &Prescription, rate: &[Option<f64>]) -> Vec<u32> {
    let cells = &prescription.grid.cells;
    let part_of = |cell: usize| prescription.grid.part_of(cell);
    let places: BTreeMap<(usize, i32, i32), usize> = cells
        .iter()
        .enumerate()
        .map(|(cell, shape)| ((part_of(cell), shape.row, shape.col), cell))
        .collect();
    let around = |cell: usize| {
        let (part, row, col) = (part_of(cell), cells[cell].row, cells[cell].col);
        (-1..=1)
            .flat_map(move |r| (-1..=1).map(move |c| (part, row + r, col + c)))
            .filter(move |place| *place != (part, row, col))
    };
    let mut depth = vec![u32::MAX; cells.len()];
    let mut queue = VecDeque::new();
    // The centre of a cut cell may lie outside the field: depth 0, never a point.
    // Cells along a curve are no rectangles: there a cell will do whose middle lies in it.
    let is_cut = |cell: usize| {
        let curved = prescription.grid.is_curved(part_of(cell));
        if curved {
            middle(prescription, cell).is_none()
        } else {
            cells[cell].shape != CellShape::Whole
        }
    };
    for cell in 0..cells.len() {
        if is_cut(cell) {
            depth[cell] = 0;
        } else if around(cell).any(|place| {
            places
                .get(&place)
                .is_none_or(|other| is_cut(*other) || rate[*other] != rate[cell])
        }) {
            depth[cell] = 1;
            queue.push_back(cell);
        }
    }
    while let Some(cell) = queue.pop_front() {
        for other in around(cell).filter_map(|place| places.get(&place)) {
            if depth[*other] == u32::MAX {
                depth[*other] = depth[cell] + 1;
                queue.push_back(*other);
            }
        }
    }
    depth
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::zones::fixture;
    use crate::zones::machine::machine_rates;

    fn points(prescription: &Prescription, count: usize) -> Vec<CheckPoint> {
        check_points(
            prescription,
            &machine_rates(prescription).unwrap().value,
            count,
        )
        .unwrap()
    }

    /// Metres along the drive and to its left, from the field's corner.
    fn place(point: &CheckPoint) -> (f64, f64) {
        let (x, y) = Projector::new(&Crs::wgs84(), &fixture::prescription().plane)
            .unwrap()
            .point(point.longitude, point.latitude)
            .unwrap();
        let (u, v) = fixture::frame().to_uv(x, y);
        (u - fixture::frame().u0, v - fixture::frame().v0)
    }

    #[test]
    fn the_largest_zones_of_different_rates_first() {
        let found = points(&fixture::prescription(), 3);
        // UAN 28 of 1.28 kg/L: 90, 60 and 0 kg N/ha are 251.12, 167.41 and 0 L/ha.
        assert_eq!(
            found
                .iter()
                .map(|point| (point.zone, point.rate))
                .collect::<Vec<_>>(),
            [(3, 251.12), (1, 167.41), (2, 0.0)]
        );
        for point in &found {
            let (along, left) = place(point);
            let zone = if (48.0..96.0).contains(&along) && (48.0..120.0).contains(&left) {
                2
            } else if along < 144.0 {
                1
            } else {
                3
            };
            assert_eq!(zone, point.zone, "{along} {left}");
        }
    }

    #[test]
    fn one_zone_gives_points_far_apart() {
        let mut field = fixture::prescription();
        field.cells.iter_mut().for_each(|cell| cell.zone = 1);
        field.zones.truncate(1);
        let found = points(&field, 3);
        assert_eq!(found.len(), 3);
        let places: Vec<(f64, f64)> = found.iter().map(place).collect();
        for (i, a) in places.iter().enumerate() {
            assert!(
                places[..i]
                    .iter()
                    .all(|b| libm::hypot(a.0 - b.0, a.1 - b.1) > 48.0),
                "{places:?}"
            );
        }
    }

    #[test]
    fn no_point_where_every_cell_is_cut() {
        let mut field = fixture::prescription();
        for cell in &mut field.grid.cells {
            cell.shape = CellShape::Cut(Vec::new());
        }
        assert!(points(&field, 3).is_empty());
    }
}
