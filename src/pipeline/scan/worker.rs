//! What one thread does with a window: weighs its pixels for cells and probes.

use std::ops::Range;
use std::sync::{Mutex, PoisonError};

use super::plan::Plan;
use super::{
    BandRange, CellSums, Found, KeptPixel, PixelCounts, PixelMap, Probe, Scan, ScanError, Scanned,
    SquareSum, TIE_TOLERANCE, Tally,
};
use crate::space::coverage::{Scratch, Span, cover};
use crate::space::crs::Projector;
use crate::space::fixed::Fixed;
use crate::space::raster::{RasterReader, Window};
use crate::space::squares::SquareGrid;

/// One thread's tools.
pub(super) struct Worker<'a> {
    scan: &'a Scan<'a>,
    plan: &'a Plan,
    map: PixelMap,
    ground: Projector,
    reader: Box<dyn RasterReader + 'a>,
    bands: Vec<Vec<f64>>,
    index: Vec<f64>,
    ranges: Vec<BandRange>,
    spans: Vec<Span>,
    /// Spans of the window's cells, one run of `spans` a cell.
    parts: Vec<(u32, Range<usize>)>,
    scratch: Scratch,
}

impl<'a> Worker<'a> {
    pub(super) fn new(scan: &'a Scan<'a>, plan: &'a Plan) -> Result<Self, ScanError> {
        let lattice = scan.source.lattice();
        Ok(Self {
            scan,
            plan,
            map: PixelMap::new(scan.plane, lattice)?,
            ground: Projector::new(&lattice.crs, scan.plane)?,
            reader: scan.source.reader()?,
            bands: vec![Vec::new(); scan.source.slots()],
            index: Vec::new(),
            ranges: Vec::new(),
            spans: Vec::new(),
            parts: Vec::new(),
            scratch: Scratch::default(),
        })
    }

    /// Reads one window and adds what it holds to the result.
    pub(super) fn window(
        &mut self,
        window: Window,
        cells: &[u32],
        result: &Mutex<Scanned>,
    ) -> Result<(), ScanError> {
        self.spans.clear();
        self.parts.clear();
        let rows = (window.row, window.row + window.rows);
        for &cell in cells {
            let from = self.spans.len();
            let rings = self.map.cell(self.scan.grid, cell as usize)?;
            cover(&rings, rows, &mut self.scratch, &mut self.spans);
            clip(&mut self.spans, from, &window);
            if self.spans.len() > from {
                self.parts.push((cell, from..self.spans.len()));
            }
        }
        let mut probes = Vec::new();
        for (k, probe) in self
            .plan
            .probes
            .iter()
            .enumerate()
            .filter(|(_, probe)| probe.bounds.meets(&window))
        {
            let mut spans = Vec::new();
            cover(&probe.rings, rows, &mut self.scratch, &mut spans);
            clip(&mut spans, 0, &window);
            if !spans.is_empty() {
                probes.push((k, spans));
            }
        }
        if self.parts.is_empty() && probes.is_empty() {
            return Ok(());
        }
        self.reader.read(window, &mut self.bands)?;
        let counts = self.index_of(&window);
        let mut sums = Vec::with_capacity(self.parts.len());
        for (cell, range) in &self.parts {
            sums.push((*cell, self.cell_sums(&window, &self.spans[range.clone()])));
        }
        let mut found = Vec::new();
        let mut squares = Vec::new();
        for (k, spans) in &probes {
            let probe = &self.scan.probes[*k];
            if let Probe::Squares { grid, .. } = probe {
                squares.push((*k, self.squares(&window, grid, spans)));
            } else {
                found.push((*k, self.probe(&window, probe, spans)?));
            }
        }
        let mut all = result.lock().unwrap_or_else(PoisonError::into_inner);
        all.counts.add(counts);
        for (band, part) in all.bands.iter_mut().zip(&self.ranges) {
            band.add(*part);
        }
        for (cell, part) in sums {
            let sum = &mut all.cells[cell as usize];
            sum.seen.add(part.seen);
            sum.canopy.add(part.canopy);
            sum.weighted.add(part.weighted);
        }
        for (k, part) in found {
            match (&mut all.found[k], part) {
                (Found::Segments(tallies), Found::Segments(parts)) => {
                    for (tally, part) in tallies.iter_mut().zip(parts) {
                        tally.weight.add(part.weight);
                        tally.weighted.add(part.weighted);
                        tally.squares.add(part.squares);
                        tally.pixels += part.pixels;
                        tally.bare += part.bare;
                    }
                }
                (Found::Pixels(pixels), Found::Pixels(parts)) => pixels.extend(parts),
                _ => {}
            }
        }
        for (k, part) in &squares {
            if let Found::Squares(sums) = &mut all.found[*k] {
                part.add_to(sums);
            }
        }
        drop(all);
        Ok(())
    }

