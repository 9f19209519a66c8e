//! What a step may ask of an image: its lattice, and windows of finished band values. Formats implement it; nothing here knows a file.

use crate::space::crs::Crs;

/// An affine map from pixel coordinates to a reference system: `x = t0 + t1·col + t2·row`, `y = t3 + t4·col + t5·row`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Affine(pub [f64; 6]);

impl Affine {
    /// Pixel coordinates to reference system.
    pub fn to_ground(&self, col: f64, row: f64) -> (f64, f64) {
        let t = &self.0;
        (
            t[0] + t[1] * col + t[2] * row,
            t[3] + t[4] * col + t[5] * row,
        )
    }
    /// The determinant: signed area of a pixel in the system's own units.
    pub fn determinant(&self) -> f64 {
        self.0[1] * self.0[5] - self.0[2] * self.0[4]
    }
    /// Reference system to pixel coordinates.
    pub fn to_pixel(&self, x: f64, y: f64) -> (f64, f64) {
        let t = &self.0;
        let (dx, dy) = (x - t[0], y - t[3]);
        let d = self.determinant();
        ((dx * t[5] - dy * t[2]) / d, (dy * t[1] - dx * t[4]) / d)
    }
}

/// The lattice of an image.
#[derive(Clone, Debug, PartialEq)]
pub struct Lattice {
    /// Columns.
    pub cols: i64,
    /// Rows.
    pub rows: i64,
    /// Pixel to ground.
    pub affine: Affine,
    /// The system of the ground.
    pub crs: Crs,
    /// Columns and rows of a block of the file.
    pub block: (i64, i64),
}

/// A rectangle of pixels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Window {
    /// First column.
    pub col: i64,
    /// First row.
    pub row: i64,
    /// How many columns.
    pub cols: i64,
    /// How many rows.
    pub rows: i64,
}

impl Window {
    /// Number of pixels.
    pub const fn len(&self) -> usize {
        (self.cols * self.rows) as usize
    }
    /// Whether there is no pixel in it.
    pub const fn is_empty(&self) -> bool {
        self.cols <= 0 || self.rows <= 0
    }
}

/// Why pixels could not be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RasterError {
    /// A window could not be decoded.
    #[error(
        "{file}: columns {col} to {last_col}, rows {row} to {last_row} cannot be read: {reason}"
    )]
    Read {
        /// The file.
        file: String,
        /// First column.
        col: i64,
        /// Last column.
        last_col: i64,
        /// First row.
        row: i64,
        /// Last row.
        last_row: i64,
        /// What the decoder said.
        reason: String,
    },
    /// The file could not be opened again.
    #[error("{file}: cannot be opened: {reason}")]
    Open {
        /// The file.
        file: String,
        /// What the opener said.
        reason: String,
    },
}

/// An image with the bands that an index needs, in slot order.
pub trait RasterSource: Sync {
    /// Its lattice.
    fn lattice(&self) -> &Lattice;
    /// How many bands a window holds.
    fn slots(&self) -> usize;
    /// A reader of its own for one thread.
    ///
    /// # Errors
    /// [`RasterError::Open`].
    fn reader(&self) -> Result<Box<dyn RasterReader + '_>, RasterError>;
}

/// Reads windows, one after the other.
pub trait RasterReader {
    /// Fills one buffer a slot with scaled values, row by row; NaN where the pixel has no value or is masked.
    ///
    /// # Errors
    /// [`RasterError::Read`].
    fn read(&mut self, window: Window, bands: &mut [Vec<f64>]) -> Result<(), RasterError>;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn affine_there_and_back() {
        let turned = Affine([500_000.0, 0.4, 0.3, 5_400_000.0, 0.3, -0.4]);
        let (x, y) = turned.to_ground(12.25, 7.5);
        let (col, row) = turned.to_pixel(x, y);
        assert!((col - 12.25).abs() < 1e-7 && (row - 7.5).abs() < 1e-7);
        assert!((turned.determinant() + 0.25).abs() < 1e-12);
    }
}
