//! Which column holds the rate, and what its numbers mean: by the user's word, else by the names of columns.

use crate::finding::codes;
use crate::format::maps::ReadOptions;
use crate::map::faults::fault::Fault;
use crate::map::imported::{Attribute, ImportedMap, Meaning, Patch, Place, Quantity, Rate};
use crate::units::{KG_HA_PER_LB_AC, RateUnit};

/// Words of which the name of a rate column may consist.
const RATE_WORDS: [&str; 21] = [
    "rate",
    "rates",
    "dose",
    "dosage",
    "product",
    "prod",
    "target",
    "applied",
    "application",
    "n",
    "nitrogen",
    "kg",
    "ha",
    "l",
    "lb",
    "lbs",
    "ac",
    "acre",
    "gal",
    "per",
    "setpoint",
];
/// Columns that count or measure something else.
const OTHER_WORDS: [&str; 16] = [
    "id",
    "fid",
    "objectid",
    "zone",
    "zones",
    "class",
    "area",
    "index",
    "cells",
    "count",
    "shape",
    "length",
    "perimeter",
    "row",
    "col",
    "state",
];

/// Finds the rate column, reads the rates and settles what they mean.
pub(in crate::format) fn settle(map: &mut ImportedMap, options: &ReadOptions) {
    let Some(column) = column(map, options) else {
        return;
    };
    let at = map.columns.iter().position(|name| *name == column);
    for patch in &mut map.patches {
        let value = at
            .and_then(|at| patch.attributes.get(at))
            .filter(|(name, _)| *name == column);
        let value = value
            .or_else(|| patch.attributes.iter().find(|(name, _)| *name == column))
            .map(|(_, value)| value);
        patch.rate = rate_of(value);
    }
    let by_name = by_unit_column(map, &column).unwrap_or_else(|| meaning_of(&column));
    if let Some(odd) = odd_unit(&column) {
        map.oddities.push(Fault::caution(
            codes::UNIT_DOUBTFUL,
            Place::named(format!("column {column}")),
            format!("the column {column:?} names {odd}, which mixes two systems of units; state what the numbers are with --unit"),
        ));
    }
    map.meaning = match &options.meaning {
        Some(wording) => {
            let contradicts = (by_name.unit.is_some() && by_name.unit != wording.unit)
                || (by_name.quantity == Quantity::Nitrogen
                    && wording.quantity != Quantity::Nitrogen)
                || (by_name.unit.is_some()
                    && by_name.quantity != Quantity::Nitrogen
                    && wording.quantity == Quantity::Nitrogen);
            if contradicts {
                map.oddities.push(Fault::caution(
                    codes::UNIT_CONTRADICTS,
                    Place::named(format!("column {column}")),
                    format!(
                        "you say {}, the {} says {}: your word is taken",
                        wording.label(),
                        by_name.wording_by,
                        by_name.label()
                    ),
                ));
            }
            wording.clone()
        }
        None => by_name,
    };
    if map.meaning.unit.is_none() {
        map.oddities.push(Fault::caution(
            codes::UNIT_UNKNOWN,
            Place::named(format!("column {column}")),
            format!("nothing says what the numbers of column {column:?} are; state it with --unit, such as \"kg/ha\" or \"kg N/ha\""),
        ));
    }
    map.rate_column = Some(column);
}

fn words(name: &str) -> Vec<String> {
    let mut words = Vec::new();
    for part in name
        .split(|c: char| !c.is_ascii_alphanumeric())
        .filter(|part| !part.is_empty())
    {
        let lower = part.to_ascii_lowercase();
        // Run together: kgha, lbac, lha, galac.
        let split = [
            ("kgha", "kg", "ha"),
            ("lbac", "lb", "ac"),
            ("lbsac", "lb", "ac"),
            ("lha", "l", "ha"),
            ("galac", "gal", "ac"),
        ];
        match split.iter().find(|(whole, _, _)| lower == *whole) {
            Some((_, above, below)) => words.extend([(*above).to_owned(), (*below).to_owned()]),
            None => words.push(lower),
        }
    }
    words
}

/// Unit and substance that a column's name tells.
pub(in crate::format) fn meaning_of(column: &str) -> Meaning {
    let words = words(column);
    let has = |word: &str| words.iter().any(|w| w == word);
    let (hectare, acre) = (has("ha"), has("ac") || has("acre"));
    let unit = if has("kg") && hectare {
        Some(RateUnit::KgPerHa)
    } else if (has("lb") || has("lbs")) && acre {
        Some(RateUnit::LbPerAc)
    } else if has("l") && hectare {
        Some(RateUnit::LPerHa)
    } else if has("gal") && acre {
        Some(RateUnit::GalPerAc)
    } else {
        None
    };
    let quantity = match unit {
        _ if has("n") || has("nitrogen") => Quantity::Nitrogen,
        Some(unit) if unit.is_volume() => Quantity::ProductVolume,
        Some(_) => Quantity::ProductMass,
        None => Quantity::Unknown,
    };
    Meaning {
        quantity,
        unit,
        wording_by: if quantity == Quantity::Unknown {
            String::new()
        } else {
            format!("column {column}")
        },
    }
}