    /// Index of every pixel that lies in the field, NaN elsewhere.
    fn index_of(&mut self, window: &Window) -> PixelCounts {
        let mut counts = PixelCounts::default();
        self.index.clear();
        self.index.resize(window.len(), f64::NAN);
        self.ranges.clear();
        self.ranges.resize(self.bands.len(), BandRange::default());
        let mut spans = Vec::new();
        cover(
            &self.plan.field,
            (window.row, window.row + window.rows),
            &mut self.scratch,
            &mut spans,
        );
        clip(&mut spans, 0, window);
        // Runs of pixels that are whole, joined over neighbouring spans.
        let mut k = 0;
        while k < spans.len() {
            let first = spans[k];
            if first.share < self.scan.pixel_inside - TIE_TOLERANCE {
                k += 1;
                continue;
            }
            let mut end = first.col + first.len;
            k += 1;
            while k < spans.len()
                && spans[k].row == first.row
                && spans[k].col == end
                && spans[k].share >= self.scan.pixel_inside - TIE_TOLERANCE
            {
                end += spans[k].len;
                k += 1;
            }
            let at = ((first.row - window.row) * window.cols + first.col - window.col) as usize;
            let to = at + (end - first.col) as usize;
            let rows: Vec<&[f64]> = self.bands.iter().map(|band| &band[at..to]).collect();
            if self.scan.look_at_bands {
                for (range, values) in self.ranges.iter_mut().zip(&rows) {
                    range.take(values);
                }
            }
            let (missing, undefined, out_of_range) =
                self.scan.index.evaluate(&rows, &mut self.index[at..to]);
            let odd = |k: &usize| {
                self.index[at + k].is_nan() && rows.iter().all(|row| row[*k].is_finite())
            };
            let first_odd = (undefined + out_of_range > 0)
                .then(|| (0..to - at).find(odd))
                .flatten()
                .map(|k| (first.row, first.col + k as i64));
            counts.add(PixelCounts {
                in_field: (to - at) as u64,
                missing,
                undefined,
                out_of_range,
                first_odd,
            });
        }
        counts
    }

    const fn limit(&self) -> f64 {
        match self.scan.bare_below {
            Some(limit) => (limit - TIE_TOLERANCE).max(f64::MIN_POSITIVE),
            None => f64::MIN_POSITIVE,
        }
    }

    fn cell_sums(&self, window: &Window, spans: &[Span]) -> CellSums {
        let limit = self.limit();
        let mut sums = CellSums::default();
        for span in spans {
            let at = ((span.row - window.row) * window.cols + span.col - window.col) as usize;
            let row = &self.index[at..at + span.len as usize];
            if span.share == 1.0 {
                let (seen, canopy, weighted) = Fixed::of_row(row, limit);
                sums.seen.add(Fixed::whole(seen));
                sums.canopy.add(Fixed::whole(canopy));
                sums.weighted.add(weighted);
            } else {
                let share = Fixed::of(span.share);
                for &value in row.iter().filter(|value| !value.is_nan()) {
                    sums.seen.add(share);
                    if value >= limit {
                        sums.canopy.add(share);
                        sums.weighted.add(Fixed::of(span.share * value));
                    }
                }
            }
        }
        sums
    }

    /// Sums by rectangle of a grid. Runs of pixels of one rectangle are added at once.
    fn squares(&self, window: &Window, grid: &SquareGrid, spans: &[Span]) -> SquareBox {
        let limit = self.limit();
        let mut sums = SquareBox::over(grid, window);
        let half = 0.5 - TIE_TOLERANCE;
        let mut k = 0;
        while k < spans.len() {
            let first = spans[k];
            k += 1;
            if first.share < half {
                continue;
            }
            let mut end = first.col + first.len;
            while k < spans.len()
                && spans[k].row == first.row
                && spans[k].col == end
                && spans[k].share >= half
            {
                end += spans[k].len;
                k += 1;
            }
            let row = (first.row - window.row) * window.cols - window.col;
            grid.runs(first.row, first.col, end - first.col, |at, col, len| {
                let from = (row + col) as usize;
                let (_, taken, sum) = Fixed::of_row(&self.index[from..from + len as usize], limit);
                sums.at(at).add(&SquareSum {
                    weighted: sum,
                    canopy: taken as u32,
                    pixels: len as u32,
                });
            });
        }
        sums
    }

