//! The only place that touches files of others: one folder a format, and the one list of the formats of maps.

pub(crate) mod bounds;
pub mod complaints;
pub mod csv_table;
pub(crate) mod extent;
pub mod flatgeobuf;
mod gdal_layer;
pub mod geojson;
pub mod geopackage;
pub mod geotiff;
pub mod gpx;
pub mod iso11783;
pub(crate) mod json_text;
pub mod kml;
pub(crate) mod library;
pub mod lonlat;
pub mod maps;
pub mod payload;
pub mod points;
pub mod raster;
pub(crate) mod scratch;
pub mod shapefile;
pub(crate) mod sidecars;
pub mod stac;
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

pub use write_error::WriteError;

/// What a format is called, and how it reads and writes a map. One folder of `format` implements it for each entry of [`Format`].
pub trait MapFormat: Sync {
    /// The word of it in job files and on the command line.
    fn word(&self) -> &'static str;
    /// What people type for it, in small letters.
    fn short_names(&self) -> &'static [&'static str];
    /// Endings of its files, without the dot; the first is the one written.
    fn endings(&self) -> &'static [&'static str];
    /// For what it is, in a sentence.
    fn about(&self) -> &'static str;
    /// What a map keeps and loses in it.
    fn keeps(&self) -> Keeps;
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

/// What a map keeps in a format.
#[expect(
    clippy::struct_excessive_bools,
    reason = "each says whether a format keeps one thing of a map; none excludes another"
)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Keeps {
    /// Columns besides zone and rate, and nitrogen beside the product.
    pub columns: bool,
    /// The map's own reference system; else WGS 84.
    pub system: bool,
    /// Coordinates to full precision; else 7 decimals of a degree.
    pub coordinates: bool,
    /// How rates are rounded.
    pub rates: Rounding,
    /// A grid as a grid.
    pub grid: bool,
    /// Boundary, and rates that a terminal falls back to.
    pub fallbacks: bool,
}

/// How a format rounds rates.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rounding {
    /// To 0.01.
    Hundredths,
    /// To 32-bit numbers.
    Float32,
    /// To the whole numbers of a data dictionary.
    Dictionary,
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

/// The formats: name here, and the folder that reads and writes it.
macro_rules! formats {
    ($($name:ident => $folder:ident),+ $(,)?) => {
        /// A format of maps.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Format {
            $(#[doc = concat!("See [`mod@", stringify!($folder), "`].")] $name),+
        }

        impl Format {
            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$name),+];
            /// Their words, in the same order.
            pub const WORDS: &'static [&'static str] = &[$($folder::WORD),+];

            /// How it reads and writes.
            pub const fn rules(self) -> &'static dyn MapFormat {
                match self {
                    $(Self::$name => &$folder::$name),+
                }
            }
        }
    };
}

formats! {
    GeoPackage => geopackage,
    GeoJson => geojson,
    Shapefile => shapefile,
    GeoTiff => geotiff,
    Iso11783 => iso11783,
    Kml => kml,
    FlatGeobuf => flatgeobuf,
}

impl Format {
    /// The word of it in job files and on the command line.
    pub fn word(self) -> &'static str {
        self.rules().word()
    }

    /// The ending of its files.
    pub fn ending(self) -> &'static str {
        self.rules().endings()[0]
    }

    /// The format of this word.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL
            .iter()
            .copied()
            .find(|format| format.word() == word)
    }

    /// The format that reads files of this ending, in small letters.
    pub fn of_ending(ending: &str) -> Option<Self> {
        Self::ALL
            .iter()
            .copied()
            .find(|format| format.rules().endings().contains(&ending))
    }

    /// The format that people mean by a short name.
    pub fn meant_by(text: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|format| {
            let mut names = format.rules().short_names().iter();
            names.any(|name| text.trim().eq_ignore_ascii_case(name))
        })
    }

    /// Whether a run puts it into the folder for the machine.
    pub fn is_for_the_machine(self) -> bool {
        self.rules().place("", "").starts_with("machine/")
    }
}
