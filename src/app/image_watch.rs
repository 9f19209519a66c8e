//! What the bands hold where the field lies, looked at as the pixels go by: numbers that are no reflectance, offsets taken away twice, bands that look swapped.
//!
//! Only counts and extremes are kept, so that the answer is the same for any number of threads.

use std::sync::atomic::{AtomicU64, Ordering};

use crate::app::error::AppError;
use crate::finding::{Finding, codes};
use crate::pipeline::scan::BandWatch;

/// Reflectance that hardly any crop or soil exceeds; where the 98th percentile does, the numbers are no reflectance.
const MAXIMUM_REFLECTANCE: f64 = 1.5;
/// Share above it from which the 98th percentile lies above it.
const ABOVE_SHARE: f64 = 0.02;
/// Share of negative or of full pixels from which they are no accident.
const FEW: f64 = 0.01;
/// Names of bands that hold reflectance, from long to short waves where a green crop orders them.
pub(crate) const REFLECTANCES: [&str; 8] = [
    "nir",
    "nir_2",
    "red_edge_3",
    "red_edge_2",
    "red_edge",
    "red",
    "green",
    "blue",
];
/// Pairs of which a green crop reflects more in the first.
const ORDER: [(&str, &str); 5] = [
    ("nir", "red_edge"),
    ("nir", "red"),
    ("red_edge", "red"),
    ("nir_2", "red_edge"),
    ("nir_2", "red"),
];

/// A band as the watch needs to know it.
#[derive(Clone, Debug, PartialEq)]
pub struct Watched {
    /// Canonical name.
    pub name: String,
    /// Value = stored × scale + offset.
    pub offset: f64,
    /// Value of the greatest number that its whole-number type can hold.
    pub full: Option<f64>,
}

#[derive(Debug)]
struct Band {
    is: Watched,
    negative: AtomicU64,
    above: AtomicU64,
    full: AtomicU64,
    /// Bits of the extremes.
    minimum: AtomicU64,
    maximum: AtomicU64,
}

#[derive(Debug)]
struct Pair {
    high: usize,
    low: usize,
    right: AtomicU64,
}

/// Counts over the field's pixels, band by band.
#[derive(Debug)]
pub struct Watch {
    bands: Vec<Band>,
    pairs: Vec<Pair>,
    /// Pixels that have every band.
    pixels: AtomicU64,
    /// Whether the index needs true reflectance.
    needs_scale: bool,
}

/// Least and greatest number of a row; numbers that are none are passed over.
fn extremes(row: &[f64]) -> (f64, f64) {
    // Eight at a time, each with extremes of its own: nothing waits for the one before.
    const LANES: usize = 8;
    let (mut minimum, mut maximum) = ([f64::INFINITY; LANES], [f64::NEG_INFINITY; LANES]);
    let chunks = row.chunks_exact(LANES);
    let rest = chunks.remainder();
    for chunk in chunks {
        for k in 0..LANES {
            minimum[k] = if chunk[k] < minimum[k] {
                chunk[k]
            } else {
                minimum[k]
            };
            maximum[k] = if chunk[k] > maximum[k] {
                chunk[k]
            } else {
                maximum[k]
            };
        }
    }
    let (minimum, maximum) = (minimum.iter().chain(rest), maximum.iter().chain(rest));
    (
        minimum
            .copied()
            .fold(f64::INFINITY, |a, b| if b < a { b } else { a }),
        maximum
            .copied()
            .fold(f64::NEG_INFINITY, |a, b| if b > a { b } else { a }),
    )
}

/// Keeps the more extreme of two numbers.
fn keep(slot: &AtomicU64, value: f64, beats: impl Fn(f64, f64) -> bool) {
    let mut known = slot.load(Ordering::Relaxed);
    while beats(value, f64::from_bits(known)) {
        match slot.compare_exchange_weak(
            known,
            value.to_bits(),
            Ordering::Relaxed,
            Ordering::Relaxed,
        ) {
            Ok(_) => return,
            Err(other) => known = other,
        }
    }
}

impl Watch {
    /// A watch over an index's bands, in slot order.
    pub fn new(bands: Vec<Watched>, needs_scale: bool) -> Self {
        let at = |name: &str| bands.iter().position(|band| band.name == name);
        let pairs = ORDER
            .iter()
            .filter_map(|(high, low)| {
                Some(Pair {
                    high: at(high)?,
                    low: at(low)?,
                    right: AtomicU64::new(0),
                })
            })
            .collect();
        let bands = bands
            .into_iter()
            .map(|is| Band {
                is,
                negative: AtomicU64::new(0),
                above: AtomicU64::new(0),
                full: AtomicU64::new(0),
                minimum: AtomicU64::new(f64::INFINITY.to_bits()),
                maximum: AtomicU64::new(f64::NEG_INFINITY.to_bits()),
            })
            .collect();
        Self {
            bands,
            pairs,
            pixels: AtomicU64::new(0),
            needs_scale,
        }
    }

