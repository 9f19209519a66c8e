//! Whether the inside of a polygon hangs together: what standards ask for, and a check of crossings and nesting does not see.
//!
//! Rings may touch at points. As long as rings and touching points make a forest, one can walk round every ring on the inside; a circle of rings that touch one another, or a hole that touches its
//! shell twice, fences ground off.
//!
//! # Source
//! OGC 06-103r4 (Simple Features, part 1), 6.1.11.1: the interior of every surface is a connected point set (from memory).

use std::collections::BTreeMap;

use geo::algorithm::kernels::{Kernel, Orientation, RobustKernel};
use geo::{Coord, Polygon};
use rstar::primitives::{GeomWithData, Rectangle};
use rstar::{AABB, RTree};

/// Whether no ring, and no circle of touching rings, fences part of the inside off. Rings must not cross.
pub fn inside_is_connected(polygon: &Polygon<f64>) -> bool {
    if polygon.interiors().is_empty() {
        return true;
    }
    let rings: Vec<&[Coord<f64>]> = std::iter::once(polygon.exterior())
        .chain(polygon.interiors())
        .map(|ring| ring.0.as_slice())
        .collect();
    let edges = rings.iter().enumerate().flat_map(|(k, ring)| {
        ring.windows(2).map(move |edge| {
            GeomWithData::new(
                Rectangle::from_corners([edge[0].x, edge[0].y], [edge[1].x, edge[1].y]),
                (k, edge[0], edge[1]),
            )
        })
    });
    let tree = RTree::bulk_load(edges.collect());
    // Rings that meet at each touching point. Adding zero folds the two zeros into one.
    let mut touching: BTreeMap<[u64; 2], Vec<usize>> = BTreeMap::new();
    for (own, ring) in rings.iter().enumerate() {
        for p in ring.iter().skip(1) {
            for found in tree.locate_in_envelope_intersecting(AABB::from_point([p.x, p.y])) {
                let (other, a, b) = found.data;
                if other != own && RobustKernel::orient2d(a, b, *p) == Orientation::Collinear {
                    let rings = touching
                        .entry([(p.x + 0.0).to_bits(), (p.y + 0.0).to_bits()])
                        .or_default();
                    rings.extend([own, other]);
                }
            }
        }
    }
    let mut up: Vec<usize> = (0..rings.len()).collect();
    let top = |up: &[usize], mut at: usize| {
        while up[at] != at {
            at = up[at];
        }
        at
    };
    for mut meeting in touching.into_values() {
        meeting.sort_unstable();
        meeting.dedup();
        let first = meeting[0];
        for &other in &meeting[1..] {
            let (a, b) = (top(&up, first), top(&up, other));
            if a == b {
                return false;
            }
            up[b] = a;
        }
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::polygon;

    #[test]
    fn rings_that_touch_once_fence_nothing_off() {
        let touching = polygon!(exterior: [(x: 0.0, y: 0.0), (x: 10.0, y: 0.0), (x: 10.0, y: 10.0), (x: 0.0, y: 10.0)], interiors: [[(x: 0.0, y: 5.0), (x: 4.0, y: 7.0), (x: 4.0, y: 3.0)]]);
        assert!(inside_is_connected(&touching));
    }

    #[test]
    fn a_hole_from_side_to_side_and_a_circle_of_holes_do() {
        let across = polygon!(exterior: [(x: 0.0, y: 0.0), (x: 10.0, y: 0.0), (x: 10.0, y: 10.0), (x: 0.0, y: 10.0)], interiors: [[(x: 0.0, y: 5.0), (x: 5.0, y: 7.0), (x: 10.0, y: 5.0), (x: 5.0, y: 3.0)]]);
        assert!(!inside_is_connected(&across));
        // Three holes, each of which touches the next, around a triangle of ground; taking one away opens it.
        let holes = [
            [(2.0, 2.0), (5.0, 1.0), (8.0, 2.0)],
            [(8.0, 2.0), (8.0, 5.0), (5.0, 8.0)],
            [(5.0, 8.0), (2.0, 5.0), (2.0, 2.0)],
        ];
        let shell = geo::LineString::from(vec![(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]);
        let with = |holes: &[[(f64, f64); 3]]| {
            Polygon::new(
                shell.clone(),
                holes
                    .iter()
                    .map(|hole| geo::LineString::from(hole.to_vec()))
                    .collect(),
            )
        };
        assert!(!inside_is_connected(&with(&holes)));
        assert!(inside_is_connected(&with(&holes[..2])));
    }
}
