//! Shapefiles for controllers: WGS 84, single parts, one rate column named by its unit.

mod error;
mod name;
mod write;

pub use error::ShapefileError;
pub use name::safe_name;
pub use write::write;
