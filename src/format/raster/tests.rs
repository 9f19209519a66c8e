//! Files of every kind that hide, scale or coarsen pixels, written here and read back.

use std::path::{Path, PathBuf};

use super::{MaskRule, MaskSpec, RasterFileError, RasterStack, Slot, facts};
use crate::space::raster::{RasterSource, Window};
use gdal::DriverManager;
use gdal::raster::{Buffer, ColorInterpretation, GdalType};
use gdal::spatial_ref::SpatialRef;

struct File {
    folder: tempfile::TempDir,
}

impl File {
    fn new() -> Self {
        Self {
            folder: tempfile::tempdir().unwrap(),
        }
    }
    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
    /// Writes bands of `size` × `size` pixels of `pixel` metres; `then` may add nodata, scale, masks.
    fn write<T: GdalType + Copy>(
        &self,
        name: &str,
        size: usize,
        pixel: f64,
        bands: &[Vec<T>],
        then: impl Fn(&mut gdal::Dataset),
    ) -> PathBuf {
        let path = self.path(name);
        let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
        let mut dataset = driver
            .create_with_band_type::<T, _>(&path, size, size, bands.len())
            .unwrap();
        dataset
            .set_spatial_ref(&SpatialRef::from_epsg(32_633).unwrap())
            .unwrap();
        dataset
            .set_geo_transform(&[500_000.0, pixel, 0.0, 5_400_000.0, 0.0, -pixel])
            .unwrap();
        then(&mut dataset);
        for (k, values) in bands.iter().enumerate() {
            let mut buffer = Buffer::new((size, size), values.clone());
            dataset
                .rasterband(k + 1)
                .unwrap()
                .write((0, 0), (size, size), &mut buffer)
                .unwrap();
        }
        dataset.close().unwrap();
        path
    }
}

fn slot(path: &Path, band: usize) -> Slot {
    let facts = facts(path, Path::new("")).unwrap();
    let fact = &facts.bands[band - 1];
    let (scale, offset) = (fact.scale.unwrap_or(1.0), fact.offset.unwrap_or(0.0));
    Slot {
        facts,
        band,
        scale,
        offset,
    }
}

fn all(stack: &RasterStack) -> Vec<Vec<f64>> {
    let lattice = stack.lattice().clone();
    let mut bands = vec![Vec::new(); stack.slots()];
    stack
        .reader()
        .unwrap()
        .read(
            Window {
                col: 0,
                row: 0,
                cols: lattice.cols,
                rows: lattice.rows,
            },
            &mut bands,
        )
        .unwrap();
    bands
}

/// NaN as `None`, so that rows can be compared.
fn shown(values: &[f64]) -> Vec<Option<f64>> {
    values.iter().map(|v| (!v.is_nan()).then_some(*v)).collect()
}

#[test]
fn nodata_scale_and_offset() {
    let file = File::new();
    let path = file.write::<u16>("a.tif", 2, 1.0, &[vec![0, 1000, 2000, 4000]], |dataset| {
        let mut band = dataset.rasterband(1).unwrap();
        band.set_no_data_value(Some(0.0)).unwrap();
        band.set_scale(0.5).unwrap();
        band.set_offset(-100.0).unwrap();
    });
    let stack = RasterStack::new(vec![slot(&path, 1)], None).unwrap();
    assert_eq!(
        shown(&all(&stack)[0]),
        [None, Some(400.0), Some(900.0), Some(1900.0)]
    );
}

#[test]
fn nan_and_a_nodata_that_32_bits_cannot_hold() {
    let file = File::new();
    let path = file.write::<f32>(
        "a.tif",
        2,
        1.0,
        &[vec![f32::NAN, 0.1, 0.5, f32::INFINITY]],
        |dataset| {
            dataset
                .rasterband(1)
                .unwrap()
                .set_no_data_value(Some(0.1))
                .unwrap();
        },
    );
    let stack = RasterStack::new(vec![slot(&path, 1)], None).unwrap();
    assert_eq!(shown(&all(&stack)[0]), [None, None, Some(0.5), None]);
}

