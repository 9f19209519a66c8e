//! A strip that holds pure pixels: its mean, bad ground left out by whole segments, beside its comparison swaths.

use super::ReferenceError;
use super::evenness::{Uneven, uneven};
use super::interval::{NoInterval, RatioInterval, block_bootstrap, paired_blocks};
use super::sums::{SegmentSums, StripSums, median, percentile, with_data};

/// Least number of segments with data before any may be dropped.
const MINIMUM_SEGMENTS_TO_DROP: usize = 8;
/// Largest share of segments with data that may be dropped.
const MAXIMUM_DROPPED: f64 = 0.25;
/// Standard deviations in a median absolute deviation of normal numbers, textbook value.
const SD_PER_MAD: f64 = 1.4826;
/// Segments within this share of the median are never dropped.
const NEVER_DROPPED: f64 = 0.10;
/// Least number of complete pairs for a comparison.
const MINIMUM_PAIRS: usize = 5;
/// Seed of the printed bootstrap; any would do, this one never changes.
const BOOTSTRAP_SEED: u64 = 2_026;

/// A strip's estimate from pure pixels.
#[derive(Clone, Debug, PartialEq)]
pub struct FineEstimate {
    /// `I_ref`.
    pub index: f64,
    /// `I_ref` with every segment kept.
    pub index_without_dropping: f64,
    /// Coefficient of variation of the pixels that are kept. \[share\]
    pub coefficient_of_variation: f64,
    /// Pixels kept.
    pub pixels: u64,
    /// Segments with data.
    pub segments_with_data: usize,
    /// Numbers of the dropped segments, from 0.
    pub dropped: Vec<usize>,
    /// How many segments lie so far off that they would have gone, when that were too many and none went.
    pub too_many_to_drop: Option<usize>,
    /// What was measured beside it; `None` without a swath or with fewer than 5 complete pairs.
    pub swath: Option<SwathEstimate>,
    /// Segments with data in strip and swath.
    pub pairs: usize,
    /// 95 % interval of `I_ref` / `I_beside`, or why there is none.
    pub interval: Result<RatioInterval, NoInterval>,
    /// 2.5th to 97.5th percentile of the block bootstrap of the ratio; a check only.
    pub bootstrap: Option<(f64, f64)>,
    /// Whether the kept segments are of two kinds, or vary much more than those beside.
    pub uneven: Option<Uneven>,
}

/// The comparison swaths of a strip, both sides together.
#[derive(Clone, Debug, PartialEq)]
pub struct SwathEstimate {
    /// `I_beside`.
    pub index: f64,
    /// Coefficient of variation of its pixels: how even the stand is. \[share\]
    pub coefficient_of_variation: f64,
    /// Pixels kept.
    pub pixels: u64,
    /// Numbers of the segments left out, the strip's own among them, from 0.
    pub dropped: Vec<usize>,
    /// How many segments of its own lie too far off but were too many to drop.
    pub too_many_to_drop: Option<usize>,
    /// 5th and 95th percentile (linear interpolation, type 7) of the ratio strip / swath over complete pairs of segments.
    pub seen_ratios: (f64, f64),
}

impl FineEstimate {
    /// `I_beside`.
    pub fn beside(&self) -> Option<f64> {
        self.swath.as_ref().map(|swath| swath.index)
    }
    /// `I_ref / I_beside`.
    pub fn ratio(&self) -> Option<f64> {
        self.beside().map(|beside| self.index / beside)
    }
}

