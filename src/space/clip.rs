//! Polygons cut to a rectangle, in plain floating point.
//!
//! Overlay works on a grid of whole numbers that spans everything it is given: one far vertex makes that grid coarse, and what is near and small falls through it. So what lies far off is cut away first, edge
//! by edge, which needs no grid.
//!
//! # Source
//! Sutherland and Hodgman (1974), Communications of the ACM 17(1):32–42 (from memory).

use geo::{BoundingRect as _, Coord, LineString, MultiPolygon, Polygon, Rect};

/// What a rectangle leaves of a shape.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Clipped {
    /// What lies in the rectangle. Rings that were cut run along its sides, some of them to and fro: an overlay has to tidy them.
    pub polygon: MultiPolygon<f64>,
    /// Whether any ring was cut.
    pub cut: bool,
}

/// A shape cut to a rectangle; parts inside it stay to the last bit, parts outside go.
pub(crate) fn clipped(shape: &MultiPolygon<f64>, window: &Rect<f64>) -> Clipped {
    let mut cut = false;
    let parts = shape.iter().filter_map(|part| {
        let extent = part.exterior().bounding_rect()?;
        let inside = |ring: &LineString<f64>| ring.0.iter().all(|&p| within(window, p));
        if std::iter::once(part.exterior())
            .chain(part.interiors())
            .all(inside)
        {
            return Some(part.clone());
        }
        if apart(&extent, window) {
            return None;
        }
        cut = true;
        let ring =
            |ring: &LineString<f64>| Some(clipped_ring(ring, window)).filter(|r| r.0.len() >= 4);
        let exterior = ring(part.exterior())?;
        Some(Polygon::new(
            exterior,
            part.interiors().iter().filter_map(ring).collect(),
        ))
    });
    let polygon = parts.collect();
    Clipped { polygon, cut }
}

/// The parts of a shape whose extent meets a rectangle, as they are.
pub(crate) fn near(shape: &MultiPolygon<f64>, window: &Rect<f64>) -> MultiPolygon<f64> {
    let meets = |part: &&Polygon<f64>| {
        part.exterior()
            .bounding_rect()
            .is_some_and(|extent| !apart(&extent, window))
    };
    shape.iter().filter(meets).cloned().collect()
}

/// A rectangle around a shape, so much wider on every side. \[m\]
pub(crate) fn window_around(shape: &MultiPolygon<f64>, margin: f64) -> Option<Rect<f64>> {
    let extent = shape.bounding_rect()?;
    let by = Coord {
        x: margin,
        y: margin,
    };
    Some(Rect::new(extent.min() - by, extent.max() + by))
}

fn within(window: &Rect<f64>, p: Coord<f64>) -> bool {
    let (low, high) = (window.min(), window.max());
    p.x >= low.x && p.x <= high.x && p.y >= low.y && p.y <= high.y
}

fn apart(extent: &Rect<f64>, window: &Rect<f64>) -> bool {
    extent.max().x < window.min().x
        || extent.min().x > window.max().x
        || extent.max().y < window.min().y
        || extent.min().y > window.max().y
}

/// One closed ring; its winding number stays what it was everywhere in the rectangle.
fn clipped_ring(ring: &LineString<f64>, window: &Rect<f64>) -> LineString<f64> {
    let (low, high) = (window.min(), window.max());
    let mut points: Vec<[f64; 2]> = ring.0.iter().map(|p| [p.x, p.y]).collect();
    if points.len() > 1 && points.first() == points.last() {
        points.pop();
    }
    for (axis, at, sign) in [
        (0, low.x, 1.0),
        (0, high.x, -1.0),
        (1, low.y, 1.0),
        (1, high.y, -1.0),
    ] {
        let inside = |p: [f64; 2]| sign * (p[axis] - at) >= 0.0;
        let mut kept = Vec::with_capacity(points.len() + 4);
        for (k, &b) in points.iter().enumerate() {
            let a = points[(k + points.len() - 1) % points.len()];
            if inside(a) != inside(b) {
                kept.push(crossing(a, b, axis, at));
            }
            if inside(b) {
                kept.push(b);
            }
        }
        kept.dedup();
        points = kept;
    }
    let mut closed = LineString::from(points);
    closed.close();
    closed
}

/// Where an edge meets a side; reckoned from the end that is nearer to it, so that a far end does not spoil it.
fn crossing(a: [f64; 2], b: [f64; 2], axis: usize, at: f64) -> [f64; 2] {
    let off = |p: [f64; 2]| (p[axis] - at).abs();
    let (near, far) = if off(a) <= off(b) { (a, b) } else { (b, a) };
    let share = (at - near[axis]) / (far[axis] - near[axis]);
    let other = near[1 - axis] + share * (far[1 - axis] - near[1 - axis]);
    if axis == 0 { [at, other] } else { [other, at] }
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Area as _, coord, polygon};

    fn window() -> Rect<f64> {
        Rect::new(coord! { x: 0.0, y: 0.0 }, coord! { x: 10.0, y: 10.0 })
    }

    #[test]
    fn what_lies_inside_stays_and_what_lies_outside_goes() {
        let inside = polygon![(x: 1.0, y: 1.0), (x: 2.0, y: 1.0), (x: 2.0, y: 3.0)];
        let outside = polygon![(x: 11.0, y: 1.0), (x: 12.0, y: 1.0), (x: 12.0, y: 3.0)];
        let found = clipped(&MultiPolygon::new(vec![inside.clone(), outside]), &window());
        assert_eq!((found.polygon.0, found.cut), (vec![inside], false));
    }

    #[test]
    fn a_vertex_beyond_everything_spoils_nothing() {
        // A fill value that is in common use for a missing number, and another.
        for far in [-9.97e36, -5e11] {
            let triangle = polygon![(x: 2.0, y: 4.0), (x: far, y: 5.0), (x: 2.0, y: 6.0)];
            let found = clipped(&MultiPolygon::new(vec![triangle]), &window());
            assert!(found.cut);
            assert!(
                (found.polygon.unsigned_area() - 4.0).abs() < 1e-9,
                "{found:?}"
            );
        }
    }

    #[test]
    fn holes_are_cut_too() {
        let square = polygon!(exterior: [(x: -5.0, y: -5.0), (x: 15.0, y: -5.0), (x: 15.0, y: 15.0), (x: -5.0, y: 15.0)],
            interiors: [[(x: 5.0, y: 4.0), (x: 5.0, y: 6.0), (x: 12.0, y: 6.0), (x: 12.0, y: 4.0)], [(x: -4.0, y: -4.0), (x: -4.0, y: -3.0), (x: -3.0, y: -3.0)]]);
        let found = clipped(&MultiPolygon::new(vec![square]), &window()).polygon;
        assert!((found.unsigned_area() - 90.0).abs() < 1e-9, "{found:?}");
    }
}
