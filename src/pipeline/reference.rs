//! Judges the reference as a whole: strips pooled, hand readings, or a percentile of the field's own canopy.

use crate::finding::{Checked, Finding, codes};
use crate::job::settings::{ReferenceLevel, ReferenceSettings, ReferenceSource};
use crate::pipeline::strips::{Strip, StripFound};
use crate::pipeline::survey::Survey;
use crate::science::reference::{
    MINIMUM_PLACES, NoInterval, Placebo, PlaceboAnswer, PlaceboStrip, PooledEstimate,
    RandomEffects, ReferenceError, StripEstimate, answer_of, area_percentile, half_width,
    placebo_of, pool, random_effects, readings,
};

pub use crate::science::reference::Answer;

/// The reference of a field.
#[derive(Clone, Debug)]
pub struct Reference {
    /// `strips`, `readings` or `percentile`.
    pub kind: &'static str,
    /// `I_ref`, as rates use it.
    pub index: f64,
    /// The strips' own index: the same, unless the level is balanced.
    pub measured: f64,
    /// `I_beside`.
    pub beside: Option<f64>,
    /// `RI_field`.
    pub ratio: Option<f64>,
    /// Lower bound of `RI_field` (95 %): by placebo strips where there are enough places, else the paired interval's.
    pub low: Option<f64>,
    /// Upper bound of `RI_field` (95 %), likewise.
    pub high: Option<f64>,
    /// The paired interval: how surely the ratio was measured where the strip lies.
    pub paired: Option<(f64, f64)>,
    /// What placebo strips say.
    pub placebo: Option<Placebo>,
    /// Why there are none; `None` where the reference is no strip.
    pub no_placebo: Option<String>,
    /// Why there is no interval.
    pub no_interval: Option<String>,
    /// `I_beside` / field mean index.
    pub place: Option<f64>,
    /// SD between strips' `I_ref`.
    pub between_strips: Option<f64>,
    /// Whether the strips contradict each other.
    pub disagree: bool,
    /// The strips' ratios by random effects, where each of several has an interval.
    pub random_effects: Option<RandomEffects>,
    /// What each strip with comparison ground says alone.
    pub alone: Vec<StripAlone>,
    /// The least and the most that the strips showed: 5th and 95th percentile of their own paired segments, 95 % limits of the ratio on coarse images.
    pub seen_ratios: Option<(f64, f64)>,
    /// `I_ref` without dropping segments, pooled.
    pub index_without_dropping: Option<f64>,
    /// Whether the field responds; `None` where nothing says how sure the ratio is.
    pub answer: Option<Answer>,
    /// `I_ref` of each usable strip, as rates use it: number, index.
    pub each: Vec<(usize, f64)>,
    /// `RI_field` of each usable strip that has a comparison: number, ratio.
    pub each_ratio: Vec<(usize, f64)>,
}

/// One strip's own ratio, as if there were no other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StripAlone {
    /// Its number, from 1.
    pub number: usize,
    /// `I_ref / I_beside` of it.
    pub ratio: f64,
    /// 95 % interval: by placebo strips where there are any, else the paired one.
    pub interval: Option<(f64, f64)>,
    /// Its answer.
    pub answer: Option<Answer>,
    /// The most that it showed itself.
    pub seen: Option<f64>,
}

/// What each strip says alone.
fn alone(
    usable: &[(usize, &Strip, &StripFound)],
    survey: &Survey,
    placebo: Option<&Placebo>,
    field_m2: f64,
) -> Vec<StripAlone> {
    let one = |(number, _, found): &(usize, &Strip, &StripFound)| {
        let ratio = found.index() / found.beside()?;
        let own = survey
            .placebos
            .get(number - 1)
            .and_then(|own| own.as_ref().ok());
        let own =
            own.and_then(|own| placebo_of(std::slice::from_ref(&own.measured), ratio, field_m2));
        let answer = own.map(|own| own.answer);
        // A strip without places enough of its own takes the spread of the others'.
        let by_others = placebo.map(|placebo| {
            let half = half_width(placebo.spread, placebo.effective, 1);
            (ratio * (1.0 - half), ratio * (1.0 + half))
        });
        let interval = answer.map(|own| own.interval).or(by_others);
        let interval = interval.or_else(|| found.interval());
        Some(StripAlone {
            number: *number,
            ratio,
            interval,
            answer: answer_of(ratio, interval, answer.as_ref()),
            seen: found.seen_ratios().map(|seen| seen.1),
        })
    };
    usable.iter().filter_map(one).collect()
}

