//! Corners cut off shared borders, once for both sides, where nothing is in the way.
//!
//! A corner is cut from a point on one of its edges to a point on the other. The triangle that changes sides must hold nothing of any other border, so the outlines stay a partition, and no
//! two cuts of one round can meet: their triangles lie between borders that do not meet, and each edge keeps at least its middle half. Coordinates are rounded to the last bit, so
//! whatever lies within a thousandth of a millimetre of a corner's edges or its cut keeps that corner.
//!
//! # Source
//! Chaikin G. M. (1974), An algorithm for high-speed curve generation, Computer Graphics and Image Processing 3:346-349 (from memory): cuts at a quarter of each edge, again and
//! again. Departs from it: a cut never begins further from the corner than a given length, ends of borders stay, and a cut that would meet anything is left out.

use crate::zones::simplify::arcs::Net;
use crate::zones::simplify::distance_squared;
use geo::{Coord, LineString, MultiPolygon, Polygon};
use rstar::{AABB, RTree, RTreeObject};

/// How often corners are cut; the third round moves borders by centimetres.
const ROUNDS: usize = 3;
/// Where an edge is cut, from the corner.
const QUARTER: f64 = 0.25;
/// Shorter cuts show on no map. \[m\]
const MINIMUM_CUT: f64 = 0.05;
/// Whatever comes nearer than this to a corner's edges or its cut keeps it. \[m\] Coordinates of 10 000 km are known to 2e-9 m.
const CLEAR: f64 = 1e-6;

/// What rounding did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Rounded {
    /// Corners that were cut, over all rounds.
    pub cut: usize,
    /// Corners that were kept because something lay in the way.
    pub kept: usize,
}

/// A point of an arc, and the vertex of the outlines that it stems from.
type Bead = (Coord<f64>, u32);

/// One edge as it stands.
#[derive(Clone, Copy)]
struct Edge {
    a: Coord<f64>,
    b: Coord<f64>,
    /// Number among all edges.
    number: u32,
}

impl RTreeObject for Edge {
    type Envelope = AABB<[f64; 2]>;
    fn envelope(&self) -> Self::Envelope {
        AABB::from_corners([self.a.x, self.a.y], [self.b.x, self.b.y])
    }
}

/// Rounds the corners of outlines that share their vertices bit for bit: each cut begins at most `longest` from its corner, so that borders move by no more than that. \[m\]
///
/// `keep` as for simplification: edges that stay besides those that only one outline has. A length of 0 (or one that is not a positive number) changes nothing.
pub fn round_corners(
    outlines: &mut [MultiPolygon<f64>],
    longest: f64,
    keep: impl Fn(Coord<f64>, Coord<f64>) -> bool,
) -> Rounded {
    let mut done = Rounded::default();
    if !(longest.is_finite() && longest > 0.0) {
        return done;
    }
    let net = Net::of(outlines, keep);
    let bead = |&v: &u32| (net.point[v as usize], v);
    let mut arcs: Vec<Vec<Bead>> = (0..net.arcs())
        .map(|arc| net.along[net.arc(arc)].iter().map(bead).collect())
        .collect();
    for _ in 0..ROUNDS {
        let before = done;
        cut_once(&net, &mut arcs, longest, &mut done);
        if done.cut == before.cut {
            break;
        }
    }
    put_back(outlines, &net, &arcs);
    done
}

