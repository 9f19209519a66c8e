//! Unit text as people write it: `kg N/ha`, `lbs N per acre`, `kg ha-1`, `imp gal/ac`.

use crate::units::KG_PER_LB;
use crate::units::KG_PER_SHORT_TON;
use crate::units::L_PER_GAL;
use crate::units::L_PER_IMP_GAL;
use crate::units::M_PER_FT;
use crate::units::M_S_PER_MPH;
use crate::units::M2_PER_AC;
use crate::units::M2_PER_HA;

/// Kilograms in a long ton of 2240 pounds. [kg] Exact by definition (from memory).
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

/// One word of a unit: the plain ones, in lower case and with their plural.
fn atom(word: &str) -> Option<Atom> {
    let of = |kind, factor, us, label| Some(Atom { kind, factor, us, label });
    match word {
        "kg" | "kgs" | "kilogram" | "kilograms" | "kilo" | "kilos" => of(Kind::Mass, 1.0, false, "kg"),
        "g" | "gram" | "grams" => of(Kind::Mass, 0.001, false, "g"),
        "t" | "tonne" | "tonnes" | "metricton" | "metrictons" => of(Kind::Mass, 1000.0, false, "t"),
        "dt" | "q" | "quintal" | "quintals" => of(Kind::Mass, 100.0, false, "dt"),
        "lb" | "lbs" | "pound" | "pounds" => of(Kind::Mass, KG_PER_LB, true, "lb"),
        "shortton" | "shorttons" | "uston" | "ustons" => of(Kind::Mass, KG_PER_SHORT_TON, true, "short ton"),
        "longton" | "longtons" => of(Kind::Mass, KG_PER_LONG_TON, false, "long ton"),
        "l" | "litre" | "litres" | "liter" | "liters" => of(Kind::Volume, 1.0, false, "L"),
        "hl" => of(Kind::Volume, 100.0, false, "hL"),
        "gal" | "gals" | "gallon" | "gallons" | "usgal" | "usgallon" | "usgallons" => of(Kind::Volume, L_PER_GAL, true, "gal"),
        "impgal" | "impgallon" | "impgallons" => of(Kind::Volume, L_PER_IMP_GAL, false, "imp gal"),
        "m" | "metre" | "metres" | "meter" | "meters" => of(Kind::Length, 1.0, false, "m"),
        "km" => of(Kind::Length, 1000.0, false, "km"),
        "cm" => of(Kind::Length, 0.01, false, "cm"),
        "mm" => of(Kind::Length, 0.001, false, "mm"),
        "ft" | "foot" | "feet" => of(Kind::Length, M_PER_FT, true, "ft"),
        "in" | "inch" | "inches" => of(Kind::Length, M_PER_FT / 12.0, true, "in"),
        "yd" | "yard" | "yards" => of(Kind::Length, 3.0 * M_PER_FT, true, "yd"),
        "ha" | "hectare" | "hectares" => of(Kind::Area, M2_PER_HA, false, "ha"),
        "m2" | "sqm" | "sqmetre" | "sqmetres" | "sqmeter" | "sqmeters" => of(Kind::Area, 1.0, false, "m2"),
        "ac" | "acre" | "acres" => of(Kind::Area, M2_PER_AC, true, "ac"),
        "ft2" | "sqft" | "sqfoot" | "sqfeet" => of(Kind::Area, M_PER_FT * M_PER_FT, true, "ft2"),
        "s" | "sec" | "secs" | "second" | "seconds" => of(Kind::Time, 1.0, false, "s"),
        "min" | "minute" | "minutes" => of(Kind::Time, 60.0, false, "min"),
        "h" | "hr" | "hour" | "hours" => of(Kind::Time, 3600.0, false, "h"),
        "mph" => of(Kind::Speed, M_S_PER_MPH, true, "mph"),
        "kmh" | "kph" => of(Kind::Speed, 1.0 / 3.6, false, "km/h"),
        "bu" | "bushel" | "bushels" => of(Kind::Bushel, 1.0, true, "bu"),
        "c" | "°c" | "degc" | "celsius" => of(Kind::Celsius, 1.0, false, "°C"),
        "f" | "°f" | "degf" | "fahrenheit" => of(Kind::Fahrenheit, 1.0, true, "°F"),
        _ => None,
    }
}

