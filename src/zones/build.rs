//! Zones from cells: connected patches of equal rate or equal class, smoothed to a least area, numbered by their first cell.
//!
//! Where the method is silent, this is how it is read:
//!
//! - A cell whose rate was stated outright (thin, bare or unseen ground with an amount) keeps it to the last digit: such cells form patches of their own, also
//!   when zones are classes, and only a patch that is too small loses the amount to the neighbour that it joins.
//! - Bare patches never join anything, however small. Neighbouring bare cells of one rate are one zone, and so are unseen cells.
//! - An unseen zone keeps its cells' rate (the field rate or an amount). When zones keep the total, only canopy zones are rounded the other way.
//! - A canopy zone that is too small may join an unseen neighbour only if that one is too small as well; the union is canopy.
//! - A sliver takes rate, state and exact rate of the cell that it follows, and belongs to its zone; its own area and borders count.
//! - Headland cells are zones of their own: they join nothing but each other, and keeping the total does not round them the other way.
//! - When keeping the total, or joining zones of nearly equal rates, leaves two neighbouring canopy zones at one rate, they become one zone, if zones are formed by rate. Classes stay as they are.

use crate::space::cells::Border;
use crate::zones::smooth::Patch;
use crate::zones::{fewer, smooth};
use std::collections::BTreeMap;
use thiserror::Error;

/// What the ground of a cell or zone is, as far as zones care.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// Crop: canopy and thin cells.
    Canopy,
    /// Mostly bare ground.
    Bare,
    /// Too little of it was seen.
    Unseen,
    /// Crop of the headland, when that has a rule of its own.
    Headland,
}

/// The rate of a cell or zone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Rate {
    /// A multiple of the step.
    Steps(i64),
    /// An amount as stated, not rounded. \[kg N/ha\]
    Written(f64),
}

impl Rate {
    /// The rate as a number. \[kg N/ha\]
    pub fn n(self, step: f64) -> f64 {
        match self {
            Self::Steps(steps) => steps as f64 * step,
            Self::Written(amount) => amount,
        }
    }
    /// Equal keys, equal rates; a stated amount never equals a rounded rate.
    const fn key(self) -> (u8, u64) {
        match self {
            Self::Steps(steps) => (0, steps.cast_unsigned()),
            // Adding zero folds the two zeros into one.
            Self::Written(amount) => (1, (amount + 0.0).to_bits()),
        }
    }
    /// Whether two rates are one and the same.
    pub const fn same(self, other: Self) -> bool {
        let (a, b) = (self.key(), other.key());
        a.0 == b.0 && a.1 == b.1
    }
}

/// What zones need to know of a cell.
#[derive(Clone, Debug, PartialEq)]
pub struct ZoneCell {
    /// Area inside the field, above 0. \[m²\]
    pub area: f64,
    /// What it is.
    pub kind: Kind,
    /// The rate that area means are taken of; for a stated amount, the amount. \[kg N/ha\]
    pub n_exact: f64,
    /// The cell's own rate.
    pub rate: Rate,
    /// Mean canopy index, if it has one. \[–\]
    pub index: Option<f64>,
    /// Class of the index, if zones are classes.
    pub class: Option<usize>,
    /// Position of the cell that it follows, if it is a sliver. Slivers that only follow each other stand for themselves.
    pub follows: Option<u32>,
}

/// How cells become zones.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GroupBy {
    /// Neighbours of equal rate.
    Rate,
    /// Neighbours of equal class.
    Class,
}

/// The limits that zones keep.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ZoneRule {
    /// Rates are multiples of it, above 0. \[kg N/ha\]
    pub step: f64,
    /// Least rate, in steps.
    pub minimum_q: i64,
    /// Greatest rate, in steps.
    pub maximum_q: i64,
    /// Smaller zones join a neighbour. \[m²\]
    pub minimum_area: f64,
    /// Whether zones are rounded so that the total is kept.
    pub keep_total: bool,
    /// Neighbouring canopy zones are joined as long as the union's mean is no further than this from the mean of any of its parts; 0 joins none. \[kg N/ha\]
    pub tolerance: f64,
}

impl ZoneRule {
    /// The multiple of the step that an area mean is rounded to: half up, held to the range.
    ///
    /// A billionth of a step is added first: the mean of cells that all lie on a tie may fall short of it in the last digit.
    pub fn steps_of(&self, mean: f64) -> i64 {
        (libm::floor(mean / self.step + 0.5 + 1e-9) as i64).clamp(self.minimum_q, self.maximum_q)
    }
    /// Whether a zone is too small; an area within a billionth of the least is large enough.
    pub fn too_small(&self, area: f64) -> bool {
        area < self.minimum_area * (1.0 - 1e-9)
    }
}