/// Whether strips contradict each other. Where placebo strips tell the field's own error of place, that error decides, not what each strip's blocks vary by:
/// strips whose intervals do not overlap, or Cochran's Q with a probability below 0.05.
fn contradict(alone: &[StripAlone], placebo: Option<&Placebo>, paired: bool) -> bool {
    let Some(placebo) = placebo else {
        return paired;
    };
    let ratios: Vec<(f64, f64)> = alone
        .iter()
        .map(|strip| {
            let sd = strip.ratio * placebo.spread;
            (strip.ratio, sd * sd)
        })
        .collect();
    !placebo.agree || random_effects(&ratios).is_some_and(|pooled| pooled.disagree())
}

/// Why there is no reference.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum NoReference {
    /// No strip could be estimated.
    #[error("none of the {strips} reference strips can be estimated: {}", reasons.join("; "))]
    NoStrip {
        /// How many there are.
        strips: usize,
        /// Why each of them cannot.
        reasons: Vec<String>,
    },
    /// A level that needs a response index, which no strip has.
    #[error(
        "reference.level = \"balanced\" needs a response index, but beside no strip enough ground was measured; level = \"strip\" needs none"
    )]
    NoLevel,
    /// Readings or percentile.
    #[error(transparent)]
    Other(#[from] ReferenceError),
}

/// Judges the reference. `field_m2` is the field's area, `cells` area and index of canopy cells.
///
/// # Errors
/// [`NoReference`] when no strip can be estimated, a reading is impossible, or there is too little canopy for a percentile.
pub fn judge(
    rule: &ReferenceSettings,
    survey: &Survey,
    field_m2: f64,
    cells: &[(f64, f64)],
) -> Result<Checked<Reference>, NoReference> {
    let field_mean = survey.field_mean;
    match &rule.source {
        ReferenceSource::Strips(_) => {
            let Checked { value, findings } = of_strips(survey, field_m2)?;
            let reference = match rule.level {
                ReferenceLevel::Strip => value,
                ReferenceLevel::Balanced => balanced(value, field_mean)?,
            };
            Ok(Checked::new(reference, findings))
        }
        ReferenceSource::Readings(pairs) => {
            let pairs: Vec<(f64, f64)> =
                pairs.iter().map(|pair| (pair.strip, pair.beside)).collect();
            let estimate = readings(&pairs)?;
            let finding = Finding::note(
                codes::REFERENCE_READINGS,
                format!(
                    "hand readings ({:.3} in the strip, {:.3} beside it) give their ratio {:.3} only; the image's own mean {field_mean:.4} sets the level",
                    estimate.strip, estimate.beside, estimate.ratio
                ),
            );
            let interval = estimate.interval;
            let reference = Reference {
                kind: "readings",
                index: estimate.reference_on(field_mean),
                measured: estimate.reference_on(field_mean),
                beside: Some(field_mean),
                ratio: Some(estimate.ratio),
                low: interval.as_ref().ok().map(|i| i.low),
                high: interval.as_ref().ok().map(|i| i.high),
                paired: interval.as_ref().ok().map(|i| (i.low, i.high)),
                placebo: None,
                no_placebo: None,
                answer: answer_of(
                    estimate.ratio,
                    interval.as_ref().ok().map(|i| (i.low, i.high)),
                    None,
                ),
                no_interval: interval.err().map(|error| error.to_string()),
                place: None,
                between_strips: None,
                disagree: false,
                random_effects: None,
                alone: Vec::new(),
                seen_ratios: None,
                index_without_dropping: None,
                each: Vec::new(),
                each_ratio: Vec::new(),
            };
            Ok(Checked::new(reference, vec![finding]))
        }
        ReferenceSource::Percentile(percent) => {
            let estimate = area_percentile(cells, *percent)?;
            let finding = Finding::caution(
                codes::REFERENCE_VIRTUAL,
                format!(
                    "the reference is the {percent}th percentile of {} canopy cells ({:.4}), no strip: it shows a deficit in every field by construction, one with ample nitrogen too",
                    estimate.cells, estimate.index
                ),
            );
            let reference = Reference {
                kind: "percentile",
                index: estimate.index,
                measured: estimate.index,
                beside: None,
                ratio: None,
                low: None,
                high: None,
                paired: None,
                placebo: None,
                no_placebo: None,
                answer: None,
                no_interval: Some("a percentile has no comparison".to_owned()),
                place: None,
                between_strips: None,
                disagree: false,
                random_effects: None,
                alone: Vec::new(),
                seen_ratios: None,
                index_without_dropping: None,
                each: Vec::new(),
                each_ratio: Vec::new(),
            };
            Ok(Checked::new(reference, vec![finding]))
        }
    }
}

