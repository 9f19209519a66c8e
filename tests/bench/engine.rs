//! The whole job against the time that GDAL needs merely to decode the same blocks: `cargo bench --bench engine`.
//!
//! Makes its own images (one seeded piece of ground at three pixel sizes, DEFLATE, 32-bit, three bands, 512 × 512 tiles), then runs, in turn and as processes of their
//! own, a decoder that does nothing else and the command itself. Prints wall and processor seconds, peak memory, ratios, and the growth over pixels and over cells.

#![expect(clippy::print_stdout, reason = "a bench prints its numbers")]

#[path = "../support/process.rs"]
mod process;
#[path = "../support/say.rs"]
mod say;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::{AtomicUsize, Ordering};

use gdal::raster::{Buffer, RasterCreationOptions};
use gdal::spatial_ref::SpatialRef;
use gdal::{Dataset, DriverManager, Metadata};

use crate::process::{Used, used};
use crate::say::{caveats, short};

const REPEATS: usize = 5;
const TILE: usize = 512;
/// Side of the square of ground. \[m\]
const GROUND: f64 = 620.0;
/// Least easting and greatest northing. \[m\]
const CORNER: (f64, f64) = (500_000.0, 5_400_620.0);
const PIXELS: [f64; 3] = [0.8, 0.4, 0.2];
const CELLS: [f64; 3] = [20.0, 5.0, 1.9];

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    if let [word, file, threads] = arguments.as_slice()
        && word == "decode"
    {
        decode(
            Path::new(file),
            threads.parse().expect("a number of threads"),
        );
        return;
    }
    println!("{}", caveats());
    println!(
        "caveat: made ground, warm files, one machine; processor seconds are counted in hundredths"
    );
    let folder = tempfile::tempdir().expect("a folder");
    let vectors = vectors(folder.path());
    let all = std::thread::available_parallelism().map_or(1, usize::from);
    let mut by_pixels = Vec::new();
    for pixel in PIXELS {
        let image = image(folder.path(), pixel);
        let job = job(folder.path(), &image, &vectors, 10.0);
        let size = fs_err::metadata(&image).map_or(0, |facts| facts.len());
        let pixels = (GROUND / pixel) * (GROUND / pixel);
        println!(
            "\n{pixel} m pixels: {} × 3, {}B, cells of 10 m",
            short(pixels),
            short(size as f64)
        );
        for threads in if all > 1 { vec![1, all] } else { vec![1] } {
            let (floor, whole) = turn(&image, &job, threads);
            println!(
                "  {threads} thread(s)   decode only: wall {:.2} s, processor {:.2} s",
                floor.wall, floor.processor
            );
            println!(
                "                haulm map:   wall {:.2} s, processor {:.2} s, peak {} MiB; ratios: wall {:.2}, processor {:.2}",
                whole.wall,
                whole.processor,
                whole.peak_kib / 1024,
                whole.wall / floor.wall,
                whole.processor / floor.processor
            );
            if threads == 1 {
                by_pixels.push((pixels, whole.processor));
            }
        }
    }
    println!(
        "\ngrowth over pixels (slope of log processor seconds on log pixels): {:.2}",
        slope(&by_pixels)
    );
    let image = folder.path().join(format!("{}.tif", PIXELS[0]));
    let mut by_cells = Vec::new();
    for cell in CELLS {
        let job = job(folder.path(), &image, &vectors, cell);
        let whole = middle((0..REPEATS).map(|_| map(&job, 1)).collect());
        let cells = 0.9 * GROUND * GROUND * 0.81 / (cell * cell);
        println!(
            "cells of {cell} m: about {:.0}; processor {:.2} s, peak {} MiB",
            cells,
            whole.processor,
            whole.peak_kib / 1024
        );
        by_cells.push((cells, whole.processor));
    }
    let (first, last) = (by_cells[0], by_cells[by_cells.len() - 1]);
    println!(
        "growth over cells: slope {:.2}; {:.1} µs a cell",
        slope(&by_cells),
        1e6 * (last.1 - first.1) / (last.0 - first.0)
    );
}

