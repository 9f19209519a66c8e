//! Writers of plain maps: any map, ours or not, in any format. Files are named by whoever asks; tables have the columns of our own maps.

mod error;
mod flatgeobuf;
mod geojson;
mod kml;
mod rows;
mod shapefile;
#[cfg(test)]
mod tests;

pub use error::CarriedOutError;
pub use flatgeobuf::write as write_flatgeobuf;
pub use geojson::write as write_geojson;
pub use kml::write as write_kml;
pub(crate) use rows::{rounded_area, style};
pub use shapefile::write as write_shapefile;
