//! `GeoPackage`: zones, cells, strips and field with all their numbers, on the working plane.

mod about;
mod carried;
mod columns;
mod error;
mod rows;
mod write;

pub use carried::write as write_carried;
pub use error::GeoPackageError;
pub use write::write;
