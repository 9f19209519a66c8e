//! Rates: there, numbers, within what is allowed, and of the unit that they are said to be.

use crate::finding::{Code, codes};
use crate::map::faults::Against;
use crate::map::faults::fault::Fault;
use crate::map::imported::{Attribute, ImportedMap, Meaning, Patch, Place, Quantity, Rate};
use crate::units::{NRate, RateUnit};

/// Nitrogen above this in one dressing is most likely product. \[kg N/ha\] Common practice, no source: whole seasons of wheat get less.
const LIKELY_PRODUCT: f64 = 250.0;
/// Richest fertiliser of the trade: anhydrous ammonia, 82 % nitrogen (14.007/17.031).
const RICHEST: f64 = 0.825;

/// More than any mineral nitrogen fertiliser takes: 250 kg N/ha as calcium nitrate of 15.5 % is 1.6 t/ha, as a solution of 28 % 0.7 m³/ha. Only lime and manure, or water and
/// slurry, go above. \[kg/ha, L/ha\] Common practice, no source.
const LIKELY_MISTAKEN: (f64, f64) = (2_000.0, 1_500.0);
/// More than any spreader of fertiliser or lime, or any sprayer, puts down in one pass. \[kg/ha, L/ha\] Common practice, no source.
const IMPLAUSIBLE: (f64, f64) = (10_000.0, 5_000.0);

/// The nitrogen behind a rate, when it can be told.
pub(super) fn nitrogen(meaning: &Meaning, rate: f64, against: &Against) -> Option<NRate> {
    let unit = meaning.unit?;
    match meaning.quantity {
        Quantity::Nitrogen => Some(if unit.is_us() {
            NRate::lb_per_ac(rate)
        } else {
            NRate::kg_per_ha(rate)
        }),
        Quantity::ProductMass | Quantity::ProductVolume => {
            let product = against.product.as_ref()?;
            Some(product.nitrogen_in(product.from_unit(rate, unit)?))
        }
        Quantity::Unknown => None,
    }
}

pub(super) fn check(map: &ImportedMap, against: &Against, faults: &mut Vec<Fault>) {
    // Without a rate column that is told once already.
    let read = !map
        .oddities
        .iter()
        .any(|fault| fault.code == codes::RATE_COLUMN)
        && map.lattice.is_none();
    for patch in map.patches.iter().filter(|_| read) {
        match &patch.rate {
            Rate::Missing => push(
                faults,
                patch,
                Fault::stop(
                    codes::RATE_MISSING,
                    patch.place.clone(),
                    "there is no rate: the ground would get the last one",
                ),
            ),
            Rate::Unreadable(text) => {
                let code = if ["nan", "inf", "-inf"]
                    .contains(&text.trim().to_ascii_lowercase().as_str())
                {
                    codes::RATE_NOT_FINITE
                } else {
                    codes::RATE_TEXT
                };
                push(
                    faults,
                    patch,
                    Fault::stop(
                        code,
                        patch.place.clone(),
                        format!("the rate is {text:?}, which is no number"),
                    ),
                );
            }
            Rate::Text { written, number } => {
                let fault = Fault::caution(
                    codes::RATE_TEXT,
                    patch.place.clone(),
                    format!(
                        "the rate {written:?} is stored as text; some controllers read it as 0, others as {number}"
                    ),
                );
                push(faults, patch, fault);
                one(map, patch, *number, against, faults);
            }
            Rate::Number(number) => one(map, patch, *number, against, faults),
        }
    }
    if let Some(lattice) = &map.lattice {
        cells(map, lattice, against, faults);
    }
    uncertainties(map, against, faults);
}

fn push(faults: &mut Vec<Fault>, patch: &Patch, fault: Fault) {
    let first = patch
        .parts
        .first()
        .and_then(|part| part.rings.first())
        .and_then(|ring| ring.points.first());
    let ground = patch.outline();
    let fault = if ground.0.is_empty() {
        fault
    } else {
        fault.over(ground)
    };
    faults.push(match first {
        Some(&at) => fault.at(at),
        None => fault,
    });
}

