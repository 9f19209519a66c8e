//! Splits a field into the parts that are driven their own way: one planar partition, whose parts share every vertex of their seams bit for bit.
//!
//! Polygon overlay works on a grid of whole numbers and so moves every vertex by a hair. The parts are settled afterwards: vertices of the field get their own numbers back, what meets the field's
//! edge is put onto it, near vertices of two parts become one, and a vertex on somebody's edge splits it. Whether that left a gap or an overlap is checked edge by edge, never assumed.

use std::collections::BTreeMap;

use geo::{BooleanOps, BoundingRect, Coord, LineString, MultiPolygon, Polygon, Rect};
use rstar::{AABB, RTree};

use crate::space::polygon::{joined, less, oriented};

/// What overlay may move a vertex by, as a share of the field's longer side: about 0.06 mm on 2 km. \[–\]
const RELATIVE_TOLERANCE: f64 = 3e-8;
/// No hair is finer than this. \[m\]
const MINIMUM_TOLERANCE: f64 = 1e-6;

/// Edges that lie about a hair apart are taken for one here and for two there: then a hair is so many times as wide, 15 mm on 2 km at most.
const WIDER: [f64; 4] = [4.0, 16.0, 64.0, 256.0];

/// A place that was put onto an edge lies no further from it than this, by rounding. \[m\]
const ON_EDGE: f64 = 2e-8;

/// The parts do not fit together.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("the areas do not fit together at x = {x:.3} m, y = {y:.3} m of the working plane")]
#[non_exhaustive]
pub struct SeamError {
    /// Where. \[m\]
    pub x: f64,
    /// Where. \[m\]
    pub y: f64,
}

/// An edge by the bits of its ends, the lesser first.
pub(crate) type EdgeKey = ([u64; 2], [u64; 2]);

/// A place by its bits, one zero instead of two.
pub(crate) fn bits(p: [f64; 2]) -> [u64; 2] {
    [(p[0] + 0.0).to_bits(), (p[1] + 0.0).to_bits()]
}