/// A unit that no trade uses: kg/ac, lb/ha.
fn odd_unit(column: &str) -> Option<&'static str> {
    let words = words(column);
    let has = |word: &str| words.iter().any(|w| w == word);
    let (metric, us) = (has("ha"), has("ac") || has("acre"));
    match (has("kg"), has("lb") || has("lbs")) {
        (true, _) if us && !metric => Some("kg/ac"),
        (_, true) if metric && !us => Some("lb/ha"),
        _ => None,
    }
}

/// A column of units beside the rates: `product_unit` beside `product_rate`, `unit` beside `rate`.
fn by_unit_column(map: &mut ImportedMap, column: &str) -> Option<Meaning> {
    let beside = column.to_ascii_lowercase().replace("rate", "unit");
    let name = map
        .columns
        .iter()
        .find(|name| name.to_ascii_lowercase() == beside && name.as_str() != column)?
        .clone();
    let mut seen: Vec<(String, Place)> = Vec::new();
    for patch in &map.patches {
        if let Some((_, Attribute::Text(text))) = patch.attributes.iter().find(|(n, _)| *n == name)
            && !seen.iter().any(|(t, _)| t == text)
        {
            seen.push((text.clone(), patch.place.clone()));
        }
    }
    if let [(first, _), (other, place), ..] = seen.as_slice() {
        map.oddities.push(Fault::stop(
            codes::UNIT_MIXED,
            place.clone(),
            format!("column {name:?} says {other:?} here and {first:?} before: rates of two units in one map cannot be spread"),
        ));
    }
    let (text, _) = seen.first()?;
    let mut meaning = meaning_of(text);
    meaning.wording_by = format!("column {name}: {text}");
    Some(meaning)
}

fn is_number(map: &ImportedMap, column: &str) -> bool {
    let mut values = map
        .patches
        .iter()
        .filter_map(|patch| patch.attributes.iter().find(|(name, _)| name == column))
        .map(|(_, value)| value);
    values.any(|value| matches!(value, Attribute::Whole(_) | Attribute::Real(_)))
        || map
            .patches
            .iter()
            .filter_map(|p| p.attributes.iter().find(|(name, _)| name == column))
            .any(|(_, v)| matches!(rate_of(Some(v)), Rate::Text { .. }))
}

/// Whether two columns say the same nitrogen in two units, row by row: half a hundredth, the coarsest that either is written to, aside.
fn are_same_rates(map: &ImportedMap, one: &str, other: &str) -> bool {
    const ROUNDED: f64 = 0.006;
    let metric = |patch: &Patch, column: &str| -> Option<f64> {
        let value = patch.attributes.iter().find(|(name, _)| name == column);
        let number = rate_of(value.map(|(_, value)| value)).number()?;
        match meaning_of(column) {
            Meaning {
                quantity: Quantity::Nitrogen,
                unit: Some(RateUnit::LbPerAc),
                ..
            } => Some(number * KG_HA_PER_LB_AC),
            Meaning {
                quantity: Quantity::Nitrogen,
                unit: Some(RateUnit::KgPerHa),
                ..
            } => Some(number),
            _ => None,
        }
    };
    let agree = |patch: &Patch| match (metric(patch, one), metric(patch, other)) {
        (Some(a), Some(b)) => (a - b).abs() <= ROUNDED + 1e-4 * a.abs(),
        _ => false,
    };
    meaning_of(one).unit != meaning_of(other).unit
        && !map.patches.is_empty()
        && map.patches.iter().all(agree)
}

