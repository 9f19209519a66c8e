//! Polygons that cross or overlap themselves, made valid: narrowly where ground is to get something, widely where it is to get nothing.
//!
//! | figure | narrowly (a boundary) | widely (an exclusion) |
//! | --- | --- | --- |
//! | ring that crosses itself | ground enclosed an odd number of times | all ground enclosed |
//! | ring run twice | what both rounds enclose | what either encloses |
//! | parts that overlap | all of them | all of them |
//! | part inside a part | a hole | nothing new |
//! | holes that overlap | both are holes | where they overlap is no hole |
//! | hole that reaches out of its outer ring | takes ground away, adds none | what reaches out is added |
//!
//! Valid polygons stay as they are.

use geo::algorithm::bool_ops::FillRule;
use geo::{
    Area as _, BooleanOps as _, BoundingRect as _, Intersects as _, LineString, MultiPolygon,
    Polygon,
};

use crate::space::clip::window_around;
use crate::space::connected::inside_is_connected;
use crate::space::polygon::{joined, less, oriented};
use crate::space::valid::is_valid;

/// A part of whose ground so much lies in another part lies inside it. \[share\]
const INSIDE: f64 = 1.0 - 1e-6;
/// A part inside another that is nearly as large is the same part again, and no hole. \[share\]
const AGAIN: f64 = 0.99;

/// A polygon made valid, and by how much its area changed.
#[derive(Clone, Debug, PartialEq)]
pub struct Repaired {
    /// The valid polygon.
    pub polygon: MultiPolygon<f64>,
    /// Area after less area before, when it had to be mended. \[m²\]
    pub area_change: Option<f64>,
}

/// The narrow reading of a polygon: for ground that gets something.
pub fn repaired(polygon: &MultiPolygon<f64>) -> Repaired {
    read(polygon, |polygon| {
        nested(polygon.iter().map(narrow).collect())
    })
}

/// The wide reading of a polygon: for ground that must get nothing.
pub(crate) fn widest(polygon: &MultiPolygon<f64>) -> Repaired {
    read(polygon, |polygon| {
        joined(&polygon.iter().map(wide).collect::<Vec<_>>())
    })
}

fn read(
    polygon: &MultiPolygon<f64>,
    mend: impl Fn(&MultiPolygon<f64>) -> MultiPolygon<f64>,
) -> Repaired {
    if is_valid(polygon) && polygon.iter().all(inside_is_connected) {
        return Repaired {
            polygon: oriented(polygon),
            area_change: None,
        };
    }
    let repaired = oriented(&mend(polygon));
    Repaired {
        area_change: Some(repaired.unsigned_area() - polygon.unsigned_area()),
        polygon: repaired,
    }
}

fn filled(rings: &MultiPolygon<f64>, rule: FillRule) -> MultiPolygon<f64> {
    oriented(&rings.union_with_fill_rule(&MultiPolygon::new(Vec::new()), rule))
}

fn alone(ring: &LineString<f64>) -> MultiPolygon<f64> {
    MultiPolygon::new(vec![Polygon::new(ring.clone(), Vec::new())])
}

/// A ring read narrowly.
fn narrow_ring(ring: &LineString<f64>) -> MultiPolygon<f64> {
    let once = filled(&alone(ring), FillRule::EvenOdd);
    let any = filled(&alone(ring), FillRule::NonZero);
    if once.unsigned_area() < any.unsigned_area() / 2.0 {
        // Run twice: what is enclosed once only lies between the two rounds.
        less(&any, &once)
    } else {
        once
    }
}

/// A ring read widely.
fn wide_ring(ring: &LineString<f64>) -> MultiPolygon<f64> {
    let left = filled(&alone(ring), FillRule::Positive);
    let right = filled(&alone(ring), FillRule::Negative);
    if left.0.is_empty() {
        return right;
    }
    if right.0.is_empty() {
        return left;
    }
    // Loops that run opposite ways cancel where they overlap: that is enclosed, too. All is that cannot be reached from outside.
    let ground = joined(&[left, right]);
    let Some(around) = window_around(&ground, 1.0) else {
        return ground;
    };
    let outside = less(&MultiPolygon::new(vec![around.to_polygon()]), &ground);
    // Overlay moves the rectangle's corners by a hair; what is enclosed lies a metre inside it.
    let reaches_out = |piece: &Polygon<f64>| {
        piece
            .bounding_rect()
            .is_some_and(|extent| extent.min().x < around.min().x + 0.5)
    };
    let enclosed: MultiPolygon<f64> = outside
        .into_iter()
        .filter(reaches_out)
        .flat_map(|piece| piece.into_inner().1)
        .map(|ring| Polygon::new(ring, Vec::new()))
        .collect();
    if enclosed.0.is_empty() {
        return ground;
    }
    oriented(&enclosed)
}

