//! Kriged cells: how far the ground between readings may lie from what was estimated, drawn with everything else.
//!
//! Neighbouring cells rest on the same readings and miss the truth together. Their errors are drawn alike within squares, as large as it takes for the
//! field's mean to vary as kriging says, and free of each other between them. One error for all cells would make a field's nitrogen some ten times as
//! doubtful as it is, one for each cell alone half (`tests/truth/study_ground_between.py`).

use std::collections::BTreeMap;

use super::{Base, Cause, Gets, Part, Places, Uncertainty, in_order};
use crate::pipeline::ground::Ground;
use crate::pipeline::rates::Rated;
use crate::science::monte_carlo::{Draw, band_of, ground_deviate};
use ndarray::Array2;

/// Standard errors that a draw may move a cell by, at the most.
const MAXIMUM_DISTANCE: f64 = 4.0;
/// No draw takes more than this share of a cell's index away: an index of 0 has no rate.
const MINIMUM_SHARE: f64 = 0.5;

/// Standard errors of the cells' indices, and the squares in which they are alike.
pub(super) struct CellErrors {
    /// 0 where a cell has none.
    errors: Vec<f64>,
    square_of: Vec<u64>,
    side: f64,
}

/// What was drawn so far.
pub(super) struct Drawn<'a, C> {
    /// Places of the table.
    pub(super) places: &'a Places,
    /// Rates: places outermost, draws within.
    pub(super) table: &'a Array2<f64>,
    /// What each cell gets.
    pub(super) gets: &'a [Gets],
    /// Areas of the cells. \[ha\]
    pub(super) areas: &'a [f64],
    /// Whether a cell counts for the field rate.
    pub(super) counts: &'a C,
    /// Cells and model.
    pub(super) rated: &'a Rated,
}

impl CellErrors {
    /// `None` without an area over which errors are alike. \[m²\]
    pub(super) fn of(ground: &Ground, rated: &Rated, alike: Option<f64>) -> Option<Self> {
        let side = libm::sqrt(alike?);
        let (grid, cells) = (&ground.grid, &ground.grid.cells);
        let host = |k: usize| rated.follows[k].map_or(k, |host| host as usize);
        let errors = (0..cells.len())
            .map(|k| rated.cells[host(k)].index_se.unwrap_or(0.0))
            .collect();
        let square = |k: usize| {
            // Along the way that the cell is driven: along a curve rows and columns follow it.
            let (cell, part) = (&cells[host(k)], grid.part_of(host(k)));
            let frame = grid.drive(part);
            let (u, v) = (
                frame.row_start(cell.row) + frame.length / 2.0 - frame.u0,
                frame.col_start(cell.col) + frame.width / 2.0 - frame.v0,
            );
            (
                part,
                libm::floor(u / side) as i64,
                libm::floor(v / side) as i64,
            )
        };
        // Numbered in the order of the cells, so that they depend on nothing else.
        let mut numbers: BTreeMap<(usize, i64, i64), u64> = BTreeMap::new();
        let square_of = (0..cells.len())
            .map(|k| {
                let next = numbers.len() as u64;
                *numbers.entry(square(k)).or_insert(next)
            })
            .collect();
        Some(Self {
            errors,
            square_of,
            side,
        })
    }

    /// Side of the squares. \[m\]
    pub(super) const fn side(&self) -> f64 {
        self.side
    }

    /// Indices and references that draws reach, for the table.
    pub(super) fn reached<'a>(&'a self, gets: &'a [Gets]) -> impl Iterator<Item = (f64, f64)> + 'a {
        gets.iter()
            .enumerate()
            .filter_map(|(k, gets)| own(gets).map(|(index, reference)| (k, index, reference)))
            .flat_map(|(k, index, reference)| {
                [-MAXIMUM_DISTANCE, -2.0, -1.0, 1.0, 2.0, MAXIMUM_DISTANCE]
                    .map(|at| (self.moved(k, index, at), reference))
            })
    }