/// The reference with its level balanced: `I_ref = (strip's index + RI_field · field mean index) / 2`, for each strip and for all.
///
/// A strip alone has the level of its own place. What its ratio makes of the field's mean has the level of the field, but knows nothing of the strip's. The
/// mean of both errs less than either. A strip without a comparison takes the ratio of all.
fn balanced(mut reference: Reference, field_mean: f64) -> Result<Reference, NoReference> {
    let ratio = reference.ratio.ok_or(NoReference::NoLevel)?;
    let level = |index: f64, ratio: f64| f64::midpoint(index, ratio * field_mean);
    reference.index = level(reference.index, ratio);
    for (number, index) in &mut reference.each {
        let own = reference
            .each_ratio
            .iter()
            .find(|(other, _)| other == number)
            .map_or(ratio, |(_, own)| *own);
        *index = level(*index, own);
    }
    Ok(reference)
}

/// Why there is no placebo.
fn no_placebo(survey: &Survey) -> String {
    let places = survey
        .placebos
        .iter()
        .flatten()
        .map(|placebo| placebo.places.len())
        .max();
    let other = survey
        .placebos
        .iter()
        .find_map(|placebo| placebo.as_ref().err());
    match (places, other) {
        (Some(most), _) => format!(
            "too small for it: the strip with its comparison ground fits into the field's canopy at {most} places, {MINIMUM_PLACES} are needed"
        ),
        (None, Some(reason)) => reason.to_string(),
        (None, None) => "there is no strip".to_owned(),
    }
}

