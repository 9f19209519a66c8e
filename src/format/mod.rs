//! The only place that touches files of others: one folder a format, and the one list of the formats of maps.

pub(crate) mod bounds;
pub(crate) mod complaints;
pub(crate) mod csv_table;
pub(crate) mod extent;
pub(crate) mod flatgeobuf;
mod gdal_layer;
pub(crate) mod geojson;
pub(crate) mod geopackage;
pub mod geotiff;
pub(crate) mod gpx;
pub mod iso11783;
pub(crate) mod json_text;
pub(crate) mod kml;
pub(crate) mod library;
pub mod lonlat;
pub mod maps;
pub(crate) mod network;
pub mod payload;
pub mod points;
pub mod raster;
pub(crate) mod scratch;
pub mod shapefile;
pub(crate) mod sidecars;
pub(crate) mod stac;
pub(crate) mod stamp;
pub mod style;
pub mod systems;
mod systems_text;
pub mod task_set;
#[cfg(test)]
mod tests;
pub mod vector;
pub mod weather;
pub mod wkb;
mod write_error;

use std::path::Path;

use crate::finding::Checked;
use crate::format::iso11783::RateGrid;
use crate::format::maps::{MapError, MapSet, ReadOptions};
use crate::format::payload::Payload;
use crate::map::export::ExportMap;
use crate::map::imported::ImportedMap;
use crate::map::task_options::TaskOptions;
use jiff::Timestamp;

pub use crate::map::formats::{Format, Keeps, Rounding};
pub use write_error::WriteError;

/// How a format reads and writes a map. One folder of `format` implements it for each entry of [`Format`].
pub trait MapFormat: Sync {
    /// Where a run puts it in the output folder, without the ending: what lies in `machine/` is for the machine.
    fn place(&self, _field: &str, _map_id: &str) -> String {
        "office/prescription".to_owned()
    }
    /// Reads anybody's map, leniently: what is wrong is kept as a fault.
    ///
    /// # Errors
    /// [`MapError`] when nothing can be told of it.
    fn read(&self, path: &Path, options: &ReadOptions) -> Result<ImportedMap, MapError>;
    /// Reads every map of a file that may hold several, such as the tasks of task data; the options choose one.
    ///
    /// # Errors
    /// As [`MapFormat::read`].
    fn read_all(&self, path: &Path, options: &ReadOptions) -> Result<MapSet, MapError> {
        self.read(path, options).map(MapSet::from)
    }
    /// Files of a map.
    ///
    /// # Errors
    /// [`WriteError`] when the format cannot hold the map.
    fn write(
        &self,
        map: &ExportMap<'_>,
        options: &WriteOptions<'_>,
    ) -> Result<Checked<Written>, WriteError>;
}

/// What a writer is told besides the map.
#[derive(Clone, Copy, Debug)]
pub struct WriteOptions<'a> {
    /// Path without ending; of task data the folder that holds `TASKDATA`, with its slash, or nothing.
    pub name: &'a str,
    /// The instant in files that demand one.
    pub instant: Timestamp,
    /// Side of a cell or pixel, over what fits the map. \[m\]
    pub cell_m: Option<f64>,
    /// How task data hold the map.
    pub task: TaskOptions,
    /// The task's grid, when it has been made before.
    pub grid: Option<&'a RateGrid>,
    /// Where the files of a task go as one archive: also, or instead of the folder.
    pub archive: Option<Archive<'a>>,
}

/// An archive of task data.
#[derive(Clone, Copy, Debug)]
pub struct Archive<'a> {
    /// Its path.
    pub path: &'a str,
    /// Whether the files are written on their own, too.
    pub beside_files: bool,
}

/// What a writer made.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Written {
    /// The files; the first is the one to open.
    pub files: Vec<Payload>,
    /// Side of a pixel of a new grid. \[m\]
    pub pixel_m: Option<f64>,
    /// Parts left out for being below 1 m², and their area. \[m²\]
    pub slivers: (usize, f64),
}

impl Written {
    /// Files alone.
    pub(crate) fn of(files: Vec<Payload>) -> Self {
        Self {
            files,
            ..Self::default()
        }
    }
}

impl Format {
    /// How it reads and writes.
    pub const fn rules(self) -> &'static dyn MapFormat {
        match self {
            Self::GeoPackage => &geopackage::GeoPackage,
            Self::GeoJson => &geojson::GeoJson,
            Self::Shapefile => &shapefile::Shapefile,
            Self::GeoTiff => &geotiff::GeoTiff,
            Self::Iso11783 => &iso11783::Iso11783,
            Self::Kml => &kml::Kml,
            Self::FlatGeobuf => &flatgeobuf::FlatGeobuf,
        }
    }
}
