//! `response.nitrogen_share` and `reference.level`: how much of the index deficit counts as nitrogen, and where the level of the reference comes from.

use crate::job::keys::response::Measured;
use crate::job::keys::{REFERENCE, RESPONSE};
use crate::job::problem::Problem;
use crate::job::reader::{Item, Section};
use crate::job::settings::{MethodSettings, ReferenceLevel};
use crate::science::monte_carlo::uses_reference;

/// `response.nitrogen_share`: how much of a cell's index deficit counts as nitrogen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NitrogenShare {
    /// 1: each cell against the strip; 0: the field's response index for every cell; or between.
    Stated(f64),
    /// What the strip and other places of the field show.
    Measured,
}

/// `response.nitrogen_share`: 1 by default, a number from 0 to 1, or "measured".
pub(crate) fn nitrogen_share(section: &mut Section<'_>) -> NitrogenShare {
    let default = NitrogenShare::Stated(1.0);
    let key = &RESPONSE.nitrogen_share;
    let Some(entry) = section.take(key) else {
        return default;
    };
    if let Item::Text(_) = entry.item {
        return section
            .word_of::<Measured>(&entry, key)
            .map_or(default, |_| NitrogenShare::Measured);
    }
    let Some(number) = section.number_of(&entry, key) else {
        return default;
    };
    let read = |text: &str| text.parse().map_err(|_| Problem::Open);
    if !section.is_within(key, &number, read) {
        section.outside(key, number.to_string());
    }
    NitrogenShare::Stated(number)
}

/// Refuses a share for a method that compares nothing with a strip: it would change nothing, and nobody would notice.
pub(crate) fn needs_reference(
    section: &Section<'_>,
    share: NitrogenShare,
    method: &MethodSettings,
) {
    if let MethodSettings::Other { method, .. } = method
        && share != NitrogenShare::Stated(1.0)
        && !uses_reference(method)
    {
        section.refuse(
            &RESPONSE.nitrogen_share,
            Problem::Method {
                reason: "a nitrogen share changes nothing here: these rates are not read by the response index".to_owned(),
            },
        );
    }
}

/// `reference.level`: the strip's own index by default, or the mean of it and what its ratio makes of the field's mean.
pub(crate) fn level(section: &mut Section<'_>) -> ReferenceLevel {
    let level = section.get(&REFERENCE.level);
    if level == ReferenceLevel::Balanced && !section.given(&REFERENCE.strips) {
        section.require_as(
            &REFERENCE.strips,
            "the reference strips, whose level is to be balanced with the field's,",
        );
    }
    level
}
