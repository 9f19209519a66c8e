//! `[reference]`: the N-rich reference strips, or what stands for them.

use crate::job::fault::Wanted;
use crate::job::keys::field::{LAYER, LAYER_KEYS, PATH, WHERE};
use crate::job::keys::row::{Key, Kind, Table, key};

/// Why an averaged reading lies where it does.
const READING: &str = "an averaged canopy index lies above 0 and rarely above 1";

const fn reading(
    name: &'static str,
    noun: &'static str,
    example: &'static str,
    about: &'static str,
) -> Key {
    key(name, Kind::Number, noun, example, about)
        .within("0.001", "100", READING)
        .required()
}

pub(super) const REFERENCE: Table = Table {
    name: "reference",
    heading: "[reference]",
    about: "What the crop is compared with: reference strips, hand readings, a percentile, or a nitrogen ramp. Give one.",
    keys: &[
        key(
            "strips",
            Kind::Layer("reference.strips"),
            "the reference strips",
            "\"strips.geojson\"",
            "Polygons of the N-rich reference strips, which got enough nitrogen never to lack it.",
        )
        .required_when("unless readings, percentile or ramp is given"),
        key(
            "inset",
            Kind::Amount(Wanted::Length),
            "the inset",
            "\"3 m\"",
            "Distance by which strips are shrunk, so that mixed pixels at their edges do not count.",
        )
        .within("0 m", "200 m", "strips are not that wide")
        .or("\"3 m\""),
        key(
            "gap",
            Kind::Amount(Wanted::Length),
            "the gap",
            "\"5 m\"",
            "Distance left out between a strip and the comparison ground beside it.",
        )
        .within("0 m", "200 m", "strips are not that wide")
        .or("\"5 m\""),
        key(
            "segments",
            Kind::Whole,
            "the segments",
            "20",
            "Segments along a strip, from whose spread the 95 % limits of the response index come.",
        )
        .within("1", "1000", "a strip is cut into 20 segments as a rule")
        .or("20"),
        key(
            "drop",
            Kind::Number,
            "the outlier limit",
            "3.5",
            "Scaled MADs beyond which a segment is dropped as an outlier; 0 keeps every segment.",
        )
        .within("0", "100", "in MADs; 0 keeps every segment")
        .or("3.5"),
        key(
            "strips_use",
            Kind::Words(&["pooled", "nearest", "inverse distance"]),
            "the use of strips",
            "\"pooled\"",
            "Which strips count where: all together, the nearest, or all weighted by distance.",
        )
        .or("\"pooled\""),
        key(
            "level",
            Kind::Words(&["strip", "balanced"]),
            "level of the reference",
            "\"strip\"",
            "Where the reference's level comes from: the strip's own index, or half from its ratio and the field's mean.",
        )
        .or("\"strip\""),
        key(
            "readings",
            Kind::Tables("reference.readings"),
            "at least one pair of averaged hand readings",
            "[{ strip = 0.66, beside = 0.50 }]",
            "Averaged hand readings in the strip and beside it, one table a pair.",
        )
        .required_when("for haulm rate, without a ramp"),
        key(
            "percentile",
            Kind::Number,
            "the percentile",
            "95",
            "Percentile of the canopy cells that stands for a strip: a virtual reference.",
        )
        .within("50", "99", "a virtual reference is a high percentile of the canopy cells, 95 as a rule"),
        key(
            "ramp",
            Kind::Or(&[Kind::Tables("reference.ramp"), Kind::Table("reference.ramp.steps")]),
            "the nitrogen ramp",
            "[{ rate = \"0 kg N/ha\", index = 0.52 }, { rate = \"40 kg N/ha\", index = 0.61 }]",
            "Nitrogen ramp: rate and index of each step, or its polygons; gives one flat rate, by haulm rate.",
        ),
        key(
            "ramp_model",
            Kind::Words(&["linear plateau", "quadratic plateau"]),
            "the curve of a ramp",
            "\"linear plateau\"",
            "Curve that is fitted to the ramp; the rate is where its plateau begins.",
        )
        .or("\"linear plateau\""),
        key(
            "ramp_index",
            Kind::Text,
            "the index of the ramp",
            "\"NDVI\"",
            "Canopy index that the ramp was read with.",
        )
        .or_else("imagery.index"),
        key(
            "zones",
            Kind::Table("reference.zones"),
            "the strips' zones",
            "{ path = \"soils.gpkg\", layer = \"soils\" }",
            "Polygons, such as soils, within which each strip counts; instead of strips_use.",
        ),
    ],
};

pub(super) const STRIPS: Table = Table {
    name: "reference.strips",
    heading: "strips = { … }",
    about: "The reference strips as a layer of a file.",
    keys: LAYER_KEYS,
};

pub(super) const ZONES: Table = Table {
    name: "reference.zones",
    heading: "zones = { … }",
    about: "Zones that share out the reference strips.",
    keys: &[
        PATH,
        LAYER,
        WHERE,
        key(
            "without_strip",
            Kind::Words(&["refuse", "pooled"]),
            "the way with a zone that holds no strip",
            "\"pooled\"",
            "What a zone without a strip gets: the job is refused, or all strips pooled count there.",
        )
        .or("\"refuse\""),
    ],
};

pub(super) const READINGS: Table = Table {
    name: "reference.readings",
    heading: "readings = [{ … }]",
    about: "One pair of averaged hand readings.",
    keys: &[
        reading(
            "strip",
            "the reading in the strip",
            "0.66",
            "Mean index in the reference strip.",
        ),
        reading(
            "beside",
            "the reading beside the strip",
            "0.50",
            "Mean index of the comparison ground beside it.",
        ),
    ],
};

pub(super) const RAMP: Table = Table {
    name: "reference.ramp",
    heading: "ramp = [{ … }]",
    about: "One step of a nitrogen ramp, read by hand.",
    keys: &[
        key(
            "rate",
            Kind::Amount(Wanted::Nitrogen),
            "the nitrogen that the step got",
            "\"40 kg N/ha\"",
            "Nitrogen that the step got.",
        )
        .within("0 kg N/ha", "1000 kg N/ha", "more than any crop gets")
        .required(),
        reading(
            "index",
            "the averaged index of the step",
            "0.61",
            "Mean canopy index of the step.",
        ),
    ],
};

pub(super) const RAMP_STEPS: Table = Table {
    name: "reference.ramp.steps",
    heading: "ramp = { … }",
    about: "Polygons of a nitrogen ramp, measured on the image.",
    keys: &[
        PATH,
        LAYER,
        WHERE,
        key(
            "rate",
            Kind::Text,
            "the column that holds the nitrogen of each step",
            "\"N_KG_HA\"",
            "Column that holds the nitrogen of each step.",
        )
        .required(),
        key(
            "unit",
            Kind::Words(&["kg N/ha", "lb N/ac"]),
            "the unit of that column, as nitrogen,",
            "\"kg N/ha\"",
            "Unit of that column.",
        )
        .required(),
    ],
};