/// One zone.
#[derive(Clone, Debug, PartialEq)]
pub struct Zone {
    /// Area mean of its cells' exact rates. \[kg N/ha\]
    pub mean_n_exact: f64,
    /// What it gets. \[kg N/ha\]
    pub n: f64,
    /// The same as multiple of the step, or as stated.
    pub rate: Rate,
    /// Sum of its cells' areas. \[m²\]
    pub area: f64,
    /// Area mean of its canopy cells' index. \[–\]
    pub index: Option<f64>,
    /// How many cells, slivers included.
    pub cells: u32,
    /// Position of its first cell.
    pub first_cell: u32,
    /// What it is; canopy where canopy and unseen were joined.
    pub kind: Kind,
}

/// Cells put into zones.
#[derive(Clone, Debug, PartialEq)]
pub struct Zoning {
    /// Zone of each cell, from 1, numbered by first cell.
    pub zone_of: Vec<u32>,
    /// Zones by number; zone 1 is at position 0.
    pub zones: Vec<Zone>,
    /// How many patches went into others because their rates were nearly equal.
    pub joined_alike: u32,
    /// The tolerance that this was done with: as asked, or less where the total would have been lost. \[kg N/ha\]
    pub tolerance: f64,
}

/// Why cells could not be put into zones.
#[derive(Clone, Debug, Error, PartialEq)]
#[non_exhaustive]
pub enum BuildError {
    /// A number of a cell is missing or impossible.
    #[error("cell {cell}: {what} is {value}; it must be a finite number{}", if *.what == "area" { " above 0" } else { "" })]
    BadNumber {
        /// Position of the cell.
        cell: usize,
        /// What the number is.
        what: &'static str,
        /// The number.
        value: f64,
    },
    /// A border or a sliver names a cell that is not there.
    #[error("cell {cell} is named as a neighbour, but there are only {cells} cells")]
    StrayCell {
        /// The position named.
        cell: u32,
        /// How many cells there are.
        cells: usize,
    },
    /// The range holds no multiple of the step, or the step is not above 0.
    #[error("no rate to choose from: step {step} kg N/ha, {minimum_q} to {maximum_q} steps")]
    NoRates {
        /// The step. \[kg N/ha\]
        step: f64,
        /// Least multiple.
        minimum_q: i64,
        /// Greatest multiple.
        maximum_q: i64,
    },
}

/// Puts cells into zones.
///
/// `cells` in row, column order; `borders` the pairs of cells that share more than 1 mm. Cells of equal rate (or class) that touch are one patch; patches
/// below the least area join a neighbour one by one, the smallest first; then, if asked, canopy zones near a rounding tie are rounded the other way to keep the
/// field's total.
///
/// # Errors
/// [`BuildError`] when a number is not finite, an area not above 0, a border names a cell that is not there, or the range of rates is empty.
pub fn build(
    cells: &[ZoneCell],
    borders: &[Border],
    by: GroupBy,
    rule: &ZoneRule,
) -> Result<Zoning, BuildError> {
    check(cells, borders, rule)?;
    let leader = leaders(cells);
    let led = |i: usize| &cells[leader[i] as usize];
    let mut group = Merged::new(cells.len());
    for (i, &lead) in leader.iter().enumerate() {
        group.join(i as u32, lead);
    }
    for border in borders {
        if alike(led(border.a as usize), led(border.b as usize), by) {
            group.join(border.a, border.b);
        }
    }
    let (patch_of, count) = group.numbered();
    let patches = patches_of(cells, &leader, &patch_of, count, by, rule);
    let between = borders_between(borders, &patch_of);
    let done = settled(patches, &between, by, rule);
    let zone_of: Vec<u32> = patch_of
        .iter()
        .map(|&patch| done.number[done.into[patch as usize] as usize])
        .collect();
    let zones = summed(cells, &leader, &zone_of, &done.rates, rule.step);
    Ok(Zoning {
        zones,
        zone_of: zone_of.into_iter().map(|zone| zone + 1).collect(),
        joined_alike: done.alike,
        tolerance: done.tolerance,
    })
}

/// Where patches went.
struct Settled {
    /// What is left of the patches, for each of the former ones.
    into: Vec<u32>,
    /// Zone of what is left.
    number: Vec<u32>,
    /// Kind and rate of each zone.
    rates: Vec<(Kind, Rate)>,
    alike: u32,
    tolerance: f64,
}

