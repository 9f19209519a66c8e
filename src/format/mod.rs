//! The only place that touches files of others: one folder a format.

pub(crate) mod bounds;
pub mod carried_out;
pub mod complaints;
pub(crate) mod extent;
pub mod geojson;
pub mod geopackage;
pub mod geotiff;
pub mod gpx;
pub mod iso11783;
pub(crate) mod json_text;
pub(crate) mod library;
pub mod lonlat;
pub mod maps;
pub mod payload;
pub mod points;
pub mod raster;
pub(crate) mod scratch;
pub mod shapefile;
pub(crate) mod sidecars;
pub(crate) mod stamp;
pub mod style;
pub mod systems;
mod systems_text;
pub mod task_set;
pub mod vector;
pub mod weather;
