//! Holes of a boundary: ground inside its outline that is no part of the field, as a pond that was cut out of it.

use geo::{Area as _, MultiPolygon, Polygon};

use crate::space::polygon::{joined, less, oriented};

/// What the holes of a boundary take out of it, as ground of its own: nothing where there is no hole, and a part of the boundary that lies in a hole stays the boundary's.
///
/// Without overlay, and so to the last bit, where no other part lies in the holes.
pub(crate) fn holes(boundary: &MultiPolygon<f64>) -> MultiPolygon<f64> {
    let rings: Vec<MultiPolygon<f64>> = boundary
        .iter()
        .flat_map(Polygon::interiors)
        .map(|ring| Polygon::new(ring.clone(), Vec::new()))
        .filter(|hole| hole.unsigned_area() > 0.0)
        .map(|hole| MultiPolygon::new(vec![hole]))
        .collect();
    if rings.is_empty() {
        return MultiPolygon::new(Vec::new());
    }
    if boundary.0.len() == 1 {
        let apart = rings.into_iter().flatten().collect();
        return oriented(&MultiPolygon::new(apart));
    }
    oriented(&less(&joined(&rings), boundary))
}

/// Two grounds as one; one of them to the last bit where the other is empty.
pub(crate) fn united(one: &MultiPolygon<f64>, other: &MultiPolygon<f64>) -> MultiPolygon<f64> {
    match (one.0.is_empty(), other.0.is_empty()) {
        (_, true) => one.clone(),
        (true, false) => other.clone(),
        (false, false) => oriented(&joined(&[one.clone(), other.clone()])),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{LineString, Rect, coord};

    fn ring(west: f64, south: f64, east: f64, north: f64) -> LineString<f64> {
        Rect::new(coord! { x: west, y: south }, coord! { x: east, y: north })
            .to_polygon()
            .into_inner()
            .0
    }

    #[test]
    fn a_boundary_without_holes_has_none() {
        let plain = MultiPolygon::new(vec![Polygon::new(ring(0.0, 0.0, 9.0, 9.0), Vec::new())]);
        assert!(holes(&plain).0.is_empty());
    }

    #[test]
    fn holes_are_ground_and_an_island_in_one_is_the_fields() {
        let outer = Polygon::new(
            ring(0.0, 0.0, 100.0, 100.0),
            vec![ring(10.0, 10.0, 50.0, 50.0), ring(60.0, 60.0, 70.0, 70.0)],
        );
        let alone = holes(&MultiPolygon::new(vec![outer.clone()]));
        assert_eq!(alone.unsigned_area(), 1600.0 + 100.0);
        assert!(alone.iter().all(|hole| hole.signed_area() > 0.0));
        let island = Polygon::new(ring(20.0, 20.0, 30.0, 30.0), Vec::new());
        let with = holes(&MultiPolygon::new(vec![outer, island]));
        assert!((with.unsigned_area() - 1600.0).abs() < 1e-3, "{with:?}");
    }
}
