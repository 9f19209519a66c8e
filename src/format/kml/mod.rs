//! KML: zones for looking at on a globe, not for a machine.

mod read;
mod write;

use std::path::Path;

use crate::finding::Checked;
use crate::format::maps::{MapError, ReadOptions};
use crate::format::{MapFormat, WriteError, WriteOptions, Written};
use crate::map::export::ExportMap;
use crate::map::imported::ImportedMap;

/// KML, and KMZ to read.
pub(crate) struct Kml;

impl MapFormat for Kml {
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
