//! Rates of the grid's cells, from zones by exact overlay.
//!
//! A cell that holds some of the field gets the machine rate of the zone of which it holds most, or the area mean of the rates over that part, never thinned by ground outside; a cell that
//! touches an exclusion with its buffer, or a hole of the boundary, gets 0; a cell outside the boundary but within the overrun gets the nearest zone's rate, unless the way there crosses a
//! hard edge or ground that is kept clear; all else gets 0.

use crate::finding::{Checked, Finding, codes};
use crate::format::iso11783::error::Iso11783Error;
use crate::format::iso11783::lattice::{
    Lattice, MAXIMUM_ROWS_OR_COLUMNS, Reprojection, Ring, metres_per_degree, rings, twelve_digits,
};
use crate::format::iso11783::near::{Neighbours, meet, touched};
use crate::map::export::ExportMap;
use crate::map::imported::RateLattice;
use crate::map::machine::{Held, MachineRates};
use crate::map::prescription::Prescription;
use crate::map::rate_map::RateMap;
use crate::map::task_options::{GridRates, TaskKind};
use crate::space::coverage::{doubled_area, shares};
use crate::space::crs::{Crs, Projector};
use crate::space::polygon::{carried, oriented, rings_of};
use crate::units::{Area, Length};

/// A share of a cell below which it holds nothing of the field: 1e-9 of 144 m² is less than a square millimetre.
const MINIMUM_SHARE: f64 = 1e-9;
/// A share of a cell inside the boundary's outline from which on it counts as ground there: less is rounding.
const OUTLINE_TOLERANCE: f64 = 1e-3;
/// How far into the field a hard edge still keeps a rate from running out: edges are often drawn just inside. \[m\]
const EDGE_INSIDE_M: f64 = 5.0;
/// How far the grid's total may differ from the zones' before the user is told. \[share\]
const TOTAL_TOLERANCE: f64 = 0.005;

/// Rates on the grid of a task, in the unit of the machine file.
#[derive(Clone, Debug, PartialEq)]
pub struct RateGrid {
    /// Where it lies.
    pub lattice: Lattice,
    /// Rates row by row from the south, each from the west. Not rounded.
    pub rates: Vec<f64>,
    /// What the grid puts on the field itself. \[kg, L, lb, gal\]
    pub total: f64,
    /// What it puts on all ground, whole cells and those outside the field. \[kg, L, lb, gal\]
    pub total_with_run_out: f64,
    /// What it would put on the field were no cell 0 for touching an exclusion or a hole. \[kg, L, lb, gal\]
    pub total_without_exclusions: f64,
    /// Cells whose mean was held to the machine's least or greatest rate.
    pub held_cells: u32,
}

impl RateGrid {
    /// The rate at a longitude and latitude; `None` off the grid.
    pub fn rate_at(&self, longitude: f64, latitude: f64) -> Option<f64> {
        self.lattice
            .cell_at(longitude, latitude)
            .map(|(row, col)| self.rates[row * self.lattice.cols + col])
    }

    /// Whether the cell at a longitude and latitude and the eight around it show a rate, to the hundredth as files do.
    pub fn is_even(&self, longitude: f64, latitude: f64, rate: f64) -> bool {
        let (rows, cols) = (self.lattice.rows, self.lattice.cols);
        let Some((row, col)) = self.lattice.cell_at(longitude, latitude) else {
            return false;
        };
        (1..rows.saturating_sub(1)).contains(&row)
            && (1..cols.saturating_sub(1)).contains(&col)
            && (row - 1..=row + 1)
                .flat_map(|row| (col - 1..=col + 1).map(move |col| row * cols + col))
                .all(|cell| libm::fabs(self.rates[cell] - rate) < 0.006)
    }
}

