//! Why a plain map cannot be written.

use crate::format::lonlat::LonLatError;
use crate::format::shapefile::ShapefileError;
use crate::format::style::StyleError;
use gdal::errors::GdalError;

/// Why a plain map cannot be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CarriedOutError {
    /// The zones cannot be given in longitude and latitude.
    #[error("the zones cannot be written in longitude and latitude: {source}")]
    LonLat {
        /// Which zone, and why.
        #[from]
        source: LonLatError,
    },
    /// A rate that the format cannot hold.
    #[error(
        "the rate {rate} {unit} of zone {zone} cannot be written: the column holds 0 to 9999999.99"
    )]
    Rate {
        /// The zone.
        zone: u32,
        /// The rate.
        rate: f64,
        /// Its unit.
        unit: &'static str,
    },
    /// There is nothing to write.
    #[error("the map has no zone of 1 m² or more")]
    NoZones,
    /// More zones than the column of numbers holds.
    #[error("the map has {zones} zones; a shapefile for controllers numbers 999999 at most")]
    TooMany {
        /// How many.
        zones: usize,
    },
    /// A style could not be made.
    #[error(transparent)]
    Style(#[from] StyleError),
    /// The text could not be put together.
    #[error("the text could not be put together: {source}")]
    Text {
        /// What the serializer said.
        #[from]
        source: serde_json::Error,
    },
    /// The XML could not be put together.
    #[error("the XML could not be put together: {source}")]
    Xml {
        /// What failed.
        #[from]
        source: std::io::Error,
    },
    /// The shapefile could not be put together.
    #[error(transparent)]
    Shapefile(#[from] ShapefileError),
    /// GDAL refused.
    #[error("{doing} failed: {source}")]
    Gdal {
        /// At what.
        doing: &'static str,
        /// What GDAL said.
        source: GdalError,
    },
}
