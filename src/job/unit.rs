//! Unit text as people write it: `kg N/ha`, `lbs N per acre`, `kg ha-1`, `imp gal/ac`.

use crate::job::suggest::nearest;
use crate::units::{
    KG_PER_LB, KG_PER_SHORT_TON, L_PER_GAL, L_PER_IMP_GAL, M_PER_FT, M_S_PER_MPH, M2_PER_AC,
    M2_PER_HA,
};

/// Kilograms in a long ton of 2240 pounds. \[kg\] Exact by definition (from memory).
const KG_PER_LONG_TON: f64 = 2240.0 * KG_PER_LB;

/// What a unit measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Measure {
    Length,
    Area,
    Time,
    Speed,
    Mass,
    NitrogenMass,
    Volume,
    Bushels,
    MassRate,
    NitrogenRate,
    VolumeRate,
    BushelRate,
    Density,
    Celsius,
    Fahrenheit,
}

impl Measure {
    /// Its name in a sentence.
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Length => "a length",
            Self::Area => "an area",
            Self::Time => "a time",
            Self::Speed => "a speed",
            Self::Mass => "a mass",
            Self::NitrogenMass => "a mass of nitrogen",
            Self::Volume => "a volume",
            Self::Bushels => "a number of bushels",
            Self::MassRate => "a mass per area",
            Self::NitrogenRate => "a nitrogen rate",
            Self::VolumeRate => "a volume per area",
            Self::BushelRate => "a grain yield",
            Self::Density => "a density",
            Self::Celsius | Self::Fahrenheit => "a temperature",
        }
    }
}

/// A unit that was understood.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Unit {
    pub(crate) measure: Measure,
    /// Inside units in one of it: m, m², s, m/s, kg, L, bu, kg/ha, L/ha, bu/ac, kg/L, degrees.
    pub(crate) factor: f64,
    /// Whether it belongs to the US system.
    pub(crate) us: bool,
    /// Label of what stands above the stroke.
    pub(crate) above: &'static str,
    /// Label of what stands below it; empty without a stroke.
    pub(crate) below: &'static str,
}

/// Why unit text was not understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum UnitFault {
    /// Not known.
    Unknown,
    /// A bare ton.
    Ton,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Kind {
    Mass,
    Volume,
    Length,
    Area,
    Time,
    Speed,
    Bushel,
    Celsius,
    Fahrenheit,
}

#[derive(Clone, Copy, Debug)]
struct Atom {
    kind: Kind,
    factor: f64,
    us: bool,
    label: &'static str,
}