/// Rates of the task's grid: of each cell's greatest zone, or means where the prescription asks for them; kind `zones` knows no means.
///
/// # Findings
/// `machine.grid_coarsened` (caution) when cells had to grow to keep within 350 rows and columns; `machine.grid_held` (note) when a mean of several zones fell
/// below the machine's least or above its greatest rate; `machine.grid_total` (caution) when the grid puts on the field over 0.5 % more or less than the zones.
///
/// # Errors
/// [`Iso11783Error::NoBoundary`], [`Iso11783Error::Place`] and [`Iso11783Error::Crs`].
pub fn rate_grid(
    prescription: &Prescription,
    rates: &MachineRates,
    kind: TaskKind,
) -> Result<Checked<RateGrid>, Iso11783Error> {
    let first = prescription
        .boundary
        .0
        .first()
        .and_then(|polygon| polygon.exterior().0.first())
        .ok_or(Iso11783Error::NoBoundary)?;
    let reprojection = Reprojection::new(&prescription.plane, (first.x, first.y))?;
    let outlines = prescription
        .boundary
        .iter()
        .map(|polygon| reprojection.line(polygon.exterior()))
        .collect::<Result<Vec<_>, _>>()?;
    let frame = &prescription.grid.frame;
    let overrun = prescription.machine.overrun.get().max(0.0);
    let lattice = Lattice::new(
        &outlines,
        Lattice::cell_sizes(frame.length, frame.width),
        overrun,
    )?;

    let zones = prescription
        .zones
        .iter()
        .map(|zone| {
            rings(
                &reprojection,
                &lattice,
                zone.machine_inside.as_ref().unwrap_or(&zone.outline),
            )
        })
        .collect::<Result<Vec<_>, _>>()?;
    let kept_clear = rings(&reprojection, &lattice, &prescription.kept_clear())?;
    let kept_off = covered_or_touched(&kept_clear, &lattice);
    let holds = if kind == TaskKind::Zones {
        GridRates::Zone
    } else {
        prescription.machine.grid
    };
    let inside = Inside::of(prescription, rates, &lattice, &zones, holds);

    let mut grid = RateGrid {
        rates: vec![0.0; lattice.rows * lattice.cols],
        lattice,
        total: 0.0,
        total_with_run_out: 0.0,
        total_without_exclusions: 0.0,
        held_cells: 0,
    };
    for (cell, rate) in grid
        .rates
        .iter_mut()
        .enumerate()
        .filter(|(cell, _)| inside.cells.share[*cell] > MINIMUM_SHARE)
    {
        let (mean, held) = rates.hold(inside.cells.weighted[cell] / inside.cells.share[cell]);
        let amount = mean * prescription.unit.area_of(Area::m2(inside.area_m2[cell]));
        grid.total_without_exclusions += amount;
        if !kept_off[cell] {
            *rate = mean;
            grid.total += amount;
            grid.held_cells += u32::from(held != Held::No);
        }
    }
    if overrun > 0.0 {
        let outline = outlines.iter().map(|line| lattice.in_cells(line)).collect();
        let barriers = Barriers::of(
            prescription,
            &reprojection,
            &lattice,
            outline,
            (kept_clear, kept_off),
        )?;
        run_outwards(
            &mut grid,
            rates,
            &zones,
            &inside,
            &barriers,
            overrun / lattice.cell_m,
        );
    }
    let whole_cell = inside.cell_m2();
    grid.total_with_run_out =
        grid.rates.iter().sum::<f64>() * prescription.unit.area_of(Area::m2(whole_cell));
    let findings = findings(prescription, rates, &grid);
    Ok(Checked::new(grid, findings))
}

