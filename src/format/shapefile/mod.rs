//! Shapefiles for controllers: WGS 84, single parts, one rate column named by its unit.

mod dbf;
mod name;
mod read;
mod table;
mod write;

use std::path::Path;

use crate::finding::Checked;
use crate::format::maps::{MapError, ReadOptions};
use crate::format::{MapFormat, WriteError, WriteOptions, Written};
use crate::map::export::ExportMap;
use crate::map::imported::ImportedMap;

pub use name::{is_device, safe_name};

/// Shapefile set.
pub struct Shapefile;

impl MapFormat for Shapefile {
    /// The field's name made 8.3-safe.
    fn place(&self, field: &str, map_id: &str) -> String {
        format!("machine/{}", safe_name(field, map_id))
    }
    fn read(&self, path: &Path, options: &ReadOptions) -> Result<ImportedMap, MapError> {
        read::read(path, options)
    }
    fn write(
        &self,
        map: &ExportMap<'_>,
        options: &WriteOptions<'_>,
    ) -> Result<Checked<Written>, WriteError> {
        Ok(Checked::new(write::write(map, options)?, Vec::new()))
    }
}
