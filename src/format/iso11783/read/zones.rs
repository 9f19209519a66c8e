//! Treatment zones and their values: which entry of the data dictionary, which rate, and what the terminal falls back to.
//!
//! # Source
//! Data dictionary of ISO 11783-11 (export of 2019): 0001 in 0.01 mm³/m², 0006 in mg/m², 01B0 (nitrogen) in mg/m², 024C in 0.1 ml/m²; 0002, 0007, 01B1, 024D are the
//! actual rates of logs.

use std::collections::BTreeMap;

use roxmltree::Node;

use crate::finding::codes;
use crate::format::iso11783::read::{children, id};
use crate::map::faults::fault::Fault;
use crate::map::imported::{ImportedMap, Meaning, Place, Quantity};
use crate::units::RateUnit;

/// Setpoints of a rate by area: entry, quantity, unit, file units in one of the unit.
const SETPOINTS: [(&str, Quantity, RateUnit, f64); 4] = [
    ("0001", Quantity::ProductVolume, RateUnit::LPerHa, 10_000.0),
    ("0006", Quantity::ProductMass, RateUnit::KgPerHa, 100.0),
    ("01B0", Quantity::Nitrogen, RateUnit::KgPerHa, 100.0),
    ("024C", Quantity::ProductVolume, RateUnit::LPerHa, 1.0),
];
/// Actual rates, which only logs hold.
const ACTUAL: [&str; 5] = ["0002", "0007", "000C", "01B1", "024D"];
/// Highest code of a zone.
const HIGHEST: u16 = 254;

/// A zone's first value.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Value {
    pub(super) ddi: String,
    pub(super) stored: i32,
    pub(super) values: usize,
}

/// Zones by code, and what the numbers of the map are.
#[derive(Clone, Debug, Default)]
pub(super) struct Zones {
    pub(super) values: BTreeMap<u16, Option<Value>>,
    /// Entry of the map, and file units in one of its unit.
    pub(super) channel: Option<(String, f64)>,
}

impl Zones {
    /// The rate of a zone in the map's unit; `None` without a value of the map's entry.
    pub(super) fn rate(&self, code: u16) -> Option<f64> {
        let value = self.values.get(&code)?.as_ref()?;
        let (ddi, per) = self.channel.as_ref()?;
        (value.ddi == *ddi).then(|| f64::from(value.stored) / per)
    }
}

/// The zone that holds the kinds of a grid of type 2, else the first zone with polygons or values.
fn template(task: Node<'_, '_>) -> Option<u16> {
    let by_grid = children(task, "GRD").find_map(|grid| grid.attribute("J")?.parse::<u16>().ok());
    by_grid.or_else(|| {
        children(task, "TZN")
            .find(|zone| children(*zone, "PDV").next().is_some())?
            .attribute("A")?
            .parse()
            .ok()
    })
}

pub(super) fn read(root: Node<'_, '_>, task: Node<'_, '_>, map: &mut ImportedMap) -> Zones {
    let mut zones = Zones::default();
    let mut product = None;
    let mut presentation = None;
    let first = template(task);
    for zone in children(task, "TZN") {
        let text = zone.attribute("A").unwrap_or("");
        let place = Place::named(format!("TZN {text}"));
        let Some(code) = text.parse::<u16>().ok().filter(|code| *code <= HIGHEST) else {
            map.oddities.push(Fault::stop(
                codes::TASK_ZONE_CODE,
                place,
                format!("{text:?} is no code of a treatment zone: 0 to {HIGHEST}"),
            ));
            continue;
        };
        let values: Vec<_> = children(zone, "PDV").collect();
        let value = values
            .first()
            .and_then(|value| value_of(*value, values.len(), &place, map));
        if values.is_empty() {
            map.oddities.push(Fault::stop(
                codes::TASK_ZONE_VALUE,
                place.clone(),
                "the zone has no value (PDV), so no rate",
            ));
        }
        if values.len() > 1 {
            let message = format!(
                "the zone has {} values; only one is sure to be taken, and the first is looked at",
                values.len()
            );
            map.oddities
                .push(Fault::caution(codes::TASK_VALUES, place.clone(), message));
        }
        if first == Some(code)
            && let Some(value) = values.first()
        {
            (product, presentation) = (
                value.attribute("C").map(str::to_owned),
                value.attribute("E").map(str::to_owned),
            );
        }
        if zones.values.insert(code, value).is_some() {
            map.oddities.push(Fault::stop(
                codes::TASK_ZONE_TWICE,
                place,
                format!("the zone code {code} is given twice in {}", id(task)),
            ));
        }
    }
    let ddi = first
        .and_then(|code| zones.values.get(&code))
        .and_then(|value| value.as_ref())
        .map(|value| value.ddi.clone());
    if let Some(ddi) = ddi {
        channel(&ddi, first.unwrap_or_default(), &mut zones, map);
    }
    if let Some(name) = product.and_then(|requirement| {
        children(root, "PDT")
            .find(|p| p.attribute("A") == Some(requirement.as_str()))?
            .attribute("B")
    }) {
        map.product.name = Some(name.to_owned());
    }
    if let Some(shown) = presentation.and_then(|requirement| {
        children(root, "VPN").find(|v| v.attribute("A") == Some(requirement.as_str()))
    }) {
        scale(shown, &zones, map);
    }
    zones
}

