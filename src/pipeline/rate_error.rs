//! Why there are no rates.

use crate::science::methods::MethodError;
use crate::science::nitrogen_share::NoShare;
use crate::units::{Area, NRate};

/// Why there are no rates.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RateError {
    /// No canopy.
    #[error("no cell of the field shows canopy: {unseen} unseen, {bare} bare")]
    NoCanopy {
        /// Unseen cells.
        unseen: usize,
        /// Bare cells.
        bare: usize,
    },
    /// No multiple of the step lies in the range.
    #[error("no multiple of {step} lies between {minimum} and {maximum}")]
    NoStep {
        /// The step.
        step: NRate,
        /// The least rate.
        minimum: NRate,
        /// The greatest rate.
        maximum: NRate,
    },
    /// Not all of the index deficit is to count as nitrogen, but nothing was measured beside a strip.
    #[error("a nitrogen_share below 1 needs a response index of the field, but there is none")]
    NoRatio,
    /// The share is to be measured, and is not known.
    #[error(
        "nitrogen_share = \"measured\" cannot be worked out: {reason}; state a share, 1 is the default"
    )]
    NoShare {
        /// Why it is not known.
        reason: NoShare,
    },
    /// `maximum_ratio = "seen"`, but the strips show no spread.
    #[error(
        "maximum_ratio = \"seen\" needs a strip with comparison ground along it, but there is none: give a number"
    )]
    NothingSeen,
    /// A zone of the reference has no strip.
    #[error(
        "zone {zone} of the {zones} in reference.zones ({} of the field) holds no usable strip; without_strip = \"pooled\" in reference.zones lets it take the reference of all strips",
        Area::ha(*area_ha).both()
    )]
    ZoneWithoutStrip {
        /// The zone, from 1.
        zone: usize,
        /// How many there are.
        zones: usize,
        /// What it has of the field. \[ha\]
        area_ha: f64,
    },
    /// Two zones of the reference overlap.
    #[error(
        "zones {first} and {second} of reference.zones overlap by {}; each place needs one zone",
        Area::m2(*area).both()
    )]
    ZonesOverlap {
        /// The earlier zone, from 1.
        first: usize,
        /// The later one.
        second: usize,
        /// By how much. \[m²\]
        area: f64,
    },
    /// Inputs without meaning.
    #[error(transparent)]
    Inputs(#[from] MethodError),
}
