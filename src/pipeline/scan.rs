//! One pass over the pixels that the field touches: every pixel is weighed for its cell, strip or swath as it goes by, and none is kept.
//!
//! Windows are the file's own blocks. Threads take them in turn, each with a reader of its own; sums are integers ([`Fixed`]), so that neither threads nor windows
//! change a bit of the answer. A cell's pixels come as spans: runs of whole pixels are added by plain arithmetic, edge pixels by their exact share.

use std::sync::Mutex;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;

use crate::space::cells::CellGrid;
use crate::space::coverage::Scratch;
use crate::space::coverage::Span;
use crate::space::coverage::cover;
use crate::space::crs::Crs;
use crate::space::crs::CrsError;
use crate::space::crs::Projector;
use crate::space::fixed::Fixed;
use crate::space::polygon::Rectangle;
use crate::space::polygon::densified;
use crate::space::polygon::densified_ring;
use crate::space::polygon::rings_of;
use crate::space::raster::Affine;
use crate::space::raster::Lattice;
use crate::space::raster::RasterError;
use crate::space::raster::RasterReader;
use crate::space::raster::RasterSource;
use crate::space::raster::Window;
use geo::MultiPolygon;

/// Every share threshold is met at threshold − this: shares are often exact ties, and other programs hold them in 32 bits.
pub const TIE: f64 = 1e-6;
/// Pixels of a window, at the most and at the least that memory is cut down to.
const WINDOW_PIXELS: (i64, i64) = (1 << 20, 1 << 14);
/// Small blocks are read together up to this many columns and rows.
const WINDOW_SIDE: i64 = 512;
/// Chord error of densified edges. \[pixel\]
const CHORD_ERROR: f64 = 1e-4;

/// Why a pass failed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ScanError {
    /// Pixels could not be read.
    #[error(transparent)]
    Raster(#[from] RasterError),
    /// A shape could not be carried into the image.
    #[error(transparent)]
    Crs(#[from] CrsError),
    /// The user asked to stop.
    #[error("stopped by the user")]
    Cancelled,
}

/// What the pixels of the field hold in one band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandRange {
    /// Least value.
    pub least: f64,
    /// Greatest value.
    pub greatest: f64,
    /// Sum of values.
    pub sum: Fixed,
    /// Pixels with a value.
    pub pixels: u64,
}

impl Default for BandRange {
    fn default() -> Self {
        Self { least: f64::INFINITY, greatest: f64::NEG_INFINITY, sum: Fixed::default(), pixels: 0 }
    }
}

impl BandRange {
    fn take(&mut self, values: &[f64]) {
        for &value in values.iter().filter(|value| value.is_finite()) {
            self.least = self.least.min(value);
            self.greatest = self.greatest.max(value);
            self.sum.add(Fixed::of(value));
            self.pixels += 1;
        }
    }
    fn add(&mut self, other: Self) {
        self.least = self.least.min(other.least);
        self.greatest = self.greatest.max(other.greatest);
        self.sum.add(other.sum);
        self.pixels += other.pixels;
    }
    /// Mean value; `None` without a pixel.
    pub fn mean(&self) -> Option<f64> {
        (self.pixels > 0).then(|| self.sum.get() / self.pixels as f64)
    }
}

/// Why pixels of the field were not seen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PixelCounts {
    /// Pixels of the windows that lie in the field, wholly by the rule.
    pub in_field: u64,
    /// Of those: a band without a value.
    pub missing: u64,
    /// Of those: a denominator that is not positive, a root of a negative number.
    pub undefined: u64,
    /// Of those: an index outside its range.
    pub out_of_range: u64,
    /// Row and column of the first pixel that has every band and yet no index, in the image's own order.
    pub first_odd: Option<(i64, i64)>,
}

impl PixelCounts {
    fn add(&mut self, other: Self) {
        self.in_field += other.in_field;
        self.missing += other.missing;
        self.undefined += other.undefined;
        self.out_of_range += other.out_of_range;
        self.first_odd = self.first_odd.into_iter().chain(other.first_odd).min();
    }
}

/// Turns rows of bands into a row of index values, NaN where there is none.
pub trait RowIndex: Sync {
    /// Evaluates a row; answers how many pixels lacked a value for which reason (missing, undefined, out of range).
    fn evaluate(&self, bands: &[&[f64]], out: &mut [f64]) -> (u64, u64, u64);
}