/// What is wrong with one number: code, whether it is an error, and why.
fn judged(map: &ImportedMap, rate: f64, against: &Against) -> Option<(Code, bool, String)> {
    let unit = map.meaning.label();
    if rate < 0.0 {
        return Some((
            codes::RATE_NEGATIVE,
            true,
            format!("the rate is {rate} {unit}; a rate cannot be negative"),
        ));
    }
    if let (Some(limit), Some(n)) = (
        against.nitrogen_limit,
        nitrogen(&map.meaning, rate, against),
    ) && n.get() > limit.get() * (1.0 + 1e-9)
    {
        return Some((
            codes::RATE_NITROGEN_LIMIT,
            true,
            format!(
                "{rate} {unit} is {:.1} kg N/ha, above the limit of {:.1} kg N/ha",
                n.get(),
                limit.get()
            ),
        ));
    }
    match (against.minimum, against.maximum) {
        (_, Some(maximum)) if rate > maximum * (1.0 + 1e-9) => Some((
            codes::RATE_ABOVE,
            true,
            format!("the rate {rate} {unit} is above the greatest, {maximum} {unit}"),
        )),
        (_, None) if implausible(map, rate, against).is_some() => implausible(map, rate, against),
        (Some(minimum), _) if rate > 0.0 && rate < minimum * (1.0 - 1e-9) => Some((
            codes::RATE_BELOW,
            false,
            format!(
                "the rate {rate} {unit} is below the least, {minimum} {unit}: the machine holds it to 0 or to the least"
            ),
        )),
        _ => None,
    }
}

/// A rate that no product of its kind is spread at. One that the user allows by `maximum` is none.
fn implausible(map: &ImportedMap, rate: f64, against: &Against) -> Option<(Code, bool, String)> {
    let (unit, label) = (map.meaning.unit?, map.meaning.label());
    let metric = match unit {
        RateUnit::KgPerHa | RateUnit::LPerHa => rate,
        RateUnit::LbPerAc => rate * crate::units::KG_HA_PER_LB_AC,
        RateUnit::GalPerAc => rate * crate::units::L_HA_PER_GAL_AC,
    };
    let (likely, never, base) = match map.meaning.quantity {
        Quantity::ProductMass => (LIKELY_MISTAKEN.0, IMPLAUSIBLE.0, "kg/ha"),
        Quantity::ProductVolume => (LIKELY_MISTAKEN.1, IMPLAUSIBLE.1, "L/ha"),
        // Nitrogen as such is judged as a whole.
        Quantity::Nitrogen | Quantity::Unknown => return None,
    };
    if let Some(n) = nitrogen(&map.meaning, rate, against).filter(|n| n.get() > LIKELY_PRODUCT) {
        let message = format!(
            "{rate} {label} is {:.0} kg N/ha of the product named, more than one dressing ({LIKELY_PRODUCT:.0} kg N/ha): check unit and product, or allow it with --greatest",
            n.get()
        );
        return Some((codes::RATE_IMPLAUSIBLE, true, message));
    }
    if metric > never {
        let message = format!(
            "{rate} {label} is more than {never:.0} {base}, which no fertiliser is spread at: check the unit; for manure or slurry allow it with --greatest"
        );
        return Some((codes::RATE_IMPLAUSIBLE, true, message));
    }
    (metric > likely && against.product.is_none()).then(|| {
        let message = format!(
            "{rate} {label} is more than the {likely:.0} {base} that mineral nitrogen fertilisers stay below: lime, manure or water, or a wrong unit?"
        );
        (codes::RATE_IMPLAUSIBLE, false, message)
    })
}

fn one(map: &ImportedMap, patch: &Patch, rate: f64, against: &Against, faults: &mut Vec<Fault>) {
    if let Some((code, error, message)) = judged(map, rate, against) {
        let fault = if error {
            Fault::stop(code, patch.place.clone(), message)
        } else {
            Fault::caution(code, patch.place.clone(), message)
        };
        push(faults, patch, fault);
    }
}

/// Cells are told once a kind: the worst, and how many.
fn cells(
    map: &ImportedMap,
    lattice: &crate::map::imported::RateLattice,
    against: &Against,
    faults: &mut Vec<Fault>,
) {
    let mut notice: Vec<(Code, bool, String, usize, u64)> = Vec::new();
    for (k, rate) in lattice.rates.iter().enumerate() {
        let Some((code, error, message)) = rate.and_then(|rate| judged(map, rate, against)) else {
            continue;
        };
        match notice.iter_mut().find(|(seen, ..)| *seen == code) {
            Some((.., count)) => *count += 1,
            None => notice.push((code, error, message, k, 1)),
        }
    }
    for (code, error, message, k, count) in notice {
        let (col, row) = (k % lattice.cols, k / lattice.cols);
        let place = Place::named(format!(
            "row {} from the south, column {}",
            row + 1,
            col + 1
        ));
        let message = format!("{message}; {count} cells are like it");
        let fault = if error {
            Fault::stop(code, place, message)
        } else {
            Fault::caution(code, place, message)
        };
        faults.push(
            fault
                .at(lattice.centre(col, row))
                .sized(count as f64, "cells"),
        );
    }
}

