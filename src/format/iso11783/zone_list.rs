//! Treatment zones of a task: codes and the value that each sets.

use crate::format::iso11783::channel::Channel;
use crate::format::iso11783::error::Iso11783Error;
use crate::format::iso11783::xml::PolygonRings;
use crate::map::ascii::designator;
use std::collections::BTreeMap;

/// Codes go to 254; the first four are for a grid's template, start, lost position and outside.
pub(super) const MOST_ZONES: usize = 250;
/// The first code of ground.
const FIRST_CODE: u8 = 5;

/// A treatment zone with ground.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct ZoneOnGround {
    /// Its code.
    pub(super) code: u8,
    /// What the terminal shows.
    pub(super) name: String,
    /// Its value in units of the channel.
    pub(super) value: i32,
    /// Its polygons; none in a grid.
    pub(super) polygons: Vec<PolygonRings>,
}

fn zone(
    place: usize,
    shown: f64,
    value: i32,
    channel: &Channel,
    polygons: Vec<PolygonRings>,
) -> ZoneOnGround {
    let code = FIRST_CODE + place as u8;
    let name = designator(
        &format!("{} {}", (shown * 100.0).round() / 100.0, channel.unit),
        32,
        "Zone",
    );
    ZoneOnGround {
        code,
        name,
        value,
        polygons,
    }
}

/// One zone for each different value of a grid, and the code of each cell.
pub(super) fn of_cells(
    rates: &[f64],
    cols: usize,
    channel: &Channel,
) -> Result<(Vec<ZoneOnGround>, Vec<u8>), Iso11783Error> {
    let mut values = Vec::with_capacity(rates.len());
    let mut shown = BTreeMap::new();
    for (cell, rate) in rates.iter().enumerate() {
        let value = channel.integer(*rate, || {
            format!("of grid row {}, column {}", cell / cols, cell % cols)
        })?;
        shown.entry(value).or_insert(*rate);
        values.push(value);
    }
    if shown.len() > MOST_ZONES {
        return Err(Iso11783Error::TooManyRates {
            rates: shown.len(),
            most: MOST_ZONES,
        });
    }
    let zones: Vec<_> = shown
        .iter()
        .enumerate()
        .map(|(place, (value, rate))| zone(place, *rate, *value, channel, Vec::new()))
        .collect();
    let places: BTreeMap<i32, u8> = zones.iter().map(|zone| (zone.value, zone.code)).collect();
    let codes = values
        .iter()
        .filter_map(|value| places.get(value).copied())
        .collect();
    Ok((zones, codes))
}

/// Zones with polygons: one a polygon where codes are enough, since old terminals read one polygon a zone; else one for each different value.
pub(super) fn of_polygons(
    ground: Vec<(f64, Vec<PolygonRings>)>,
    channel: &Channel,
) -> Result<Vec<ZoneOnGround>, Iso11783Error> {
    let mut parts = Vec::new();
    for (number, (rate, polygons)) in (1..).zip(ground) {
        let value = channel.integer(rate, || format!("of zone {number}"))?;
        parts.extend(polygons.into_iter().map(|polygon| (value, rate, polygon)));
    }
    if parts.len() <= MOST_ZONES {
        return Ok(parts
            .into_iter()
            .enumerate()
            .map(|(place, (value, rate, polygon))| zone(place, rate, value, channel, vec![polygon]))
            .collect());
    }
    let mut by_value: BTreeMap<i32, (f64, Vec<PolygonRings>)> = BTreeMap::new();
    for (value, rate, polygon) in parts {
        by_value
            .entry(value)
            .or_insert_with(|| (rate, Vec::new()))
            .1
            .push(polygon);
    }
    if by_value.len() > MOST_ZONES {
        return Err(Iso11783Error::TooManyRates {
            rates: by_value.len(),
            most: MOST_ZONES,
        });
    }
    Ok(by_value
        .into_iter()
        .enumerate()
        .map(|(place, (value, (rate, polygons)))| zone(place, rate, value, channel, polygons))
        .collect())
}
