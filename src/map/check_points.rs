//! Points of the field where driver and terminal can compare: on even ground of zones of different rates, so that map and grid must show the same number there.

use std::collections::{BTreeMap, VecDeque};

use geo::{
    BoundingRect as _, Centroid as _, Contains as _, Distance as _, Euclidean, MultiPolygon, Point,
    Rect,
};

use crate::map::machine::MachineRates;
use crate::map::prescription::Prescription;
use crate::space::cells::CellShape;
use crate::space::crs::{Crs, CrsError, Projector};

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

/// The rate is the same this far around a point. \[m\] Common practice, no source: a receiver without correction is off by no more.
const EVEN_M: f64 = 5.0;
/// Cells of one zone, or of the field, that are looked at for one point.
const SAMPLED: usize = 60;

/// Up to `count` points, none twice: first the largest zones of different rates (those above 0 before 0), then further zones by area, then the cells farthest from
/// the points chosen. Each point is the centre of the deepest cell of its zone that lies on even ground: the rate is the same within 5 m of it in the machine's zones, and
/// `even` says so too, which is asked with longitude, latitude and rate and knows the grid that the terminal shows.
///
/// # Errors
/// [`CrsError`] when the working plane cannot be transformed to longitude and latitude.
pub fn check_points(
    prescription: &Prescription,
    rates: &MachineRates,
    count: usize,
    even: &dyn Fn(f64, f64, f64) -> bool,
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
    let frame = &prescription.grid.frame;
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
    let way = Projector::new(&prescription.plane, &Crs::wgs84())?;
    let shapes = Shapes::of(prescription, rates);
    let is_even = |cell: usize| {
        let (Some(rate), (u, v)) = (rate[cell], centre(cell)) else {
            return false;
        };
        let (x, y) = frame.to_xy(u, v);
        shapes.even_at(Point::new(x, y), rate)
            && way
                .point(x, y)
                .is_ok_and(|(longitude, latitude)| even(longitude, latitude, rate))
    };

    // Cells of each zone, the deepest first; ties keep row, column order.
    let mut of_zone: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
    for (cell, record) in prescription
        .cells
        .iter()
        .enumerate()
        .filter(|(cell, _)| rate[*cell].is_some() && depth[*cell] > 0)
    {
        of_zone.entry(record.zone).or_default().push(cell);
    }
    for cells in of_zone.values_mut() {
        cells.sort_by_key(|cell| std::cmp::Reverse(depth[*cell]));
        cells.truncate(SAMPLED);
    }
    let mut zones: Vec<(u32, f64, f64)> = prescription
        .zones
        .iter()
        .filter(|zone| of_zone.contains_key(&zone.zone))
        .filter_map(|zone| Some((zone.zone, *exported.get(&zone.zone)?, zone.area.get())))
        .collect();
    zones.sort_by(|a, b| (b.1 > 0.0).cmp(&(a.1 > 0.0)).then(b.2.total_cmp(&a.2)));

    let mut found: BTreeMap<u32, Option<usize>> = BTreeMap::new();
    let mut best_of = |zone: u32| {
        *found.entry(zone).or_insert_with(|| {
            let cells = of_zone.get(&zone).into_iter().flatten();
            cells.copied().find(|cell| is_even(*cell))
        })
    };
    let mut chosen: Vec<(usize, f64)> = Vec::new();
    for different in [true, false] {
        for &(zone, rate, _) in &zones {
            if chosen.len() >= count
                || (different && chosen.iter().any(|(_, shown)| *shown == rate))
            {
                continue;
            }
            if let Some(cell) =
                best_of(zone).filter(|cell| chosen.iter().all(|(other, _)| other != cell))
            {
                chosen.push((cell, rate));
            }
        }
    }
    let minimum_depth = depth.iter().max().map_or(1, |most| most.div_ceil(2).max(1));
    while chosen.len() < count && !chosen.is_empty() {
        let away = |cell: usize| {
            let (u, v) = centre(cell);
            chosen
                .iter()
                .map(|(other, _)| libm::hypot(centre(*other).0 - u, centre(*other).1 - v))
                .fold(f64::INFINITY, f64::min)
        };
        let mut candidates: Vec<(usize, f64, f64)> = (0..cells.len())
            .filter(|cell| depth[*cell] >= minimum_depth)
            .filter_map(|cell| rate[cell].map(|rate| (cell, rate, away(cell))))
            .filter(|candidate| candidate.2 > 0.0)
            .collect();
        candidates.sort_by(|a, b| b.2.total_cmp(&a.2));
        candidates.truncate(SAMPLED);
        match candidates.iter().find(|candidate| is_even(candidate.0)) {
            Some(&(cell, rate, _)) => chosen.push((cell, rate)),
            None => break,
        }
    }

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

/// The machine's zones as far as they cover the field, each with its box and its rate as exported.
struct Shapes<'a> {
    zones: Vec<(Rect<f64>, &'a MultiPolygon<f64>, f64)>,
    field: &'a MultiPolygon<f64>,
}

impl<'a> Shapes<'a> {
    fn of(prescription: &'a Prescription, rates: &MachineRates) -> Self {
        let zones = prescription.zones.iter().zip(&rates.zones);
        Self {
            zones: zones
                .filter_map(|(zone, rate)| {
                    let shape = zone.machine_inside.as_ref().unwrap_or(&zone.outline);
                    Some((shape.bounding_rect()?, shape, rate.exported()))
                })
                .collect(),
            field: &prescription.field,
        }
    }

    /// Whether a place has the rate, and all of the field around it, with no edge of the field nearer.
    fn even_at(&self, place: Point<f64>, rate: f64) -> bool {
        let near = |around: &Rect<f64>| {
            place.x() >= around.min().x - EVEN_M
                && place.x() <= around.max().x + EVEN_M
                && place.y() >= around.min().y - EVEN_M
                && place.y() <= around.max().y + EVEN_M
        };
        let mut here = self
            .zones
            .iter()
            .filter(|zone| near(&zone.0) && Euclidean.distance(&place, zone.1) < EVEN_M);
        let mut rings = self
            .field
            .iter()
            .flat_map(|part| std::iter::once(part.exterior()).chain(part.interiors()));
        here.clone().any(|zone| zone.1.contains(&place))
            && here.all(|zone| zone.2 == rate)
            && rings.all(|ring| Euclidean.distance(&place, ring) >= EVEN_M)
    }
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
    let places = prescription.grid.places();
    let around = |cell: usize| {
        let (part, row, col) = (part_of(cell), cells[cell].row, cells[cell].col);
        (-1..=1)
            .flat_map(move |r| (-1..=1).map(move |c| (row + r, col + c)))
            .filter(move |place| *place != (row, col))
            .map(move |(row, col)| (part, row, col))
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
    let cut: Vec<bool> = (0..cells.len()).map(is_cut).collect();
    for cell in 0..cells.len() {
        if cut[cell] {
            depth[cell] = 0;
        } else if around(cell).any(|place| {
            places
                .find(place)
                .is_none_or(|other| cut[other] || rate[other] != rate[cell])
        }) {
            depth[cell] = 1;
            queue.push_back(cell);
        }
    }
    while let Some(cell) = queue.pop_front() {
        for other in around(cell).filter_map(|place| places.find(place)) {
            if depth[other] == u32::MAX {
                depth[other] = depth[cell] + 1;
                queue.push_back(other);
            }
        }
    }
    depth
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::fixture;
    use crate::map::machine::machine_rates;

    fn points(prescription: &Prescription, count: usize) -> Vec<CheckPoint> {
        check_points(
            prescription,
            &machine_rates(prescription).unwrap().value,
            count,
            &|_, _, _| true,
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
        field.zones[0].outline = field.field.clone();
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
    fn points_keep_off_other_rates_and_edges_and_what_the_grid_blurs() {
        let mut field = fixture::prescription();
        // Zone 1 cut down to stripes of 8 m around the middles of its cells: nowhere 5 m of it on either side.
        let stripe = |from: f64, to: f64| {
            let ring: geo::LineString<f64> = [(0.0, from), (144.0, from), (144.0, to), (0.0, to)]
                .into_iter()
                .map(|(along, left)| fixture::point(along, left))
                .collect();
            geo::Polygon::new(ring, Vec::new())
        };
        let low = |k: i32| f64::from(k) * fixture::CELL;
        field.zones[0].outline = (0..8)
            .map(|k| stripe(low(k) + 8.0, low(k) + 16.0))
            .collect();
        let between = (0..9).map(|k| stripe(low(k) - 8.0, low(k) + 8.0));
        field.zones[2].outline.0.extend(between);
        let found = points(&field, 3);
        assert!(
            found.len() == 3 && found.iter().all(|point| point.zone != 1),
            "{found:?}"
        );
        // A grid that shows zone 3 unblended nowhere but in the east.
        let field = fixture::prescription();
        let rates = machine_rates(&field).unwrap().value;
        let (x, y) = fixture::point(240.0, 60.0);
        let limit = Projector::new(&field.plane, &Crs::wgs84())
            .and_then(|way| way.point(x, y))
            .unwrap()
            .0;
        let east = |longitude: f64, _: f64, rate: f64| rate < 200.0 || longitude > limit;
        let found = check_points(&field, &rates, 3, &east).unwrap();
        assert!(
            found[0].rate > 200.0 && found[0].longitude > limit,
            "{found:?}"
        );
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
