//! Sums over pieces of a strip, and order statistics of a few numbers.

/// Sums over the seen, whole, not bare pixels of one piece of a strip, each weighted by the share of its area inside.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SegmentSums {
    /// Σ share. \[pixels\]
    pub weight: f64,
    /// Σ share · I.
    pub weighted: f64,
    /// Σ share · I².
    pub squares: f64,
    /// Pixels.
    pub pixels: u64,
}

impl SegmentSums {
    /// Adds one pixel.
    pub fn add(&mut self, share: f64, index: f64) {
        self.weight += share;
        self.weighted += share * index;
        self.squares += share * index * index;
        self.pixels += 1;
    }
    /// Adds another piece.
    pub fn add_piece(&mut self, other: &Self) {
        self.weight += other.weight;
        self.weighted += other.weighted;
        self.squares += other.squares;
        self.pixels += other.pixels;
    }
    /// `Σ share·I / Σ share`; `None` without pixels.
    pub fn mean(&self) -> Option<f64> {
        (self.pixels > 0 && self.weight > 0.0).then(|| self.weighted / self.weight)
    }
    /// Coefficient of variation of its pixels, `√(Σ share·I² / Σ share − mean²) / mean`; `None` without pixels or when the mean is not above 0.
    pub fn coefficient_of_variation(&self) -> Option<f64> {
        let mean = self.mean().filter(|mean| *mean > 0.0)?;
        Some(libm::sqrt((self.squares / self.weight - mean * mean).max(0.0)) / mean)
    }
}

/// A strip (or a comparison swath) cut two ways: in segments, to leave bad ground out, and in blocks, to see how sure it is.
#[derive(Clone, Debug, PartialEq)]
pub struct StripSums {
    /// Segments along the strip.
    pub segments: usize,
    /// Blocks along the strip.
    pub blocks: usize,
    /// Pixels of segment i in block j at `i · blocks + j`.
    pub cells: Vec<SegmentSums>,
}

impl StripSums {
    /// Empty sums.
    pub fn new(segments: usize, blocks: usize) -> Self {
        Self {
            segments,
            blocks,
            cells: vec![SegmentSums::default(); segments * blocks],
        }
    }
    /// The sums of one segment in one block; `None` outside.
    pub fn cell_mut(&mut self, segment: usize, block: usize) -> Option<&mut SegmentSums> {
        if segment < self.segments && block < self.blocks {
            self.cells.get_mut(segment * self.blocks + block)
        } else {
            None
        }
    }
    /// Sums by segment.
    pub fn by_segment(&self) -> Vec<SegmentSums> {
        let mut sums = vec![SegmentSums::default(); self.segments];
        for (segment, row) in sums.iter_mut().zip(self.cells.chunks(self.blocks.max(1))) {
            for cell in row {
                segment.add_piece(cell);
            }
        }
        sums
    }
    /// Sums by block over the segments for which `keep[segment]` holds.
    pub fn by_block(&self, keep: &[bool]) -> Vec<SegmentSums> {
        let mut sums = vec![SegmentSums::default(); self.blocks];
        for (row, _) in self
            .cells
            .chunks(self.blocks.max(1))
            .zip(keep)
            .filter(|(_, keep)| **keep)
        {
            sums.iter_mut()
                .zip(row)
                .for_each(|(block, cell)| block.add_piece(cell));
        }
        sums
    }
    /// Sums over the segments for which `keep[segment]` holds.
    pub fn total(&self, keep: &[bool]) -> SegmentSums {
        let mut total = SegmentSums::default();
        self.by_block(keep)
            .iter()
            .for_each(|block| total.add_piece(block));
        total
    }
}

/// Which pieces have data: 5 pixels, or half of the median pixel count of the pieces that have any, whichever is less.
pub(super) fn with_data(pieces: &[SegmentSums]) -> Vec<bool> {
    let counts: Vec<f64> = pieces
        .iter()
        .filter(|piece| piece.pixels > 0)
        .map(|piece| piece.pixels as f64)
        .collect();
    let minimum = median(&counts).map_or(5.0, |middle| f64::min(5.0, 0.5 * middle));
    pieces
        .iter()
        .map(|piece| piece.pixels > 0 && piece.pixels as f64 >= minimum)
        .collect()
}

/// Median; the mean of the two middle values of an even number. `None` of nothing.
pub fn median(values: &[f64]) -> Option<f64> {
    percentile(values, 50.0)
}

/// Percentile by linear interpolation between order statistics, position `(n − 1) · p / 100` counted from 0. `None` of nothing.
///
/// # Source
/// Type 7 of Hyndman and Fan 1996, The American Statistician 50:361-365 (from memory); the default of numpy and R.
pub fn percentile(values: &[f64], percent: f64) -> Option<f64> {
    let mut parted = values.to_vec();
    let position = (parted.len().checked_sub(1)? as f64) * (percent / 100.0).clamp(0.0, 1.0);
    let below = libm::floor(position);
    // Of the order nothing but these two is asked for.
    let (_, low, above) = parted.select_nth_unstable_by(below as usize, f64::total_cmp);
    let low = *low;
    let high = above.iter().copied().min_by(f64::total_cmp).unwrap_or(low);
    Some(low + (high - low) * (position - below))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn percentiles() {
        let values = [4.0, 1.0, 3.0, 2.0];
        assert_eq!(median(&values), Some(2.5));
        assert_eq!(percentile(&values, 0.0), Some(1.0));
        assert_eq!(percentile(&values, 100.0), Some(4.0));
        assert_eq!(percentile(&[0.0, 10.0, 20.0], 95.0), Some(19.0));
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[7.0]), Some(7.0));
    }

    #[test]
    fn folding() {
        let mut strip = StripSums::new(2, 3);
        for (segment, block, index) in [(0, 0, 0.5), (0, 1, 0.25), (1, 1, 0.75), (1, 2, 1.0)] {
            strip.cell_mut(segment, block).unwrap().add(0.5, index);
        }
        assert!(strip.cell_mut(2, 0).is_none() && strip.cell_mut(0, 3).is_none());
        assert_eq!(
            strip
                .by_segment()
                .iter()
                .map(|s| s.mean().unwrap())
                .collect::<Vec<_>>(),
            [0.375, 0.875]
        );
        assert_eq!(
            strip
                .by_block(&[true, true])
                .iter()
                .map(|s| s.pixels)
                .collect::<Vec<_>>(),
            [1, 2, 1]
        );
        assert_eq!(strip.by_block(&[false, true])[1].mean(), Some(0.75));
        assert_eq!(strip.total(&[true, true]).mean(), Some(0.625));
        assert_eq!(
            strip.total(&[true, false]).coefficient_of_variation(),
            Some(0.125 / 0.375)
        );
    }

    #[test]
    fn a_piece_has_data_with_five_pixels_or_half_of_the_median() {
        let piece = |pixels| SegmentSums {
            pixels,
            ..SegmentSums::default()
        };
        assert_eq!(
            with_data(&[piece(100), piece(100), piece(5), piece(4), piece(0)]),
            [true, true, true, false, false]
        );
        assert_eq!(
            with_data(&[piece(4), piece(4), piece(2), piece(1)]),
            [true, true, true, false]
        );
    }
}
