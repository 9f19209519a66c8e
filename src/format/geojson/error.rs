//! What can go wrong while writing `GeoJSON`.

use crate::format::lonlat::LonLatError;

/// Why no `GeoJSON` was made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum GeoJsonError {
    /// The zones cannot be given in longitude and latitude.
    #[error("office/prescription.geojson: the zones cannot be written in longitude and latitude")]
    LonLat {
        /// Which zone, and why.
        #[from]
        source: LonLatError,
    },
    /// A number that JSON cannot hold.
    #[error(
        "office/prescription.geojson: {property} of zone {zone} is {value}, not a number that a file can hold"
    )]
    NotFinite {
        /// The zone.
        zone: u32,
        /// The property.
        property: &'static str,
        /// The value.
        value: f64,
    },
    /// There is nothing to write.
    #[error(
        "office/prescription.geojson: the prescription has no zone; check that the field is larger than its exclusions"
    )]
    NoZones,
    /// The text could not be put together.
    #[error("office/prescription.geojson: the text could not be put together")]
    Text {
        /// What the serializer said.
        #[from]
        source: serde_json::Error,
    },
}
