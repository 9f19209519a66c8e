//! `GeoTIFF`: nitrogen as a raster on the working plane, for the office.

mod error;
mod fill;
mod write;

pub use error::GeoTiffError;
pub use write::write;