    /// Why the image cannot be used, if it cannot.
    pub fn refusal(&self) -> Option<AppError> {
        let statistics = |refusal: AppError| {
            self.bands.iter().fold(refusal, |refusal, band| {
                refusal.with_fact(band.is.name.clone(), self.statistics(band))
            })
        };
        for band in self.bands.iter().filter(|band| band.is_reflectance()) {
            let share = self.share(&band.negative);
            if share > FEW {
                let percent = 100.0 * share;
                let name = &band.is.name;
                let notice = if band.is.offset < 0.0 {
                    AppError::refused(
                        "image.negative",
                        format!(
                            "{percent:.1} % of the field's pixels are negative in {name}: its offset of {} was most likely removed already",
                            band.is.offset
                        ),
                    )
                    .with_hint("if the files come from a distributor that removes the offset, write imagery.offset = 0; at most 1 % may be negative")
                } else {
                    AppError::refused(
                        "image.negative",
                        format!("{percent:.1} % of the field's pixels are negative in {name}, down to {}: no reflectance is", band.extremes().0),
                    )
                    .with_hint("if that number stands for no data, write it as imagery.nodata; else check scale and offset; at most 1 % may be negative")
                };
                return Some(statistics(notice));
            }
            let share = self.share(&band.above);
            if self.needs_scale && share > ABOVE_SHARE {
                return Some(statistics(
                    AppError::refused(
                        "imagery.scale",
                        format!(
                            "{:.1} % of the field's pixels lie above {MAXIMUM_REFLECTANCE} in {}, so its 98th percentile does: that is no reflectance between 0 and 1, and the index needs it",
                            100.0 * share,
                            band.is.name
                        ),
                    )
                    .with_hint("write what the numbers are multiplied with, such as imagery.scale = 0.0001 for reflectance times 10 000; look it up, 32 768 and 65 535 occur too"),
                ));
            }
        }
        None
    }

    /// What looks wrong, yet may be right.
    pub fn findings(&self) -> Vec<Finding> {
        let mut findings = Vec::new();
        for band in self.bands.iter().filter(|band| band.is_reflectance()) {
            let (negative, full, pixels) = (
                count(&band.negative),
                count(&band.full),
                count(&self.pixels),
            );
            if negative > 0 {
                findings.push(Finding::note(
                    codes::IMAGE_NEGATIVE,
                    format!("{negative} of {pixels} pixels of the field are negative in {}, down to {:.4}", band.is.name, band.extremes().0),
                ));
            }
            if full > 0 {
                let notice = format!(
                    "{full} of {pixels} pixels of the field hold the greatest number that {} can hold ({:.4}): saturated, or no data that the file does not declare (imagery.nodata)",
                    band.is.name,
                    band.extremes().1
                );
                findings.push(if self.share(&band.full) > FEW {
                    Finding::stop(codes::IMAGE_FULL, notice)
                        .with_figure(format!("{:.1} %", 100.0 * self.share(&band.full)))
                } else {
                    Finding::caution(codes::IMAGE_FULL, notice)
                });
            }
        }
        findings.extend(
            self.swapped()
                .map(|notice| Finding::caution(codes::IMAGE_BANDS, notice)),
        );
        findings
    }

    /// What to say when the bands are not in the order of a green crop.
    pub fn swapped(&self) -> Option<String> {
        self.pairs.iter().find_map(|pair| {
            let (both, right) = (count(&self.pixels), count(&pair.right));
            (both > 0 && 2 * right < both).then(|| {
                format!(
                    "{} lies above {} in only {:.1} % of the field's pixels, and a green crop reflects more near infrared than red edge, more red edge than red: are the bands named right?",
                    self.bands[pair.high].is.name,
                    self.bands[pair.low].is.name,
                    100.0 * right as f64 / both as f64
                )
            })
        })
    }
}

impl BandWatch for Watch {
    // Extremes first: only a run that goes beyond what is expected is counted pixel by pixel, so that a good image costs next to nothing.
    fn take(&self, rows: &[&[f64]], missing: u64) {
        let seen = rows
            .first()
            .map_or(0, |row| row.len() as u64)
            .saturating_sub(missing);
        self.pixels.fetch_add(seen, Ordering::Relaxed);
        for (band, row) in self.bands.iter().zip(rows) {
            let full = band.is.full.unwrap_or(f64::INFINITY);
            let (minimum, maximum) = extremes(row);
            keep(&band.minimum, minimum, |a, b| a < b);
            keep(&band.maximum, maximum, |a, b| a > b);
            // Comparisons with no number are false.
            for (counter, beyond, counted) in [
                (
                    &band.negative,
                    minimum < 0.0,
                    &(|value: f64| value < 0.0) as &dyn Fn(f64) -> bool,
                ),
                (&band.above, maximum > MAXIMUM_REFLECTANCE, &|value| {
                    value > MAXIMUM_REFLECTANCE
                }),
                (&band.full, maximum >= full, &|value| value >= full),
            ] {
                if beyond {
                    counter.fetch_add(
                        row.iter().filter(|value| counted(**value)).count() as u64,
                        Ordering::Relaxed,
                    );
                }
            }
        }
        for pair in &self.pairs {
            let right: u64 = rows[pair.high]
                .iter()
                .zip(rows[pair.low])
                .map(|(high, low)| u64::from(high > low))
                .sum();
            pair.right.fetch_add(right, Ordering::Relaxed);
        }
    }
}

