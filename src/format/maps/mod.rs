//! Reads anybody's zone map into [`ImportedMap`], leniently: what is wrong is kept as a fault, and only what cannot be read at all is an error.

mod dbf;
mod error;
mod gdal_table;
mod geojson;
mod grid;
mod kml;
mod place;
mod raster;
mod shapefile;
mod table;
mod task;
mod task_external;
mod task_grid_mend;
pub(super) mod task_ids;
mod task_mend;
mod task_zones;
mod unpack;
mod write;

use std::path::{Path, PathBuf};

use crate::format::stamp::Stamp;
use crate::map::imported::{ImportedMap, Meaning};

pub use error::MapError;
pub use task_mend::{TaskMend, mend_task};
pub use write::{Table, TableKind, TableRow, write_table};

/// Files larger than this are not read whole. (bytes)
const LARGEST: u64 = 2 << 30;

/// What the user says of a map that its file may not say.
#[derive(Clone, Debug, Default)]
pub struct ReadOptions {
    /// Layer to read, of files with several.
    pub layer: Option<String>,
    /// Column that holds the rates.
    pub rate_column: Option<String>,
    /// What the rates mean.
    pub meaning: Option<Meaning>,
    /// Whether whoever asks tells of a map that lies in another system than it states, or has its axes exchanged; else it is refused.
    pub explained: bool,
}

/// Reads a zone map: shapefile (`.shp`), `GeoJSON`, `GeoPackage`, `FlatGeobuf`, KML or KMZ, a raster of rates (`.tif`, `.asc`), ISO 11783-10 task data (folder, `.xml` or
/// `.zip`). Files say by their ending what they are.
///
/// # Errors
/// [`MapError`]: missing, larger than 2 GiB, of no known ending, so damaged that nothing can be told of it, with a vertex where no place can be, or changed by
/// somebody else meanwhile.
pub fn read(path: &Path, options: &ReadOptions) -> Result<ImportedMap, MapError> {
    let before = stamps(path);
    let map = carried(path, options)?;
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

fn carried(path: &Path, options: &ReadOptions) -> Result<ImportedMap, MapError> {
    let data = fs_err::metadata(path).map_err(|_| MapError::Missing {
        path: path.to_owned(),
    })?;
    if data.is_dir() {
        return task::read(path);
    }
    if data.len() > LARGEST {
        return Err(MapError::TooLarge {
            path: path.to_owned(),
            bytes: data.len(),
        });
    }
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_ascii_lowercase())
        .unwrap_or_default();
    let mut map = match ending.as_str() {
        "shp" => shapefile::read(path)?,
        "geojson" | "json" => geojson::read(path)?,
        "gpkg" | "fgb" => gdal_table::read(path, options.layer.as_deref())?,
        "kml" | "kmz" => kml::read(path)?,
        "tif" | "tiff" | "asc" => return raster::read(path, options),
        "xml" | "zip" => return task::read(path),
        _ => {
            return Err(MapError::Ending {
                path: path.to_owned(),
                ending,
            });
        }
    };
    table::settle(&mut map, options);
    Ok(map)
}

/// The whole of a file.
fn bytes_of(path: &Path) -> Result<Vec<u8>, MapError> {
    fs_err::read(path).map_err(|error| MapError::Unreadable {
        path: path.to_owned(),
        reason: error.to_string(),
    })
}

/// Name of a file without its ending.
fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(
        || "map".to_owned(),
        |stem| stem.to_string_lossy().into_owned(),
    )
}
