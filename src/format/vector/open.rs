//! Opens a vector file: by the drivers that its first bytes call for, after it was looked at, and without leaving anything beside it.

use std::io::Read as _;
use std::path::{Path, PathBuf};

use gdal::vector::Feature;
use gdal::{Dataset, DatasetOptions, GdalOpenFlags};

use crate::format::json_text::{JsonFault, begins_like_json, check};
use crate::format::vector::views;
use crate::format::vector::whole::whole;
use crate::format::{bounds, complaints, library, sidecars};

/// So many bytes tell what a file is.
const HEAD: u64 = 16_384;

/// Beginning of a database of `SQLite`.
const DATABASE: &[u8] = b"SQLite format 3\0";

/// Why a vector file is not opened.
#[derive(Debug)]
pub(crate) enum OpenFault {
    /// No driver takes it, or it is no sound JSON.
    Unreadable(String),
    /// It states a system that is none.
    System(String),
    /// It is cut off, or its parts do not fit together.
    Damaged(String),
}

/// The drivers for a file with this beginning, and how they are to open it. Only drivers of the one kind are asked, and none of them reaches for a network.
fn drivers(head: &[u8]) -> (&'static [&'static str], &'static [&'static str]) {
    let text = head.strip_prefix(b"\xef\xbb\xbf").unwrap_or(head);
    if head.starts_with(DATABASE) {
        // A plain opening leaves files beside a database that was once written with a log.
        return (&["GPKG"], &["IMMUTABLE=YES"]);
    }
    if begins_like_json(head) {
        return (&["GeoJSON", "GeoJSONSeq"], &[]);
    }
    if text.trim_ascii_start().starts_with(b"<") {
        return if text.windows(4).any(|four| four == b"<kml")
            || text.windows(5).any(|five| five == b":kml ")
        {
            (&["LIBKML", "KML"], &[])
        } else {
            (&["GML"], &["WRITE_GFS=NO", "DOWNLOAD_SCHEMA=NO"])
        };
    }
    (
        &["ESRI Shapefile", "FlatGeobuf", "LIBKML", "MapInfo File"],
        &[],
    )
}

/// Whether a feature has a value in a column. Where a format leaves a missing number out, GDAL's plain answer is 0; as text it is empty.
pub(crate) fn is_set(feature: &Feature<'_>, column: usize) -> bool {
    feature
        .field_as_string(column)
        .ok()
        .flatten()
        .is_some_and(|text| !text.is_empty())
}

/// Whether a file is a database of `SQLite`.
pub(crate) fn is_database(path: &Path) -> bool {
    let mut head = Vec::new();
    let most = DATABASE.len() as u64;
    path.is_file()
        && fs_err::File::open(path)
            .and_then(|file| file.take(most).read_to_end(&mut head))
            .is_ok()
        && head == DATABASE
}

/// The log of a database beside it that holds what is not in it yet.
pub(crate) fn unfinished(path: &Path) -> Option<PathBuf> {
    ["-wal", "-journal"].into_iter().find_map(|end| {
        let mut name = path.as_os_str().to_owned();
        name.push(end);
        let log = PathBuf::from(name);
        fs_err::metadata(&log)
            .is_ok_and(|found| found.len() > 0)
            .then_some(log)
    })
}

/// Opens a vector file for reading, with what GDAL complained of on the way.
///
/// # Errors
/// [`OpenFault`].
pub(crate) fn open(path: &Path) -> Result<(Dataset, Vec<String>), OpenFault> {
    library::ready();
    let mut head = Vec::new();
    // A folder has no beginning; what cannot be read is told by the driver.
    if path.is_file() {
        let _ = fs_err::File::open(path).and_then(|file| file.take(HEAD).read_to_end(&mut head));
    }
    let (drivers, options) = drivers(&head);
    if drivers.contains(&"GeoJSON") {
        let text = fs_err::read(path).map_err(|error| OpenFault::Unreadable(error.to_string()))?;
        check(&text).map_err(|fault| match fault {
            JsonFault::Syntax(reason) => OpenFault::Unreadable(reason),
            JsonFault::System(stated) => OpenFault::System(stated),
        })?;
    }
    if drivers.contains(&"GPKG")
        && let Some(log) = unfinished(path)
    {
        return Err(OpenFault::Damaged(format!(
            "{} lies beside it and holds changes that are not in it yet: close the program that has it open",
            log.display()
        )));
    }
    if drivers.contains(&"GPKG") {
        views::check(path).map_err(OpenFault::Unreadable)?;
    }
    if drivers.iter().any(|driver| ["KML", "GML"].contains(driver)) {
        let text = fs_err::read(path).map_err(|error| OpenFault::Unreadable(error.to_string()))?;
        bounds::markup(&String::from_utf8_lossy(&text)).map_err(OpenFault::Unreadable)?;
    }
    sidecars::check(path).map_err(OpenFault::Unreadable)?;
    whole(path).map_err(OpenFault::Damaged)?;
    complaints::take();
    let dataset = Dataset::open_ex(
        path,
        DatasetOptions {
            open_flags: GdalOpenFlags::GDAL_OF_READONLY
                | GdalOpenFlags::GDAL_OF_VECTOR
                | GdalOpenFlags::GDAL_OF_VERBOSE_ERROR,
            allowed_drivers: Some(drivers),
            open_options: Some(options),
            sibling_files: None,
        },
    )
    .map_err(|error| OpenFault::Unreadable(error.to_string()))?;
    Ok((dataset, complaints::take()))
}
