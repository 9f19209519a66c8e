//! Makes the demo farm: 25 invented fields of an invented farm on one tile of a satellite, on two days, the same bytes at every run.
//!
//! `cargo run --example make_farm [FOLDER]` writes `fields.geojson`, `strips.geojson`, `ditch.geojson`, `tile_2026-04-06.tif` and `tile_2026-04-14.tif` into `demo/farm` or the
//! folder given. Nothing here is measured. On the newer day a cloud lies over a few fields; one field reaches beyond the tile, and one has no strip.

use std::error::Error;
use std::path::{Path, PathBuf};

use gdal::raster::{Buffer, RasterCreationOptions};
use gdal::spatial_ref::SpatialRef;
use gdal::{DriverManager, Metadata as _};
use geojson::{Feature, FeatureCollection, Geometry, JsonObject};

type Outcome<T> = Result<T, Box<dyn Error>>;
type Ring = Vec<(f64, f64)>;

/// One number makes the whole farm.
const SEED: u64 = 0x66_61_72_6d_73;
/// South-west corner of the farm in UTM zone 33 north. [m] Round numbers: no farm of the kind lies there.
const CORNER: (f64, f64) = (562_000.0, 5_558_000.0);
/// Fields along and across.
const SIDE: usize = 5;
/// Distance of their middles. [m]
const STEP: f64 = 520.0;
/// Lane between two fields. [m]
const LANE: f64 = 14.0;
/// Pixel. [m]
const PIXEL: f64 = 10.0;
/// Ground of the tile beyond the farm, but for the east, where the farm reaches beyond the tile. [m]
const MARGIN: f64 = 100.0;
/// Stored value of a reflectance of 1.
const SCALE: f64 = 10_000.0;
/// Width of a strip. [m]
const STRIP: f64 = 48.0;

const NAMES: [&str; SIDE * SIDE] = [
    "Long Ley",
    "Mill Piece",
    "Upper Forty",
    "Lower Forty",
    "Heron Bank",
    "Chalk Side",
    "Owl Close",
    "Ten Elms",
    "Far Reach",
    "Brick Field",
    "Fox Cover",
    "Sheep Walk",
    "Hollow Ash",
    "Gate House",
    "Saltings",
    "New Piece",
    "Kiln Ground",
    "Thorn Hill",
    "Broad Acre",
    "Rush Meadow",
    "Quarry Top",
    "Windmill",
    "Barn Field",
    "Crooked Mile",
    "Last Turn",
];
/// The field without a strip.
const STRIPLESS: usize = 12;
/// The field with a ditch.
const DITCHED: usize = 19;

/// Evenly in 0 … 1, of a place: the same on every machine.
fn share(layer: u64, i: i64, j: i64) -> f64 {
    let mut z = SEED
        ^ layer.wrapping_mul(0x9e37_79b9_7f4a_7c15)
        ^ i.cast_unsigned().wrapping_mul(0xbf58_476d_1ce4_e5b9)
        ^ j.cast_unsigned().wrapping_mul(0x94d0_49bb_1331_11eb);
    for _ in 0..2 {
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
    }
    (z >> 11) as f64 / (1_u64 << 53) as f64
}

/// Smooth ground between −1 and 1, with patches of this size. [m]
fn smooth(layer: u64, size: f64, x: f64, y: f64) -> f64 {
    let (u, v) = (x / size, y / size);
    let (i, j) = (libm::floor(u), libm::floor(v));
    let step = |t: f64| t * t * (3.0 - 2.0 * t);
    let (s, t) = (step(u - i), step(v - j));
    let at = |di: i64, dj: i64| 2.0 * share(layer, i as i64 + di, j as i64 + dj) - 1.0;
    let low = at(0, 0) * (1.0 - s) + at(1, 0) * s;
    let high = at(0, 1) * (1.0 - s) + at(1, 1) * s;
    low * (1.0 - t) + high * t
}

/// A corner of the lattice of fields, from the farm's corner. [m]
fn corner(i: usize, j: usize) -> (f64, f64) {
    let shift = |layer: u64| 70.0 * (share(layer, i as i64, j as i64) - 0.5);
    (i as f64 * STEP + shift(1), j as f64 * STEP + shift(2))
}

