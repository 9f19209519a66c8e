//! `GeoPackage`: zones, cells, strips and field with all their numbers, on the working plane; of other maps their zones.

mod about;
mod file;
mod rows;
mod write;

pub use file::{FileLayer, write_file};

use std::path::Path;

use crate::finding::Checked;
use crate::format::maps::{MapError, ReadOptions, gdal_table};
use crate::format::{Keeps, MapFormat, Rounding, WriteError, WriteOptions, Written};
use crate::map::export::ExportMap;
use crate::map::imported::ImportedMap;

/// The word of it.
pub(super) const WORD: &str = "geopackage";

/// `GeoPackage`, through GDAL and `SQLite`.
pub struct GeoPackage;

impl MapFormat for GeoPackage {
    fn word(&self) -> &'static str {
        WORD
    }
    fn short_names(&self) -> &'static [&'static str] {
        &["gpkg"]
    }
    fn endings(&self) -> &'static [&'static str] {
        &["gpkg"]
    }
    fn about(&self) -> &'static str {
        "In the map's own reference system"
    }
    fn keeps(&self) -> Keeps {
        Keeps {
            columns: true,
            system: true,
            coordinates: true,
            rates: Rounding::Hundredths,
            grid: false,
            fallbacks: false,
        }
    }
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
