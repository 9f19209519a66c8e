//! Task data by ISO 11783-10: one task with one value a place, product by mass or volume. By default version 3.3 with one grid of type 2.
//!
//! Version 3 is what controllers of the first position-based class take, and a grid of 350 × 350 cells is what each of them must take; more values a cell and larger
//! grids are optional there, so neither is written. Version 4.3, grids of zone codes (type 1) and polygons are written when asked for. Controller integers exist only
//! in this folder.
//!
//! # Source
//! ISO 11783-10:2015 as retold in an unofficial study summary; public XML schema of task data, version 3.3 (2013-03-25); data dictionary of ISO 11783-11,
//! export of 2019.

mod channel;
mod error;
mod grid;
mod lattice;
mod near;
pub(super) mod read;
#[cfg(test)]
mod tests;
mod write;
mod xml;
mod zone_list;

use std::path::Path;

use crate::finding::Checked;
use crate::format::maps::{MapError, MapSet, ReadOptions};
use crate::format::{MapFormat, WriteError, WriteOptions, Written};
use crate::map::export::ExportMap;
use crate::map::imported::ImportedMap;

pub use error::Iso11783Error;
pub use grid::{RateGrid, on_ground, rate_grid};
pub use lattice::Lattice;
pub use read::{TaskRepair, repair_task};
pub use write::archive;
pub use xml::task_name;

/// Task data.
pub struct Iso11783;

impl MapFormat for Iso11783 {
    fn place(&self, _field: &str, _map_id: &str) -> String {
        "machine/".to_owned()
    }
    fn read(&self, path: &Path, options: &ReadOptions) -> Result<ImportedMap, MapError> {
        read::read(path, options.layer.as_deref())
    }
    fn read_all(&self, path: &Path, options: &ReadOptions) -> Result<MapSet, MapError> {
        match options.layer {
            Some(_) => self.read(path, options).map(MapSet::from),
            None => read::read_all(path),
        }
    }
    fn write(
        &self,
        map: &ExportMap<'_>,
        options: &WriteOptions<'_>,
    ) -> Result<Checked<Written>, WriteError> {
        let Checked { value, findings } = write::write(map, options)?;
        Ok(Checked::new(Written::of(value), findings))
    }
}
