//! Writes zones as a feature collection.
//!
//! # Source
//! RFC 7946 (August 2016): section 3.1.6 ring direction, 4 reference system (no `crs` member), 5 bounding box, 6.1 foreign members, 11.2 precision.

use super::error::GeoJsonError;
use crate::format::lonlat;
use crate::format::payload::Payload;
use crate::map::prescription::{Prescription, ZoneRecord};
use crate::units::{NRate, half_up_to_hundredth};
use geo::{BoundingRect, MultiPolygon};
use geojson::{Feature, FeatureCollection, Geometry, GeometryValue, JsonObject, JsonValue};

/// Where the file goes.
const PATH: &str = "office/prescription.geojson";
/// Decimals of a degree: 7 are about a centimetre; 9 where 7 would make a zone invalid.
const DIGITS: [u32; 2] = [7, 9];

/// Writes `office/prescription.geojson`: one feature a zone in WGS 84, properties `zone`, `product_rate`, `product_unit`, `n_kg_ha`, `area_m2`, `index`,
/// `cells`, `state`, `n_p10_kg_ha` and `n_p90_kg_ha` in that order.
///
/// Coordinates have 7 decimals; should that make any zone invalid, all have 9, so that neighbours go on sharing their vertices; a zone that is invalid even
/// then is mended by a union with itself, if that keeps its area. Rings that collapse are dropped. The product rate is rounded half up to 0.01 and null without a product; it is
/// the agronomic decision, before the machine's least and greatest rate. Missing values are null.
///
/// # Errors
/// [`GeoJsonError`] when there is no zone, a value is not finite, or a zone has no valid outline in longitude and latitude.
pub fn write(prescription: &Prescription) -> Result<Vec<Payload>, GeoJsonError> {
    let zones = &prescription.zones;
    let carried = lonlat::carry(zones, &prescription.plane, |zone| &zone.outline)?;
    let outlines = lonlat::rounded(zones, &carried, &DIGITS)?;
    let features: Vec<Feature> = zones
        .iter()
        .zip(&outlines)
        .map(|(zone, outline)| feature(prescription, zone, outline))
        .collect::<Result<_, _>>()?;
    let collection = FeatureCollection {
        bbox: Some(bounds(&outlines).ok_or(GeoJsonError::NoZones)?),
        features,
        foreign_members: Some(about(prescription)),
    };
    let mut bytes = serde_json::to_vec(&collection)?;
    bytes.push(b'\n');
    Ok(vec![Payload::new(PATH, bytes)])
}

/// West, south, east, north.
pub(crate) fn bounds(outlines: &[MultiPolygon<f64>]) -> Option<Vec<f64>> {
    let boxes = outlines.iter().filter_map(BoundingRect::bounding_rect);
    boxes
        .map(|b| [b.min().x, b.min().y, b.max().x, b.max().y])
        .reduce(|a, b| {
            [
                a[0].min(b[0]),
                a[1].min(b[1]),
                a[2].max(b[2]),
                a[3].max(b[3]),
            ]
        })
        .map(|bounds| bounds.to_vec())
}

/// What stands beside the features, for people who open the file as text.
fn about(prescription: &Prescription) -> JsonObject {
    let mut members = JsonObject::new();
    members.insert("name".to_owned(), prescription.field_name.clone().into());
    members.insert("map_id".to_owned(), prescription.map_id.clone().into());
    members.insert(
        "note".to_owned(),
        "For the office. Not a file for the machine: those stand in the folder machine.".into(),
    );
    members
}