#[test]
fn alpha_hides_and_is_no_measurement() {
    let file = File::new();
    let path = file.write::<u8>(
        "a.tif",
        2,
        1.0,
        &[vec![10, 20, 30, 40], vec![255, 0, 255, 0]],
        |dataset| {
            dataset
                .rasterband(2)
                .unwrap()
                .set_color_interpretation(ColorInterpretation::AlphaBand)
                .unwrap();
        },
    );
    let read = facts(&path, Path::new("")).unwrap();
    assert!(read.bands[1].alpha && !read.bands[0].masked && read.alphas().eq([2]));
    let stack = RasterStack::new(vec![slot(&path, 1)], None).unwrap();
    assert_eq!(shown(&all(&stack)[0]), [Some(10.0), None, Some(30.0), None]);
}

/// A file with any of nodata, alpha, and a mask inside or beside, each of which hides a pixel of its own.
fn hidden_by(
    count: usize,
    nodata: bool,
    alpha: bool,
    mask: Option<(&str, bool)>,
) -> Vec<Option<f64>> {
    let file = File::new();
    let mut bands = vec![vec![10_u16, 20, 30, 40, 50, 60, 70, 80, 90]; count];
    if alpha {
        bands.push(vec![
            65_535, 0, 1, 65_535, 65_535, 65_535, 65_535, 65_535, 65_535,
        ]);
    }
    let path = file.write::<u16>("a.tif", 3, 1.0, &bands, |dataset| {
        if alpha {
            dataset
                .rasterband(count + 1)
                .unwrap()
                .set_color_interpretation(ColorInterpretation::AlphaBand)
                .unwrap();
        }
        if nodata {
            (1..=count).for_each(|band| {
                dataset
                    .rasterband(band)
                    .unwrap()
                    .set_no_data_value(Some(40.0))
                    .unwrap();
            });
        }
    });
    if let Some((inside, shared)) = mask {
        gdal::config::set_thread_local_config_option("GDAL_TIFF_INTERNAL_MASK", inside).unwrap();
        let options = gdal::DatasetOptions {
            open_flags: gdal::GdalOpenFlags::GDAL_OF_UPDATE,
            ..Default::default()
        };
        let dataset = gdal::Dataset::open_ex(&path, options).unwrap();
        let values = vec![255_u8, 255, 255, 255, 0, 255, 255, 255, 255];
        {
            let mut band = dataset.rasterband(1).unwrap();
            band.create_mask_band(shared).unwrap();
            band.open_mask_band()
                .unwrap()
                .write((0, 0), (3, 3), &mut Buffer::new((3, 3), values))
                .unwrap();
        }
        dataset.close().unwrap();
        gdal::config::clear_thread_local_config_option("GDAL_TIFF_INTERNAL_MASK").unwrap();
        assert_eq!(file.path("a.tif.msk").exists(), inside == "NO");
    }
    shown(&all(&RasterStack::new(vec![slot(&path, 1)], None).unwrap())[0])
}

#[test]
fn nodata_alpha_and_masks_hide_together_whatever_the_number_of_bands() {
    // GDAL gives one mask a band, in an order of its own, and takes alpha for a mask with one or three other bands only.
    let pixels = [10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0];
    for count in 1..=6 {
        for nodata in [false, true] {
            for alpha in [false, true] {
                for mask in [
                    None,
                    Some(("YES", true)),
                    Some(("NO", true)),
                    Some(("NO", false)),
                ] {
                    let hides = |k: usize| {
                        (alpha && k == 1) || (nodata && k == 3) || (mask.is_some() && k == 4)
                    };
                    let expected: Vec<Option<f64>> = pixels
                        .iter()
                        .enumerate()
                        .map(|(k, value)| (!hides(k)).then_some(*value))
                        .collect();
                    assert_eq!(
                        hidden_by(count, nodata, alpha, mask),
                        expected,
                        "{count} bands, nodata {nodata}, alpha {alpha}, mask {mask:?}"
                    );
                }
            }
        }
    }
}