/// Small patches joined, then nearly equal ones, then roundings turned; with less tolerance, and in the end with none, where that would lose the total.
fn settled(
    mut patches: Vec<Patch>,
    between: &[(u32, u32, f64)],
    by: GroupBy,
    rule: &ZoneRule,
) -> Settled {
    let mut joined = smooth::join_small(&mut patches, between, rule);
    let mut tolerance = rule.tolerance;
    let mut joined_alike = 0;
    if tolerance > 0.0 {
        let borders = borders_of_left(between, &joined);
        let mut left = patches.clone();
        let mut before = patches.clone();
        if rule.keep_total {
            smooth::keep_total(&mut before, rule);
        }
        for share in fewer::SHARES {
            tolerance = rule.tolerance * share;
            left.clone_from(&patches);
            let alike: Vec<u32> = if tolerance > 0.0 {
                fewer::join_alike(&mut left, &borders, tolerance, rule)
            } else {
                (0..patches.len() as u32).collect()
            };
            let mut turned = left.clone();
            if rule.keep_total {
                smooth::keep_total(&mut turned, rule);
            }
            if tolerance <= 0.0 || fewer::keeps_total(&turned, &before, rule) {
                joined_alike = (patches.len() - left.len()) as u32;
                for place in &mut joined {
                    *place = alike[*place as usize];
                }
                break;
            }
        }
        patches = left;
    }
    let mut level = Merged::new(patches.len());
    if rule.keep_total {
        smooth::keep_total(&mut patches, rule);
    }
    if by == GroupBy::Rate && (rule.keep_total || joined_alike > 0) {
        for &(a, b, _) in between {
            let (a, b) = (joined[a as usize], joined[b as usize]);
            if patches[a as usize].kind == Kind::Canopy
                && patches[a as usize].equal(&patches[b as usize])
            {
                level.join(a, b);
            }
        }
    }
    // Patches are numbered by first cell at every stage, so that zones are too.
    let (number, count) = level.numbered();
    let mut rates: Vec<Option<(Kind, Rate)>> = vec![None; count];
    for (patch, &zone) in patches.iter().zip(&number) {
        rates[zone as usize].get_or_insert((patch.kind, patch.rate));
    }
    Settled {
        into: joined,
        number,
        rates: rates.into_iter().flatten().collect(),
        alike: joined_alike,
        tolerance,
    }
}

/// Borders of patches as borders of what is left of them.
fn borders_of_left(between: &[(u32, u32, f64)], joined: &[u32]) -> Vec<(u32, u32, f64)> {
    let mut sums: BTreeMap<(u32, u32), f64> = BTreeMap::new();
    for &(a, b, length) in between {
        let (a, b) = (joined[a as usize], joined[b as usize]);
        if a != b {
            *sums.entry((a.min(b), a.max(b))).or_default() += length;
        }
    }
    sums.into_iter()
        .map(|((a, b), length)| (a, b, length))
        .collect()
}

fn check(cells: &[ZoneCell], borders: &[Border], rule: &ZoneRule) -> Result<(), BuildError> {
    let named = borders
        .iter()
        .flat_map(|border| [border.a, border.b])
        .chain(cells.iter().filter_map(|cell| cell.follows));
    for cell in named {
        if cell as usize >= cells.len() {
            return Err(BuildError::StrayCell {
                cell,
                cells: cells.len(),
            });
        }
    }
    if !(rule.step.is_finite() && rule.step > 0.0) || rule.minimum_q > rule.maximum_q {
        return Err(BuildError::NoRates {
            step: rule.step,
            minimum_q: rule.minimum_q,
            maximum_q: rule.maximum_q,
        });
    }
    for (i, cell) in cells.iter().enumerate() {
        let written = if let Rate::Written(amount) = cell.rate {
            amount
        } else {
            0.0
        };
        for (what, value) in [
            ("area", cell.area),
            ("exact rate", cell.n_exact),
            ("stated rate", written),
            ("index", cell.index.unwrap_or(0.0)),
        ] {
            if !value.is_finite() || (what == "area" && value <= 0.0) {
                return Err(BuildError::BadNumber {
                    cell: i,
                    what,
                    value,
                });
            }
        }
    }
    Ok(())
}

/// The cell that speaks for each cell: itself, or for a sliver the first cell on its way that is none. Slivers whose way leads into a ring speak for themselves.
pub(super) fn leaders(cells: &[ZoneCell]) -> Vec<u32> {
    let mut leader: Vec<Option<u32>> = vec![None; cells.len()];
    let mut on_way = vec![false; cells.len()];
    let mut way = Vec::new();
    for start in 0..cells.len() {
        let mut at = start;
        while leader[at].is_none() && !on_way[at] {
            on_way[at] = true;
            way.push(at);
            at = cells[at].follows.map_or(at, |ahead| ahead as usize);
        }
        let end = leader[at].or_else(|| cells[at].follows.is_none().then_some(at as u32));
        let in_ring = end.is_none_or(|end| cells[end as usize].follows.is_some());
        for cell in way.drain(..) {
            leader[cell] = if in_ring { Some(cell as u32) } else { end };
        }
    }
    leader
        .into_iter()
        .zip(0..)
        .map(|(leader, own)| leader.unwrap_or(own))
        .collect()
}

/// Whether two neighbouring cells are one patch.
fn alike(a: &ZoneCell, b: &ZoneCell, by: GroupBy) -> bool {
    if a.kind != b.kind {
        return false;
    }
    match (a.kind, by, a.rate, b.rate) {
        (Kind::Canopy, GroupBy::Class, Rate::Steps(_), Rate::Steps(_)) => a.class == b.class,
        _ => a.rate.same(b.rate),
    }
}

