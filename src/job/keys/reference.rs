//! `[reference]`: the N-rich reference strips, or what stands for them.

use std::path::PathBuf;

use crate::job::keys::field::{LAYER, PATH, WHERE};
use crate::job::settings::{ReferenceLevel, VectorSource};
use crate::key::{Any, Key, Kind, Requirement, Word, key, keys, words};
use crate::science::response_curve::PlateauShape;
use crate::units::{Length, NRate};

words!(for PlateauShape by name { Linear, Quadratic, });

words! {
    /// `reference.strips_use`.
    pub(crate) enum StripsWord {
        /// All strips everywhere.
        Pooled = "pooled",
        /// The nearest strip.
        Nearest = "nearest",
        /// All, by the inverse square of their distance.
        InverseDistance = "inverse distance",
    }
}

words! {
    /// `reference.zones.without_strip`.
    pub(crate) enum WithoutStrip {
        /// The job is refused.
        Refuse = "refuse",
        /// All strips count there.
        Pooled = "pooled",
    }
}

words! {
    /// `reference.ramp.unit`.
    pub(crate) enum RampUnit {
        /// Kilograms a hectare.
        Metric = "kg N/ha",
        /// Pounds an acre.
        Us = "lb N/ac",
    }
}

/// Why an averaged reading lies where it does.
const READING: &str = "an averaged canopy index lies above 0 and rarely above 1";

const fn reading(noun: &'static str, example: &'static str, about: &'static str) -> Key {
    key(Kind::Number, noun, example, about)
        .within("0.001", "100", READING)
        .required()
}

keys! {
    REFERENCE: ReferenceKeys = "reference", "[reference]", "What the crop is compared with: reference strips, hand readings, a percentile, or a nitrogen ramp. Give one.",
    {
        strips: VectorSource = key(
            Kind::Layer("reference.strips"),
            "the reference strips",
            "\"strips.geojson\"",
            "Polygons of the N-rich reference strips, which got enough nitrogen never to lack it.",
        )
        .required_when("unless readings, percentile or ramp is given"),
        inset: Length = key(
            Kind::Amount(Requirement::Length),
            "the inset",
            "\"3 m\"",
            "Distance by which strips are shrunk, so that mixed pixels at their edges do not count.",
        )
        .within("0 m", "200 m", "strips are not that wide")
        .or("\"3 m\""),
        gap: Length = key(
            Kind::Amount(Requirement::Length),
            "the gap",
            "\"5 m\"",
            "Distance left out between a strip and the comparison ground beside it.",
        )
        .within("0 m", "200 m", "strips are not that wide")
        .or("\"5 m\""),
        segments: i64 = key(
            Kind::Whole,
            "the segments",
            "20",
            "Segments along a strip, from whose spread the 95 % limits of the response index come.",
        )
        .within("1", "1000", "a strip is cut into 20 segments as a rule")
        .or("20"),
        drop: f64 = key(
            Kind::Number,
            "the outlier limit",
            "3.5",
            "Scaled MADs beyond which a segment is dropped as an outlier; 0 keeps every segment.",
        )
        .within("0", "100", "in MADs; 0 keeps every segment")
        .or("3.5").recorded("mad"),
        strips_use: StripsWord = key(
            Kind::Words(StripsWord::WORDS),
            "the use of strips",
            "\"pooled\"",
            "Which strips count where: all together, the nearest, or all weighted by distance.",
        )
        .or("\"pooled\""),
        level: ReferenceLevel = key(
            Kind::Words(ReferenceLevel::WORDS),
            "level of the reference",
            "\"strip\"",
            "Where the reference's level comes from: the strip's own index, or half from its ratio and the field's mean.",
        )
        .or("\"strip\""),
        readings: Any = key(
            Kind::Tables("reference.readings"),
            "at least one pair of averaged hand readings",
            "[{ strip = 0.66, beside = 0.50 }]",
            "Averaged hand readings in the strip and beside it, one table a pair.",
        )
        .required_when("for haulm rate, without a ramp").option("--strip, --beside"),
        percentile: f64 = key(
            Kind::Number,
            "the percentile",
            "95",
            "Percentile of the canopy cells that stands for a strip: a virtual reference.",
        )
        .within("50", "99", "a virtual reference is a high percentile of the canopy cells, 95 as a rule"),
        ramp: Any = key(
            Kind::Or(&[Kind::Tables("reference.ramp"), Kind::Table("reference.ramp.steps")]),
            "the nitrogen ramp",
            "[{ rate = \"0 kg N/ha\", index = 0.52 }, { rate = \"40 kg N/ha\", index = 0.61 }]",
            "Nitrogen ramp: rate and index of each step, or its polygons; gives one flat rate, by haulm rate.",
        ),
        ramp_model: PlateauShape = key(
            Kind::Words(PlateauShape::WORDS),
            "the curve of a ramp",
            "\"linear plateau\"",
            "Curve that is fitted to the ramp; the rate is where its plateau begins.",
        )
        .or("\"linear plateau\""),
        ramp_index: String = key(
            Kind::Text,
            "the index of the ramp",
            "\"NDVI\"",
            "Canopy index that the ramp was read with.",
        )
        .or_else("imagery.index"),
        zones: Any = key(
            Kind::Table("reference.zones"),
            "the strips' zones",
            "{ path = \"soils.gpkg\", layer = \"soils\" }",
            "Polygons, such as soils, within which each strip counts; instead of strips_use.",
        ),
    }
}

