//! Makes the demo field: an invented winter wheat field of an invented farm, the same bytes at every run.
//!
//! `cargo run --example make_demo [FOLDER]` writes `mosaic.tif`, `boundary.geojson`, `strips.geojson`, `wet_corner.geojson` and `weather.csv`
//! into `demo/field` or the folder given. Nothing here is measured: the ground is smooth noise from a fixed seed, and the crop shows what people
//! meet in the field: pale patches that lack nitrogen, wheel tracks every 24 m, a drowned corner, a bare patch, a pond, a cloud.

use std::error::Error;
use std::f64::consts::PI;
use std::fmt::Write;
use std::path::{Path, PathBuf};

use gdal::Metadata;
use gdal::raster::{Buffer, RasterCreationOptions};
use gdal::spatial_ref::SpatialRef;
use geojson::{Feature, FeatureCollection, Geometry, JsonObject};
use haulm::space::crs::{Crs, Projector};
use jiff::civil::{Date, date};

type Outcome<T> = Result<T, Box<dyn Error>>;
/// Corners in the machine frame: along the heading, to its left. [m]
type Ring = Vec<(f64, f64)>;

/// One number makes the whole field.
const SEED: u64 = 0x68_61_75_6c_6d;
/// UTM zone 33 north.
const EPSG: u32 = 32_633;
/// Centre of the field on the plane. [m] Round numbers: no farm of the kind lies there.
const CENTRE: (f64, f64) = (560_000.0, 5_560_000.0);
/// Driving direction as grid azimuth. [°] True north is 0.64° further here, so the job says 63.0.
const AZIMUTH: f64 = 62.36;
/// Pixel size. [m]
const PIXEL: f64 = 1.0;
/// Stored value of a reflectance of 1.
const SCALE: f64 = 10_000.0;
/// Wheel tracks: distance of passes, distance of the two wheels, width of one track. [m]
const TRACKS: (f64, f64, f64) = (24.0, 1.8, 0.5);
/// Distance of neighbouring drill passes. [m]
const DRILL: f64 = 3.0;
/// Band descriptions in file order.
const BANDS: [&str; 5] = ["blue", "green", "red", "red_edge", "nir"];
/// Reflectance of bare soil and of open water, in the order of the bands.
const SOIL: [f64; 5] = [0.07, 0.10, 0.14, 0.17, 0.20];
const WATER: [f64; 5] = [0.040, 0.045, 0.030, 0.022, 0.015];

/// Corners of the field in the machine frame: along the heading, to its left. [m]
const OUTLINE: [(f64, f64); 13] = [
    (-296.0, -148.0),
    (-268.0, -192.0),
    (0.0, -192.0),
    (262.0, -192.0),
    (301.0, -158.0),
    (318.0, 4.0),
    (305.0, 141.0),
    (279.0, 186.0),
    (118.0, 192.0),
    (-58.0, 187.0),
    (-202.0, 174.0),
    (-261.0, 146.0),
    (-291.0, 57.0),
];
const POND: Ellipse = Ellipse {
    u: 70.0,
    v: 95.0,
    along: 31.0,
    across: 19.0,
};
const CLOUD: Ellipse = Ellipse {
    u: -150.0,
    v: -52.0,
    along: 44.0,
    across: 33.0,
};
const BARE: Ellipse = Ellipse {
    u: 238.0,
    v: -118.0,
    along: 42.0,
    across: 27.0,
};
/// Where water stood in winter.
const DROWNED: Ellipse = Ellipse {
    u: -236.0,
    v: 128.0,
    along: 116.0,
    across: 84.0,
};
/// Water still stands here: corners of the exclusion.
const WET: [(f64, f64); 5] = [
    (-300.0, 118.0),
    (-240.0, 112.0),
    (-216.0, 138.0),
    (-222.0, 182.0),
    (-300.0, 182.0),
];
/// Pale patches: place and how much of the index is lost in their middle.
const PALE: [(Ellipse, f64); 3] = [
    (
        Ellipse {
            u: 200.0,
            v: 60.0,
            along: 95.0,
            across: 60.0,
        },
        0.10,
    ),
    (
        Ellipse {
            u: -60.0,
            v: -140.0,
            along: 110.0,
            across: 55.0,
        },
        0.09,
    ),
    (
        Ellipse {
            u: -40.0,
            v: 130.0,
            along: 60.0,
            across: 45.0,
        },
        0.11,
    ),
];
/// The two strips that got nitrogen enough: from, to along the heading; lower side, one pass wide.
const STRIPS: [(f64, f64, f64); 2] = [(-42.0, 160.0, -96.0), (-224.0, -22.0, 24.0)];

