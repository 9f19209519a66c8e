//! Reads polygons and lines from any vector format that GDAL reads, with their reference system.

mod columns;
mod each;
mod error;
mod open;
mod read;
pub(crate) mod views;
mod whole;

pub use columns::{Columns, read_columns};
pub use each::{EachFeature, Features, read_each};
pub use error::VectorError;
pub(crate) use open::{OpenFault, is_database, is_set, open, unfinished};
pub use read::{Shape, VectorLayer, read_lines, read_polygons, read_polygons_with};
