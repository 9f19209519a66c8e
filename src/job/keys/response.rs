//! `[response]`: the method that sets rates, and its parameters.

use crate::job::fault::Wanted;
use crate::job::keys::row::{Key, Kind, Table, key};
use crate::job::keys::season::grain_nitrogen;
use crate::science::methods::about::{
    CHLOROPHYLL, CLASS_TABLE, FLAT, LINEAR_RAMP, QUADRATIC, SQUARE_ROOT, VISIBLE, YIELD_RESPONSE,
};

const YIELD: &[&str] = &[YIELD_RESPONSE];
const ROOT: &[&str] = &[SQUARE_ROOT];
/// Methods that read sufficiency, with a dead band of their own.
const SUFFICIENCY: &[&str] = &[SQUARE_ROOT, QUADRATIC];
const ECONOMIC: &[&str] = &[SQUARE_ROOT, FLAT];
const RAMP: &[&str] = &[LINEAR_RAMP];
const READS: &[&str] = &[LINEAR_RAMP, CLASS_TABLE];
/// Methods whose numbers the user brings, for one index.
const OF_AN_INDEX: &[&str] = &[SQUARE_ROOT, LINEAR_RAMP, CLASS_TABLE];
/// Methods with published numbers for one index.
const PUBLISHED: &[&str] = &[QUADRATIC, CHLOROPHYLL];
const CURVED: &[&str] = &[YIELD_RESPONSE, SQUARE_ROOT, QUADRATIC, CHLOROPHYLL, VISIBLE];
const VALUE: &str = "values of an index or of sufficiency";

/// A nitrogen rate, as nitrogen.
pub(super) const fn nitrogen(
    name: &'static str,
    noun: &'static str,
    example: &'static str,
    about: &'static str,
) -> Key {
    key(name, Kind::Amount(Wanted::Nitrogen), noun, example, about).within(
        "0 kg N/ha",
        "1000 kg N/ha",
        "more than any crop gets",
    )
}

const INDEX: Key = key(
    "index",
    Kind::Text,
    "the canopy index that these numbers hold for",
    "\"NDRE\"",
    "Canopy index that the method's numbers hold for.",
);

