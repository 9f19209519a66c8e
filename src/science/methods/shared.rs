//! Rows that several methods share: each lists those that are its own.

use crate::key::{Any, Key, Kind, Requirement, Word, key, keys, words};
use crate::units::{NRate, Yield};

/// A number without a unit.
pub(super) const fn number(noun: &'static str, example: &'static str, about: &'static str) -> Key {
    key(Kind::Number, noun, example, about)
}

/// Where a table's numbers come from.
pub(super) const fn source(noun: &'static str) -> Key {
    key(Kind::Text, noun, "\"own trials\"", "Source of the numbers.").required()
}

// Crops within 3 % of the strip need nothing. Common practice, no source: sufficiency thresholds of 0.95 to 0.97 are in use.
pub(super) const DEAD_BAND: Key = key(
    Kind::Number,
    "the dead band",
    "0.03",
    "Sufficiency indices from 1 less this up count as 1.",
)
.within(
    "0",
    "0.5",
    "sufficiency indices from 1 − this up count as 1",
)
.or("0.03");

pub(super) const CURVE_SPREAD: Key = key(
    Kind::Share,
    "the curve's uncertainty",
    "0.2",
    "Standard deviation of the method's curve as a share of it; widens the 80 % range.",
)
.within(
    "0",
    "1",
    "one standard deviation of the curve, as a share of it",
)
.recorded("");

pub(super) const ECONOMIC: Key = key(
    Kind::YesNo,
    "the economic optimum",
    "true",
    "Whether the rate is the economic optimum of curve at the job's prices.",
)
.or("false");

pub(super) const CURVE_ROW: Key = key(
            Kind::Table("response.curve"),
            "the response curve whose economic optimum is asked for",
            "{ shape = \"quadratic plateau\", plateau = \"9 t/ha\", join = \"180 kg N/ha\", curvature = 0.2, source = \"own trials\" }",
            "Response curve, yield over nitrogen, whose economic optimum is asked for.",
        )
        .required_when("with economic = true");

pub(super) const INDEX: Key = key(
    Kind::Text,
    "the canopy index that these numbers hold for",
    "\"NDRE\"",
    "Canopy index that the method's numbers hold for.",
);

pub(super) const REGION: Key = key(
    Kind::Text,
    "the region",
    "\"dry plains\"",
    "Region that the numbers were made in, compared with the field's.",
);

pub(super) const SENSOR: Key = key(
    Kind::Text,
    "the sensor",
    "\"active\"",
    "Kind of sensor that the numbers were made with, compared with the image's.",
);

pub(super) const SOURCE: Key = key(
    Kind::Text,
    "the source",
    "\"own trials\"",
    "Source of the numbers; stands in the record.",
);

words! {
    /// What a ramp or a table is read by.
    pub enum ReadBy {
        /// The cell's canopy index.
        Index = "index",
        /// The sufficiency index: the cell's index over the reference's.
        Sufficiency = "sufficiency",
    }
}

pub(super) const READ_BY: Key = key(
    Kind::Words(ReadBy::WORDS),
    "what is read: the index itself, or sufficiency, the index over the strip's",
    "\"sufficiency\"",
    "What is read: the index itself, or sufficiency, the index over the strip's.",
)
.required();

words! {
    /// Shape of a response curve.
    pub(crate) enum Shape {
        /// A parabola.
        Quadratic = "quadratic",
        /// A parabola up to a plateau.
        QuadraticPlateau = "quadratic plateau",
        /// A line up to a plateau.
        LinearPlateau = "linear plateau",
    }
}

keys! {
    /// Rows that every method but the yield response, or several, may have, for reading them whatever the method is.
    SHARED: SharedKeys in "response",
    {
        index: String = INDEX,
        region: String = REGION,
        sensor: String = SENSOR,
        source: String = SOURCE,
        curve_spread: f64 = CURVE_SPREAD,
        economic: bool = ECONOMIC,
        curve: Any = CURVE_ROW,
    }
}

keys! {
    CURVE: CurveKeys = "response.curve", "curve = { … }", "Yield over the season's nitrogen N; each shape has its own keys.",
    {
        shape: Shape = key(
            Kind::Words(Shape::WORDS),
            "the curve's shape: quadratic, quadratic plateau or linear plateau",
            "\"quadratic plateau\"",
            "Shape of the curve.",
        )
        .required(),
        a: Yield = key(
            Kind::Amount(Requirement::Yield),
            "the yield without nitrogen",
            "\"4 t/ha\"",
            "Yield without nitrogen (quadratic).",
        )
        .required_when("by a quadratic"),
        b: f64 = number(
            "the slope without nitrogen, kg of grain a kg of nitrogen",
            "30",
            "Slope without nitrogen, kg of grain a kg of nitrogen (quadratic).",
        )
        .within(
            "0",
            "500",
            "kg of grain that the first kg of nitrogen brings, about 20 to 40",
        )
        .required_when("by a quadratic"),
        c: f64 = number(
            "the coefficient of N², kg of grain a (kg N/ha)²",
            "-0.08",
            "Coefficient of N², below 0, kg of grain a (kg N/ha)² (quadratic).",
        )
        .within(
            "-10",
            "-0.000001",
            "below 0: kg of grain a (kg N/ha)², about −0.1",
        )
        .required_when("by a quadratic"),
        plateau: Yield = key(
            Kind::Amount(Requirement::Yield),
            "the yield of the plateau",
            "\"9 t/ha\"",
            "Yield of the plateau.",
        )
        .required_when("by a plateau").recorded(""),
        join: NRate = key(
            Kind::Amount(Requirement::Nitrogen),
            "the rate at which the plateau starts",
            "\"180 kg N/ha\"",
            "Rate at which the plateau starts.",
        )
        .required_when("by a plateau"),
        curvature: f64 = number(
            "the curvature k of plateau − k/2 · (join − N)², kg of grain a (kg N/ha)²",
            "0.2",
            "Curvature k of plateau − k/2 · (join − N)², kg of grain a (kg N/ha)².",
        )
        .within(
            "0.000001",
            "10",
            "in plateau − curvature/2 · (join − N)², about 0.2",
        )
        .required_when("by a quadratic plateau"),
        slope: f64 = number(
            "the slope below the plateau, kg of grain a kg of nitrogen",
            "20",
            "Slope below the plateau, kg of grain a kg of nitrogen.",
        )
        .within(
            "0.000001",
            "500",
            "kg of grain a kg of nitrogen, about 10 to 30",
        )
        .required_when("by a linear plateau"),
        maximum_rate: NRate = key(
            Kind::Amount(Requirement::Nitrogen),
            "the highest rate of the trial",
            "\"250 kg N/ha\"",
            "Highest rate of the trial; an optimum beyond it is cautioned against.",
        ),
        source: String = key(
            Kind::Text,
            "where the curve comes from",
            "\"own trials\"",
            "Source of the curve; stands in record and report.",
        )
        .required(),
    }
}
