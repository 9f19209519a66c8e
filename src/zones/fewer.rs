//! Fewer rate changes: neighbouring canopy patches whose rates are nearly equal become one, as long as the union is near to each of its parts.
//!
//! The pair whose means are nearest goes first (compared in billionths of a kilogram; ties: first cells). A union gets the area mean of its parts, so that what the field needs in
//! all stays the same; only rounding can lose some of it, and that is measured.

use crate::zones::build::{Kind, Rate, ZoneRule};
use crate::zones::smooth::{Patch, Smoother};
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// Shares of the tolerance that are tried, one after the other, until the total is kept.
pub(super) const SHARES: [f64; 4] = [1.0, 0.5, 0.25, 0.0];
/// The total may move by this share of it. \[–\] Common practice, no source: far below what a spreader holds.
const TOTAL_WITHIN: f64 = 0.005;

/// Whether Σ rate × area is near enough to Σ exact rate × area, or at least as near as it was `before` anything was joined.
pub(super) fn keeps_total(patches: &[Patch], before: &[Patch], rule: &ZoneRule) -> bool {
    let exact: f64 = patches.iter().map(|patch| patch.mean() * patch.area).sum();
    let off = |patches: &[Patch]| {
        (patches
            .iter()
            .map(|patch| patch.rate.n(rule.step) * patch.area)
            .sum::<f64>()
            - exact)
            .abs()
    };
    off(patches) <= (TOTAL_WITHIN * exact.abs()).max(off(before) * (1.0 + 1e-9))
}

/// Means between which the parts of each patch lie. \[kg N/ha\]
#[derive(Clone, Copy)]
struct Spread {
    low: f64,
    high: f64,
}

/// Joins canopy patches whose rates are multiples of the step; `patches` and `borders` by first cell as for joining small ones, and so is what is returned.
pub(super) fn join_alike(
    patches: &mut Vec<Patch>,
    borders: &[(u32, u32, f64)],
    tolerance: f64,
    rule: &ZoneRule,
) -> Vec<u32> {
    let mut spread: Vec<Spread> = patches
        .iter()
        .map(|patch| Spread {
            low: patch.mean(),
            high: patch.mean(),
        })
        .collect();
    let mut work = Smoother::new(std::mem::take(patches), borders, *rule);
    let able = |patch: &Patch| patch.kind == Kind::Canopy && matches!(patch.rate, Rate::Steps(_));
    let key = |work: &Smoother, a: u32, b: u32| {
        let (a, b) = (&work.patches[a as usize], &work.patches[b as usize]);
        let apart = libm::round((a.mean() - b.mean()).abs() * 1e9) as i64;
        (apart, a.first.min(b.first), a.first.max(b.first))
    };
    let mut calls = BinaryHeap::new();
    for &(a, b, _) in borders {
        if able(&work.patches[a as usize]) && able(&work.patches[b as usize]) {
            calls.push(Reverse((key(&work, a, b), a, b)));
        }
    }
    while let Some(Reverse((called, a, b))) = calls.pop() {
        let (a, b) = (work.standing(a), work.standing(b));
        if a == b {
            continue;
        }
        // Means move as patches grow: a pair that has drifted apart waits for its new turn.
        let now = key(&work, a, b);
        if now.0 > called.0 {
            calls.push(Reverse((now, a, b)));
            continue;
        }
        let (own, other) = (&work.patches[a as usize], &work.patches[b as usize]);
        let mean = (own.mean() * own.area + other.mean() * other.area) / (own.area + other.area);
        let (p, q) = (spread[a as usize], spread[b as usize]);
        let both = Spread {
            low: p.low.min(q.low),
            high: p.high.max(q.high),
        };
        if both.high - mean > tolerance * (1.0 + 1e-9) || mean - both.low > tolerance * (1.0 + 1e-9)
        {
            continue;
        }
        let (keep, gone) = work.by_neighbours(a, b);
        work.merge(keep, gone);
        spread[keep as usize] = both;
        let union = &mut work.patches[keep as usize];
        union.rate = Rate::Steps(rule.steps_of(union.mean()));
    }
    work.finish(patches)
}
