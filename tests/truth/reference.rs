//! Strips against a plain numpy and scipy version, `make_reference.py`, whose data and results are in `reference.json`
//! (made by: `python tests/truth/make_reference.py > tests/truth/reference.json`), and Fieller's interval against a worked example.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use haulm::science::reference::{
    MixedPixel, PairedMeans, StripSums, coarse, fieller, fine, student_quantile,
};
use serde::Deserialize;

#[derive(Deserialize)]
struct File {
    fine: std::collections::BTreeMap<String, FineCase>,
    coarse: CoarseCase,
    student: Vec<(f64, f64)>,
}

/// Segment, block, share, index.
type Pixel = (usize, usize, f64, f64);

#[derive(Deserialize)]
struct FineCase {
    strip: Vec<Pixel>,
    swath: Vec<Pixel>,
    expected: FineExpected,
}

#[derive(Deserialize)]
struct FineExpected {
    index: f64,
    index_without_dropping: f64,
    beside: f64,
    dropped: Vec<usize>,
    swath_dropped: Vec<usize>,
    pairs: usize,
    blocks: usize,
    rho: f64,
    effective_blocks: f64,
    low: f64,
    high: f64,
    seen_low: f64,
    seen_high: f64,
    swath_cv: f64,
}

#[derive(Deserialize)]
struct CoarseCase {
    pixels: Vec<(f64, f64, usize)>,
    expected: CoarseExpected,
}

#[derive(Deserialize)]
struct CoarseExpected {
    index: f64,
    beside: f64,
    standard_error: f64,
    low: f64,
    high: f64,
    blocks: usize,
    rho: f64,
    effective_blocks: f64,
}

fn file() -> File {
    serde_json::from_str(include_str!("reference.json")).unwrap()
}

fn sums(pixels: &[Pixel]) -> StripSums {
    let mut sums = StripSums::new(20, 10);
    for (segment, block, share, index) in pixels {
        sums.cell_mut(*segment, *block).unwrap().add(*share, *index);
    }
    sums
}

#[test]
fn fine_strips() {
    let cases = file().fine;
    assert_eq!(cases.len(), 3);
    for (name, case) in cases {
        let (estimate, expected) = (
            fine(&sums(&case.strip), Some(&sums(&case.swath)), 3.5).unwrap(),
            case.expected,
        );
        let (swath, interval) = (estimate.swath.as_ref().unwrap(), estimate.interval.unwrap());
        assert_eq!(
            (&estimate.dropped, &swath.dropped),
            (&expected.dropped, &expected.swath_dropped),
            "{name}"
        );
        assert_eq!(
            (estimate.pairs, interval.blocks),
            (expected.pairs, expected.blocks),
            "{name}"
        );
        for (ours, theirs) in [
            (estimate.index, expected.index),
            (
                estimate.index_without_dropping,
                expected.index_without_dropping,
            ),
            (swath.index, expected.beside),
            (swath.coefficient_of_variation, expected.swath_cv),
            (swath.seen_ratios.0, expected.seen_low),
            (swath.seen_ratios.1, expected.seen_high),
            (interval.effective_blocks, expected.effective_blocks),
            (interval.low, expected.low),
            (interval.high, expected.high),
        ] {
            assert_relative_eq!(ours, theirs, max_relative = 1e-9);
        }
        assert_abs_diff_eq!(interval.neighbour_correlation, expected.rho, epsilon = 1e-9);
    }
}

#[test]
fn coarse_strip() {
    let CoarseCase { pixels, expected } = file().coarse;
    let pixels: Vec<MixedPixel> = pixels
        .into_iter()
        .map(|(share, index, block)| MixedPixel {
            share,
            index,
            block,
        })
        .collect();
    let estimate = coarse(&pixels, 10).unwrap();
    let interval = estimate.interval.unwrap();
    assert_eq!(interval.blocks, expected.blocks);
    for (ours, theirs) in [
        (estimate.index, expected.index),
        (estimate.beside, expected.beside),
        (estimate.standard_error, expected.standard_error),
        (interval.effective_blocks, expected.effective_blocks),
        (interval.neighbour_correlation, expected.rho),
        (interval.low, expected.low),
        (interval.high, expected.high),
    ] {
        assert_relative_eq!(ours, theirs, max_relative = 1e-9);
    }
}

#[test]
fn quantiles_of_student() {
    for (degrees_of_freedom, quantile) in file().student {
        assert_relative_eq!(
            student_quantile(degrees_of_freedom),
            quantile,
            max_relative = 1e-9
        );
    }
}

#[test]
fn fieller_for_independent_samples() {
    // Eight readings in a strip, eight in a target: means and variances by hand, Welch's degrees of freedom 12.585471, bounds from scipy and by the
    // textbook formula (quadratic in the ratio): 1.329609 to 1.461032.
    let strip = [0.72, 0.74, 0.71, 0.75, 0.73, 0.76, 0.70, 0.74];
    let target = [0.52, 0.55, 0.50, 0.57, 0.48, 0.54, 0.53, 0.51];
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let of_mean = |values: &[f64]| {
        values
            .iter()
            .map(|value| (value - mean(values)) * (value - mean(values)))
            .sum::<f64>()
            / (7.0 * 8.0)
    };
    let (a, b) = (of_mean(&strip), of_mean(&target));
    let welch = (a + b) * (a + b) / ((a * a + b * b) / 7.0);
    assert_abs_diff_eq!(welch, 12.585_471, epsilon = 1e-6);
    assert_abs_diff_eq!(student_quantile(welch), 2.167_624, epsilon = 1e-6);
    let means = PairedMeans {
        reference: mean(&strip),
        beside: mean(&target),
        variance_reference: a,
        variance_beside: b,
        covariance: 0.0,
        degrees_of_freedom: welch,
    };
    let (low, high) = fieller(&means).unwrap();
    assert_abs_diff_eq!(low, 1.329_609, epsilon = 1e-6);
    assert_abs_diff_eq!(high, 1.461_032, epsilon = 1e-6);
}