#[test]
fn a_mask_beside_the_file_hides() {
    let file = File::new();
    let path = file.write::<u8>("a.tif", 2, 1.0, &[vec![10, 20, 30, 40]], |_| {});
    let dataset = gdal::Dataset::open_ex(
        &path,
        gdal::DatasetOptions {
            open_flags: gdal::GdalOpenFlags::GDAL_OF_UPDATE,
            ..Default::default()
        },
    )
    .unwrap();
    {
        let mut band = dataset.rasterband(1).unwrap();
        band.create_mask_band(true).unwrap();
        let mut mask = band.open_mask_band().unwrap();
        mask.write(
            (0, 0),
            (2, 2),
            &mut Buffer::new((2, 2), vec![255_u8, 255, 0, 255]),
        )
        .unwrap();
    }
    dataset.close().unwrap();
    let stack = RasterStack::new(vec![slot(&path, 1)], None).unwrap();
    assert_eq!(
        shown(&all(&stack)[0]),
        [Some(10.0), Some(20.0), None, Some(40.0)]
    );
}

#[test]
fn a_coarser_band_is_read_at_the_parent_and_one_that_does_not_nest_is_refused() {
    let file = File::new();
    let fine = file.write::<u8>("fine.tif", 4, 10.0, &[(0..16).collect()], |_| {});
    let coarse = file.write::<u8>("coarse.tif", 2, 20.0, &[vec![1, 2, 3, 4]], |_| {});
    let stack = RasterStack::new(vec![slot(&fine, 1), slot(&coarse, 1)], None).unwrap();
    assert_eq!(stack.coarser(), vec![(coarse, 1, 2)]);
    assert_eq!(
        all(&stack)[1],
        [
            1.0, 1.0, 2.0, 2.0, 1.0, 1.0, 2.0, 2.0, 3.0, 3.0, 4.0, 4.0, 3.0, 3.0, 4.0, 4.0
        ]
    );
    let odd = file.write::<u8>("odd.tif", 2, 15.0, &[vec![1, 2, 3, 4]], |_| {});
    assert!(matches!(
        RasterStack::new(vec![slot(&fine, 1), slot(&odd, 1)], None),
        Err(RasterFileError::NoNesting { .. })
    ));
    assert!(matches!(
        RasterStack::new(
            vec![Slot {
                band: 2,
                ..slot(&fine, 1)
            }],
            None
        ),
        Err(RasterFileError::NoBand {
            band: 2,
            bands: 1,
            ..
        })
    ));
}

fn masked(file: &File, classes: Vec<u8>, rule: MaskRule, grow: f64) -> Vec<Option<f64>> {
    let image = file.write::<u8>("image.tif", 8, 10.0, &[vec![7; 64]], |_| {});
    let path = file.write::<u8>("classes.tif", 4, 20.0, &[classes], |_| {});
    let spec = MaskSpec {
        facts: facts(&path, Path::new("")).unwrap(),
        path,
        band: 1,
        rule,
        grow,
        and: Vec::new(),
    };
    shown(&all(&RasterStack::new(vec![slot(&image, 1)], Some(spec)).unwrap())[0])
}

#[test]
fn classes_are_kept_or_dropped_and_grown_between_centres() {
    let file = File::new();
    let mut classes = vec![4_u8; 16];
    classes[5] = 9;
    let seen = |pixels: &[Option<f64>]| pixels.iter().filter(|p| p.is_some()).count();
    // One class pixel of 20 m is four image pixels of 10 m.
    let plain = masked(&file, classes.clone(), MaskRule::Keep(vec![4, 5]), 0.0);
    assert_eq!(seen(&plain), 60);
    assert!(plain[2 * 8 + 2].is_none() && plain[2 * 8 + 4].is_some());
    // 20 m reaches the four neighbours, not the diagonals (28.3 m).
    assert_eq!(
        seen(&masked(
            &file,
            classes.clone(),
            MaskRule::Keep(vec![4, 5]),
            20.0
        )),
        64 - 5 * 4
    );
    assert_eq!(
        seen(&masked(&file, classes, MaskRule::Keep(vec![4, 5]), 29.0)),
        64 - 9 * 4
    );
}

