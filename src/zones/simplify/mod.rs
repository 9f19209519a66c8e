//! Simpler borders: each shared border moves once, for both sides.
//!
//! Outlines that share every vertex are taken apart into arcs: runs of border between vertices where three or more borders meet, or where a border meets an edge that
//! must stay. Each arc is thinned so that it moves by no more than the tolerance; edges that only one outline has (the field's edge, exclusions, ground left out) and those that the caller
//! names stay as they are. Then every straightened piece is tried against all else: if it crosses or touches anything, or sweeps over a vertex so that something would change
//! sides, its arc is thinned with half the tolerance, a quarter, and in the end not at all. So the outlines stay a partition of the same ground, valid, with every
//! hole and island.
//!
//! # Source
//! Thinning: Douglas D. and Peucker T. (1973), Algorithms for the reduction of the number of points required to represent a digitized line or its caricature, The Canadian
//! Cartographer 10:112-122 (from memory), with distances to the segment instead of the line.

mod arcs;
pub mod round;
mod thin;

use crate::zones::simplify::arcs::Net;
use crate::zones::simplify::thin::Thinning;
use geo::{Coord, LineString, MultiPolygon, Polygon};

/// What simplification did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Simplified {
    /// Different vertices before.
    pub before: usize,
    /// Different vertices after.
    pub after: usize,
    /// Arcs that were thinned with less than the tolerance, so that nothing crosses.
    pub held_back: usize,
}

/// Simplifies outlines that share their vertices bit for bit; borders move by at most `tolerance`. \[m\]
///
/// `keep(a, b)` names edges that must stay besides those that only one outline has; it is asked once for each edge, its ends in the order of x, then y. An outline's area changes by no more than
/// 2 × `tolerance` × the length of its border. A tolerance of 0 (or one that is not a positive number) changes nothing.
pub fn simplify(
    outlines: &mut [MultiPolygon<f64>],
    tolerance: f64,
    keep: impl Fn(Coord<f64>, Coord<f64>) -> bool,
) -> Simplified {
    let net = Net::of(outlines, keep);
    let before = net.point.len();
    if !(tolerance.is_finite() && tolerance > 0.0) {
        return Simplified {
            before,
            after: before,
            held_back: 0,
        };
    }
    let (kept, held_back) = Thinning::new(&net, tolerance).run();
    let mut next = net.rings.iter();
    let mut thinned = |ring: &LineString<f64>| {
        let ids = next.by_ref().take(ring.0.len().saturating_sub(1));
        let mut line: Vec<Coord<f64>> = ids
            .filter(|&&id| kept[id as usize])
            .map(|&id| net.point[id as usize])
            .collect();
        if let Some(&first) = line.first() {
            line.push(first);
        }
        LineString::new(line)
    };
    for outline in outlines {
        for polygon in &mut outline.0 {
            let exterior = thinned(polygon.exterior());
            *polygon = Polygon::new(
                exterior,
                polygon.interiors().iter().map(&mut thinned).collect(),
            );
        }
    }
    Simplified {
        before,
        after: kept.iter().filter(|&&kept| kept).count(),
        held_back,
    }
}

/// Square of the distance from a point to a segment.
fn distance_squared(p: Coord<f64>, a: Coord<f64>, b: Coord<f64>) -> f64 {
    let (d, e) = (b - a, p - a);
    let length = d.x * d.x + d.y * d.y;
    let t = if length > 0.0 {
        ((e.x * d.x + e.y * d.y) / length).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let away = Coord {
        x: e.x - t * d.x,
        y: e.y - t * d.y,
    };
    away.x * away.x + away.y * away.y
}
