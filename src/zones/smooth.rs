//! Smoothing: patches below the least area join a neighbour, and roundings near a tie are turned so that the total is kept.
//!
//! The order of joining is part of the method, so it is the same whatever the machine: the smallest patch first (areas compared in millionths of a square metre; ties:
//! first cell), to the neighbour with the longest border. Each join costs the logarithm of the field, except where a patch changes its rate and all its
//! neighbours must be asked again.

use crate::zones::build::{Kind, Rate, ZoneRule};
use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

/// Borders this much shorter than the longest count as equal to it. \[m\]
const BORDER_TIE_TOLERANCE: f64 = 1e-6;
/// Means this much further away than the nearest count as equally near. \[kg N/ha\]
const MEAN_TIE_TOLERANCE: f64 = 1e-9;

/// A connected set of cells on its way to becoming a zone.
#[derive(Clone, Debug)]
pub(super) struct Patch {
    /// Position of the first cell.
    pub(super) first: u32,
    pub(super) area: f64,
    /// Sum of exact rate × area.
    mass: f64,
    pub(super) kind: Kind,
    pub(super) rate: Rate,
    /// Whether it is known to have no neighbour that it equals.
    settled: bool,
}

impl Patch {
    pub(super) const fn new(first: u32, kind: Kind, rate: Rate, settled: bool) -> Self {
        Self {
            first,
            area: 0.0,
            mass: 0.0,
            kind,
            rate,
            settled,
        }
    }
    pub(super) fn add(&mut self, area: f64, n_exact: f64) {
        self.area += area;
        self.mass += area * n_exact;
    }
    pub(super) fn mean(&self) -> f64 {
        self.mass / self.area
    }
    /// Whether two neighbours of this sort are one zone: the same ground and the same rate.
    pub(super) fn equal(&self, other: &Self) -> bool {
        self.kind == other.kind && self.kind != Kind::Bare && self.rate.same(other.rate)
    }
    /// Whether the two may be joined because one of them is too small. Bare ground never; unseen ground joins canopy only when it is too small itself.
    fn may_join(&self, other: &Self, rule: &ZoneRule) -> bool {
        match (self.kind, other.kind) {
            (Kind::Bare, _) | (_, Kind::Bare) => false,
            (Kind::Canopy, Kind::Unseen) => rule.too_small(other.area),
            (Kind::Unseen, Kind::Canopy) => rule.too_small(self.area),
            // The headland keeps its rate and its shape whatever lies beside it.
            (Kind::Headland, other) | (other, Kind::Headland) => other == Kind::Headland,
            (Kind::Canopy, Kind::Canopy) | (Kind::Unseen, Kind::Unseen) => true,
        }
    }
}

/// Joins patches until none is too small that has a neighbour which it may join.
///
/// `patches` by first cell; `borders` the border of each touching pair, once, in metres. Afterwards `patches` holds what is left, by first cell; returned is where each of the
/// former patches went.
pub(super) fn join_small(
    patches: &mut Vec<Patch>,
    borders: &[(u32, u32, f64)],
    rule: &ZoneRule,
) -> Vec<u32> {
    let mut work = Smoother::new(std::mem::take(patches), borders, *rule);
    for id in 0..work.patches.len() as u32 {
        work.call(id);
    }
    while let Some(Reverse((_, _, id, version))) = work.calls.pop() {
        if work.into[id as usize] == id && work.version[id as usize] == version {
            work.settle(id);
        }
    }
    work.finish(patches)
}

pub(super) struct Smoother {
    pub(super) patches: Vec<Patch>,
    /// Border with each neighbour. \[m\]
    pub(super) near: Vec<BTreeMap<u32, f64>>,
    /// The patch that each went into; itself if it still stands.
    into: Vec<u32>,
    /// Counts the changes of a patch, so that calls from before a change are dropped.
    version: Vec<u32>,
    /// Patches that are too small: area in millionths of a square metre, first cell, patch, version.
    calls: BinaryHeap<Reverse<(i64, u32, u32, u32)>>,
    rule: ZoneRule,
}

