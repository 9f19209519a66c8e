//! Corn by relative reflectance: `x = (V/NIR) of the place / (V/NIR) of the reference`, `N = slope · x − less`, not below 0.
//!
//! V is visible light: green, amber or red. haulm works with indices that rise with canopy, NIR/V, so that `x = I_ref / I`, the same number.

use crate::key::{Any, Kind, Record, Word, key, keys, nitrogen, words};
use crate::science::certainty::Certainty;
use crate::science::methods::given::{Given, Read, checked, choice};
use crate::science::methods::shared::{CURVE_SPREAD, REGION, SENSOR, SOURCE, source};
use crate::science::methods::{About, CellRate, Compared, Formula, Method, MethodError, parameter};
use crate::units::NRate;

/// A line of nitrogen against the relative reflectance x.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VisibleLine {
    /// Nitrogen a unit of x.
    pub slope: NRate,
    /// What is taken off.
    pub less: NRate,
}

/// A published line: kind of light, stages, slope and what is taken off in lb N/ac.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PublishedLine {
    /// Light that it holds for.
    pub light: &'static [Light],
    /// Stages of corn that it holds for.
    pub stages: Stages,
    /// Slope. \[lb N/ac\]
    pub slope_lb_ac: f64,
    /// Taken off. \[lb N/ac\]
    pub less_lb_ac: f64,
}

/// The lines. At x = 1 they still give 50 to 60 lb N/ac: they were made for corn with 0 to 100 lb N/ac before planting that goes on needing nitrogen.
///
/// # Source
/// Scharf, Kitchen and Lory, slide set "Missouri algorithm for N in corn" (equations read there; original calibration: passive green and near infrared at
/// V6). Scharf and Lory 2009, Agronomy Journal 101:615-625 (citation from memory). Which light goes with the flatter lines, red, is from memory.
pub const PUBLISHED: &[PublishedLine] = &[
    PublishedLine {
        light: &[Light::Green, Light::Amber],
        stages: Stages::Early,
        slope_lb_ac: 330.0,
        less_lb_ac: 270.0,
    },
    PublishedLine {
        light: &[Light::Green, Light::Amber],
        stages: Stages::Late,
        slope_lb_ac: 250.0,
        less_lb_ac: 200.0,
    },
    PublishedLine {
        light: &[Light::Red],
        stages: Stages::Early,
        slope_lb_ac: 220.0,
        less_lb_ac: 170.0,
    },
    PublishedLine {
        light: &[Light::Red],
        stages: Stages::Late,
        slope_lb_ac: 170.0,
        less_lb_ac: 120.0,
    },
];

impl PublishedLine {
    /// Its numbers.
    pub fn line(&self) -> VisibleLine {
        VisibleLine {
            slope: NRate::lb_per_ac(self.slope_lb_ac),
            less: NRate::lb_per_ac(self.less_lb_ac),
        }
    }
}

/// The published line of a kind of light (`green`, `amber`, `red`) and stages (`V6-V7`, `V8-V10`).
pub fn published(light: &str, stages: &str) -> Option<&'static PublishedLine> {
    PUBLISHED.iter().find(|line| {
        line.light
            .iter()
            .any(|known| known.word().eq_ignore_ascii_case(light))
            && line.stages.word().eq_ignore_ascii_case(stages)
    })
}

impl VisibleLine {
    fn checked(&self) -> Result<(), MethodError> {
        if !(self.slope.get() > 0.0 && self.slope.is_finite()) {
            return Err(parameter(
                ABOUT.name,
                "the slope",
                &self.slope,
                "it must be above 0",
            ));
        }
        if !(self.less.get() >= 0.0 && self.less.is_finite()) {
            return Err(parameter(
                ABOUT.name,
                "what is taken off",
                &self.less,
                "it must be 0 or more",
            ));
        }
        Ok(())
    }

    /// Nitrogen for a relative reflectance x.
    pub fn needed(&self, relative: f64) -> NRate {
        (self.slope * relative - self.less).max(NRate::ZERO)
    }
}

words! {
    /// Visible light of an index NIR/V.
    pub enum Light {
        /// Green.
        Green = "green",
        /// Amber.
        Amber = "amber",
        /// Red.
        Red = "red",
    }
}

words! {
    /// Growth stages of corn that a published line holds for.
    pub enum Stages {
        /// Six to seven leaves.
        Early = "V6-V7",
        /// Eight to ten leaves.
        Late = "V8-V10",
    }
}

