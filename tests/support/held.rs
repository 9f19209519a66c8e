//! An image that is worked out, not read: one band, each pixel a function of its place.

use haulm::pipeline::scan::RowIndex;
use haulm::space::raster::{Lattice, RasterError, RasterReader, RasterSource, Window};

/// The image: its lattice, and its value by column and row, NaN where there is none.
pub(crate) struct Held<F> {
    pub(crate) lattice: Lattice,
    pub(crate) value: F,
}

struct HeldReader<'a, F>(&'a Held<F>);

impl<F: Fn(i64, i64) -> f64 + Sync> RasterSource for Held<F> {
    fn lattice(&self) -> &Lattice {
        &self.lattice
    }
    fn slots(&self) -> usize {
        1
    }
    fn reader(&self) -> Result<Box<dyn RasterReader + '_>, RasterError> {
        Ok(Box::new(HeldReader(self)))
    }
}

impl<F: Fn(i64, i64) -> f64 + Sync> RasterReader for HeldReader<'_, F> {
    fn read(&mut self, window: Window, bands: &mut [Vec<f64>]) -> Result<(), RasterError> {
        bands[0].clear();
        for row in window.row..window.row + window.rows {
            bands[0]
                .extend((window.col..window.col + window.cols).map(|col| (self.0.value)(col, row)));
        }
        Ok(())
    }
}

/// The band is the index.
pub(crate) struct BandIsIndex;

impl RowIndex for BandIsIndex {
    fn evaluate(&self, bands: &[&[f64]], out: &mut [f64]) -> (u64, u64, u64) {
        out.copy_from_slice(bands[0]);
        (
            out.iter().filter(|value| value.is_nan()).count() as u64,
            0,
            0,
        )
    }
}