fn main() -> Outcome<()> {
    let folder = std::env::args_os()
        .nth(1)
        .map_or_else(|| PathBuf::from("demo/field"), PathBuf::from);
    fs_err::create_dir_all(&folder)?;
    write_vectors(&folder)?;
    write_mosaic(&folder.join("mosaic.tif"))?;
    fs_err::write(folder.join("weather.csv"), weather()?)?;
    Ok(())
}

/// An ellipse in the machine frame; `along` and `across` are half axes. [m]
struct Ellipse {
    u: f64,
    v: f64,
    along: f64,
    across: f64,
}

impl Ellipse {
    /// 0 in the middle, 1 on the edge.
    fn reach(&self, u: f64, v: f64) -> f64 {
        libm::hypot((u - self.u) / self.along, (v - self.v) / self.across)
    }
    /// 1 in the middle, fading as a bell.
    fn bell(&self, u: f64, v: f64) -> f64 {
        let r = self.reach(u, v);
        libm::exp(-r * r * 2.0)
    }
    /// Corners of its outline, counter-clockwise.
    fn ring(&self, corners: u32) -> Ring {
        (0..corners)
            .map(|i| {
                let (sin, cos) = libm::sincos(2.0 * PI * f64::from(i) / f64::from(corners));
                (self.u + self.along * cos, self.v + self.across * sin)
            })
            .collect()
    }
}

/// A mixed number of a seed and a position: the same on every machine and in any order (splitmix64's finisher over each part).
fn mixed(seed: u64, parts: [u64; 3]) -> u64 {
    parts.iter().fold(seed, |state, part| {
        let mut z = (state ^ part).wrapping_add(0x9e37_79b9_7f4a_7c15);
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    })
}

/// A standard normal number of a seed and a position (Box and Muller).
fn normal(seed: u64, parts: [u64; 3]) -> f64 {
    let share = |bits: u64| ((bits >> 11) as f64 + 0.5) / (1_u64 << 53) as f64;
    let (a, b) = (mixed(seed, parts), mixed(!seed, parts));
    libm::sqrt(-2.0 * libm::log(share(a))) * libm::cos(2.0 * PI * share(b))
}

/// Smooth ground: normal numbers on a lattice of `spacing` metres, blended with a quintic step; unit variance on the lattice.
fn smooth(layer: u64, spacing: f64, u: f64, v: f64) -> f64 {
    let (x, y) = (u / spacing, v / spacing);
    let (i, j) = (libm::floor(x), libm::floor(y));
    let step = |t: f64| t * t * t * (t * (t * 6.0 - 15.0) + 10.0);
    let (s, t) = (step(x - i), step(y - j));
    let at = |di: i64, dj: i64| {
        normal(
            SEED.wrapping_add(layer),
            [
                (i as i64 + di).cast_unsigned(),
                (j as i64 + dj).cast_unsigned(),
                0,
            ],
        )
    };
    let low = at(0, 0) * (1.0 - s) + at(1, 0) * s;
    let high = at(0, 1) * (1.0 - s) + at(1, 1) * s;
    low * (1.0 - t) + high * t
}

/// Machine frame to plane.
fn to_plane((u, v): (f64, f64)) -> (f64, f64) {
    let (sin, cos) = libm::sincos(AZIMUTH.to_radians());
    (CENTRE.0 + u * sin - v * cos, CENTRE.1 + u * cos + v * sin)
}

