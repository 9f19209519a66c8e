//! Made ground with a known truth, for scenes: what the crop would show with nitrogen enough, what it lacks, strips, image and job. It shares no code with
//! the method.

use gdal::raster::Buffer;
use gdal::spatial_ref::SpatialRef;
use gdal::{DriverManager, Metadata as _};

use crate::field::{CORNER, Field, rectangle};

/// Extent of the ground: across, along. \[m\] 28.8 ha.
pub(crate) const SIZE: (f64, f64) = (600.0, 480.0);

/// Small random numbers: the same seed, the same ground.
struct Dice(u64);

impl Dice {
    /// Evenly in 0 … 1.
    fn next(&mut self) -> f64 {
        // Marsaglia's xorshift of 64 bits.
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
    /// Normal with mean 0 and standard deviation 1: twelve even numbers.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.next()).sum::<f64>() - 6.0
    }
}

/// Smooth patches of mean 0: a sum of waves in all directions.
pub(crate) struct Patches {
    waves: Vec<[f64; 3]>,
    size: f64,
}

impl Patches {
    /// Of this standard deviation and about this correlation length \[m\].
    pub(crate) fn new(seed: u64, size: f64, length: f64) -> Self {
        let mut dice = Dice(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        for _ in 0..16 {
            dice.next();
        }
        let waves = (0..60)
            .map(|_| {
                [
                    dice.normal() / length,
                    dice.normal() / length,
                    dice.next() * std::f64::consts::TAU,
                ]
            })
            .collect();
        Self { waves, size }
    }
    /// At a place.
    pub(crate) fn at(&self, x: f64, y: f64) -> f64 {
        let scale = self.size * libm::sqrt(2.0 / self.waves.len() as f64);
        self.waves
            .iter()
            .map(|[a, b, c]| scale * libm::cos(a * x + b * y + c))
            .sum()
    }
}

/// A strip: its ground (west, south, east, north) \[m\].
pub(crate) type Strip = [f64; 4];

/// A scene. Functions take a place in metres from the ground's corner.
pub(crate) struct Scene<'a> {
    /// Index of the crop with nitrogen enough.
    pub(crate) rich: &'a dyn Fn(f64, f64) -> f64,
    /// Share of it that lack of nitrogen takes, outside strips.
    pub(crate) lack: &'a dyn Fn(f64, f64) -> f64,
    /// What else happened in the strips: the index there from what it would be.
    pub(crate) in_strip: &'a dyn Fn(f64, f64, f64) -> f64,
    /// The strips.
    pub(crate) strips: &'a [Strip],
}

impl Scene<'_> {
    /// The index at a place.
    fn index(&self, x: f64, y: f64) -> f64 {
        let inside =
            |strip: &&Strip| x >= strip[0] && y >= strip[1] && x < strip[2] && y < strip[3];
        let rich = (self.rich)(x, y);
        if self.strips.iter().find(inside).is_some() {
            (self.in_strip)(rich, x, y)
        } else {
            rich * (1.0 - (self.lack)(x, y))
        }
    }

    /// Nitrogen that the job's formula asks for with the true index and the true response at every place, strips as their surroundings. \[kg\]
    pub(crate) fn true_nitrogen(&self) -> f64 {
        // a, b, growing days, maximum yield, g, e: those of the job in `field`.
        let (a, b, days, most, g, e) = (590.0, 258.2, 100.0, 7_000.0, 0.0239, 0.5);
        let (mut kg, step) = (0.0, 4.0);
        let (cols, rows) = ((SIZE.0 / step) as usize, (SIZE.1 / step) as usize);
        for row in 0..rows {
            for col in 0..cols {
                let (x, y) = ((col as f64 + 0.5) * step, (row as f64 + 0.5) * step);
                let rich = (self.rich)(x, y);
                let inside = self
                    .strips
                    .iter()
                    .any(|s| x >= s[0] && y >= s[1] && x < s[2] && y < s[3]);
                let index = if inside {
                    rich
                } else {
                    rich * (1.0 - (self.lack)(x, y))
                };
                let without = f64::min(a * libm::exp(b * index / days), most);
                let with = f64::min(without * rich / index, most);
                kg += (with - without) * g / e * step * step / 10_000.0;
            }
        }
        kg
    }

    /// The field in a folder, seen with pixels of this size \[m\]; `noise` is the standard deviation of a pixel's own index.
    pub(crate) fn field(&self, pixel: f64, noise: f64, seed: u64) -> Field {
        let field = Field::new();
        let margin = 20.0;
        let (cols, rows) = (
            ((SIZE.0 + 2.0 * margin) / pixel) as usize,
            ((SIZE.1 + 2.0 * margin) / pixel) as usize,
        );
        // A pixel is the mean of its parts, of 2 m or less.
        let parts = libm::ceil(pixel / 2.0) as usize;
        let mut dice = Dice(seed.wrapping_mul(0xD134_2543_DE82_EF95) | 1);
        let (mut red, mut nir) = (Vec::new(), Vec::new());
        for row in 0..rows {
            for col in 0..cols {
                let mut sum = 0.0;
                for part in 0..parts * parts {
                    let (i, j) = (part % parts, part / parts);
                    let share = |k: usize| (k as f64 + 0.5) / parts as f64;
                    let x = (col as f64 + share(i)) * pixel - margin;
                    let y = SIZE.1 + margin - (row as f64 + share(j)) * pixel;
                    sum += self.index(x, y);
                }
                let index = sum / (parts * parts) as f64 + noise * dice.normal();
                red.push((0.225 * (1.0 - index)) as f32);
                nir.push((0.225 * (1.0 + index)) as f32);
            }
        }
        let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
        let mut file = driver
            .create_with_band_type::<f32, _>(field.path("image.tif"), cols, rows, 2)
            .unwrap();
        file.set_spatial_ref(&SpatialRef::from_definition("EPSG:32633").unwrap())
            .unwrap();
        file.set_geo_transform(&[
            CORNER.0 - margin,
            pixel,
            0.0,
            CORNER.1 + SIZE.1 + margin,
            0.0,
            -pixel,
        ])
        .unwrap();
        for (k, (name, values)) in [("red", red), ("nir", nir)].into_iter().enumerate() {
            let mut band = file.rasterband(k + 1).unwrap();
            band.set_description(name).unwrap();
            band.write((0, 0), (cols, rows), &mut Buffer::new((cols, rows), values))
                .unwrap();
        }
        file.close().unwrap();
        field.polygons("boundary.geojson", &[rectangle([0.0, 0.0, SIZE.0, SIZE.1])]);
        let strips: Vec<_> = self.strips.iter().map(|strip| rectangle(*strip)).collect();
        field.polygons("strips.geojson", &strips);
        field
    }
}