fn feature(
    prescription: &Prescription,
    zone: &ZoneRecord,
    outline: &MultiPolygon<f64>,
) -> Result<Feature, GeoJsonError> {
    let number = |property: &'static str, value: Option<f64>| match value {
        Some(value) if !value.is_finite() => Err(GeoJsonError::NotFinite {
            zone: zone.zone,
            property,
            value,
        }),
        Some(value) => Ok(JsonValue::from(value)),
        None => Ok(JsonValue::Null),
    };
    let product = prescription
        .product
        .as_ref()
        .map(|_| half_up_to_hundredth(prescription.shown(zone.n)));
    let unit = prescription
        .product
        .as_ref()
        .map_or(JsonValue::Null, |_| prescription.rate_label().into());
    let mut properties = JsonObject::new();
    properties.insert("zone".to_owned(), zone.zone.into());
    properties.insert("product_rate".to_owned(), number("product_rate", product)?);
    properties.insert("product_unit".to_owned(), unit);
    properties.insert("n_kg_ha".to_owned(), number("n_kg_ha", Some(zone.n.get()))?);
    properties.insert(
        "area_m2".to_owned(),
        number("area_m2", Some(zone.area.get()))?,
    );
    properties.insert("index".to_owned(), number("index", zone.index)?);
    properties.insert("cells".to_owned(), zone.cells.into());
    properties.insert("state".to_owned(), zone.state.word().into());
    properties.insert(
        "n_p10_kg_ha".to_owned(),
        number("n_p10_kg_ha", zone.n_low.map(NRate::get))?,
    );
    properties.insert(
        "n_p90_kg_ha".to_owned(),
        number("n_p90_kg_ha", zone.n_high.map(NRate::get))?,
    );
    let geometry = Geometry::new(geometry(outline));
    Ok(Feature {
        bbox: None,
        geometry: Some(geometry),
        id: None,
        properties: Some(properties),
        foreign_members: None,
    })
}