/// Words of units in lower case, with their plurals.
const ATOMS: &[(&[&str], Atom)] = &[
    (
        &["kg", "kgs", "kilogram", "kilograms", "kilo", "kilos"],
        Atom {
            kind: Kind::Mass,
            factor: 1.0,
            us: false,
            label: "kg",
        },
    ),
    (
        &["g", "gram", "grams"],
        Atom {
            kind: Kind::Mass,
            factor: 0.001,
            us: false,
            label: "g",
        },
    ),
    (
        &["t", "tonne", "tonnes", "metricton", "metrictons"],
        Atom {
            kind: Kind::Mass,
            factor: 1000.0,
            us: false,
            label: "t",
        },
    ),
    (
        &["dt", "q", "quintal", "quintals"],
        Atom {
            kind: Kind::Mass,
            factor: 100.0,
            us: false,
            label: "dt",
        },
    ),
    (
        &["lb", "lbs", "pound", "pounds"],
        Atom {
            kind: Kind::Mass,
            factor: KG_PER_LB,
            us: true,
            label: "lb",
        },
    ),
    (
        &["shortton", "shorttons", "uston", "ustons"],
        Atom {
            kind: Kind::Mass,
            factor: KG_PER_SHORT_TON,
            us: true,
            label: "short ton",
        },
    ),
    (
        &["longton", "longtons"],
        Atom {
            kind: Kind::Mass,
            factor: KG_PER_LONG_TON,
            us: false,
            label: "long ton",
        },
    ),
    (
        &["l", "litre", "litres", "liter", "liters"],
        Atom {
            kind: Kind::Volume,
            factor: 1.0,
            us: false,
            label: "L",
        },
    ),
    (
        &["m3", "cubicm", "cbm"],
        Atom {
            kind: Kind::Volume,
            factor: 1000.0,
            us: false,
            label: "m3",
        },
    ),
    (
        &["ft3", "cuft", "cubicft"],
        Atom {
            kind: Kind::Volume,
            factor: 1000.0 * M_PER_FT * M_PER_FT * M_PER_FT,
            us: true,
            label: "ft3",
        },
    ),
    (
        &["hl"],
        Atom {
            kind: Kind::Volume,
            factor: 100.0,
            us: false,
            label: "hL",
        },
    ),
    (
        &[
            "gal",
            "gals",
            "gallon",
            "gallons",
            "usgal",
            "usgallon",
            "usgallons",
        ],
        Atom {
            kind: Kind::Volume,
            factor: L_PER_GAL,
            us: true,
            label: "gal",
        },
    ),
    (
        &["impgal", "impgallon", "impgallons"],
        Atom {
            kind: Kind::Volume,
            factor: L_PER_IMP_GAL,
            us: false,
            label: "imp gal",
        },
    ),
    (
        &["m", "mtr", "mtrs", "metre", "metres", "meter", "meters"],
        Atom {
            kind: Kind::Length,
            factor: 1.0,
            us: false,
            label: "m",
        },
    ),
    (
        &["km"],
        Atom {
            kind: Kind::Length,
            factor: 1000.0,
            us: false,
            label: "km",
        },
    ),
    (
        &["cm"],
        Atom {
            kind: Kind::Length,
            factor: 0.01,
            us: false,
            label: "cm",
        },
    ),
    (
        &["mm"],
        Atom {
            kind: Kind::Length,
            factor: 0.001,
            us: false,
            label: "mm",
        },
    ),
    (
        &["ft", "foot", "feet", "'", "′"],
        Atom {
            kind: Kind::Length,
            factor: M_PER_FT,
            us: true,
            label: "ft",
        },
    ),
    (
        &["in", "inch", "inches"],
        Atom {
            kind: Kind::Length,
            factor: M_PER_FT / 12.0,
            us: true,
            label: "in",
        },
    ),
    (
        &["yd", "yard", "yards"],
        Atom {
            kind: Kind::Length,
            factor: 3.0 * M_PER_FT,
            us: true,
            label: "yd",
        },
    ),
    (
        &["ha", "hectare", "hectares"],
        Atom {
            kind: Kind::Area,
            factor: M2_PER_HA,
            us: false,
            label: "ha",
        },
    ),
    (
        &["m2", "sqm", "sqmetre", "sqmetres", "sqmeter", "sqmeters"],
        Atom {
            kind: Kind::Area,
            factor: 1.0,
            us: false,
            label: "m2",
        },
    ),
    (
        &["ac", "acre", "acres"],
        Atom {
            kind: Kind::Area,
            factor: M2_PER_AC,
            us: true,
            label: "ac",
        },
    ),
    (
        &["ft2", "sqft", "sqfoot", "sqfeet"],
        Atom {
            kind: Kind::Area,
            factor: M_PER_FT * M_PER_FT,
            us: true,
            label: "ft2",
        },
    ),
    (
        &["s", "sec", "secs", "second", "seconds"],
        Atom {
            kind: Kind::Time,
            factor: 1.0,
            us: false,
            label: "s",
        },
    ),
    (
        &["min", "minute", "minutes"],
        Atom {
            kind: Kind::Time,
            factor: 60.0,
            us: false,
            label: "min",
        },
    ),
    (
        &["h", "hr", "hour", "hours"],
        Atom {
            kind: Kind::Time,
            factor: 3600.0,
            us: false,
            label: "h",
        },
    ),
    (
        &["mph"],
        Atom {
            kind: Kind::Speed,
            factor: M_S_PER_MPH,
            us: true,
            label: "mph",
        },
    ),
    (
        &["kmh", "kph", "kmph"],
        Atom {
            kind: Kind::Speed,
            factor: 1.0 / 3.6,
            us: false,
            label: "km/h",
        },
    ),
    (
        &["bu", "bushel", "bushels"],
        Atom {
            kind: Kind::Bushel,
            factor: 1.0,
            us: true,
            label: "bu",
        },
    ),
    (
        &["c", "°c", "degc", "celsius"],
        Atom {
            kind: Kind::Celsius,
            factor: 1.0,
            us: false,
            label: "°C",
        },
    ),
    (
        &["f", "°f", "degf", "fahrenheit"],
        Atom {
            kind: Kind::Fahrenheit,
            factor: 1.0,
            us: true,
            label: "°F",
        },
    ),
];

/// One word of a unit.
fn atom(word: &str) -> Option<Atom> {
    ATOMS
        .iter()
        .find(|(words, _)| words.contains(&word))
        .map(|(_, atom)| *atom)
}