/// Plane to machine frame.
fn to_frame(x: f64, y: f64) -> (f64, f64) {
    let (sin, cos) = libm::sincos(AZIMUTH.to_radians());
    let (x, y) = (x - CENTRE.0, y - CENTRE.1);
    (x * sin + y * cos, -x * cos + y * sin)
}

/// Whether a point lies in a polygon: the even-odd rule.
fn inside(ring: &[(f64, f64)], u: f64, v: f64) -> bool {
    let ends = ring.iter().zip(ring.iter().cycle().skip(1));
    ends.filter(|((ua, va), (ub, vb))| {
        (*va > v) != (*vb > v) && u < (ub - ua) * (v - va) / (vb - va) + ua
    })
    .count()
        % 2
        == 1
}

fn in_strip(u: f64, v: f64) -> bool {
    STRIPS
        .iter()
        .any(|(from, to, low)| u >= *from && u < *to && v >= *low && v < low + TRACKS.0)
}

/// NDVI of the canopy between the tracks.
fn canopy(u: f64, v: f64) -> f64 {
    let rich = 0.757 + 0.010 * smooth(1, 90.0, u, v) + 0.006 * smooth(2, 25.0, u, v);
    let patchy = smooth(3, 110.0, u, v) + 0.5 * smooth(4, 45.0, u, v);
    let lack = 0.015
        + 0.20 / (1.0 + libm::exp(-2.2 * patchy))
        + PALE
            .iter()
            .map(|(place, most)| most * place.bell(u, v))
            .sum::<f64>();
    let fed = if in_strip(u, v) {
        rich * 0.995
    } else {
        rich * (1.0 - lack)
    };
    // Drowned crop is thin whatever it was fed; so is the rim of the bare patch.
    let drowned = libm::exp(-2.0 * libm::pow(DROWNED.reach(u, v), 4.0));
    let stand = (1.0 - (0.54 + 0.04 * smooth(10, 20.0, u, v)) * drowned)
        * (1.0 - 0.35 * libm::exp(-8.0 * (BARE.reach(u, v) - 1.0).max(0.0)));
    (fed * stand).max(0.12) + 0.006 * libm::sin(2.0 * PI * v / DRILL)
}

/// Reflectance of crop with this NDVI; `light` is the sum of red and near infrared.
fn crop(ndvi: f64, light: f64) -> [f64; 5] {
    let (nir, red) = (light * (1.0 + ndvi) / 2.0, light * (1.0 - ndvi) / 2.0);
    let red_edge = red + (nir - red) * (0.50 - 0.17 * ndvi);
    [
        0.012 + 0.40 * red,
        0.028 + 0.55 * red + 0.02 * nir,
        red,
        red_edge,
        nir,
    ]
}

/// Whether a point lies on a wheel track.
fn on_track(v: f64) -> bool {
    let across = (v / TRACKS.0 - libm::floor(v / TRACKS.0)) * TRACKS.0;
    ((across - TRACKS.0 / 2.0).abs() - TRACKS.1 / 2.0).abs() < TRACKS.2 / 2.0
}

/// Reflectance of one point of the ground.
fn ground(u: f64, v: f64) -> [f64; 5] {
    if POND.reach(u, v) < 1.0 {
        return WATER;
    }
    if !inside(&OUTLINE, u, v) {
        // A grass margin and the neighbour's stubble.
        return crop(0.42 + 0.08 * smooth(5, 30.0, u, v), 0.34);
    }
    if inside(&WET, u, v) {
        return WATER;
    }
    if on_track(v) || BARE.reach(u, v) < 1.0 + 0.08 * smooth(6, 12.0, u, v) {
        return SOIL;
    }
    crop(canopy(u, v), 0.42 + 0.012 * smooth(7, 70.0, u, v))
}

