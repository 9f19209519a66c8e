//! How often the interval of a strip on a coarse image holds the truth, where the ground is alike along the strip: made strips with a known response index,
//! with and without regard to what neighbouring blocks have in common. Prints the table of `docs/concepts/reference-strip.md`.
//!
//!     cargo run --release --example interval_study

#![expect(clippy::print_stdout, reason = "an example that prints a table")]

use haulm::science::reference::{MixedPixel, PairedMeans, coarse, fieller};

/// Index of the strip, and beside it.
const TRUTH: (f64, f64) = (0.75, 0.62);
/// Standard deviation of the ground along the strip, in it and on either side of it, each for itself.
const GROUND: f64 = 0.012;
/// Standard deviation of a pixel's own noise.
const NOISE: f64 = 0.003;
/// Strips that a line of the table rests on: 0.9 is then sure to ± 0.005.
const STRIPS: usize = 4_000;
/// Shares of a row of pixels across a strip of 2.4 pixels; the sign tells the side.
const ACROSS: [f64; 9] = [-0.0, -0.0, -0.0, -0.7, 1.0, 0.7, 0.0, 0.0, 0.0];

/// About normal numbers, SD 1: twelve uniform ones (constants of Knuth, from memory).
struct Noise(u64);

impl Noise {
    fn normal(&mut self) -> f64 {
        let mut one = || {
            self.0 = self
                .0
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (self.0 >> 11) as f64 / (1_u64 << 53) as f64
        };
        (0..12).map(|_| one()).sum::<f64>() - 6.0
    }
}

/// Pixels of a strip of so many rows in so many blocks; the ground is alike over `range` blocks (exponential correlation).
fn strip(rows: usize, blocks: usize, range: f64, noise: &mut Noise) -> Vec<MixedPixel> {
    let alike = if range > 0.0 {
        libm::exp(-(blocks as f64) / (range * rows as f64))
    } else {
        0.0
    };
    let mut walk: Vec<f64> = (0..3).map(|_| noise.normal()).collect();
    let mut pixels = Vec::with_capacity(rows * ACROSS.len());
    for row in 0..rows {
        for value in &mut walk {
            *value = alike * *value + libm::sqrt(1.0 - alike * alike) * noise.normal();
        }
        for signed in ACROSS {
            let (share, side) = (signed.abs(), usize::from(signed.is_sign_negative()) + 1);
            let (own, beside) = (TRUTH.0 + GROUND * walk[0], TRUTH.1 + GROUND * walk[side]);
            pixels.push(MixedPixel {
                share,
                index: share * own + (1.0 - share) * beside + NOISE * noise.normal(),
                block: row * blocks / rows,
            });
        }
    }
    pixels
}

fn main() {
    println!(
        "| pixels along | blocks | alike over | held, blocks as independent | held, with regard to neighbours | mean width, times |"
    );
    println!("| --- | --- | --- | --- | --- | --- |");
    for (rows, blocks) in [(14, 7), (20, 10), (30, 10), (60, 10)] {
        for range in [0.0, 0.33, 0.5, 1.0, 2.0] {
            let mut noise = Noise(20_260_414 + rows as u64);
            let (mut plain_held, mut held, mut plain_width, mut width, mut counted) =
                (0_usize, 0_usize, 0.0, 0.0, 0_usize);
            for _ in 0..STRIPS {
                let Ok(estimate) = coarse(&strip(rows, blocks, range, &mut noise), blocks) else {
                    continue;
                };
                let Ok(own) = estimate.interval else { continue };
                let back = own.effective_blocks / own.blocks as f64;
                let plain = PairedMeans {
                    variance_reference: back * own.means.variance_reference,
                    variance_beside: back * own.means.variance_beside,
                    covariance: back * own.means.covariance,
                    degrees_of_freedom: own.blocks as f64 - 1.0,
                    ..own.means
                };
                let Ok((low, high)) = fieller(&plain) else {
                    continue;
                };
                let truth = TRUTH.0 / TRUTH.1;
                counted += 1;
                plain_held += usize::from(low <= truth && truth <= high);
                held += usize::from(own.low <= truth && truth <= own.high);
                plain_width += high - low;
                width += own.high - own.low;
            }
            let percent = |held: usize| 100.0 * held as f64 / counted as f64;
            let alike = if range == 0.0 {
                "0".to_owned()
            } else {
                format!("{range} block{}", if range == 1.0 { "" } else { "s" })
            };
            println!(
                "| {rows} | {blocks} | {alike} | {:.0} % | {:.0} % | {:.2} |",
                percent(plain_held),
                percent(held),
                width / plain_width
            );
        }
    }
}
