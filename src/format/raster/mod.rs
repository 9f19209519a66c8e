//! Reads images by windows, whatever their layout, through GDAL.

mod blocks;
mod error;
mod mask;
mod open;
mod overview;
pub mod product;
mod raw;
mod shelf;
mod sources;
mod stack;
mod staged;
mod stored;

pub use error::RasterFileError;
pub use mask::{MaskRule, MaskSpec};
pub use open::{BandFacts, RasterFacts, facts};
pub use overview::Overview;
pub use shelf::Shelf;
pub use sources::listed;
pub use stack::{RasterStack, Slot};

#[cfg(test)]
mod tests;
