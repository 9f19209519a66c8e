//! Arcs thinned so that nothing crosses, touches or changes sides.

use crate::zones::simplify::arcs::Net;
use crate::zones::simplify::distance_squared;
use geo::Coord;
use geo::algorithm::kernels::{Kernel, Orientation, RobustKernel};
use rstar::{AABB, RTree, RTreeObject};
use std::collections::BTreeSet;

/// Shares of the tolerance that an arc is tried with, one after the other.
const SHARES: [f64; 4] = [1.0, 0.5, 0.25, 0.0];
/// After so many rounds an arc in conflict is no longer tried with less, but kept as it is.
const PATIENCE: usize = 6;
/// The arc of an edge that stays.
const FIXED: u32 = u32::MAX;

/// One straight piece of the network as it stands: an edge, or what stands for a run of edges.
#[derive(Clone, Copy)]
struct Straight {
    a: u32,
    b: u32,
    arc: u32,
    /// The run that it stands for, in [`Net::along`], both ends included; for edges that stay, their number.
    from: u32,
    to: u32,
    low: [f64; 2],
    high: [f64; 2],
}

impl Straight {
    /// Whether it leaves vertices out.
    const fn shortens(&self) -> bool {
        self.to > self.from + 1
    }
}

impl RTreeObject for Straight {
    type Envelope = AABB<[f64; 2]>;
    fn envelope(&self) -> Self::Envelope {
        AABB::from_corners(self.low, self.high)
    }
}

/// The arcs of a network on their way to fewer vertices.
pub(super) struct Thinning<'a> {
    net: &'a Net,
    tolerance: f64,
    /// Which share of the tolerance each arc is thinned with.
    level: Vec<usize>,
    /// For each place in [`Net::along`], whether its vertex stays.
    kept: Vec<bool>,
}

impl<'a> Thinning<'a> {
    pub(super) fn new(net: &'a Net, tolerance: f64) -> Self {
        Self {
            net,
            tolerance,
            level: vec![0; net.arcs()],
            kept: vec![true; net.along.len()],
        }
    }

    /// Which vertices stay, and how many arcs had to be held back.
    pub(super) fn run(mut self) -> (Vec<bool>, usize) {
        for arc in 0..self.net.arcs() {
            self.thin(arc);
        }
        let mut doubtful: BTreeSet<u32> = (0..self.net.arcs() as u32).collect();
        for round in 0.. {
            let tree = RTree::bulk_load(self.straights());
            let clashes: BTreeSet<u32> = doubtful
                .iter()
                .flat_map(|&arc| self.clashes(arc as usize, &tree))
                .collect();
            if clashes.is_empty() {
                break;
            }
            for &arc in &clashes {
                let level = &mut self.level[arc as usize];
                *level = if round < PATIENCE {
                    *level + 1
                } else {
                    SHARES.len() - 1
                };
                self.thin(arc as usize);
            }
            // What lies about a changed arc may now be in its way.
            doubtful = clashes
                .iter()
                .flat_map(|&arc| self.neighbours(arc as usize, &tree))
                .chain(clashes.iter().copied())
                .collect();
        }
        let mut kept = vec![true; self.net.point.len()];
        for (&v, &stays) in self.net.along.iter().zip(&self.kept) {
            kept[v as usize] &= stays;
        }
        (kept, self.level.iter().filter(|&&level| level > 0).count())
    }

    fn at(&self, v: u32) -> Coord<f64> {
        self.net.point[v as usize]
    }

    /// Decides anew which vertices of an arc stay: those without which it would move too far.
    fn thin(&mut self, arc: usize) {
        let (span, tolerance) = (self.net.arc(arc), self.tolerance * SHARES[self.level[arc]]);
        if tolerance <= 0.0 {
            self.kept[span].fill(true);
            return;
        }
        self.kept[span.clone()].fill(false);
        let (first, last) = (span.start, span.end - 1);
        self.kept[first] = true;
        self.kept[last] = true;
        let closed = self.net.along[first] == self.net.along[last];
        let mut open = vec![(first, last)];
        while let Some((from, to)) = open.pop() {
            let ends = (self.at(self.net.along[from]), self.at(self.net.along[to]));
            let mut far = (0.0, from);
            for i in from + 1..to {
                let away = distance_squared(self.at(self.net.along[i]), ends.0, ends.1);
                if away > far.0 {
                    far = (away, i);
                }
            }
            // A loop keeps its far end, so that it stays a loop.
            let whole_loop = closed && from == first && to == last;
            if far.1 != from && (far.0 > tolerance * tolerance || whole_loop) {
                self.kept[far.1] = true;
                open.extend([(from, far.1), (far.1, to)]);
            }
        }
    }

