//! Random fields whose exclusions lie as GIS programs leave them: clipped to the boundary by another library's arithmetic (GEOS), touching, crossing, sharing vertices, with needles and islands.

use std::f64::consts::TAU;

use gdal::DriverManager;
use gdal::raster::Buffer;
use gdal::spatial_ref::SpatialRef;
use gdal::vector::{Feature, Geometry, LayerAccess as _, LayerOptions, OGRwkbGeometryType};
use tempfile::TempDir;

use crate::field::{carry, way};

/// Systems and a corner in each, far from one another: two north of the equator, one south. Round numbers, no farm.
const PLACES: [(u32, f64, f64); 3] = [
    (32633, 480_000.0, 5_540_000.0),
    (32614, 610_000.0, 4_400_000.0),
    (32755, 350_000.0, 6_150_000.0),
];

/// Numbers out of a seed (Steele, Lea and Flood 2014, `SplitMix64`; from memory).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }
    fn below(&mut self, count: usize) -> usize {
        (self.next() % count as u64) as usize
    }
    fn one_in(&mut self, count: usize) -> bool {
        self.below(count) == 0
    }
}

fn dice_of(seed: u64) -> Dice {
    Dice(seed.wrapping_mul(0xd134_2543_de82_ef95) ^ 0x5851_f42d_4c95_7f2d)
}

type Ring = Vec<(f64, f64)>;

fn text(ring: &[(f64, f64)]) -> String {
    let corners: Vec<String> = ring
        .iter()
        .chain(ring.first())
        .map(|(x, y)| format!("{x} {y}"))
        .collect();
    format!("({})", corners.join(","))
}

fn polygon(rings: &[Ring]) -> Geometry {
    let rings: Vec<String> = rings.iter().map(|ring| text(ring)).collect();
    Geometry::from_wkt(&format!("POLYGON({})", rings.join(","))).unwrap()
}

/// A field in a folder of its own, ready to be mapped.
pub(crate) struct RoughField {
    /// Its folder.
    pub(crate) folder: TempDir,
    /// Its system.
    pub(crate) system: String,
    /// What gets nothing on the plane: exclusions as they were drawn, and holes of the boundary.
    pub(crate) kept_clear: Vec<Geometry>,
}

struct Maker {
    dice: Dice,
    centre: (f64, f64),
    heading: f64,
    outline: Ring,
    boundary: Geometry,
    /// The strip and a few metres around it.
    strip_ground: Geometry,
}

/// A star around a place: corners at even angles, radii between two bounds.
fn star(dice: &mut Dice, centre: (f64, f64), corners: usize, radii: (f64, f64)) -> Ring {
    let turn = dice.between(0.0, TAU);
    (0..corners)
        .map(|k| {
            let (a, r) = (
                turn + TAU * k as f64 / corners as f64,
                dice.between(radii.0, radii.1),
            );
            (centre.0 + r * libm::cos(a), centre.1 + r * libm::sin(a))
        })
        .collect()
}

