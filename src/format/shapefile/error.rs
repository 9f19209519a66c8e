//! What can go wrong while writing a shapefile.

use crate::format::lonlat::LonLatError;

/// Why no shapefile was made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ShapefileError {
    /// The zones cannot be given in longitude and latitude.
    #[error("machine shapefile: the zones cannot be written in longitude and latitude")]
    LonLat {
        /// Which zone, and why.
        #[from]
        source: LonLatError,
    },
    /// A rate that does not fit the column.
    #[error(
        "machine shapefile: zone {zone} has a rate of {rate} {unit}; a controller's column holds 0 to 9999999.99: choose another output.unit"
    )]
    Rate {
        /// The zone.
        zone: u32,
        /// The rate.
        rate: f64,
        /// Its unit.
        unit: &'static str,
    },
    /// More zones than the number column holds.
    #[error(
        "machine shapefile: zone number {zone} has more than 6 digits; raise zones.minimum_area or rate.step"
    )]
    ZoneNumber {
        /// The zone.
        zone: u32,
    },
    /// There is nothing to write.
    #[error(
        "machine shapefile: the prescription has no zone of 1 m² or more; check that the field is larger than its exclusions"
    )]
    NoZones,
    /// The column name is refused.
    #[error("machine shapefile: the column name {column} is refused")]
    Column {
        /// The name.
        column: &'static str,
    },
    /// The shapefile library refused.
    #[error("machine shapefile: the records could not be put together")]
    Records {
        /// What it said.
        #[from]
        source: shapefile::Error,
    },
}