/// One round: every corner that has room is cut. A loop without an end is an arc whose first point is its last.
fn cut_once(net: &Net, arcs: &mut [Vec<Bead>], longest: f64, done: &mut Rounded) {
    let mut edges = Vec::new();
    let mut first_edge = Vec::with_capacity(arcs.len());
    for arc in arcs.iter() {
        first_edge.push(edges.len() as u32);
        for pair in arc.windows(2) {
            edges.push(Edge {
                a: pair[0].0,
                b: pair[1].0,
                number: edges.len() as u32,
            });
        }
    }
    for &(a, b) in &net.fixed {
        edges.push(Edge {
            a: net.point[a as usize],
            b: net.point[b as usize],
            number: edges.len() as u32,
        });
    }
    let tree = RTree::bulk_load(edges);
    for (arc, &first) in arcs.iter_mut().zip(&first_edge) {
        let last = arc.len() - 1;
        let closed = last > 2 && arc[0].1 == arc[last].1 && net.is_loop(arc[0].1);
        let mut new: Vec<Bead> = Vec::with_capacity(2 * arc.len());
        let mut seam = None;
        if !closed {
            new.push(arc[0]);
        }
        let corners = if closed { 0..last } else { 1..last };
        for i in corners {
            let before = if i == 0 { last - 1 } else { i - 1 };
            let own = [first + before as u32, first + i as u32];
            match cut_at([arc[before].0, arc[i].0, arc[i + 1].0], longest) {
                Some(cut) if is_clear(&cut, own, &tree) => {
                    new.extend([(cut.from, arc[i].1), (cut.to, arc[i].1)]);
                    done.cut += 1;
                }
                Some(_) => {
                    new.push(arc[i]);
                    done.kept += 1;
                }
                None => new.push(arc[i]),
            }
            seam = seam.or_else(|| new.first().copied());
        }
        if closed {
            new.extend(seam);
        } else {
            new.push(arc[last]);
        }
        *arc = new;
    }
}

/// A corner that may be cut.
struct Cut {
    before: Coord<f64>,
    corner: Coord<f64>,
    after: Coord<f64>,
    from: Coord<f64>,
    to: Coord<f64>,
}

/// Where a corner is cut; `None` where the cut would be too short, or the border runs straight on.
fn cut_at([before, corner, after]: [Coord<f64>; 3], longest: f64) -> Option<Cut> {
    let toward = |end: Coord<f64>| {
        let away = end - corner;
        let length = libm::hypot(away.x, away.y);
        let cut = (QUARTER * length).min(longest);
        (cut >= MINIMUM_CUT).then(|| Coord {
            x: corner.x + away.x * (cut / length),
            y: corner.y + away.y * (cut / length),
        })
    };
    let (from, to) = (toward(before)?, toward(after)?);
    // The corner's height over its cut: below it there is no corner worth cutting.
    (distance_squared(corner, from, to) > (MINIMUM_CUT / 4.0) * (MINIMUM_CUT / 4.0)).then_some(
        Cut {
            before,
            corner,
            after,
            from,
            to,
        },
    )
}

/// Whether nothing but the corner's own two edges lies in the triangle that is cut off, or too near to what bounds it.
fn is_clear(cut: &Cut, own: [u32; 2], tree: &RTree<Edge>) -> bool {
    let corners = [cut.before, cut.corner, cut.after];
    let minimum =
        |of: fn(&Coord<f64>) -> f64| corners.iter().map(of).fold(f64::INFINITY, f64::min) - CLEAR;
    let most = |of: fn(&Coord<f64>) -> f64| {
        corners.iter().map(of).fold(f64::NEG_INFINITY, f64::max) + CLEAR
    };
    let about = AABB::from_corners(
        [minimum(|p| p.x), minimum(|p| p.y)],
        [most(|p| p.x), most(|p| p.y)],
    );
    tree.locate_in_envelope_intersecting(about)
        .filter(|edge| !own.contains(&edge.number))
        .all(|edge| {
            let near =
                |p: Coord<f64>, q: Coord<f64>| apart_squared(edge.a, edge.b, p, q) <= CLEAR * CLEAR;
            // An edge that goes on from an end of the corner's touches it there, and must lead away.
            let leads_away = |end: Coord<f64>| {
                let rest = if edge.a == end {
                    Some(edge.b)
                } else {
                    (edge.b == end).then_some(edge.a)
                };
                rest.map_or_else(
                    || !near(end, cut.corner),
                    |rest| distance_squared(rest, end, cut.corner) > CLEAR * CLEAR,
                )
            };
            leads_away(cut.before)
                && leads_away(cut.after)
                && !near(cut.from, cut.to)
                && !in_triangle(edge.a, cut)
        })
}

