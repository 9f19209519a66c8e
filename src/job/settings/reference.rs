//! `[reference]`: what the crop is compared with.

use crate::job::settings::VectorSource;
use crate::key::words;
use crate::units::Length;

/// `[reference]`.
#[derive(Clone, Debug)]
pub struct ReferenceSettings {
    /// Where the reference comes from.
    pub source: ReferenceSource,
    /// How far strips are shrunk (fine pixels).
    pub inset: Length,
    /// Ground between strip and comparison swath.
    pub gap: Length,
    /// Segments a strip is cut into.
    pub segments: usize,
    /// MADs beyond which a segment is dropped; 0 keeps every one.
    pub drop: f64,
    /// Which strips count where.
    pub strips_use: StripsUse,
    /// Where the level of the reference index comes from.
    pub level: ReferenceLevel,
}

words! {
    /// `reference.level`.
    #[derive(Default)]
    pub enum ReferenceLevel {
        /// The strip's own index.
        #[default]
        Strip = "strip",
        /// Half of it from the strip, half from its response index times the field's mean index.
        Balanced = "balanced",
    }
}

/// `reference.strips_use`, or `reference.zones`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StripsUse {
    /// All strips everywhere, weighted by area.
    Pooled,
    /// Each cell takes the strip nearest to its centroid.
    Nearest,
    /// Each cell takes all strips, weighted by the inverse square of their distance from its centroid.
    InverseDistance,
    /// Each zone of a layer takes the strips inside it.
    Zones {
        /// The layer.
        source: VectorSource,
        /// Whether a zone without a strip takes the pooled reference instead of being refused.
        pooled_without: bool,
    },
}

/// Where the reference comes from.
#[derive(Clone, Debug)]
pub enum ReferenceSource {
    /// Strips on the image.
    Strips(VectorSource),
    /// Averaged hand readings (strip, beside).
    Readings(Vec<Reading>),
    /// A percentile of canopy cells, 0 … 100.
    Percentile(f64),
}

/// One pair of averaged hand readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// In the strip.
    pub strip: f64,
    /// Beside it.
    pub beside: f64,
}
