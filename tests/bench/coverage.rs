//! How fast a field is cut and its pixels are weighed: `cargo bench --bench coverage`.
//!
//! A seeded field with a pond under a seeded image, both worked out, so that no disk is timed.

#![expect(clippy::print_stdout, reason = "a bench prints its numbers")]

#[path = "../support/clock.rs"]
mod clock;
#[path = "../support/held.rs"]
mod held;
#[path = "../support/say.rs"]
mod say;

use geo::{Area, LineString, MultiPolygon, Polygon};
use haulm::pipeline::scan::{Scan, Scanned, scan};
use haulm::space::cells::{CellFrame, CellGrid};
use haulm::space::coverage::{Scratch, cover};
use haulm::space::crs::Crs;
use haulm::space::cut::{borders, cut};
use haulm::space::polygon::{oriented, rings_of};
use haulm::space::raster::{Affine, Lattice, RasterSource, Window};

use crate::clock::{Times, timed};
use crate::held::{BandIsIndex, Held};
use crate::say::{caveats, short};

const SIDE: i64 = 3_000;
const PIXEL: f64 = 0.5;
const REPEATS: usize = 5;
/// One pixel in so many has no value.
const HOLES: u64 = 50;

/// Well mixed bits of a place (finaliser of the `SplitMix64` generator, from memory).
const fn mixed(seed: u64) -> u64 {
    let mut z = seed.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

fn unit(seed: u64) -> f64 {
    (mixed(seed) >> 11) as f64 / 9_007_199_254_740_992.0
}

fn value(col: i64, row: i64) -> f64 {
    let bits = mixed((row * SIDE + col) as u64);
    if bits.is_multiple_of(HOLES) {
        f64::NAN
    } else {
        0.3 + (bits >> 40) as f64 / 33_554_432.0
    }
}

/// A star of so many corners around the middle of the image, between two radii in metres.
fn star(corners: u32, radii: (f64, f64), seed: u64) -> LineString<f64> {
    let middle = SIDE as f64 * PIXEL / 2.0;
    let corner = |k: u32| {
        let angle = std::f64::consts::TAU * f64::from(k) / f64::from(corners);
        let radius = radii.0 + (radii.1 - radii.0) * unit(seed + u64::from(k));
        (
            5e5 + middle + radius * libm::cos(angle),
            5.4e6 - middle + radius * libm::sin(angle),
        )
    };
    LineString::from((0..corners).map(corner).collect::<Vec<_>>())
}

fn grid(field: &MultiPolygon<f64>, size: f64) -> CellGrid {
    let mut frame = CellFrame::new(27.0, size, size);
    let uv: Vec<(f64, f64)> = rings_of(field)
        .iter()
        .flatten()
        .map(|p| frame.to_uv(p[0], p[1]))
        .collect();
    frame.u0 = uv.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    frame.v0 = uv.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
    cut(field, frame).expect("fewer cells than the limit")
}

/// Covers every cell by itself; answers the pixels' shares added up.
fn covered(grid: &CellGrid, affine: &Affine) -> f64 {
    let (mut scratch, mut spans, mut sum) = (Scratch::default(), Vec::new(), 0.0);
    for cell in 0..grid.cells.len() {
        let mut rings: Vec<Vec<[f64; 2]>> =
            grid.rings(cell).into_iter().map(|(ring, _)| ring).collect();
        for point in rings.iter_mut().flatten() {
            let (x, y) = grid.frame.to_xy(point[0], point[1]);
            let (col, row) = affine.to_pixel(x, y);
            *point = [col, row];
        }
        spans.clear();
        cover(&rings, (0, SIDE), &mut scratch, &mut spans);
        sum += spans
            .iter()
            .map(|span| span.share * span.len as f64)
            .sum::<f64>();
    }
    sum
}

fn line(what: &str, times: Times, cells: f64, pixels: f64) {
    let ms = |d: std::time::Duration| 1e3 * d.as_secs_f64();
    println!(
        "  {what:<22} {:9.1} ms ({:.1})  {:>9}cells/s  {:>9}pixels/s",
        ms(times.middle),
        ms(times.best),
        short(times.per_second(cells)),
        short(times.per_second(pixels))
    );
}

fn main() {
    println!("{}", caveats());
    let crs = Crs::utm(15.0, 48.0);
    let affine = Affine([5e5, PIXEL, 0.0, 5.4e6, 0.0, -PIXEL]);
    let image = Held {
        lattice: Lattice {
            cols: SIDE,
            rows: SIDE,
            affine,
            crs: crs.clone(),
            block: (512, 512),
        },
        value,
    };
    let field = oriented(&MultiPolygon::new(vec![Polygon::new(
        star(90, (450.0, 740.0), 1),
        vec![star(24, (40.0, 90.0), 1_000)],
    )]));
    let pixels = field.unsigned_area() / (PIXEL * PIXEL);
    println!(
        "image {SIDE} × {SIDE} pixels of {PIXEL} m, {:.1} % without a value; field {:.1} ha with a pond, {}pixels",
        100.0 / HOLES as f64,
        field.unsigned_area() / 1e4,
        short(pixels)
    );
    let window = Window {
        col: 0,
        row: 0,
        cols: SIDE,
        rows: SIDE,
    };
    let (making, _) = timed(REPEATS, || {
        let mut bands = vec![Vec::new()];
        image
            .reader()
            .expect("an image that is worked out")
            .read(window, &mut bands)
            .expect("an image that is worked out");
        bands[0].len()
    });
    println!(
        "working the image out alone: {:.1} ms; every scan below holds it",
        1e3 * making.middle.as_secs_f64()
    );
    let all = std::thread::available_parallelism().map_or(1, usize::from);
    for size in [36.0, 12.0, 4.0] {
        let (cutting, grid) = timed(REPEATS, || grid(&field, size));
        let (bordering, borders) = timed(REPEATS, || borders(&grid).len());
        let (covering, sum) = timed(REPEATS, || covered(&grid, &affine));
        let passing = |threads: usize| {
            timed(REPEATS, || -> Scanned {
                let pass = Scan {
                    source: &image,
                    index: &BandIsIndex,
                    plane: &crs,
                    field: &field,
                    grid: &grid,
                    probes: &[],
                    pixel_inside: 0.999,
                    bare_below: Some(0.35),
                    look_at_bands: false,
                    threads,
                    window_pixels: 1 << 20,
                    progress: &|_, _| true,
                };
                scan(&pass).expect("an image that is worked out")
            })
        };
        let (one, scanned) = passing(1);
        let (many, _) = passing(all);
        let cells = grid.cells.len() as f64;
        println!(
            "cells of {size} m: {cells}, {borders} borders, {sum:.0} pixels covered, {:.2} % of pixels in the field without a value",
            100.0 * scanned.counts.missing as f64 / scanned.counts.in_field as f64
        );
        line("cut", cutting, cells, pixels);
        line("borders", bordering, cells, pixels);
        line("cover", covering, cells, pixels);
        line("scan, 1 thread", one, cells, pixels);
        line(&format!("scan, {all} threads"), many, cells, pixels);
        println!(
            "  ratios: 1 thread / {all} threads {:.2}; cover / scan {:.2}; working the image out / scan {:.2}",
            one.ratio(many),
            covering.ratio(one),
            making.ratio(one)
        );
    }
}
