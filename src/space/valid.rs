//! Whether polygons are valid, in a time that grows with their vertices and not with the square of them: pieces of rings are looked up in a tree of boxes, and
//! only pieces whose boxes meet are compared.
//!
//! # Source
//! OGC 06-103r4 (Simple Features, part 1), 6.1.11.1 (from memory): rings are simple, holes lie inside and do not overlap, rings touch at points only. The
//! verdicts are those of the geo crate, edge by edge; a test compares the two.

use std::collections::BTreeSet;

use geo::algorithm::kernels::{Kernel as _, Orientation, RobustKernel};
use geo::coordinate_position::CoordPos;
use geo::dimensions::Dimensions;
use geo::{
    Coord, CoordsIter as _, Intersects as _, Line, LineString, MultiPolygon, Polygon, Relate as _,
    Validation as _,
};
use rstar::primitives::{GeomWithData, Rectangle};
use rstar::{AABB, RTree};

/// Edges a piece: the tree is so much smaller than with single edges.
const EDGES: usize = 12;

/// Rings that touch are compared whole, each pair in a time that grows with both. Beyond so many vertices in sum they count as invalid, and are made anew.
const MAXIMUM_TOUCHING: usize = 4_000_000;

/// A piece of a ring: its box, and the ring's number with the first and last edge.
type Piece = GeomWithData<Rectangle<[f64; 2]>, (usize, usize, usize)>;

/// A ring: the number of its polygon, whether it is a hole, its vertices.
struct Ring<'a> {
    part: usize,
    hole: bool,
    vertices: &'a [Coord<f64>],
    own: &'a LineString<f64>,
}

impl Ring<'_> {
    fn edge(&self, k: usize) -> Line<f64> {
        Line::new(self.vertices[k], self.vertices[k + 1])
    }
    fn pieces(&self, number: usize) -> impl Iterator<Item = Piece> + '_ {
        let edges = self.vertices.len().saturating_sub(1);
        (0..edges).step_by(EDGES).map(move |from| {
            let to = (from + EDGES).min(edges);
            let (low, high) = self.vertices[from..=to].iter().fold(
                ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]),
                |(low, high), c| {
                    (
                        [low[0].min(c.x), low[1].min(c.y)],
                        [high[0].max(c.x), high[1].max(c.y)],
                    )
                },
            );
            GeomWithData::new(Rectangle::from_corners(low, high), (number, from, to))
        })
    }
    /// Whether there are at least three corners, all of them numbers and not all on one line.
    fn is_a_ring(&self) -> bool {
        let mut corners = 1;
        for pair in self.vertices.windows(2) {
            corners += usize::from(pair[0] != pair[1]);
        }
        let first = self.vertices[0];
        let second = self.vertices.iter().find(|c| **c != first).copied();
        let has_ground = second.is_some_and(|second| {
            let side = |c: &Coord<f64>| RobustKernel::orient2d(first, second, *c);
            self.vertices
                .iter()
                .any(|c| side(c) != Orientation::Collinear)
        });
        corners >= 4
            && has_ground
            && self
                .vertices
                .iter()
                .all(|c| c.x.is_finite() && c.y.is_finite())
    }
}

/// How two rings meet.
enum Meeting {
    Apart,
    /// At single points.
    Touching,
    /// They cross, or share more than points.
    Crossing,
}

/// How two edges of different rings meet.
fn meeting(a: &Line<f64>, b: &Line<f64>) -> Meeting {
    if !a.intersects(b) {
        return Meeting::Apart;
    }
    let side = |line: &Line<f64>, c| RobustKernel::orient2d(line.start, line.end, c);
    let on = [
        side(a, b.start),
        side(a, b.end),
        side(b, a.start),
        side(b, a.end),
    ]
    .map(|side| side == Orientation::Collinear);
    if on == [false; 4] {
        return Meeting::Crossing;
    }
    if on != [true; 4] {
        return Meeting::Touching;
    }
    // On one straight line: end to end, or over each other.
    let along = |c: Coord<f64>| {
        if a.dx().abs() >= a.dy().abs() {
            c.x
        } else {
            c.y
        }
    };
    let ends = |line: &Line<f64>| {
        let (s, e) = (along(line.start), along(line.end));
        (s.min(e), s.max(e))
    };
    let ((low_a, high_a), (low_b, high_b)) = (ends(a), ends(b));
    if low_a.max(low_b) < high_a.min(high_b) {
        Meeting::Crossing
    } else {
        Meeting::Touching
    }
}

