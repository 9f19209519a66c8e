//! What can go wrong while writing a `GeoTIFF`.

use gdal::errors::GdalError;

/// Why no `GeoTIFF` was made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum GeoTiffError {
    /// A style could not be made.
    #[error("the raster's style could not be made: {source}")]
    Style {
        /// Why.
        source: crate::format::style::StyleError,
    },
    /// The map cannot be carried to a plane.
    #[error("the map cannot be carried to a plane of metres: {source}")]
    Carry {
        /// What PROJ said.
        source: crate::space::crs::CrsError,
    },
    /// There is nothing to write.
    #[error(
        "office/nitrogen.tif: the prescription has no zone; check that the field is larger than its exclusions"
    )]
    NoZones,
    /// A rate that is none.
    #[error("office/nitrogen.tif: the rate of zone {zone} is {n_kg_ha} kg N/ha, not a number")]
    NotFinite {
        /// The zone.
        zone: u32,
        /// Its rate.
        n_kg_ha: f64,
    },
    /// The raster would be too large.
    #[error(
        "office/nitrogen.tif: {columns} × {rows} pixels of {pixel} m are too many (at most 200 000 a side); leave \"geotiff\" out of output.formats or split the field"
    )]
    TooLarge {
        /// Pixels across.
        columns: f64,
        /// Pixels down.
        rows: f64,
        /// Pixel size. \[m\]
        pixel: f64,
    },
    /// GDAL refused.
    #[error("office/nitrogen.tif: {doing} failed")]
    Gdal {
        /// At what.
        doing: &'static str,
        /// What GDAL said.
        #[source]
        source: GdalError,
    },
}