fn of_strips(survey: &Survey, field_m2: f64) -> Result<Checked<Reference>, NoReference> {
    let mut findings = Vec::new();
    let (strips, field_mean) = (&survey.strips, survey.field_mean);
    let usable: Vec<(usize, &Strip, &StripFound)> = strips
        .iter()
        .enumerate()
        .filter_map(|(k, strip)| strip.found.as_ref().ok().map(|found| (k + 1, strip, found)))
        .collect();
    let estimate = |strip: &Strip, found: &StripFound, index: f64| StripEstimate {
        area_m2: strip.plan.area,
        index,
        beside: found.beside(),
        interval: match found {
            StripFound::Fine(fine) => fine.interval,
            StripFound::Coarse(coarse) => coarse.interval,
        },
    };
    let estimates: Vec<StripEstimate> = usable
        .iter()
        .map(|(_, strip, found)| estimate(strip, found, found.index()))
        .collect();
    let Some(PooledEstimate {
        index,
        beside,
        ratio,
        interval,
        between_strips_sd,
        random_effects,
        disagree,
        ..
    }) = pool(&estimates)
    else {
        let reasons = strips
            .iter()
            .enumerate()
            .filter_map(|(k, s)| {
                s.found
                    .as_ref()
                    .err()
                    .map(|error| format!("strip {}: {error}", k + 1))
            })
            .collect();
        return Err(NoReference::NoStrip {
            strips: strips.len(),
            reasons,
        });
    };
    let whole: Vec<StripEstimate> = usable
        .iter()
        .map(|(_, strip, found)| match found {
            StripFound::Fine(fine) => estimate(strip, found, fine.index_without_dropping),
            StripFound::Coarse(_) => estimate(strip, found, found.index()),
        })
        .collect();
    let seen = usable
        .iter()
        .filter_map(|(_, _, found)| found.seen_ratios());
    let seen_ratios = seen.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)));
    let place = beside.map(|beside| beside / field_mean);
    if let Some(place) = place.filter(|place| !(0.97..=1.03).contains(place)) {
        let side = if place > 1.0 { "better" } else { "poorer" };
        findings.push(Finding::caution(
            codes::REFERENCE_PLACE,
            format!("the strip lies on {side} crop than the field: beside it the index is {place:.3} of the field's mean {field_mean:.4}, acceptable range 0.97 to 1.03; rates of the whole field move with it"),
        ));
    }
    let measured: Vec<PlaceboStrip> = survey
        .placebos
        .iter()
        .flatten()
        .map(|placebo| placebo.measured.clone())
        .collect();
    let placebo = ratio.and_then(|ratio| placebo_of(&measured, ratio, field_m2));
    let paired = interval.as_ref().ok().map(|i| (i.low, i.high));
    let alone = alone(&usable, survey, placebo.as_ref(), field_m2);
    let disagree = contradict(&alone, placebo.as_ref(), disagree);
    let mut bounds = placebo.map(|placebo| placebo.answer.interval).or(paired);
    if let Some(bounds) = bounds.as_mut().filter(|_| disagree) {
        // Never surer than the strips differ.
        for strip in &alone {
            *bounds = (bounds.0.min(strip.ratio), bounds.1.max(strip.ratio));
        }
    }
    if let (Err(reason), None) = (&interval, &placebo) {
        let notice = format!("the response index has no interval: {reason}");
        findings.push(if matches!(reason, NoInterval::Unbounded { .. }) {
            Finding::stop(codes::REFERENCE_UNCLEAR, notice)
                .with_figure(ratio.map_or_else(|| "none".to_owned(), |ratio| format!("{ratio:.3}")))
        } else {
            Finding::caution(codes::REFERENCE_INTERVAL, notice)
        });
    }
    let reference = Reference {
        kind: "strips",
        index,
        measured: index,
        beside,
        ratio,
        low: bounds.map(|bounds| bounds.0),
        high: bounds.map(|bounds| bounds.1),
        paired,
        answer: ratio.and_then(|ratio| {
            // Strips that contradict each other have widened the interval.
            let answer = placebo.map(|placebo| PlaceboAnswer {
                interval: bounds.unwrap_or(placebo.answer.interval),
                ..placebo.answer
            });
            answer_of(ratio, paired, answer.as_ref())
        }),
        no_placebo: placebo.is_none().then(|| no_placebo(survey)),
        placebo,
        no_interval: interval.err().map(|error| error.to_string()),
        place,
        between_strips: between_strips_sd,
        disagree,
        random_effects,
        alone,
        seen_ratios,
        index_without_dropping: pool(&whole).map(|pooled| pooled.index),
        each: usable
            .iter()
            .map(|(number, _, found)| (*number, found.index()))
            .collect(),
        each_ratio: usable
            .iter()
            .filter_map(|(number, _, found)| {
                found
                    .beside()
                    .map(|beside| (*number, found.index() / beside))
            })
            .collect(),
    };
    Ok(Checked::new(reference, findings))
}
