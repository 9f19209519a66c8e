//! `[rate]` and `[product]`: limits and steps of the rate, and what is applied.

use crate::job::amount::Temperature;
use crate::job::keys::field::{LAYER, PATH, WHERE};
use crate::job::settings::StateRate;
use crate::key::{Any, Key, Kind, Requirement, Word, key, keys, words};
use crate::units::NRate;
use std::path::PathBuf;

words! {
    /// Words for what ground gets, where no amount is written.
    pub(crate) enum StateWord {
        /// The field rate.
        FieldRate = "field rate",
        /// The ground's own computed rate.
        Own = "own",
    }
}

/// Where the ground's own rate is no choice.
const FIELD_RATE: &[&str] = &[StateWord::FieldRate.word()];

/// A nitrogen rate, which may be written as product when the job names one.
pub(super) const fn rate(noun: &'static str, example: &'static str, about: &'static str) -> Key {
    key(Kind::NitrogenOrProduct, noun, example, about).within(
        "0 kg N/ha",
        "1000 kg N/ha",
        "more than any crop gets",
    )
}

/// What ground, or the machine left to itself, gets: the field rate or an amount.
pub(super) const fn field_rate(noun: &'static str, about: &'static str) -> Key {
    Key {
        kind: Kind::Or(&[Kind::Words(FIELD_RATE), Kind::NitrogenOrProduct]),
        ..rate(noun, "\"field rate\"", about)
    }
}

/// As [`field_rate`], or the ground's own rate.
pub(super) const fn own_rate(noun: &'static str, about: &'static str) -> Key {
    Key {
        kind: Kind::Or(&[Kind::Words(StateWord::WORDS), Kind::NitrogenOrProduct]),
        ..rate(noun, "\"field rate\"", about)
    }
}

keys! {
    RATE: RateKeys = "rate", "[rate]", "Limits and steps of the nitrogen rate, and what ground gets that has no rate of its own.",
    {
        minimum: NRate = rate(
            "the minimum rate",
            "\"0 kg N/ha\"",
            "Minimum rate of any ground with a canopy.",
        )
        .or("\"0 kg N/ha\"").option("--minimum"),
        maximum: NRate = rate(
            "the greatest nitrogen rate",
            "\"150 kg N/ha\"",
            "Maximum rate of any ground: what law, label and adviser allow.",
        )
        .required().option("--maximum"),
        step: NRate = rate(
            "the step",
            "\"5 kg N/ha\"",
            "Rates are multiples of it; 5 lb N/ac where people read US units.",
        )
        .above_zero()
        .or("\"5 kg N/ha\"").option("--step"),
        maximum_step: NRate = rate(
            "the step between cells",
            "\"30 kg N/ha\"",
            "Maximum change of rate from one cell to the next along the drive.",
        ),
        usual: NRate = rate(
            "the usual rate",
            "\"60 kg N/ha\"",
            "The grower's flat rate, for comparison only.",
        ).option("--usual"),
        usual_is_this_pass: bool = key(
            Kind::YesNo,
            "what the usual rate is",
            "true",
            "Whether `usual` is the rate of this very pass: a mean outside half to one and a half times it then stops.",
        )
        .or("false"),
        thin: StateRate = own_rate(
            "rate of a poor stand",
            "What a poor stand gets: at most the field rate, its own computed rate, or an amount.",
        )
        .or("\"field rate\""),
        unseen: StateRate = field_rate(
            "rate without image",
            "What ground without image gets.",
        )
        .or("\"field rate\""),
        bare: StateRate = field_rate("rate of bare soil", "What bare soil gets.").or("\"0 kg N/ha\""),
        season_limit: NRate = rate(
            "the season's limit",
            "\"220 kg N/ha\"",
            "Limit of the season's total nitrogen: before, since and by this map.",
        ),
        applied_before: NRate = rate(
            "the nitrogen before sensing",
            "\"40 kg N/ha\"",
            "Nitrogen of this season applied before sensing.",
        )
        .or("\"0 kg N/ha\""),
        set: Any = key(
            Kind::Tables("rate.set"),
            "the rates set by hand",
            "[{ path = \"hollow.geojson\", at_most = \"30 kg N/ha\", reason = \"lodged last year\" }]",
            "Ground whose rate you set by hand, with a reason; as many tables as needed, where two overlap the later counts.",
        ),
    }
}

keys! {
    SET: SetKeys = "rate.set", "[[rate.set]]", "Ground whose rate is set by hand, after the method and before the machine's limits; never inside exclusions.",
    {
        path: PathBuf = PATH,
        layer: String = LAYER,
        r#where: String = WHERE,
        rate: NRate = rate(
            "the rate",
            "\"40 kg N/ha\"",
            "What the ground gets instead of the map's rate, rounded to rate.step.",
        )
        .required_when("unless add or at_most is given"),
        add: NRate = Key {
            kind: Kind::NitrogenChange,
            ..rate(
                "the change",
                "\"-10 kg N/ha\"",
                "What is added to the map's rate there, or with a minus subtracted from it.",
            )
        }
        .within(
            "-1000 kg N/ha",
            "1000 kg N/ha",
            "more than any crop gets",
        ),
        at_most: NRate = rate(
            "the limit",
            "\"30 kg N/ha\"",
            "What the ground gets at most.",
        ),
        reason: String = key(
            Kind::Text,
            "the reason",
            "\"lodged last year\"",
            "Why the rate is set by hand; stands on the report's first page.",
        )
        .required(),
    }
}

keys! {
    PRODUCT: ProductKeys = "product", "[product]", "The fertiliser product; without it maps are in nitrogen.",
    {
        name: String = key(
            Kind::NameOf("haulm products"),
            "the product",
            "\"urea\"",
            "Product: a name of the shipped table, or any name with nitrogen.",
        )
        .required_when("unless nitrogen is given").option("--product"),
        nitrogen: f64 = key(
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
        density: Any = key(
            Kind::Amount(Requirement::Density),
            "the density",
            "\"1.28 kg/L\"",
            "Density of a liquid as the label or your hydrometer says.",
        )
        .or_else("that of the shipped product"),
        temperature: Temperature = key(
            Kind::Amount(Requirement::Temperature),
            "the working temperature",
            "\"10 °C\"",
            "Working temperature of a shipped liquid, from which its density follows.",
        )
        .within("-40 °C", "50 °C", "nothing is spread at that temperature"),
        bulk_density: Any = key(
            Kind::Amount(Requirement::BulkDensity),
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
    }
}
