//! A tiny complete field in a folder of its own: image, boundary, strip and job, with a knob for every fault.
//!
//! The field is 288 m along its rows (due grid north) and 240 m across, twelve by ten cells of 24 m, on a plane of our own choosing. It has a
//! strip, a pale patch, a cloud, a bare patch and a thin one, each exactly on cells, so that tests know what must come out.

use gdal::vector::LayerAccess as _;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use gdal::raster::Buffer;
use gdal::spatial_ref::{AxisMappingStrategy, CoordTransform, SpatialRef};
use gdal::{DriverManager, Metadata as _};
use tempfile::TempDir;

/// South-west corner of the field in UTM zone 33 north. [m] Round numbers: no farm of the kind lies there.
pub(crate) const CORNER: (f64, f64) = (560_000.0, 5_560_000.0);
/// Extent of the field: across, along. [m]
pub(crate) const EXTENT: (f64, f64) = (240.0, 288.0);
/// The strip, one pass wide: west, south, east, north from the corner. [m]
pub(crate) const STRIP: [f64; 4] = [120.0, 24.0, 144.0, 264.0];
/// Four cells without any value.
pub(crate) const CLOUD: [f64; 4] = [192.0, 24.0, 240.0, 72.0];
/// Four cells of bare ground.
pub(crate) const BARE: [f64; 4] = [192.0, 216.0, 240.0, 264.0];
/// Four cells of thin crop.
pub(crate) const THIN: [f64; 4] = [24.0, 216.0, 72.0, 264.0];
/// Six pale cells.
const PALE: [f64; 4] = [24.0, 48.0, 72.0, 120.0];

/// A ring of corners, from the field's corner. [m]
pub(crate) type Ring = Vec<(f64, f64)>;

fn within(area: [f64; 4], x: f64, y: f64) -> bool {
    x >= area[0] && y >= area[1] && x < area[2] && y < area[3]
}

/// Corners of a rectangle.
pub(crate) fn rectangle([west, south, east, north]: [f64; 4]) -> Ring {
    vec![(west, south), (east, south), (east, north), (west, north)]
}

/// NDVI of a place, from the field's corner; `None` where nothing is pictured.
pub(crate) fn ndvi(strip: f64, x: f64, y: f64) -> Option<f64> {
    // A little unevenness that repeats nowhere in step with the cells.
    let uneven = 0.008 * libm::sin(x / 7.3) + 0.006 * libm::sin(y / 11.9 + x / 23.0);
    if within(CLOUD, x, y) {
        None
    } else if within(BARE, x, y) {
        Some(0.10 + uneven)
    } else if within(THIN, x, y) {
        Some(0.31 + uneven)
    } else if within(STRIP, x, y) {
        Some(strip + uneven)
    } else if within(PALE, x, y) {
        Some(0.52 + uneven)
    } else {
        Some(0.62 + uneven)
    }
}