    /// The straight pieces of one arc as it stands.
    fn straights_of(&self, arc: usize) -> impl Iterator<Item = Straight> + '_ {
        let span = self.net.arc(arc);
        let mut from = span.start;
        (span.start + 1..span.end)
            .filter(|&i| self.kept[i])
            .map(move |to| {
                let straight = self.straight(
                    self.net.along[from],
                    self.net.along[to],
                    arc as u32,
                    (from as u32, to as u32),
                );
                from = to;
                straight
            })
    }

    fn straight(&self, a: u32, b: u32, arc: u32, (from, to): (u32, u32)) -> Straight {
        let (p, q) = (self.at(a), self.at(b));
        Straight {
            a,
            b,
            arc,
            from,
            to,
            low: [p.x.min(q.x), p.y.min(q.y)],
            high: [p.x.max(q.x), p.y.max(q.y)],
        }
    }

    fn straights(&self) -> Vec<Straight> {
        let fixed = self
            .net
            .fixed
            .iter()
            .zip(0..)
            .map(|(&(a, b), i)| self.straight(a, b, FIXED, (i, i)));
        (0..self.net.arcs())
            .flat_map(|arc| self.straights_of(arc))
            .chain(fixed)
            .collect()
    }

    /// Arcs that must be held back because of the pieces of this one.
    fn clashes(&self, arc: usize, tree: &RTree<Straight>) -> Vec<u32> {
        let mut found = Vec::new();
        for own in self.straights_of(arc).filter(Straight::shortens) {
            let run = &self.net.along[own.from as usize..=own.to as usize];
            for other in tree.locate_in_envelope_intersecting(self.about(run, 0.0)) {
                if (other.arc, other.from) == (own.arc, own.from) {
                    continue;
                }
                if self.meet(&own, other) {
                    found.push(own.arc);
                    if other.shortens() {
                        found.push(other.arc);
                    }
                } else if [other.a, other.b]
                    .into_iter()
                    .any(|v| v != own.a && v != own.b && self.swept(run, v))
                {
                    found.push(own.arc);
                }
            }
        }
        found
    }

    /// Arcs with a straightened piece near this one.
    fn neighbours(&self, arc: usize, tree: &RTree<Straight>) -> Vec<u32> {
        let about = self.about(&self.net.along[self.net.arc(arc)], self.tolerance);
        tree.locate_in_envelope_intersecting(about)
            .filter(|other| other.shortens())
            .map(|other| other.arc)
            .collect()
    }

    fn about(&self, run: &[u32], margin: f64) -> AABB<[f64; 2]> {
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for &v in run {
            let p = self.at(v);
            (low, high) = (
                [low[0].min(p.x), low[1].min(p.y)],
                [high[0].max(p.x), high[1].max(p.y)],
            );
        }
        AABB::from_corners(low.map(|x| x - margin), high.map(|x| x + margin))
    }

    /// Whether two pieces meet anywhere but at an end that they share.
    fn meet(&self, s: &Straight, t: &Straight) -> bool {
        let shared = [(s.a, s.b), (s.b, s.a)]
            .into_iter()
            .find_map(|(end, rest)| {
                if end == t.a {
                    Some((end, rest, t.b))
                } else {
                    (end == t.b).then_some((end, rest, t.a))
                }
            });
        let point = |v: u32| self.at(v);
        if let Some((end, own, other)) = shared {
            let (end, own, other) = (point(end), point(own), point(other));
            let ahead =
                (own.x - end.x) * (other.x - end.x) + (own.y - end.y) * (other.y - end.y) > 0.0;
            return own == other || (ahead && turn(end, own, other) == Orientation::Collinear);
        }
        if (0..2).any(|axis| s.high[axis] < t.low[axis] || t.high[axis] < s.low[axis]) {
            return false;
        }
        let [a, b, c, d] = [s.a, s.b, t.a, t.b].map(point);
        let apart = |x: Orientation, y: Orientation| x == y && x != Orientation::Collinear;
        // Collinear pieces whose boxes meet count as meeting: at worst an arc is held back for nothing.
        !(apart(turn(a, b, c), turn(a, b, d)) || apart(turn(c, d, a), turn(c, d, b)))
    }

    /// Whether a vertex lies between a run and the straight piece from its first to its last vertex.
    fn swept(&self, run: &[u32], v: u32) -> bool {
        let q = self.at(v);
        let ends = (self.at(run[0]), self.at(run[run.len() - 1]));
        // All that is swept lies within the tolerance of the straight piece.
        if distance_squared(q, ends.0, ends.1) > self.tolerance * self.tolerance {
            return false;
        }
        let last_to_first = [run[run.len() - 1], run[0]];
        run.windows(2)
            .chain(std::iter::once(last_to_first.as_slice()))
            .filter(|edge| self.crosses_ray(edge[0], edge[1], q))
            .count()
            % 2
            == 1
    }

    /// Whether the ray from `q` towards greater x crosses an edge.
    fn crosses_ray(&self, a: u32, b: u32, q: Coord<f64>) -> bool {
        let (a, b) = (self.at(a), self.at(b));
        if (a.y > q.y) == (b.y > q.y) {
            return false;
        }
        let (low, high) = if a.y < b.y { (a, b) } else { (b, a) };
        turn(low, high, q) == Orientation::CounterClockwise
    }
}

/// The sense in which `a → b → c` turns, exactly.
fn turn(a: Coord<f64>, b: Coord<f64>, c: Coord<f64>) -> Orientation {
    RobustKernel::orient2d(a, b, c)
}
