//! The only place that touches files of others: one folder a format.

#[cfg(test)]
pub(crate) mod fixture;
pub mod geojson;
pub mod geopackage;
pub mod geotiff;
pub mod iso11783;
pub mod payload;
pub mod raster;
pub mod shapefile;
pub mod vector;
pub mod weather;