/// What is gathered over one area besides the cells.
#[derive(Clone, Debug)]
pub enum Probe {
    /// Pixels at least half inside, by segment and block of a rectangle's length.
    Segments {
        /// The area, on the plane.
        area: MultiPolygon<f64>,
        /// The rectangle whose length is cut.
        along: Rectangle,
        /// Number of segments.
        segments: usize,
        /// Number of blocks.
        blocks: usize,
    },
    /// Single pixels wholly inside, kept with their place: coarse images only.
    Pixels {
        /// The area, on the plane.
        area: MultiPolygon<f64>,
    },
}

/// Sums of one segment in one block.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Tally {
    /// Σ share.
    pub weight: Fixed,
    /// Σ share · index.
    pub weighted: Fixed,
    /// Σ share · index².
    pub squares: Fixed,
    /// Pixels.
    pub pixels: u64,
    /// Pixels left out as bare.
    pub bare: u64,
}

/// A pixel kept with its place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeptPixel {
    /// Row in the image.
    pub row: i64,
    /// Column in the image.
    pub col: i64,
    /// Its index.
    pub index: f64,
}

/// What a probe found.
#[derive(Clone, Debug, PartialEq)]
pub enum Found {
    /// Segment by segment, blocks within.
    Segments(Vec<Tally>),
    /// In row, column order.
    Pixels(Vec<KeptPixel>),
}

/// Sums of one cell.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct CellSums {
    /// Σ share of pixels seen and whole.
    pub seen: Fixed,
    /// Σ share of those that are not bare.
    pub canopy: Fixed,
    /// Σ share · index of those.
    pub weighted: Fixed,
}

/// What a pass needs to know.
pub struct Scan<'a> {
    /// The image.
    pub source: &'a dyn RasterSource,
    /// Bands to index.
    pub index: &'a dyn RowIndex,
    /// The working plane.
    pub plane: &'a Crs,
    /// The field on it.
    pub field: &'a MultiPolygon<f64>,
    /// The cells.
    pub grid: &'a CellGrid,
    /// What else is gathered.
    pub probes: &'a [Probe],
    /// Share of a pixel that must lie in the field.
    pub pixel_inside: f64,
    /// Index below which a pixel is bare.
    pub bare_below: Option<f64>,
    /// Whether bands are looked at one by one, which costs time.
    pub look_at_bands: bool,
    /// Threads.
    pub threads: usize,
    /// Pixels of a window, as [`window_pixels`] has them; blocks of the file up to twice as large stay whole.
    pub window_pixels: i64,
    /// Called with windows done and windows in all; answering `false` stops.
    pub progress: &'a (dyn Fn(usize, usize) -> bool + Sync),
}

/// What a pass found.
#[derive(Clone, Debug)]
pub struct Scanned {
    /// Sums by cell, in grid order.
    pub cells: Vec<CellSums>,
    /// Standard error of each cell's index, where it was estimated from readings near it; all `None` for an image.
    pub standard_errors: Vec<Option<f64>>,
    /// Area of each cell in pixels, seen or not.
    pub areas: Vec<f64>,
    /// By probe.
    pub found: Vec<Found>,
    /// Pixels seen and not seen.
    pub counts: PixelCounts,
    /// By slot, when bands were looked at.
    pub bands: Vec<BandRange>,
}

/// Carries plane coordinates into an image's pixel coordinates. One a thread.
pub struct PixelMap {
    way: Projector,
    affine: Affine,
}

impl PixelMap {
    /// The way from `plane` into the image.
    ///
    /// # Errors
    /// [`CrsError`] when there is none.
    pub fn new(plane: &Crs, lattice: &Lattice) -> Result<Self, CrsError> {
        Ok(Self { way: Projector::new(plane, &lattice.crs)?, affine: lattice.affine })
    }
    /// One point.
    ///
    /// # Errors
    /// [`CrsError::Point`].
    pub fn pixel(&self, x: f64, y: f64) -> Result<(f64, f64), CrsError> {
        let (x, y) = self.way.point(x, y)?;
        Ok(self.affine.to_pixel(x, y))
    }
    /// A polygon's rings.
    ///
    /// # Errors
    /// [`CrsError::Point`].
    pub fn rings(&self, polygon: &MultiPolygon<f64>) -> Result<Vec<Vec<[f64; 2]>>, CrsError> {
        if self.way.is_identity() {
            let place = |p: &[f64; 2]| {
                let (col, row) = self.affine.to_pixel(p[0], p[1]);
                [col, row]
            };
            return Ok(rings_of(polygon).iter().map(|ring| ring.iter().map(place).collect()).collect());
        }
        densified(polygon, CHORD_ERROR, &|x, y| self.pixel(x, y))
    }
    /// A cell's rings.
    fn cell(&self, grid: &CellGrid, cell: usize) -> Result<Vec<Vec<[f64; 2]>>, CrsError> {
        let mut rings = Vec::new();
        for (ring, _) in grid.rings(cell) {
            let ground: Vec<[f64; 2]> = ring
                .iter()
                .map(|p| {
                    let (x, y) = grid.frame.to_xy(p[0], p[1]);
                    [x, y]
                })
                .collect();
            rings.push(if self.way.is_identity() {
                ground
                    .iter()
                    .map(|p| {
                        let (col, row) = self.affine.to_pixel(p[0], p[1]);
                        [col, row]
                    })
                    .collect()
            } else {
                densified_ring(&ground, CHORD_ERROR, &|x, y| self.pixel(x, y))?
            });
        }
        Ok(rings)
    }
}

