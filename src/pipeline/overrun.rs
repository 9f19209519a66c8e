//! Carries rates outwards over the field's edge, for machine files only.
//!
//! A terminal that looks ahead must not starve the end of a pass, so the ground just outside the boundary carries the rate of the nearest cell. Not into holes of the
//! boundary, not onto exclusions, and not across a hard edge. Totals stay in the field.

use geo::{
    Area as _, BooleanOps as _, Centroid, Coord, Intersects, Line, LineString, MapCoords as _,
    MultiPolygon, Point, Polygon, RemoveRepeatedPoints as _, coord,
};
use rstar::RTree;
use rstar::primitives::GeomWithData;

use crate::pipeline::ground::Ground;
use crate::space::cells::CellGrid;
use crate::space::cut::cut;
use crate::space::lay::{LayError, lay};
use crate::space::polygon::{grown, grown_by_tolerance, joined, less, oriented};
use crate::space::regions::split;
use crate::space::valid::is_valid;
use crate::units::Length;
use crate::zones::outline::outlines;

/// Holes below this came from joining. \[m²\]
const SLIT_TOLERANCE: f64 = 0.01;
/// How far zone and margin are bridged where they do not meet by rounding. \[m\] Beyond the ends of their common line both grow by no more than that.
const BRIDGE: f64 = 1e-4;
/// Coarser than any coordinate in a file for machines. \[m\]
const SNAP: f64 = 1e-3;

/// The boundary without its holes.
pub(crate) fn filled(boundary: &MultiPolygon<f64>) -> MultiPolygon<f64> {
    MultiPolygon::new(
        boundary
            .0
            .iter()
            .map(|part| Polygon::new(part.exterior().clone(), Vec::new()))
            .collect(),
    )
}

/// Cells of the ground just outside the field, each with the cell of the field whose rate it carries.
#[derive(Clone, Debug)]
pub struct Margin {
    grid: CellGrid,
    /// The cell of the field, where one is near enough and nothing lies between.
    hosts: Vec<Option<usize>>,
}

impl Margin {
    /// What each zone gets outside the field, zone by zone: parts to be added to its outline in machine files.
    ///
    /// `zone_of` is the zone of each cell of the field, from 1; `zones` how many there are.
    pub fn outlines(&self, zone_of: &[u32], zones: usize) -> Vec<MultiPolygon<f64>> {
        let label: Vec<u32> = self
            .hosts
            .iter()
            .map(|host| host.map_or(0, |host| zone_of[host]))
            .collect();
        outlines(&self.grid, &label, zones as u32)
    }
}

/// The margin that carries rates `distance` outwards; `None` without a distance or without cells. `centres` are the cells' centroids.
///
/// # Errors
/// [`LayError`] when the margin would have too many cells, or cannot be shared out among areas.
pub fn margin_of(
    ground: &Ground,
    centres: &[Option<Point<f64>>],
    distance: Length,
) -> Result<Option<Margin>, LayError> {
    let distance = distance.get();
    let inner = filled(&ground.boundary);
    if distance <= 0.0 || centres.is_empty() {
        return Ok(None);
    }
    let margin = oriented(&less(
        &less(&grown(&inner, distance), &inner),
        &ground.exclusions,
    ));
    let margin_grid = if ground.grid.parts.is_empty() {
        cut(&margin, ground.grid.frame)?
    } else {
        lay(
            &split(&margin, &ground.areas_reaching(distance))?,
            &ground.ways(),
        )?
        .0
    };
    // Only cells that the field's edge cuts can be nearest; a field of whole cells alone offers them all.
    let at_edge = |(k, centre): (usize, &Option<Point<f64>>)| {
        centre.map(|c| GeomWithData::new([c.x(), c.y()], k))
    };
    let tree = RTree::bulk_load(centres.iter().enumerate().filter_map(at_edge).collect());
    let mut hosts = vec![None; margin_grid.cells.len()];
    for (k, cell) in margin_grid.cells.iter().enumerate() {
        let Some(centre) = margin_grid.outline(k).centroid() else {
            continue;
        };
        let same = ground.grid.find(margin_grid.part_of(k), cell.row, cell.col);
        let nearest = same.or_else(|| {
            tree.nearest_neighbor([centre.x(), centre.y()])
                .map(|found| found.data)
        });
        let Some(host) = nearest else { continue };
        let Some(home) = centres[host] else {
            continue;
        };
        // Beyond an exclusion at the edge the nearest cell may be far: nothing is carried over it.
        let reach = distance + ground.grid.frame.length.max(ground.grid.frame.width) * 1.5;
        if distance_between(home, centre) > reach {
            continue;
        }
        let way = Line::new(home.0, centre.0);
        if ground.hard_edges.iter().any(|edge| edge.intersects(&way))
            || ground.kept_clear.intersects(&way)
        {
            continue;
        }
        hosts[k] = Some(host);
    }
    Ok(Some(Margin {
        grid: margin_grid,
        hosts,
    }))
}

