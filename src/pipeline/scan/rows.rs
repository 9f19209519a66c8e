//! The index of pixels, evaluated row by row where they are scanned.

use std::cell::RefCell;

use super::RowIndex;
use crate::science::index::{Index, Scratch};

/// Looks at bands as their pixels go by.
pub trait BandWatch: Sync {
    /// Looks at a run of pixels, band by band in the order of slots; `missing` of them lack a band.
    fn take(&self, rows: &[&[f64]], missing: u64);
}

/// An index over the bands of an image.
#[derive(Debug)]
pub struct IndexRows<W> {
    /// The index.
    pub index: Index,
    /// Sees what the bands hold.
    pub watch: W,
    /// For a ready index raster: the range of the index that it is said to hold.
    range: Option<(f64, f64)>,
}

impl<W> IndexRows<W> {
    /// `fitted_with` is the index of the yield curve, which a ready index raster must hold.
    pub fn new(index: Index, fitted_with: &str, watch: W) -> Self {
        let range = index
            .ready_band()
            .and_then(|_| Index::parse(fitted_with).ok())
            .and_then(|curve| curve.range());
        Self {
            index,
            watch,
            range,
        }
    }
}

thread_local! {
    static SCRATCH: RefCell<Scratch> = RefCell::new(Scratch::default());
}

impl<W: BandWatch> RowIndex for IndexRows<W> {
    fn evaluate(&self, bands: &[&[f64]], out: &mut [f64]) -> (u64, u64, u64) {
        SCRATCH.with_borrow_mut(|scratch| {
            let counts = self.index.evaluate_row(bands, scratch, out);
            self.watch.take(bands, counts.missing);
            let mut outside = counts.out_of_range;
            if let Some((low, high)) = self.range {
                for value in out
                    .iter_mut()
                    .filter(|value| **value < low || **value > high)
                {
                    *value = f64::NAN;
                    outside += 1;
                }
            }
            (counts.missing, counts.undefined, outside)
        })
    }
}
