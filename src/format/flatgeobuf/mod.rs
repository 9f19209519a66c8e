//! `FlatGeobuf`: zones in the map's own system, quick to open.

use std::path::Path;

use crate::finding::Checked;
use crate::format::maps::{MapError, ReadOptions, gdal_table};
use crate::format::payload::Payload;
use crate::format::scratch::Scratch;
use crate::format::style::{Style, qml_vector};
use crate::format::{MapFormat, WriteError, WriteOptions, Written, gdal_layer};
use crate::map::export::ExportMap;
use crate::map::imported::ImportedMap;
use gdal::DriverManager;

/// `FlatGeobuf`, read and written through GDAL.
pub(crate) struct FlatGeobuf;

impl MapFormat for FlatGeobuf {
    fn read(&self, path: &Path, options: &ReadOptions) -> Result<ImportedMap, MapError> {
        gdal_table::read(path, options)
    }
    /// `NAME.fgb` and `NAME.qml`: one feature a zone, with the columns of the map's table.
    fn write(
        &self,
        map: &ExportMap<'_>,
        options: &WriteOptions<'_>,
    ) -> Result<Checked<Written>, WriteError> {
        let name = options.name;
        Ok(Checked::new(
            Written::of(vec![
                Payload::new(format!("{name}.fgb"), bytes(map)?),
                Payload::new(
                    format!("{name}.qml"),
                    qml_vector(&Style::of(&map.zones.drawn))?,
                ),
            ]),
            Vec::new(),
        ))
    }
}

fn bytes(map: &ExportMap<'_>) -> Result<Vec<u8>, WriteError> {
    let failed = WriteError::gdal("writing FlatGeobuf");
    let file = Scratch::new("fgb");
    let system = gdal_layer::system(map.system)?;
    let mut dataset = DriverManager::get_driver_by_name("FlatGeobuf")
        .and_then(|driver| driver.create_vector_only(file.path()))
        .map_err(&failed)?;
    {
        let table = &map.zones.table;
        let layer = gdal_layer::create(&mut dataset, table, &system, &["SPATIAL_INDEX=YES"])?;
        gdal_layer::fill(&layer, table, map.zones.rows())?;
    }
    dataset.close().map_err(&failed)?;
    file.into_bytes().map_err(&failed)
}
