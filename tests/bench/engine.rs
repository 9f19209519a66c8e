//! The whole job against the time that GDAL needs merely to decode the same blocks: `cargo bench --bench engine`.
//!
//! Makes its own images (one seeded piece of ground at three pixel sizes, DEFLATE, 32-bit, three bands, 512 × 512 tiles), then runs, in turn and as processes of their
//! own, a decoder that does nothing else and the command itself. Prints wall and processor seconds, peak memory, ratios, and the growth over pixels and over cells.

#![expect(clippy::print_stdout, reason = "a bench prints its numbers")]

#[path = "../support/made.rs"]
mod made;
#[path = "../support/process.rs"]
mod process;
#[path = "../support/say.rs"]
mod say;

use std::path::Path;
use std::process::Command;
use std::sync::atomic::{AtomicUsize, Ordering};

use gdal::Dataset;

use crate::made::{GROUND, TILE, image, job, vectors};
use crate::process::{Used, used};
use crate::say::{caveats, short};

const REPEATS: usize = 5;
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
        let job = job(folder.path(), &image, &vectors, 10.0, "");
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
        let job = job(folder.path(), &image, &vectors, cell, "");
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