fn distance_between(a: Point<f64>, b: Point<f64>) -> f64 {
    libm::hypot(a.x() - b.x(), a.y() - b.y())
}

/// Joins the parts that are carried outwards to an outline, so that outline and margin are one shape and not two that share a line.
pub fn with_margin(outline: &MultiPolygon<f64>, margin: MultiPolygon<f64>) -> MultiPolygon<f64> {
    let parts: Vec<Polygon<f64>> = margin
        .0
        .into_iter()
        .filter(|part| part.unsigned_area() > 1.0)
        .collect();
    if parts.is_empty() {
        return outline.clone();
    }
    // Where both lie slightly apart, the union keeps slits that are no holes of the field.
    let without_narrow_gaps = |part: Polygon<f64>| {
        let (exterior, holes) = part.into_inner();
        Polygon::new(
            exterior,
            holes
                .into_iter()
                .filter(|hole| {
                    Polygon::new(hole.clone(), Vec::new()).unsigned_area() > SLIT_TOLERANCE
                })
                .collect(),
        )
    };
    let (own, margin) = (oriented(outline), oriented(&MultiPolygon::new(parts)));
    let closed = |shapes: &[MultiPolygon<f64>]| -> MultiPolygon<f64> {
        oriented(
            &joined(shapes)
                .into_iter()
                .map(without_narrow_gaps)
                .collect(),
        )
    };
    let whole = closed(&[own.clone(), margin.clone()]);
    let sound = is_valid(&snapped(&whole));
    if sound && whole.0.len() <= own.0.len() {
        return whole;
    }
    // A slit that is open at one end is part of the outline, and crosses it once coordinates are rounded; one that is open at both ends parts the two: what lies
    // between them is put into it.
    let between =
        grown_by_tolerance(&own, BRIDGE).intersection(&grown_by_tolerance(&margin, BRIDGE));
    let bridged: MultiPolygon<f64> = closed(&[own, margin, between])
        .into_iter()
        .map(without_steps)
        .collect();
    let better = !sound || bridged.0.len() < whole.0.len();
    if better && is_valid(&snapped(&bridged)) {
        bridged
    } else {
        whole
    }
}

/// A polygon without vertices that lie beside one another as the ends of a bridge do: rounded for a file, such a step turns into a spike.
fn without_steps(polygon: Polygon<f64>) -> Polygon<f64> {
    let ring = |ring: LineString<f64>| {
        let mut kept: Vec<Coord<f64>> = Vec::new();
        let beside =
            |a: &Coord<f64>, b: &Coord<f64>| libm::hypot(a.x - b.x, a.y - b.y) <= 3.0 * BRIDGE;
        for place in &ring {
            if !kept.last().is_some_and(|last| beside(last, place)) {
                kept.push(*place);
            }
        }
        while kept.len() > 1 && kept.last().is_some_and(|last| beside(last, &kept[0])) {
            kept.pop();
        }
        if kept.len() < 3 {
            return ring;
        }
        let mut kept = LineString::new(kept);
        kept.close();
        kept
    };
    let (exterior, holes) = polygon.into_inner();
    Polygon::new(ring(exterior), holes.into_iter().map(ring).collect())
}