    fn probe(&self, window: &Window, probe: &Probe, spans: &[Span]) -> Result<Found, ScanError> {
        let limit = self.limit();
        let lattice = self.scan.source.lattice();
        let minimum = if matches!(probe, Probe::Segments { .. }) {
            0.5
        } else {
            0.999
        } - TIE_TOLERANCE;
        let mut pixels = Vec::new();
        let mut tallies = match probe {
            Probe::Segments {
                segments, blocks, ..
            } => vec![Tally::default(); segments * blocks],
            Probe::Pixels { .. } | Probe::Squares { .. } => Vec::new(),
        };
        for span in spans.iter().filter(|span| span.share >= minimum) {
            for col in span.col..span.col + span.len {
                let index =
                    self.index[((span.row - window.row) * window.cols + col - window.col) as usize];
                if index.is_nan() {
                    continue;
                }
                let Probe::Segments {
                    along,
                    segments,
                    blocks,
                    ..
                } = probe
                else {
                    if index >= limit {
                        pixels.push(KeptPixel {
                            row: span.row,
                            col,
                            index,
                        });
                    }
                    continue;
                };
                let (x, y) = lattice
                    .affine
                    .to_ground(col as f64 + 0.5, span.row as f64 + 0.5);
                let (x, y) = self.ground.point(x, y)?;
                let t = along.along_across(x, y).0 / along.length;
                let step = |n: usize| (libm::floor(t * n as f64).max(0.0) as usize).min(n - 1);
                let tally = &mut tallies[step(*segments) * blocks + step(*blocks)];
                if index < limit {
                    tally.bare += 1;
                    continue;
                }
                tally.weight.add(Fixed::of(span.share));
                tally.weighted.add(Fixed::of(span.share * index));
                tally.squares.add(Fixed::of(span.share * index * index));
                tally.pixels += 1;
            }
        }
        Ok(if matches!(probe, Probe::Segments { .. }) {
            Found::Segments(tallies)
        } else {
            Found::Pixels(pixels)
        })
    }
}

/// The part of a grid of rectangles that a window reaches.
struct SquareBox {
    first: (usize, usize),
    wide: usize,
    all_wide: usize,
    sums: Vec<SquareSum>,
}

impl SquareBox {
    fn over(grid: &SquareGrid, window: &Window) -> Self {
        let (low, high) = grid.within(
            (window.col, window.col + window.cols),
            (window.row, window.row + window.rows),
        );
        let wide = (high.1 - low.1 + 1) as usize;
        let long = (high.0 - low.0 + 1) as usize;
        Self {
            first: (low.0 as usize, low.1 as usize),
            wide,
            all_wide: grid.reach().1.1 as usize,
            sums: vec![SquareSum::default(); wide * long],
        }
    }
    fn at(&mut self, (u, v): (usize, usize)) -> &mut SquareSum {
        &mut self.sums[(u - self.first.0) * self.wide + v - self.first.1]
    }
    fn add_to(&self, all: &mut [SquareSum]) {
        for (u, row) in self.sums.chunks(self.wide).enumerate() {
            let from = (u + self.first.0) * self.all_wide + self.first.1;
            for (sum, part) in all[from..from + self.wide].iter_mut().zip(row) {
                if part.pixels > 0 {
                    sum.add(part);
                }
            }
        }
    }
}

/// Cuts the spans from `from` on to the columns of a window.
fn clip(spans: &mut Vec<Span>, from: usize, window: &Window) {
    let mut kept = from;
    for k in from..spans.len() {
        let mut span = spans[k];
        let (start, end) = (
            span.col.max(window.col),
            (span.col + span.len).min(window.col + window.cols),
        );
        if start < end {
            span.col = start;
            span.len = end - start;
            spans[kept] = span;
            kept += 1;
        }
    }
    spans.truncate(kept);
}
