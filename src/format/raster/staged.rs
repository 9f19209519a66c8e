//! JPEG 2000 is slow to decode and its blocks are large: an image that many fields share is decoded once as a whole and kept for the run as a tiled file.
//!
//! No number changes: the copy is packed without loss, and its facts (nodata, scale, masks) are the original's.

use std::fs::Permissions;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use gdal::raster::{GdalDataType, GdalType, RasterCreationOptions};
use gdal::{Dataset, DriverManager};

use super::open::open;

/// Side of a tile. (pixels)
const TILE: usize = 512;

/// The driver whose images are staged.
pub(super) const DRIVER: &str = "JP2OpenJPEG";

/// Makes the copy of an image, whole or not at all, unless it is there.
pub(super) fn stage(path: &Path, copy: &Path) -> Result<(), String> {
    if copy.is_file() {
        return Ok(());
    }
    let folder = copy.parent().unwrap_or_else(|| Path::new("."));
    fs_err::create_dir_all(folder).map_err(|error| error.to_string())?;
    // Machines that share the folder may have equal process numbers.
    let made = tempfile::Builder::new()
        .prefix(".staged-")
        .suffix(".tif")
        // As of any file of the output: others who work on the farm read it too.
        .permissions(Permissions::from_mode(0o666))
        .tempfile_in(folder)
        .map_err(|error| error.to_string())?
        .into_temp_path();
    copied(path, &made.to_path_buf())?;
    made.persist(copy).map_err(|error| error.to_string())
}

fn copied(path: &Path, to: &PathBuf) -> Result<(), String> {
    let source = open(path).map_err(|error| error.to_string())?;
    let kind = source
        .rasterband(1)
        .map_err(|error| error.to_string())?
        .band_type();
    match kind {
        GdalDataType::UInt8 => copied_as::<u8>(&source, to),
        GdalDataType::UInt16 => copied_as::<u16>(&source, to),
        GdalDataType::Int16 => copied_as::<i16>(&source, to),
        other => Err(format!("{other} is no type of JPEG 2000 that is staged")),
    }
}

fn copied_as<T: Copy + GdalType>(source: &Dataset, to: &PathBuf) -> Result<(), String> {
    let notice = |error: gdal::errors::GdalError| error.to_string();
    let (cols, rows) = source.raster_size();
    let options = RasterCreationOptions::from_iter([
        "TILED=YES".to_owned(),
        format!("BLOCKXSIZE={TILE}"),
        format!("BLOCKYSIZE={TILE}"),
        "COMPRESS=ZSTD".to_owned(),
        "ZSTD_LEVEL=1".to_owned(),
        "PREDICTOR=2".to_owned(),
        "INTERLEAVE=BAND".to_owned(),
        "BIGTIFF=IF_SAFER".to_owned(),
    ]);
    let target = DriverManager::get_driver_by_name("GTiff")
        .map_err(notice)?
        .create_with_band_type_with_options::<T, _>(to, cols, rows, source.raster_count(), &options)
        .map_err(notice)?;
    // Whole rows of the original's own blocks, so that each is decoded once.
    let own = source.rasterband(1).map_err(notice)?.block_size();
    let high = own.1.clamp(TILE, 4 * TILE);
    for band in 1..=source.raster_count() {
        let from = source.rasterband(band).map_err(notice)?;
        let mut into = target.rasterband(band).map_err(notice)?;
        for top in (0..rows).step_by(high) {
            let size = (cols, high.min(rows - top));
            let mut values = from
                .read_as::<T>((0, top as isize), size, size, None)
                .map_err(notice)?;
            into.write((0, top as isize), size, &mut values)
                .map_err(notice)?;
        }
    }
    target.close().map_err(notice)
}

#[cfg(test)]
mod tests {
    use super::*;
    use gdal::raster::Buffer;

    #[test]
    fn a_copy_holds_the_same_numbers() {
        let folder = tempfile::tempdir().unwrap();
        let (plain, packed) = (folder.path().join("a.tif"), folder.path().join("a.jp2"));
        let dataset = DriverManager::get_driver_by_name("GTiff")
            .unwrap()
            .create_with_band_type::<u16, _>(&plain, 700, 600, 1)
            .unwrap();
        let values: Vec<u16> = (0..700 * 600_u32)
            .map(|k| (k.wrapping_mul(2_654_435_761) >> 17) as u16)
            .collect();
        dataset
            .rasterband(1)
            .unwrap()
            .write(
                (0, 0),
                (700, 600),
                &mut Buffer::new((700, 600), values.clone()),
            )
            .unwrap();
        dataset
            .create_copy(
                &DriverManager::get_driver_by_name(DRIVER).unwrap(),
                &packed,
                &RasterCreationOptions::from_iter(
                    ["REVERSIBLE=YES", "QUALITY=100"].map(str::to_owned),
                ),
            )
            .unwrap()
            .close()
            .unwrap();
        let copy = folder.path().join("staged/b.tif");
        stage(&packed, &copy).unwrap();
        let read = Dataset::open(&copy).unwrap();
        let band = read.rasterband(1).unwrap();
        assert_eq!(band.block_size(), (512, 512));
        let found = band
            .read_as::<u16>((0, 0), (700, 600), (700, 600), None)
            .unwrap();
        assert_eq!(found.data(), values);
        assert_eq!(
            fs_err::read_dir(copy.parent().unwrap()).unwrap().count(),
            1,
            "nothing else is left"
        );
    }
}