/// Whether the drone's mosaic shows a point: its rectangle was flown at a slight angle to the rows, and one cloud shadow is cut out.
fn pictured(u: f64, v: f64) -> bool {
    let (sin, cos) = libm::sincos(3.5_f64.to_radians());
    let (a, b) = (u * cos + v * sin, -u * sin + v * cos);
    a.abs() < 346.0 && b.abs() < 228.0 && CLOUD.reach(u, v) >= 1.0 + 0.10 * smooth(8, 20.0, u, v)
}

fn write_mosaic(path: &Path) -> Outcome<()> {
    let corners = [(-1.0, -1.0), (-1.0, 1.0), (1.0, -1.0), (1.0, 1.0)].map(|(a, b): (f64, f64)| {
        let (sin, cos) = libm::sincos(3.5_f64.to_radians());
        let (a, b) = (346.0 * a, 228.0 * b);
        to_plane((a * cos - b * sin, a * sin + b * cos))
    });
    let edge = |pick: fn(&(f64, f64)) -> f64, keep: fn(f64, f64) -> f64| {
        corners.iter().map(pick).reduce(keep).unwrap_or_default()
    };
    let west = libm::floor(edge(|p| p.0, f64::min) / PIXEL) * PIXEL;
    let north = libm::ceil(edge(|p| p.1, f64::max) / PIXEL) * PIXEL;
    let width = libm::ceil((edge(|p| p.0, f64::max) - west) / PIXEL) as usize;
    let height = libm::ceil((north - edge(|p| p.1, f64::min)) / PIXEL) as usize;

    let mut bands: [Vec<u16>; 5] = std::array::from_fn(|_| Vec::with_capacity(width * height));
    for row in 0..height {
        for col in 0..width {
            let values = pixel(
                west + col as f64 * PIXEL,
                north - row as f64 * PIXEL,
                [row as u64, col as u64],
            );
            for (band, value) in bands.iter_mut().zip(values) {
                band.push(value);
            }
        }
    }

    let options = RasterCreationOptions::from_iter([
        "TILED=YES",
        "BLOCKXSIZE=256",
        "BLOCKYSIZE=256",
        "COMPRESS=DEFLATE",
        "PREDICTOR=2",
        "ZLEVEL=9",
    ]);
    let driver = gdal::DriverManager::get_driver_by_name("GTiff")?;
    let mut file = driver.create_with_band_type_with_options::<u16, _>(
        path,
        width,
        height,
        BANDS.len(),
        &options,
    )?;
    file.set_spatial_ref(&SpatialRef::from_epsg(EPSG)?)?;
    file.set_geo_transform(&[west, PIXEL, 0.0, north, 0.0, -PIXEL])?;
    for (number, name) in BANDS.iter().enumerate() {
        let mut band = file.rasterband(number + 1)?;
        band.set_description(name)?;
        band.set_scale(1.0 / SCALE)?;
        band.set_no_data_value(Some(0.0))?;
    }
    for (number, values) in bands.into_iter().enumerate() {
        file.rasterband(number + 1)?.write(
            (0, 0),
            (width, height),
            &mut Buffer::new((width, height), values),
        )?;
    }
    file.close()?;
    Ok(())
}

/// Stored values of the pixel with this north-west corner: the mean of nine points of its ground, with the sensor's noise; 0 where nothing is pictured.
fn pixel(west: f64, north: f64, [row, col]: [u64; 2]) -> [u16; 5] {
    let (u, v) = to_frame(west + PIXEL / 2.0, north - PIXEL / 2.0);
    if !pictured(u, v) {
        return [0; 5];
    }
    let mut sum = [0.0; 5];
    for k in 0..9 {
        let (dx, dy) = (f64::from(k % 3) * 2.0 + 1.0, f64::from(k / 3) * 2.0 + 1.0);
        let (u, v) = to_frame(west + PIXEL * dx / 6.0, north - PIXEL * dy / 6.0);
        for (total, value) in sum.iter_mut().zip(ground(u, v)) {
            *total += value / 9.0;
        }
    }
    // What leaves and light do to all bands alike, and what each band adds by itself.
    let shared = 1.0 + 0.02 * normal(SEED ^ 0xff, [row, col, 0]);
    std::array::from_fn(|band| {
        let noisy =
            sum[band] * shared * (1.0 + 0.008 * normal(SEED ^ 0xff, [row, col, band as u64 + 1]));
        libm::round(noisy * SCALE).clamp(1.0, 65_535.0) as u16
    })
}

