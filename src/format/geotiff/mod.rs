//! `GeoTIFF`: rates as a raster, for the office.

mod fill;
mod read;
mod write;

use std::path::Path;

use crate::finding::Checked;
use crate::format::maps::{MapError, ReadOptions};
use crate::format::{MapFormat, WriteError, WriteOptions, Written};
use crate::map::export::ExportMap;
use crate::map::imported::ImportedMap;

pub use write::{Pixels, pixels};

/// Cloud-optimised `GeoTIFF`; other rasters of rates to read.
pub struct GeoTiff;

impl MapFormat for GeoTiff {
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
