//! A plain map as a `GeoPackage` with its style.

use super::columns::Value;
use super::error::GeoPackageError;
use super::write::{add_layer, create, gdal};
use super::{about, columns};
use crate::format::carried_out::{rounded_area, style};
use crate::format::payload::Payload;
use crate::format::scratch::{Scratch, ThreadOption};
use crate::map::plain::{PlainMap, PlainZone};
use crate::units::half_up_to_hundredth;
use gdal::spatial_ref::{AxisMappingStrategy, SpatialRef};
use jiff::Timestamp;

/// `NAME.gpkg` with one layer `zones` in the map's own system; what is not known is null.
///
/// # Errors
/// [`GeoPackageError`] when a value is not finite or GDAL refuses.
pub fn write(
    map: &PlainMap,
    name: &str,
    instant: Timestamp,
) -> Result<Vec<Payload>, GeoPackageError> {
    let pinned = instant.strftime("%Y-%m-%dT%H:%M:%S.000Z").to_string();
    let _date = ThreadOption::set("OGR_CURRENT_DATE", &pinned).map_err(gdal("pinning the date"))?;
    let file = Scratch::new("gpkg");
    let mut dataset = create(&file).map_err(gdal("creating the file"))?;
    let mut system = SpatialRef::from_definition(map.system.definition())
        .map_err(gdal("reading the map's reference system"))?;
    system.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
    add_layer(
        &mut dataset,
        &system,
        columns::CARRIED,
        map.zones
            .iter()
            .map(|zone| (zone.outline.clone(), row(map, zone))),
    )?;
    about::describe(&dataset, &[columns::CARRIED]).map_err(gdal("describing the columns"))?;
    about::add_styles(&dataset, &[(columns::CARRIED.name, style(map))], &pinned)?;
    dataset.close().map_err(gdal("closing the file"))?;
    Ok(vec![Payload::new(
        format!("{name}.gpkg"),
        file.into_bytes()
            .map_err(gdal("taking the file from memory"))?,
    )])
}

fn row(map: &PlainMap, zone: &PlainZone) -> Vec<Value> {
    let product = map.product_rate(zone);
    vec![
        Value::Whole(zone.zone.into()),
        Value::Real(product),
        Value::Text(product.map(|_| map.measure.label().into())),
        Value::Real(map.nitrogen(zone).map(half_up_to_hundredth)),
        Value::Real(Some(rounded_area(zone.area_m2))),
    ]
}