/// Estimates a strip from pure pixels.
///
/// `I_ref = Σ share·I / Σ share` over the segments that are kept. A segment has data with 5 pixels or half of the median pixel count, whichever is
/// less. With at least 8 such segments, those whose mean lies further from the median than `max(drop · 1.4826 · MAD, 0.10 · |median|) + 1e-12` are
/// dropped, once, and only if at most a quarter would go; `drop` 0 keeps every segment. The swath leaves out the strip's dropped segments, and its
/// own by the same rule applied to all of its segments with data.
///
/// # Errors
/// When the strip has no pixel, when its index is not above 0, and when strip and swath are cut differently.
///
/// # Source
/// Median and scaled median absolute deviation: Rousseeuw and Croux 1993, JASA 88:1273-1283 (from memory). Dropping whole pieces, and the limits of it,
/// are ours.
pub fn fine(
    strip: &StripSums,
    swath: Option<&StripSums>,
    drop: f64,
) -> Result<FineEstimate, ReferenceError> {
    if let Some(swath) = swath
        && (swath.segments != strip.segments || swath.blocks != strip.blocks)
    {
        return Err(ReferenceError::CutDifferently {
            strip_segments: strip.segments,
            strip_blocks: strip.blocks,
            swath_segments: swath.segments,
            swath_blocks: swath.blocks,
        });
    }
    let segments = strip.by_segment();
    let own = Dropping::of(&segments, drop);
    let keep: Vec<bool> = own.far.iter().map(|far| !far).collect();
    let kept = strip.total(&keep);
    let index = kept.mean().ok_or(ReferenceError::NoPixels)?;
    if index.is_nan() || index <= 0.0 {
        return Err(ReferenceError::NotPositive { index });
    }
    let every = strip.total(&vec![true; strip.segments]);
    let mut estimate = FineEstimate {
        index,
        index_without_dropping: every.mean().ok_or(ReferenceError::NoPixels)?,
        coefficient_of_variation: kept.coefficient_of_variation().unwrap_or(0.0),
        pixels: kept.pixels,
        segments_with_data: own.data.iter().filter(|data| **data).count(),
        dropped: numbers(&own.far),
        too_many_to_drop: own.too_many,
        swath: None,
        pairs: 0,
        interval: Err(NoInterval::NothingBeside),
        bootstrap: None,
        uneven: None,
    };
    if let Some(swath) = swath {
        compare(&mut estimate, strip, &segments, &own, swath, drop);
    }
    Ok(estimate)
}

/// Adds what the comparison swath tells.
fn compare(
    estimate: &mut FineEstimate,
    strip: &StripSums,
    segments: &[SegmentSums],
    own: &Dropping,
    swath: &StripSums,
    drop: f64,
) {
    let swath_segments = swath.by_segment();
    let theirs = Dropping::of(&swath_segments, drop);
    let keep_strip: Vec<bool> = own.far.iter().map(|far| !far).collect();
    let left_out: Vec<bool> = own
        .far
        .iter()
        .zip(&theirs.far)
        .map(|(a, b)| *a || *b)
        .collect();
    let keep: Vec<bool> = left_out.iter().map(|out| !out).collect();
    let complete = (0..strip.segments).filter(|i| keep[*i] && own.data[*i] && theirs.data[*i]);
    let ratios: Vec<f64> = complete
        .filter_map(|i| {
            Some(segments[i].mean()? / swath_segments[i].mean().filter(|mean| *mean > 0.0)?)
        })
        .collect();
    estimate.pairs = ratios.len();
    let total = swath.total(&keep);
    let Some(beside) = total
        .mean()
        .filter(|mean| *mean > 0.0 && ratios.len() >= MINIMUM_PAIRS)
    else {
        return;
    };
    let (Some(low), Some(high)) = (percentile(&ratios, 5.0), percentile(&ratios, 95.0)) else {
        return;
    };
    let blocks = block_means(&strip.by_block(&keep_strip), &swath.by_block(&keep));
    estimate.interval = paired_blocks(&blocks, estimate.index, beside);
    estimate.bootstrap = bootstrap(&blocks, estimate.index / beside);
    let kept_means = |segments: &[SegmentSums], data: &[bool], keep: &[bool]| {
        let one = |k: usize| segments[k].mean().filter(|_| data[k] && keep[k]);
        (0..segments.len()).map(one).collect::<Vec<_>>()
    };
    // Many pixels make a segment, so that pixels alone give it no variance worth taking off.
    estimate.uneven = uneven(
        &kept_means(segments, &own.data, &keep_strip),
        &kept_means(&swath_segments, &theirs.data, &keep),
        0.0,
    );
    estimate.swath = Some(SwathEstimate {
        index: beside,
        coefficient_of_variation: total.coefficient_of_variation().unwrap_or(0.0),
        pixels: total.pixels,
        dropped: numbers(&left_out),
        too_many_to_drop: theirs.too_many,
        seen_ratios: (low, high),
    });
}

