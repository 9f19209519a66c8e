//! `GeoPackage`: zones, cells, strips and field with all their numbers, on the working plane; of other maps their zones.

mod about;
mod file;
mod rows;
mod write;

pub(crate) use file::{FileLayer, write_file};

use std::path::Path;

use crate::finding::Checked;
use crate::format::maps::{MapError, ReadOptions, gdal_table};
use crate::format::{MapFormat, WriteError, WriteOptions, Written};
use crate::map::export::ExportMap;
use crate::map::imported::ImportedMap;

/// `GeoPackage`, through GDAL and `SQLite`.
pub(crate) struct GeoPackage;

impl MapFormat for GeoPackage {
    fn read(&self, path: &Path, options: &ReadOptions) -> Result<ImportedMap, MapError> {
        gdal_table::read(path, options)
    }
    fn write(
        &self,
        map: &ExportMap<'_>,
        options: &WriteOptions<'_>,
    ) -> Result<Checked<Written>, WriteError> {
        Ok(Checked::new(
            Written::of(write::write(map, options)?),
            Vec::new(),
        ))
    }
}