/// Splits unit text into words above and below the stroke.
fn words(text: &str) -> Option<(Vec<String>, Vec<String>)> {
    let mut lower = text.to_lowercase().replace("⁻¹", "-1").replace("^-1", "-1").replace('²', "2").replace("^2", "2").replace(['·', '*', '⋅'], " ");
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
            _ => None,
        };
        match head {
            Some(head) => joined.push_str(head),
            None => {
                joined.push_str(part);
                joined.push(' ');
            }
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
    let Some(base) = words.first().filter(|word| atom(word).is_none()).and_then(|word| word.strip_suffix('n')).map(str::to_owned) else {
        return false;
    };
    let mass = matches!(atom(&base), Some(Atom { kind: Kind::Mass, .. }));
    if mass && let Some(first) = words.first_mut() {
        *first = base;
    }
    mass
}

/// Reads unit text.
pub(crate) fn read(text: &str) -> Result<Unit, UnitFault> {
    let Some((mut above, mut below)) = words(text) else {
        return Err(UnitFault::Unknown);
    };
    if above.iter().chain(&below).any(|word| matches!(word.as_str(), "ton" | "tons" | "tn")) {
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
        (Kind::Mass, Some((Kind::Area, area)), true) => (Measure::NitrogenRate, top.factor * M2_PER_HA / area),
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
        (Kind::Mass, Some((Kind::Area, area)), _) => (Measure::MassRate, top.factor * M2_PER_HA / area),
        (Kind::Volume, Some((Kind::Area, area)), _) => (Measure::VolumeRate, top.factor * M2_PER_HA / area),
        (Kind::Bushel, Some((Kind::Area, area)), _) => (Measure::BushelRate, M2_PER_AC / area),
        (Kind::Mass, Some((Kind::Volume, litres)), _) => (Measure::Density, top.factor / litres),
        (Kind::Length, Some((Kind::Time, seconds)), _) => (Measure::Speed, top.factor / seconds),
        _ => return Err(UnitFault::Unknown),
    };
    Ok(Unit { measure, factor, us: bottom.map_or(top.us, |b| b.us), above: top.label, below: bottom.map_or("", |b| b.label) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn spellings() {
        for text in ["kg N/ha", "kgN/ha", "kg-N/ha", "kg N ha-1", "kg/ha N", "kgs N per hectare", "kg N ha⁻¹", "kg·N/ha", "Kg n / Ha"] {
            let unit = read(text).unwrap_or_else(|_| panic!("{text}"));
            assert_eq!((unit.measure, unit.factor), (Measure::NitrogenRate, 1.0), "{text}");
        }
        for text in ["lb N/ac", "lbs N/acre", "pounds N per acre"] {
            assert_eq!(read(text).unwrap().factor, crate::units::KG_HA_PER_LB_AC, "{text}");
        }
    }

    #[test]
    fn factors() {
        // NIST SP 811 (from memory): the inch is 2.54 cm; 1 yd = 0.9144 m; long ton 1016.046 908 8 kg.
        assert_relative_eq!(read("in").unwrap().factor, 0.0254, max_relative = 1e-15);
        assert_relative_eq!(read("yd").unwrap().factor, 0.9144, max_relative = 1e-15);
        assert_relative_eq!(read("long ton").unwrap().factor, 1_016.046_908_8, max_relative = 1e-12);
        assert_relative_eq!(read("imp. gal/ac").unwrap().factor, 11.233_63, max_relative = 1e-6);
        assert_relative_eq!(read("km/h").unwrap().factor, 1.0 / 3.6, max_relative = 1e-15);
        assert_relative_eq!(read("lb/gal").unwrap().factor, 0.119_826_427, max_relative = 1e-8);
        assert_eq!(read("Mg/ha").unwrap().factor, 1000.0);
        assert_eq!(read("q/ha").unwrap().factor, 100.0);
        assert_eq!(read("gal/ac").unwrap().factor, crate::units::L_HA_PER_GAL_AC);
    }

    #[test]
    fn not_units() {
        assert_eq!(read("ton/ac"), Err(UnitFault::Ton));
        for text in ["", "/", "kg/", "/ha", "kg/ha/yr", "mg/ha", "L N/ha", "furlong", "ha/kg"] {
            assert_eq!(read(text), Err(UnitFault::Unknown), "{text}");
        }
    }
}
