//! KML: zones for looking at on a globe, not for a machine.

mod read;
mod write;

use std::path::Path;

use crate::finding::Checked;
use crate::format::maps::{MapError, ReadOptions};
use crate::format::{Keeps, MapFormat, Rounding, WriteError, WriteOptions, Written};
use crate::map::export::ExportMap;
use crate::map::imported::ImportedMap;

/// The word of it.
pub(super) const WORD: &str = "kml";

/// KML, and KMZ to read.
pub struct Kml;

impl MapFormat for Kml {
    fn word(&self) -> &'static str {
        WORD
    }
    fn short_names(&self) -> &'static [&'static str] {
        &["kmz"]
    }
    fn endings(&self) -> &'static [&'static str] {
        &["kml", "kmz"]
    }
    fn about(&self) -> &'static str {
        "For looking"
    }
    fn keeps(&self) -> Keeps {
        Keeps {
            columns: true,
            system: false,
            coordinates: false,
            rates: Rounding::Hundredths,
            grid: false,
            fallbacks: false,
        }
    }
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
