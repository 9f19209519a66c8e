//! `[zones]`: how cells become treatment zones.

use crate::job::keys::rate::rate;
use crate::key::{Any, Bounds, Key, Kind, Requirement, Word, key, keys, words};
use crate::units::{Length, NRate};

words! {
    /// `zones.by`.
    pub(crate) enum Zoning {
        /// Equal neighbouring cells join.
        Cells = "cells",
        /// Cells are classed by index first.
        Classes = "classes",
    }
}

words! {
    /// `zones.breaks`, where no bounds are listed.
    pub(crate) enum BreaksWord {
        /// Natural breaks.
        Natural = "natural",
        /// Classes of equal area.
        Quantile = "quantile",
    }
}

words! {
    /// `zones.total`.
    pub(crate) enum Total {
        /// Zones are rounded so that the field's total is kept.
        Kept = "kept",
        /// Each zone is rounded by itself.
        Free = "free",
    }
}

const fn drawing(noun: &'static str, about: &'static str) -> Key {
    key(Kind::Amount(Requirement::Length), noun, "\"2 m\"", about)
        .within("0 m", "100 m", "borders would move by more than a cell")
        .or("\"0 m\"")
}

keys! {
    ZONES: ZonesKeys = "zones", "[zones]", "How cells become treatment zones, and how their borders are drawn.",
    {
        by: Zoning = key(
            Kind::Words(Zoning::WORDS),
            "the way to zones",
            "\"cells\"",
            "Whether equal neighbouring cells join, or cells are classed by index first.",
        )
        .or("\"cells\""),
        classes: i64 = key(
            Kind::Whole,
            "the classes",
            "5",
            "Number of index classes.",
        )
        .within(
            "2",
            "20",
            "fewer than 2 classes are no zones, more than 20 nobody reads",
        )
        .or_else("5, or as breaks says"),
        breaks: Any = key(
            Kind::Or(&[
                Kind::Words(BreaksWord::WORDS),
                Kind::List(&Kind::Number),
            ]),
            "kind of breaks",
            "\"natural\"",
            "How classes are cut: natural breaks, quantiles of area, or a list of bounds.",
        )
        .or_else("natural"),
        minimum_area: Any = key(
            Kind::Or(&[
                Kind::Amount(Requirement::Area),
                Kind::Table("zones.minimum_area"),
            ]),
            "the smallest zone",
            "\"1152 m2\"",
            "Smaller zones join a neighbour; an area, or working widths by response distances.",
        )
        .within("0 ha", "1000 ha", "larger than fields are")
        .or_else("two cells"),
        simplify: Length = drawing(
            "the simplification",
            "Distance by which borders may move when they are simplified.",
        ),
        round_corners: Length = drawing(
            "the rounding of corners",
            "Distance from a corner at which a border may be cut off to round it.",
        ),
        area_within: f64 = key(
            Kind::Share,
            "the change of area",
            "0.05",
            "Share by which drawing may change a zone's area.",
        )
        .within(
            "0",
            "1",
            "the share by which drawing may change a zone's area: 0.05 for 5 %",
        )
        .or("0.05"),
        tolerance: NRate = Key {
            bounds: Some(Bounds {
                low: "0 kg N/ha",
                high: "100 kg N/ha",
                why: "nothing of the map would be left",
            }),
            ..rate(
                "the tolerance",
                "\"2 kg N/ha\"",
                "Neighbouring zones join whose rates are within it of their joint rate.",
            )
            .or("\"0 kg N/ha\"")
        },
        total: Total = key(
            Kind::Words(Total::WORDS),
            "the way with the total",
            "\"kept\"",
            "Whether zones are rounded so that the field's total nitrogen is kept.",
        )
        .or("\"kept\""),
    }
}

keys! {
    MINIMUM_AREA: MinimumAreaKeys = "zones.minimum_area", "minimum_area = { … }", "The smallest zone that the machine can apply.",
    {
        passes: f64 = key(
            Kind::Number,
            "how many working widths the smallest zone measures across the drive",
            "1",
            "Working widths across the drive.",
        )
        .within("0.1", "100", "working widths across the drive")
        .required(),
        responses: f64 = key(
            Kind::Number,
            "how many response distances the smallest zone measures along the drive",
            "2",
            "Response distances along the drive; needs speed, delay and transition.",
        )
        .within(
            "0.1",
            "1000",
            "distances along the drive in which the machine changes its rate",
        )
        .required(),
    }
}