impl Maker {
    fn blob(&mut self, centre: (f64, f64), size: (f64, f64)) -> Ring {
        let corners = 3 + self.dice.below(24);
        star(&mut self.dice, centre, corners, size)
    }
    /// A place `share` of the way from the centre to the outline's vertex `k`.
    fn toward(&self, k: usize, share: f64) -> (f64, f64) {
        let v = self.outline[k % self.outline.len()];
        (
            self.centre.0 + share * (v.0 - self.centre.0),
            self.centre.1 + share * (v.1 - self.centre.1),
        )
    }
    /// A place of an edge, and the unit vector into the field.
    fn on_edge(&self, k: usize, share: f64) -> ((f64, f64), (f64, f64)) {
        let n = self.outline.len();
        let (a, b) = (self.outline[k % n], self.outline[(k + 1) % n]);
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let size = libm::hypot(dx, dy);
        (
            (a.0 + share * dx, a.1 + share * dy),
            (-dy / size, dx / size),
        )
    }
    fn exclusion(&mut self) -> Geometry {
        let n = self.outline.len();
        let k = self.dice.below(n);
        let share = self.dice.between(0.7, 1.1);
        let at = self.toward(k, share);
        match self.dice.below(11) {
            // Clipped to the boundary by GEOS: the usual case.
            0 | 1 => {
                let blob = self.blob(at, (8.0, 40.0));
                polygon(&[blob]).intersection(&self.boundary).unwrap()
            }
            // Crossing it.
            2 => {
                let blob = self.blob(at, (8.0, 40.0));
                polygon(&[blob])
            }
            // Touching it: a corner on a vertex or on an edge of it.
            3 => {
                let share = self.dice.between(0.0, 1.0);
                let (p, inwards) = self.on_edge(k, share);
                let p = if self.dice.one_in(2) {
                    self.outline[k]
                } else {
                    p
                };
                let tip = |side: f64| {
                    (
                        p.0 + 20.0 * inwards.0 + side * inwards.1,
                        p.1 + 20.0 * inwards.1 - side * inwards.0,
                    )
                };
                polygon(&[vec![p, tip(6.0), tip(-6.0)]])
            }
            // Sharing vertices with it.
            4 => {
                let run = 2 + self.dice.below(n.min(5) - 2);
                let mut ring: Ring = (0..=run).map(|i| self.outline[(k + i) % n]).collect();
                let (far, near) = (self.dice.between(0.6, 0.95), self.dice.between(0.6, 0.95));
                ring.push(self.toward(k + run, far));
                ring.push(self.toward(k, near));
                polygon(&[ring])
            }
            // A needle 1e-7 m wide along an edge, or a band that stays 1e-7 m off it.
            5 => {
                let (a, inwards) = self.on_edge(k, 0.1);
                let (b, _) = self.on_edge(k, 0.9);
                let off = |p: (f64, f64), by: f64| (p.0 + by * inwards.0, p.1 + by * inwards.1);
                if self.dice.one_in(2) {
                    polygon(&[vec![a, b, off(self.on_edge(k, 0.5).0, 1e-7)]])
                } else {
                    let deep = self.dice.between(2.0, 15.0);
                    polygon(&[vec![off(a, 1e-7), off(b, 1e-7), off(b, deep), off(a, deep)]])
                }
            }
            // An island of field in it.
            6 => {
                let hole = star(&mut self.dice, at, 7, (1.0, 7.0));
                let blob = star(&mut self.dice, at, 16, (12.0, 35.0));
                let whole = polygon(&[blob, hole]);
                if self.dice.one_in(2) {
                    whole.intersection(&self.boundary).unwrap()
                } else {
                    whole
                }
            }
            // Along the boundary's edge, or across it by as much as figures are rounded.
            7 => {
                let (a, inwards) = self.on_edge(k, 0.0);
                let (b, _) = self.on_edge(k, 1.0);
                let deep = self.dice.between(0.5, 12.0);
                let shift = [0.0, 1e-9, -1e-6, 0.004, -0.004][self.dice.below(5)];
                let off = |p: (f64, f64), by: f64| (p.0 + by * inwards.0, p.1 + by * inwards.1);
                polygon(&[vec![
                    off(a, shift),
                    off(b, shift),
                    off(b, deep),
                    off(a, deep),
                ]])
            }
            // A grass bank from one side to the other, clipped: the field falls into pieces.
            8 => {
                let (a, b) = (self.toward(k, 1.4), self.toward(k + n / 2, 1.4));
                let middle = self.toward(k + n / 4, 0.45);
                let line = format!(
                    "LINESTRING({} {},{} {},{} {})",
                    a.0, a.1, middle.0, middle.1, b.0, b.1
                );
                let wide = self.dice.between(0.5, 4.0);
                let bank = Geometry::from_wkt(&line).unwrap().buffer(wide, 8).unwrap();
                bank.intersection(&self.boundary).unwrap()
            }
            // Parts that overlap, a part inside a part, a ring run twice.
            9 => {
                let first = self.blob(at, (10.0, 30.0));
                let second = self.blob((at.0 + 8.0, at.1 - 5.0), (10.0, 30.0));
                let inner = star(&mut self.dice, at, 5, (2.0, 4.0));
                let twice: Ring = inner.iter().chain(&inner).copied().collect();
                let parts = [first, second, twice].map(|ring| format!("({})", text(&ring)));
                Geometry::from_wkt(&format!("MULTIPOLYGON({})", parts.join(","))).unwrap()
            }
            // Two that share an edge as GEOS left it.
            _ => {
                let first = polygon(&[self.blob(at, (10.0, 35.0))]);
                let beside = self.toward(k + 1, 0.85);
                let second = polygon(&[self.blob(beside, (10.0, 35.0))]);
                first.difference(&second).unwrap()
            }
        }
    }
}