/// A Polygon where one part is enough, else a `MultiPolygon`.
pub(crate) fn geometry(outline: &MultiPolygon<f64>) -> GeometryValue {
    let rings = |polygon: &geo::Polygon<f64>| -> Vec<Vec<[f64; 2]>> {
        std::iter::once(polygon.exterior())
            .chain(polygon.interiors())
            .map(|ring| ring.coords().map(|c| [c.x, c.y]).collect())
            .collect()
    };
    match outline.0.as_slice() {
        [one] => GeometryValue::new_polygon(rings(one)),
        several => GeometryValue::new_multi_polygon(several.iter().map(rings).collect::<Vec<_>>()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::fixture;
    use crate::space::crs::{Crs, Projector};
    use geo::{Contains, Winding};
    use geojson::GeoJson;

    fn read(prescription: &Prescription) -> (String, FeatureCollection) {
        let payloads = write(prescription).unwrap();
        assert_eq!(payloads.len(), 1);
        assert_eq!(payloads[0].path, "office/prescription.geojson");
        let text = String::from_utf8(payloads[0].bytes.clone()).unwrap();
        let GeoJson::FeatureCollection(collection) = text.parse::<GeoJson>().unwrap() else {
            panic!("not a collection")
        };
        (text, collection)
    }

    fn polygons(feature: &Feature) -> MultiPolygon<f64> {
        match geo::Geometry::<f64>::try_from(feature.geometry.clone().unwrap()).unwrap() {
            geo::Geometry::Polygon(polygon) => MultiPolygon::new(vec![polygon]),
            geo::Geometry::MultiPolygon(several) => several,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn rates_stand_where_they_belong() {
        let p = fixture::prescription();
        let (_, collection) = read(&p);
        let way = Projector::new(&p.plane, &Crs::wgs84()).unwrap();
        // Zone 1: 60 kg N/ha = 60 / 0.28 / 1.28 L/ha = 167.410714…; zone 3: 90 → 251.116071….
        for (along, left, expected) in [
            (10.0, 10.0, Some(167.41)),
            (72.0, 84.0, Some(0.0)),
            (290.0, 190.0, Some(251.12)),
            (210.0, 90.0, None),
        ] {
            let (x, y) = fixture::point(along, left);
            let point = geo::Point::from(way.point(x, y).unwrap());
            let hits: Vec<_> = collection
                .features
                .iter()
                .filter(|feature| polygons(feature).contains(&point))
                .collect();
            assert_eq!(
                hits.len(),
                usize::from(expected.is_some()),
                "{along} {left}"
            );
            assert_eq!(
                hits.first().map(|feature| feature
                    .property("product_rate")
                    .unwrap()
                    .as_f64()
                    .unwrap()),
                expected
            );
        }
    }

    #[test]
    fn properties_keep_their_order_and_missing_values_are_null() {
        let p = fixture::prescription();
        let (text, collection) = read(&p);
        let keys: Vec<_> = collection.features[0]
            .properties
            .as_ref()
            .unwrap()
            .keys()
            .cloned()
            .collect();
        assert_eq!(
            keys,
            [
                "zone",
                "product_rate",
                "product_unit",
                "n_kg_ha",
                "area_m2",
                "index",
                "cells",
                "state",
                "n_p10_kg_ha",
                "n_p90_kg_ha"
            ]
        );
        assert!(
            collection.features[1].property("index").unwrap().is_null()
                && collection.features[1]
                    .property("n_p10_kg_ha")
                    .unwrap()
                    .is_null()
        );
        assert_eq!(
            (
                collection.features[0].property("n_p10_kg_ha").unwrap(),
                collection.features[0].property("n_p90_kg_ha").unwrap()
            ),
            (&47.5.into(), &77.5.into())
        );
        assert_eq!(
            collection.features[0].property("product_unit").unwrap(),
            "L/ha"
        );
        assert!(!text.contains("\"crs\""));
        assert_eq!(collection.foreign_members.unwrap()["map_id"], "0a1b2c");
        let mut without = p;
        without.product = None;
        let (_, collection) = read(&without);
        assert!(
            collection.features[0]
                .property("product_rate")
                .unwrap()
                .is_null()
                && collection.features[0]
                    .property("product_unit")
                    .unwrap()
                    .is_null()
        );
        assert_eq!(collection.features[0].property("n_kg_ha").unwrap(), 60.0);
    }

    #[test]
    fn rings_run_as_the_standard_says_and_fit_the_box() {
        let (text, collection) = read(&fixture::prescription());
        let bbox = collection.bbox.clone().unwrap();
        for feature in &collection.features {
            for polygon in polygons(feature) {
                assert!(polygon.exterior().is_ccw() && polygon.exterior().is_closed());
                assert!(
                    polygon
                        .interiors()
                        .iter()
                        .all(|hole| hole.is_cw() && hole.is_closed())
                );
                for c in polygon.exterior().coords() {
                    assert!(bbox[0] <= c.x && c.x <= bbox[2] && bbox[1] <= c.y && c.y <= bbox[3]);
                }
            }
        }
        assert_eq!(polygons(&collection.features[0]).0[0].interiors().len(), 1);
        // Around 14° E, 49.6° N; seven decimals at most.
        assert!(
            bbox[0] > 14.0 && bbox[2] < 14.1 && bbox[1] > 49.6 && bbox[3] < 49.7,
            "{bbox:?}"
        );
        let decimals = text
            .split(['[', ',', ']'])
            .filter(|number| number.starts_with("14.") || number.starts_with("49."))
            .map(|number| number.len() - 3)
            .max();
        assert_eq!(decimals, Some(7));
    }

    #[test]
    fn same_bytes_twice_and_no_number_that_is_none() {
        let mut p = fixture::prescription();
        assert_eq!(write(&p).unwrap(), write(&p).unwrap());
        p.zones[1].index = Some(f64::NAN);
        assert!(matches!(
            write(&p),
            Err(GeoJsonError::NotFinite {
                zone: 2,
                property: "index",
                ..
            })
        ));
        p.zones[1].index = None;
        p.zones[0].n = NRate::kg_per_ha(f64::INFINITY);
        assert!(matches!(
            write(&p),
            Err(GeoJsonError::NotFinite { zone: 1, .. })
        ));
        p.zones.clear();
        assert!(matches!(write(&p), Err(GeoJsonError::NoZones)));
    }
}