#[test]
fn bits_of_which_none_may_be_set() {
    let file = File::new();
    let mut bits = vec![0b0100_0000_u8; 16];
    bits[0] = 0b0000_1000;
    bits[15] = 0b0001_0000;
    let seen = masked(&file, bits, MaskRule::Bits(vec![3, 4]), 0.0);
    assert!(seen[0].is_none() && seen[63].is_none());
    assert_eq!(seen.iter().filter(|p| p.is_none()).count(), 8);
}

#[test]
fn what_is_refused_before_any_pixel() {
    let file = File::new();
    assert!(matches!(
        facts(&file.path("none.tif"), Path::new("")),
        Err(RasterFileError::Missing { .. })
    ));
    fs_err::write(file.path("text.tif"), "no raster").unwrap();
    assert!(matches!(
        facts(&file.path("text.tif"), Path::new("")),
        Err(RasterFileError::Unreadable { .. })
    ));
    let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
    driver
        .create_with_band_type::<u8, _>(file.path("bare.tif"), 2, 2, 1)
        .unwrap()
        .close()
        .unwrap();
    assert!(matches!(
        facts(&file.path("bare.tif"), Path::new("")),
        Err(RasterFileError::NoGeoreference { .. })
    ));
    // Tie points say where three pixels lie, and between them somebody has to guess.
    file.write::<u8>("tied.tif", 2, 1.0, &[vec![1, 2, 3, 4]], |_| {});
    let tie = |pixel: u8, line: u8| {
        format!(
            "<GCP Pixel=\"{pixel}\" Line=\"{line}\" X=\"{}\" Y=\"{}\"/>",
            500_000 + u32::from(pixel),
            5_400_000 - u32::from(line)
        )
    };
    let tied = format!(
        "<VRTDataset rasterXSize=\"2\" rasterYSize=\"2\"><GCPList Projection=\"EPSG:32633\">{}{}{}</GCPList><VRTRasterBand dataType=\"Byte\" band=\"1\"><SimpleSource><SourceFilename relativeToVRT=\"1\">tied.tif</SourceFilename><SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>",
        tie(0, 0),
        tie(2, 0),
        tie(0, 2)
    );
    fs_err::write(file.path("tied.vrt"), tied).unwrap();
    assert!(matches!(
        facts(&file.path("tied.vrt"), Path::new("/")),
        Err(RasterFileError::NoGeoreference { .. })
    ));
    let inside = file.write::<u8>("inside.tif", 2, 1.0, &[vec![1, 2, 3, 4]], |_| {});
    let away = tempfile::tempdir().unwrap();
    let vrt = away.path().join("a.vrt");
    let text = format!(
        "<VRTDataset rasterXSize=\"2\" rasterYSize=\"2\"><SRS>EPSG:32633</SRS><GeoTransform>500000,1,0,5400000,0,-1</GeoTransform><VRTRasterBand dataType=\"Byte\" band=\"1\"><SimpleSource><SourceFilename relativeToVRT=\"0\">{}</SourceFilename><SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>",
        inside.display()
    );
    fs_err::write(&vrt, text).unwrap();
    assert!(matches!(
        facts(&vrt, away.path()),
        Err(RasterFileError::Outside { .. })
    ));
    assert!(facts(&vrt, Path::new("/")).is_ok());
}

#[test]
fn the_day_of_taking_is_read_where_it_is_stated() {
    use gdal::Metadata;
    let file = File::new();
    let path = file.write::<u8>("a.tif", 2, 1.0, &[vec![1, 2, 3, 4]], |dataset| {
        dataset
            .set_metadata_item("ACQUISITIONDATETIME", "2026-04-10 10:21:00", "IMAGERY")
            .unwrap();
    });
    assert_eq!(
        facts(&path, Path::new("")).unwrap().acquired,
        Some(jiff::civil::date(2026, 4, 10))
    );
    let silent = file.write::<u8>("b.tif", 2, 1.0, &[vec![1, 2, 3, 4]], |_| {});
    assert_eq!(facts(&silent, Path::new("")).unwrap().acquired, None);
}
