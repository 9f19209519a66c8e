//! Writes zones as a feature collection.
//!
//! # Source
//! RFC 7946 (August 2016): section 3.1.6 ring direction, 4 reference system (no `crs` member), 5 bounding box, 6.1 foreign members, 11.2 precision.

use crate::format::gdal_layer::check;
use crate::format::payload::Payload;
use crate::format::style::{Style, qml_vector};
use crate::format::{WriteError, lonlat};
use crate::map::export::ExportMap;
use crate::map::table::Value;
use geo::{BoundingRect, MultiPolygon};
use geojson::{Feature, FeatureCollection, Geometry, GeometryValue, JsonObject, JsonValue};

/// `NAME.geojson` and `NAME.qml`: one feature a zone in WGS 84 with the columns of the map's table in their order; what is not known is null.
///
/// Coordinates have 7 decimals; should that make any zone invalid, all have 9, so that neighbours go on sharing their vertices; a zone that is invalid even
/// then is repaired by a union with itself, if that keeps its area. Rings that collapse are dropped.
///
/// # Errors
/// [`WriteError`] when there is no zone, a value is not finite, or a zone has no valid outline in longitude and latitude.
pub(super) fn write(map: &ExportMap<'_>, name: &str) -> Result<Vec<Payload>, WriteError> {
    let outlines = lonlat::rounded_zones(map)?;
    let table = &map.zones.table;
    let mut features = Vec::with_capacity(outlines.len());
    for ((number, row), outline) in (1..).zip(map.zones.rows()).zip(&outlines) {
        check(table, number, &row.values)?;
        let properties = table
            .columns
            .iter()
            .zip(row.values)
            .map(|((name, _, _), value)| ((*name).to_owned(), json(value)));
        features.push(Feature {
            bbox: None,
            geometry: Some(Geometry::new(geometry(outline))),
            id: None,
            properties: Some(properties.collect()),
            foreign_members: None,
        });
    }
    let mut members = JsonObject::new();
    members.insert("name".to_owned(), map.name.into());
    for (name, text) in &map.members {
        members.insert((*name).to_owned(), (*text).into());
    }
    let collection = FeatureCollection {
        bbox: Some(bounds(&outlines).ok_or(WriteError::NoZones)?),
        features,
        foreign_members: Some(members),
    };
    let mut bytes = serde_json::to_vec(&collection)?;
    bytes.push(b'\n');
    Ok(vec![
        Payload::new(format!("{name}.geojson"), bytes),
        Payload::new(
            format!("{name}.qml"),
            qml_vector(&Style::of(&map.zones.drawn))?,
        ),
    ])
}

fn json(value: Value) -> JsonValue {
    match value {
        Value::Whole(value) => value.into(),
        Value::Real(value) => value.map_or(JsonValue::Null, JsonValue::from),
        Value::Text(value) => value.map_or(JsonValue::Null, |text| text.into_owned().into()),
    }
}

/// West, south, east, north.
fn bounds(outlines: &[MultiPolygon<f64>]) -> Option<Vec<f64>> {
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

/// A Polygon where one part is enough, else a `MultiPolygon`.
fn geometry(outline: &MultiPolygon<f64>) -> GeometryValue {
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
    use crate::format::Format;
    use crate::format::tests::files;
    use crate::map::fixture;
    use crate::map::prescription::Prescription;
    use crate::space::crs::{Crs, Projector};
    use crate::units::NRate;
    use geo::{Contains, Winding};
    use geojson::GeoJson;

    fn read(prescription: &Prescription) -> (String, FeatureCollection) {
        let payloads = files(Format::GeoJson, prescription).unwrap();
        assert_eq!(payloads.len(), 2);
        assert_eq!(payloads[1].path, "office/prescription.qml");
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
        assert_eq!(
            files(Format::GeoJson, &p).unwrap(),
            files(Format::GeoJson, &p).unwrap()
        );
        p.zones[1].index = Some(f64::NAN);
        assert!(matches!(
            files(Format::GeoJson, &p),
            Err(WriteError::NotFinite {
                row: 2,
                column: "index",
                ..
            })
        ));
        p.zones[1].index = None;
        p.zones[0].n = NRate::kg_per_ha(f64::INFINITY);
        assert!(matches!(
            files(Format::GeoJson, &p),
            Err(WriteError::NotFinite { row: 1, .. })
        ));
        p.zones.clear();
        assert!(matches!(
            files(Format::GeoJson, &p),
            Err(WriteError::NoZones)
        ));
    }
}
