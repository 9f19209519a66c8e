//! The greatest response index that counts: as the job states it, or as far as the strip's answer carries.

use crate::job::settings::MaximumRatio;
use crate::pipeline::reference::Reference;
use crate::science::reference::Answer;

/// The limit where nothing else sets one, and what a stand is `thin` by: half of the strip's index. Common practice, no source.
pub const USUAL: f64 = 2.0;

/// What sets the limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SetBy {
    /// The usual one.
    Usual,
    /// A number in the job.
    Stated,
    /// The job asks for what the strip showed.
    Seen,
    /// The strip's answer is doubtful: what the strip showed.
    Doubtful,
    /// The strip shows no response: its own ratio.
    NoResponse,
}

impl SetBy {
    /// The word of it in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Usual => "default",
            Self::Stated => "stated",
            Self::Seen => "seen",
            Self::Doubtful => "doubtful",
            Self::NoResponse => "none",
        }
    }
    /// Why it is so, for people.
    pub const fn reason(self) -> &'static str {
        match self {
            Self::Usual => "the default",
            Self::Stated => "stated in the job",
            Self::Seen => "as seen along the strip, as the job asks",
            Self::Doubtful => "as seen along the strip, whose answer is doubtful",
            Self::NoResponse => "the strip's own, which shows no response",
        }
    }
}

/// The greatest response index that counts, and what sets it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RatioLimit {
    /// The limit, 1 or more.
    pub value: f64,
    /// What sets it.
    pub by: SetBy,
}

impl RatioLimit {
    /// Whether it says something of this field, so that it holds for methods by sufficiency too: those are published without any limit, and the usual one is
    /// none that their papers know.
    pub fn of_this_field(self) -> bool {
        self.by != SetBy::Usual
    }
}

/// What a limit is made from.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Evidence {
    /// The strip's answer, where there is one.
    pub answer: Option<Answer>,
    /// `RI_field`.
    pub ratio: Option<f64>,
    /// The most that the strip showed: 95th percentile of its paired segments, on coarse images the upper 95 % limit of its ratio.
    pub seen: Option<f64>,
    /// Upper 95 % limit of `RI_field`.
    pub high: Option<f64>,
}

impl Evidence {
    /// That of a field's reference.
    pub fn of(reference: &Reference) -> Self {
        Self {
            answer: reference.answer,
            ratio: reference.ratio,
            seen: reference.seen_ratios.map(|seen| seen.1),
            high: reference.high,
        }
    }
}

/// The limit: a stated number as it is; `"seen"` what the strip showed; not stated 2, but not above what the strip showed where its answer is doubtful, and
/// `max(1, RI_field)` where it is none. `None` when `"seen"` is asked for and nothing was seen.
///
/// # Source
/// Ours: ground that is paler than the strip ever made it need not lack nitrogen (a field that is dry in one half, two varieties).
pub fn limit_of(setting: MaximumRatio, evidence: &Evidence) -> Option<RatioLimit> {
    let limit = |value: f64, by| RatioLimit {
        value: value.max(1.0),
        by,
    };
    Some(match (setting, evidence.answer) {
        (MaximumRatio::Value(value), _) => limit(value, SetBy::Stated),
        (MaximumRatio::Seen, _) => limit(evidence.seen?, SetBy::Seen),
        (MaximumRatio::ByAnswer, Some(Answer::None)) => {
            limit(evidence.ratio.unwrap_or(1.0), SetBy::NoResponse)
        }
        (MaximumRatio::ByAnswer, Some(Answer::Doubtful)) => {
            // Readings have no segments: then the ratio's own upper limit.
            let seen = evidence.seen.or(evidence.high).unwrap_or(USUAL);
            limit(seen.min(USUAL), SetBy::Doubtful)
        }
        (MaximumRatio::ByAnswer, Some(Answer::Responds) | None) => limit(USUAL, SetBy::Usual),
    })
}

/// By what the strip's index is divided for the limit of thin stands: 2, or a greater stated ratio. Never what a doubtful strip sets, which would turn crop
/// into thin stand.
pub fn thin_ratio(setting: MaximumRatio) -> f64 {
    match setting {
        MaximumRatio::Value(value) => value.max(USUAL),
        MaximumRatio::Seen | MaximumRatio::ByAnswer => USUAL,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(setting: MaximumRatio, answer: Option<Answer>) -> Option<(f64, SetBy)> {
        let evidence = Evidence {
            answer,
            ratio: Some(1.04),
            seen: Some(1.12),
            high: Some(1.09),
        };
        limit_of(setting, &evidence).map(|limit| (limit.value, limit.by))
    }

    #[test]
    fn the_strip_answers_unless_the_job_states_a_limit() {
        let default = |answer| of(MaximumRatio::ByAnswer, answer);
        assert_eq!(default(Some(Answer::Responds)), Some((2.0, SetBy::Usual)));
        assert_eq!(default(None), Some((2.0, SetBy::Usual)));
        assert_eq!(
            default(Some(Answer::Doubtful)),
            Some((1.12, SetBy::Doubtful))
        );
        assert_eq!(default(Some(Answer::None)), Some((1.04, SetBy::NoResponse)));
        assert_eq!(
            of(MaximumRatio::Value(1.5), Some(Answer::None)),
            Some((1.5, SetBy::Stated))
        );
        assert_eq!(
            of(MaximumRatio::Seen, Some(Answer::Responds)),
            Some((1.12, SetBy::Seen))
        );
    }

    #[test]
    fn a_limit_is_never_below_one_nor_made_of_nothing() {
        let nothing = Evidence::default();
        assert_eq!(limit_of(MaximumRatio::Seen, &nothing), None);
        let pale = Evidence {
            answer: Some(Answer::None),
            ratio: Some(0.93),
            ..nothing
        };
        assert_eq!(
            limit_of(MaximumRatio::ByAnswer, &pale).map(|limit| limit.value),
            Some(1.0)
        );
        let readings = Evidence {
            answer: Some(Answer::Doubtful),
            high: Some(2.4),
            ..nothing
        };
        assert_eq!(
            limit_of(MaximumRatio::ByAnswer, &readings).map(|limit| limit.value),
            Some(2.0)
        );
        assert_eq!(
            [
                thin_ratio(MaximumRatio::Value(1.2)),
                thin_ratio(MaximumRatio::Value(2.5)),
                thin_ratio(MaximumRatio::ByAnswer)
            ],
            [2.0, 2.5, 2.0]
        );
    }
}
