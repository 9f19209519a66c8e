//! `GeoJSON` after RFC 7946: zones for any map on a screen, product before nitrogen.

mod error;
mod write;

pub use error::GeoJsonError;
pub use write::write;
pub(crate) use write::{bounds, geometry};
