//! Ground that must get nothing, made ready to be taken out of the field: what lies far off cut away, read widely, and grown.

use geo::{MultiPolygon, Rect};

use crate::finding::{Finding, codes};
use crate::space::clip::{clipped, near, window_around};
use crate::space::polygon::{grown, grown_by_tolerance};
use crate::space::repair::{Repaired, repaired, widest};
use crate::units::Length;

/// Exclusions are grown by this at least, so that one which was drawn along the boundary reaches over it wherever rounding put its vertices. \[m\]
pub(crate) const MINIMUM_BUFFER: f64 = 1e-3;
/// Ground further than this from the field, beyond every buffer and overrun, is cut away before any overlay. \[m\]
const FAR: f64 = 500.0;
/// A file that was mended by less than this is told as a note, no caution. \[m²\]
const SLIGHT: f64 = 1.0;

/// The rectangle that matters around a boundary: `reach` is how far buffers and rates go beyond it.
pub(crate) fn surroundings(boundary: &MultiPolygon<f64>, reach: Length) -> Option<Rect<f64>> {
    window_around(boundary, FAR + reach.get().max(0.0))
}

/// One exclusion on the plane, ready to be taken out: cut to the surroundings, read widely, grown by its buffer or 1 mm.
pub(crate) fn excluded(
    shape: &MultiPolygon<f64>,
    buffer: Length,
    surroundings: &Rect<f64>,
) -> Repaired {
    let read = in_surroundings(shape, surroundings, widest);
    let polygon = if buffer.get() < MINIMUM_BUFFER {
        grown_by_tolerance(&read.polygon, MINIMUM_BUFFER)
    } else {
        grown(&read.polygon, buffer.get())
    };
    Repaired {
        polygon,
        area_change: read.area_change,
    }
}

/// Ground of another kind, an area or a zone of the reference: cut to the surroundings and read narrowly.
pub(crate) fn surrounded(shape: &MultiPolygon<f64>, surroundings: &Rect<f64>) -> Repaired {
    in_surroundings(shape, surroundings, repaired)
}

fn in_surroundings(
    shape: &MultiPolygon<f64>,
    surroundings: &Rect<f64>,
    read: fn(&MultiPolygon<f64>) -> Repaired,
) -> Repaired {
    let found = clipped(shape, surroundings);
    let mut repaired = read(&found.polygon);
    // Rings that were cut run along the sides of the rectangle: tidying those is no repair of the file.
    if found.cut && read(&near(shape, surroundings)).area_change.is_none() {
        repaired.area_change = None;
    }
    repaired
}

/// What the user is told of an exclusion that had to be read widely.
pub(crate) fn read_widely(file: &str, read: &Repaired) -> Option<Finding> {
    let change = read.area_change?;
    let text = format!(
        "{file}: the exclusion crosses or overlaps itself; all that any reading of it encloses gets nothing, {change:+.1} m² against the sum of its parts: look at it on the map"
    );
    Some(if change.abs() < SLIGHT {
        Finding::note(codes::BOUNDARY_REPAIRED, text)
    } else {
        Finding::caution(codes::BOUNDARY_REPAIRED, text)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Area as _, BooleanOps as _, Validation as _, coord, polygon};

    fn around() -> Rect<f64> {
        let corner = coord! { x: 5e5, y: 5.4e6 };
        Rect::new(corner, corner + coord! { x: 1000.0, y: 1000.0 })
    }

    fn at(points: &[(f64, f64)]) -> MultiPolygon<f64> {
        let ring = points.iter().map(|p| (5e5 + p.0, 5.4e6 + p.1));
        MultiPolygon::new(vec![geo::Polygon::new(ring.collect(), Vec::new())])
    }

    #[test]
    fn an_exclusion_without_buffer_is_grown_by_a_millimetre_and_keeps_its_corners() {
        let square = at(&[
            (100.0, 100.0),
            (200.0, 100.0),
            (200.0, 200.0),
            (100.0, 200.0),
        ]);
        let found = excluded(&square, Length::m(0.0), &around());
        assert_eq!(found.area_change, None);
        assert_eq!(found.polygon.0[0].exterior().0.len(), 5);
        let grown = found.polygon.unsigned_area() - 10_000.0;
        assert!((grown - 0.4).abs() < 0.01, "{grown}");
        assert!(square.difference(&found.polygon).unsigned_area() < 1e-9);
    }

    #[test]
    fn a_far_vertex_leaves_near_ground_as_it_is() {
        // A needle that runs to a common fill value: of it the part near the field counts, and nothing is lost of the pond beside it.
        let pond = at(&[
            (300.0, 300.0),
            (500.0, 300.0),
            (500.0, 500.0),
            (300.0, 500.0),
        ]);
        let mut both = pond.clone();
        both.0.push(polygon![(x: 5e5 + 600.0, y: 5.4e6 + 600.0), (x: -9.97e36, y: 5.4e6 + 610.0), (x: 5e5 + 600.0, y: 5.4e6 + 620.0)]);
        let found = excluded(&both, Length::m(0.0), &around());
        assert!(found.polygon.is_valid());
        assert!(pond.difference(&found.polygon).unsigned_area() < 1e-6);
        let needle = found.polygon.unsigned_area() - 40_000.8;
        assert!((needle - 600.0 * 20.0).abs() < 5.0, "{needle}");
        assert_eq!(found.area_change, None);
    }
}
