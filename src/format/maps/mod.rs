//! Reads anybody's prescription map into [`ImportedMap`], leniently: what is wrong is kept as a fault, and only what cannot be read at all is an error.

mod error;
pub(super) mod gdal_table;
mod place;
pub(super) mod table;
pub(super) mod unpack;
mod write;

use std::path::{Path, PathBuf};

use crate::format::stamp::Stamp;
use crate::format::{Format, MapFormat};
use crate::map::faults::fault::Fault;
use crate::map::imported::{ImportedMap, Meaning};

pub use error::MapError;
pub use write::{Table, TableKind, TableRow, write_table};

/// Files larger than this are not read whole. (bytes)
pub(super) const MAXIMUM_BYTES: u64 = 2 << 30;

/// What the user says of a map that its file may not say.
#[derive(Clone, Debug, Default)]
pub struct ReadOptions {
    /// Layer to read, of files with several; of task data the task, by id or name.
    pub layer: Option<String>,
    /// Column that holds the rates.
    pub rate_column: Option<String>,
    /// What the rates mean.
    pub meaning: Option<Meaning>,
    /// Whether whoever asks tells of a map that lies in another system than it states, or has its axes exchanged; else it is refused.
    pub explained: bool,
}

/// The maps of a file that may hold several.
#[derive(Clone, Debug)]
pub struct MapSet {
    /// What the reader stumbled over that belongs to no map alone.
    pub oddities: Vec<Fault>,
    /// The maps, in file order.
    pub maps: Vec<ImportedMap>,
}

impl From<ImportedMap> for MapSet {
    fn from(map: ImportedMap) -> Self {
        Self {
            oddities: Vec::new(),
            maps: vec![map],
        }
    }
}

/// Reads every map of a file: the tasks of task data, of all else the one that [`read`] reads.
///
/// # Errors
/// As [`read`].
pub fn read_all(path: &Path, options: &ReadOptions) -> Result<MapSet, MapError> {
    let before = stamps(path);
    let mut set = rules_of(path)?.read_all(path, options)?;
    if stamps(path) != before {
        return Err(MapError::Changed {
            path: path.to_owned(),
        });
    }
    // One map, or none, is read as if it stood alone.
    if set.maps.len() < 2 {
        let Some(mut map) = set.maps.pop() else {
            return read(path, options).map(MapSet::from);
        };
        map.oddities.splice(0..0, set.oddities);
        set = MapSet::from(map);
    }
    for map in &set.maps {
        place::check(map, path, options.explained)?;
    }
    Ok(set)
}

/// Reads a prescription map: shapefile (`.shp`), `GeoJSON`, `GeoPackage`, `FlatGeobuf`, KML or KMZ, a raster of rates (`.tif`, `.asc`), ISO 11783-10 task data (folder, `.xml` or
/// `.zip`). Files say by their ending what they are.
///
/// # Errors
/// [`MapError`]: missing, larger than 2 GiB, of no known ending, so damaged that nothing can be told of it, with a vertex where no place can be, or changed by
/// somebody else meanwhile.
pub fn read(path: &Path, options: &ReadOptions) -> Result<ImportedMap, MapError> {
    let before = stamps(path);
    let map = rules_of(path)?.read(path, options)?;
    if stamps(path) != before {
        return Err(MapError::Changed {
            path: path.to_owned(),
        });
    }
    place::check(&map, path, options.explained)?;
    Ok(map)
}

/// What tells that a file, or one of the same name beside it, is another or has changed; of a folder, of its files.
fn stamps(path: &Path) -> Vec<(PathBuf, Option<Stamp>)> {
    let folder = if path.is_dir() {
        path
    } else {
        path.parent()
            .filter(|parent| !parent.as_os_str().is_empty())
            .unwrap_or_else(|| Path::new("."))
    };
    let own = stem(path);
    let mut found: Vec<_> = fs_err::read_dir(folder)
        .into_iter()
        .flatten()
        .filter_map(Result::ok)
        .map(|entry| entry.path())
        .filter(|file| file.is_file() && (path.is_dir() || stem(file) == own))
        .map(|file| {
            let stamp = Stamp::of(&file);
            (file, stamp)
        })
        .collect();
    found.sort_by(|a, b| a.0.cmp(&b.0));
    found
}

/// The format of a file, by its ending; a folder is task data.
fn rules_of(path: &Path) -> Result<&'static dyn MapFormat, MapError> {
    let data = fs_err::metadata(path).map_err(|_| MapError::Missing {
        path: path.to_owned(),
    })?;
    if data.is_dir() {
        return Ok(Format::Iso11783.rules());
    }
    if data.len() > MAXIMUM_BYTES {
        return Err(MapError::TooLarge {
            path: path.to_owned(),
            bytes: data.len(),
        });
    }
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_ascii_lowercase())
        .unwrap_or_default();
    match Format::of_ending(&ending) {
        Some(format) => Ok(format.rules()),
        None => Err(MapError::Ending {
            path: path.to_owned(),
            ending,
        }),
    }
}

/// The whole of a file.
pub(super) fn bytes_of(path: &Path) -> Result<Vec<u8>, MapError> {
    fs_err::read(path).map_err(|error| MapError::Unreadable {
        path: path.to_owned(),
        reason: error.to_string(),
    })
}

/// Name of a file without its ending.
pub(super) fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(
        || "map".to_owned(),
        |stem| stem.to_string_lossy().into_owned(),
    )
}