/// A shape with coordinates as coarse as any file rounds them, without points that fall together.
fn snapped(shape: &MultiPolygon<f64>) -> MultiPolygon<f64> {
    let at = |value: f64| libm::round(value / SNAP) * SNAP;
    shape
        .map_coords(|c| coord! { x: at(c.x), y: at(c.y) })
        .remove_repeated_points()
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Rect, Rotate as _, Translate as _, Validation as _};

    fn rectangle(west: f64, south: f64, east: f64, north: f64) -> Polygon<f64> {
        Rect::new(coord! { x: west, y: south }, coord! { x: east, y: north }).to_polygon()
    }

    #[test]
    fn margin_and_zone_are_one_shape() {
        let pond = rectangle(40.0, 40.0, 60.0, 60.0).exterior().clone();
        let zone = MultiPolygon::new(vec![Polygon::new(
            rectangle(0.0, 0.0, 100.0, 100.0).exterior().clone(),
            vec![pond],
        )]);
        // Along the whole of one side, a part of another that lies a hair off, and a crumb.
        let margin = MultiPolygon::new(vec![
            rectangle(-12.0, 0.0, 0.0, 100.0),
            rectangle(100.0 + 1e-9, 20.0, 112.0, 80.0),
            rectangle(100.0, 0.0, 100.5, 0.5),
        ]);
        let whole = with_margin(&zone, margin);
        assert!(whole.is_valid(), "{:?}", whole.check_validation());
        assert_eq!(whole.0.len(), 1, "{whole:?}");
        assert_eq!(whole.0[0].interiors().len(), 1);
        assert!(
            (whole.unsigned_area() - (10_000.0 - 400.0 + 1_200.0 + 720.0)).abs() < 1e-3,
            "{}",
            whole.unsigned_area()
        );
        assert_eq!(with_margin(&zone, MultiPolygon::new(Vec::new())), zone);
    }

    /// A number that looks like chance, 0 to 1, out of a seed (splitmix64, Steele and others 2014, from memory).
    fn chance(seed: &mut u64) -> f64 {
        *seed = seed.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = *seed;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) as f64 / u64::MAX as f64
    }

    #[test]
    fn a_margin_that_misses_its_zone_by_rounding_leaves_no_slit() {
        let mut seed = 13;
        for trial in 0..300 {
            let angle = 360.0 * chance(&mut seed);
            // Four cells, and beside them the margin with the corners of cells on the common line, each as far off as rounding puts it.
            let zone = MultiPolygon::new(vec![rectangle(0.0, 0.0, 96.0, 24.0)]);
            let mut off = |size: f64| size * (chance(&mut seed) - 0.5);
            let line: Vec<(f64, f64)> = [96.0, 72.0, 48.0, 24.0, 0.0]
                .map(|x| (x + off(2e-7), off(2e-7)))
                .to_vec();
            let ring: Vec<(f64, f64)> = [(0.0, -12.0), (54.0, -12.0), (96.0, -12.0)]
                .into_iter()
                .chain(line)
                .collect();
            let margin = MultiPolygon::new(vec![Polygon::new(ring.into(), Vec::new())]);
            let turned = |shape: MultiPolygon<f64>| {
                shape
                    .rotate_around_point(angle, Point::new(0.0, 0.0))
                    .translate(560_167.029, 5_559_870.735)
            };
            let whole = with_margin(&turned(zone), turned(margin));
            assert_eq!(whole.0.len(), 1, "{trial}: {whole:?}");
            assert!(is_valid(&snapped(&whole)), "{trial}: {whole:?}");
            assert!(
                (whole.unsigned_area() - 96.0 * 36.0).abs() < 0.01,
                "{trial}: {}",
                whole.unsigned_area()
            );
        }
    }
}
