//! Tiles of the image on the page: what GDAL reads at the same place of the plane.

use axum::http::HeaderMap;
use gdal::{Dataset, Metadata as _};

use crate::page::{Browser, demo};

/// Reflectance of red and near infrared of the demo's mosaic, with its affine transform; read by GDAL.
struct Mosaic {
    transform: [f64; 6],
    size: (usize, usize),
    red: Vec<f64>,
    nir: Vec<f64>,
    nodata: Option<f64>,
}

impl Mosaic {
    fn open(path: &std::path::Path) -> Self {
        let file = Dataset::open(path).unwrap();
        let size = file.raster_size();
        let band = |name: &str| {
            (1..=file.raster_count())
                .map(|k| file.rasterband(k).unwrap())
                .find(|band| band.description().unwrap() == name)
                .unwrap()
        };
        let read = |name: &str| {
            let values = band(name).read_as::<f64>((0, 0), size, size, None).unwrap();
            values.data().to_vec()
        };
        Self {
            transform: file.geo_transform().unwrap(),
            size,
            red: read("red"),
            nir: read("nir"),
            nodata: band("red").no_data_value(),
        }
    }
    /// NDVI of the pixel that a place lies in. Scale and offset of this file fall out of the ratio or are none.
    fn ndvi(&self, x: f64, y: f64) -> Option<f64> {
        let t = self.transform;
        assert!(t[2] == 0.0 && t[4] == 0.0, "the demo's mosaic is upright");
        let (col, row) = ((x - t[0]) / t[1], (y - t[3]) / t[5]);
        if col < 0.0 || row < 0.0 {
            return None;
        }
        let (col, row) = (col as usize, row as usize);
        (col < self.size.0 && row < self.size.1).then_some(())?;
        let at = row * self.size.0 + col;
        let (red, nir) = (self.red[at], self.nir[at]);
        (Some(red) != self.nodata && Some(nir) != self.nodata && red + nir > 0.0)
            .then(|| (nir - red) / (nir + red))
    }
}

fn number(headers: &HeaderMap, name: &str) -> f64 {
    headers[name].to_str().unwrap().parse().unwrap()
}

#[test]
fn the_finest_tiles_of_the_index_hold_the_images_own_pixels() {
    let (_folder, job) = demo();
    let mosaic = Mosaic::open(&job.with_file_name("field").join("mosaic.tif"));
    let browser = Browser::open(&job, false);
    browser.get("/api/v1/jobs/0");
    let (_, ground) = browser.get("/api/v1/jobs/0/ground");
    let finest = ground["tiles"]["finest"].as_u64().unwrap();
    let side = ground["tiles"]["side"].as_f64().unwrap();
    assert!(side / f64::from(1 << finest) <= 256.0 * ground["pixel"].as_f64().unwrap());
    let parts = 1 << finest;
    let (mut compared, mut alike) = (0_u32, 0_u32);
    for (x, y) in [
        (parts / 2, parts / 2),
        (parts / 3, parts / 2),
        (0, 0),
        (parts - 1, parts - 1),
    ] {
        let (head, bytes) = browser.read(&format!("/api/v1/jobs/0/tiles/index/{finest}/{x}/{y}"));
        if head.status() == 404 {
            // Beyond the image there is nothing.
            continue;
        }
        assert_eq!(head.status(), 200);
        assert_eq!(head.headers()["content-type"], "application/octet-stream");
        let (west, north) = (
            number(head.headers(), "x-corner-x"),
            number(head.headers(), "x-corner-y"),
        );
        let (step, cols) = (
            number(head.headers(), "x-step"),
            number(head.headers(), "x-cols") as usize,
        );
        assert!(cols > 0 && bytes.len() % (4 * cols) == 0);
        for (at, value) in bytes.chunks_exact(4).enumerate() {
            let value = f64::from(f32::from_le_bytes(value.try_into().unwrap()));
            let (px, py) = (
                west + ((at % cols) as f64 + 0.5) * step,
                north - ((at / cols) as f64 + 0.5) * step,
            );
            let Some(requirement) = mosaic.ndvi(px, py) else {
                assert!(value.is_nan(), "{value} where the image has nothing");
                continue;
            };
            compared += 1;
            alike += u32::from((value - requirement).abs() < 1e-5);
        }
    }
    // A sample on the very edge of two pixels may take either.
    assert!(
        compared > 20_000 && f64::from(alike) > 0.99 * f64::from(compared),
        "{alike} of {compared}"
    );
}

#[test]
fn tiles_of_the_photo_are_pictures_and_no_other_number_is_any() {
    let (_folder, job) = demo();
    let browser = Browser::open(&job, false);
    browser.get("/api/v1/jobs/0");
    let (head, bytes) = browser.read("/api/v1/jobs/0/tiles/photo/1/0/1");
    assert_eq!(head.status(), 200);
    assert_eq!(head.headers().get_all("content-type").iter().count(), 1);
    assert_eq!(head.headers()["content-type"], "image/png");
    assert!(bytes.starts_with(b"\x89PNG"));
    let (head, whole) = browser.read("/api/v1/jobs/0/photo");
    assert_eq!(head.headers()["content-type"], "image/png");
    assert!(whole.starts_with(b"\x89PNG"));
    for path in [
        "photo/1/2/0",
        "photo/1/0/2",
        "photo/0/1/0",
        "photo/40/0/0",
        "photo/99999999/0/0",
        "index/1/5/5",
        "other/0/0/0",
        "..%2fphoto/0/0/0",
        "photo/-1/0/0",
        "photo/0/0/..%2f0",
        "photo/0/0",
    ] {
        let (head, _) = browser.read(&format!("/api/v1/jobs/0/tiles/{path}"));
        assert_eq!(head.status(), 404, "{path}");
    }
}
