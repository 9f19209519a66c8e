//! Why a map cannot be written.

use crate::format::iso11783::Iso11783Error;
use crate::format::lonlat::LonLatError;
use crate::format::style::StyleError;
use crate::space::crs::CrsError;
use gdal::errors::GdalError;

/// Why a map cannot be written in a format.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// The zones cannot be given in longitude and latitude.
    #[error("the zones cannot be written in longitude and latitude")]
    LonLat {
        /// Which zone, and why.
        #[from]
        source: LonLatError,
    },
    /// The map cannot be projected onto a plane.
    #[error("the map cannot be projected onto a plane of metres")]
    Plane {
        /// What PROJ said.
        source: CrsError,
    },
    /// There is nothing to write.
    #[error(
        "the map has no zone of 1 m² or more; check that the field is larger than its exclusions"
    )]
    NoZones,
    /// A number that no file can hold.
    #[error("{column} in row {row} of {table} is {value}, not a number that a file can hold")]
    NotFinite {
        /// The table.
        table: &'static str,
        /// The row, from 1.
        row: usize,
        /// The column.
        column: &'static str,
        /// The value.
        value: f64,
    },
    /// A rate that the column cannot hold.
    #[error(
        "zone {zone} has a rate of {rate} {unit}; a controller's column holds 0 to 9999999.99: choose another unit"
    )]
    Rate {
        /// The zone.
        zone: u32,
        /// The rate.
        rate: f64,
        /// Its unit.
        unit: &'static str,
    },
    /// More zones than the column of numbers holds.
    #[error(
        "zone number {zone} has more than 6 digits; a shapefile for controllers numbers 999999 at most: make zones larger"
    )]
    ZoneNumber {
        /// The zone.
        zone: u32,
    },
    /// A raster that nothing opens.
    #[error(
        "the raster would have {columns} × {rows} pixels of {pixel} m, more than 200000 a side"
    )]
    TooLarge {
        /// Pixels across.
        columns: f64,
        /// Pixels down.
        rows: f64,
        /// Pixel size. \[m\]
        pixel: f64,
    },
    /// A column's name is refused.
    #[error("the column name {column} is refused")]
    Column {
        /// The name.
        column: &'static str,
    },
    /// Task data could not be made.
    #[error(transparent)]
    TaskData(#[from] Iso11783Error),
    /// A style could not be made.
    #[error(transparent)]
    Style(#[from] StyleError),
    /// JSON could not be put together.
    #[error("the text could not be put together")]
    Text {
        /// What the serializer said.
        #[from]
        source: serde_json::Error,
    },
    /// XML could not be put together.
    #[error("the XML could not be put together")]
    Xml {
        /// What failed.
        #[from]
        source: std::io::Error,
    },
    /// The shapefile library refused.
    #[error("the records could not be put together")]
    Records {
        /// What it said.
        #[from]
        source: ::shapefile::Error,
    },
    /// `SQLite` refused.
    #[error("{doing} failed")]
    Sqlite {
        /// At what.
        doing: &'static str,
        /// What it said.
        source: rusqlite::Error,
    },
    /// GDAL refused.
    #[error("{doing} failed")]
    Gdal {
        /// At what.
        doing: &'static str,
        /// What GDAL said.
        source: GdalError,
    },
}

impl WriteError {
    /// A complaint of GDAL, at what it was made.
    pub(super) fn gdal(doing: &'static str) -> impl Fn(GdalError) -> Self {
        move |source| Self::Gdal { doing, source }
    }

    /// A complaint of `SQLite`, at what it was made.
    pub(super) fn sqlite(doing: &'static str) -> impl Fn(rusqlite::Error) -> Self {
        move |source| Self::Sqlite { doing, source }
    }
}