/// Decoder and job in turn, the middle of each.
fn turn(image: &Path, job: &Path, threads: usize) -> (Used, Used) {
    let this = std::env::current_exe().expect("the bench itself");
    let (mut floors, mut wholes) = (Vec::new(), Vec::new());
    for round in 0..=REPEATS {
        let floor = used(Command::new(&this).args([
            "decode",
            &image.to_string_lossy(),
            &threads.to_string(),
        ]));
        let whole = map(job, threads);
        // The first round warms the files.
        if round > 0 {
            floors.push(floor);
            wholes.push(whole);
        }
    }
    (middle(floors), middle(wholes))
}

fn map(job: &Path, threads: usize) -> Used {
    used(
        Command::new(env!("CARGO_BIN_EXE_haulm"))
            .args(["map", "--quiet", "--threads", &threads.to_string()])
            .arg(job),
    )
}

fn middle(mut all: Vec<Used>) -> Used {
    let k = all.len() / 2;
    all.sort_by(|a, b| a.wall.total_cmp(&b.wall));
    let wall = all[k].wall;
    all.sort_by(|a, b| a.processor.total_cmp(&b.processor));
    Used {
        wall,
        processor: all[k].processor,
        peak_kib: all.iter().map(|used| used.peak_kib).max().unwrap_or(0),
    }
}

/// Slope of a least-squares line through the logarithms.
fn slope(points: &[(f64, f64)]) -> f64 {
    let n = points.len() as f64;
    let logs: Vec<(f64, f64)> = points
        .iter()
        .map(|(x, y)| (libm::log(*x), libm::log(*y)))
        .collect();
    let mean = |pick: fn(&(f64, f64)) -> f64| logs.iter().map(pick).sum::<f64>() / n;
    let (x, y) = (mean(|p| p.0), mean(|p| p.1));
    logs.iter().map(|p| (p.0 - x) * (p.1 - y)).sum::<f64>()
        / logs.iter().map(|p| (p.0 - x) * (p.0 - x)).sum::<f64>()
}

/// Decodes every block that the field touches, all bands, and nothing else.
fn decode(path: &Path, threads: usize) {
    let facts = Dataset::open(path).expect("the image");
    let (cols, rows) = facts.raster_size();
    let (across, down) = (cols.div_ceil(TILE), rows.div_ceil(TILE));
    let next = AtomicUsize::new(0);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                let dataset = Dataset::open(path).expect("the image");
                let mut values = vec![0.0_f32; TILE * TILE];
                loop {
                    let k = next.fetch_add(1, Ordering::Relaxed);
                    if k >= across * down {
                        break;
                    }
                    let (col, row) = (k % across * TILE, k / across * TILE);
                    let size = (TILE.min(cols - col), TILE.min(rows - row));
                    for band in dataset.rasterbands() {
                        let into = &mut values[..size.0 * size.1];
                        band.expect("a band")
                            .read_into_slice((col as isize, row as isize), size, size, into, None)
                            .expect("a block");
                    }
                }
            });
        }
    });
}

/// A number in 0 … 1 out of a place, the same on every machine.
fn noise(col: usize, row: usize, seed: u64) -> f64 {
    let mut x = (col as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15)
        ^ (row as u64).wrapping_mul(0xC2B2_AE3D_27D4_EB4F)
        ^ seed;
    x = (x ^ (x >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x = (x ^ (x >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    (x ^ (x >> 31)) as f64 / u64::MAX as f64
}

fn image(folder: &Path, pixel: f64) -> PathBuf {
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

fn vectors(folder: &Path) -> (PathBuf, PathBuf) {
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

fn job(folder: &Path, image: &Path, (boundary, strips): &(PathBuf, PathBuf), cell: f64) -> PathBuf {
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
         [machine]\nworking_width = \"{cell} m\"\ncell_length = \"{cell} m\"\nheading = \"auto\"\n[zones]\nminimum_area = \"{} m2\"\n[output]\nfolder = \"out_{cell}\"\n",
        name(boundary),
        name(image),
        name(strips),
        10.0 * cell * cell
    );
    fs_err::write(&path, text).expect("the job");
    path
}