fn value_of(
    value: Node<'_, '_>,
    values: usize,
    place: &Place,
    map: &mut ImportedMap,
) -> Option<Value> {
    let ddi = value.attribute("A").unwrap_or("");
    if ddi.len() != 4 || !ddi.chars().all(|c| c.is_ascii_hexdigit()) {
        map.oddities.push(Fault::stop(
            codes::TASK_DDI,
            place.clone(),
            format!("{ddi:?} is no entry of the data dictionary: four hex digits"),
        ));
        return None;
    }
    let text = value.attribute("B").unwrap_or("");
    let Ok(stored) = text.parse::<i32>() else {
        map.oddities.push(Fault::stop(
            codes::TASK_VALUE,
            place.clone(),
            format!("the value (B) {text:?} is no whole number of 32 bits"),
        ));
        return None;
    };
    if stored < 0 {
        map.oddities.push(Fault::stop(
            codes::RATE_NEGATIVE,
            place.clone(),
            format!("the value (B) is {stored}; a rate cannot be negative"),
        ));
    }
    Some(Value {
        ddi: ddi.to_ascii_uppercase(),
        stored,
        values,
    })
}

/// What the map meters, or why nobody can tell.
fn channel(ddi: &str, code: u16, zones: &mut Zones, map: &mut ImportedMap) {
    let place = Place::named(format!("TZN {code}"));
    match SETPOINTS.iter().find(|(known, ..)| *known == ddi) {
        Some((_, quantity, unit, per)) => {
            map.meaning = Meaning {
                quantity: *quantity,
                unit: Some(*unit),
                wording_by: format!("data dictionary entry {ddi}"),
            };
            zones.channel = Some((ddi.to_owned(), *per));
        }
        None if ACTUAL.contains(&ddi) => {
            map.oddities.push(Fault::stop(
                codes::TASK_DDI_KIND,
                place,
                format!("entry {ddi} is an actual rate, which only logs hold; a plan holds its setpoint (0001, 0006 ...)"),
            ));
            zones.channel = Some((ddi.to_owned(), 1.0));
        }
        None => {
            map.oddities.push(Fault::stop(
                codes::TASK_DDI_KIND,
                place,
                format!("entry {ddi} is no setpoint of mass, volume or nitrogen by area"),
            ));
            zones.channel = Some((ddi.to_owned(), 1.0));
        }
    }
}

/// The unit on the screen must be what the scale makes of the stored number.
fn scale(shown: Node<'_, '_>, zones: &Zones, map: &mut ImportedMap) {
    let (Some((_, per)), Some(scale)) = (
        &zones.channel,
        shown
            .attribute("C")
            .and_then(|text| text.parse::<f64>().ok()),
    ) else {
        return;
    };
    let unit = shown
        .attribute("E")
        .unwrap_or("")
        .replace(' ', "")
        .to_ascii_lowercase();
    let place = Place::named(id(shown));
    let factor = match unit.replace("kgn", "kg").replace("lbn", "lb").as_str() {
        "kg/ha" | "l/ha" => 1.0,
        "lb/ac" => 1.0 / crate::units::KG_HA_PER_LB_AC,
        "gal/ac" => 1.0 / crate::units::L_HA_PER_GAL_AC,
        _ => return,
    };
    let volume = map.meaning.quantity == Quantity::ProductVolume;
    if volume != (unit.starts_with('l') && !unit.starts_with("lb") || unit.starts_with("gal")) {
        let message = format!(
            "the screen shows {unit}, but the rates are {}",
            map.meaning.quantity.name()
        );
        map.oddities
            .push(Fault::stop(codes::UNIT_DOUBTFUL, place, message));
        return;
    }
    let requirement = factor / per;
    if (scale / requirement - 1.0).abs() > 1e-3 {
        let message = format!(
            "the screen shows the stored number times {scale} and calls it {unit}; for that it must be times {requirement:.6}: shown rates are {:.4} of the true ones",
            scale / requirement
        );
        map.oddities
            .push(Fault::stop(codes::UNIT_DOUBTFUL, place, message));
    }
}

/// Default zone, position lost, out of field: each must name a zone that is there, of the map's kind.
pub(super) fn fallbacks(task: Node<'_, '_>, zones: &Zones, map: &mut ImportedMap) {
    for (attribute, what) in [
        ("H", "default zone"),
        ("I", "zone for lost position"),
        ("J", "zone outside the field"),
    ] {
        let place = Place::named(format!("{} {attribute}", id(task)));
        let Some(text) = task.attribute(attribute) else {
            let message = format!("the task names no {what} ({attribute}): the last rate stays on");
            map.oddities.push(if attribute == "J" {
                Fault::caution(codes::TASK_NO_OUTSIDE_ZONE, place, message)
            } else {
                Fault::note(codes::TASK_NO_FALLBACK, place, message)
            });
            continue;
        };
        let known = text
            .parse::<u16>()
            .ok()
            .and_then(|code| zones.values.get(&code).map(|value| (code, value)));
        let Some((code, value)) = known else {
            map.oddities.push(Fault::stop(
                codes::TASK_ZONE_DANGLING,
                place,
                format!("the {what} ({attribute}) is {text}, and there is no such treatment zone"),
            ));
            continue;
        };
        if let (Some(value), Some((ddi, _))) = (value, &zones.channel)
            && value.ddi != *ddi
        {
            let message = format!(
                "the {what} ({attribute}) sets entry {}, the map entry {ddi}: the last rate of the map would stay on",
                value.ddi
            );
            map.oddities.push(Fault::stop(
                codes::TASK_FALLBACK_KIND,
                place.clone(),
                message,
            ));
        }
        let rate = zones.rate(code);
        match attribute {
            "H" => map.fallbacks.on_start = rate,
            "I" => map.fallbacks.position_lost = rate,
            _ => map.fallbacks.outside = rate,
        }
        if attribute == "J" && map.boundary.is_none() {
            let message = "the task names a zone outside the field (J), but its field has no boundary (PLN 1): there is no outside";
            map.oddities
                .push(Fault::caution(codes::TASK_NO_BOUNDARY, place, message));
        }
    }
}
