//! A `GeoPackage` that is too large for memory: written to its file row by row.

use std::path::Path;

use super::{about, rows, write};
use crate::format::scratch::ThreadOption;
use crate::format::{WriteError, gdal_layer};
use crate::map::export::Drawn;
use crate::map::table::{Row, Table};
use crate::space::crs::Crs;
use jiff::Timestamp;
use rusqlite::Connection;

/// A table with its rows, asked for once.
pub(crate) struct FileLayer<'a> {
    /// Name and columns.
    pub table: Table,
    /// How it is drawn.
    pub drawn: Drawn,
    /// Rows, from the first.
    pub rows: Box<dyn Iterator<Item = Row<'static>> + 'a>,
}

/// Writes layers in one reference system to a new file, each with the style that GIS programs load with it; `instant` stands as the date of last change. Whoever calls puts the file in its place.
///
/// # Errors
/// [`WriteError`] when a value is not finite, or GDAL or `SQLite` refuses; the file is then not whole.
pub(crate) fn write_file(
    path: &Path,
    system: &Crs,
    layers: Vec<FileLayer<'_>>,
    instant: Timestamp,
) -> Result<(), WriteError> {
    crate::format::library::ready();
    let pinned = instant.strftime("%Y-%m-%dT%H:%M:%S.000Z").to_string();
    let _date = ThreadOption::set("OGR_CURRENT_DATE", &pinned)
        .map_err(WriteError::gdal("pinning the date"))?;
    let mut dataset = write::create(path).map_err(WriteError::gdal("creating the file"))?;
    let reference = gdal_layer::system(system)?;
    for layer in &layers {
        let description = format!("DESCRIPTION={}", layer.table.description);
        let options = [
            "GEOMETRY_NAME=geom",
            "FID=fid",
            "SPATIAL_INDEX=NO",
            description.as_str(),
        ];
        gdal_layer::create(&mut dataset, &layer.table, &reference, &options)?;
    }
    about::describe(&dataset, layers.iter().map(|layer| &layer.table))
        .map_err(WriteError::gdal("describing the columns"))?;
    let styles = layers.iter().map(|layer| (layer.table.name, &layer.drawn));
    about::add_styles(&dataset, styles, &pinned)?;
    dataset
        .close()
        .map_err(WriteError::gdal("closing the file"))?;
    let mut database = Connection::open(path).map_err(WriteError::sqlite("opening the file"))?;
    for layer in layers {
        rows::put(&mut database, &layer.table, layer.rows)?;
    }
    database
        .close()
        .map_err(|(_, error)| WriteError::sqlite("closing the file")(error))
}
