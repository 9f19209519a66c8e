//! Tables within `[response]`: curves, lines and classes.

use crate::job::fault::Wanted;
use crate::job::keys::response::nitrogen;
use crate::job::keys::row::{Key, Kind, Table, key};

const fn number(
    name: &'static str,
    noun: &'static str,
    example: &'static str,
    about: &'static str,
) -> Key {
    key(name, Kind::Number, noun, example, about)
}

const fn source(noun: &'static str) -> Key {
    key(
        "source",
        Kind::Text,
        noun,
        "\"own trials\"",
        "Source of the numbers.",
    )
    .required()
}

pub(super) const YIELD_CURVE: Table = Table {
    name: "response.yield_curve",
    heading: "yield_curve = { … }",
    about: "Your own yield curve: yield potential without nitrogen YP0 = a · exp(b · index / growing days).",
    keys: &[
        key(
            "a",
            Kind::Amount(Wanted::Yield),
            "the yield at index 0",
            "\"590 kg/ha\"",
            "Yield at index 0.",
        )
        .above_zero()
        .required(),
        number("b", "the exponent in days", "258.2", "Exponent in days.")
            .within(
                "0.001",
                "10000",
                "in days, for an index between 0 and 1 over 60 to 120 growing days",
            )
            .required(),
        key(
            "index",
            Kind::Text,
            "the index that the curve was fitted with",
            "\"NDVI\"",
            "Index that the curve was fitted with; the image's must be the same.",
        )
        .required(),
        key(
            "region",
            Kind::Text,
            "the curve's region",
            "\"dry plains\"",
            "Region that it was fitted in, compared with field.region.",
        ),
        key(
            "sensor",
            Kind::Text,
            "the curve's sensor",
            "\"active, red\"",
            "Kind of sensor that it was fitted with, compared with imagery.sensor.",
        ),
        key(
            "source",
            Kind::Text,
            "where the curve comes from",
            "\"common practice\"",
            "Source of the curve; stands in record and report.",
        )
        .required(),
    ],
};

pub(super) const RATIO_ADJUSTMENT: Table = Table {
    name: "response.ratio_adjustment",
    heading: "ratio_adjustment = { … }",
    about: "Linear adjustment of the response index.",
    keys: &[
        number("slope", "the slope of the adjustment", "1.69", "Slope.")
            .within("0", "10", "a response index is stretched by it")
            .required(),
        number(
            "intercept",
            "the intercept of the adjustment",
            "-0.70",
            "Intercept.",
        )
        .within("-10", "10", "a response index is moved by it")
        .required(),
    ],
};

pub(super) const BACK_OFF: Table = Table {
    name: "response.back_off",
    heading: "back_off = { … }",
    about: "How the rate falls back where the crop is too poor to recover.",
    keys: &[
        number(
            "steepness",
            "how fast the rate falls back",
            "20",
            "How fast the rate falls back.",
        )
        .within("0", "100", "how fast the rate falls back")
        .required(),
        number(
            "below",
            "the sufficiency index around which it falls back",
            "0.7",
            "Sufficiency index around which it falls back.",
        )
        .within("0", "1", "the sufficiency index around which it falls back")
        .required(),
    ],
};

pub(super) const METER_CURVE: Table = Table {
    name: "response.meter_curve",
    heading: "meter_curve = { … }",
    about: "Sufficiency index as a quadratic of nitrogen in kg/ha.",
    keys: &[
        number(
            "intercept",
            "the sufficiency index without nitrogen",
            "0.81",
            "Sufficiency index without nitrogen.",
        )
        .within("0", "1", "the sufficiency index without nitrogen")
        .required(),
        number(
            "linear",
            "the linear term, a kg N/ha",
            "0.002",
            "Linear term, a kg N/ha.",
        )
        .within(
            "0",
            "0.1",
            "a kg N/ha raises the sufficiency index by about 0.002",
        )
        .required(),
        number(
            "quadratic",
            "the quadratic term, a kg N/ha squared",
            "-0.0000056",
            "Quadratic term, a kg N/ha squared; below 0.",
        )
        .within(
            "-0.01",
            "0",
            "below 0: the parabola bends down, by about −0.0000056 a kg N/ha squared",
        )
        .required(),
        source("where the coefficients come from"),
    ],
};

pub(super) const LINE: Table = Table {
    name: "response.line",
    heading: "line = { … }",
    about: "Rate = slope · relative reflectance − less.",
    keys: &[
        nitrogen(
            "slope",
            "nitrogen a unit of relative reflectance",
            "\"250 lb N/ac\"",
            "Nitrogen a unit of relative reflectance.",
        )
        .required(),
        nitrogen(
            "less",
            "what is taken off",
            "\"200 lb N/ac\"",
            "What is taken off.",
        )
        .required(),
        source("where the line comes from"),
    ],
};

pub(super) const CLASSES: Table = Table {
    name: "response.classes",
    heading: "classes = [{ … }]",
    about: "One class of the table.",
    keys: &[
        number(
            "below",
            "the class's upper bound",
            "0.85",
            "Upper bound of the class.",
        )
        .within("-1", "100", "values of an index or of sufficiency")
        .or_else("none: the last class"),
        nitrogen(
            "rate",
            "the rate of the class",
            "\"80 kg N/ha\"",
            "Rate of the class.",
        )
        .required(),
        key(
            "back_off",
            Kind::YesNo,
            "the mark of a poor class",
            "true",
            "Marks a class whose rate is lower because the crop is too poor to recover.",
        )
        .or("false"),
    ],
};

pub(super) const CURVE: Table = Table {
    name: "response.curve",
    heading: "curve = { … }",
    about: "Yield over the season's nitrogen N; each shape has its own keys.",
    keys: &[
        key(
            "shape",
            Kind::Words(&["quadratic", "quadratic plateau", "linear plateau"]),
            "the curve's shape: quadratic, quadratic plateau or linear plateau",
            "\"quadratic plateau\"",
            "Shape of the curve.",
        )
        .required(),
        key(
            "a",
            Kind::Amount(Wanted::Yield),
            "the yield without nitrogen",
            "\"4 t/ha\"",
            "Yield without nitrogen (quadratic).",
        )
        .required_when("by a quadratic"),
        number(
            "b",
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
        number(
            "c",
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
        key(
            "plateau",
            Kind::Amount(Wanted::Yield),
            "the yield of the plateau",
            "\"9 t/ha\"",
            "Yield of the plateau.",
        )
        .required_when("by a plateau"),
        key(
            "join",
            Kind::Amount(Wanted::Nitrogen),
            "the rate at which the plateau starts",
            "\"180 kg N/ha\"",
            "Rate at which the plateau starts.",
        )
        .required_when("by a plateau"),
        number(
            "curvature",
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
        number(
            "slope",
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
        key(
            "maximum_rate",
            Kind::Amount(Wanted::Nitrogen),
            "the highest rate of the trial",
            "\"250 kg N/ha\"",
            "Highest rate of the trial; an optimum beyond it is cautioned against.",
        ),
        key(
            "source",
            Kind::Text,
            "where the curve comes from",
            "\"own trials\"",
            "Source of the curve; stands in record and report.",
        )
        .required(),
    ],
};