/// Least and greatest column and row that rings reach: `[c0, c1) × [r0, r1)`.
#[derive(Clone, Copy, Debug)]
struct Bounds {
    cols: (i64, i64),
    rows: (i64, i64),
}

impl Bounds {
    fn of(rings: &[Vec<[f64; 2]>]) -> Self {
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for point in rings.iter().flatten() {
            for k in 0..2 {
                low[k] = low[k].min(point[k]);
                high[k] = high[k].max(point[k]);
            }
        }
        let whole = |low: f64, high: f64| (libm::floor(low) as i64, libm::ceil(high) as i64);
        Self { cols: whole(low[0], high[0]), rows: whole(low[1], high[1]) }
    }
    const fn meets(&self, window: &Window) -> bool {
        self.cols.0 < window.col + window.cols && self.cols.1 > window.col && self.rows.0 < window.row + window.rows && self.rows.1 > window.row
    }
}

/// Pixels that a window may have, so that the windows of all threads stay within a quarter of the memory that may be used.
pub fn window_pixels(memory: u64, threads: usize, slots: usize) -> i64 {
    // Of each pixel: its bands as values, one band as stored, the index, what hides it; runs of the cells that it belongs to.
    let each = 8 * slots as u64 + 8 + 8 + 1 + 7;
    let fits = memory / 4 / threads.max(1) as u64 / each;
    i64::try_from(fits).unwrap_or(i64::MAX).clamp(WINDOW_PIXELS.1, WINDOW_PIXELS.0)
}

/// The windows of an image: its own blocks, small ones joined, large ones split.
fn window_size(lattice: &Lattice, most: i64) -> (i64, i64) {
    let (block_cols, block_rows) = (lattice.block.0.clamp(1, lattice.cols), lattice.block.1.clamp(1, lattice.rows));
    let joined = |block: i64, all: i64| if block >= WINDOW_SIDE { block } else { (WINDOW_SIDE / block * block).min(all) };
    let (mut cols, mut rows) = (joined(block_cols, lattice.cols), joined(block_rows, lattice.rows));
    if block_cols >= lattice.cols {
        // Strips: as many whole rows as the limit allows.
        rows = (most / cols / block_rows * block_rows).clamp(block_rows, lattice.rows.max(block_rows));
    }
    while cols * rows > most * 2 {
        if rows >= cols { rows = (rows + 1) / 2 } else { cols = (cols + 1) / 2 }
    }
    (cols, rows)
}

/// Area inside rings, holes the other way round. \[pixels\]
fn area_of(rings: &[Vec<[f64; 2]>]) -> f64 {
    let mut doubled = 0.0;
    for ring in rings {
        let Some(o) = ring.first() else { continue };
        for e in ring.windows(2) {
            doubled += (e[0][0] - o[0]) * (e[1][1] - o[1]) - (e[1][0] - o[0]) * (e[0][1] - o[1]);
        }
    }
    doubled.abs() / 2.0
}

struct ProbeRings {
    rings: Vec<Vec<[f64; 2]>>,
    bounds: Bounds,
}

/// Everything that is worked out once, before any pixel is read.
struct Plan {
    windows: Vec<(Window, Vec<u32>)>,
    areas: Vec<f64>,
    field: Vec<Vec<[f64; 2]>>,
    probes: Vec<ProbeRings>,
}