/// Whether a point lies in the triangle that is cut off.
fn in_triangle(p: Coord<f64>, cut: &Cut) -> bool {
    let side = |a: Coord<f64>, b: Coord<f64>| (b.x - a.x) * (p.y - a.y) - (b.y - a.y) * (p.x - a.x);
    let sides = [
        side(cut.from, cut.corner),
        side(cut.corner, cut.to),
        side(cut.to, cut.from),
    ];
    sides.iter().all(|&s| s >= 0.0) || sides.iter().all(|&s| s <= 0.0)
}

/// Square of the distance between two segments; 0 where they cross.
fn apart_squared(a: Coord<f64>, b: Coord<f64>, c: Coord<f64>, d: Coord<f64>) -> f64 {
    let side = |p: Coord<f64>, q: Coord<f64>, r: Coord<f64>| {
        (q.x - p.x) * (r.y - p.y) - (q.y - p.y) * (r.x - p.x)
    };
    if side(a, b, c) * side(a, b, d) < 0.0 && side(c, d, a) * side(c, d, b) < 0.0 {
        return 0.0;
    }
    distance_squared(a, c, d)
        .min(distance_squared(b, c, d))
        .min(distance_squared(c, a, b))
        .min(distance_squared(d, a, b))
}

/// Draws the rings anew: each vertex that was cut is replaced by the points that stem from it, in the ring's own direction.
fn put_back(outlines: &mut [MultiPolygon<f64>], net: &Net, arcs: &[Vec<Bead>]) {
    /// Points that stem from one vertex, along its arc, and the vertex that came before it there.
    #[derive(Clone, Copy)]
    struct Run {
        arc: u32,
        from: u32,
        to: u32,
        after: u32,
    }
    let mut runs: Vec<Option<Run>> = vec![None; net.point.len()];
    for (arc, beads) in arcs.iter().enumerate() {
        let along = &net.along[net.arc(arc)];
        let closed = along.len() > 3 && along[0] == along[along.len() - 1] && net.is_loop(along[0]);
        // The closing point of a loop repeats its first.
        let beads = if closed {
            &beads[..beads.len() - 1]
        } else {
            &beads[1..beads.len() - 1]
        };
        let own = if closed {
            &along[..along.len() - 1]
        } else {
            &along[1..along.len() - 1]
        };
        let shift = u32::from(!closed);
        let mut at = 0;
        for (k, &v) in own.iter().enumerate() {
            let from = at;
            while beads.get(at).is_some_and(|bead| bead.1 == v) {
                at += 1;
            }
            let before = if k > 0 {
                own[k - 1]
            } else if closed {
                own[own.len() - 1]
            } else {
                along[0]
            };
            runs[v as usize] = Some(Run {
                arc: arc as u32,
                from: from as u32 + shift,
                to: at as u32 + shift,
                after: before,
            });
        }
    }
    let mut next = net.rings.iter();
    let mut redrawn = |ring: &LineString<f64>| {
        let ids: Vec<u32> = next
            .by_ref()
            .take(ring.0.len().saturating_sub(1))
            .copied()
            .collect();
        let mut line: Vec<Coord<f64>> = Vec::with_capacity(ring.0.len());
        for (k, &v) in ids.iter().enumerate() {
            let Some(run) = runs[v as usize] else {
                line.push(net.point[v as usize]);
                continue;
            };
            let beads = arcs[run.arc as usize][run.from as usize..run.to as usize]
                .iter()
                .map(|bead| bead.0);
            let before = ids[if k == 0 { ids.len() - 1 } else { k - 1 }];
            if before == run.after {
                line.extend(beads);
            } else {
                line.extend(beads.rev());
            }
        }
        if let Some(&first) = line.first() {
            line.push(first);
        }
        LineString::new(line)
    };
    for outline in outlines {
        for polygon in &mut outline.0 {
            let exterior = redrawn(polygon.exterior());
            *polygon = Polygon::new(
                exterior,
                polygon.interiors().iter().map(&mut redrawn).collect(),
            );
        }
    }
}