    /// A cell's index, so many standard errors away.
    fn moved(&self, cell: usize, index: f64, at: f64) -> f64 {
        (index + at * self.errors[cell]).max(MINIMUM_SHARE * index)
    }

    /// Puts the errors into the bands of field, zones and cells, and adds their part.
    pub(super) fn add_to(
        &self,
        uncertainty: &mut Uncertainty,
        drawn: &Drawn<'_, impl Fn(usize) -> bool>,
    ) {
        let draws = uncertainty.draws as usize;
        let mut row = vec![0.0; draws];
        let counted: f64 = (0..drawn.gets.len())
            .filter(|k| (drawn.counts)(*k))
            .map(|k| drawn.areas[k])
            .sum();
        let mut field_rates = vec![0.0; draws];
        for k in (0..drawn.gets.len()).filter(|k| (drawn.counts)(*k)) {
            if let Some((index, reference)) = drawn.rated.cells[k]
                .index
                .map(|index| (index, drawn.rated.reference_of[k]))
            {
                self.rates(k, index, reference, uncertainty.seed, drawn, &mut row);
                add(
                    &mut field_rates,
                    &row,
                    drawn.areas[k] / counted.max(f64::MIN_POSITIVE),
                );
            }
        }
        let mut whole = vec![0.0; draws];
        let mut zones = vec![(0.0, vec![0.0; draws]); uncertainty.zones.len()];
        for (k, gets) in drawn.gets.iter().enumerate() {
            match *gets {
                Gets::Own(index, reference) => {
                    self.rates(k, index, reference, uncertainty.seed, drawn, &mut row);
                }
                Gets::Held(index, reference) => {
                    self.rates(k, index, reference, uncertainty.seed, drawn, &mut row);
                    for (rate, field) in row.iter_mut().zip(&field_rates) {
                        *rate = rate.min(*field);
                    }
                }
                Gets::Field => row.copy_from_slice(&field_rates),
                Gets::Stated(rate) => row.fill(rate),
                Gets::Set(base, change) => {
                    match base {
                        Base::Own(index, reference, held) => {
                            self.rates(k, index, reference, uncertainty.seed, drawn, &mut row);
                            for (rate, field) in row.iter_mut().zip(&field_rates) {
                                *rate = if held { rate.min(*field) } else { *rate };
                            }
                        }
                        Base::Field => row.copy_from_slice(&field_rates),
                    }
                    for rate in &mut row {
                        *rate = change.of(*rate);
                    }
                }
            }
            add(&mut whole, &row, drawn.areas[k]);
            if let Some((area, sums)) =
                zones.get_mut((drawn.rated.cells[k].zone as usize).wrapping_sub(1))
            {
                *area += drawn.areas[k];
                add(sums, &row, drawn.areas[k]);
            }
            if own(gets).is_some() {
                uncertainty.cells[k] = band_of(&mut row).map(|band| (band.low, band.high));
            }
        }
        if let Some(band) = band_of(&mut whole) {
            uncertainty.field = band;
        }
        for (zone, (area, mut sums)) in uncertainty.zones.iter_mut().zip(zones) {
            if zone.is_some() && area > 0.0 {
                for kg in &mut sums {
                    *kg /= area;
                }
                *zone = band_of(&mut sums);
            }
        }
        let sd_kg = self.alone(drawn, counted);
        if sd_kg > 0.0 {
            uncertainty.parts.push(Part {
                cause: Cause::Between,
                sd_kg,
                share: 0.0,
                ends_kg: (uncertainty.plain_kg + sd_kg, uncertainty.plain_kg - sd_kg),
            });
            uncertainty.parts = in_order(std::mem::take(&mut uncertainty.parts));
        }
    }

    /// A cell's own rate in every draw.
    fn rates(
        &self,
        cell: usize,
        index: f64,
        reference: f64,
        seed: u64,
        drawn: &Drawn<'_, impl Fn(usize) -> bool>,
        row: &mut [f64],
    ) {
        for (draw, rate) in row.iter_mut().enumerate() {
            let at = if self.errors[cell] > 0.0 {
                ground_deviate(seed, draw as u64, self.square_of[cell])
            } else {
                0.0
            };
            let around = drawn.places.around(self.moved(cell, index, at), reference);
            *rate = around
                .map(|(place, weight)| weight * drawn.table[[place, draw]])
                .sum();
        }
    }