/// Means of the blocks that have data, by the rule of the segments, in strip and swath.
fn block_means(strip: &[SegmentSums], swath: &[SegmentSums]) -> Vec<Option<(f64, f64)>> {
    let (strip_data, swath_data) = (with_data(strip), with_data(swath));
    strip
        .iter()
        .zip(swath)
        .zip(strip_data.iter().zip(&swath_data))
        .map(|((a, b), (in_strip, in_swath))| {
            if *in_strip && *in_swath {
                Some((a.mean()?, b.mean()?))
            } else {
                None
            }
        })
        .collect()
}

/// Bootstrap of the blocks' ratio, scaled like the interval.
fn bootstrap(blocks: &[Option<(f64, f64)>], ratio: f64) -> Option<(f64, f64)> {
    let pairs: Vec<(f64, f64)> = blocks.iter().flatten().copied().collect();
    let of = |drawn: &[usize]| {
        let (a, b) = drawn
            .iter()
            .fold((0.0, 0.0), |(a, b), i| (a + pairs[*i].0, b + pairs[*i].1));
        (b > 0.0).then(|| a / b)
    };
    let all: Vec<usize> = (0..pairs.len()).collect();
    let scale = ratio / of(&all)?;
    block_bootstrap(pairs.len(), BOOTSTRAP_SEED, of).map(|(low, high)| (low * scale, high * scale))
}

/// Which segments have data and which lie too far off.
struct Dropping {
    data: Vec<bool>,
    far: Vec<bool>,
    too_many: Option<usize>,
}

impl Dropping {
    fn of(segments: &[SegmentSums], drop: f64) -> Self {
        let data = with_data(segments);
        let means: Vec<Option<f64>> = segments
            .iter()
            .zip(&data)
            .map(|(segment, data)| segment.mean().filter(|_| *data))
            .collect();
        let values: Vec<f64> = means.iter().flatten().copied().collect();
        let none = Self {
            far: vec![false; segments.len()],
            data,
            too_many: None,
        };
        if drop <= 0.0 || values.len() < MINIMUM_SEGMENTS_TO_DROP {
            return none;
        }
        let Some(middle) = median(&values) else {
            return none;
        };
        let off: Vec<f64> = values.iter().map(|value| (value - middle).abs()).collect();
        let Some(mad) = median(&off) else { return none };
        let limit = f64::max(drop * SD_PER_MAD * mad, NEVER_DROPPED * middle.abs()) + 1e-12;
        let far: Vec<bool> = means
            .iter()
            .map(|mean| mean.is_some_and(|mean| (mean - middle).abs() > limit))
            .collect();
        let count = far.iter().filter(|far| **far).count();
        if count as f64 <= MAXIMUM_DROPPED * values.len() as f64 {
            Self { far, ..none }
        } else {
            Self {
                too_many: Some(count),
                ..none
            }
        }
    }
}