/// Whether a place lies inside a ring that it does not lie on.
fn inside(tree: &RTree<Piece>, rings: &[Ring<'_>], number: usize, place: Coord<f64>) -> bool {
    let ray = AABB::from_corners([place.x, place.y], [f64::MAX, place.y]);
    let mut odd = false;
    for piece in tree.locate_in_envelope_intersecting(ray) {
        let (ring, from, to) = piece.data;
        if ring != number {
            continue;
        }
        for k in from..to {
            let edge = rings[ring].edge(k);
            if (edge.start.y > place.y) == (edge.end.y > place.y) {
                continue;
            }
            let (low, high) = if edge.start.y < edge.end.y {
                (edge.start, edge.end)
            } else {
                (edge.end, edge.start)
            };
            odd ^= RobustKernel::orient2d(low, high, place) == Orientation::CounterClockwise;
        }
    }
    odd
}

/// Whether polygons are valid: each ring simple, holes inside and apart, parts apart; rings may touch at points. That the inside is connected is not asked here.
pub fn is_valid(polygons: &MultiPolygon<f64>) -> bool {
    let mut rings: Vec<Ring<'_>> = Vec::new();
    for (part, polygon) in polygons.0.iter().enumerate() {
        let all = std::iter::once(polygon.exterior()).chain(polygon.interiors());
        for (k, own) in all.enumerate().filter(|(_, ring)| !ring.0.is_empty()) {
            rings.push(Ring {
                part,
                hole: k > 0,
                vertices: &own.0,
                own,
            });
        }
    }
    if !rings.iter().all(Ring::is_a_ring) {
        return false;
    }
    let pieces = rings
        .iter()
        .enumerate()
        .flat_map(|(k, ring)| ring.pieces(k));
    let tree = RTree::bulk_load(pieces.collect());
    let mut touching = BTreeSet::new();
    for piece in &tree {
        for other in tree.locate_in_envelope_intersecting(rstar::RTreeObject::envelope(piece)) {
            if other.data < piece.data {
                continue;
            }
            if !compared(&rings, piece, other, &mut touching) {
                return false;
            }
        }
    }
    let work: usize = touching
        .iter()
        .map(|(a, b): &(usize, usize)| rings[*a].vertices.len() + rings[*b].vertices.len())
        .sum();
    if work > MAXIMUM_TOUCHING {
        return false;
    }
    touching
        .iter()
        .all(|(a, b)| may_touch(&rings[*a], &rings[*b]))
        && nested_well(&rings, &tree, &touching)
}

/// Vertices up to which it is looked for what makes polygons invalid: that takes a time that grows with their square.
const EXPLAINED: usize = 20_000;

/// What makes polygons invalid, in words; of very many vertices only that something does.
pub fn why_not(polygons: &MultiPolygon<f64>) -> String {
    let words = "edges of it cross or lie over each other".to_owned();
    if polygons.coords_count() > EXPLAINED {
        return words;
    }
    let fault = polygons.check_validation().err();
    fault.map_or(words, |fault| fault.to_string())
}

/// Compares the edges of two pieces; false where they make the polygons invalid. Rings that touch are noted.
fn compared(
    rings: &[Ring<'_>],
    piece: &Piece,
    other: &Piece,
    touching: &mut BTreeSet<(usize, usize)>,
) -> bool {
    let ((ring, from, to), (another, first, last)) = (piece.data, other.data);
    for i in from..to {
        let a = rings[ring].edge(i);
        for j in first..last {
            let b = rings[another].edge(j);
            if ring == another {
                // Both orders, as edges of one piece are met once.
                let joined = a.start == b.end || a.end == b.start;
                if i != j && !joined && a.intersects(&b) {
                    return false;
                }
                continue;
            }
            match meeting(&a, &b) {
                Meeting::Apart => {}
                Meeting::Touching => {
                    touching.insert((ring.min(another), ring.max(another)));
                }
                Meeting::Crossing => return false,
            }
        }
    }
    true
}

/// Whether two rings that touch at points do not reach across each other.
fn may_touch(a: &Ring<'_>, b: &Ring<'_>) -> bool {
    let filled = |ring: &Ring<'_>| Polygon::new(ring.own.clone(), Vec::new());
    let relation = filled(a).relate(&filled(b));
    let apart = relation.get(CoordPos::Inside, CoordPos::Inside) != Dimensions::TwoDimensional;
    match (a.part == b.part, a.hole, b.hole) {
        (true, false, true) => relation.is_contains(),
        (true, true, false) => relation.is_within(),
        (true, ..) => apart,
        // A part may lie in a hole of another and touch its edge; which of them lies in which is asked later.
        (false, ..) => apart || relation.is_contains() || relation.is_within(),
    }
}

/// Whether holes lie in their outer ring and in no other hole, and parts in no other's ground. Rings do not cross any more: one vertex speaks for a ring.
fn nested_well(
    rings: &[Ring<'_>],
    tree: &RTree<Piece>,
    touching: &BTreeSet<(usize, usize)>,
) -> bool {
    let boxes = rings.iter().enumerate().map(|(k, ring)| {
        let places: Vec<[f64; 2]> = ring.vertices.iter().map(|c| [c.x, c.y]).collect();
        let whole = AABB::from_points(places.iter());
        GeomWithData::new(Rectangle::from_corners(whole.lower(), whole.upper()), k)
    });
    let boxes = RTree::bulk_load(boxes.collect());
    // Holes that touch their outer ring are known to lie in it.
    let in_touched: BTreeSet<usize> = touching
        .iter()
        .filter(|(a, b)| rings[*a].part == rings[*b].part && rings[*a].hole != rings[*b].hole)
        .map(|(a, b)| if rings[*a].hole { *a } else { *b })
        .collect();
    for (k, ring) in rings.iter().enumerate() {
        let mut around: Vec<usize> = Vec::new();
        let first = ring.vertices[0];
        for found in boxes.locate_in_envelope_intersecting(AABB::from_point([first.x, first.y])) {
            let other = found.data;
            if other == k {
                continue;
            }
            // A vertex that does not lie on the other ring.
            let place = if touching.contains(&(k.min(other), k.max(other))) {
                let middles = ring
                    .vertices
                    .windows(2)
                    .map(|edge| (edge[0] + edge[1]) / 2.0);
                let mut places = ring.vertices.iter().copied().chain(middles);
                match places.find(|c| !rings[other].own.intersects(c)) {
                    Some(place) => place,
                    // The comparison of the two rings has judged them.
                    None => continue,
                }
            } else {
                first
            };
            if inside(tree, rings, other, place) {
                around.push(other);
            }
        }
        let own_outer = around
            .iter()
            .any(|other| rings[*other].part == ring.part && !rings[*other].hole);
        let own_hole = around
            .iter()
            .any(|other| rings[*other].part == ring.part && rings[*other].hole);
        if ring.hole && (own_hole || !(own_outer || in_touched.contains(&k))) {
            return false;
        }
        if ring.hole {
            continue;
        }
        // Every other part around it must have a hole around it, too.
        let outers = around.iter().filter(|other| !rings[**other].hole);
        for outer in outers {
            let part = rings[*outer].part;
            let in_hole = around
                .iter()
                .any(|other| rings[*other].part == part && rings[*other].hole);
            if !in_hole {
                return false;
            }
        }
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::MapCoords as _;
    use proptest::prelude::*;

    fn ring(corners: &[(i32, i32)]) -> LineString<f64> {
        let mut all: Vec<Coord<f64>> = corners
            .iter()
            .map(|(x, y)| Coord {
                x: f64::from(*x),
                y: f64::from(*y),
            })
            .collect();
        all.extend(all.first().copied());
        LineString::new(all)
    }

    /// The verdict of the geo crate, which compares everything with everything.
    fn slow(shape: &MultiPolygon<f64>) -> bool {
        shape.check_validation().is_ok()
    }

    /// Whether a ring turns back on itself: the geo crate passes such a needle over, and what it says of rings that meet one depends on their order.
    fn has_needle(ring: &LineString<f64>) -> bool {
        let mut all = ring.0.clone();
        all.dedup();
        all.pop();
        let count = all.len();
        (0..count).any(|k| {
            let (p, q, r) = (all[k], all[(k + 1) % count], all[(k + 2) % count]);
            let ahead = (q.x - p.x) * (r.x - q.x) + (q.y - p.y) * (r.y - q.y);
            RobustKernel::orient2d(p, q, r) == Orientation::Collinear && ahead < 0.0
        })
    }

    fn corners(most: usize) -> impl Strategy<Value = Vec<(i32, i32)>> {
        prop::collection::vec((0..7_i32, 0..7_i32), 3..most)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(3000))]

        /// On so small a lattice rings touch, cross and overlap in every way.
        #[test]
        fn the_verdict_is_that_of_comparing_everything(
            shell in corners(7),
            holes in prop::collection::vec(corners(5), 0..3),
            other in corners(6),
            with_other in any::<bool>(),
        ) {
            let square = ring(&[(0, 0), (6, 0), (6, 6), (0, 6)]);
            for shell in [ring(&shell), square] {
                let holes: Vec<_> = holes.iter().map(|hole| ring(hole)).collect();
                let mut parts = vec![Polygon::new(shell, holes)];
                if with_other {
                    parts.push(Polygon::new(ring(&other), Vec::new()));
                }
                let shape = MultiPolygon::new(parts);
                let mut rings = shape.iter().flat_map(|part| std::iter::once(part.exterior()).chain(part.interiors()));
                if rings.any(has_needle) {
                    continue;
                }
                prop_assert_eq!(is_valid(&shape), slow(&shape), "{:?}", shape);
                // Turned, so that no edge lies along an axis.
                let turned = shape.map_coords(|c| Coord { x: 3.0 * c.x - c.y, y: c.x + 3.0 * c.y });
                prop_assert_eq!(is_valid(&turned), slow(&turned), "{:?}", turned);
            }
        }
    }

    #[test]
    fn parts_in_holes_of_others() {
        let frame = Polygon::new(
            ring(&[(0, 0), (9, 0), (9, 9), (0, 9)]),
            vec![ring(&[(1, 1), (8, 1), (8, 8), (1, 8)])],
        );
        for (island, valid) in [
            (ring(&[(2, 2), (7, 2), (7, 7)]), true),
            (ring(&[(1, 4), (4, 1), (8, 4), (4, 8)]), true),
            (ring(&[(0, 0), (9, 0), (9, 9), (0, 9)]), false),
            (ring(&[(-1, -1), (10, -1), (10, 10), (-1, 10)]), false),
            (ring(&[(2, 2), (20, 2), (7, 7)]), false),
        ] {
            let shape = MultiPolygon::new(vec![frame.clone(), Polygon::new(island, Vec::new())]);
            assert_eq!(is_valid(&shape), valid, "{shape:?}");
            assert_eq!(slow(&shape), valid, "{shape:?}");
        }
    }

    #[test]
    fn many_vertices_and_many_holes_are_no_matter() {
        // 200 000 vertices and 10 000 holes: comparing all with all would be 2e10 pairs.
        let around = |count: u32, centre: (f64, f64), radius: f64| {
            let mut all: Vec<Coord<f64>> = (0..count)
                .map(|k| {
                    let angle = std::f64::consts::TAU * f64::from(k) / f64::from(count);
                    Coord {
                        x: centre.0 + radius * libm::cos(angle),
                        y: centre.1 + radius * libm::sin(angle),
                    }
                })
                .collect();
            all.push(all[0]);
            LineString::new(all)
        };
        let holes = (0..10_000_u32)
            .map(|k| {
                let (x, y) = (f64::from(k % 100), f64::from(k / 100));
                around(8, (x - 49.5, y - 49.5), 0.3)
            })
            .collect();
        let shell = around(120_000, (0.0, 0.0), 75.0);
        let whole = Polygon::new(shell, holes);
        assert!(is_valid(&MultiPolygon::new(vec![whole.clone()])));
        // One hole over another.
        let (shell, mut holes) = whole.into_inner();
        holes.push(around(8, (0.5, 0.5), 0.1));
        assert!(!is_valid(&MultiPolygon::new(vec![Polygon::new(
            shell, holes
        )])));
    }
}
