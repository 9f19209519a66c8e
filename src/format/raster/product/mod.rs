//! Products of the public satellite programmes, as they are handed out: a folder or an archive of many files, understood as one image.
//!
//! What a product knows of itself (bands by name, scale and offset, its own cloud mask, its day) is taken from it, never guessed from a date.

mod container;
mod error;
mod landsat;
mod mtl;
mod sentinel2;

pub use container::{Container, into_archive, out_of_archive};
pub use error::ProductError;

use std::path::{Path, PathBuf};

use super::mask::MaskRule;
use jiff::civil::Date;

/// One band of a product.
#[derive(Clone, Debug, PartialEq)]
pub struct ProductBand {
    /// Canonical name, such as `red_edge`; a band without one has the product's own name in lower case.
    pub band: String,
    /// Its file.
    pub path: PathBuf,
    /// Reflectance = stored × scale + offset.
    pub scale: f64,
    /// Reflectance = stored × scale + offset; the reason when the product does not say.
    pub offset: Result<f64, String>,
}

/// A mask of a product.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ProductMask {
    /// Its file.
    pub path: PathBuf,
    /// Which of its values are usable.
    pub rule: MaskRule,
    /// How far unusable pixels are grown, between pixel centres. \[m\]
    pub grow_m: u32,
}

/// A product.
#[derive(Clone, Debug)]
pub struct Product {
    /// What kind of product, for people.
    pub kind: &'static str,
    /// Its name.
    pub name: String,
    /// The day on which it was taken.
    pub acquired: Option<Date>,
    /// Its bands, the finest file of each.
    pub bands: Vec<ProductBand>,
    /// Its own masks; a pixel must be usable by each of them.
    pub masks: Vec<ProductMask>,
    /// The number that stands for no data in its bands.
    pub nodata: f64,
    /// Least and greatest stored number of its bands that is a measurement.
    pub valid: (f64, f64),
    /// What else was read of it: the archive, or metadata.
    pub read: Vec<PathBuf>,
    /// What people should know of it.
    pub note: String,
    /// What its own masks do, in words.
    pub mask_note: String,
    /// Canonical name of a band, and what should give pause when it is used.
    pub cautions: Vec<(String, String)>,
}

/// What a path to an image leads to.
#[derive(Clone, Debug)]
pub enum Found {
    /// A raster file, by the name under which GDAL opens it.
    Raster(PathBuf),
    /// A product.
    Product(Box<Product>),
}

/// Finds out what a path leads to: a file, a product in a folder or an archive, or an archive with one raster in it.
///
/// # Errors
/// [`ProductError`]: a folder or archive that is neither, or a product that cannot be used.
pub fn find(path: &Path) -> Result<Found, ProductError> {
    let path = into_archive(path);
    let Some(container) = Container::open(&path)? else {
        return Ok(Found::Raster(path));
    };
    if let Some(product) = sentinel2::recognise(&container)? {
        return Ok(Found::Product(Box::new(product)));
    }
    if let Some(product) = landsat::recognise(&container)? {
        return Ok(Found::Product(Box::new(product)));
    }
    if container.is_archive() {
        let is_raster = |entry: &&String| {
            [".tif", ".tiff", ".jp2", ".img"]
                .iter()
                .any(|end| entry.to_lowercase().ends_with(end))
        };
        let rasters: Vec<&String> = container.entries().iter().filter(is_raster).collect();
        match rasters.as_slice() {
            [one] => return Ok(Found::Raster(container.inside(one))),
            [] => {}
            many => {
                return Err(ProductError::Several {
                    path,
                    found: shortened(many.iter().map(|name| name.as_str())),
                });
            }
        }
    }
    let found = shortened(container.entries().iter().map(String::as_str));
    Err(ProductError::Unknown { path, found })
}

/// What to write when a single file of a product is given, whose offset its own bytes do not say; `None` for any other file.
pub fn lone_file(path: &Path) -> Option<&'static str> {
    let name = path.file_name()?.to_str()?;
    if sentinel2::band_of(name).is_some_and(|(band, _)| band != "SCL")
        && name.starts_with(['T', 'L', 'S'])
    {
        return Some(
            "give the product's folder or zip as path; or, for bands alone, scale = 0.0001 and offset = -0.1 (processing baseline 04.00 or later) or offset = 0 (earlier)",
        );
    }
    landsat::is_band(name).then_some("give the product's folder or tar as path; or, for bands alone, scale = 0.0000275 and offset = -0.2 (Collection 2)")
}

/// The first names of a list.
fn shortened<'a>(names: impl Iterator<Item = &'a str>) -> String {
    let all: Vec<&str> = names.collect();
    match all.len() {
        0 => "it is empty".to_owned(),
        1..=4 => all.join(", "),
        more => format!("{}, and {} more", all[..3].join(", "), more - 3),
    }
}

/// Folder and file name of an entry.
fn file_name(entry: &str) -> &str {
    entry.rsplit('/').next().unwrap_or(entry)
}

/// `20260414` as a day.
fn day(text: &str) -> Option<Date> {
    let number =
        |range: std::ops::Range<usize>| text.get(range).and_then(|part| part.parse::<i16>().ok());
    let (month, day) = (
        i8::try_from(number(4..6)?).ok()?,
        i8::try_from(number(6..8)?).ok()?,
    );
    Date::new(number(0..4)?, month, day).ok()
}

#[cfg(test)]
mod tests;