impl Smoother {
    pub(super) fn new(patches: Vec<Patch>, borders: &[(u32, u32, f64)], rule: ZoneRule) -> Self {
        let count = patches.len();
        let mut near = vec![BTreeMap::new(); count];
        for &(a, b, length) in borders {
            near[a as usize].insert(b, length);
            near[b as usize].insert(a, length);
        }
        Self {
            patches,
            near,
            into: (0..count as u32).collect(),
            version: vec![0; count],
            calls: BinaryHeap::new(),
            rule,
        }
    }

    /// Lines a patch up if it is too small.
    fn call(&mut self, id: u32) {
        let patch = &self.patches[id as usize];
        if self.rule.too_small(patch.area) {
            self.calls.push(Reverse((
                libm::round(patch.area * 1e6) as i64,
                patch.first,
                id,
                self.version[id as usize],
            )));
        }
    }

    /// The neighbour that a patch joins: longest border, then nearest mean, then lower rate, then first cell.
    fn partner(&self, id: u32) -> Option<u32> {
        let own = &self.patches[id as usize];
        let mut able: Vec<(u32, f64)> = self.near[id as usize]
            .iter()
            .filter(|&(&n, _)| own.may_join(&self.patches[n as usize], &self.rule))
            .map(|(&n, &length)| (n, length))
            .collect();
        let longest = able
            .iter()
            .map(|&(_, length)| length)
            .fold(f64::NEG_INFINITY, f64::max);
        able.retain(|&(_, length)| length >= longest - BORDER_TIE_TOLERANCE);
        let away = |n: u32| (self.patches[n as usize].mean() - own.mean()).abs();
        let nearest = able
            .iter()
            .map(|&(n, _)| away(n))
            .fold(f64::INFINITY, f64::min);
        let low = |n: u32| self.patches[n as usize].rate.n(self.rule.step);
        able.into_iter()
            .map(|(n, _)| n)
            .filter(|&n| away(n) <= nearest + MEAN_TIE_TOLERANCE)
            .min_by(|&a, &b| {
                low(a).total_cmp(&low(b)).then(
                    self.patches[a as usize]
                        .first
                        .cmp(&self.patches[b as usize].first),
                )
            })
    }

    /// Joins a patch that is too small to a neighbour, and the union to the neighbours that it then equals.
    fn settle(&mut self, id: u32) {
        let Some(other) = self.partner(id) else {
            return;
        };
        let (keep, gone) = self.by_neighbours(id, other);
        let former = self.patches[keep as usize].clone();
        let (a, b) = (
            self.patches[id as usize].kind,
            self.patches[other as usize].kind,
        );
        let mut asked = self.merge(keep, gone);
        let union = &mut self.patches[keep as usize];
        union.kind = if a == b { a } else { Kind::Canopy };
        union.rate = Rate::Steps(self.rule.steps_of(union.mean()));
        // Neighbours of the larger part are still unlike it, unless it has changed.
        if !former.settled || !former.equal(union) {
            asked = self.near[keep as usize].keys().copied().collect();
        }
        let mut union = keep;
        while let Some(n) = asked.pop() {
            let n = self.standing(n);
            if n == union || !self.patches[n as usize].equal(&self.patches[union as usize]) {
                continue;
            }
            let rate = self.patches[union as usize].rate;
            if !self.patches[n as usize].settled {
                asked.extend(self.near[n as usize].keys().copied());
            }
            let (keep, gone) = self.by_neighbours(union, n);
            self.merge(keep, gone);
            self.patches[keep as usize].rate = rate;
            union = keep;
        }
        self.patches[union as usize].settled = true;
        self.call(union);
    }

    /// The two with the one of more neighbours first.
    pub(super) fn by_neighbours(&self, a: u32, b: u32) -> (u32, u32) {
        if self.near[a as usize].len() >= self.near[b as usize].len() {
            (a, b)
        } else {
            (b, a)
        }
    }

