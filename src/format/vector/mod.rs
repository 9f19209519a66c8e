//! Reads polygons and lines from any vector format that GDAL reads, with their reference system.

mod error;
mod read;

pub use error::VectorError;
pub use read::{Shape, VectorLayer, read_lines, read_polygons, read_polygons_with};