fn narrow(part: &Polygon<f64>) -> MultiPolygon<f64> {
    let holes: Vec<MultiPolygon<f64>> = part.interiors().iter().map(wide_ring).collect();
    oriented(&less(&narrow_ring(part.exterior()), &joined(&holes)))
}

fn wide(part: &Polygon<f64>) -> MultiPolygon<f64> {
    let outer = wide_ring(part.exterior());
    if part.interiors().is_empty() {
        return outer;
    }
    let odd = |rings: Vec<Polygon<f64>>| filled(&MultiPolygon::new(rings), FillRule::EvenOdd);
    let hole = |ring: &LineString<f64>| Polygon::new(ring.clone(), Vec::new());
    let holes = odd(part.interiors().iter().map(hole).collect());
    let ground = oriented(&less(&outer, &holes));
    oriented(&joined(&[ground, odd(vec![part.clone()])]))
}

/// Parts as one; a part inside the ground of another is a hole in it.
fn nested(mut parts: Vec<MultiPolygon<f64>>) -> MultiPolygon<f64> {
    parts.sort_by(|a, b| b.unsigned_area().total_cmp(&a.unsigned_area()));
    let mut grounds: Vec<MultiPolygon<f64>> = Vec::new();
    for part in parts {
        let (area, extent) = (part.unsigned_area(), part.bounding_rect());
        let around = grounds.iter_mut().find(|ground| {
            // Extents are asked first: a layer may have thousands of parts.
            ground
                .bounding_rect()
                .zip(extent)
                .is_some_and(|(a, b)| a.intersects(&b))
                && area < AGAIN * ground.unsigned_area()
                && part.intersection(*ground).unsigned_area() >= INSIDE * area
        });
        match around {
            Some(ground) => *ground = oriented(&less(ground, &part)),
            None => grounds.push(part),
        }
    }
    joined(&grounds)
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Rect, Validation as _, coord, polygon};

    fn ring(west: f64, south: f64, east: f64, north: f64) -> LineString<f64> {
        Rect::new(coord! { x: west, y: south }, coord! { x: east, y: north })
            .to_polygon()
            .into_inner()
            .0
    }

    fn part(ring: LineString<f64>) -> Polygon<f64> {
        Polygon::new(ring, Vec::new())
    }

    /// Areas by the narrow and by the wide reading.
    fn areas(parts: Vec<Polygon<f64>>) -> (f64, f64) {
        let shape = MultiPolygon::new(parts);
        let (narrow, wide) = (repaired(&shape), widest(&shape));
        for found in [&narrow, &wide] {
            assert!(found.polygon.is_valid(), "{found:?}");
            assert_eq!(
                found.area_change,
                Some(found.polygon.unsigned_area() - shape.unsigned_area())
            );
        }
        let round = |area: f64| libm::round(area * 1e3) / 1e3;
        (
            round(narrow.polygon.unsigned_area()),
            round(wide.polygon.unsigned_area()),
        )
    }

    #[test]
    fn a_valid_polygon_stays() {
        let shape = MultiPolygon::new(vec![Polygon::new(
            ring(0.0, 0.0, 9.0, 9.0),
            vec![ring(1.0, 1.0, 2.0, 2.0)],
        )]);
        for found in [repaired(&shape), widest(&shape)] {
            assert_eq!(found.area_change, None);
            assert_eq!(found.polygon, oriented(&shape));
        }
    }

    #[test]
    fn a_bow_tie_is_both_its_triangles() {
        let bow =
            polygon![(x: 0.0, y: 0.0), (x: 10.0, y: 10.0), (x: 10.0, y: 0.0), (x: 0.0, y: 10.0)];
        assert_eq!(areas(vec![bow]), (50.0, 50.0));
    }

    #[test]
    fn lobes_that_run_opposite_ways_both_count_on_any_plane() {
        // Found by a random field: coordinates of millions of metres do not come back from an overlay to the last bit.
        let ring = [
            (610_599.066, 4_432_574.892),
            (610_532.847, 4_432_579.413),
            (610_481.743, 4_432_567.904),
            (610_419.066, 4_432_617.278),
            (610_429.220, 4_432_588.584),
            (610_588.432, 4_432_563.897),
        ];
        let crossing = Polygon::new(ring.into_iter().collect(), Vec::new());
        let (narrow, wide) = areas(vec![crossing]);
        // Three lobes, by another library (GEOS): 642.34, 330.80 and 443.55 m².
        assert!(
            (narrow - 1416.7).abs() < 1.0 && (wide - 1416.7).abs() < 1.0,
            "{narrow} {wide}"
        );
    }

    #[test]
    fn ground_that_a_ring_encloses_twice_gets_nothing_either_way() {
        // A five-pointed star drawn in one go: its middle, a pentagon, is enclosed twice.
        let at = |k: usize| {
            let a = std::f64::consts::TAU * (2 * k % 5) as f64 / 5.0;
            (100.0 * libm::cos(a), 100.0 * libm::sin(a))
        };
        let star = part(LineString::from((0..6).map(at).collect::<Vec<_>>()));
        let inner =
            100.0 * libm::cos(std::f64::consts::TAU / 5.0) / libm::cos(std::f64::consts::PI / 5.0);
        let middle = 2.5 * inner * inner * libm::sin(std::f64::consts::TAU / 5.0);
        let (narrow, wide) = areas(vec![star]);
        assert!(
            (wide - narrow - middle).abs() < 0.01,
            "{narrow} {wide} {middle}"
        );
    }

    #[test]
    fn rings_run_twice_are_there_once() {
        let mut twice = ring(0.0, 0.0, 10.0, 10.0).0;
        twice.extend(twice.clone().into_iter().skip(1));
        assert_eq!(areas(vec![part(LineString::new(twice))]), (100.0, 100.0));
        // The second round a metre further in on one side: a boundary is what both enclose.
        let mut walked = ring(0.0, 0.0, 10.0, 10.0).0;
        walked.extend(ring(0.0, 0.0, 9.0, 10.0).0);
        assert_eq!(areas(vec![part(LineString::new(walked))]), (90.0, 100.0));
        // A whole part twice.
        let square = || part(ring(0.0, 0.0, 10.0, 10.0));
        assert_eq!(areas(vec![square(), square()]), (100.0, 100.0));
    }

    #[test]
    fn parts_that_overlap_are_united() {
        let parts = vec![
            part(ring(0.0, 0.0, 10.0, 10.0)),
            part(ring(5.0, 5.0, 15.0, 15.0)),
        ];
        assert_eq!(areas(parts), (175.0, 175.0));
    }

    #[test]
    fn a_part_inside_a_part_is_a_hole_or_nothing_new() {
        let parts = || {
            vec![
                part(ring(2.0, 2.0, 4.0, 4.0)),
                part(ring(0.0, 0.0, 10.0, 10.0)),
            ]
        };
        assert_eq!(areas(parts()), (96.0, 100.0));
        let mut island = parts();
        island.push(part(ring(2.5, 2.5, 3.5, 3.5)));
        assert_eq!(areas(island), (97.0, 100.0));
    }

    #[test]
    fn loops_that_run_opposite_ways_enclose_what_they_share() {
        // One square to the left, then from its corner another to the right, which overlaps it.
        let loops = LineString::from(vec![
            (0.0, 0.0),
            (10.0, 0.0),
            (10.0, 10.0),
            (0.0, 10.0),
            (0.0, 0.0),
            (-5.0, 5.0),
            (-5.0, 15.0),
            (5.0, 15.0),
            (5.0, 5.0),
            (-5.0, 5.0),
            (0.0, 0.0),
        ]);
        let (narrow, wide) = areas(vec![part(loops)]);
        assert_eq!((narrow, wide), (150.0, 175.0));
    }

    #[test]
    fn holes_that_overlap_or_reach_out() {
        let outer = ring(0.0, 0.0, 10.0, 10.0);
        let overlapping = Polygon::new(
            outer.clone(),
            vec![ring(1.0, 1.0, 3.0, 3.0), ring(2.0, 2.0, 4.0, 4.0)],
        );
        assert_eq!(areas(vec![overlapping]), (93.0, 94.0));
        let reaching = Polygon::new(outer, vec![ring(8.0, 2.0, 12.0, 4.0)]);
        assert_eq!(areas(vec![reaching]), (96.0, 100.0));
    }
}