    /// Puts `gone` into `keep`; returns the neighbours that `gone` had.
    pub(super) fn merge(&mut self, keep: u32, gone: u32) -> Vec<u32> {
        let theirs = std::mem::take(&mut self.near[gone as usize]);
        let mut asked = Vec::with_capacity(theirs.len());
        for (n, length) in theirs {
            self.near[n as usize].remove(&gone);
            if n != keep {
                *self.near[n as usize].entry(keep).or_default() += length;
                *self.near[keep as usize].entry(n).or_default() += length;
                asked.push(n);
            }
        }
        let (area, mass, first) = (
            self.patches[gone as usize].area,
            self.patches[gone as usize].mass,
            self.patches[gone as usize].first,
        );
        let union = &mut self.patches[keep as usize];
        union.area += area;
        union.mass += mass;
        union.first = union.first.min(first);
        self.into[gone as usize] = keep;
        self.version[keep as usize] += 1;
        asked
    }

    /// The patch that a patch has become part of.
    pub(super) fn standing(&mut self, mut id: u32) -> u32 {
        while self.into[id as usize] != id {
            let ahead = self.into[self.into[id as usize] as usize];
            self.into[id as usize] = ahead;
            id = ahead;
        }
        id
    }

    /// Hands over what still stands, by first cell, and where each patch went.
    pub(super) fn finish(mut self, patches: &mut Vec<Patch>) -> Vec<u32> {
        let mut left: Vec<u32> = (0..self.into.len() as u32)
            .filter(|&id| self.into[id as usize] == id)
            .collect();
        left.sort_by_key(|&id| self.patches[id as usize].first);
        let mut number = vec![0; self.into.len()];
        for (position, &id) in left.iter().enumerate() {
            number[id as usize] = position as u32;
        }
        *patches = left
            .iter()
            .map(|&id| self.patches[id as usize].clone())
            .collect();
        (0..self.into.len() as u32)
            .map(|id| number[self.standing(id) as usize])
            .collect()
    }
}

/// Rounds canopy patches whose mean is not a multiple of the step the other way, those nearest to a rounding tie first, where that brings
/// Σ rate × area nearer to Σ exact rate × area; never more than one step from the mean, never out of range.
pub(super) fn keep_total(patches: &mut [Patch], rule: &ZoneRule) {
    let mut over: f64 = patches
        .iter()
        .map(|patch| (patch.rate.n(rule.step) - patch.mean()) * patch.area)
        .sum();
    let minimum_gain = patches.iter().map(|patch| patch.area).sum::<f64>() * rule.step * 1e-12;
    let mut turns: Vec<(i64, u32, usize, i64)> = Vec::new();
    for (i, patch) in patches.iter().enumerate() {
        let steps = patch.mean() / rule.step;
        let below = libm::floor(steps);
        let Rate::Steps(own) = patch.rate else {
            continue;
        };
        let (low, high) = (below as i64, below as i64 + 1);
        let other = if own == low { high } else { low };
        let multiple = (steps - libm::round(steps)).abs() <= 1e-9;
        if patch.kind == Kind::Canopy
            && !multiple
            && (own == low || own == high)
            && (rule.minimum_q..=rule.maximum_q).contains(&other)
        {
            // Compared in billionths of a step, so that equal means tie whatever their last digit.
            turns.push((
                libm::round((steps - below - 0.5).abs() * 1e9) as i64,
                patch.first,
                i,
                other,
            ));
        }
    }
    turns.sort_unstable();
    for (_, _, i, other) in turns {
        let patch = &mut patches[i];
        let change = (Rate::Steps(other).n(rule.step) - patch.rate.n(rule.step)) * patch.area;
        if (over + change).abs() < over.abs() - minimum_gain {
            over += change;
            patch.rate = Rate::Steps(other);
        }
    }
}
