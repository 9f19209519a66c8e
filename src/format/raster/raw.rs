//! Whether raw numbers with a header are all there: what lies behind the end of a file would be read as 0.

use std::path::{Path, PathBuf};

use gdal::raster::GdalDataType;
use gdal::{Dataset, Metadata};

use super::error::RasterFileError;
use super::sources::in_archive;

/// Refuses a raw file that is shorter than its header says.
pub(super) fn raw_is_whole(path: &Path, dataset: &Dataset) -> Result<(), RasterFileError> {
    let file = match dataset.driver().short_name().as_str() {
        "ENVI" => path.to_owned(),
        // The header is given; the numbers lie beside it without an end.
        "ERS" => path.with_extension(""),
        _ => return Ok(()),
    };
    if in_archive(path) || is_packed(dataset) {
        return Ok(());
    }
    let (cols, rows) = dataset.raster_size();
    let mut due = header_bytes(dataset);
    for band in dataset.rasterbands().filter_map(Result::ok) {
        due += (cols as u64) * (rows as u64) * bytes_of(band.band_type());
    }
    let Ok(found) = fs_err::metadata(&file) else {
        return Ok(());
    };
    if found.len() < due {
        return Err(RasterFileError::Unreadable {
            path: PathBuf::from(path),
            reason: format!(
                "it is cut off: {} has {} bytes, and by its header {due} are due",
                file.display(),
                found.len()
            ),
        });
    }
    Ok(())
}

fn is_packed(dataset: &Dataset) -> bool {
    dataset
        .metadata_item("file_compression", "ENVI")
        .is_some_and(|wording| wording.trim() != "0")
}

fn header_bytes(dataset: &Dataset) -> u64 {
    dataset
        .metadata_item("header_offset", "ENVI")
        .and_then(|wording| wording.trim().parse().ok())
        .unwrap_or(0)
}

/// Bytes of one number; types that GDAL's Rust interface has no name for count as one byte, so that no sound file is refused.
fn bytes_of(kind: GdalDataType) -> u64 {
    match kind {
        GdalDataType::UInt16 | GdalDataType::Int16 => 2,
        GdalDataType::UInt32 | GdalDataType::Int32 | GdalDataType::Float32 => 4,
        GdalDataType::Float64 => 8,
        _ => 1,
    }
}