/// The rate column: the user's, else the one whose name says so, else the only number that counts nothing else.
fn column(map: &mut ImportedMap, options: &ReadOptions) -> Option<String> {
    let named = |word: &str| Place::named(format!("column {word}"));
    if let Some(asked) = &options.rate_column {
        let found = map
            .columns
            .iter()
            .find(|name| name.eq_ignore_ascii_case(asked))
            .cloned();
        if found.is_none() {
            let message = format!(
                "there is no column {asked:?}; the map has {}",
                list(&map.columns)
            );
            map.oddities
                .push(Fault::stop(codes::RATE_COLUMN, named(asked), message));
        }
        return found;
    }
    let notice = |name: &String| {
        let words = words(name);
        let speaks = meaning_of(name).unit.is_some()
            || words
                .iter()
                .any(|w| ["rate", "rates", "dose", "dosage", "setpoint"].contains(&w.as_str()));
        speaks
            && words.iter().all(|word| {
                RATE_WORDS.contains(&word.as_str()) || word.chars().all(|c| c.is_ascii_digit())
            })
    };
    let candidates: Vec<String> = map
        .columns
        .iter()
        .filter(|name| notice(name) || odd_unit(name).is_some())
        .cloned()
        .collect();
    let mut filled: Vec<String> = Vec::new();
    for name in candidates.iter().filter(|name| is_number(map, name)) {
        // The same rates in another unit are no second answer.
        if !filled
            .iter()
            .any(|before| are_same_rates(map, before, name))
        {
            filled.push(name.clone());
        }
    }
    let product: Vec<String> = filled
        .iter()
        .filter(|name| meaning_of(name).quantity != Quantity::Nitrogen)
        .cloned()
        .collect();
    let chosen = match (filled.as_slice(), product.as_slice()) {
        ([one], _) => Some(one.clone()),
        // Product is what machines meter; nitrogen beside it explains it.
        (_, [one]) => {
            let others: Vec<String> = filled.iter().filter(|name| *name != one).cloned().collect();
            let message = format!(
                "rates are read from column {one:?}; {} holds rates too. Choose with --rate-column",
                list(&others)
            );
            map.oddities
                .push(Fault::note(codes::RATE_COLUMNS, named(one), message));
            Some(one.clone())
        }
        ([], _) => candidates.first().cloned(),
        _ => {
            let message = format!(
                "several columns may hold the rate: {}; choose one with --rate-column",
                list(&filled)
            );
            map.oddities
                .push(Fault::stop(codes::RATE_COLUMN, Place::whole(), message));
            return None;
        }
    };
    if chosen.is_some() {
        return chosen;
    }
    let counts = |name: &String| {
        words(name)
            .iter()
            .any(|word| OTHER_WORDS.contains(&word.as_str()) || word.starts_with("shape"))
    };
    let numbers: Vec<String> = map
        .columns
        .iter()
        .filter(|name| !counts(name) && is_number(map, name))
        .cloned()
        .collect();
    if let [one] = numbers.as_slice() {
        let message = format!(
            "column {one:?} is taken for the rate, as the only number; its name does not say so"
        );
        map.oddities.push(Fault::caution(
            codes::RATE_COLUMN_GUESSED,
            named(one),
            message,
        ));
        return Some(one.clone());
    }
    let message = format!(
        "no column can be told to hold the rate; the map has {}. Choose one with --rate-column",
        list(&map.columns)
    );
    map.oddities
        .push(Fault::stop(codes::RATE_COLUMN, Place::whole(), message));
    None
}

fn list(names: &[String]) -> String {
    if names.is_empty() {
        "no columns".to_owned()
    } else {
        names
            .iter()
            .map(|name| format!("{name:?}"))
            .collect::<Vec<_>>()
            .join(", ")
    }
}

/// A rate out of a table's value.
pub(in crate::format) fn rate_of(value: Option<&Attribute>) -> Rate {
    match value {
        None | Some(Attribute::Null) => Rate::Missing,
        Some(Attribute::Whole(number)) => Rate::Number(*number as f64),
        Some(Attribute::Real(number)) if number.is_finite() => Rate::Number(*number),
        Some(Attribute::Real(number)) => Rate::Unreadable(number.to_string()),
        Some(Attribute::Text(text)) if text.trim().is_empty() => Rate::Missing,
        Some(Attribute::Text(text)) => {
            let trimmed = text.trim();
            let plain = if trimmed.contains('.') {
                trimmed.to_owned()
            } else {
                trimmed.replacen(',', ".", 1)
            };
            match plain.parse::<f64>() {
                Ok(number) if number.is_finite() => Rate::Text {
                    written: text.clone(),
                    number,
                },
                _ => Rate::Unreadable(text.clone()),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_tell_units() {
        for (name, label) in [
            ("KG_HA", "kg/ha"),
            ("L_HA", "L/ha"),
            ("LB_N_AC", "lb N/ac"),
            ("n_kg_ha", "kg N/ha"),
            ("Rate kg/ha", "kg/ha"),
            ("lbac", "lb/ac"),
            ("gal/ac", "gal/ac"),
            ("dose", "(unit not stated)"),
        ] {
            assert_eq!(meaning_of(name).label(), label, "{name}");
        }
        assert_eq!(
            (odd_unit("KG_AC"), odd_unit("lb/ha"), odd_unit("kg_ha")),
            (Some("kg/ac"), Some("lb/ha"), None)
        );
    }

    #[test]
    fn text_is_read_and_told_apart() {
        assert_eq!(
            rate_of(Some(&Attribute::Text("120,5".to_owned()))),
            Rate::Text {
                written: "120,5".to_owned(),
                number: 120.5
            }
        );
        assert_eq!(
            rate_of(Some(&Attribute::Text("high".to_owned()))),
            Rate::Unreadable("high".to_owned())
        );
        assert_eq!(
            rate_of(Some(&Attribute::Text(" ".to_owned()))),
            Rate::Missing
        );
        assert_eq!(
            rate_of(Some(&Attribute::Real(f64::NAN))),
            Rate::Unreadable("NaN".to_owned())
        );
        assert_eq!(rate_of(None), Rate::Missing);
    }
}