fn numbers(flags: &[bool]) -> Vec<usize> {
    flags
        .iter()
        .enumerate()
        .filter(|(_, flag)| **flag)
        .map(|(number, _)| number)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A strip of `means.len()` segments in 10 blocks, 10 pixels a segment.
    fn strip(means: &[f64]) -> StripSums {
        let mut sums = StripSums::new(means.len(), 10);
        for (segment, mean) in means.iter().enumerate() {
            for pixel in 0..10 {
                let along = (segment as f64 + (f64::from(pixel) + 0.5) / 10.0) / means.len() as f64;
                sums.cell_mut(segment, (along * 10.0) as usize)
                    .unwrap()
                    .add(1.0, *mean);
            }
        }
        sums
    }

    #[test]
    fn a_drowned_segment_is_dropped_whole() {
        let mut means = [0.80, 0.81, 0.79, 0.80, 0.82, 0.80, 0.78, 0.80, 0.81, 0.79];
        means[3] = 0.40;
        let estimate = fine(&strip(&means), None, 3.5).unwrap();
        assert_eq!(estimate.dropped, [3]);
        assert!((estimate.index - 0.80).abs() < 1e-12);
        assert!((estimate.index_without_dropping - 0.76).abs() < 1e-12);
        assert_eq!(
            (estimate.pixels, estimate.interval),
            (90, Err(NoInterval::NothingBeside))
        );
        assert_eq!(
            fine(&strip(&means), None, 0.0).unwrap().dropped,
            Vec::<usize>::new()
        );
        // Seven segments with data are too few to call one an outlier.
        assert!(
            fine(&strip(&means[..7]), None, 3.5)
                .unwrap()
                .dropped
                .is_empty()
        );
    }

    #[test]
    fn more_than_a_quarter_is_a_pattern_and_stays() {
        let means = [0.80, 0.80, 0.80, 0.80, 0.80, 0.80, 0.60, 0.60, 0.60, 0.80];
        let estimate = fine(&strip(&means), None, 3.5).unwrap();
        assert_eq!(
            (estimate.dropped.len(), estimate.too_many_to_drop),
            (0, Some(3))
        );
        let two = [0.80, 0.80, 0.80, 0.80, 0.80, 0.80, 0.60, 0.60, 0.80, 0.80];
        assert_eq!(fine(&strip(&two), None, 3.5).unwrap().dropped, [6, 7]);
    }

    #[test]
    fn within_ten_percent_nothing_is_dropped() {
        let mut means = [0.80; 10];
        means[0] = 0.721;
        assert!(fine(&strip(&means), None, 3.5).unwrap().dropped.is_empty());
        means[0] = 0.719;
        assert_eq!(fine(&strip(&means), None, 3.5).unwrap().dropped, [0]);
    }

    #[test]
    fn the_swath_leaves_out_what_the_strip_does() {
        let mut ours = [0.80; 20];
        ours[2] = 0.3;
        let mut theirs = [0.50; 20];
        theirs[2] = 0.49;
        theirs[7] = 0.2;
        let estimate = fine(&strip(&ours), Some(&strip(&theirs)), 3.5).unwrap();
        let swath = estimate.swath.as_ref().unwrap();
        assert_eq!(
            (estimate.dropped.as_slice(), swath.dropped.as_slice()),
            ([2].as_slice(), [2, 7].as_slice())
        );
        assert!(
            (swath.index - 0.50).abs() < 1e-12 && (estimate.ratio().unwrap() - 1.6).abs() < 1e-12
        );
        assert_eq!(estimate.pairs, 18);
        let interval = estimate.interval.unwrap();
        assert_eq!(interval.blocks, 10);
        assert!((interval.low - 1.6).abs() < 1e-9 && (interval.high - 1.6).abs() < 1e-9);
    }

    #[test]
    fn four_pairs_are_no_comparison() {
        let mut theirs = StripSums::new(20, 10);
        for segment in 0..4 {
            for _ in 0..10 {
                theirs.cell_mut(segment, segment / 2).unwrap().add(1.0, 0.5);
            }
        }
        let estimate = fine(&strip(&[0.8; 20]), Some(&theirs), 3.5).unwrap();
        assert_eq!(
            (estimate.pairs, estimate.beside(), estimate.interval),
            (4, None, Err(NoInterval::NothingBeside))
        );
    }

    #[test]
    fn nothing_seen_and_cut_differently() {
        assert_eq!(
            fine(&StripSums::new(20, 10), None, 3.5),
            Err(ReferenceError::NoPixels)
        );
        let error = fine(&strip(&[0.8; 20]), Some(&StripSums::new(10, 10)), 3.5).unwrap_err();
        assert!(error.to_string().contains("20 × 10 and 10 × 10"));
    }
}