/// The grid of any map and its rates, row by row from the south: its own in longitude and latitude, when a controller takes it, else one with cells of this size.
pub(super) fn grid_of(
    map: &ExportMap<'_>,
    kind: TaskKind,
    cell_m: f64,
    findings: &mut Vec<Finding>,
) -> Result<(Lattice, Vec<f64>), Iso11783Error> {
    if let Some(own) = map.raster.lattice.filter(|own| {
        map.system.code() == Some(4326) && own.rows.max(own.cols) <= MAXIMUM_ROWS_OR_COLUMNS
    }) {
        let nine = |degrees: f64| libm::round(degrees * 1e9) / 1e9;
        let (per_north, _) = metres_per_degree(own.south);
        let size = own.cell_y * per_north;
        let lattice = Lattice {
            south: nine(own.south),
            west: nine(own.west),
            cell_north: twelve_digits(own.cell_y),
            cell_east: twelve_digits(own.cell_x),
            cell_m: size,
            rows: own.rows,
            cols: own.cols,
            requested_m: size,
        };
        return Ok((
            lattice,
            own.rates.iter().map(|rate| rate.unwrap_or(0.0)).collect(),
        ));
    }
    let somewhere = map
        .machine
        .iter()
        .find_map(|zone| zone.outline.0.first()?.exterior().0.first().copied())
        .ok_or(Iso11783Error::NoBoundary)?;
    let reprojection = Reprojection::new(map.system, (somewhere.x, somewhere.y))?;
    let exteriors = map
        .machine
        .iter()
        .flat_map(|zone| zone.outline.iter())
        .map(|polygon| reprojection.line(polygon.exterior()))
        .collect::<Result<Vec<_>, _>>()?;
    let lattice = Lattice::new(&exteriors, (cell_m, cell_m), 0.0)?;
    if lattice.is_coarsened() {
        let message = format!(
            "cells of the task grid had to grow from {} to {}, since a controller need not take more than 350 rows or columns",
            Length::m(lattice.requested_m).both(),
            Length::m(lattice.cell_m).both()
        );
        findings.push(Finding::caution(codes::MACHINE_GRID_COARSENED, message));
    }
    let mut cells = Overlay::new(&lattice);
    for zone in &map.machine {
        let rings = rings(&reprojection, &lattice, &zone.outline)?;
        cells.add(&shares(&rings, lattice.rows, lattice.cols), zone.rate);
    }
    if kind == TaskKind::Zones {
        cells.keep_most();
    }
    let rates = cells.weighted.iter().zip(&cells.share);
    let rate = |(weighted, share): (&f64, &f64)| {
        if *share > MINIMUM_SHARE {
            weighted / share
        } else {
            0.0
        }
    };
    Ok((lattice, rates.map(rate).collect()))
}

/// Area \[m²\] of the map's zones that cells of a grid cover, and the sum of area × rate over it: what the grid puts on the ground that the map means. Cells stick out
/// over the field's edge, and that does not count.
///
/// # Errors
/// [`Iso11783Error`] when a point cannot be carried into the grid's system.
pub fn on_ground(
    map: &RateMap,
    grid: &RateLattice,
    system: &Crs,
) -> Result<(f64, f64), Iso11783Error> {
    let way = Projector::new(&map.system, system)?;
    let (mut area_m2, mut sum) = (0.0, 0.0);
    for zone in &map.zones {
        let carried = carried(&zone.outline, &way)?;
        let rings: Vec<Ring> = rings_of(&oriented(&carried))
            .into_iter()
            .map(|ring| {
                ring.iter()
                    .map(|p| {
                        [
                            (p[0] - grid.west) / grid.cell_x,
                            (p[1] - grid.south) / grid.cell_y,
                        ]
                    })
                    .collect()
            })
            .collect();
        let whole: f64 = rings.iter().map(|ring| doubled_area(ring)).sum::<f64>() / 2.0;
        for (cell, share) in shares(&rings, grid.rows, grid.cols) {
            if let Some(rate) = grid.rate(cell % grid.cols, cell / grid.cols) {
                let ground = zone.area_m2 * share / whole;
                area_m2 += ground;
                sum += ground * rate;
            }
        }
    }
    Ok((area_m2, sum))
}

/// What zones put into each cell.
struct Overlay {
    /// Share of the cell that zones cover.
    share: Vec<f64>,
    /// Sum of share × rate.
    weighted: Vec<f64>,
    /// Share and rate of the zone of which the cell holds most.
    most: Vec<(f64, f64)>,
}

impl Overlay {
    /// Nothing in any cell.
    fn new(lattice: &Lattice) -> Self {
        let cells = lattice.rows * lattice.cols;
        Self {
            share: vec![0.0; cells],
            weighted: vec![0.0; cells],
            most: vec![(0.0, 0.0); cells],
        }
    }

    /// Adds a zone by its shares of cells.
    fn add(&mut self, shares: &[(usize, f64)], rate: f64) {
        for &(cell, share) in shares {
            self.share[cell] += share;
            self.weighted[cell] += share * rate;
            if share > self.most[cell].0 {
                self.most[cell] = (share, rate);
            }
        }
    }

