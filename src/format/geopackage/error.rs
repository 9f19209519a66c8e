//! What can go wrong while writing a `GeoPackage`.

use gdal::errors::GdalError;

/// Why no `GeoPackage` was made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum GeoPackageError {
    /// A number that a table must not hold.
    #[error(
        "office/prescription.gpkg: {column} in row {row} of layer {layer} is {value}, not a number"
    )]
    NotFinite {
        /// The layer.
        layer: &'static str,
        /// The row, from 1.
        row: usize,
        /// The column.
        column: &'static str,
        /// The value.
        value: f64,
    },
    /// Cells and their shapes do not match.
    #[error(
        "office/prescription.gpkg: {records} cell records for {shapes} cell shapes; this is a fault of the program"
    )]
    CellCount {
        /// Records.
        records: usize,
        /// Shapes.
        shapes: usize,
    },
    /// A style could not be made.
    #[error("{source}")]
    Style {
        /// Why.
        #[from]
        source: crate::format::style::StyleError,
    },
    /// `SQLite` refused.
    #[error("GeoPackage: {doing} failed")]
    Sqlite {
        /// At what.
        doing: &'static str,
        /// What it said.
        source: rusqlite::Error,
    },
    /// GDAL refused.
    #[error("GeoPackage: {doing} failed")]
    Gdal {
        /// At what.
        doing: &'static str,
        /// What GDAL said.
        #[source]
        source: GdalError,
    },
}