/// Corners of a field, its lanes left out.
fn field(k: usize) -> Ring {
    let (i, j) = (k % SIDE, k / SIDE);
    let ring = [
        corner(i, j),
        corner(i + 1, j),
        corner(i + 1, j + 1),
        corner(i, j + 1),
    ];
    let middle = ring
        .iter()
        .fold((0.0, 0.0), |m, p| (m.0 + p.0 / 4.0, m.1 + p.1 / 4.0));
    ring.iter()
        .map(|p| {
            let (dx, dy) = (p.0 - middle.0, p.1 - middle.1);
            let inwards = 1.0 - LANE / libm::hypot(dx, dy);
            (middle.0 + inwards * dx, middle.1 + inwards * dy)
        })
        .collect()
}

/// A strip along the field's western side, in the middle of its length.
fn strip(k: usize) -> Ring {
    let ring = field(k);
    let between = |a: (f64, f64), b: (f64, f64), share: f64| {
        (a.0 + (b.0 - a.0) * share, a.1 + (b.1 - a.1) * share)
    };
    let across = 0.35 + 0.3 * share(3, k as i64, 0);
    let wide = STRIP / STEP;
    let at = |across: f64, along: f64| {
        between(
            between(ring[0], ring[1], across),
            between(ring[3], ring[2], across),
            along,
        )
    };
    vec![
        at(across, 0.2),
        at(across + wide, 0.2),
        at(across + wide, 0.8),
        at(across, 0.8),
    ]
}

/// A ditch, 4 m wide, along the south of one field.
fn ditch() -> Ring {
    let ring = field(DITCHED);
    let beside = |p: (f64, f64), up: f64| (p.0, p.1 + up);
    vec![
        beside(ring[0], 1.0),
        beside(ring[1], 1.0),
        beside(ring[1], 5.0),
        beside(ring[0], 5.0),
    ]
}

fn inside(ring: &Ring, x: f64, y: f64) -> bool {
    let mut odd = false;
    for (a, b) in ring.iter().zip(ring.iter().cycle().skip(1)) {
        if (a.1 > y) != (b.1 > y) && x < (b.0 - a.0) * (y - a.1) / (b.1 - a.1) + a.0 {
            odd = !odd;
        }
    }
    odd
}

/// Index at a place: what the crop shows with nitrogen enough, less what it lacks.
fn index(fields: &[(Ring, Ring)], x: f64, y: f64, growth: f64) -> f64 {
    let Some(k) = fields.iter().position(|(ring, _)| inside(ring, x, y)) else {
        return 0.18 + 0.04 * smooth(4, 60.0, x, y);
    };
    let rich = 0.74 + 0.04 * (share(5, k as i64, 0) - 0.5) + 0.03 * smooth(6, 160.0, x, y);
    let lack = if inside(&fields[k].1, x, y) && k != STRIPLESS {
        0.0
    } else {
        let own = 0.22 * share(7, k as i64, 0);
        own * (0.7 + 0.6 * smooth(8, 90.0, x, y)).clamp(0.0, 1.3)
    };
    rich * growth * (1.0 - lack)
}

fn layer(rings: impl Iterator<Item = (Ring, JsonObject)>) -> FeatureCollection {
    let mut crs = JsonObject::new();
    crs.insert(
        "crs".to_owned(),
        serde_json::json!({ "type": "name", "properties": { "name": "urn:ogc:def:crs:EPSG::32633" } }),
    );
    let features = rings.map(|(ring, properties)| {
        let round = |v: f64| libm::round(v * 100.0) / 100.0;
        let mut points: Vec<Vec<f64>> = ring
            .iter()
            .map(|(x, y)| vec![round(CORNER.0 + x), round(CORNER.1 + y)])
            .collect();
        points.push(points[0].clone());
        Feature {
            geometry: Some(Geometry::new_polygon([points])),
            properties: Some(properties),
            ..Feature::default()
        }
    });
    FeatureCollection {
        features: features.collect(),
        foreign_members: Some(crs),
        bbox: None,
    }
}

