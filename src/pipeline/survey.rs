//! What the pass over the pixels needs, and what is known after it.

use crate::pipeline::placebo::{NoPlacebo, StripPlacebo};
use crate::pipeline::points::layer::PointLayer;
use crate::pipeline::points::summary::PointsSummary;
use crate::pipeline::scan::{RowIndex, Scanned};
use crate::pipeline::strips::Strip;
use crate::science::reference::SpreadFit;
use crate::space::raster::RasterSource;

/// Where the canopy is read, and how.
pub struct Sources<'a> {
    /// The image.
    pub image: &'a dyn RasterSource,
    /// Single readings, when the canopy comes from them instead of an image.
    pub points: Option<&'a PointLayer>,
    /// The index.
    pub index: &'a dyn RowIndex,
    /// The index's name.
    pub index_name: &'a str,
    /// Bare limit in force.
    pub bare_below: Option<f64>,
    /// Whether bands are looked at one by one.
    pub look_at_bands: bool,
    /// Threads.
    pub threads: usize,
    /// Memory that may be used, about. \[B\]
    pub memory: u64,
    /// Progress: windows done, windows in all; `false` stops.
    pub progress: &'a (dyn Fn(usize, usize) -> bool + Sync),
}

/// What is known after the pass over the pixels, before any rate.
#[derive(Clone, Debug)]
pub struct Survey {
    /// Sums.
    pub scanned: Scanned,
    /// Strips.
    pub strips: Vec<Strip>,
    /// Mean index of the field's canopy pixels.
    pub field_mean: f64,
    /// Placebo places by strip, in the order of the strips.
    pub placebos: Vec<Result<StripPlacebo, NoPlacebo>>,
    /// What is to be said of single readings, when the canopy comes from them.
    pub points: Option<PointsSummary>,
    /// The sensor's blur, when it was fitted.
    pub spread: Option<SpreadFit>,
}
