//! `GeoTIFF`: rates as a raster, for the office.

mod fill;
mod read;
mod write;

use std::path::Path;

use crate::finding::Checked;
use crate::format::maps::{MapError, ReadOptions};
use crate::format::{Keeps, MapFormat, Rounding, WriteError, WriteOptions, Written};
use crate::map::export::ExportMap;
use crate::map::imported::ImportedMap;

pub use write::{Pixels, pixels};

/// The word of it.
pub(super) const WORD: &str = "geotiff";

/// Cloud-optimised `GeoTIFF`; other rasters of rates to read.
pub struct GeoTiff;

impl MapFormat for GeoTiff {
    fn word(&self) -> &'static str {
        WORD
    }
    fn short_names(&self) -> &'static [&'static str] {
        &["tif", "tiff", "cog"]
    }
    fn endings(&self) -> &'static [&'static str] {
        &["tif", "tiff", "asc"]
    }
    fn about(&self) -> &'static str {
        "Raster of rates"
    }
    fn keeps(&self) -> Keeps {
        Keeps {
            columns: false,
            system: true,
            coordinates: true,
            rates: Rounding::Float32,
            grid: true,
            fallbacks: false,
        }
    }
    fn place(&self, _field: &str, _map_id: &str) -> String {
        "office/nitrogen".to_owned()
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
