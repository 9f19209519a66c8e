//! `GeoJSON` after RFC 7946: zones for any map on a screen, product before nitrogen.

mod read;
mod write;

use std::path::Path;

use crate::finding::Checked;
use crate::format::maps::{MapError, ReadOptions};
use crate::format::{MapFormat, WriteError, WriteOptions, Written};
use crate::map::export::ExportMap;
use crate::map::imported::ImportedMap;

/// `GeoJSON` in WGS 84.
pub(crate) struct GeoJson;

impl MapFormat for GeoJson {
    fn read(&self, path: &Path, options: &ReadOptions) -> Result<ImportedMap, MapError> {
        read::read(path, options)
    }
    fn write(
        &self,
        map: &ExportMap<'_>,
        options: &WriteOptions<'_>,
    ) -> Result<Checked<Written>, WriteError> {
        Ok(Checked::new(
            Written::of(write::write(map, options.name)?),
            Vec::new(),
        ))
    }
}
