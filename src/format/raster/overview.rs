//! An image thinned to what a page can show: GDAL's decimated read, from overviews where the file has them.

use super::open::open;
use super::stack::RasterStack;
use super::stored::Conversion;
use crate::space::raster::{RasterError, Window};
use gdal::raster::ResampleAlg;

/// One band of a thinned image.
#[derive(Clone, Debug)]
struct Thinned {
    /// Fine column and row of its first sample's corner.
    corner: (f64, f64),
    /// Fine columns and rows a sample.
    step: (f64, f64),
    cols: usize,
    rows: usize,
    values: Vec<f64>,
}

/// The bands of a window, thinned.
#[derive(Clone, Debug)]
pub struct Overview {
    bands: Vec<Thinned>,
}

impl Overview {
    /// Values of all bands at a place in fine pixel coordinates; NaN where there is none.
    pub fn at(&self, col: f64, row: f64, out: &mut [f64]) {
        for (band, value) in self.bands.iter().zip(out) {
            let c = libm::floor((col - band.corner.0) / band.step.0);
            let r = libm::floor((row - band.corner.1) / band.step.1);
            let inside = c >= 0.0 && r >= 0.0 && c < band.cols as f64 && r < band.rows as f64;
            *value = if inside {
                band.values[r as usize * band.cols + c as usize]
            } else {
                f64::NAN
            };
        }
    }
}

/// How much coarser than asked for a reduced copy may be that GDAL reads instead. (from memory)
const COARSER: f64 = 1.2;

impl RasterStack {
    /// How many pixels of a band are decoded at most to read a window thinned to `most` samples a side: fewer where the file has reduced copies of itself.
    ///
    /// # Errors
    /// [`RasterError::Open`] when a file cannot be opened.
    pub fn decoded(&self, window: Window, most: i64) -> Result<usize, RasterError> {
        let thinned = (window.cols.max(window.rows) as f64 / most as f64).max(1.0);
        let mut largest = 0;
        for (slot, (factor, _)) in self.slots_and_nesting() {
            let fail = |error: &dyn std::fmt::Display| RasterError::Open {
                file: slot.facts.path.display().to_string(),
                reason: error.to_string(),
            };
            let dataset = open(&slot.facts.path).map_err(|error| fail(&error))?;
            let band = dataset
                .rasterband(slot.band)
                .map_err(|error| fail(&error))?;
            let copies = band.overview_count().unwrap_or(0).max(0) as usize;
            let whole = slot.facts.lattice.cols as f64;
            let coarsest = (0..copies)
                .filter_map(|at| Some(whole / band.overview(at).ok()?.x_size().max(1) as f64))
                .filter(|coarser| *coarser * factor as f64 <= COARSER * thinned)
                .fold(1.0, f64::max);
            let side = coarsest * factor as f64;
            largest = largest.max((window.len() as f64 / (side * side)) as usize);
        }
        Ok(largest)
    }

    /// Reads a window of fine pixels with at most `most` samples a side, nearest pixel. A mask file is left aside: the picture shows what was taken.
    ///
    /// # Errors
    /// [`RasterError`] when a file cannot be opened or read.
    pub fn overview(&self, window: Window, most: i64) -> Result<Overview, RasterError> {
        let mut bands = Vec::new();
        for (slot, (factor, origin)) in self.slots_and_nesting() {
            let file = slot.facts.path.display().to_string();
            let own = &slot.facts.lattice;
            let down = |v: i64| v.div_euclid(factor);
            let from = (
                down(window.col - origin.0).max(0),
                down(window.row - origin.1).max(0),
            );
            let to = (
                (down(window.col + window.cols - 1 - origin.0) + 1).min(own.cols),
                (down(window.row + window.rows - 1 - origin.1) + 1).min(own.rows),
            );
            let size = (to.0 - from.0, to.1 - from.1);
            if size.0 <= 0 || size.1 <= 0 {
                bands.push(Thinned {
                    corner: (0.0, 0.0),
                    step: (1.0, 1.0),
                    cols: 0,
                    rows: 0,
                    values: Vec::new(),
                });
                continue;
            }
            let shown = (size.0.min(most) as usize, size.1.min(most) as usize);
            let fail = |reason: String| RasterError::Read {
                file: file.clone(),
                col: from.0,
                last_col: to.0 - 1,
                row: from.1,
                last_row: to.1 - 1,
                reason,
            };
            let conversion = Conversion {
                nodata: slot.facts.bands[slot.band - 1].nodata,
                valid: slot.facts.bands[slot.band - 1].valid,
                scale: slot.scale,
                offset: slot.offset,
            };
            let thinned = |values: Vec<f64>| {
                let scale = |shown: usize, whole: i64| whole as f64 / shown as f64 * factor as f64;
                Thinned {
                    corner: (
                        (from.0 * factor + origin.0) as f64,
                        (from.1 * factor + origin.1) as f64,
                    ),
                    step: (scale(shown.0, size.0), scale(shown.1, size.1)),
                    cols: shown.0,
                    rows: shown.1,
                    values,
                }
            };
            // Pixel for pixel: out of the blocks that the pass has decoded.
            if shown == (size.0 as usize, size.1 as usize)
                && let Some(read) = self.shared(slot, from, shown, &conversion)
            {
                bands.push(thinned(read.map_err(fail)?));
                continue;
            }
            let dataset = open(&slot.facts.path).map_err(|error| RasterError::Open {
                file: file.clone(),
                reason: error.to_string(),
            })?;
            let band = dataset
                .rasterband(slot.band)
                .map_err(|error| fail(error.to_string()))?;
            let place = (from.0 as isize, from.1 as isize);
            let whole = (size.0 as usize, size.1 as usize);
            let near = Some(ResampleAlg::NearestNeighbour);
            let mut stored = vec![0.0_f64; shown.0 * shown.1];
            band.read_into_slice(place, whole, shown, &mut stored, near)
                .map_err(|error| fail(error.to_string()))?;
            let fact = &slot.facts.bands[slot.band - 1];
            let mut values = vec![f64::NAN; stored.len()];
            conversion.apply(&stored, &mut values);
            for alpha in slot.facts.alphas() {
                let mut seen = vec![0.0_f32; values.len()];
                let band = dataset
                    .rasterband(alpha)
                    .map_err(|error| fail(error.to_string()))?;
                band.read_into_slice(place, whole, shown, &mut seen, near)
                    .map_err(|error| fail(error.to_string()))?;
                values
                    .iter_mut()
                    .zip(&seen)
                    .filter(|(_, seen)| **seen == 0.0)
                    .for_each(|(value, _)| *value = f64::NAN);
            }
            if fact.masked {
                let mut seen = vec![0_u8; values.len()];
                let hide = band
                    .open_mask_band()
                    .map_err(|error| fail(error.to_string()))?;
                hide.read_into_slice(place, whole, shown, &mut seen, near)
                    .map_err(|error| fail(error.to_string()))?;
                values
                    .iter_mut()
                    .zip(&seen)
                    .filter(|(_, seen)| **seen == 0)
                    .for_each(|(value, _)| *value = f64::NAN);
            }
            bands.push(thinned(values));
        }
        Ok(Overview { bands })
    }
}
