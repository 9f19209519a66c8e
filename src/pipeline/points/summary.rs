//! What is to be said of single readings, once they are cells and strips.

use super::clean::Dropped;
use super::layer::Unusable;
use crate::science::points::{CrossValidation, Fit};

/// What is to be said of kriging.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kriging {
    /// The fitted variogram.
    pub fit: Fit,
    /// Longest distance that it was fitted to. \[m\]
    pub longest: f64,
    /// Farthest reading of use. \[m\]
    pub reach: f64,
    /// Readings left out and met by the others.
    pub left_out: Option<CrossValidation>,
    /// Mean standard error of the cells.
    pub mean_error: Option<f64>,
    /// Area over which the cells' errors are alike. \[m²\]
    pub alike: Option<f64>,
}

/// What is to be said of the readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PointsSummary {
    /// Readings in the file with place and index.
    pub readings: usize,
    /// Rows that were none.
    pub unusable: Unusable,
    /// Dropped readings.
    pub dropped: Dropped,
    /// Readings that count.
    pub kept: usize,
    /// Of those, bare ground.
    pub bare: usize,
    /// Median distance to the nearest other reading. \[m\]
    pub spacing: f64,
    /// Cells without enough readings.
    pub cells_unseen: usize,
    /// Kriging, if it was asked for.
    pub kriging: Option<Kriging>,
}
