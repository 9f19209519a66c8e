//! Outlines taken apart into arcs.

use geo::{Coord, CoordsIter, MultiPolygon};
use std::cmp::Ordering;
use std::ops::Range;

/// Outlines as a network: vertices, edges that stay, and arcs that may be thinned.
pub(super) struct Net {
    /// Different vertices, by x, then y.
    pub(super) point: Vec<Coord<f64>>,
    /// Vertices of all rings in order, each ring without its closing point.
    pub(super) rings: Vec<u32>,
    /// Edges that stay.
    pub(super) fixed: Vec<(u32, u32)>,
    /// Vertices of all arcs, one arc after the other.
    pub(super) along: Vec<u32>,
    /// Where each arc begins in `along`, and where the last ends.
    start: Vec<u32>,
    /// Whether arcs end in a vertex.
    node: Vec<bool>,
}

impl Net {
    /// The network of outlines that share their vertices; `keep` names edges that stay besides those of one outline only.
    pub(super) fn of(
        outlines: &[MultiPolygon<f64>],
        keep: impl Fn(Coord<f64>, Coord<f64>) -> bool,
    ) -> Self {
        let mut point: Vec<Coord<f64>> = outlines
            .iter()
            .flat_map(CoordsIter::coords_iter)
            .map(folded)
            .collect();
        point.sort_unstable_by(by_xy);
        point.dedup();
        let (mut rings, mut edges) = (Vec::new(), Vec::new());
        for ring in outlines
            .iter()
            .flatten()
            .flat_map(|polygon| std::iter::once(polygon.exterior()).chain(polygon.interiors()))
        {
            let from = rings.len();
            let open = &ring.0[..ring.0.len().saturating_sub(1)];
            rings.extend(
                open.iter()
                    .map(|&p| point.partition_point(|q| by_xy(q, &folded(p)).is_lt()) as u32),
            );
            let own = &rings[from..];
            edges.extend(
                own.iter()
                    .zip(own.iter().skip(1).chain(own.first()))
                    .map(|(&a, &b)| (a.min(b), a.max(b))),
            );
        }
        edges.sort_unstable();
        let (mut fixed, mut free) = (Vec::new(), Vec::new());
        for uses in edges.chunk_by(|a, b| a == b) {
            let (a, b) = uses[0];
            let moves = uses.len() == 2 && !keep(point[a as usize], point[b as usize]);
            if moves { &mut free } else { &mut fixed }.push((a, b));
        }
        drop(edges);
        let graph = Graph::new(point.len(), free, &fixed);
        let node = graph.node.clone();
        let (along, start) = graph.arcs();
        Self {
            point,
            rings,
            fixed,
            along,
            start,
            node,
        }
    }
    /// How many arcs there are.
    pub(super) const fn arcs(&self) -> usize {
        self.start.len() - 1
    }
    /// Whether an arc that begins and ends in this vertex is a loop on which nothing else ends.
    pub(super) fn is_loop(&self, v: u32) -> bool {
        !self.node[v as usize]
    }
    /// Where an arc lies in `along`.
    pub(super) fn arc(&self, arc: usize) -> Range<usize> {
        self.start[arc] as usize..self.start[arc + 1] as usize
    }
}

/// One zero instead of two.
fn folded(p: Coord<f64>) -> Coord<f64> {
    Coord {
        x: p.x + 0.0,
        y: p.y + 0.0,
    }
}

fn by_xy(a: &Coord<f64>, b: &Coord<f64>) -> Ordering {
    a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y))
}

/// The edges that may move, by vertex.
struct Graph {
    free: Vec<(u32, u32)>,
    used: Vec<bool>,
    /// Whether arcs end in a vertex: other than two free edges meet there, or an edge that stays.
    node: Vec<bool>,
    /// The edges at vertex v are `around[first[v]..first[v + 1]]`.
    around: Vec<u32>,
    first: Vec<u32>,
}

impl Graph {
    fn new(points: usize, free: Vec<(u32, u32)>, fixed: &[(u32, u32)]) -> Self {
        let mut first = vec![0_u32; points + 1];
        for &(a, b) in &free {
            first[a as usize + 1] += 1;
            first[b as usize + 1] += 1;
        }
        let mut node: Vec<bool> = first[1..].iter().map(|&degree| degree != 2).collect();
        for &(a, b) in fixed {
            node[a as usize] = true;
            node[b as usize] = true;
        }
        for v in 0..points {
            first[v + 1] += first[v];
        }
        let mut around = vec![0_u32; 2 * free.len()];
        let mut filled = first.clone();
        for (edge, &(a, b)) in free.iter().enumerate() {
            for v in [a, b] {
                around[filled[v as usize] as usize] = edge as u32;
                filled[v as usize] += 1;
            }
        }
        Self {
            used: vec![false; free.len()],
            free,
            node,
            around,
            first,
        }
    }

    fn unused_at(&self, v: u32) -> Option<u32> {
        let here = self.first[v as usize] as usize..self.first[v as usize + 1] as usize;
        self.around[here]
            .iter()
            .copied()
            .find(|&edge| !self.used[edge as usize])
    }

    /// All arcs: from node to node, then the loops without a node, each from its first vertex.
    fn arcs(mut self) -> (Vec<u32>, Vec<u32>) {
        let (mut along, mut start) = (Vec::with_capacity(self.free.len()), vec![0]);
        for from_nodes in [true, false] {
            for v in 0..self.node.len() as u32 {
                if self.node[v as usize] != from_nodes {
                    continue;
                }
                while let Some(edge) = self.unused_at(v) {
                    self.draw(v, edge, &mut along);
                    start.push(along.len() as u32);
                }
            }
        }
        (along, start)
    }

    fn draw(&mut self, from: u32, first: u32, along: &mut Vec<u32>) {
        along.push(from);
        let (mut at, mut next) = (from, Some(first));
        while let Some(edge) = next {
            self.used[edge as usize] = true;
            let (a, b) = self.free[edge as usize];
            at = if at == a { b } else { a };
            along.push(at);
            next = if self.node[at as usize] {
                None
            } else {
                self.unused_at(at)
            };
        }
    }
}
