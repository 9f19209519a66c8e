//! What every table format says of a zone.

use super::error::CarriedOutError;
use crate::format::lonlat;
use crate::format::style::Style;
use crate::map::imported::Quantity;
use crate::map::palette::Legend;
use crate::map::plain::{PlainMap, PlainZone};
use crate::units::half_up_to_hundredth;
use geo::MultiPolygon;

/// Decimals of a degree: 7 are about a centimetre; 9 where 7 would make a zone invalid.
const DIGITS: [u32; 2] = [7, 9];

/// One zone as tables have it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Row {
    pub(crate) zone: u32,
    pub(crate) product_rate: Option<f64>,
    pub(crate) product_unit: Option<&'static str>,
    pub(crate) n_kg_ha: Option<f64>,
    pub(crate) area_m2: f64,
}

/// A zone's values: rates rounded half up to 0.01, the area to 0.1 m².
pub(crate) fn row(map: &PlainMap, zone: &PlainZone) -> Row {
    let product_rate = map.product_rate(zone);
    Row {
        zone: zone.zone,
        product_rate,
        product_unit: product_rate.map(|_| map.measure.label()),
        n_kg_ha: map.nitrogen(zone).map(half_up_to_hundredth),
        area_m2: rounded_area(zone.area_m2),
    }
}

/// An area to 0.1 m².
pub(crate) fn rounded_area(area_m2: f64) -> f64 {
    libm::round(area_m2 * 10.0) / 10.0
}

/// Outlines in longitude and latitude with few decimals, valid, exteriors counter-clockwise.
pub(crate) fn outlines(map: &PlainMap) -> Result<Vec<MultiPolygon<f64>>, CarriedOutError> {
    let carried = lonlat::carry_all(
        map.zones.iter().map(|zone| (zone.zone, &zone.outline)),
        &map.system,
    )?;
    Ok(lonlat::rounded_all(
        map.zones.iter().map(|zone| zone.zone),
        &carried,
        &DIGITS,
    )?)
}

/// The legend of a table: its own column and unit, nitrogen always in kg N/ha.
pub(crate) fn legend(map: &PlainMap) -> (Legend, &'static str) {
    if map.measure.quantity == Quantity::Nitrogen {
        let rates = map
            .zones
            .iter()
            .filter_map(|zone| map.nitrogen(zone))
            .map(half_up_to_hundredth);
        return (Legend::new("Nitrogen", "kg N/ha", rates), "n_kg_ha");
    }
    let rates = map.zones.iter().filter_map(|zone| map.product_rate(zone));
    (
        Legend::new(
            format!("Rate of {}", map.product_shown()),
            map.measure.label(),
            rates,
        ),
        "product_rate",
    )
}

/// The style of a table.
pub(crate) fn style(map: &PlainMap) -> Style {
    let (legend, column) = legend(map);
    Style::rates(&legend, column, None)
}