keys! {
    STRIPS: StripsKeys = "reference.strips", "strips = { … }", "The reference strips as a layer of a file.",
    {
        path: PathBuf = PATH,
        layer: String = LAYER,
        r#where: String = WHERE,
    }
}

keys! {
    ZONES: ZonesKeys = "reference.zones", "zones = { … }", "Zones that share out the reference strips.",
    {
        path: PathBuf = PATH,
        layer: String = LAYER,
        r#where: String = WHERE,
        without_strip: WithoutStrip = key(
            Kind::Words(WithoutStrip::WORDS),
            "the way with a zone that holds no strip",
            "\"pooled\"",
            "What a zone without a strip gets: the job is refused, or all strips pooled count there.",
        )
        .or("\"refuse\""),
    }
}

keys! {
    READINGS: ReadingsKeys = "reference.readings", "readings = [{ … }]", "One pair of averaged hand readings.",
    {
        strip: f64 = reading(
            "the reading in the strip",
            "0.66",
            "Mean index in the reference strip.",
        ),
        beside: f64 = reading(
            "the reading beside the strip",
            "0.50",
            "Mean index of the comparison ground beside it.",
        ),
    }
}

keys! {
    RAMP: RampKeys = "reference.ramp", "ramp = [{ … }]", "One step of a nitrogen ramp, read by hand.",
    {
        rate: NRate = key(
            Kind::Amount(Requirement::Nitrogen),
            "the nitrogen that the step got",
            "\"40 kg N/ha\"",
            "Nitrogen that the step got.",
        )
        .within("0 kg N/ha", "1000 kg N/ha", "more than any crop gets")
        .required(),
        index: f64 = reading(
            "the averaged index of the step",
            "0.61",
            "Mean canopy index of the step.",
        ),
    }
}

keys! {
    RAMP_STEPS: RampStepsKeys = "reference.ramp.steps", "ramp = { … }", "Polygons of a nitrogen ramp, measured on the image.",
    {
        path: PathBuf = PATH,
        layer: String = LAYER,
        r#where: String = WHERE,
        rate: String = key(
            Kind::Text,
            "the column that holds the nitrogen of each step",
            "\"N_KG_HA\"",
            "Column that holds the nitrogen of each step.",
        )
        .required(),
        unit: RampUnit = key(
            Kind::Words(RampUnit::WORDS),
            "the unit of that column, as nitrogen,",
            "\"kg N/ha\"",
            "Unit of that column.",
        )
        .required(),
    }
}
