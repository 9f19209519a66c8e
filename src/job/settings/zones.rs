//! `[zones]`: how cells become zones.

use crate::units::{Area, Length, NRate};

/// `[zones]`.
#[derive(Clone, Debug)]
pub struct ZoneRules {
    /// How cells become zones.
    pub by: ZonesBy,
    /// Smaller zones join a neighbour.
    pub minimum_area: Area,
    /// How far borders may move.
    pub simplify: Length,
    /// How far from a corner borders may be cut off to round it.
    pub round_corners: Length,
    /// By which share drawing may change a zone's area.
    pub area_within: f64,
    /// Neighbouring zones whose rates are this near to their union's are joined.
    pub tolerance: NRate,
    /// Whether zones are rounded so that the total is kept.
    pub keep_total: bool,
}

/// `zones.by`.
#[derive(Clone, Debug, PartialEq)]
pub enum ZonesBy {
    /// Neighbouring cells of equal rate.
    Cells,
    /// Classes of the canopy index.
    Classes(ClassBreaks),
}

/// How classes are cut.
#[derive(Clone, Debug, PartialEq)]
pub enum ClassBreaks {
    /// Fisher–Jenks with this many classes.
    Natural(usize),
    /// Equal areas, this many classes.
    Quantile(usize),
    /// Upper bounds as given.
    Given(Vec<f64>),
}
