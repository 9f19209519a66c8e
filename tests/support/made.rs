//! A made square of ground for benches: one seeded piece at any pixel size, as an image with its boundary, strip and job.

use std::path::{Path, PathBuf};

use gdal::raster::{Buffer, RasterCreationOptions};
use gdal::spatial_ref::SpatialRef;
use gdal::{DriverManager, Metadata};

/// Side of the image's tiles. (pixels)
pub(crate) const TILE: usize = 512;
/// Side of the square of ground. \[m\]
pub(crate) const GROUND: f64 = 620.0;
/// Least easting and greatest northing. \[m\]
const CORNER: (f64, f64) = (500_000.0, 5_400_620.0);

/// A number in 0 … 1 out of a place, the same on every machine.
fn noise(col: usize, row: usize, seed: u64) -> f64 {
    let mut x = (col as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15)
        ^ (row as u64).wrapping_mul(0xC2B2_AE3D_27D4_EB4F)
        ^ seed;
    x = (x ^ (x >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x = (x ^ (x >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    (x ^ (x >> 31)) as f64 / u64::MAX as f64
}

/// Three bands of a seeded piece of ground with pixels of `pixel` \[m\].
pub(crate) fn image(folder: &Path, pixel: f64) -> PathBuf {
    let path = folder.join(format!("{pixel}.tif"));
    let side = (GROUND / pixel) as usize;
    let size = format!("{TILE}");
    let options = RasterCreationOptions::from_iter(
        [
            "TILED=YES",
            "COMPRESS=DEFLATE",
            "PREDICTOR=3",
            "INTERLEAVE=PIXEL",
            &format!("BLOCKXSIZE={size}"),
            &format!("BLOCKYSIZE={size}"),
        ]
        .map(str::to_owned),
    );
    let driver = DriverManager::get_driver_by_name("GTiff").expect("GDAL's own TIFF");
    let mut dataset = driver
        .create_with_band_type_with_options::<f32, _>(&path, side, side, 3, &options)
        .expect("a new file");
    dataset
        .set_geo_transform(&[CORNER.0, pixel, 0.0, CORNER.1, 0.0, -pixel])
        .expect("a place");
    dataset
        .set_spatial_ref(&SpatialRef::from_epsg(32_633).expect("a system"))
        .expect("a system");
    let red = |x: f64, y: f64, col: usize, row: usize| {
        // A smooth field with a strip of the best crop down its middle.
        let smooth = 0.5 + 0.25 * libm::sin(x / 70.0) * libm::cos(y / 90.0);
        let rich = (x - GROUND / 2.0).abs() < 18.0;
        let ndvi =
            (if rich { 0.8 } else { 0.55 + 0.2 * smooth }) + 0.02 * (noise(col, row, 7) - 0.5);
        0.45 * (1.0 - ndvi) / (1.0 + ndvi)
    };
    for (k, name) in ["green", "red", "nir"].iter().enumerate() {
        let mut band = dataset.rasterband(k + 1).expect("a band");
        band.set_description(name).expect("a name");
        for row0 in (0..side).step_by(TILE) {
            let rows = TILE.min(side - row0);
            let mut values = Vec::with_capacity(rows * side);
            for row in row0..row0 + rows {
                for col in 0..side {
                    let (x, y) = ((col as f64 + 0.5) * pixel, (row as f64 + 0.5) * pixel);
                    values.push(match k {
                        0 => 0.08 + 0.01 * noise(col, row, 3),
                        1 => red(x, y, col, row),
                        _ => 0.45 + 0.01 * (noise(col, row, 5) - 0.5),
                    } as f32);
                }
            }
            band.write(
                (0, row0 as isize),
                (side, rows),
                &mut Buffer::new((side, rows), values),
            )
            .expect("rows");
        }
    }
    dataset.close().expect("a finished file");
    path
}

fn polygon(x0: f64, y0: f64, x1: f64, y1: f64) -> String {
    let at = |x: f64, y: f64| format!("[{},{}]", CORNER.0 + x, CORNER.1 - GROUND + y);
    let ring = [at(x0, y0), at(x1, y0), at(x1, y1), at(x0, y1), at(x0, y0)].join(",");
    format!(
        "{{\"type\":\"FeatureCollection\",\"crs\":{{\"type\":\"name\",\"properties\":{{\"name\":\"EPSG:32633\"}}}},\"features\":[{{\"type\":\"Feature\",\"properties\":{{}},\"geometry\":{{\"type\":\"Polygon\",\"coordinates\":[[{ring}]]}}}}]}}"
    )
}

/// Boundary and strip of it.
pub(crate) fn vectors(folder: &Path) -> (PathBuf, PathBuf) {
    let (boundary, strips) = (
        folder.join("boundary.geojson"),
        folder.join("strips.geojson"),
    );
    fs_err::write(&boundary, polygon(10.0, 10.0, GROUND - 10.0, GROUND - 10.0))
        .expect("the boundary");
    fs_err::write(
        &strips,
        polygon(
            GROUND / 2.0 - 18.0,
            100.0,
            GROUND / 2.0 + 18.0,
            GROUND - 100.0,
        ),
    )
    .expect("the strip");
    (boundary, strips)
}

/// A job with square cells of `cell` \[m\]; `more` is put at its end.
pub(crate) fn job(
    folder: &Path,
    image: &Path,
    (boundary, strips): &(PathBuf, PathBuf),
    cell: f64,
    more: &str,
) -> PathBuf {
    let path = folder.join(format!("job_{cell}.toml"));
    let name = |path: &Path| {
        path.file_name()
            .map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_default()
    };
    let text = format!(
        "[field]\nname = \"Bench\"\nboundary = \"{}\"\n[imagery]\npath = \"{}\"\ndate = 2026-04-14\nindex = \"NDVI\"\n[reference]\nstrips = \"{}\"\n\
         [season]\ncrop = \"winter wheat\"\ngrowing_days = 95\n[response]\nmethod = \"yield response\"\nmaximum_yield = \"8 t/ha\"\n\
         yield_curve = {{ a = \"600 kg/ha\", b = 250.0, index = \"NDVI\", source = \"bench\" }}\n[rate]\nminimum = \"0 kg N/ha\"\nmaximum = \"150 kg N/ha\"\nstep = \"5 kg N/ha\"\n\
         [machine]\nworking_width = \"{cell} m\"\ncell_length = \"{cell} m\"\nheading = \"auto\"\n[zones]\nminimum_area = \"{} m2\"\n[output]\nfolder = \"out_{cell}\"\n{more}",
        name(boundary),
        name(image),
        name(strips),
        10.0 * cell * cell
    );
    fs_err::write(&path, text).expect("the job");
    path
}
