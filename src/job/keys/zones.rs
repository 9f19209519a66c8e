//! `[zones]`: how cells become treatment zones.

use crate::job::fault::Wanted;
use crate::job::keys::rate::rate;
use crate::job::keys::row::{Key, Kind, Table, key};

const fn drawing(name: &'static str, noun: &'static str, about: &'static str) -> Key {
    key(name, Kind::Amount(Wanted::Length), noun, "\"2 m\"", about)
        .within("0 m", "100 m", "borders would move by more than a cell")
        .or("\"0 m\"")
}

pub(super) const ZONES: Table = Table {
    name: "zones",
    heading: "[zones]",
    about: "How cells become treatment zones, and how their borders are drawn.",
    keys: &[
        key(
            "by",
            Kind::Words(&["cells", "classes"]),
            "the way to zones",
            "\"cells\"",
            "Whether equal neighbouring cells join, or cells are classed by index first.",
        )
        .or("\"cells\""),
        key(
            "classes",
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
        key(
            "breaks",
            Kind::Or(&[
                Kind::Words(&["natural", "quantile"]),
                Kind::List(&Kind::Number),
            ]),
            "kind of breaks",
            "\"natural\"",
            "How classes are cut: natural breaks, quantiles of area, or a list of bounds.",
        )
        .or_else("natural"),
        key(
            "minimum_area",
            Kind::Or(&[
                Kind::Amount(Wanted::Area),
                Kind::Table("zones.minimum_area"),
            ]),
            "the smallest zone",
            "\"1152 m2\"",
            "Smaller zones join a neighbour; an area, or working widths by response distances.",
        )
        .within("0 ha", "1000 ha", "larger than fields are")
        .or_else("two cells"),
        drawing(
            "simplify",
            "the simplification",
            "Distance by which borders may move when they are simplified.",
        ),
        drawing(
            "round_corners",
            "the rounding of corners",
            "Distance from a corner at which a border may be cut off to round it.",
        ),
        key(
            "area_within",
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
        Key {
            bounds: Some(crate::job::keys::row::Bounds {
                low: "0 kg N/ha",
                high: "100 kg N/ha",
                why: "nothing of the map would be left",
            }),
            ..rate(
                "tolerance",
                "the tolerance",
                "\"2 kg N/ha\"",
                "Neighbouring zones join whose rates are within it of their joint rate.",
            )
            .or("\"0 kg N/ha\"")
        },
        key(
            "total",
            Kind::Words(&["kept", "free"]),
            "the way with the total",
            "\"kept\"",
            "Whether zones are rounded so that the field's total nitrogen is kept.",
        )
        .or("\"kept\""),
    ],
};

pub(super) const MINIMUM_AREA: Table = Table {
    name: "zones.minimum_area",
    heading: "minimum_area = { … }",
    about: "The smallest zone that the machine can apply.",
    keys: &[
        key(
            "passes",
            Kind::Number,
            "how many working widths the smallest zone measures across the drive",
            "1",
            "Working widths across the drive.",
        )
        .within("0.1", "100", "working widths across the drive")
        .required(),
        key(
            "responses",
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
    ],
};
