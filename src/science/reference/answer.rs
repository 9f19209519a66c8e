//! What a reference strip answers: whether the field responds to nitrogen.

/// Placebo probability up to which an interval that contains 1 leaves the response doubtful instead of absent. \[share\]
pub const DOUBTFUL_PROBABILITY: f64 = 0.05;
/// Response index above which a paired interval that contains 1 leaves the response doubtful, where there is no placebo.
pub const DOUBTFUL_RATIO: f64 = 1.05;

/// The strip's answer. Which of the three it is, see [`answer_of`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Answer {
    /// The response index is above 1: its 95 % interval lies wholly above 1.
    Responds,
    /// It may be above 1, but the strip alone does not show it: the interval contains 1, yet chance seldom gives so high a ratio.
    Doubtful,
    /// No response: the interval contains 1 (or lies below it), and chance alone gives ratios like this one.
    None,
}

impl Answer {
    /// The word of it in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Responds => "responds",
            Self::Doubtful => "doubtful",
            Self::None => "none",
        }
    }
}

/// What placebo strips say of a response index.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlaceboAnswer {
    /// 95 % interval of the response index at the strip's place.
    pub interval: (f64, f64),
    /// Share of strips without nitrogen that would give as high a ratio. \[0..1\]
    pub probability: f64,
}

/// The strip's answer by its ratio and what is known of its certainty.
///
/// With placebo strips: [`Responds`](Answer::Responds) when the lower end of their interval is above 1; else [`Doubtful`](Answer::Doubtful) when the
/// interval reaches above 1 and the probability is at most 0.05; else [`None`](Answer::None).
/// Without them, by the paired interval (lower and upper bound, 95 %): `Responds` when its lower end is above 1; else `Doubtful` when it contains 1
/// and the ratio is above 1.05; else `None`.
///
/// `None` (no answer at all) when there is neither a placebo nor a paired interval: one pair of hand readings, a percentile. An interval wholly below 1 has
/// the answer `None` too; it is refused elsewhere.
///
/// # Source
/// The two limits are ours, chosen by simulation on made fields.
pub fn answer_of(
    ratio: f64,
    paired: Option<(f64, f64)>,
    placebo: Option<&PlaceboAnswer>,
) -> Option<Answer> {
    let ((low, high), chance) = match (placebo, paired) {
        (Some(placebo), _) => (
            placebo.interval,
            placebo.probability <= DOUBTFUL_PROBABILITY,
        ),
        (None, Some(paired)) => (paired, ratio > DOUBTFUL_RATIO),
        (None, None) => return None,
    };
    Some(if low > 1.0 {
        Answer::Responds
    } else if high >= 1.0 && chance {
        Answer::Doubtful
    } else {
        Answer::None
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_paired_interval_decides_where_there_is_no_placebo() {
        let of = |ratio, paired| answer_of(ratio, Some(paired), None);
        assert_eq!(of(1.10, (1.01, 1.20)), Some(Answer::Responds));
        assert_eq!(of(1.10, (1.00, 1.20)), Some(Answer::Doubtful));
        assert_eq!(of(1.05, (0.99, 1.11)), Some(Answer::None));
        assert_eq!(of(0.90, (0.85, 0.95)), Some(Answer::None));
        assert_eq!(answer_of(1.3, None, None), None);
    }

    #[test]
    fn the_placebo_decides_where_there_is_one() {
        let of = |interval, probability| {
            let placebo = PlaceboAnswer {
                interval,
                probability,
            };
            answer_of(1.10, Some((1.05, 1.15)), Some(&placebo))
        };
        assert_eq!(of((1.02, 1.18), 0.30), Some(Answer::Responds));
        assert_eq!(of((0.98, 1.22), 0.05), Some(Answer::Doubtful));
        // A paired interval above 1 does not help: it knows nothing of other ground.
        assert_eq!(of((0.98, 1.22), 0.06), Some(Answer::None));
        assert_eq!(of((0.80, 0.95), 0.01), Some(Answer::None));
    }
}