fn plan(scan: &Scan<'_>) -> Result<Plan, ScanError> {
    let lattice = scan.source.lattice();
    let map = PixelMap::new(scan.plane, lattice)?;
    let field = map.rings(scan.field)?;
    let probes = scan
        .probes
        .iter()
        .map(|probe| {
            let (Probe::Segments { area, .. } | Probe::Pixels { area }) = probe;
            let rings = map.rings(area)?;
            let bounds = Bounds::of(&rings);
            Ok(ProbeRings { rings, bounds })
        })
        .collect::<Result<Vec<_>, CrsError>>()?;
    let (cols, rows) = window_size(lattice, scan.window_pixels);
    let across = (lattice.cols + cols - 1) / cols;
    let down = (lattice.rows + rows - 1) / rows;
    let mut cells: std::collections::BTreeMap<(i64, i64), Vec<u32>> = std::collections::BTreeMap::new();
    let each = |bounds: &Bounds, take: &mut dyn FnMut((i64, i64))| {
        for r in (bounds.rows.0.div_euclid(rows)).max(0)..=((bounds.rows.1 - 1).div_euclid(rows)).min(down - 1) {
            for c in (bounds.cols.0.div_euclid(cols)).max(0)..=((bounds.cols.1 - 1).div_euclid(cols)).min(across - 1) {
                take((r, c));
            }
        }
    };
    let mut areas = Vec::with_capacity(scan.grid.cells.len());
    for cell in 0..scan.grid.cells.len() {
        let rings = map.cell(scan.grid, cell)?;
        areas.push(area_of(&rings));
        let bounds = Bounds::of(&rings);
        each(&bounds, &mut |key| cells.entry(key).or_default().push(cell as u32));
    }
    for probe in &probes {
        if !probe.rings.is_empty() {
            each(&probe.bounds, &mut |key| {
                cells.entry(key).or_default();
            });
        }
    }
    let windows = cells
        .into_iter()
        .map(|((r, c), list)| {
            let window = Window { col: c * cols, row: r * rows, cols: cols.min(lattice.cols - c * cols), rows: rows.min(lattice.rows - r * rows) };
            (window, list)
        })
        .collect();
    Ok(Plan { windows, areas, field, probes })
}

/// Passes over the image once.
///
/// # Errors
/// [`ScanError`]: pixels that cannot be read, shapes that cannot be carried, a stop asked for.
pub fn scan(scan: &Scan<'_>) -> Result<Scanned, ScanError> {
    let plan = plan(scan)?;
    let empty = |probe: &Probe| match probe {
        Probe::Segments { segments, blocks, .. } => Found::Segments(vec![Tally::default(); segments * blocks]),
        Probe::Pixels { .. } => Found::Pixels(Vec::new()),
    };
    let result = Mutex::new(Scanned {
        cells: vec![CellSums::default(); scan.grid.cells.len()],
        standard_errors: vec![None; scan.grid.cells.len()],
        areas: plan.areas.clone(),
        found: scan.probes.iter().map(empty).collect(),
        counts: PixelCounts::default(),
        bands: vec![BandRange::default(); scan.source.slots()],
    });
    let failure: Mutex<Option<ScanError>> = Mutex::new(None);
    let (next, done, stop) = (AtomicUsize::new(0), AtomicUsize::new(0), AtomicBool::new(false));
    let work = || -> Result<(), ScanError> {
        let mut worker = Worker::new(scan, &plan)?;
        while !stop.load(Ordering::Relaxed) {
            let k = next.fetch_add(1, Ordering::Relaxed);
            let Some((window, cells)) = plan.windows.get(k) else { break };
            worker.window(*window, cells, &result)?;
            let finished = done.fetch_add(1, Ordering::Relaxed) + 1;
            if !(scan.progress)(finished, plan.windows.len()) {
                return Err(ScanError::Cancelled);
            }
        }
        Ok(())
    };
    std::thread::scope(|scope| {
        for _ in 0..scan.threads.clamp(1, plan.windows.len().max(1)) {
            scope.spawn(|| {
                if let Err(error) = work() {
                    stop.store(true, Ordering::Relaxed);
                    if let Ok(mut slot) = failure.lock() {
                        slot.get_or_insert(error);
                    }
                }
            });
        }
    });
    if let Some(error) = failure.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner) {
        return Err(error);
    }
    let mut scanned = result.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    for found in &mut scanned.found {
        if let Found::Pixels(pixels) = found {
            pixels.sort_by_key(|pixel| (pixel.row, pixel.col));
        }
    }
    Ok(scanned)
}

