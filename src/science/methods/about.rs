//! What each method is, for lists, records and reports: formula, units, range, source, certainty.

use crate::science::crop::Certainty;

/// Name in jobs and records.
pub const YIELD_RESPONSE: &str = "yield response";
/// Name in jobs and records.
pub const SQUARE_ROOT: &str = "square root";
/// Name in jobs and records.
pub const QUADRATIC: &str = "quadratic";
/// Name in jobs and records.
pub const CHLOROPHYLL: &str = "chlorophyll root";
/// Name in jobs and records.
pub const VISIBLE: &str = "visible line";
/// Name in jobs and records.
pub const LINEAR_RAMP: &str = "linear ramp";
/// Name in jobs and records.
pub const CLASS_TABLE: &str = "class table";
/// Name in jobs and records.
pub const FLAT: &str = "flat";

/// What one method is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct About {
    /// Name in jobs and records: `response.method`.
    pub name: &'static str,
    /// What it gives, in a line.
    pub gives: &'static str,
    /// Its formula.
    pub formula: &'static str,
    /// Units of its parameters and answer.
    pub units: &'static str,
    /// Where it holds.
    pub range: &'static str,
    /// Keys of `[response]` that it needs; others have defaults.
    pub needs: &'static str,
    /// Where it comes from.
    pub source: &'static str,
    /// How far the formula may be trusted.
    pub certainty: Certainty,
    /// The one crop that its published numbers are for, when there is one.
    pub crop: Option<&'static str>,
}

/// Every method, in the order in which they are listed.
pub const METHODS: &[About] = &[
    About {
        name: YIELD_RESPONSE,
        gives: "how much yield nitrogen adds at a place, and how much nitrogen that yield takes up",
        formula: "RI = I_ref / I, held to 1 … maximum; YP0 = min(a · exp(b · I / D), YPmax); YPN = min(YP0 · RI, YPmax); N = (YPN − YP0) · g / e − applied since sensing",
        units: "yields and a in kg/ha, b and D in days, N in kg N/ha, the rest plain numbers",
        range: "growing days 60 to 120 (winter wheat best at 87 to 112), in-season estimate I / D 0.002 to 0.010 a day; refused below 60 days unless accepted",
        needs: "maximum_yield, yield_curve; growing days of the season",
        source: "Raun et al. 2002, Agronomy Journal 94:815-820; the difference of grain nitrogen over use efficiency is common practice",
        certainty: Certainty::FromMemory,
        crop: None,
    },
    About {
        name: SQUARE_ROOT,
        gives: "the share of the season's optimum that is still lacking, steep near sufficiency",
        formula: "SI = I / I_ref; N = max(0, s · optimum − applied before − credits + extra) · √min(1, (1 − SI) / ΔSI); nothing from SI = 1 − dead band up; with back-off ΔSI · (1 + 0.1 · exp(m · (SI_b − SI))) in its place",
        units: "amounts in kg N/ha, the rest plain numbers",
        range: "corn, vegetative stages; ΔSI is that of the index and stage in hand; back-off steepness 0 to 100, zone scalar 0 to 2",
        needs: "optimum, delta_si, index",
        source: "Holland and Schepers 2010, Agronomy Journal 102:1415-1424; back-off: 2013, Precision Agriculture 14:71-85",
        certainty: Certainty::FromMemory,
        crop: None,
    },
    About {
        name: QUADRATIC,
        gives: "nitrogen up to the top of a parabola of meter readings",
        formula: "SI = 0.8073 + 0.002 · N − 0.0000056 · N²; N = √((SI_top − SI) / 0.0000056), at most 178.6 kg N/ha; nothing from SI = 1 − dead band up",
        units: "N in kg N/ha, the rest plain numbers",
        range: "corn V8 to V12, readings of a leaf chlorophyll meter",
        needs: "nothing; meter_curve for coefficients of your own",
        source: "Varvel et al. 2007, Agronomy Journal 99:701-706",
        certainty: Certainty::FromMemory,
        crop: Some("corn"),
    },
    About {
        name: CHLOROPHYLL,
        gives: "the same for a canopy sensor's chlorophyll index",
        formula: "N = 317 · √(0.97 − SI); nothing from SI = 0.97 up",
        units: "N in kg N/ha, SI a plain number",
        range: "corn, vegetative stages; chlorophyll index of near infrared over 590 nm from an active sensor",
        needs: "nothing",
        source: "Solari et al. 2010, Agronomy Journal 102",
        certainty: Certainty::FromMemory,
        crop: Some("corn"),
    },
    About {
        name: VISIBLE,
        gives: "a line of corn's optimum against relative reflectance; 50 to 60 lb N/ac where crop and strip look alike",
        formula: "x = (V/NIR) / (V/NIR)_ref = I_ref / I with I = NIR/V; N = slope · x − less, not below 0: V6-V7 330 x − 270 (green, amber) or 220 x − 170 (red), V8-V10 250 x − 200 or 170 x − 120",
        units: "lines in lb N/ac, x a plain number",
        range: "corn V6 to V10 with 0 to 100 lb N/ac before planting that goes on needing nitrogen; x up to the maximum ratio",
        needs: "light and stages, or line; an index NIR/V such as SR",
        source: "Scharf, Kitchen and Lory, slide set Missouri algorithm for N in corn; Scharf and Lory 2009, Agronomy Journal 101:615-625 (citation from memory)",
        certainty: Certainty::Published,
        crop: Some("corn"),
    },
    About {
        name: LINEAR_RAMP,
        gives: "a straight line between two values of the index or of sufficiency",
        formula: "N = at_high + (at_low − at_high) · clamp((high − V) / (high − low), 0, 1)",
        units: "rates in kg N/ha, V a plain number",
        range: "where the user's two values hold: of one index, or of sufficiency by one index",
        needs: "by, index, low, high, at_low, at_high",
        source: "arithmetic; where the two values lie is the user's or the adviser's decision",
        certainty: Certainty::CommonPractice,
        crop: None,
    },
    About {
        name: CLASS_TABLE,
        gives: "a rate for each class of the index or of sufficiency",
        formula: "N = rate of the class with lower bound ≤ V < below; the last class has no upper bound",
        units: "rates in kg N/ha, V a plain number",
        range: "where the user's classes hold: of one index, or of sufficiency by one index",
        needs: "by, index, classes",
        source: "the user's or the adviser's own table; its form is common practice",
        certainty: Certainty::CommonPractice,
        crop: None,
    },
    About {
        name: FLAT,
        gives: "one rate for all canopy; bare, thin and unseen ground keep their rules",
        formula: "N = rate − applied since sensing",
        units: "kg N/ha",
        range: "everywhere",
        needs: "rate",
        source: "the user's or the adviser's own rate; common practice",
        certainty: Certainty::CommonPractice,
        crop: None,
    },
];

/// The method of this name.
pub fn about(name: &str) -> Option<&'static About> {
    METHODS.iter().find(|method| method.name == name)
}