fn patches_of(
    cells: &[ZoneCell],
    leader: &[u32],
    patch_of: &[u32],
    count: usize,
    by: GroupBy,
    rule: &ZoneRule,
) -> Vec<Patch> {
    let mut patches: Vec<Option<Patch>> = vec![None; count];
    for (i, cell) in cells.iter().enumerate() {
        let led = &cells[leader[i] as usize];
        let patch = patches[patch_of[i] as usize]
            .get_or_insert_with(|| Patch::new(i as u32, led.kind, led.rate, by == GroupBy::Rate));
        patch.add(cell.area, led.n_exact);
    }
    let mut patches: Vec<Patch> = patches.into_iter().flatten().collect();
    for patch in &mut patches {
        // A class has no rate of its own yet: the mean's.
        if by == GroupBy::Class
            && patch.kind == Kind::Canopy
            && matches!(patch.rate, Rate::Steps(_))
        {
            patch.rate = Rate::Steps(rule.steps_of(patch.mean()));
        }
    }
    patches
}

/// Shared borders of different patches, added up.
fn borders_between(borders: &[Border], patch_of: &[u32]) -> Vec<(u32, u32, f64)> {
    let mut sums: BTreeMap<(u32, u32), f64> = BTreeMap::new();
    for border in borders {
        let (a, b) = (patch_of[border.a as usize], patch_of[border.b as usize]);
        if a != b {
            *sums.entry((a.min(b), a.max(b))).or_default() += border.length;
        }
    }
    sums.into_iter()
        .map(|((a, b), length)| (a, b, length))
        .collect()
}

pub(super) fn summed(
    cells: &[ZoneCell],
    leader: &[u32],
    zone_of: &[u32],
    rates: &[(Kind, Rate)],
    step: f64,
) -> Vec<Zone> {
    struct Sums {
        area: f64,
        mass: f64,
        index_area: f64,
        index: f64,
        cells: u32,
        first: u32,
    }
    let mut sums: Vec<Sums> = rates
        .iter()
        .map(|_| Sums {
            area: 0.0,
            mass: 0.0,
            index_area: 0.0,
            index: 0.0,
            cells: 0,
            first: u32::MAX,
        })
        .collect();
    for (i, (cell, &zone)) in cells.iter().zip(zone_of).enumerate() {
        let led = &cells[leader[i] as usize];
        let sum = &mut sums[zone as usize];
        sum.area += cell.area;
        sum.mass += cell.area * led.n_exact;
        sum.cells += 1;
        sum.first = sum.first.min(i as u32);
        if let (Kind::Canopy | Kind::Headland, Some(index)) = (led.kind, led.index) {
            sum.index_area += cell.area;
            sum.index += cell.area * index;
        }
    }
    let zone = |(sum, &(kind, rate)): (&Sums, &(Kind, Rate))| Zone {
        mean_n_exact: sum.mass / sum.area,
        n: rate.n(step),
        rate,
        area: sum.area,
        index: (sum.index_area > 0.0).then(|| sum.index / sum.index_area),
        cells: sum.cells,
        first_cell: sum.first,
        kind,
    };
    sums.iter().zip(rates).map(zone).collect()
}

/// Things joined into sets, each known by its least member.
pub(super) struct Merged {
    up: Vec<u32>,
}