fn write_vectors(folder: &Path) -> Outcome<()> {
    let projector = Projector::new(&Crs::epsg(EPSG, "WGS 84 / UTM zone 33N"), &Crs::wgs84())?;
    let strip = |&(from, to, low): &(f64, f64, f64)| {
        vec![
            (from, low),
            (to, low),
            (to, low + TRACKS.0),
            (from, low + TRACKS.0),
        ]
    };
    let mut pond = POND.ring(32);
    pond.reverse();
    write_layer(
        &folder.join("boundary.geojson"),
        &projector,
        &[("Long Ley", vec![OUTLINE.to_vec(), pond])],
    )?;
    write_layer(
        &folder.join("strips.geojson"),
        &projector,
        &[
            ("south strip", vec![strip(&STRIPS[0])]),
            ("north strip", vec![strip(&STRIPS[1])]),
        ],
    )?;
    write_layer(
        &folder.join("wet_corner.geojson"),
        &projector,
        &[("wet corner", vec![WET.to_vec()])],
    )
}

/// Polygons in longitude and latitude, 9 decimals (0.1 mm), counter-clockwise outside and clockwise inside as RFC 7946 wants.
fn write_layer(path: &Path, projector: &Projector, polygons: &[(&str, Vec<Ring>)]) -> Outcome<()> {
    let round = |degrees: f64| libm::round(degrees * 1e9) / 1e9;
    let mut features = Vec::new();
    for (name, rings) in polygons {
        let mut written = Vec::new();
        for ring in rings {
            let mut points = Vec::new();
            for corner in ring.iter().chain(ring.first()) {
                let (x, y) = to_plane(*corner);
                let (longitude, latitude) = projector.point(x, y)?;
                points.push([round(longitude), round(latitude)]);
            }
            written.push(points);
        }
        let mut properties = JsonObject::new();
        properties.insert("name".to_owned(), (*name).into());
        properties.insert("farm".to_owned(), "Ambermere Farm (invented)".into());
        features.push(Feature {
            geometry: Some(Geometry::new_polygon(written)),
            properties: Some(properties),
            ..Feature::default()
        });
    }
    let mut text = FeatureCollection::new(features).to_string();
    text.push('\n');
    fs_err::write(path, text)?;
    Ok(())
}

/// Daily least and greatest temperature from before planting until after sensing: a year's wave, spells of some days, and chance.
fn weather() -> Outcome<String> {
    let (first, last): (Date, Date) = (date(2025, 9, 25), date(2026, 4, 24));
    let mut text = "date,tmin_c,tmax_c\n".to_owned();
    for day in first
        .series(jiff::Span::new().days(1))
        .take_while(|day| *day <= last)
    {
        let number = f64::from(day.day_of_year());
        let mean = 9.78 - 8.9 * libm::cos(2.0 * PI * (number - 22.0) / 365.0)
            + 2.8 * smooth(9, 6.0, julian(day), 0.0);
        let half = 3.6 - 1.6 * libm::cos(2.0 * PI * (number - 10.0) / 365.0)
            + 0.8 * normal(SEED ^ 0x77, [julian(day) as u64, 0, 0]).abs();
        writeln!(text, "{day},{:.1},{:.1}", mean - half, mean + half)?;
    }
    Ok(text)
}

/// Days since the first of September 2025.
fn julian(day: Date) -> f64 {
    f64::from(day.duration_since(date(2025, 9, 1)).as_hours() as i32) / 24.0
}
