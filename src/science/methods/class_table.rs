//! A rate for each class of values, classes half open: a value that stands on a bound belongs to the class above it.

use crate::key::{Any, Kind, Record, key, keys, nitrogen};
use crate::science::certainty::Certainty;
use crate::science::methods::given::{Given, Read, checked, choice};
use crate::science::methods::shared::{INDEX, READ_BY, REGION, SENSOR, SOURCE, number};
use crate::science::methods::{
    About, BACKS_OFF, CellRate, Compared, Formula, Method, MethodError, ReadBy, parameter,
};
use crate::units::NRate;

/// One class.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Class {
    /// Upper bound, not included; `None` for the last class, which has none. The lower bound is the class before's, so there are no gaps. \[–\]
    pub below: Option<f64>,
    /// Its rate.
    pub rate: NRate,
    /// Whether it is meant to get less than the class above it, because nitrogen is not what such ground lacks.
    pub back_off: bool,
}

/// A table that the user writes.
///
/// # Source
/// The user's own or the adviser's; the table's form is common practice.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct ClassTable {
    /// What the table is read by.
    pub by: ReadBy,
    /// Classes from the poorest up.
    pub classes: Vec<Class>,
}

impl ClassTable {
    fn checked(&self) -> Result<(), MethodError> {
        let refuse = |what, value: String, requirement| {
            Err(parameter(ABOUT.name, what, &value, requirement))
        };
        let Some((last, others)) = self.classes.split_last() else {
            return refuse(
                "the number of classes",
                "0".to_owned(),
                "at least one is needed",
            );
        };
        if let Some(bound) = last.below {
            return refuse(
                "the last class's bound",
                bound.to_string(),
                "the last class must have none, so that every value has a rate",
            );
        }
        let mut before = f64::NEG_INFINITY;
        for class in others {
            let Some(bound) = class.below else {
                return refuse(
                    "a class's bound",
                    "missing".to_owned(),
                    "every class but the last needs its upper bound, below",
                );
            };
            if !(bound.is_finite() && bound > before) {
                return refuse(
                    "a class's bound",
                    bound.to_string(),
                    "bounds must rise from class to class",
                );
            }
            before = bound;
        }
        for class in &self.classes {
            if !(class.rate.get() >= 0.0 && class.rate.is_finite()) {
                return refuse(
                    "a class's rate",
                    class.rate.to_string(),
                    "it must be 0 or more",
                );
            }
        }
        for pair in self.classes.windows(2) {
            if let [poorer, better] = pair
                && poorer.rate < better.rate
                && !poorer.back_off
            {
                let rates = format!("{} below {}", poorer.rate, better.rate);
                return refuse(
                    "a class's rate",
                    rates,
                    "a poorer class may get less than the one above it only with back_off = true",
                );
            }
        }
        Ok(())
    }

    /// Nitrogen for a value.
    pub(crate) fn needed(&self, value: f64) -> NRate {
        // `check` makes sure that the last class takes every value that no other took.
        self.classes
            .iter()
            .find(|class| class.below.is_none_or(|bound| value < bound))
            .map_or(NRate::ZERO, |class| class.rate)
    }
}

keys! {
    KEYS: ClassTableKeys = "response", "[response]", "The method that turns index into nitrogen rate, and its parameters; each method has its own keys.",
    {
        by: ReadBy = READ_BY,
        classes: Any = key(
            Kind::Tables("response.classes"),
            "the classes, from the poorest up",
            "[{ below = 0.85, rate = \"80 kg N/ha\" }, { rate = \"0 kg N/ha\" }]",
            "Classes from the poorest up, each with its rate; the last has no upper bound.",
        )
        .required(),
        index: String = INDEX.required(),
        region: String = REGION,
        sensor: String = SENSOR,
        source: String = SOURCE,
    }
}

keys! {
    CLASSES: ClassesKeys = "response.classes", "classes = [{ … }]", "One class of the table.",
    {
        below: f64 = number(
            "the class's upper bound",
            "0.85",
            "Upper bound of the class.",
        )
        .within("-1", "100", "values of an index or of sufficiency")
        .or_else("none: the last class"),
        rate: NRate = nitrogen(
            "the rate of the class",
            "\"80 kg N/ha\"",
            "Rate of the class.",
        )
        .required(),
        back_off: bool = key(
            Kind::YesNo,
            "the mark of a poor class",
            "true",
            "Marks a class whose rate is lower because the crop is too poor to recover.",
        )
        .or("false"),
    }
}

/// What the method is.
pub(crate) const ABOUT: About = About {
    name: "class table",
    gives: "a rate for each class of the index or of sufficiency",
    formula: "N = rate of the class with lower bound ≤ V < below; the last class has no upper bound",
    units: "rates in kg N/ha, V a plain number",
    range: "where the user's classes hold: of one index, or of sufficiency by one index",
    needs: "by, index, classes",
    source: "the user's or the adviser's own table; its form is common practice",
    certainty: Certainty::CommonPractice,
    crop: None,
    instrument: None,
    keys: ClassTableKeys::TABLE.keys,
    tables: &[ClassesKeys::TABLE],
    read: Some(read),
};

fn read(given: &mut dyn Given) -> Option<Read> {
    let by = choice(given, &KEYS.by);
    let mut classes = Vec::new();
    let mut whole = true;
    given.tables(&KEYS.classes, &mut |row| {
        let has_bound = row.has(&CLASSES.below);
        let below = row.number(&CLASSES.below);
        let rate = row.nitrogen(&CLASSES.rate);
        let back_off = row.flag(&CLASSES.back_off);
        match rate {
            Some(rate) if has_bound == below.is_some() => classes.push(Class {
                below,
                rate,
                back_off,
            }),
            _ => whole = false,
        }
    });
    let table = ClassTable { by: by?, classes };
    if !whole || table.classes.is_empty() {
        return None;
    }
    checked(given, &KEYS.classes, Method::new(table))
}

impl Formula for ClassTable {
    fn about(&self) -> &'static About {
        &ABOUT
    }
    fn check(&self) -> Result<(), MethodError> {
        self.checked()
    }
    fn rate(&self, at: &Compared<'_>) -> Option<CellRate> {
        Some(at.by_need(false, |seen| {
            let (used, value) = seen.read(self.by);
            (used, self.needed(value))
        }))
    }
    fn divides_by_index(&self) -> bool {
        self.by == ReadBy::Sufficiency
    }
    fn falls_with_index(&self) -> bool {
        !self.classes.iter().any(|class| class.back_off)
    }
    fn direction(&self) -> &'static str {
        BACKS_OFF
    }
    fn has_steps(&self) -> bool {
        true
    }
    fn parameters(&self) -> Record {
        let classes: Vec<_> = self
            .classes
            .iter()
            .map(|class| {
                Record::new()
                    .put(&CLASSES.below, class.below)
                    .add("n_kg_ha", class.rate.get())
                    .put(&CLASSES.back_off, class.back_off)
                    .value()
            })
            .collect();
        Record::new()
            .put(&KEYS.by, self.by.word())
            .put(&KEYS.classes, classes)
    }
}