/// How the image is made.
#[derive(Clone)]
pub(crate) struct Image {
    /// Reference system; `None` leaves it out.
    pub(crate) system: Option<String>,
    /// Columns and rows.
    pub(crate) size: (usize, usize),
    /// Affine transform; `None` leaves it out.
    pub(crate) transform: Option<[f64; 6]>,
    /// Descriptions of the bands.
    pub(crate) names: [&'static str; 2],
    /// NDVI of the strip.
    pub(crate) strip: f64,
    /// What the stored reflectance is multiplied by.
    pub(crate) factor: f64,
    /// Whether no pixel has a value.
    pub(crate) blank: bool,
    /// One band of ready NDVI instead of two of reflectance.
    pub(crate) ready: bool,
}

impl Default for Image {
    fn default() -> Self {
        Self {
            system: Some("EPSG:32633".to_owned()),
            size: (144, 168),
            transform: Some([
                CORNER.0 - 24.0,
                2.0,
                0.0,
                CORNER.1 + EXTENT.1 + 24.0,
                0.0,
                -2.0,
            ]),
            names: ["red", "nir"],
            strip: 0.74,
            factor: 1.0,
            blank: false,
            ready: false,
        }
    }
}

/// A way between two systems, longitude or easting first on both sides.
pub(crate) fn way(from: &str, to: &str) -> CoordTransform {
    let system = |text: &str| {
        let mut system = SpatialRef::from_definition(text).unwrap();
        system.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
        system
    };
    CoordTransform::new(&system(from), &system(to)).unwrap()
}

/// Carries one point.
pub(crate) fn carry(way: &CoordTransform, x: f64, y: f64) -> (f64, f64) {
    let (mut xs, mut ys) = ([x], [y]);
    way.transform_coords(&mut xs, &mut ys, &mut []).unwrap();
    (xs[0], ys[0])
}

impl Image {
    /// Writes it as `GeoTIFF`. The ground is looked up at every pixel's centre, whatever the system.
    pub(crate) fn write(&self, path: &Path) {
        const NODATA: f32 = -9999.0;
        let (cols, rows) = self.size;
        let affine = self
            .transform
            .unwrap_or(Image::default().transform.unwrap());
        let back = self
            .system
            .as_deref()
            .filter(|system| *system != "EPSG:32633")
            .map(|system| way(system, "EPSG:32633"));
        let count = if self.ready { 1 } else { 2 };
        let mut bands = vec![Vec::with_capacity(cols * rows); count];
        for row in 0..rows {
            for col in 0..cols {
                let (c, r) = (col as f64 + 0.5, row as f64 + 0.5);
                let (gx, gy) = (
                    affine[0] + c * affine[1] + r * affine[2],
                    affine[3] + c * affine[4] + r * affine[5],
                );
                let (x, y) = back.as_ref().map_or((gx, gy), |way| carry(way, gx, gy));
                let value = ndvi(self.strip, x - CORNER.0, y - CORNER.1).filter(|_| !self.blank);
                for (k, band) in bands.iter_mut().enumerate() {
                    // Red and near infrared add up to 0.45.
                    let stored = value.map(|ndvi| match (self.ready, k) {
                        (true, _) => ndvi,
                        (false, 0) => 0.225 * (1.0 - ndvi),
                        (false, _) => 0.225 * (1.0 + ndvi),
                    });
                    band.push(stored.map_or(NODATA, |value| (value * self.factor) as f32));
                }
            }
        }
        let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
        let mut file = driver
            .create_with_band_type::<f32, _>(path, cols, rows, count)
            .unwrap();
        if let Some(system) = &self.system {
            file.set_spatial_ref(&SpatialRef::from_definition(system).unwrap())
                .unwrap();
        }
        if let Some(transform) = &self.transform {
            file.set_geo_transform(transform).unwrap();
        }
        for (k, values) in bands.into_iter().enumerate() {
            let mut band = file.rasterband(k + 1).unwrap();
            band.set_no_data_value(Some(f64::from(NODATA))).unwrap();
            if !self.ready && !self.names[k].is_empty() {
                band.set_description(self.names[k]).unwrap();
            }
            band.write((0, 0), (cols, rows), &mut Buffer::new((cols, rows), values))
                .unwrap();
        }
        file.close().unwrap();
    }
}

pub(crate) const JOB: &str = r#"[field]
name = "Middle Piece"
boundary = "boundary.geojson"

[imagery]
path = "image.tif"
date = 2026-04-14
index = "NDVI"

[reference]
strips = "strips.geojson"

[season]
crop = "winter wheat"
planted = 2025-10-06
growing_days = 100

[response]
method = "yield response"
maximum_yield = "7 t/ha"
yield_curve = { a = "590 kg/ha", b = 258.2, index = "NDVI", source = "common practice" }

[rate]
maximum = "150 kg N/ha"
step = "5 kg N/ha"

[product]
name = "UAN 28"

[machine]
working_width = "24 m"
heading = "0 grid"

[output]
folder = "out"
"#;

/// The field in its folder.
pub(crate) struct Field {
    folder: TempDir,
}

/// What a run said.
pub(crate) struct Wording {
    /// Exit status.
    pub(crate) status: Option<i32>,
    /// Standard output.
    pub(crate) out: String,
    /// Standard error.
    pub(crate) err: String,
}

impl From<Output> for Wording {
    fn from(output: Output) -> Self {
        Self {
            status: output.status.code(),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }
}

impl Field {
    /// A good field; nothing has run.
    pub(crate) fn new() -> Self {
        let field = Self {
            folder: tempfile::tempdir().unwrap(),
        };
        field.image(&Image::default());
        field.polygons(
            "boundary.geojson",
            &[rectangle([0.0, 0.0, EXTENT.0, EXTENT.1])],
        );
        field.polygons("strips.geojson", &[rectangle(STRIP)]);
        field.write("job.toml", JOB);
        field
    }
    /// A good field with a map of it.
    pub(crate) fn mapped() -> Self {
        let field = Self::new();
        let wording = field.run(&["map"]);
        assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
        field
    }
    /// A path in its folder.
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
    /// Writes a file of it.
    pub(crate) fn write(&self, name: &str, bytes: impl AsRef<[u8]>) {
        fs_err::write(self.path(name), bytes).unwrap();
    }
    /// Writes its image.
    pub(crate) fn image(&self, image: &Image) {
        image.write(&self.path("image.tif"));
    }
    /// Writes polygons, each a feature numbered from 1, in longitude and latitude.
    pub(crate) fn polygons(&self, name: &str, rings: &[Ring]) {
        self.polygons_by(name, rings, &|longitude, latitude| (longitude, latitude));
    }
    /// As [`Field::polygons`], with something done to each longitude and latitude.
    pub(crate) fn polygons_by(
        &self,
        name: &str,
        rings: &[Ring],
        change: &dyn Fn(f64, f64) -> (f64, f64),
    ) {
        let way = way("EPSG:32633", "EPSG:4326");
        let features: Vec<serde_json::Value> = rings
            .iter()
            .enumerate()
            .map(|(k, ring)| {
                let corners: Vec<[f64; 2]> = ring
                    .iter()
                    .chain(ring.first())
                    .map(|(x, y)| {
                        let (longitude, latitude) = carry(&way, CORNER.0 + x, CORNER.1 + y);
                        let (a, b) = change(longitude, latitude);
                        [a, b]
                    })
                    .collect();
                serde_json::json!({ "type": "Feature", "properties": { "id": k + 1 }, "geometry": { "type": "Polygon", "coordinates": [corners] } })
            })
            .collect();
        self.write(
            name,
            serde_json::json!({ "type": "FeatureCollection", "features": features }).to_string(),
        );
    }
    /// Replaces a text of the job file, which must stand there.
    pub(crate) fn job(&self, old: &str, new: &str) {
        let text = fs_err::read_to_string(self.path("job.toml")).unwrap();
        assert!(text.contains(old), "{old:?} does not stand in the job");
        self.write("job.toml", text.replacen(old, new, 1));
    }
    /// Runs a command on its job file, and has everything told: the short answer is `golden.rs`'s.
    pub(crate) fn run(&self, arguments: &[&str]) -> Wording {
        let brief = ["map", "check", "inspect", "rate"];
        let details = arguments.iter().any(|argument| brief.contains(argument));
        Command::new(env!("CARGO_BIN_EXE_haulm"))
            .args(arguments)
            .args(details.then_some("--details"))
            .arg(self.path("job.toml"))
            .output()
            .unwrap()
            .into()
    }
    /// Runs a command in its folder.
    pub(crate) fn command(&self, arguments: &[&str]) -> Wording {
        Command::new(env!("CARGO_BIN_EXE_haulm"))
            .args(arguments)
            .current_dir(self.path(""))
            .output()
            .unwrap()
            .into()
    }
    /// Every file of the output folder with its bytes.
    pub(crate) fn outputs(&self) -> BTreeMap<String, Vec<u8>> {
        files(&self.path("out"))
    }
    /// The record of the last run.
    pub(crate) fn record(&self) -> serde_json::Value {
        serde_json::from_slice(&fs_err::read(self.path("out/office/record.json")).unwrap()).unwrap()
    }
}

/// Every file below a folder with its bytes.
pub(crate) fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut open = vec![folder.to_owned()];
    while let Some(next) = open.pop() {
        for entry in fs_err::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                found.insert(
                    path.strip_prefix(folder)
                        .unwrap()
                        .to_string_lossy()
                        .into_owned(),
                    fs_err::read(&path).unwrap(),
                );
            }
        }
    }
    found
}

