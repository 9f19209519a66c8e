//! `GeoPackage`: zones, cells, strips and field with all their numbers, on the working plane.

mod columns;
mod error;
mod write;

pub use error::GeoPackageError;
pub use write::write;
