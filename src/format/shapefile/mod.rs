//! Shapefiles for controllers: WGS 84, single parts, one rate column named by its unit.

mod dbf;
mod name;
mod read;
mod table;
mod write;

use std::path::Path;

use crate::finding::Checked;
use crate::format::maps::{MapError, ReadOptions};
use crate::format::{Keeps, MapFormat, Rounding, WriteError, WriteOptions, Written};
use crate::map::export::ExportMap;
use crate::map::imported::ImportedMap;

pub use name::{is_device, safe_name};

/// The word of it.
pub(super) const WORD: &str = "shapefile";

/// Shapefile set.
pub struct Shapefile;

impl MapFormat for Shapefile {
    fn word(&self) -> &'static str {
        WORD
    }
    fn short_names(&self) -> &'static [&'static str] {
        &["shp", "esri shapefile"]
    }
    fn endings(&self) -> &'static [&'static str] {
        &["shp"]
    }
    fn about(&self) -> &'static str {
        "For controllers"
    }
    fn keeps(&self) -> Keeps {
        Keeps {
            columns: false,
            system: false,
            coordinates: true,
            rates: Rounding::Hundredths,
            grid: false,
            fallbacks: false,
        }
    }
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
