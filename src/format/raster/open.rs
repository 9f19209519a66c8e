//! Opening a raster and saying what is in it, before any pixel is read.

use std::path::{Path, PathBuf};

use gdal::raster::ColorInterpretation;
use gdal::{Dataset, DatasetOptions, GdalOpenFlags, Metadata};

use super::error::RasterFileError;
use super::raw::raw_is_whole;
use super::sources::{files_behind, in_archive};
use crate::format::sidecars::system_of_header;
use crate::format::systems::{system_named, system_of};
use crate::format::vector::{is_database, unfinished, views};
use crate::format::{complaints, library};
use crate::space::raster::{Affine, Lattice};
use jiff::civil::Date;

/// What a file says of one band.
#[derive(Clone, Debug, PartialEq)]
pub struct BandFacts {
    /// Its description; empty when there is none.
    pub description: String,
    /// Its pixel type.
    pub kind: String,
    /// Its nodata value.
    pub nodata: Option<f64>,
    /// Its own scale.
    pub scale: Option<f64>,
    /// Its own offset.
    pub offset: Option<f64>,
    /// Least and greatest stored number that is a measurement, where a product says so.
    pub valid: Option<(f64, f64)>,
    /// The colour that the file says it shows: red, green or blue.
    pub colour: Option<&'static str>,
    /// Whether it is an alpha band.
    pub alpha: bool,
    /// Whether its numbers stand for colours of a palette.
    pub palette: bool,
    /// Whether a mask inside or beside the file hides pixels; an alpha band is none of them.
    pub masked: bool,
}

/// What a file says of itself.
#[derive(Clone, Debug, PartialEq)]
pub struct RasterFacts {
    /// The file.
    pub path: PathBuf,
    /// Its driver.
    pub driver: String,
    /// Its lattice.
    pub lattice: Lattice,
    /// The day on which it was taken, if the file says so.
    pub acquired: Option<Date>,
    /// Its bands, in order.
    pub bands: Vec<BandFacts>,
    /// Whether its numbers were stored with loss, as pictures are.
    pub lossy: bool,
    /// Whether it is a virtual raster that makes other pixels out of its sources'.
    pub resampled: bool,
    /// Other files on disk that it is read from: sources of a virtual raster, and files beside them that change what is read.
    pub beside: Vec<PathBuf>,
}

impl RasterFacts {
    /// Numbers of the alpha bands, from 1. GDAL itself takes the last of two or four bands for one only, and mosaics have more.
    pub fn alphas(&self) -> impl Iterator<Item = usize> + '_ {
        self.bands
            .iter()
            .enumerate()
            .filter(|(_, band)| band.alpha)
            .map(|(k, _)| k + 1)
    }
}

/// Opens a raster for reading.
pub(super) fn open(path: &Path) -> Result<Dataset, RasterFileError> {
    let unreadable = |reason: String| RasterFileError::Unreadable {
        path: path.to_owned(),
        reason,
    };
    library::ready();
    let database = is_database(path);
    if database && let Some(log) = unfinished(path) {
        return Err(unreadable(format!(
            "{} lies beside it and holds changes that are not in it yet: close the program that has it open",
            log.display()
        )));
    }
    if database {
        views::check(path).map_err(unreadable)?;
    }
    complaints::take();
    // A virtual raster in an archive could lead anywhere unseen.
    let drivers: Vec<&str> = library::RASTER_DRIVERS
        .into_iter()
        .filter(|driver| !(in_archive(path) && *driver == "VRT"))
        .collect();
    let options = DatasetOptions {
        open_flags: GdalOpenFlags::GDAL_OF_READONLY
            | GdalOpenFlags::GDAL_OF_RASTER
            | GdalOpenFlags::GDAL_OF_VERBOSE_ERROR,
        allowed_drivers: Some(if database { &["GPKG"] } else { &drivers }),
        // A plain opening leaves files beside a database that was once written with a log.
        open_options: Some(if database { &["IMMUTABLE=YES"] } else { &[] }),
        sibling_files: None,
    };
    let dataset = Dataset::open_ex(path, options).map_err(|error| unreadable(error.to_string()))?;
    if let Some(reason) = complaints::take().into_iter().next() {
        return Err(unreadable(format!("not all of it can be read: {reason}")));
    }
    // Reduced copies of a file's own choice: GDAL opens them by any driver, wherever they lie.
    match dataset.metadata_item("OVERVIEW_FILE", "OVERVIEWS") {
        Some(named) => Err(unreadable(format!(
            "its metadata name a file of reduced copies, {named:?}, which is not read"
        ))),
        None => Ok(dataset),
    }
}

/// Pixels that one byte of a file may stand for: no packing of measured numbers does better.
const PIXELS_PER_BYTE: u64 = 2_000;
/// Rasters below this are read in a few seconds, whatever they hold. (pixels)
const FEW_PIXELS: u64 = 2_000_000_000;