/// Maps, and nothing stops it.
pub(crate) fn mapped(field: &Field) {
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
}

/// What the record says under a code.
pub(crate) fn message(field: &Field, code: &str) -> Option<String> {
    let record = field.record();
    let findings = record["findings"].as_array().unwrap();
    findings
        .iter()
        .find(|finding| finding["code"] == code)
        .map(|finding| finding["message"].as_str().unwrap().to_owned())
}

/// Something of each row of a layer of the map.
pub(crate) fn rows<T>(
    field: &Field,
    layer: &str,
    mut read: impl FnMut(&gdal::vector::Feature<'_>) -> T,
) -> Vec<T> {
    let options = gdal::DatasetOptions {
        open_flags: gdal::GdalOpenFlags::GDAL_OF_VECTOR,
        ..gdal::DatasetOptions::default()
    };
    let file = gdal::Dataset::open_ex(field.path("out/office/prescription.gpkg"), options).unwrap();
    let mut layer = file.layer_by_name(layer).unwrap();
    layer.features().map(|feature| read(&feature)).collect()
}

/// Mapping is refused with all of these words and a hint.
pub(crate) fn refused(field: &Field, parts: &[&str]) {
    let wording = field.run(&["map"]);
    let notice = wording.err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(wording.status, Some(1), "{notice}{}", wording.out);
    for part in parts.iter().chain(&["hint: "]) {
        assert!(notice.contains(part), "{part:?} is not in: {notice}");
    }
}