fn save(path: &std::path::Path, driver: &str, srs: &SpatialRef, shapes: &[Geometry]) {
    let mut file = DriverManager::get_driver_by_name(driver)
        .unwrap()
        .create_vector_only(path)
        .unwrap();
    let layer = file
        .create_layer(LayerOptions {
            name: "ground",
            srs: Some(srs),
            ty: OGRwkbGeometryType::wkbUnknown,
            options: None,
        })
        .unwrap();
    for shape in shapes {
        let mut feature = Feature::new(layer.defn()).unwrap();
        feature.set_geometry(shape.clone()).unwrap();
        feature.create(&layer).unwrap();
    }
    file.close().unwrap();
}

/// Polygons of whatever an overlay gave: lines and points of a touch are no ground.
fn only_ground(shape: &Geometry) -> Option<Geometry> {
    let name = shape.geometry_name();
    if shape.is_empty() || shape.area() <= 0.0 {
        return None;
    }
    if name.ends_with("POLYGON") {
        return Some(shape.clone());
    }
    let mut whole = Geometry::empty(OGRwkbGeometryType::wkbMultiPolygon).unwrap();
    for k in 0..shape.geometry_count() {
        let part = shape.get_geometry(k);
        if part.geometry_name() == "POLYGON" {
            whole.add_geometry((*part).clone()).unwrap();
        }
    }
    (whole.area() > 0.0).then_some(whole)
}

impl RoughField {
    /// The field of a seed.
    pub(crate) fn of(seed: u64) -> Self {
        let mut dice = dice_of(seed);
        let (code, x, y) = PLACES[dice.below(3)];
        let centre = (x + dice.between(0.0, 5e4), y + dice.between(0.0, 5e4));
        Self::at(dice, code, centre)
    }

    /// A field across the 180° meridian, which longitude and latitude cannot write.
    pub(crate) fn across_the_date_line() -> Self {
        let centre = carry(&way("EPSG:4326", "EPSG:32601"), -180.0, 55.0);
        Self::at(dice_of(7), 32601, centre)
    }

