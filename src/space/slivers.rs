//! Pieces of ground that are too small or too narrow to be anybody's.

use geo::{Area as _, LineString, MultiPolygon};

use crate::space::polygon::grown;

/// A piece below this belongs to nobody. \[m²\]
pub(crate) const MINIMUM_AREA: f64 = 0.1;
/// A piece that is nowhere as wide as this belongs to nobody. \[m\]
pub(crate) const MINIMUM_WIDTH: f64 = 0.01;

/// Ground without its slivers.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Kept {
    /// What is left, piece by piece to the last bit.
    pub ground: MultiPolygon<f64>,
    /// How many pieces are left out.
    pub pieces: usize,
    /// Their area. \[m²\]
    pub area: f64,
}

/// Leaves out pieces below 0.1 m² and pieces nowhere 1 cm wide: what overlay leaves between lines that were drawn as one and lie a hair apart.
pub(crate) fn without_slivers(ground: MultiPolygon<f64>) -> Kept {
    let mut kept = Kept {
        ground: MultiPolygon::new(Vec::new()),
        pieces: 0,
        area: 0.0,
    };
    for piece in ground {
        let area = piece.unsigned_area();
        // A wide piece is wide by its area alone: where nothing is as wide as w, all ground lies within w / 2 of an edge or a corner.
        let wide = || {
            let rings = std::iter::once(piece.exterior()).chain(piece.interiors());
            let edges = rings.flat_map(LineString::lines);
            let near: f64 = edges
                .map(|line| MINIMUM_WIDTH * (libm::hypot(line.dx(), line.dy()) + MINIMUM_WIDTH))
                .sum();
            area > near
                || !grown(
                    &MultiPolygon::new(vec![piece.clone()]),
                    -MINIMUM_WIDTH / 2.0,
                )
                .0
                .is_empty()
        };
        if area >= MINIMUM_AREA && wide() {
            kept.ground.0.push(piece);
        } else {
            kept.pieces += 1;
            kept.area += area;
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Polygon, Rect, coord};

    fn rectangle(west: f64, south: f64, width: f64, height: f64) -> Polygon<f64> {
        let corner = coord! { x: west, y: south };
        Rect::new(corner, corner + coord! { x: width, y: height }).to_polygon()
    }

    #[test]
    fn small_and_narrow_pieces_are_left_out_and_counted() {
        let field = rectangle(0.0, 0.0, 300.0, 200.0);
        let narrow = rectangle(0.0, 300.0, 200.0, 0.009);
        let wide = rectangle(0.0, 400.0, 200.0, 0.011);
        let small = rectangle(0.0, 500.0, 0.3, 0.3);
        let needle = rectangle(0.0, 600.0, 250.0, 1e-7);
        let all = [&field, &narrow, &wide, &small, &needle];
        let kept = without_slivers(all.into_iter().cloned().collect());
        assert_eq!(kept.ground.0, [field, wide]);
        assert_eq!(kept.pieces, 3);
        assert!((kept.area - 1.8 - 0.09).abs() < 1e-3, "{}", kept.area);
    }

    #[test]
    fn holes_without_number_leave_wide_ground_wide() {
        // All ground lies within 4 mm of a hole, or, with fewer holes, some of it farther away.
        let field = |apart: f64| {
            let step = 0.2 + apart;
            let holes = (0..10_000).map(|k| {
                let (x, y) = (f64::from(k % 100), f64::from(k / 100));
                let hole = rectangle(apart + x * step, apart + y * step, 0.2, 0.2);
                hole.exterior().clone()
            });
            let side = 100.0 * step + apart;
            let frame = rectangle(0.0, 0.0, side, side);
            Polygon::new(frame.exterior().clone(), holes.collect())
        };
        for (apart, pieces) in [(0.006, 1), (0.05, 0)] {
            let kept = without_slivers(MultiPolygon::new(vec![field(apart)]));
            assert_eq!(kept.pieces, pieces, "{apart} m apart");
        }
    }

    #[test]
    fn a_thin_ring_is_narrow_however_large() {
        let outer = rectangle(0.0, 0.0, 100.0, 100.0);
        let hole = rectangle(0.004, 0.004, 99.992, 99.992);
        let ring = Polygon::new(outer.exterior().clone(), vec![hole.exterior().clone()]);
        assert_eq!(without_slivers(MultiPolygon::new(vec![ring])).pieces, 1);
    }
}
