//! `[rate]` and `[product]`: limits and steps of the rate, and what is applied.

use crate::job::fault::Wanted;
use crate::job::keys::row::{Key, Kind, Table, key};

/// A nitrogen rate, which may be written as product when the job names one.
pub(super) const fn rate(
    name: &'static str,
    noun: &'static str,
    example: &'static str,
    about: &'static str,
) -> Key {
    key(name, Kind::NitrogenOrProduct, noun, example, about).within(
        "0 kg N/ha",
        "1000 kg N/ha",
        "more than any crop gets",
    )
}

/// What ground, or the machine left to itself, gets: the field rate or an amount.
pub(super) const fn field_rate(name: &'static str, noun: &'static str, about: &'static str) -> Key {
    Key {
        kind: Kind::Or(&[Kind::Words(&["field rate"]), Kind::NitrogenOrProduct]),
        ..rate(name, noun, "\"field rate\"", about)
    }
}

/// As [`field_rate`], or the ground's own rate.
pub(super) const fn own_rate(name: &'static str, noun: &'static str, about: &'static str) -> Key {
    Key {
        kind: Kind::Or(&[Kind::Words(&["field rate", "own"]), Kind::NitrogenOrProduct]),
        ..rate(name, noun, "\"field rate\"", about)
    }
}

pub(super) const RATE: Table = Table {
    name: "rate",
    heading: "[rate]",
    about: "Limits and steps of the nitrogen rate, and what ground gets that has no rate of its own.",
    keys: &[
        rate(
            "minimum",
            "the minimum rate",
            "\"0 kg N/ha\"",
            "Minimum rate of any ground with a canopy.",
        )
        .or("\"0 kg N/ha\""),
        rate(
            "maximum",
            "the greatest nitrogen rate",
            "\"150 kg N/ha\"",
            "Maximum rate of any ground: what law, label and adviser allow.",
        )
        .required(),
        rate(
            "step",
            "the step",
            "\"5 kg N/ha\"",
            "Rates are multiples of it; 5 lb N/ac where people read US units.",
        )
        .above_zero()
        .or("\"5 kg N/ha\""),
        rate(
            "maximum_step",
            "the step between cells",
            "\"30 kg N/ha\"",
            "Maximum change of rate from one cell to the next along the drive.",
        ),
        rate(
            "usual",
            "the usual rate",
            "\"60 kg N/ha\"",
            "The grower's flat rate, for comparison only.",
        ),
        key(
            "usual_is_this_pass",
            Kind::YesNo,
            "what the usual rate is",
            "true",
            "Whether `usual` is the rate of this very pass: a mean outside half to one and a half times it then stops.",
        )
        .or("false"),
        own_rate(
            "thin",
            "rate of a poor stand",
            "What a poor stand gets: at most the field rate, its own computed rate, or an amount.",
        )
        .or("\"field rate\""),
        field_rate(
            "unseen",
            "rate without image",
            "What ground without image gets.",
        )
        .or("\"field rate\""),
        field_rate("bare", "rate of bare soil", "What bare soil gets.").or("\"0 kg N/ha\""),
        rate(
            "season_limit",
            "the season's limit",
            "\"220 kg N/ha\"",
            "Limit of the season's total nitrogen: before, since and by this map.",
        ),
        rate(
            "applied_before",
            "the nitrogen before sensing",
            "\"40 kg N/ha\"",
            "Nitrogen of this season applied before sensing.",
        )
        .or("\"0 kg N/ha\""),
    ],
};

pub(super) const PRODUCT: Table = Table {
    name: "product",
    heading: "[product]",
    about: "The fertiliser product; without it maps are in nitrogen.",
    keys: &[
        key(
            "name",
            Kind::NameOf("haulm products"),
            "the product",
            "\"urea\"",
            "Product: a name of the shipped table, or any name with nitrogen.",
        )
        .required_when("unless nitrogen is given"),
        key(
            "nitrogen",
            Kind::Share,
            "the product's nitrogen",
            "0.46",
            "Nitrogen as a share of the product's mass.",
        )
        .within(
            "0.01",
            "1",
            "nitrogen as a share of the product's mass: 0.46 for urea",
        )
        .or_else("that of the shipped product"),
        key(
            "density",
            Kind::Amount(Wanted::Density),
            "the density",
            "\"1.28 kg/L\"",
            "Density of a liquid as the label or your hydrometer says.",
        )
        .or_else("that of the shipped product"),
        key(
            "temperature",
            Kind::Amount(Wanted::Temperature),
            "the working temperature",
            "\"10 °C\"",
            "Working temperature of a shipped liquid, from which its density follows.",
        )
        .within("-40 °C", "50 °C", "nothing is spread at that temperature"),
        key(
            "bulk_density",
            Kind::Amount(Wanted::BulkDensity),
            "the bulk density",
            "\"750 kg/m3\"",
            "Loose density of a solid, for loads by volume.",
        )
        .within(
            "300 kg/m3",
            "2500 kg/m3",
            "no fertiliser is that light or heavy",
        )
        .or_else("that of the shipped product"),
    ],
};