    fn at(mut dice: Dice, code: u32, centre: (f64, f64)) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let heading = dice.between(0.0, 180.0);
        let corners = 6 + dice.below(30);
        let outline = star(&mut dice, centre, corners, (110.0, 200.0));
        let (s, c) = (
            libm::sin(heading.to_radians()),
            libm::cos(heading.to_radians()),
        );
        // Along the heading, and to its left.
        let place = |along: f64, left: f64| {
            (
                centre.0 + along * s - left * c,
                centre.1 + along * c + left * s,
            )
        };
        let rectangle =
            |l: f64, w: f64| vec![place(-l, -w), place(l, -w), place(l, w), place(-l, w)];
        let strip = rectangle(60.0, 12.0);
        let mut rings = vec![outline.clone()];
        if dice.one_in(2) {
            let a = dice.between(0.0, TAU);
            let at = (
                centre.0 + 80.0 * libm::cos(a),
                centre.1 + 80.0 * libm::sin(a),
            );
            rings.push(star(&mut dice, at, 9, (3.0, 9.0)));
        }
        let strip_ground = polygon(&[rectangle(72.0, 24.0)]);
        let holes: Vec<Geometry> = rings[1..]
            .iter()
            .map(|ring| {
                polygon(std::slice::from_ref(ring))
                    .difference(&strip_ground)
                    .unwrap()
            })
            .collect();
        let mut boundary = polygon(&rings[..1]);
        for hole in &holes {
            boundary = boundary.difference(hole).unwrap();
        }
        let mut maker = Maker {
            dice,
            centre,
            heading,
            outline,
            boundary,
            strip_ground,
        };
        let count = 1 + maker.dice.below(6);
        let mut exclusions = Vec::new();
        for _ in 0..count {
            let shape = maker.exclusion();
            // The strip stays; a figure that is none for GEOS is cut part by part.
            let shape = if shape.is_valid() {
                shape.difference(&maker.strip_ground).unwrap()
            } else {
                shape
            };
            exclusions.extend(only_ground(&shape));
        }
        let field = Self {
            folder,
            system: format!("EPSG:{code}"),
            kept_clear: exclusions
                .iter()
                .flat_map(parts)
                .chain(holes.iter().flat_map(parts))
                .collect(),
        };
        field.write(&mut maker, &strip, &exclusions);
        field
    }

    fn write(&self, maker: &mut Maker, strip: &Ring, exclusions: &[Geometry]) {
        let path = |name: &str| self.folder.path().join(name);
        let srs = SpatialRef::from_definition(&self.system).unwrap();
        save(
            &path("boundary.gpkg"),
            "GPKG",
            &srs,
            std::slice::from_ref(&maker.boundary),
        );
        save(
            &path("strip.gpkg"),
            "GPKG",
            &srs,
            &[polygon(std::slice::from_ref(strip))],
        );
        let half = exclusions.len() / 2;
        let (plain, other) = exclusions.split_at(if maker.dice.one_in(3) { half } else { 0 });
        let mut excludes = String::new();
        for (name, shapes) in [("first.gpkg", plain), ("second.gpkg", other)] {
            if shapes.is_empty() {
                continue;
            }
            save(&path(name), "GPKG", &srs, shapes);
            let buffer = ["0 m", "0 m", "3 m"][maker.dice.below(3)];
            for line in [
                "[[field.exclude]]",
                &format!("path = \"{name}\""),
                &format!("buffer = \"{buffer}\""),
            ] {
                excludes.push_str(line);
                excludes.push('\n');
            }
        }
        self.image(maker);
        let width = [12.0, 24.0, 18.0][maker.dice.below(3)];
        let simplify = ["0 m", "0 m", "3 m"][maker.dice.below(3)];
        let strips = ["map", "map", "leave"][maker.dice.below(3)];
        let kind = ["grid", "zones", "polygons"][maker.dice.below(3)];
        let job = format!(
            r#"[field]
name = "Rough Piece"
boundary = "boundary.gpkg"
strips = "{strips}"
{excludes}
[imagery]
path = "image.tif"
date = 2026-04-14
index = "band 1"
[reference]
strips = "strip.gpkg"
[season]
crop = "winter wheat"
planted = 2025-10-06
growing_days = 100
[response]
method = "yield response"
maximum_yield = "7 t/ha"
yield_curve = {{ a = "590 kg/ha", b = 258.2, index = "NDVI", source = "common practice" }}
[rate]
minimum = "10 kg N/ha"
maximum = "150 kg N/ha"
step = "5 kg N/ha"
[product]
name = "UAN 28"
[machine]
working_width = "{width} m"
heading = "{} grid"
[application]
date = 2026-04-16
[zones]
simplify = "{simplify}"
[output]
folder = "out"
formats = ["geopackage", "geojson", "shapefile", "geotiff", "iso11783", "kml", "flatgeobuf"]
task_data = {{ kind = "{kind}" }}
"#,
            maker.heading
        );
        fs_err::write(path("job.toml"), job).unwrap();
    }

    /// An index that is even but for a slow wave, with the strip above it.
    fn image(&self, maker: &Maker) {
        const PIXEL: f64 = 3.0;
        let half = 215.0;
        let size = (2.0 * half / PIXEL) as usize;
        let (west, north) = (maker.centre.0 - half, maker.centre.1 + half);
        let (s, c) = (
            libm::sin(maker.heading.to_radians()),
            libm::cos(maker.heading.to_radians()),
        );
        let mut values = Vec::with_capacity(size * size);
        for row in 0..size {
            for col in 0..size {
                let x = west + PIXEL * (col as f64 + 0.5) - maker.centre.0;
                let y = north - PIXEL * (row as f64 + 0.5) - maker.centre.1;
                let (along, left) = (x * s + y * c, -x * c + y * s);
                let wave = 0.06 * libm::sin(x / 31.0) * libm::cos(y / 43.0)
                    + 0.008 * libm::sin(x * 3.1 + y * 1.7);
                let in_strip = along.abs() <= 60.0 && left.abs() <= 12.0;
                values.push(if in_strip {
                    0.76 + wave / 10.0
                } else {
                    0.64 + wave
                } as f32);
            }
        }
        let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
        let mut file = driver
            .create_with_band_type::<f32, _>(self.folder.path().join("image.tif"), size, size, 1)
            .unwrap();
        file.set_spatial_ref(&SpatialRef::from_definition(&self.system).unwrap())
            .unwrap();
        file.set_geo_transform(&[west, PIXEL, 0.0, north, 0.0, -PIXEL])
            .unwrap();
        file.rasterband(1)
            .unwrap()
            .write((0, 0), (size, size), &mut Buffer::new((size, size), values))
            .unwrap();
        file.close().unwrap();
    }

    /// A shape in longitude and latitude, put onto the field's plane.
    pub(crate) fn on_plane(&self, shape: &Geometry) -> Geometry {
        let way = way("EPSG:4326", &self.system);
        let mut shape = shape.clone();
        shape.transform_inplace(&way).unwrap();
        shape
    }
}

/// The polygons of a shape, each by itself.
pub(crate) fn parts(shape: &Geometry) -> Vec<Geometry> {
    if shape.geometry_name() == "POLYGON" {
        return vec![shape.clone()];
    }
    (0..shape.geometry_count())
        .flat_map(|k| parts(&(*shape.get_geometry(k)).clone()))
        .collect()
}
