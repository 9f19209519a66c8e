//! Reads polygons and lines from any vector format that GDAL reads, with their reference system.

mod error;
mod read;

pub use error::VectorError;
pub use read::Shape;
pub use read::VectorLayer;
pub use read::read_lines;
pub use read::read_polygons;
pub use read::read_polygons_with;
