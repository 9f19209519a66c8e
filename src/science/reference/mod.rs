//! The reference strip: what the crop looks like where nitrogen never ran short, and how sure that is.
//!
//! Everything here is computed from sums over pieces of a strip, never from pixels, so that an image of any size fits.

mod answer;
mod coarse;
mod evenness;
mod fine;
mod interval;
mod placebo;
mod pool;
mod random_effects;
mod spread;
mod sums;
mod virtual_reference;

pub use answer::{Answer, DOUBTFUL_PROBABILITY, DOUBTFUL_RATIO, PlaceboAnswer, answer_of};
pub use coarse::{CoarseEstimate, MixedPixel, coarse, mixture, mixture_squares, piece_mixture};
pub use evenness::{Uneven, uneven};
pub use fine::{FineEstimate, SwathEstimate, fine};
pub use interval::{
    BOOTSTRAP_REPLICATES, NoInterval, PairedMeans, RatioInterval, block_bootstrap, fieller,
    paired_blocks, student_quantile,
};
pub use placebo::{MINIMUM_PLACES, Placebo, PlaceboStrip, half_width, placebo_of, spread_of};
pub use pool::{PooledEstimate, ReadingsEstimate, StripEstimate, pool, readings};
pub use random_effects::{RandomEffects, random_effects};
pub use spread::{SENSORS, SensorFigure, SensorSpread, SpreadFit, find_sensor, spread_of_profile};
pub use sums::{SegmentSums, StripSums, median, percentile};
pub use virtual_reference::{VirtualReference, area_percentile};

use thiserror::Error;

/// Why a reference cannot be estimated.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum ReferenceError {
    /// Nothing seen.
    #[error(
        "no pixel of the strip is seen, whole and green: check that strip and image show the same ground, and the limit for bare ground"
    )]
    NoPixels,
    /// No reading in the strip.
    #[error(
        "no reading of canopy lies in the strip shrunk by {inset_m} m on each side: check that strip and readings show the same ground, or give a smaller reference.inset"
    )]
    NoReadings {
        /// How far the strip was shrunk. \[m\]
        inset_m: f64,
    },
    /// Sums of strip and swath were cut differently.
    #[error(
        "strip and comparison swath are cut into different pieces ({strip_segments} × {strip_blocks} and {swath_segments} × {swath_blocks})"
    )]
    CutDifferently {
        /// Segments of the strip.
        strip_segments: usize,
        /// Blocks of the strip.
        strip_blocks: usize,
        /// Segments of the swath.
        swath_segments: usize,
        /// Blocks of the swath.
        swath_blocks: usize,
    },
    /// Too few pixels for a coarse strip.
    #[error(
        "only {found} seen pixels on and beside the strip, {needed} are needed: use a finer image or a longer strip"
    )]
    TooFewPixels {
        /// Pixels found.
        found: usize,
        /// Pixels needed.
        needed: usize,
    },
    /// Too few pixels that are mostly strip.
    #[error(
        "only {found} pixels lie more than half in the strip, {needed} are needed: the strip is too narrow or too short for this image"
    )]
    TooFewInside {
        /// Pixels found.
        found: usize,
        /// Pixels needed.
        needed: usize,
    },
    /// Too few pixels that are mostly not strip.
    #[error(
        "only {found} pixels beside the strip lie less than a tenth in it, {needed} are needed: the strip needs field on at least one side"
    )]
    TooFewBeside {
        /// Pixels found.
        found: usize,
        /// Pixels needed.
        needed: usize,
    },
    /// The mixture has no single solution, or none is left when a stretch is left out.
    #[error(
        "strip and ground beside it cannot be told apart along the whole strip: give a longer strip or a finer image"
    )]
    NotSeparable,
    /// A coarse strip that is too uncertain.
    #[error(
        "the strip's index {index:.4} has a standard error of {standard_error:.4} ({:.1} %, less than {:.0} % is needed): look whether the strip is one even stand; else give a wider or longer strip, or a finer image",
        100.0 * standard_error / index,
        100.0 * maximum_share
    )]
    TooUncertain {
        /// Index found.
        index: f64,
        /// Its jackknife standard error.
        standard_error: f64,
        /// Largest share of the index that the error may be.
        maximum_share: f64,
    },
    /// An index of 0 or less.
    #[error("the strip's index is {index:.4}; rates compare with it only when it is above 0")]
    NotPositive {
        /// Index found.
        index: f64,
    },
    /// Too little canopy for a percentile.
    #[error(
        "a percentile of canopy cells needs {cells_needed} cells and {:.1} ha of canopy, but there are {cells} cells and {:.2} ha: put out a reference strip",
        area_needed_m2 / 10_000.0,
        area_m2 / 10_000.0
    )]
    TooLittleCanopy {
        /// Canopy cells found.
        cells: usize,
        /// Cells needed.
        cells_needed: usize,
        /// Canopy found. \[m²\]
        area_m2: f64,
        /// Canopy needed. \[m²\]
        area_needed_m2: f64,
    },
    /// A percentile outside 0 … 100, or a cell that is no number.
    #[error("the percentile {percent} does not lie between 0 and 100")]
    Percentile {
        /// As given.
        percent: f64,
    },
    /// A hand reading of 0 or less.
    #[error(
        "hand reading {pair} is {strip} in the strip and {beside} beside it; both must be above 0"
    )]
    Reading {
        /// Number of the pair, from 1.
        pair: usize,
        /// Reading in the strip.
        strip: f64,
        /// Reading beside it.
        beside: f64,
    },
}