    /// Gives each cell the one rate of the zone of which it holds most, instead of the mean.
    fn keep_most(&mut self) {
        for (cell, (_, rate)) in self.most.iter().enumerate() {
            self.weighted[cell] = self.share[cell] * rate;
        }
    }
}

/// What the field's zones put into each cell, and their ground there.
struct Inside {
    cells: Overlay,
    /// Area of the field in the cell, on the working plane. \[m²\]
    area_m2: Vec<f64>,
}

impl Inside {
    fn of(
        prescription: &Prescription,
        rates: &MachineRates,
        lattice: &Lattice,
        zones: &[Vec<Ring>],
        holds: GridRates,
    ) -> Self {
        let mut out = Self {
            cells: Overlay::new(lattice),
            area_m2: vec![0.0; lattice.rows * lattice.cols],
        };
        for ((zone, rate), rings) in prescription.zones.iter().zip(&rates.zones).zip(zones) {
            let shares = shares(rings, lattice.rows, lattice.cols);
            out.cells.add(&shares, rate.shown);
            let area = zone
                .machine_inside
                .as_ref()
                .map_or(zone.area.get(), geo::Area::unsigned_area);
            let whole: f64 = shares.iter().map(|(_, share)| share).sum();
            for (cell, share) in shares {
                // The zone's own area, shared out: what simplification moved does not count.
                out.area_m2[cell] += area * (share / whole);
            }
        }
        if holds == GridRates::Zone {
            out.cells.keep_most();
        }
        out
    }

    /// Area of a whole cell on the working plane, by what cells hold of the field. \[m²\]
    fn cell_m2(&self) -> f64 {
        let share: f64 = self.cells.share.iter().sum();
        self.area_m2.iter().sum::<f64>() / share.max(f64::MIN_POSITIVE)
    }
}

/// Share of each cell that rings cover.
fn coverage(rings: &[Ring], lattice: &Lattice) -> Vec<f64> {
    let mut out = vec![0.0; lattice.rows * lattice.cols];
    for (cell, share) in shares(rings, lattice.rows, lattice.cols) {
        out[cell] = share;
    }
    out
}

fn covered_or_touched(rings: &[Ring], lattice: &Lattice) -> Vec<bool> {
    let mut out = touched(rings, lattice.rows, lattice.cols);
    for (touches, share) in out.iter_mut().zip(coverage(rings, lattice)) {
        *touches |= share > MINIMUM_SHARE;
    }
    out
}

/// What keeps a rate from running on.
struct Barriers {
    /// Cells that touch ground that is kept clear.
    kept_off: Vec<bool>,
    /// Cells that a hard edge runs through.
    on_edge: Vec<bool>,
    /// Share of a cell inside the boundary's outline: ground there that no zone has gets nothing.
    in_outline: Vec<f64>,
    /// Hard edges and outlines of what is kept clear, each with the least and greatest place of its box.
    lines: Vec<([[f64; 2]; 2], Ring)>,
    /// How far into the field they count. \[cells\]
    inwards: f64,
}

/// Least and greatest place of a line's box.
fn box_of(line: &Ring) -> [[f64; 2]; 2] {
    line.iter().fold(
        [[f64::INFINITY; 2], [f64::NEG_INFINITY; 2]],
        |[low, high], p| {
            [
                [low[0].min(p[0]), low[1].min(p[1])],
                [high[0].max(p[0]), high[1].max(p[1])],
            ]
        },
    )
}

impl Barriers {
    fn of(
        prescription: &Prescription,
        reprojection: &Reprojection,
        lattice: &Lattice,
        mut outline: Vec<Ring>,
        (kept_clear, kept_off): (Vec<Ring>, Vec<bool>),
    ) -> Result<Self, Iso11783Error> {
        let mut lines = prescription
            .hard_edges
            .iter()
            .map(|line| Ok(lattice.in_cells(&reprojection.line(line)?)))
            .collect::<Result<Vec<_>, Iso11783Error>>()?;
        let on_edge = touched(&lines, lattice.rows, lattice.cols);
        for ring in &mut outline {
            if doubled_area(ring) < 0.0 {
                ring.reverse();
            }
        }
        lines.extend(kept_clear);
        Ok(Self {
            kept_off,
            on_edge,
            in_outline: coverage(&outline, lattice),
            lines: lines
                .into_iter()
                .map(|line| (box_of(&line), line))
                .collect(),
            inwards: (EDGE_INSIDE_M / lattice.cell_m).max(0.5),
        })
    }

