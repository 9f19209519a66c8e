//! Whether a sensor's blur matters for a reference strip: made scenes with a known blur, strips of 0.8 to 6 pixels, solved without a blur, with the true one and
//! with one fitted from the strip's own pixels. Prints the table of `docs/concepts/point-spread.md`.
//!
//!     cargo run --release --example point_spread_study

#![expect(clippy::print_stdout, reason = "an example that prints a table")]

use haulm::pipeline::blur::{Shares, StripPixels, fit_spread};
use haulm::science::reference::coarse;

/// Places a pixel is made of, along each side.
const FINE: usize = 6;
/// Rows and columns of a scene.
const SIDE: usize = 44;
/// Strip's length. [pixels]
const LENGTH: f64 = 30.0;
/// Index of the strip, and beside it.
const TRUTH: (f64, f64) = (0.75, 0.62);
/// Scenes a line of the table rests on.
const SCENES: u64 = 40;

/// Uniform numbers in ±1 (constants of Knuth, from memory).
struct Noise(u64);

impl Noise {
    fn uniform(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
    /// About normal, SD 1: twelve uniform numbers.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() / 2.0
    }
}

/// Blurs a square along both sides by a Gaussian of this SD, in its own steps.
fn blurred(values: &[f64], side: usize, sigma: f64) -> Vec<f64> {
    if sigma <= 0.0 {
        return values.to_vec();
    }
    let reach = libm::ceil(4.0 * sigma) as i64;
    let kernel: Vec<f64> = (-reach..=reach)
        .map(|d| libm::exp(-((d * d) as f64) / (2.0 * sigma * sigma)))
        .collect();
    let total: f64 = kernel.iter().sum();
    let mut out = values.to_vec();
    for across in [false, true] {
        let before = out.clone();
        for r in 0..side {
            for c in 0..side {
                let mut sum = 0.0;
                for (k, weight) in kernel.iter().enumerate() {
                    let at =
                        |v: usize| (v as i64 + k as i64 - reach).clamp(0, side as i64 - 1) as usize;
                    sum += weight
                        * if across {
                            before[r * side + at(c)]
                        } else {
                            before[at(r) * side + c]
                        };
                }
                out[r * side + c] = sum / total;
            }
        }
    }
    out
}

/// A scene: a strip of this width, turned and shifted by chance, on patchy ground, seen by a sensor of this blur [full width, pixels].
fn scene(width: f64, blur: f64, seed: u64) -> StripPixels {
    let mut noise = Noise(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5DEE_CE66);
    for _ in 0..8 {
        noise.uniform();
    }
    let middle = SIDE as f64 / 2.0;
    let (angle, dx, dy) = (
        noise.uniform() * std::f64::consts::FRAC_PI_4,
        noise.uniform() / 2.0,
        noise.uniform() / 2.0,
    );
    let (sin, cos) = (libm::sin(angle), libm::cos(angle));
    let to_strip = |x: f64, y: f64| {
        let (x, y) = (x - middle - dx, y - middle - dy);
        (x * cos + y * sin, -x * sin + y * cos)
    };
    let corner = |u: f64, v: f64| {
        [
            middle + dx + u * cos - v * sin,
            middle + dy + u * sin + v * cos,
        ]
    };
    let (l, w) = (LENGTH / 2.0, width / 2.0);
    let rings = vec![vec![
        corner(-l, -w),
        corner(l, -w),
        corner(l, w),
        corner(-l, w),
        corner(-l, -w),
    ]];
    let side = SIDE * FINE;
    // Patches of some two and some eight pixels, SD 0.012 in all, the same under strip and field.
    let grain: Vec<f64> = (0..side * side).map(|_| noise.normal()).collect();
    let unit = |values: Vec<f64>| {
        let sd = libm::sqrt(values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64);
        values.into_iter().map(|v| v / sd).collect::<Vec<f64>>()
    };
    let (small, large) = (
        unit(blurred(&grain, side, 0.7 * FINE as f64)),
        unit(blurred(&grain, side, 3.0 * FINE as f64)),
    );
    let ground: Vec<f64> = (0..side * side)
        .map(|at| {
            let (x, y) = (
                ((at % side) as f64 + 0.5) / FINE as f64,
                ((at / side) as f64 + 0.5) / FINE as f64,
            );
            let (u, v) = to_strip(x, y);
            let level = if u.abs() < l && v.abs() < w {
                TRUTH.0
            } else {
                TRUTH.1
            };
            level + 0.008 * small[at] + 0.009 * large[at]
        })
        .collect();
    let seen = blurred(&ground, side, blur / 2.354_82 * FINE as f64);
    let mut pixels = Vec::new();
    for row in 0..SIDE {
        for col in 0..SIDE {
            let (u, v) = to_strip(col as f64 + 0.5, row as f64 + 0.5);
            if u.abs() > l + 2.5 || v.abs() > w + 2.5 {
                continue;
            }
            let mut sum = 0.0;
            for i in 0..FINE {
                for j in 0..FINE {
                    sum += seen[(row * FINE + i) * side + col * FINE + j];
                }
            }
            let block = (((u + l) / LENGTH * 10.0).max(0.0) as usize).min(9);
            pixels.push((
                row as i64,
                col as i64,
                sum / (FINE * FINE) as f64 + 0.003 * noise.normal(),
                block,
            ));
        }
    }
    StripPixels { rings, pixels }
}