impl Watch {
    /// Share of the pixels that have every band.
    fn share(&self, of: &AtomicU64) -> f64 {
        let pixels = count(&self.pixels);
        if pixels == 0 {
            0.0
        } else {
            count(of) as f64 / pixels as f64
        }
    }
    fn statistics(&self, band: &Band) -> String {
        let (minimum, maximum) = band.extremes();
        format!(
            "{} pixels, {minimum:.4} to {maximum:.4}; negative {:.1} %, above {MAXIMUM_REFLECTANCE} {:.1} %",
            count(&self.pixels),
            100.0 * self.share(&band.negative),
            100.0 * self.share(&band.above)
        )
    }
}

fn count(counter: &AtomicU64) -> u64 {
    counter.load(Ordering::Relaxed)
}

impl Band {
    fn is_reflectance(&self) -> bool {
        REFLECTANCES.contains(&self.is.name.as_str())
    }
    fn extremes(&self) -> (f64, f64) {
        (
            f64::from_bits(count(&self.minimum)),
            f64::from_bits(count(&self.maximum)),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn watch(names: &[(&str, f64)], needs_scale: bool) -> Watch {
        Watch::new(
            names
                .iter()
                .map(|(name, offset)| Watched {
                    name: (*name).to_owned(),
                    offset: *offset,
                    full: Some(6.5535),
                })
                .collect(),
            needs_scale,
        )
    }

    #[test]
    fn extremes_pass_over_what_is_no_number() {
        let row: Vec<f64> = (0..19)
            .map(|k| if k % 3 == 0 { f64::NAN } else { f64::from(k) })
            .collect();
        assert_eq!(extremes(&row), (1.0, 17.0));
        assert_eq!(extremes(&[f64::NAN; 9]), (f64::INFINITY, f64::NEG_INFINITY));
    }

    #[test]
    fn more_than_one_percent_negative_is_refused_and_less_is_told() {
        let watch = watch(&[("red", -0.1), ("nir", -0.1)], false);
        let (red, nir) = (vec![0.05; 99], vec![0.4; 99]);
        watch.take(&[&red, &nir], 0);
        watch.take(&[&[-0.01], &[0.4]], 0);
        assert!(watch.refusal().is_none(), "1 of 100");
        assert_eq!(watch.findings()[0].code, "image.negative");
        watch.take(&[&[-0.02, f64::NAN], &[0.4, 0.4]], 1);
        let refusal = watch.refusal().unwrap().to_json().to_string();
        assert!(
            refusal.contains("imagery.offset = 0") && refusal.contains("2.0 %"),
            "{refusal}"
        );
    }

    #[test]
    fn the_98th_percentile_decides_and_only_where_scale_matters() {
        let bright = |share: usize| {
            (0..100)
                .map(|k| if k < share { 2.0 } else { 0.4 })
                .collect::<Vec<f64>>()
        };
        for (needs, share, refused) in [(true, 2, false), (true, 3, true), (false, 100, false)] {
            let watch = watch(&[("nir", 0.0)], needs);
            watch.take(&[&bright(share)], 0);
            assert_eq!(watch.refusal().is_some(), refused, "{needs} {share}");
        }
        // No reflectance: a band of the user's own may hold anything.
        let own = watch(&[("temperature", 0.0)], true);
        own.take(&[&[-5.0, 25.0]], 0);
        assert!(own.refusal().is_none() && own.findings().is_empty());
    }

    #[test]
    fn swapped_bands_and_full_pixels() {
        let right = watch(&[("nir", 0.0), ("red_edge", 0.0), ("red", 0.0)], false);
        right.take(&[&[0.4, 0.5], &[0.2, 0.2], &[0.05, 0.3]], 0);
        assert!(right.findings().is_empty(), "{:?}", right.findings());
        let wrong = watch(&[("nir", 0.0), ("red", 0.0)], false);
        wrong.take(&[&[0.05, 0.05], &[0.4, f64::NAN]], 1);
        assert!(
            wrong.findings()[0]
                .message
                .contains("nir lies above red in only 0.0 %")
        );
        let full = watch(&[("nir", 0.0)], false);
        full.take(&[&[6.5535, 0.4]], 0);
        assert!(full.findings()[0].stops() && full.findings()[0].message.contains("1 of 2"));
    }
}
