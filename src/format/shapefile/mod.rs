//! Shapefiles for controllers: WGS 84, single parts, one rate column named by its unit.

mod error;
mod name;
mod table;
mod write;

pub use error::ShapefileError;
pub use name::{is_device, safe_name};
pub(crate) use table::Table;
pub use write::write;