/// Unit text with every unknown word put right, if it then measures what one of `requirement` does: `24 mters` → `m`.
pub(crate) fn put_right(text: &str, requirement: &[&str]) -> Option<String> {
    let (above, below) = words(text)?;
    let every = || {
        ATOMS
            .iter()
            .flat_map(|(words, _)| words.iter().copied())
            .filter(|word| word.len() > 2)
    };
    let right = |list: &[String]| -> Option<String> {
        let known = |word: &String| {
            if word == "n" {
                Some("N")
            } else {
                atom(word)
                    .or_else(|| atom(nearest(word, every())?))
                    .map(|atom| atom.label)
            }
        };
        Some(
            list.iter()
                .map(known)
                .collect::<Option<Vec<_>>>()?
                .join(" "),
        )
    };
    let (above, below) = (right(&above)?, right(&below)?);
    let whole = if below.is_empty() {
        above
    } else {
        format!("{above}/{below}")
    };
    let measure = read(&whole).ok()?.measure;
    requirement
        .iter()
        .any(|unit| read(unit).is_ok_and(|unit| unit.measure == measure))
        .then_some(whole)
}

/// Splits unit text into words above and below the stroke.
fn words(text: &str) -> Option<(Vec<String>, Vec<String>)> {
    let mut lower = text
        .to_lowercase()
        .replace("⁻¹", "-1")
        .replace("^-1", "-1")
        .replace('²', "2")
        .replace("^2", "2")
        .replace('³', "3")
        .replace("^3", "3")
        .replace(['·', '*', '⋅'], " ");
    lower = lower.replace('/', " / ");
    // Two-word units become one word.
    let mut joined = String::new();
    let parts: Vec<&str> = lower.split_whitespace().collect();
    for part in &parts {
        let head = match part.trim_end_matches('.') {
            "imp" | "imperial" | "uk" => Some("imp"),
            "us" => Some("us"),
            "short" => Some("short"),
            "long" => Some("long"),
            "metric" => Some("metric"),
            "sq" | "square" => Some("sq"),
            "cu" => Some("cu"),
            _ => None,
        };
        if let Some(head) = head {
            joined.push_str(head);
        } else {
            joined.push_str(part);
            joined.push(' ');
        }
    }
    let (mut above, mut below, mut stroke) = (Vec::new(), Vec::new(), false);
    for part in joined.split_whitespace() {
        if part == "/" || part == "per" {
            if stroke {
                return None;
            }
            stroke = true;
        } else if let Some(base) = part.strip_suffix("-1") {
            below.push(base.to_owned());
        } else {
            for word in part.split('-').filter(|word| !word.is_empty()) {
                let word = word.trim_end_matches('.');
                if stroke { &mut below } else { &mut above }.push(word.to_owned());
            }
        }
    }
    (!stroke || !below.is_empty()).then_some((above, below))
}

/// Takes the nitrogen marker out of a list of words; `kgn` counts as `kg n`.
fn take_nitrogen(words: &mut Vec<String>) -> bool {
    let before = words.len();
    words.retain(|word| word != "n" && word != "nitrogen");
    if words.len() < before {
        return true;
    }
    let Some(base) = words
        .first()
        .filter(|word| atom(word).is_none())
        .and_then(|word| word.strip_suffix('n'))
        .map(str::to_owned)
    else {
        return false;
    };
    let mass = matches!(
        atom(&base),
        Some(Atom {
            kind: Kind::Mass,
            ..
        })
    );
    if mass && let Some(first) = words.first_mut() {
        *first = base;
    }
    mass
}