    /// Whether the way from a cell's centre to the field, and a little into it, is barred.
    fn bar(&self, cell: usize, centre: [f64; 2], at: [f64; 2]) -> bool {
        if self.kept_off[cell] || self.on_edge[cell] || self.in_outline[cell] > OUTLINE_TOLERANCE {
            return true;
        }
        let way = [at[0] - centre[0], at[1] - centre[1]];
        let length = libm::hypot(way[0], way[1]);
        let on = if length > 0.0 {
            self.inwards / length
        } else {
            0.0
        };
        let end = [at[0] + on * way[0], at[1] + on * way[1]];
        let reaches = |([low, high], _): &&([[f64; 2]; 2], Ring)| {
            (0..2).all(|axis| {
                centre[axis].min(end[axis]) <= high[axis]
                    && low[axis] <= centre[axis].max(end[axis])
            })
        };
        self.lines
            .iter()
            .filter(reaches)
            .flat_map(|(_, line)| line.windows(2))
            .any(|edge| meet(centre, end, edge[0], edge[1]))
    }
}

fn run_outwards(
    grid: &mut RateGrid,
    rates: &MachineRates,
    zones: &[Vec<Ring>],
    inside: &Inside,
    barriers: &Barriers,
    reach: f64,
) {
    let (rows, cols) = (grid.lattice.rows, grid.lattice.cols);
    let mut neighbours = Neighbours::new((rows, cols), reach, |cell| {
        inside.cells.share[cell] <= MINIMUM_SHARE
    });
    for (zone, rings) in zones.iter().enumerate() {
        neighbours.add(zone, rings);
    }
    for (cell, near) in neighbours.within_reach() {
        let centre = [(cell % cols) as f64 + 0.5, (cell / cols) as f64 + 0.5];
        if !barriers.bar(cell, centre, near.at) {
            grid.rates[cell] = rates.zones[near.zone].shown;
        }
    }
}

fn findings(prescription: &Prescription, rates: &MachineRates, grid: &RateGrid) -> Vec<Finding> {
    let mut found = Vec::new();
    let lattice = &grid.lattice;
    let unit = prescription.unit.total_label();
    let us = prescription.unit.is_us();
    if lattice.is_coarsened() {
        found.push(Finding::caution(
            codes::MACHINE_GRID_COARSENED,
            format!(
                "cells of the task grid had to grow from {} to {} ({} rows, {} columns), since a controller need not take more than 350 rows or columns; zones \
                 narrower than a cell get lost: the shapefile keeps them, or split the field",
                Length::m(lattice.requested_m).text(us),
                Length::m(lattice.cell_m).text(us),
                lattice.rows,
                lattice.cols
            ),
        ));
    }
    if grid.held_cells > 0 {
        found.push(Finding::note(
            codes::MACHINE_GRID_HELD,
            format!(
                "{} of {} cells of the task grid lie across zones and their mean rate is one that the machine cannot hold: set to 0, to its least or to its greatest rate",
                grid.held_cells,
                grid.rates.len()
            ),
        ));
    }
    let off = grid.total - rates.total;
    if rates.total > 0.0 && libm::fabs(off) > TOTAL_TOLERANCE * rates.total {
        let kept = grid.total_without_exclusions - grid.total;
        let share = format!("{:+.2} %", 100.0 * off / rates.total);
        let why = if kept > 0.0 {
            format!(
                ": whole cells of {} that touch an exclusion or a hole get nothing, which takes {kept:.1} {unit}",
                Length::m(lattice.cell_m).text(us)
            )
        } else {
            String::new()
        };
        found.push(Finding::caution(
            codes::MACHINE_GRID_TOTAL,
            format!(
                "the task grid puts {:.1} {unit} on the field, the zones {:.1} {unit} ({share}){why}; order by the task grid's figure if the machine uses it",
                grid.total, rates.total
            ),
        ));
    }
    found
}