fn vectors(folder: &Path) -> Outcome<()> {
    let fields = layer((0..NAMES.len()).map(|k| {
        let mut facts = JsonObject::new();
        let day = 1 + (20.0 * share(9, k as i64, 0)) as u32;
        facts.insert("name".to_owned(), NAMES[k].into());
        facts.insert("crop".to_owned(), "winter wheat".into());
        facts.insert("sown".to_owned(), format!("2025-10-{day:02}").into());
        let most = 6.0 + libm::round(4.0 * share(10, k as i64, 0)) / 2.0;
        facts.insert("yield_t_ha".to_owned(), most.into());
        (field(k), facts)
    }));
    fs_err::write(folder.join("fields.geojson"), format!("{fields}\n"))?;
    let strips = layer(
        (0..NAMES.len())
            .filter(|k| *k != STRIPLESS)
            .map(|k| (strip(k), JsonObject::new())),
    );
    fs_err::write(folder.join("strips.geojson"), format!("{strips}\n"))?;
    let ditch = layer(std::iter::once((ditch(), JsonObject::new())));
    fs_err::write(folder.join("ditch.geojson"), format!("{ditch}\n"))?;
    Ok(())
}

/// The tile on a day; `growth` scales the crop, `cloud` is a place and a radius. [m]
fn tile(path: &Path, growth: f64, cloud: Option<(f64, f64, f64)>) -> Outcome<()> {
    // The last column of fields reaches beyond the eastern edge.
    let cols = ((STEP * SIDE as f64 + MARGIN - 60.0) / PIXEL) as usize;
    let rows = ((STEP * SIDE as f64 + 2.0 * MARGIN) / PIXEL) as usize;
    let fields: Vec<(Ring, Ring)> = (0..NAMES.len()).map(|k| (field(k), strip(k))).collect();
    let options = RasterCreationOptions::from_iter(
        [
            "TILED=YES",
            "BLOCKXSIZE=128",
            "BLOCKYSIZE=128",
            "COMPRESS=DEFLATE",
            "PREDICTOR=2",
            "INTERLEAVE=PIXEL",
        ]
        .map(str::to_owned),
    );
    let mut file = DriverManager::get_driver_by_name("GTiff")?
        .create_with_band_type_with_options::<u16, _>(path, cols, rows, 2, &options)?;
    file.set_spatial_ref(&SpatialRef::from_epsg(32_633)?)?;
    let top = CORNER.1 + STEP * SIDE as f64 + MARGIN;
    file.set_geo_transform(&[CORNER.0 - MARGIN, PIXEL, 0.0, top, 0.0, -PIXEL])?;
    let (mut red, mut nir) = (Vec::new(), Vec::new());
    for row in 0..rows {
        for col in 0..cols {
            let place = |part: f64| {
                (
                    (col as f64 + part) * PIXEL - MARGIN,
                    top - CORNER.1 - (row as f64 + part) * PIXEL,
                )
            };
            let middle = place(0.5);
            if cloud.is_some_and(|(x, y, reach)| {
                libm::hypot(middle.0 - x, middle.1 - y)
                    < reach * (1.0 + 0.3 * smooth(11, 120.0, middle.0, middle.1))
            }) {
                red.push(0);
                nir.push(0);
                continue;
            }
            let mut sum = 0.0;
            for i in 0..9 {
                let (x, y) = (
                    place((f64::from(i % 3) + 0.5) / 3.0).0,
                    place((f64::from(i / 3) + 0.5) / 3.0).1,
                );
                sum += index(&fields, x, y, growth);
            }
            let noise = 0.012
                * (share(12, col as i64, row as i64) + share(13, col as i64, row as i64) - 1.0);
            let index = sum / 9.0 + noise;
            let stored = |sign: f64| libm::round(0.24 * (1.0 + sign * index) * SCALE) as u16;
            red.push(stored(-1.0));
            nir.push(stored(1.0));
        }
    }
    for (k, (name, values)) in [("red", red), ("nir", nir)].into_iter().enumerate() {
        let mut band = file.rasterband(k + 1)?;
        band.set_description(name)?;
        band.set_no_data_value(Some(0.0))?;
        band.set_scale(1.0 / SCALE)?;
        band.write((0, 0), (cols, rows), &mut Buffer::new((cols, rows), values))?;
    }
    file.close()?;
    Ok(())
}

fn main() -> Outcome<()> {
    let folder = std::env::args_os()
        .nth(1)
        .map_or_else(|| PathBuf::from("demo/farm"), PathBuf::from);
    fs_err::create_dir_all(&folder)?;
    vectors(&folder)?;
    tile(&folder.join("tile_2026-04-06.tif"), 0.96, None)?;
    tile(
        &folder.join("tile_2026-04-14.tif"),
        1.0,
        Some((700.0, 2_050.0, 330.0)),
    )
}
