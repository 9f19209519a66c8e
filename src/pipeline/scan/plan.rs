//! What is worked out once, before any pixel is read: windows, the cells of each, shapes in pixels.

use std::collections::BTreeMap;

use super::{PixelMap, Scan, ScanError};
use crate::space::crs::CrsError;
use crate::space::raster::{Lattice, Window};

/// Pixels of a window, at the most and at the least that memory is cut down to.
const WINDOW_PIXELS: (i64, i64) = (1 << 20, 1 << 14);
/// Small blocks are read together up to this many columns and rows.
const WINDOW_SIDE: i64 = 512;

/// Least and greatest column and row that rings reach: `[c0, c1) × [r0, r1)`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bounds {
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
        Self {
            cols: whole(low[0], high[0]),
            rows: whole(low[1], high[1]),
        }
    }
    /// These and those.
    fn with(self, other: Self) -> Self {
        Self {
            cols: (self.cols.0.min(other.cols.0), self.cols.1.max(other.cols.1)),
            rows: (self.rows.0.min(other.rows.0), self.rows.1.max(other.rows.1)),
        }
    }
    /// What of a window lies within: no pixel beyond is asked for.
    fn cut(&self, window: Window) -> Window {
        let (col, row) = (window.col.max(self.cols.0), window.row.max(self.rows.0));
        Window {
            col,
            row,
            cols: (window.col + window.cols).min(self.cols.1) - col,
            rows: (window.row + window.rows).min(self.rows.1) - row,
        }
    }
    pub(super) const fn meets(&self, window: &Window) -> bool {
        self.cols.0 < window.col + window.cols
            && self.cols.1 > window.col
            && self.rows.0 < window.row + window.rows
            && self.rows.1 > window.row
    }
}

/// Pixels that a window may have, so that the windows of all threads stay within a quarter of the memory that may be used.
pub fn window_pixels(memory: u64, threads: usize, slots: usize) -> i64 {
    // Of each pixel: its bands as values, one band as stored, the index, what hides it; runs of the cells that it belongs to.
    let each = 8 * slots as u64 + 8 + 8 + 1 + 7;
    let fits = memory / 4 / threads.max(1) as u64 / each;
    i64::try_from(fits)
        .unwrap_or(i64::MAX)
        .clamp(WINDOW_PIXELS.1, WINDOW_PIXELS.0)
}

/// The windows of an image: its own blocks, small ones joined, large ones split.
fn window_size(lattice: &Lattice, most: i64) -> (i64, i64) {
    let (block_cols, block_rows) = (
        lattice.block.0.clamp(1, lattice.cols),
        lattice.block.1.clamp(1, lattice.rows),
    );
    let joined = |block: i64, all: i64| {
        if block >= WINDOW_SIDE {
            block
        } else {
            (WINDOW_SIDE / block * block).min(all)
        }
    };
    let (mut cols, mut rows) = (
        joined(block_cols, lattice.cols),
        joined(block_rows, lattice.rows),
    );
    if block_cols >= lattice.cols {
        // Strips: as many whole rows as the limit allows.
        rows =
            (most / cols / block_rows * block_rows).clamp(block_rows, lattice.rows.max(block_rows));
    }
    while cols * rows > most * 2 {
        if rows >= cols {
            rows = (rows + 1) / 2;
        } else {
            cols = (cols + 1) / 2;
        }
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

/// A probe in pixels.
pub(super) struct ProbeRings {
    pub(super) rings: Vec<Vec<[f64; 2]>>,
    pub(super) bounds: Bounds,
}

/// Everything that is worked out once, before any pixel is read.
pub(super) struct Plan {
    /// Each window and the cells that may reach into it.
    pub(super) windows: Vec<(Window, Vec<u32>)>,
    /// Area of each cell. \[pixels\]
    pub(super) areas: Vec<f64>,
    /// Rings of the field.
    pub(super) field: Vec<Vec<[f64; 2]>>,
    pub(super) probes: Vec<ProbeRings>,
}

/// Lays windows over the image and says which cells reach into which.
///
/// # Errors
/// [`ScanError::Crs`] when a shape cannot be carried into the image.
pub(super) fn plan(scan: &Scan<'_>) -> Result<Plan, ScanError> {
    let lattice = scan.source.lattice();
    let map = PixelMap::new(scan.plane, lattice)?;
    let field = map.rings(scan.field)?;
    let probes = scan
        .probes
        .iter()
        .map(|probe| {
            let rings = map.rings(probe.area())?;
            let bounds = Bounds::of(&rings);
            Ok(ProbeRings { rings, bounds })
        })
        .collect::<Result<Vec<_>, CrsError>>()?;
    let (cols, rows) = window_size(lattice, scan.window_pixels);
    let across = (lattice.cols + cols - 1) / cols;
    let down = (lattice.rows + rows - 1) / rows;
    let mut cells: BTreeMap<(i64, i64), Vec<u32>> = BTreeMap::new();
    let each = |bounds: &Bounds, take: &mut dyn FnMut((i64, i64))| {
        for r in (bounds.rows.0.div_euclid(rows)).max(0)
            ..=((bounds.rows.1 - 1).div_euclid(rows)).min(down - 1)
        {
            for c in (bounds.cols.0.div_euclid(cols)).max(0)
                ..=((bounds.cols.1 - 1).div_euclid(cols)).min(across - 1)
            {
                take((r, c));
            }
        }
    };
    let mut reached: Option<Bounds> = None;
    let mut areas = Vec::with_capacity(scan.grid.cells.len());
    for cell in 0..scan.grid.cells.len() {
        let rings = map.cell(scan.grid, cell)?;
        areas.push(area_of(&rings));
        let bounds = Bounds::of(&rings);
        reached = Some(reached.map_or(bounds, |all| all.with(bounds)));
        each(&bounds, &mut |key| {
            cells.entry(key).or_default().push(cell as u32);
        });
    }
    for probe in &probes {
        if !probe.rings.is_empty() {
            reached = Some(reached.map_or(probe.bounds, |all| all.with(probe.bounds)));
            each(&probe.bounds, &mut |key| {
                cells.entry(key).or_default();
            });
        }
    }
    let windows = cells
        .into_iter()
        .map(|((r, c), list)| {
            let window = Window {
                col: c * cols,
                row: r * rows,
                cols: cols.min(lattice.cols - c * cols),
                rows: rows.min(lattice.rows - r * rows),
            };
            // Of a field that is small beside a block only its own pixels.
            (reached.map_or(window, |all| all.cut(window)), list)
        })
        .collect();
    Ok(Plan {
        windows,
        areas,
        field,
        probes,
    })
}