pub(crate) fn read(text: &str) -> Result<Unit, UnitFault> {
    let Some((mut above, mut below)) = words(text) else {
        return Err(UnitFault::Unknown);
    };
    if above
        .iter()
        .chain(&below)
        .any(|word| matches!(word.as_str(), "ton" | "tons" | "tn"))
    {
        return Err(UnitFault::Ton);
    }
    let nitrogen = take_nitrogen(&mut above) | take_nitrogen(&mut below);
    let ([above], below) = (above.as_slice(), below.as_slice()) else {
        return Err(UnitFault::Unknown);
    };
    // A capital M is the mega of megagram; in lower case it would be a thousandth of a gram, which nobody spreads.
    let mega = above == "mg" && text.trim_start().starts_with("Mg");
    let top = if mega { atom("t") } else { atom(above) }.ok_or(UnitFault::Unknown)?;
    let bottom = match below {
        [] => None,
        [word] => Some(atom(word).ok_or(UnitFault::Unknown)?),
        _ => return Err(UnitFault::Unknown),
    };
    let (measure, factor) = match (top.kind, bottom.map(|b| (b.kind, b.factor)), nitrogen) {
        (Kind::Mass, None, true) => (Measure::NitrogenMass, top.factor),
        (Kind::Mass, Some((Kind::Area, area)), true) => {
            (Measure::NitrogenRate, top.factor * M2_PER_HA / area)
        }
        (_, _, true) => return Err(UnitFault::Unknown),
        (Kind::Mass, None, _) => (Measure::Mass, top.factor),
        (Kind::Volume, None, _) => (Measure::Volume, top.factor),
        (Kind::Length, None, _) => (Measure::Length, top.factor),
        (Kind::Area, None, _) => (Measure::Area, top.factor),
        (Kind::Time, None, _) => (Measure::Time, top.factor),
        (Kind::Speed, None, _) => (Measure::Speed, top.factor),
        (Kind::Bushel, None, _) => (Measure::Bushels, 1.0),
        (Kind::Celsius, None, _) => (Measure::Celsius, 1.0),
        (Kind::Fahrenheit, None, _) => (Measure::Fahrenheit, 1.0),
        (Kind::Mass, Some((Kind::Area, area)), _) => {
            (Measure::MassRate, top.factor * M2_PER_HA / area)
        }
        (Kind::Volume, Some((Kind::Area, area)), _) => {
            (Measure::VolumeRate, top.factor * M2_PER_HA / area)
        }
        (Kind::Bushel, Some((Kind::Area, area)), _) => (Measure::BushelRate, M2_PER_AC / area),
        (Kind::Mass, Some((Kind::Volume, litres)), _) => (Measure::Density, top.factor / litres),
        (Kind::Length, Some((Kind::Time, seconds)), _) => (Measure::Speed, top.factor / seconds),
        _ => return Err(UnitFault::Unknown),
    };
    Ok(Unit {
        measure,
        factor,
        us: bottom.map_or(top.us, |b| b.us),
        above: top.label,
        below: bottom.map_or("", |b| b.label),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn spellings() {
        for text in [
            "kg N/ha",
            "kgN/ha",
            "kg-N/ha",
            "kg N ha-1",
            "kg/ha N",
            "kgs N per hectare",
            "kg N ha⁻¹",
            "kg·N/ha",
            "Kg n / Ha",
        ] {
            let unit = read(text).unwrap_or_else(|_| panic!("{text}"));
            assert_eq!(
                (unit.measure, unit.factor),
                (Measure::NitrogenRate, 1.0),
                "{text}"
            );
        }
        for text in ["lb N/ac", "lbs N/acre", "pounds N per acre"] {
            assert_eq!(
                read(text).unwrap().factor,
                crate::units::KG_HA_PER_LB_AC,
                "{text}"
            );
        }
    }

    #[test]
    fn factors() {
        // NIST SP 811 (from memory): the inch is 2.54 cm; 1 yd = 0.9144 m; long ton 1016.046 908 8 kg.
        assert_relative_eq!(read("in").unwrap().factor, 0.0254, max_relative = 1e-15);
        assert_relative_eq!(read("yd").unwrap().factor, 0.9144, max_relative = 1e-15);
        assert_relative_eq!(
            read("long ton").unwrap().factor,
            1_016.046_908_8,
            max_relative = 1e-12
        );
        assert_relative_eq!(
            read("imp. gal/ac").unwrap().factor,
            11.233_63,
            max_relative = 1e-6
        );
        assert_relative_eq!(
            read("km/h").unwrap().factor,
            1.0 / 3.6,
            max_relative = 1e-15
        );
        assert_relative_eq!(read("kg/m³").unwrap().factor, 0.001, max_relative = 1e-15);
        // 1 ft³ = 28.316 846 592 L and 1 lb/ft³ = 16.018 46 kg/m³ (NIST SP 811, from memory).
        assert_relative_eq!(
            read("cu ft").unwrap().factor,
            28.316_846_592,
            max_relative = 1e-12
        );
        assert_relative_eq!(
            read("lb/ft3").unwrap().factor,
            0.016_018_46,
            max_relative = 1e-6
        );
        assert_relative_eq!(
            read("lb/gal").unwrap().factor,
            0.119_826_427,
            max_relative = 1e-8
        );
        assert_eq!(read("Mg/ha").unwrap().factor, 1000.0);
        assert_eq!(read("q/ha").unwrap().factor, 100.0);
        assert_eq!(
            read("gal/ac").unwrap().factor,
            crate::units::L_HA_PER_GAL_AC
        );
    }

    #[test]
    fn not_units() {
        assert_eq!(read("ton/ac"), Err(UnitFault::Ton));
        for text in [
            "", "/", "kg/", "/ha", "kg/ha/yr", "mg/ha", "L N/ha", "furlong", "ha/kg",
        ] {
            assert_eq!(read(text), Err(UnitFault::Unknown), "{text}");
        }
    }
}