    /// Standard deviation of the field's nitrogen by the cells' errors alone: squares are free of each other, so that their variances add up. \[kg\]
    fn alone(&self, drawn: &Drawn<'_, impl Fn(usize) -> bool>, counted: f64) -> f64 {
        let plain = Draw::PLAIN.moved(&drawn.rated.model);
        let rate = |k: usize, index: f64, reference: f64, at: f64| {
            plain
                .exact_against(
                    self.moved(k, index, at),
                    reference,
                    drawn.places.ratio_near(reference),
                )
                .unwrap_or(0.0)
        };
        // Field rate without errors, and by how much each square moves it.
        let (mut field, mut own_kg, mut field_moves) = (
            0.0,
            BTreeMap::<u64, f64>::new(),
            BTreeMap::<u64, f64>::new(),
        );
        for k in (0..drawn.gets.len()).filter(|k| (drawn.counts)(*k)) {
            if let Some(index) = drawn.rated.cells[k].index {
                let (reference, share) = (
                    drawn.rated.reference_of[k],
                    drawn.areas[k] / counted.max(f64::MIN_POSITIVE),
                );
                field += share * rate(k, index, reference, 0.0);
                *field_moves.entry(self.square_of[k]).or_default() += share
                    * (rate(k, index, reference, 1.0) - rate(k, index, reference, -1.0))
                    / 2.0;
            }
        }
        let mut follows_field = 0.0;
        for (k, gets) in drawn.gets.iter().enumerate() {
            let held = matches!(gets, Gets::Held(..));
            match *gets {
                Gets::Own(index, reference) | Gets::Held(index, reference)
                    if !held || rate(k, index, reference, 0.0) < field =>
                {
                    let moves =
                        (rate(k, index, reference, 1.0) - rate(k, index, reference, -1.0)) / 2.0;
                    *own_kg.entry(self.square_of[k]).or_default() += drawn.areas[k] * moves;
                }
                Gets::Field | Gets::Held(..) => follows_field += drawn.areas[k],
                Gets::Set(Base::Own(index, reference, held), change) => {
                    let plain = rate(k, index, reference, 0.0);
                    if held && plain >= field {
                        follows_field +=
                            drawn.areas[k] * slope(change.of(plain + 1.0), change.of(plain - 1.0));
                    } else {
                        let moves = slope(
                            change.of(rate(k, index, reference, 1.0)),
                            change.of(rate(k, index, reference, -1.0)),
                        );
                        *own_kg.entry(self.square_of[k]).or_default() += drawn.areas[k] * moves;
                    }
                }
                Gets::Set(Base::Field, change) => {
                    follows_field +=
                        drawn.areas[k] * slope(change.of(field + 1.0), change.of(field - 1.0));
                }
                Gets::Own(..) | Gets::Stated(_) => {}
            }
        }
        for (square, moves) in field_moves {
            *own_kg.entry(square).or_default() += follows_field * moves;
        }
        libm::sqrt(own_kg.values().map(|kg| kg * kg).sum())
    }
}

/// Half of what a rate moves between two draws that lie evenly about the plain one.
fn slope(up: f64, down: f64) -> f64 {
    (up - down) / 2.0
}

/// Index and reference of a cell that has a rate of its own.
const fn own(gets: &Gets) -> Option<(f64, f64)> {
    match gets {
        Gets::Own(index, reference)
        | Gets::Held(index, reference)
        | Gets::Set(Base::Own(index, reference, _), _) => Some((*index, *reference)),
        Gets::Field | Gets::Stated(_) | Gets::Set(Base::Field, _) => None,
    }
}

fn add(sums: &mut [f64], row: &[f64], weight: f64) {
    for (sum, value) in sums.iter_mut().zip(row) {
        *sum += weight * value;
    }
}
