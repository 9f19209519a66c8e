//! Values of pixels in a rectangle of an image, by the image's own rows and columns.

use std::ops::Range;

use ndarray::{Array2, ArrayViewMut1, Axis};

/// A matrix of pixels that begins anywhere, also off the image: rows and columns count as the image's do and may be negative.
#[derive(Clone, Debug)]
pub(crate) struct PixelMatrix {
    row: i64,
    col: i64,
    values: Array2<f64>,
}

impl PixelMatrix {
    /// The pixels of these rows and columns, all of one value.
    pub(crate) fn filled(rows: &Range<i64>, cols: &Range<i64>, value: f64) -> Self {
        let length = |range: &Range<i64>| (range.end - range.start).max(0) as usize;
        Self {
            row: rows.start,
            col: cols.start,
            values: Array2::from_elem((length(rows), length(cols)), value),
        }
    }
    /// Rows that it has.
    pub(crate) fn rows(&self) -> Range<i64> {
        self.row..self.row + self.values.nrows() as i64
    }
    /// Columns that it has.
    pub(crate) fn cols(&self) -> Range<i64> {
        self.col..self.col + self.values.ncols() as i64
    }
    fn place(&self, row: i64, col: i64) -> Option<[usize; 2]> {
        let row = usize::try_from(row - self.row).ok()?;
        Some([row, usize::try_from(col - self.col).ok()?])
    }
    /// The value of a pixel; `None` outside.
    pub(crate) fn get(&self, row: i64, col: i64) -> Option<f64> {
        self.values.get(self.place(row, col)?).copied()
    }
    /// The place of a pixel's value; `None` outside.
    pub(crate) fn get_mut(&mut self, row: i64, col: i64) -> Option<&mut f64> {
        let place = self.place(row, col)?;
        self.values.get_mut(place)
    }
    /// Row, column and value of every pixel, row by row.
    pub(crate) fn pixels(&self) -> impl Iterator<Item = (i64, i64, f64)> + '_ {
        self.values
            .indexed_iter()
            .map(|((row, col), value)| (self.row + row as i64, self.col + col as i64, *value))
    }
    /// Its rows (`Axis(1)`) or columns (`Axis(0)`) one after the other.
    pub(crate) fn lanes_mut(
        &mut self,
        along: Axis,
    ) -> impl Iterator<Item = ArrayViewMut1<'_, f64>> {
        self.values.lanes_mut(along).into_iter()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_as_the_image_does() {
        let mut matrix = PixelMatrix::filled(&(-1..1), &(5..8), 0.0);
        *matrix.get_mut(-1, 7).unwrap() = 2.0;
        assert_eq!(matrix.get(-1, 7), Some(2.0));
        assert_eq!((matrix.rows(), matrix.cols()), (-1..1, 5..8));
        for (row, col) in [(-2, 5), (1, 5), (0, 4), (0, 8)] {
            assert_eq!(matrix.get(row, col), None, "{row} {col}");
        }
        assert_eq!(
            matrix.pixels().find(|(.., value)| *value > 0.0),
            Some((-1, 7, 2.0))
        );
    }
}