/// Distance of a point from a segment, and how far along the segment its foot lies. \[m\]
pub(crate) fn off_and_along(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> (f64, f64) {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let length = libm::hypot(dx, dy);
    if length == 0.0 {
        return (libm::hypot(p[0] - a[0], p[1] - a[1]), 0.0);
    }
    let along = (((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / length).clamp(0.0, length);
    let foot = [a[0] + along / length * dx, a[1] + along / length * dy];
    (libm::hypot(p[0] - foot[0], p[1] - foot[1]), along)
}

fn around(a: [f64; 2], b: [f64; 2], by: f64) -> AABB<[f64; 2]> {
    AABB::from_corners(
        [a[0].min(b[0]) - by, a[1].min(b[1]) - by],
        [a[0].max(b[0]) + by, a[1].max(b[1]) + by],
    )
}

/// Points of a set that lie on an edge, its ends left out, in the edge's direction.
pub(crate) fn on_edge(
    points: &RTree<[f64; 2]>,
    a: [f64; 2],
    b: [f64; 2],
    within: f64,
) -> Vec<[f64; 2]> {
    let found = points
        .locate_in_envelope(around(a, b, within))
        .filter(|&&p| bits(p) != bits(a) && bits(p) != bits(b));
    let mut on: Vec<(f64, [f64; 2])> = found
        .filter_map(|&p| {
            let (off, along) = off_and_along(p, a, b);
            (off <= within).then_some((along, p))
        })
        .collect();
    on.sort_by(|p, q| p.0.total_cmp(&q.0).then(bits(p.1).cmp(&bits(q.1))));
    on.into_iter().map(|(_, p)| p).collect()
}

/// A set of places in which near ones are one.
pub(crate) struct Places {
    tree: RTree<[f64; 2]>,
    within: f64,
}

impl Places {
    pub(crate) fn new(points: Vec<[f64; 2]>, within: f64) -> Self {
        Self {
            tree: RTree::bulk_load(points),
            within,
        }
    }
    /// The place that is so near that it is the same.
    pub(crate) fn known(&self, p: [f64; 2]) -> Option<[f64; 2]> {
        let near = self.tree.nearest_neighbor(p)?;
        (libm::hypot(near[0] - p[0], near[1] - p[1]) <= self.within).then_some(*near)
    }
    pub(crate) fn add(&mut self, p: [f64; 2]) {
        self.tree.insert(p);
    }
    pub(crate) const fn tree(&self) -> &RTree<[f64; 2]> {
        &self.tree
    }
}

/// Without points that repeat and edges that turn back on themselves; open ring in, open ring out.
pub(crate) fn tidied(mut ring: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    let (mut at, mut calm) = (0, 0);
    while ring.len() >= 3 && calm < ring.len() {
        let n = ring.len();
        at %= n;
        let (before, here, after) = (
            bits(ring[(at + n - 1) % n]),
            bits(ring[at]),
            bits(ring[(at + 1) % n]),
        );
        if here == after || before == after {
            ring.remove(at);
            at = (at + n).saturating_sub(2);
            calm = 0;
        } else {
            at += 1;
            calm += 1;
        }
    }
    ring
}

/// Splits `field` into what no area covers and the areas, in their order; where areas overlap the earlier one has the ground. A part without ground is empty.
///
/// # Errors
/// [`SeamError`] when parts would leave a gap or overlap.
pub fn split(
    field: &MultiPolygon<f64>,
    areas: &[MultiPolygon<f64>],
) -> Result<Vec<MultiPolygon<f64>>, SeamError> {
    let Some(extent) = field.bounding_rect() else {
        return Ok(vec![MultiPolygon::new(Vec::new()); areas.len() + 1]);
    };
    let hair = (RELATIVE_TOLERANCE * extent.width().max(extent.height())).max(MINIMUM_TOLERANCE);
    // What lies far outside the field would only coarsen the overlay.
    let window = Rect::new(
        Coord {
            x: extent.min().x - 100.0,
            y: extent.min().y - 100.0,
        },
        Coord {
            x: extent.max().x + 100.0,
            y: extent.max().y + 100.0,
        },
    );
    let window = MultiPolygon::new(vec![window.to_polygon()]);
    let mut parts = Vec::new();
    let mut taken = MultiPolygon::new(Vec::new());
    for area in areas {
        let near = area.intersection(&window);
        parts.push(less(&field.intersection(&near), &taken));
        taken = joined(&[taken, near]);
    }
    parts.insert(0, less(field, &taken));
    let mut done = settled(field, &parts, hair);
    for wider in WIDER {
        if done.is_err() {
            done = settled(field, &parts, wider * hair).or(done);
        }
    }
    done
}

fn settled(
    field: &MultiPolygon<f64>,
    parts: &[MultiPolygon<f64>],
    hair: f64,
) -> Result<Vec<MultiPolygon<f64>>, SeamError> {
    let field_rings: Vec<Vec<[f64; 2]>> = open_rings(field);
    let mut places = Places::new(field_rings.iter().flatten().copied().collect(), hair);
    let edges = RTree::bulk_load(
        field_rings
            .iter()
            .flat_map(|ring| {
                ring.iter()
                    .zip(ring.iter().cycle().skip(1))
                    .map(|(&a, &b)| rstar::primitives::Line::new(a, b))
            })
            .collect(),
    );
    let mut snapped = |p: [f64; 2]| -> [f64; 2] {
        if let Some(known) = places.known(p) {
            return known;
        }
        let near = edges
            .nearest_neighbor(p)
            .map(|edge| (edge.from, edge.to))
            .map(|(a, b)| (a, b, off_and_along(p, a, b)));
        let placed = match near {
            Some((a, b, (off, along))) if off <= hair => {
                let share = along / libm::hypot(b[0] - a[0], b[1] - a[1]);
                [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]
            }
            _ => p,
        };
        places.known(placed).unwrap_or_else(|| {
            places.add(placed);
            placed
        })
    };
    let mut moved = Vec::with_capacity(parts.len());
    for part in parts {
        moved.push(
            oriented(part)
                .iter()
                .map(|polygon| {
                    let mut ring = |line: &LineString<f64>| -> Vec<[f64; 2]> {
                        open(line).into_iter().map(&mut snapped).collect()
                    };
                    (
                        ring(polygon.exterior()),
                        polygon
                            .interiors()
                            .iter()
                            .map(&mut ring)
                            .collect::<Vec<_>>(),
                    )
                })
                .collect::<Vec<_>>(),
        );
    }
    // The field's own edges take what was put onto them and nothing else: at a sharp corner the other edge is near, too.
    let on_field = |a: [f64; 2], b: [f64; 2]| {
        let middle = [f64::midpoint(a[0], b[0]), f64::midpoint(a[1], b[1])];
        edges.nearest_neighbor(middle).is_some_and(|edge| {
            [a, middle, b]
                .iter()
                .all(|&p| off_and_along(p, edge.from, edge.to).0 <= ON_EDGE)
        })
    };
    let split_up = |ring: &[[f64; 2]]| {
        tidied(noded(ring, places.tree(), |a, b| {
            if on_field(a, b) { ON_EDGE } else { hair }
        }))
    };
    let parts: Vec<MultiPolygon<f64>> = moved
        .iter()
        .map(|polygons| {
            let polygon = |(exterior, holes): &(Vec<[f64; 2]>, Vec<Vec<[f64; 2]>>)| {
                let exterior = split_up(exterior);
                let holes = holes
                    .iter()
                    .map(|hole| split_up(hole))
                    .filter(|hole| hole.len() >= 3)
                    .map(|hole| closed(&hole))
                    .collect();
                (exterior.len() >= 3).then(|| Polygon::new(closed(&exterior), holes))
            };
            polygons.iter().filter_map(polygon).collect()
        })
        .collect();
    check(
        &field_rings
            .iter()
            .map(|ring| split_up(ring))
            .collect::<Vec<_>>(),
        &parts,
    )?;
    Ok(parts)
}

/// A ring with every place that lies on one of its edges, as near as `within` says of an edge.
fn noded(
    ring: &[[f64; 2]],
    places: &RTree<[f64; 2]>,
    within: impl Fn([f64; 2], [f64; 2]) -> f64,
) -> Vec<[f64; 2]> {
    let mut out = Vec::with_capacity(ring.len());
    for (&a, &b) in ring.iter().zip(ring.iter().cycle().skip(1)) {
        out.push(a);
        out.extend(on_edge(places, a, b, within(a, b)));
    }
    out
}

/// Every edge must be the field's, or be walked once each way by two parts.
fn check(field: &[Vec<[f64; 2]>], parts: &[MultiPolygon<f64>]) -> Result<(), SeamError> {
    let mut walks: BTreeMap<EdgeKey, i32> = BTreeMap::new();
    let mut walk = |ring: &[[f64; 2]], sign: i32| {
        for (&a, &b) in ring.iter().zip(ring.iter().cycle().skip(1)) {
            let (a, b) = (bits(a), bits(b));
            let way = if a < b { sign } else { -sign };
            *walks.entry((a.min(b), a.max(b))).or_default() += way;
        }
    };
    for ring in field {
        walk(ring, -1);
    }
    for ring in parts.iter().flat_map(open_rings) {
        walk(&ring, 1);
    }
    match walks.into_iter().find(|(_, left)| *left != 0) {
        Some(((a, _), _)) => Err(SeamError {
            x: f64::from_bits(a[0]),
            y: f64::from_bits(a[1]),
        }),
        None => Ok(()),
    }
}

fn open(line: &LineString<f64>) -> Vec<[f64; 2]> {
    let mut ring: Vec<[f64; 2]> = line.0.iter().map(|c| [c.x, c.y]).collect();
    ring.pop();
    ring
}

fn closed(ring: &[[f64; 2]]) -> LineString<f64> {
    LineString::from(ring.iter().chain(ring.first()).copied().collect::<Vec<_>>())
}

/// The rings of a shape without their closing points.
pub(crate) fn open_rings(shape: &MultiPolygon<f64>) -> Vec<Vec<[f64; 2]>> {
    shape
        .0
        .iter()
        .flat_map(|polygon| std::iter::once(polygon.exterior()).chain(polygon.interiors()))
        .map(open)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use geo::Area;
    use proptest::prelude::*;

    fn rectangle(west: f64, south: f64, east: f64, north: f64) -> MultiPolygon<f64> {
        let (x, y) = (5e5, 5.4e6);
        MultiPolygon::new(vec![
            Rect::new(
                Coord {
                    x: x + west,
                    y: y + south,
                },
                Coord {
                    x: x + east,
                    y: y + north,
                },
            )
            .to_polygon(),
        ])
    }

    fn areas(parts: &[MultiPolygon<f64>]) -> Vec<f64> {
        parts
            .iter()
            .map(|part| libm::round(part.unsigned_area()))
            .collect()
    }

    #[test]
    fn earlier_areas_have_the_ground_and_the_field_keeps_its_vertices() {
        let field = rectangle(0.0, 0.0, 400.0, 300.0);
        let parts = split(
            &field,
            &[
                rectangle(-50.0, -50.0, 100.0, 100.0),
                rectangle(50.0, 0.0, 200.0, 100.0),
                rectangle(900.0, 0.0, 950.0, 10.0),
            ],
        )
        .unwrap();
        assert_eq!(
            areas(&parts),
            [120_000.0 - 20_000.0, 10_000.0, 10_000.0, 0.0]
        );
        assert!(parts[3].0.is_empty());
        let corner = bits([5e5, 5.4e6]);
        assert!(
            open_rings(&parts[1])
                .iter()
                .flatten()
                .any(|&p| bits(p) == corner),
            "the field's corner to the last bit"
        );
        assert_relative_eq!(
            parts.iter().map(Area::unsigned_area).sum::<f64>(),
            field.unsigned_area(),
            max_relative = 1e-11
        );
    }

    #[test]
    fn an_area_like_the_field_leaves_nothing() {
        let field = rectangle(0.0, 0.0, 400.0, 300.0);
        let parts = split(&field, std::slice::from_ref(&field)).unwrap();
        assert!(parts[0].0.is_empty());
        assert_eq!(parts[1].unsigned_area(), field.unsigned_area());
    }

    proptest! {
        #[test]
        fn areas_drawn_along_the_fields_edge_by_a_shaky_hand_fit(
            radii in prop::collection::vec(60.0..300.0_f64, 5..40),
            shakes in prop::collection::vec((-1.0..1.0_f64, -1.0..1.0_f64), 40),
            power in 1_i32..10,
            cut in -100.0..100.0_f64,
        ) {
            // The area is the field's own outline, each vertex moved by up to 0.1 m … 0.1 nm, east of a line: what a user draws who follows the boundary.
            let corner = |k: usize, by: f64| {
                let a = 0.3 + std::f64::consts::TAU * k as f64 / radii.len() as f64;
                Coord { x: 5e5 + radii[k] * libm::cos(a) + by * shakes[k].0, y: 5.4e6 + radii[k] * libm::sin(a) + by * shakes[k].1 }
            };
            let outline = |by: f64| oriented(&MultiPolygon::new(vec![Polygon::new(LineString::new((0..radii.len()).map(|k| corner(k, by)).collect()), Vec::new())]));
            let field = outline(0.0);
            let near = outline(libm::pow(10.0, -f64::from(power)));
            let east = near.intersection(&rectangle(cut, -1000.0, 1000.0, 1000.0));
            for areas in [vec![near], vec![east]] {
                let parts = split(&field, &areas).unwrap();
                let sum: f64 = parts.iter().map(Area::unsigned_area).sum();
                prop_assert!((sum / field.unsigned_area() - 1.0).abs() < 1e-10, "{sum} {}", field.unsigned_area());
            }
        }

        #[test]
        fn parts_of_any_star_are_a_partition(radii in prop::collection::vec(60.0..300.0_f64, 5..30), cuts in prop::collection::vec((-250.0..250.0_f64, -250.0..250.0_f64, 20.0..200.0_f64, 3..9_usize), 1..4)) {
            let star = |x: f64, y: f64, radii: &[f64]| {
                let n = radii.len() as f64;
                let ring: Vec<Coord<f64>> = radii.iter().enumerate().map(|(i, r)| {
                    let a = 0.3 + std::f64::consts::TAU * i as f64 / n;
                    Coord { x: 5e5 + x + r * libm::cos(a), y: 5.4e6 + y + r * libm::sin(a) }
                }).collect();
                MultiPolygon::new(vec![Polygon::new(LineString::new(ring), Vec::new())])
            };
            let field = oriented(&star(0.0, 0.0, &radii));
            let shapes: Vec<_> = cuts.iter().map(|&(x, y, r, n)| star(x, y, &vec![r; n])).collect();
            // That there is no gap and no overlap is checked inside.
            let parts = split(&field, &shapes).unwrap();
            let sum: f64 = parts.iter().map(Area::unsigned_area).sum();
            prop_assert!((sum / field.unsigned_area() - 1.0).abs() < 1e-10, "{sum} {}", field.unsigned_area());
        }
    }
}
