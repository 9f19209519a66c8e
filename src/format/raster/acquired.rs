//! The day on which an image was taken, where the file says so.

use std::path::Path;

use gdal::Metadata;
use jiff::civil::Date;

use super::error::RasterFileError;
use super::open::open;

/// The day of `ACQUISITIONDATETIME` in the metadata domain `IMAGERY`, which GDAL defines as the time of taking.
///
/// The date of a TIFF tag is left alone: by the TIFF standard it says when the file was made, and mosaics are made days after the flight.
///
/// # Errors
/// When the file cannot be opened.
pub fn acquired(path: &Path) -> Result<Option<Date>, RasterFileError> {
    let dataset = open(path)?;
    let text = dataset.metadata_item("ACQUISITIONDATETIME", "IMAGERY");
    Ok(text.and_then(|text| text.get(..10).and_then(|day| day.parse().ok())))
}
