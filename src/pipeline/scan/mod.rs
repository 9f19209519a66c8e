//! One pass over the pixels that the field touches: every pixel is weighed for its cell, strip or swath as it goes by, and none is kept.
//!
//! Windows are the file's own blocks. Threads take them in turn, each with a reader of its own; sums are integers ([`Fixed`]), so that neither threads nor windows
//! change a bit of the answer. A cell's pixels come as spans: runs of whole pixels are added by plain arithmetic, edge pixels by their exact share.

mod counts;
mod pixel_map;
mod plan;
mod rows;
#[cfg(test)]
mod tests;
mod worker;

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

pub use counts::{BandRange, PixelCounts};
pub use pixel_map::PixelMap;
pub use plan::window_pixels;
pub use rows::{BandWatch, IndexRows};

use crate::space::cells::CellGrid;
use crate::space::crs::{Crs, CrsError};
use crate::space::fixed::Fixed;
use crate::space::polygon::Rectangle;
use crate::space::raster::{RasterError, RasterSource};
use crate::space::squares::SquareGrid;
use geo::MultiPolygon;

use plan::plan;
use worker::Worker;

/// Every share threshold is met at threshold − this: shares are often exact ties, and other programs hold them in 32 bits.
pub const TIE_TOLERANCE: f64 = 1e-6;

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
    /// Pixels at least half inside, by the rectangle of a grid that holds their centre.
    Squares {
        /// The area, on the plane.
        area: MultiPolygon<f64>,
        /// The rectangles.
        grid: SquareGrid,
    },
}

impl Probe {
    /// The ground that it asks for.
    pub const fn area(&self) -> &MultiPolygon<f64> {
        let (Self::Segments { area, .. } | Self::Pixels { area } | Self::Squares { area, .. }) =
            self;
        area
    }
}

/// Sums over the pixels of one rectangle of a grid.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SquareSum {
    /// Σ index of the canopy pixels.
    pub weighted: Fixed,
    /// Canopy pixels.
    pub canopy: u32,
    /// Pixels, seen or not.
    pub pixels: u32,
}

impl SquareSum {
    /// Adds another part of the same rectangle.
    pub const fn add(&mut self, other: &Self) {
        self.weighted.add(other.weighted);
        self.canopy += other.canopy;
        self.pixels += other.pixels;
    }
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
    /// By position in the grid.
    Squares(Vec<SquareSum>),
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
/// Passes over the image once.
///
/// # Errors
/// [`ScanError`]: pixels that cannot be read, shapes that cannot be carried, a stop asked for.
pub fn scan(scan: &Scan<'_>) -> Result<Scanned, ScanError> {
    let plan = plan(scan)?;
    let empty = |probe: &Probe| match probe {
        Probe::Segments {
            segments, blocks, ..
        } => Found::Segments(vec![Tally::default(); segments * blocks]),
        Probe::Pixels { .. } => Found::Pixels(Vec::new()),
        Probe::Squares { grid, .. } => Found::Squares(vec![SquareSum::default(); grid.len()]),
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
    let (next, done, stop) = (
        AtomicUsize::new(0),
        AtomicUsize::new(0),
        AtomicBool::new(false),
    );
    let work = || -> Result<(), ScanError> {
        let mut worker = Worker::new(scan, &plan)?;
        while !stop.load(Ordering::Relaxed) {
            let k = next.fetch_add(1, Ordering::Relaxed);
            let Some((window, cells)) = plan.windows.get(k) else {
                break;
            };
            worker.window(*window, cells, &result)?;
            let finished = done.fetch_add(1, Ordering::Relaxed) + 1;
            if !(scan.progress)(finished, plan.windows.len()) {
                return Err(ScanError::Cancelled);
            }
        }
        Ok(())
    };
    let finished = || {
        if let Err(error) = work() {
            stop.store(true, Ordering::Relaxed);
            if let Ok(mut slot) = failure.lock() {
                slot.get_or_insert(error);
            }
        }
    };
    let workers = scan.threads.clamp(1, plan.windows.len().max(1));
    if workers == 1 {
        // This thread knows its ways between systems already.
        finished();
    } else {
        std::thread::scope(|scope| {
            for _ in 0..workers {
                scope.spawn(finished);
            }
        });
    }
    if let Some(error) = failure.into_inner().unwrap_or_else(PoisonError::into_inner) {
        return Err(error);
    }
    let mut scanned = result.into_inner().unwrap_or_else(PoisonError::into_inner);
    for found in &mut scanned.found {
        if let Found::Pixels(pixels) = found {
            pixels.sort_by_key(|pixel| (pixel.row, pixel.col));
        }
    }
    Ok(scanned)
}