keys! {
    KEYS: VisibleKeys = "response", "[response]", "The method that turns index into nitrogen rate, and its parameters; each method has its own keys.",
    {
        light: Light = key(
            Kind::Words(Light::WORDS),
            "the visible light of the index NIR/V: green, amber or red",
            "\"red\"",
            "Visible light of the simple ratio.",
        )
        .required_when("unless line is given"),
        stages: Stages = key(
            Kind::Words(Stages::WORDS),
            "corn's stage: V6-V7 or V8-V10",
            "\"V8-V10\"",
            "Corn's growth stages at sensing.",
        )
        .required_when("unless line is given"),
        line: Any = key(
            Kind::Table("response.line"),
            "the line",
            "{ slope = \"250 lb N/ac\", less = \"200 lb N/ac\", source = \"own trials\" }",
            "Your own line of rate over relative reflectance, instead of light and stages.",
        ),
        curve_spread: f64 = CURVE_SPREAD,
        region: String = REGION,
        sensor: String = SENSOR,
        source: String = SOURCE,
    }
}

keys! {
    LINE: LineKeys = "response.line", "line = { … }", "Rate = slope · relative reflectance − less.",
    {
        slope: NRate = nitrogen(
            "nitrogen a unit of relative reflectance",
            "\"250 lb N/ac\"",
            "Nitrogen a unit of relative reflectance.",
        )
        .required(),
        less: NRate = nitrogen(
            "what is taken off",
            "\"200 lb N/ac\"",
            "What is taken off.",
        )
        .required(),
        source: String = source("where the line comes from"),
    }
}

/// What the method is.
pub const ABOUT: About = About {
    name: "visible line",
    gives: "a line of corn's optimum against relative reflectance; 50 to 60 lb N/ac where crop and strip look alike",
    formula: "x = (V/NIR) / (V/NIR)_ref = I_ref / I with I = NIR/V; N = slope · x − less, not below 0: V6-V7 330 x − 270 (green, amber) or 220 x − 170 (red), V8-V10 250 x − 200 or 170 x − 120",
    units: "lines in lb N/ac, x a plain number",
    range: "corn V6 to V10 with 0 to 100 lb N/ac before planting that goes on needing nitrogen; x up to the maximum ratio",
    needs: "light and stages, or line; an index NIR/V such as SR",
    source: "Scharf, Kitchen and Lory, slide set Missouri algorithm for N in corn; Scharf and Lory 2009, Agronomy Journal 101:615-625 (citation from memory)",
    certainty: Certainty::Published,
    crop: Some("corn"),
    instrument: None,
    keys: VisibleKeys::TABLE.keys,
    tables: &[LineKeys::TABLE],
    read: Some(read),
};

fn read(given: &mut dyn Given) -> Option<Read> {
    if !given.has(&KEYS.line) {
        let light = choice(given, &KEYS.light);
        let stages = choice(given, &KEYS.stages);
        given.require(&KEYS.light);
        given.require(&KEYS.stages);
        let line = published(light?.word(), stages?.word())?.line();
        return checked(given, &KEYS.line, Method::new(line));
    }
    for key in [&KEYS.light.row, &KEYS.stages.row] {
        if given.has(key) {
            given.refuse_beside(key, &[&KEYS.line, &KEYS.light, &KEYS.stages]);
        }
    }
    let mut own = None;
    given.table(&KEYS.line, &mut |table| {
        let slope = table.nitrogen(&LINE.slope);
        let less = table.nitrogen(&LINE.less);
        let source = table.text(&LINE.source);
        own = slope.zip(less).zip(source);
    });
    let ((slope, less), source) = own?;
    let read = checked(given, &KEYS.line, Method::new(VisibleLine { slope, less }))?;
    Some(Read {
        source: Some(source),
        ..read
    })
}

impl Formula for VisibleLine {
    fn about(&self) -> &'static About {
        &ABOUT
    }
    fn check(&self) -> Result<(), MethodError> {
        self.checked()
    }
    fn rate(&self, at: &Compared<'_>) -> Option<CellRate> {
        Some(at.by_need(true, |seen| {
            let relative = seen.ratio.min(at.limits.maximum_ratio);
            (Some(relative), self.needed(relative))
        }))
    }
    fn divides_by_index(&self) -> bool {
        // A ratio of two simple ratios is meant.
        false
    }
    fn uses_response_index(&self) -> bool {
        true
    }
    fn of_visible_light(&self) -> bool {
        true
    }
    fn falls_with_index(&self) -> bool {
        true
    }
    fn direction(&self) -> &'static str {
        "paler patches get more; ground that looks like the strip still gets what the line says, 50 to 60 lb N/ac by the published ones"
    }
    fn parameters(&self) -> Record {
        Record::new()
            .put(&LINE.slope, self.slope.get())
            .put(&LINE.less, self.less.get())
    }
    fn scaled(&self, factor: f64) -> Option<Method> {
        Some(Method::new(Self {
            slope: self.slope * factor,
            less: self.less * factor,
        }))
    }
}