/// One thread's tools.
struct Worker<'a> {
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
    parts: Vec<(u32, std::ops::Range<usize>)>,
    scratch: Scratch,
}

impl<'a> Worker<'a> {
    fn new(scan: &'a Scan<'a>, plan: &'a Plan) -> Result<Self, ScanError> {
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

    fn window(&mut self, window: Window, cells: &[u32], result: &Mutex<Scanned>) -> Result<(), ScanError> {
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
        for (k, probe) in self.plan.probes.iter().enumerate().filter(|(_, probe)| probe.bounds.meets(&window)) {
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
        for (k, spans) in &probes {
            found.push((*k, self.probe(&window, &self.scan.probes[*k], spans)?));
        }
        let mut all = result.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
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
        cover(&self.plan.field, (window.row, window.row + window.rows), &mut self.scratch, &mut spans);
        clip(&mut spans, 0, window);
        // Runs of pixels that are whole, joined over neighbouring spans.
        let mut k = 0;
        while k < spans.len() {
            let first = spans[k];
            if first.share < self.scan.pixel_inside - TIE {
                k += 1;
                continue;
            }
            let mut end = first.col + first.len;
            k += 1;
            while k < spans.len() && spans[k].row == first.row && spans[k].col == end && spans[k].share >= self.scan.pixel_inside - TIE {
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
            let (missing, undefined, out_of_range) = self.scan.index.evaluate(&rows, &mut self.index[at..to]);
            let odd = |k: &usize| self.index[at + k].is_nan() && rows.iter().all(|row| row[*k].is_finite());
            let first_odd = (undefined + out_of_range > 0).then(|| (0..to - at).find(odd)).flatten().map(|k| (first.row, first.col + k as i64));
            counts.add(PixelCounts { in_field: (to - at) as u64, missing, undefined, out_of_range, first_odd });
        }
        counts
    }

    const fn limit(&self) -> f64 {
        match self.scan.bare_below {
            Some(limit) => (limit - TIE).max(f64::MIN_POSITIVE),
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

    fn probe(&self, window: &Window, probe: &Probe, spans: &[Span]) -> Result<Found, ScanError> {
        let limit = self.limit();
        let lattice = self.scan.source.lattice();
        let least = if matches!(probe, Probe::Segments { .. }) { 0.5 } else { 0.999 } - TIE;
        let mut pixels = Vec::new();
        let mut tallies = match probe {
            Probe::Segments { segments, blocks, .. } => vec![Tally::default(); segments * blocks],
            Probe::Pixels { .. } => Vec::new(),
        };
        for span in spans.iter().filter(|span| span.share >= least) {
            for col in span.col..span.col + span.len {
                let index = self.index[((span.row - window.row) * window.cols + col - window.col) as usize];
                if index.is_nan() {
                    continue;
                }
                let Probe::Segments { along, segments, blocks, .. } = probe else {
                    if index >= limit {
                        pixels.push(KeptPixel { row: span.row, col, index });
                    }
                    continue;
                };
                let (x, y) = lattice.affine.to_ground(col as f64 + 0.5, span.row as f64 + 0.5);
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
        Ok(if matches!(probe, Probe::Segments { .. }) { Found::Segments(tallies) } else { Found::Pixels(pixels) })
    }
}

/// Cuts the spans from `from` on to the columns of a window.
fn clip(spans: &mut Vec<Span>, from: usize, window: &Window) {
    let mut kept = from;
    for k in from..spans.len() {
        let mut span = spans[k];
        let (start, end) = (span.col.max(window.col), (span.col + span.len).min(window.col + window.cols));
        if start < end {
            span.col = start;
            span.len = end - start;
            spans[kept] = span;
            kept += 1;
        }
    }
    spans.truncate(kept);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::cells::CellFrame;
    use crate::space::cut::cut;
    use approx::assert_relative_eq;
    use geo::Area;
    use geo::Centroid;
    use geo::LineString;
    use geo::Polygon;

    struct Flat {
        lattice: Lattice,
        value: fn(i64, i64) -> f64,
    }
    struct FlatReader<'a>(&'a Flat);
    impl RasterSource for Flat {
        fn lattice(&self) -> &Lattice {
            &self.lattice
        }
        fn slots(&self) -> usize {
            1
        }
        fn reader(&self) -> Result<Box<dyn RasterReader + '_>, RasterError> {
            Ok(Box::new(FlatReader(self)))
        }
    }
    impl RasterReader for FlatReader<'_> {
        fn read(&mut self, window: Window, bands: &mut [Vec<f64>]) -> Result<(), RasterError> {
            bands[0].clear();
            for row in window.row..window.row + window.rows {
                bands[0].extend((window.col..window.col + window.cols).map(|col| (self.0.value)(col, row)));
            }
            Ok(())
        }
    }
    struct Same;
    impl RowIndex for Same {
        fn evaluate(&self, bands: &[&[f64]], out: &mut [f64]) -> (u64, u64, u64) {
            out.copy_from_slice(bands[0]);
            (out.iter().filter(|v| v.is_nan()).count() as u64, 0, 0)
        }
    }

    fn run(block: (i64, i64), threads: usize) -> (CellGrid, Scanned) {
        let crs = Crs::utm(15.0, 48.0);
        let lattice = Lattice { cols: 200, rows: 180, affine: Affine([5e5, 1.0, 0.0, 5.4e6, 0.0, -1.0]), crs: crs.clone(), block };
        let source = Flat { lattice, value: |col, row| if (col, row) == (100, 90) { f64::NAN } else { 0.5 + (col as f64 + row as f64) / 1000.0 } };
        let outer = vec![(5e5 + 10.0, 5.4e6 - 5.0), (5e5 + 190.0, 5.4e6 - 20.5), (5e5 + 150.3, 5.4e6 - 170.0), (5e5 + 15.0, 5.4e6 - 140.0)];
        let hole = vec![(5e5 + 60.0, 5.4e6 - 60.0), (5e5 + 80.0, 5.4e6 - 60.0), (5e5 + 80.0, 5.4e6 - 80.0), (5e5 + 60.0, 5.4e6 - 80.0)];
        let field = MultiPolygon::new(vec![Polygon::new(LineString::from(outer), vec![LineString::from(hole)])]);
        let field = crate::space::polygon::oriented(&field);
        let mut frame = CellFrame::new(27.0, 24.0, 18.0);
        let uv: Vec<(f64, f64)> = rings_of(&field).iter().flatten().map(|p| frame.to_uv(p[0], p[1])).collect();
        frame.u0 = uv.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
        frame.v0 = uv.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
        let grid = cut(&field, frame).unwrap();
        let probes = [Probe::Pixels { area: crate::space::polygon::grown(&field, -20.0) }];
        let scanned = scan(&Scan {
            source: &source,
            index: &Same,
            plane: &crs,
            field: &field,
            grid: &grid,
            probes: &probes,
            pixel_inside: 0.0,
            bare_below: None,
            look_at_bands: true,
            threads,
            window_pixels: window_pixels(1 << 20, threads, 1),
            progress: &|_, _| true,
        })
        .unwrap();
        (grid, scanned)
    }

    #[test]
    fn shares_of_a_cell_add_up_to_its_area_and_means_are_plane_means() {
        let (grid, scanned) = run((64, 64), 1);
        let (mut seen, mut whole) = (0.0, 0);
        for (k, sums) in scanned.cells.iter().enumerate() {
            seen += sums.seen.get();
            if (sums.seen.get() - grid.cells[k].area).abs() < 1e-6 {
                whole += 1;
                let outline = grid.outline(k);
                let c = outline.centroid().unwrap();
                // The value is linear in place, so the mean is the value at the centroid (pixel centres stand for pixels: edge pixels add a little).
                let expected = 0.5 + ((c.x() - 5e5 - 0.5) + (5.4e6 - c.y() - 0.5)) / 1000.0;
                assert_relative_eq!(sums.weighted.get() / sums.canopy.get(), expected, epsilon = 2e-4);
            }
        }
        assert!(whole >= grid.cells.len() - 4, "{whole} of {}", grid.cells.len());
        let area: f64 = grid.cells.iter().map(|cell| cell.area).sum();
        assert_relative_eq!(seen, area - 1.0, epsilon = 1e-6);
        assert!(area > 0.0 && grid.outline(0).unsigned_area() > 0.0);
    }

    #[test]
    fn blocks_and_threads_change_no_bit() {
        let (_, first) = run((64, 64), 1);
        for (block, threads) in [((200, 1), 1), ((16, 16), 3), ((512, 512), 2), ((7, 13), 2)] {
            let (_, other) = run(block, threads);
            assert_eq!(first.cells, other.cells);
            assert_eq!(first.found, other.found);
            assert_eq!(first.counts, other.counts);
        }
    }
}