/// Whether the numbers can be what they are said to be.
fn uncertainties(map: &ImportedMap, against: &Against, faults: &mut Vec<Fault>) {
    let numbers: Vec<f64> = map
        .patches
        .iter()
        .filter_map(|p| p.rate.number())
        .chain(
            map.lattice
                .iter()
                .flat_map(|l| l.rates.iter().copied().flatten()),
        )
        .collect();
    let maximum = numbers.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let named = Place::named(
        map.rate_column
            .as_ref()
            .map_or_else(|| "rates".to_owned(), |column| format!("column {column}")),
    );
    if map.meaning.quantity == Quantity::Nitrogen
        && let Some(n) =
            nitrogen(&map.meaning, maximum, against).filter(|n| n.get() > LIKELY_PRODUCT)
    {
        let message = format!(
            "rates go up to {maximum} {} ({:.0} kg N/ha): that is more than one dressing of nitrogen, and looks like product; spread as nitrogen it would be 2 to 4 times too much",
            map.meaning.label(),
            n.get()
        );
        faults.push(
            Fault::stop(codes::UNIT_DOUBTFUL, named.clone(), message)
                .sized(maximum, map.meaning.label()),
        );
    }
    if !numbers.is_empty() && numbers.iter().all(|&rate| rate == 0.0) {
        faults.push(Fault::caution(
            codes::RATE_ALL_ZERO,
            named.clone(),
            "every rate is 0: nothing would be spread",
        ));
    }
    ratio(map, against, &named, faults);
}

/// A product column beside a nitrogen column tells the share of nitrogen; a share that the product cannot have tells of a wrong unit.
fn ratio(map: &ImportedMap, against: &Against, named: &Place, faults: &mut Vec<Fault>) {
    if map.meaning.quantity == Quantity::Nitrogen || map.meaning.unit.is_none() {
        return;
    }
    let Some((column, us)) =
        map.columns
            .iter()
            .find_map(|name| match name.to_ascii_lowercase().as_str() {
                "n_kg_ha" | "kg_n_ha" => Some((name, false)),
                "n_lb_ac" | "lb_n_ac" => Some((name, true)),
                _ => None,
            })
    else {
        return;
    };
    let value = |patch: &Patch| {
        patch
            .attributes
            .iter()
            .find(|(name, _)| name == column)
            .and_then(|(_, value)| match value {
                Attribute::Whole(v) => Some(*v as f64),
                Attribute::Real(v) => Some(*v),
                _ => None,
            })
    };
    let unit = map.meaning.unit.unwrap_or(RateUnit::KgPerHa);
    // Product by mass in kg/ha, or by volume in L/ha.
    let metric = |rate: f64| match unit {
        RateUnit::KgPerHa | RateUnit::LPerHa => rate,
        RateUnit::LbPerAc => rate * crate::units::KG_HA_PER_LB_AC,
        RateUnit::GalPerAc => rate * crate::units::L_HA_PER_GAL_AC,
    };
    let nitrogen = |n: f64| if us { NRate::lb_per_ac(n).get() } else { n };
    let shares: Vec<f64> = map
        .patches
        .iter()
        .filter_map(|patch| Some((nitrogen(value(patch)?), metric(patch.rate.number()?))))
        .filter(|(n, rate)| *n > 0.0 && *rate > 0.0)
        .map(|(n, rate)| n / rate)
        .collect();
    let Some(&share) = shares.get(shares.len() / 2) else {
        return;
    };
    let requirement = against.product.as_ref().map(|product| {
        if unit.is_volume() {
            product.nitrogen() * product.kg_per_l().unwrap_or(1.0)
        } else {
            product.nitrogen()
        }
    });
    let swap = crate::units::KG_HA_PER_LB_AC;
    match requirement {
        Some(requirement) if (share / requirement - 1.0).abs() > 0.03 => {
            let near = |factor: f64| (share / requirement / factor - 1.0).abs() < 0.03;
            let why = if near(swap) || near(1.0 / swap) {
                ": exactly the step between lb/ac and kg/ha, so one of the columns is in the other unit"
            } else {
                ""
            };
            let message = format!(
                "beside column {column:?} the rates hold {share:.3} kg N a unit of product, the product named holds {requirement:.3}{why}"
            );
            faults.push(
                Fault::stop(codes::UNIT_DOUBTFUL, named.clone(), message)
                    .sized(share / requirement, "×"),
            );
        }
        None if !unit.is_volume() && share > RICHEST => {
            let message = format!(
                "beside column {column:?} the product would be {:.0} % nitrogen; none is richer than 82 %: rates and nitrogen are not of the units named",
                share * 100.0
            );
            faults.push(
                Fault::stop(codes::UNIT_DOUBTFUL, named.clone(), message).sized(share, "kg N/kg"),
            );
        }
        _ => {}
    }
}
