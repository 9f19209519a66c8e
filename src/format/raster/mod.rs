//! Reads images by windows, whatever their layout, through GDAL.

mod error;
mod mask;
mod open;
mod overview;
pub mod product;
mod sources;
mod stack;
mod stored;

pub use error::RasterFileError;
pub use mask::MaskRule;
pub use mask::MaskSpec;
pub use open::BandFacts;
pub use open::RasterFacts;
pub use open::facts;
pub use overview::Overview;
pub use stack::RasterStack;
pub use stack::Slot;

#[cfg(test)]
mod tests;