/// What came of one way of solving over all scenes.
#[derive(Default)]
struct Tally {
    solved: u64,
    error: f64,
    squares: f64,
    ratios_held: u64,
    intervals: u64,
}

impl Tally {
    fn take(&mut self, strip: &StripPixels, width: f64) {
        let Ok(estimate) = coarse(&strip.mixed(width), 10) else {
            return;
        };
        let off = estimate.index - TRUTH.0;
        self.solved += 1;
        self.error += off;
        self.squares += off * off;
        if let Ok(interval) = &estimate.interval {
            self.intervals += 1;
            let truth = TRUTH.0 / TRUTH.1;
            self.ratios_held += u64::from(interval.low <= truth && truth <= interval.high);
        }
    }
    fn shown(&self) -> String {
        if self.solved == 0 {
            return "never solved | |".to_owned();
        }
        let n = self.solved as f64;
        let held = if self.intervals > 0 {
            format!(
                "{:.0} %",
                100.0 * self.ratios_held as f64 / self.intervals as f64
            )
        } else {
            "none".to_owned()
        };
        format!(
            "{:+.3} ± {:.3}{} | {held} |",
            self.error / n,
            libm::sqrt(self.squares / n),
            if self.solved < SCENES {
                format!(" ({} of {SCENES})", self.solved)
            } else {
                String::new()
            }
        )
    }
}

fn main() {
    // The shares are the program's own: a strip without blur covers what was drawn.
    let check = scene(3.0, 0.0, 1);
    let shares = Shares::of(&check.rings, 0.0);
    let area: f64 = (0..SIDE as i64)
        .flat_map(|r| (0..SIDE as i64).map(move |c| (r, c)))
        .map(|(r, c)| shares.at(r, c))
        .sum();
    println!("area of a strip of 3 × {LENGTH} pixels by its shares: {area:.6}\n");
    println!(
        "| blur | width | none: error ± rms | held | true: error ± rms | held | fitted: error ± rms | held | blur fitted ± SD | held |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |");
    for blur in [0.0, 0.8, 1.0, 1.5, 2.0] {
        for width in [0.8, 1.2, 1.6, 2.4, 3.2, 4.0, 6.0] {
            let (mut none, mut known, mut fitted) =
                (Tally::default(), Tally::default(), Tally::default());
            let (mut n, mut sum, mut squares, mut held) = (0.0, 0.0, 0.0, 0);
            for seed in 0..SCENES {
                let strip = scene(width, blur, seed + 1);
                none.take(&strip, 0.0);
                known.take(&strip, blur);
                let Some(fit) = fit_spread(std::slice::from_ref(&strip)) else {
                    continue;
                };
                fitted.take(&strip, fit.full_width);
                n += 1.0;
                sum += fit.full_width;
                squares += fit.full_width * fit.full_width;
                held += u32::from(fit.low <= blur && blur <= fit.high);
            }
            let (mean, sd) = (
                sum / n,
                libm::sqrt((squares / n - (sum / n) * (sum / n)).max(0.0)),
            );
            println!(
                "| {blur:.1} | {width:.1} | {} {} {} {mean:.2} ± {sd:.2} | {:.0} % |",
                none.shown(),
                known.shown(),
                fitted.shown(),
                100.0 * f64::from(held) / n
            );
        }
    }
}