/// Refuses a raster that states far more pixels than its bytes can stand for: reading what is not there takes as long as if it were.
fn length_can_hold(
    path: &Path,
    driver: &str,
    (cols, rows): (usize, usize),
    bands: usize,
) -> Result<(), RasterFileError> {
    let pixels = cols as u64 * rows as u64;
    let bytes = fs_err::metadata(path).map_or(u64::MAX, |found| found.len());
    let stated = pixels.saturating_mul(bands as u64);
    if driver == "VRT" || pixels <= FEW_PIXELS || stated / PIXELS_PER_BYTE <= bytes {
        return Ok(());
    }
    Err(RasterFileError::Unreadable {
        path: path.to_owned(),
        reason: format!(
            "it states {cols} × {rows} pixels and {bands} band(s), and has {bytes} bytes: cut out the part that shows the field"
        ),
    })
}

/// What a raster says of itself. `jail`: a virtual raster's sources must lie below this folder.
///
/// # Errors
/// [`RasterFileError`]: missing, unreadable, without georeference or reference system, reaching outside.
pub fn facts(path: &Path, jail: &Path) -> Result<RasterFacts, RasterFileError> {
    let virtual_path = path.to_string_lossy().starts_with("/vsi");
    if !virtual_path && !path.exists() {
        return Err(RasterFileError::Missing {
            path: path.to_owned(),
        });
    }
    // Before it is opened: opening a virtual raster may open what is behind it.
    let behind = files_behind(path, jail)?;
    let dataset = open(path)?;
    let driver = dataset.driver().short_name();
    raw_is_whole(path, &dataset)?;
    let transform = dataset
        .geo_transform()
        .map_err(|_unset| RasterFileError::NoGeoreference {
            path: path.to_owned(),
        })?;
    let affine = Affine(transform);
    let unset = transform == [0.0, 1.0, 0.0, 0.0, 0.0, 1.0];
    if unset || !affine.determinant().is_normal() {
        return Err(RasterFileError::NoGeoreference {
            path: path.to_owned(),
        });
    }
    let crs = dataset
        .spatial_ref()
        .ok()
        .and_then(|system| system_of(&system))
        .or_else(|| {
            // Not every build of the library reads what it wrote itself.
            let code = (driver == "ERS")
                .then(|| system_of_header(path))
                .flatten()?;
            system_named(&format!("EPSG:{code}")).ok()
        })
        .ok_or_else(|| RasterFileError::NoSystem {
            path: path.to_owned(),
        })?;
    let unreadable = |error: gdal::errors::GdalError| RasterFileError::Unreadable {
        path: path.to_owned(),
        reason: error.to_string(),
    };
    let mut bands = Vec::new();
    let mut block = (256, 256);
    for (k, band) in dataset.rasterbands().enumerate() {
        let band = band.map_err(unreadable)?;
        if k == 0 {
            block = band.block_size();
        }
        let flags = band.mask_flags().map_err(unreadable)?;
        let colour = band.color_interpretation();
        // Nodata and alpha are looked at by ourselves: where GDAL knows one mask, a file may have three.
        let masked = !flags.is_all_valid()
            && !flags.is_alpha()
            && (flags.is_per_dataset() || !flags.is_nodata());
        bands.push(BandFacts {
            description: band.description().unwrap_or_default(),
            kind: band.band_type().to_string(),
            nodata: band.no_data_value(),
            scale: band.scale(),
            offset: band.offset(),
            valid: None,
            colour: match colour {
                ColorInterpretation::RedBand => Some("red"),
                ColorInterpretation::GreenBand => Some("green"),
                ColorInterpretation::BlueBand => Some("blue"),
                _ => None,
            },
            alpha: colour == ColorInterpretation::AlphaBand,
            palette: colour == ColorInterpretation::PaletteIndex,
            masked,
        });
    }
    let (cols, rows) = dataset.raster_size();
    length_can_hold(path, &driver, (cols, rows), bands.len())?;
    let lattice = Lattice {
        cols: cols as i64,
        rows: rows as i64,
        affine,
        crs,
        block: (block.0 as i64, block.1 as i64),
    };
    // Not the date of a TIFF tag: by the TIFF standard that says when the file was made, and mosaics are made days after the flight.
    let acquired = dataset
        .metadata_item("ACQUISITIONDATETIME", "IMAGERY")
        .and_then(|text| text.get(..10).and_then(|day| day.parse().ok()));
    let structure = |key: &str| {
        dataset
            .metadata_item(key, "IMAGE_STRUCTURE")
            .unwrap_or_default()
    };
    // JPEG 2000 of satellite products is left out: that is how they are.
    let lossy = driver != "JP2OpenJPEG"
        && (structure("COMPRESSION").contains("JPEG")
            || structure("COMPRESSION_REVERSIBILITY") == "LOSSY");
    Ok(RasterFacts {
        path: path.to_owned(),
        driver,
        lattice,
        acquired,
        bands,
        lossy,
        resampled: behind.resampled,
        beside: behind.files,
    })
}