pub(super) const RESPONSE: Table = Table {
    name: "response",
    heading: "[response]",
    about: "The method that turns index into nitrogen rate, and its parameters; each method has its own keys.",
    keys: &[
        key(
            "method",
            Kind::NameOf("haulm methods"),
            "method",
            "\"yield response\"",
            "Method that sets the rate.",
        )
        .or("\"yield response\""),
        key(
            "maximum_yield",
            Kind::Amount(Wanted::Yield),
            "the yield that the site can never exceed",
            "\"6.7 t/ha\"",
            "Yield that the site can never exceed: no rate asks for more.",
        )
        .within("100 kg/ha", "40000 kg/ha", "no site's maximum yield; check the unit")
        .of(YIELD)
        .required(),
        key(
            "yield_curve",
            Kind::Or(&[Kind::NameOf("haulm crops"), Kind::Table("response.yield_curve")]),
            "the yield curve (a crop alone picks none)",
            "\"winter wheat, common practice\"",
            "In-season estimated yield from index and growing days: the name of a curve, or your own.",
        )
        .of(YIELD)
        .required(),
        key(
            "nitrogen_share",
            Kind::Or(&[Kind::Share, Kind::Words(&["measured"])]),
            "nitrogen share",
            "1.0",
            "Share of the paleness that counts as lack of nitrogen; \"measured\" is the share that the strips show.",
        )
        .within(
            "0",
            "1",
            "1 compares each cell with the strip, 0 gives every cell the field's response index",
        )
        .or("1.0"),
        key(
            "maximum_ratio",
            Kind::Or(&[Kind::Number, Kind::Words(&["seen"])]),
            "maximum ratio",
            "2.0",
            "Highest response index that counts; \"seen\" is the highest that the strip showed.",
        )
        .within(
            "1",
            "3",
            "at 1 no cell would ever get more than the minimum, and no crop that lives lacks nitrogen threefold",
        )
        .or_else("2.0, less where the strip is doubtful"),
        key(
            "ratio_adjustment",
            Kind::Table("response.ratio_adjustment"),
            "the adjustment of the response index",
            "{ slope = 1.69, intercept = -0.70 }",
            "Linear adjustment from the response index in season to the one at harvest.",
        )
        .of(YIELD)
        .or_else("none: the response index counts as it is"),
        key(
            "dead_band",
            Kind::Number,
            "the dead band",
            "0.05",
            "Response indices up to 1 plus this count as 1.",
        )
        .within("0", "1", "response indices up to 1 + this count as 1")
        .of(YIELD)
        .or("0.0"),
        // Crops within 3 % of the strip need nothing. Common practice, no source: sufficiency thresholds of 0.95 to 0.97 are in use.
        key(
            "dead_band",
            Kind::Number,
            "the dead band",
            "0.03",
            "Sufficiency indices from 1 less this up count as 1.",
        )
        .within("0", "0.5", "sufficiency indices from 1 − this up count as 1")
        .of(SUFFICIENCY)
        .or("0.03"),
        grain_nitrogen("Nitrogen in grain, as a share of its mass.").of(YIELD).or_else("the crop's own; required where none is confirmed"),
        key(
            "use_efficiency",
            Kind::Share,
            "the use efficiency",
            "0.5",
            "Share of the applied nitrogen that reaches the grain.",
        )
        .within("0.05", "1", "share of the applied nitrogen that reaches the grain")
        .of(YIELD)
        .or("0.5"),
        nitrogen(
            "applied_since_sensing",
            "the nitrogen since sensing",
            "\"0 kg N/ha\"",
            "Nitrogen that was applied after sensing; it is taken off every rate.",
        )
        .or("\"0 kg N/ha\""),
        nitrogen(
            "optimum",
            "the season's optimum nitrogen rate, economic or your own,",
            "\"180 kg N/ha\"",
            "Optimum nitrogen rate of the season.",
        )
        .of(ROOT)
        .required_when("unless economic = true"),
        nitrogen("credits", "the credits", "\"20 kg N/ha\"", "Nitrogen from manure, preceding crop or water, taken off the optimum.")
            .of(ROOT)
            .or("\"0 kg N/ha\""),
        nitrogen("extra", "the compensation", "\"10 kg N/ha\"", "Nitrogen added to make up for a late application.")
            .of(ROOT)
            .or("\"0 kg N/ha\""),
        key(
            "zone_scalar",
            Kind::Number,
            "the zone scalar",
            "1.0",
            "Factor on the optimum, for a field that is known to need more or less.",
        )
        .within("0", "2", "the optimum is multiplied by it")
        .of(ROOT)
        .or("1.0"),
        key(
            "delta_si",
            Kind::Number,
            "1 − the sufficiency index of ground that got no nitrogen",
            "0.3",
            "How far the sufficiency index of ground without nitrogen lies below 1.",
        )
        .within(
            "0.02",
            "0.95",
            "1 − sufficiency index of ground without nitrogen, about 0.3 for corn in the middle of its growth",
        )
        .of(ROOT)
        .required(),
        key(
            "back_off",
            Kind::Table("response.back_off"),
            "the back-off",
            "{ steepness = 20, below = 0.7 }",
            "Lowers the rate where the crop is too poor to recover.",
        )
        .of(ROOT)
        .or_else("none"),
        key(
            "meter_curve",
            Kind::Table("response.meter_curve"),
            "the meter's curve",
            "{ intercept = 0.81, linear = 0.002, quadratic = -0.0000056, source = \"own trials\" }",
            "Your own quadratic of sufficiency index over nitrogen.",
        )
        .of(&[QUADRATIC])
        .or_else("the published one"),
        key(
            "light",
            Kind::Words(&["green", "amber", "red"]),
            "the visible light of the index NIR/V: green, amber or red",
            "\"red\"",
            "Visible light of the simple ratio.",
        )
        .of(&[VISIBLE])
        .required_when("unless line is given"),
        key(
            "stages",
            Kind::Words(&["V6-V7", "V8-V10"]),
            "corn's stage: V6-V7 or V8-V10",
            "\"V8-V10\"",
            "Corn's growth stages at sensing.",
        )
        .of(&[VISIBLE])
        .required_when("unless line is given"),
        key(
            "line",
            Kind::Table("response.line"),
            "the line",
            "{ slope = \"250 lb N/ac\", less = \"200 lb N/ac\", source = \"own trials\" }",
            "Your own line of rate over relative reflectance, instead of light and stages.",
        )
        .of(&[VISIBLE]),
        key(
            "by",
            Kind::Words(&["index", "sufficiency"]),
            "what is read: the index itself, or sufficiency, the index over the strip's",
            "\"sufficiency\"",
            "What is read: the index itself, or sufficiency, the index over the strip's.",
        )
        .of(READS)
        .required(),
        key(
            "low",
            Kind::Number,
            "the value at and below which at_low is given",
            "0.35",
            "Value at and below which at_low is applied.",
        )
        .within("-1", "100", VALUE)
        .of(RAMP)
        .required(),
        key(
            "high",
            Kind::Number,
            "the value at and above which at_high is given",
            "0.80",
            "Value at and above which at_high is applied.",
        )
        .within("-1", "100", VALUE)
        .of(RAMP)
        .required(),
        nitrogen("at_low", "the rate of the poorest", "\"120 kg N/ha\"", "Rate of the poorest crop.").of(RAMP).required(),
        nitrogen("at_high", "the rate of the best", "\"20 kg N/ha\"", "Rate of the best crop.").of(RAMP).required(),
        key(
            "classes",
            Kind::Tables("response.classes"),
            "the classes, from the poorest up",
            "[{ below = 0.85, rate = \"80 kg N/ha\" }, { rate = \"0 kg N/ha\" }]",
            "Classes from the poorest up, each with its rate; the last has no upper bound.",
        )
        .of(&[CLASS_TABLE])
        .required(),
        nitrogen("rate", "the rate", "\"60 kg N/ha\"", "The one rate of the field.").of(&[FLAT]).required_when("unless economic = true"),
        key(
            "curve_spread",
            Kind::Share,
            "the curve's uncertainty",
            "0.2",
            "Standard deviation of the method's curve as a share of it; widens the 80 % range.",
        )
        .within("0", "1", "one standard deviation of the curve, as a share of it")
        .of(CURVED),
        key(
            "economic",
            Kind::YesNo,
            "the economic optimum",
            "true",
            "Whether the rate is the economic optimum of curve at the job's prices.",
        )
        .of(ECONOMIC)
        .or("false"),
        key(
            "curve",
            Kind::Table("response.curve"),
            "the response curve whose economic optimum is asked for",
            "{ shape = \"quadratic plateau\", plateau = \"9 t/ha\", join = \"180 kg N/ha\", curvature = 0.2, source = \"own trials\" }",
            "Response curve, yield over nitrogen, whose economic optimum is asked for.",
        )
        .of(ECONOMIC)
        .required_when("with economic = true"),
        INDEX.of(OF_AN_INDEX).required(),
        INDEX.of(PUBLISHED),
        key(
            "region",
            Kind::Text,
            "the region",
            "\"dry plains\"",
            "Region that the numbers were made in, compared with the field's.",
        )
        .of(OTHER),
        key(
            "sensor",
            Kind::Text,
            "the sensor",
            "\"active\"",
            "Kind of sensor that the numbers were made with, compared with the image's.",
        )
        .of(OTHER),
        key("source", Kind::Text, "the source", "\"own trials\"", "Source of the numbers; stands in the record.").of(OTHER),
    ],
};

/// Every method but the yield response, whose curve carries its own region, sensor and source.
const OTHER: &[&str] = &[
    SQUARE_ROOT,
    QUADRATIC,
    CHLOROPHYLL,
    VISIBLE,
    LINEAR_RAMP,
    CLASS_TABLE,
    FLAT,
];