impl Merged {
    pub(super) fn new(count: usize) -> Self {
        Self {
            up: (0..count as u32).collect(),
        }
    }
    /// The set's least member.
    fn of(&mut self, mut at: u32) -> u32 {
        while self.up[at as usize] != at {
            let above = self.up[self.up[at as usize] as usize];
            self.up[at as usize] = above;
            at = above;
        }
        at
    }
    pub(super) fn join(&mut self, a: u32, b: u32) {
        let (a, b) = (self.of(a), self.of(b));
        self.up[a.max(b) as usize] = a.min(b);
    }
    /// Sets numbered from 0 by least member: the number of each member, and how many there are.
    pub(super) fn numbered(&mut self) -> (Vec<u32>, usize) {
        let mut number = vec![0; self.up.len()];
        let mut count = 0;
        for i in 0..self.up.len() as u32 {
            let root = self.of(i);
            number[i as usize] = if root == i {
                count += 1;
                count - 1
            } else {
                number[root as usize]
            };
        }
        (number, count as usize)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    const RULE: ZoneRule = ZoneRule {
        step: 10.0,
        minimum_q: 0,
        maximum_q: 20,
        minimum_area: 0.0,
        keep_total: false,
        tolerance: 0.0,
    };

    fn canopy(n_exact: f64) -> ZoneCell {
        ZoneCell {
            area: 100.0,
            kind: Kind::Canopy,
            n_exact,
            rate: Rate::Steps(RULE.steps_of(n_exact)),
            index: Some(0.5),
            class: None,
            follows: None,
        }
    }
    fn unseen(n: f64) -> ZoneCell {
        ZoneCell {
            kind: Kind::Unseen,
            index: None,
            ..canopy(n)
        }
    }
    fn bare() -> ZoneCell {
        ZoneCell {
            kind: Kind::Bare,
            rate: Rate::Written(0.0),
            n_exact: 0.0,
            index: None,
            ..canopy(0.0)
        }
    }

    /// Borders of 10 m between the cells of a grid that is `columns` wide.
    fn grid(count: usize, columns: usize) -> Vec<Border> {
        let pair = |a: usize, b: usize| Border {
            a: a as u32,
            b: b as u32,
            length: 10.0,
        };
        (0..count)
            .flat_map(|i| {
                let right = ((i + 1) % columns != 0 && i + 1 < count).then(|| pair(i, i + 1));
                let up = (i + columns < count).then(|| pair(i, i + columns));
                right.into_iter().chain(up)
            })
            .collect()
    }
    fn row(cells: &[ZoneCell], rule: &ZoneRule) -> Zoning {
        build(cells, &grid(cells.len(), cells.len()), GroupBy::Rate, rule).unwrap()
    }
    fn rates(zoning: &Zoning) -> Vec<f64> {
        zoning.zones.iter().map(|zone| zone.n).collect()
    }

    #[test]
    fn neighbours_of_equal_rate_are_one_zone() {
        let zoning = row(&[38.0, 42.0, 61.0, 44.0].map(canopy), &RULE);
        assert_eq!(zoning.zone_of, [1, 1, 2, 3]);
        assert_eq!(rates(&zoning), [40.0, 60.0, 40.0]);
        assert_eq!(
            (
                zoning.zones[0].mean_n_exact,
                zoning.zones[0].area,
                zoning.zones[0].cells
            ),
            (40.0, 200.0, 2)
        );
    }

    #[test]
    fn bare_and_unseen_keep_apart_from_canopy_of_their_rate() {
        let zoning = row(
            &[canopy(0.0), bare(), bare(), unseen(0.0), unseen(0.0)],
            &RULE,
        );
        assert_eq!(zoning.zone_of, [1, 2, 2, 3, 3]);
        assert_eq!(zoning.zones[1].index, None);
    }

    #[test]
    fn the_union_takes_the_mean_and_its_own_rate() {
        // 60 joins 44 | 44: (60 + 44 + 44)/3 = 49.3, five steps, not the large neighbour's four.
        let zoning = row(
            &[60.0, 44.0, 44.0].map(canopy),
            &ZoneRule {
                minimum_area: 150.0,
                ..RULE
            },
        );
        assert_eq!(
            (zoning.zone_of.clone(), rates(&zoning)),
            (vec![1, 1, 1], vec![50.0])
        );
    }

    #[test]
    fn equal_borders_go_by_mean_then_rate_then_place() {
        let rule = ZoneRule {
            minimum_area: 150.0,
            ..RULE
        };
        let pair = |n: f64| [canopy(n), canopy(n)];
        let line = |a: f64, b: f64, c: f64| {
            row(&[&pair(a)[..], &[canopy(b)], &pair(c)[..]].concat(), &rule).zone_of
        };
        assert_eq!(line(10.0, 40.0, 60.0), [1, 1, 2, 2, 2]);
        assert_eq!(line(60.0, 40.0, 20.0), [1, 1, 2, 2, 2]);
        assert_eq!(line(20.0, 40.0, 60.0), [1, 1, 1, 2, 2]);
    }

    #[test]
    fn the_longest_border_goes_before_the_nearest_mean() {
        let cells = [20.0, 20.0, 40.0, 90.0, 90.0].map(canopy);
        let mut borders = grid(5, 5);
        let joined = |borders: &[Border]| {
            build(
                &cells,
                borders,
                GroupBy::Rate,
                &ZoneRule {
                    minimum_area: 150.0,
                    ..RULE
                },
            )
            .unwrap()
            .zone_of
        };
        assert_eq!(joined(&borders), [1, 1, 1, 2, 2]);
        borders[2].length += 1e-7;
        assert_eq!(joined(&borders), [1, 1, 1, 2, 2]);
        borders[2].length += 1e-5;
        assert_eq!(joined(&borders), [1, 1, 2, 2, 2]);
    }

    #[test]
    fn the_smallest_goes_first_and_ties_go_by_first_cell() {
        // All of 100 m²: the first cell joins its only neighbour; the third then has a neighbour pair and stays too small until its own turn.
        let zoning = row(
            &[10.0, 30.0, 50.0].map(canopy),
            &ZoneRule {
                minimum_area: 150.0,
                ..RULE
            },
        );
        assert_eq!(
            (zoning.zone_of.clone(), rates(&zoning)),
            (vec![1, 1, 1], vec![30.0])
        );
        let mut cells = [10.0, 30.0, 50.0, 70.0].map(canopy);
        cells[2].area = 90.0;
        // The 90 m² cell goes first, to the nearer mean (equal: the lower rate): 30 and 50; then 10 joins them, and 70.
        let zoning = row(
            &cells,
            &ZoneRule {
                minimum_area: 95.0,
                ..RULE
            },
        );
        assert_eq!(zoning.zone_of, [1, 2, 2, 3]);
    }

    #[test]
    fn a_union_joins_neighbours_of_its_new_rate() {
        // 0 | 0 and 60 become 20; so is the next patch, which is large enough by itself.
        let zoning = row(
            &[0.0, 0.0, 60.0, 20.0, 20.0].map(canopy),
            &ZoneRule {
                minimum_area: 150.0,
                ..RULE
            },
        );
        assert_eq!(zoning.zone_of, [1, 1, 2, 2, 2]);
        let zoning = row(
            &[30.0, 30.0, 50.0, 40.0, 40.0].map(canopy),
            &ZoneRule {
                minimum_area: 250.0,
                ..RULE
            },
        );
        assert_eq!(
            (zoning.zone_of.clone(), rates(&zoning)),
            (vec![1; 5], vec![40.0])
        );
    }

    #[test]
    fn bare_never_joins_and_unseen_only_when_too_small() {
        let rule = ZoneRule {
            minimum_area: 150.0,
            ..RULE
        };
        assert_eq!(
            row(&[canopy(40.0), bare(), canopy(60.0)], &rule).zone_of,
            [1, 2, 3]
        );
        let zoning = row(&[unseen(30.0), canopy(60.0), canopy(60.0)], &rule);
        assert_eq!(
            (zoning.zone_of.clone(), rates(&zoning), zoning.zones[0].kind),
            (vec![1; 3], vec![50.0], Kind::Canopy)
        );
        // Large enough by itself: the small canopy beside it finds nobody to join.
        assert_eq!(
            row(&[unseen(30.0), unseen(30.0), canopy(60.0)], &rule).zone_of,
            [1, 1, 2]
        );
        // Canopy that is too small does take up unseen ground that is too small.
        assert_eq!(
            row(&[unseen(30.0), canopy(60.0)], &rule).zones[0].kind,
            Kind::Canopy
        );
    }

    #[test]
    fn a_stated_amount_is_taken_as_written() {
        let stated = ZoneCell {
            rate: Rate::Written(33.3),
            n_exact: 33.3,
            ..canopy(0.0)
        };
        let zoning = row(
            &[stated.clone(), stated.clone(), canopy(40.0)],
            &ZoneRule {
                keep_total: true,
                ..RULE
            },
        );
        assert_eq!(
            (zoning.zone_of.clone(), rates(&zoning)),
            (vec![1, 1, 2], vec![33.3, 40.0])
        );
        let cells = [stated, canopy(46.0), canopy(46.0)];
        let zoning = row(
            &cells,
            &ZoneRule {
                minimum_area: 150.0,
                ..RULE
            },
        );
        assert_eq!(rates(&zoning), [40.0]);
        let classes = build(&cells, &grid(3, 3), GroupBy::Class, &RULE).unwrap();
        assert_eq!(
            (classes.zone_of.clone(), rates(&classes)),
            (vec![1, 2, 2], vec![33.3, 50.0])
        );
    }

    #[test]
    fn a_sliver_belongs_to_the_zone_of_the_cell_it_follows() {
        let sliver = |follows| ZoneCell {
            area: 0.5,
            follows: Some(follows),
            n_exact: 999.0,
            index: None,
            ..canopy(90.0)
        };
        let zoning = row(&[sliver(1), sliver(2), canopy(44.0), canopy(70.0)], &RULE);
        assert_eq!(zoning.zone_of, [1, 1, 1, 2]);
        assert_eq!(
            (
                zoning.zones[0].area,
                zoning.zones[0].n,
                zoning.zones[0].cells
            ),
            (101.0, 40.0, 3)
        );
        assert_relative_eq!(zoning.zones[0].mean_n_exact, 44.0, max_relative = 1e-12);
        // Slivers that only follow each other, and one that follows them, stand for themselves.
        let ring = row(&[sliver(1), sliver(0), sliver(1)], &RULE);
        assert_eq!(
            (ring.zone_of.clone(), ring.zones[0].mean_n_exact),
            (vec![1, 1, 1], 999.0)
        );
    }

    #[test]
    fn classes_are_patches_with_the_mean_of_their_rates() {
        let cell = |n: f64, class: usize| ZoneCell {
            class: Some(class),
            ..canopy(n)
        };
        let cells = [cell(20.0, 0), cell(60.0, 0), cell(42.0, 1), cell(44.0, 1)];
        let zoning = build(&cells, &grid(4, 4), GroupBy::Class, &RULE).unwrap();
        assert_eq!(
            (zoning.zone_of.clone(), rates(&zoning)),
            (vec![1, 1, 2, 2], vec![40.0, 40.0])
        );
    }

    #[test]
    fn the_total_is_kept_by_turning_roundings_near_a_tie() {
        let cells: Vec<ZoneCell> = [14.0, 24.0, 34.0, 44.0].map(canopy).to_vec();
        let plain = row(&cells, &RULE);
        assert_eq!(rates(&plain), [10.0, 20.0, 30.0, 40.0]);
        let kept = build(
            &cells,
            &grid(4, 4),
            GroupBy::Rate,
            &ZoneRule {
                keep_total: true,
                ..RULE
            },
        )
        .unwrap();
        // Exact 116, rounded 100: one turn makes 110 (6 off), a second 120 (4 off), a third would be 14 off. Equally near ties go by first cell. Then the second and
        // third cell have one rate and are one zone.
        assert_eq!(
            (kept.zone_of.clone(), rates(&kept)),
            (vec![1, 2, 2, 3], vec![20.0, 30.0, 40.0])
        );
    }

    #[test]
    fn the_total_never_leaves_the_range() {
        let rule = ZoneRule {
            keep_total: true,
            minimum_q: 1,
            maximum_q: 4,
            ..RULE
        };
        // Held to 40 though the mean is 44: another step up is out of range.
        let zoning = row(
            &[canopy(44.0), canopy(12.0)].map(|cell| ZoneCell {
                rate: Rate::Steps(rule.steps_of(cell.n_exact)),
                ..cell
            }),
            &rule,
        );
        assert_eq!(rates(&zoning), [40.0, 20.0]);
        // A mean that is a multiple of the step stays, though turning it would make up for the 4 short.
        let even = ZoneCell {
            area: 40.0,
            ..canopy(20.0)
        };
        assert_eq!(
            rates(&row(
                &[
                    ZoneCell {
                        rate: Rate::Steps(4),
                        ..canopy(44.0)
                    },
                    even
                ],
                &rule
            )),
            [40.0, 20.0]
        );
    }

    #[test]
    fn the_headland_keeps_its_rate_whatever_lies_beside_it() {
        let headland = ZoneCell {
            kind: Kind::Headland,
            rate: Rate::Steps(3),
            n_exact: 30.0,
            ..canopy(60.0)
        };
        let rule = ZoneRule {
            minimum_area: 350.0,
            keep_total: true,
            tolerance: 50.0,
            ..RULE
        };
        // Two cells of headland, one of crop, three of crop: all of them small or near in rate, but only the crop joins.
        let zoning = row(
            &[
                headland.clone(),
                headland,
                canopy(34.0),
                canopy(48.0),
                canopy(48.0),
                canopy(48.0),
            ],
            &rule,
        );
        assert_eq!(zoning.zone_of, [1, 1, 2, 2, 2, 2]);
        assert_eq!(
            (zoning.zones[0].n, zoning.zones[0].kind),
            (30.0, Kind::Headland)
        );
        assert_eq!(zoning.zones[0].index, Some(0.5));
    }

    #[test]
    fn nearly_equal_neighbours_join_as_long_as_the_union_is_near_to_each() {
        let rule = |tolerance| ZoneRule { tolerance, ..RULE };
        let cells = [10.0, 30.0, 50.0, 100.0].map(canopy);
        // 10 and 30 make 20; with 50 they would make 30, 20 off the first: too far for 10, not for 20.
        let near = row(&cells, &rule(10.0));
        assert_eq!(
            (near.zone_of.clone(), near.joined_alike, rates(&near)),
            (vec![1, 1, 2, 3], 1, vec![20.0, 50.0, 100.0])
        );
        assert_eq!(row(&cells, &rule(20.0)).zone_of, [1, 1, 1, 2]);
        assert_eq!(row(&cells, &rule(9.9)).zone_of, [1, 2, 3, 4]);
        assert_eq!(row(&cells, &rule(0.0)).joined_alike, 0);
        // Bare and unseen ground, and stated amounts, join nothing.
        let stated = ZoneCell {
            rate: Rate::Written(11.0),
            n_exact: 11.0,
            ..canopy(10.0)
        };
        assert_eq!(
            row(
                &[canopy(10.0), stated, canopy(10.0), unseen(10.0), bare()],
                &rule(100.0)
            )
            .zone_of,
            [1, 2, 3, 4, 5]
        );
    }

    #[test]
    fn less_tolerance_is_used_where_the_total_would_be_lost() {
        // 20 and 26 alone get 20 and 30, 4 more than 46; as one, 23, they would get 20 each, 6 less. Half the tolerance leaves them alone.
        let zoning = row(
            &[canopy(20.0), canopy(26.0)],
            &ZoneRule {
                tolerance: 3.0,
                ..RULE
            },
        );
        assert_eq!(
            (zoning.tolerance, zoning.joined_alike, rates(&zoning)),
            (1.5, 0, vec![20.0, 30.0])
        );
        // 20 beside 40 makes 30, a multiple of the step: all is kept.
        let zoning = row(
            &[canopy(20.0), canopy(40.0)],
            &ZoneRule {
                tolerance: 10.0,
                ..RULE
            },
        );
        assert_eq!(
            (zoning.tolerance, zoning.joined_alike, rates(&zoning)),
            (10.0, 1, vec![30.0])
        );
    }

    #[test]
    fn impossible_numbers_are_refused() {
        let refused = |cells: &[ZoneCell], rule: &ZoneRule| {
            build(cells, &[], GroupBy::Rate, rule).unwrap_err()
        };
        assert!(matches!(
            refused(
                &[
                    canopy(1.0),
                    ZoneCell {
                        n_exact: f64::NAN,
                        ..canopy(0.0)
                    }
                ],
                &RULE
            ),
            BuildError::BadNumber {
                cell: 1,
                what: "exact rate",
                ..
            }
        ));
        assert!(
            refused(
                &[ZoneCell {
                    area: 0.0,
                    ..canopy(0.0)
                }],
                &RULE
            )
            .to_string()
            .ends_with("above 0")
        );
        assert_eq!(
            refused(
                &[ZoneCell {
                    follows: Some(7),
                    ..canopy(0.0)
                }],
                &RULE
            ),
            BuildError::StrayCell { cell: 7, cells: 1 }
        );
        assert!(matches!(
            refused(
                &[],
                &ZoneRule {
                    minimum_q: 3,
                    maximum_q: 2,
                    ..RULE
                }
            ),
            BuildError::NoRates { .. }
        ));
    }

    prop_compose! {
        fn field()(columns in 1_usize..30, cells in proptest::collection::vec((0_u8..40, 0.0_f64..124.0, 0.2_f64..1.0, 0_usize..3), 1..600)) -> (usize, Vec<ZoneCell>) {
            let cell = |(what, n, share, class): (u8, f64, f64, usize)| {
                let n = if n < 70.0 { 30.0 + n / 10.0 } else { n };
                let cell = match what {
                    0 | 1 => bare(),
                    2..=6 => unseen(38.0),
                    _ => canopy(n),
                };
                ZoneCell { area: if what % 3 == 0 { 100.0 * share } else { 100.0 }, class: Some(class), ..cell }
            };
            (columns, cells.into_iter().map(cell).collect())
        }
    }

    proptest! {
        #[test]
        fn zones_keep_their_laws((columns, cells) in field(), by_class: bool, keep_total: bool, minimum_area in 0.0_f64..900.0, tolerance in 0.0_f64..20.0) {
            let borders = grid(cells.len(), columns);
            // Half of the cases join nothing for being alike.
            let rule = ZoneRule { minimum_area, keep_total, maximum_q: 12, tolerance: (tolerance - 10.0).max(0.0), ..RULE };
            let by = if by_class { GroupBy::Class } else { GroupBy::Rate };
            let zoning = build(&cells, &borders, by, &rule).unwrap();
            prop_assert_eq!(&zoning, &build(&cells, &borders, by, &rule).unwrap());
            let zone = |cell: u32| &zoning.zones[zoning.zone_of[cell as usize] as usize - 1];

            // Numbered by first cell, all areas and masses there.
            let mut seen = 0;
            for (i, &number) in zoning.zone_of.iter().enumerate() {
                prop_assert!(number <= seen + 1);
                if number > seen {
                    seen = number;
                    prop_assert_eq!(zone(i as u32).first_cell, i as u32);
                }
            }
            prop_assert_eq!(seen as usize, zoning.zones.len());
            let area: f64 = cells.iter().map(|cell| cell.area).sum();
            let exact: f64 = cells.iter().map(|cell| cell.area * cell.n_exact).sum();
            prop_assert!((zoning.zones.iter().map(|z| z.area).sum::<f64>() - area).abs() <= 1e-9 * area);
            prop_assert!((zoning.zones.iter().map(|z| z.area * z.mean_n_exact).sum::<f64>() - exact).abs() <= 1e-9 * exact.max(1.0));

            // Every zone is connected.
            let mut parts = Merged::new(cells.len());
            for border in &borders {
                if zoning.zone_of[border.a as usize] == zoning.zone_of[border.b as usize] {
                    parts.join(border.a, border.b);
                }
            }
            prop_assert_eq!(parts.numbered().1, zoning.zones.len());

            // Large enough, or nobody to join; bare alone; equal neighbours are one zone; rates near the mean.
            for border in &borders {
                let (a, b) = (zone(border.a), zone(border.b));
                if zoning.zone_of[border.a as usize] == zoning.zone_of[border.b as usize] {
                    prop_assert!((cells[border.a as usize].kind == Kind::Bare) == (cells[border.b as usize].kind == Kind::Bare));
                    continue;
                }
                prop_assert!(by_class || !(a.kind == b.kind && a.rate.same(b.rate)));
                for (small, other) in [(a, b), (b, a)] {
                    if rule.too_small(small.area) {
                        let both = small.kind == other.kind && small.kind != Kind::Bare;
                        let into_canopy = small.kind == Kind::Unseen && other.kind == Kind::Canopy;
                        prop_assert!(!(both || into_canopy), "{small:?} beside {other:?}");
                    }
                }
            }
            for z in zoning.zones.iter().filter(|z| z.kind == Kind::Canopy) {
                let reach = if keep_total { 10.0 } else { 5.0 };
                let steps = z.n / 10.0;
                prop_assert!((z.n - z.mean_n_exact).abs() <= reach + 1e-6 || steps == 12.0);
                prop_assert!((0.0..=12.0).contains(&steps));
            }
        }

        #[test]
        fn keeping_the_total_never_makes_it_worse((columns, cells) in field(), minimum_area in 0.0_f64..900.0) {
            let borders = grid(cells.len(), columns);
            let total = |keep_total| -> f64 {
                let rule = ZoneRule { minimum_area, keep_total, ..RULE };
                build(&cells, &borders, GroupBy::Rate, &rule).unwrap().zones.iter().map(|zone| zone.n * zone.area).sum()
            };
            let exact: f64 = cells.iter().map(|cell| cell.area * cell.n_exact).sum();
            prop_assert!((total(true) - exact).abs() <= (total(false) - exact).abs() + 1e-6);
        }
    }
}
