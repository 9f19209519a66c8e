//! The only place that touches files of others: one folder a format.

pub mod carried_out;
pub mod complaints;
pub mod geojson;
pub mod geopackage;
pub mod geotiff;
pub mod gpx;
pub mod iso11783;
pub mod lonlat;
pub mod maps;
pub mod payload;
pub mod points;
pub mod raster;
pub(crate) mod scratch;
pub mod shapefile;
pub mod style;
pub mod systems;
pub mod vector;
pub mod weather;

#[cfg(test)]
pub(crate) use crate::zones::fixture;
