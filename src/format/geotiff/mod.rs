//! `GeoTIFF`: nitrogen as a raster on the working plane, for the office.

mod carried;
mod error;
mod fill;
mod write;

pub use carried::write as write_carried;
pub use error::GeoTiffError;
pub use write::write;
