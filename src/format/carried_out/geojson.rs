//! A plain map as `GeoJSON` with its style.
//!
//! # Source
//! RFC 7946 (August 2016), as for our own maps.

use super::error::CarriedOutError;
use super::rows::{outlines, row, style};
use crate::format::geojson::{bounds, geometry};
use crate::format::payload::Payload;
use crate::format::style::qml_vector;
use crate::map::plain::PlainMap;
use geojson::{Feature, FeatureCollection, Geometry, JsonObject, JsonValue};

/// `NAME.geojson` and `NAME.qml`: one feature a zone in WGS 84 with `zone`, `product_rate`, `product_unit`, `n_kg_ha` and `area_m2`; what is not known is null.
///
/// # Errors
/// [`CarriedOutError`].
pub fn write(map: &PlainMap, name: &str) -> Result<Vec<Payload>, CarriedOutError> {
    let outlines = outlines(map)?;
    let features = map.zones.iter().zip(&outlines).map(|(zone, outline)| {
        let row = row(map, zone);
        let mut properties = JsonObject::new();
        properties.insert("zone".to_owned(), row.zone.into());
        properties.insert(
            "product_rate".to_owned(),
            row.product_rate.map_or(JsonValue::Null, JsonValue::from),
        );
        properties.insert(
            "product_unit".to_owned(),
            row.product_unit.map_or(JsonValue::Null, JsonValue::from),
        );
        properties.insert(
            "n_kg_ha".to_owned(),
            row.n_kg_ha.map_or(JsonValue::Null, JsonValue::from),
        );
        properties.insert("area_m2".to_owned(), row.area_m2.into());
        Feature {
            bbox: None,
            geometry: Some(Geometry::new(geometry(outline))),
            id: None,
            properties: Some(properties),
            foreign_members: None,
        }
    });
    let mut members = JsonObject::new();
    members.insert("name".to_owned(), map.name.clone().into());
    if let Some(product) = &map.product_name {
        members.insert("product".to_owned(), product.clone().into());
    }
    let bbox = Some(bounds(&outlines).ok_or(CarriedOutError::NoZones)?);
    let collection = FeatureCollection {
        bbox,
        features: features.collect(),
        foreign_members: Some(members),
    };
    let mut bytes = serde_json::to_vec(&collection)?;
    bytes.push(b'\n');
    Ok(vec![
        Payload::new(format!("{name}.geojson"), bytes),
        Payload::new(format!("{name}.qml"), qml_vector(&style(map))?),
    ])
}
