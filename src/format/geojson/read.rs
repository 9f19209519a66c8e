//! `GeoJSON` as it stands: rings as written, and systems of the older edition.
//!
//! # Source
//! RFC 7946 (August 2016): WGS 84 always (4), rings closed and of four positions or more (3.1.6).

use std::path::Path;

use geo::Coord;
use serde_json::Value;

use crate::finding::{Code, codes};
use crate::format::maps::table::settle;
use crate::format::maps::{MapError, ReadOptions, bytes_of, stem};
use crate::format::systems::system_named;
use crate::map::faults::fault::Fault;
use crate::map::imported::{
    Attribute, ImportedMap, MapKind, Part, Patch, Place, Rate, Ring, RingRole, System,
};
use crate::space::crs::Crs;

pub(super) fn read(path: &Path, options: &ReadOptions) -> Result<ImportedMap, MapError> {
    let bytes = bytes_of(path)?;
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&bytes);
    let whole: Value = serde_json::from_slice(text).map_err(|error| MapError::Unreadable {
        path: path.to_owned(),
        reason: error.to_string(),
    })?;
    let mut map = ImportedMap::empty(stem(path), MapKind::GeoJson);
    if let Some(name) = whole.get("name").and_then(Value::as_str) {
        name.clone_into(&mut map.name);
    }
    if text.len() < bytes.len() {
        map.oddities.push(Fault::note(
            codes::FILE_MARK,
            Place::whole(),
            "the file begins with a byte order mark, which some readers stumble over",
        ));
    }
    map.system = system(&whole, &mut map.oddities);
    let empty = Vec::new();
    match whole.get("type").and_then(Value::as_str) {
        Some("FeatureCollection") => {
            for (number, feature) in (1..).zip(
                whole
                    .get("features")
                    .and_then(Value::as_array)
                    .unwrap_or(&empty),
            ) {
                add(
                    &mut map,
                    number,
                    feature.get("geometry"),
                    feature.get("properties"),
                    feature.get("id"),
                );
            }
        }
        Some("Feature") => add(
            &mut map,
            1,
            whole.get("geometry"),
            whole.get("properties"),
            whole.get("id"),
        ),
        Some(_) if whole.get("coordinates").is_some() || whole.get("geometries").is_some() => {
            add(&mut map, 1, Some(&whole), None, None);
        }
        other => {
            let reason = format!(
                "it is JSON, but its type {:?} is none of GeoJSON",
                other.unwrap_or("(none)")
            );
            return Err(MapError::Unreadable {
                path: path.to_owned(),
                reason,
            });
        }
    }
    settle(&mut map, options);
    Ok(map)
}

/// WGS 84, unless an older `crs` member names another.
fn system(whole: &Value, oddities: &mut Vec<Fault>) -> System {
    let Some(member) = whole.get("crs") else {
        return System::Known(Crs::wgs84());
    };
    let name = member
        .pointer("/properties/name")
        .and_then(Value::as_str)
        .unwrap_or_default();
    let code: String = name
        .rsplit(':')
        .next()
        .unwrap_or_default()
        .chars()
        .filter(char::is_ascii_digit)
        .collect();
    let upper = name.to_ascii_uppercase();
    if upper.ends_with("CRS84") {
        return System::Known(Crs::wgs84());
    }
    let known = if upper.contains("EPSG") && !code.is_empty() {
        system_named(&format!("EPSG:{code}")).ok()
    } else {
        None
    };
    match known {
        Some(crs) => {
            if crs.code() != Some(4326) {
                let message = format!(
                    "it states {crs} in a member \"crs\", which today's GeoJSON does not have: readers take its numbers for longitude and latitude"
                );
                oddities.push(Fault::caution(
                    codes::SYSTEM_OLD_MEMBER,
                    Place::named("member crs"),
                    message,
                ));
            }
            System::Known(crs)
        }
        None => System::Missing(format!(
            "its member \"crs\" names {name:?}, which is no system that is known"
        )),
    }
}

fn add(
    map: &mut ImportedMap,
    number: u64,
    geometry: Option<&Value>,
    properties: Option<&Value>,
    id: Option<&Value>,
) {
    let mut place = Place::at("feature", number);
    if let Some(id) = id.filter(|id| !id.is_null()) {
        place = place.with_name(id.as_str().map_or_else(|| id.to_string(), str::to_owned));
    }
    let mut attributes = Vec::new();
    if let Some(Value::Object(members)) = properties {
        for (name, value) in members {
            if !map.columns.contains(name) {
                map.columns.push(name.clone());
            }
            attributes.push((name.clone(), attribute(value)));
        }
    }
    let mut parts = Vec::new();
    if let Some(geometry) = geometry.filter(|geometry| !geometry.is_null()) {
        let mut reader = Reader {
            map,
            place: &place,
            parts: &mut parts,
        };
        reader.geometry(geometry, 0);
    }
    map.patches.push(Patch {
        place,
        parts,
        rate: Rate::Missing,
        attributes,
    });
}

fn attribute(value: &Value) -> Attribute {
    match value {
        Value::Null => Attribute::Null,
        Value::Bool(value) => Attribute::Text(value.to_string()),
        Value::Number(number) => number.as_i64().map_or_else(
            || Attribute::Real(number.as_f64().unwrap_or(f64::NAN)),
            Attribute::Whole,
        ),
        Value::String(text) => Attribute::Text(text.clone()),
        other => Attribute::Text(other.to_string()),
    }
}

struct Reader<'a> {
    map: &'a mut ImportedMap,
    place: &'a Place,
    parts: &'a mut Vec<Part>,
}

impl Reader<'_> {
    fn fault(&mut self, code: Code, message: String) {
        self.map
            .oddities
            .push(Fault::stop(code, self.place.clone(), message));
    }

    fn geometry(&mut self, geometry: &Value, depth: u8) {
        let kind = geometry
            .get("type")
            .and_then(Value::as_str)
            .unwrap_or("(none)")
            .to_owned();
        let coordinates = geometry.get("coordinates");
        match kind.as_str() {
            "Polygon" => self.polygon(coordinates),
            "MultiPolygon" => {
                for polygon in coordinates
                    .and_then(Value::as_array)
                    .cloned()
                    .unwrap_or_default()
                {
                    self.polygon(Some(&polygon));
                }
            }
            "GeometryCollection" if depth < 8 => {
                for part in geometry
                    .get("geometries")
                    .and_then(Value::as_array)
                    .cloned()
                    .unwrap_or_default()
                {
                    self.geometry(&part, depth + 1);
                }
            }
            _ => self.fault(
                codes::SHAPE_KIND,
                format!("the shape is a {kind}, not a polygon"),
            ),
        }
    }

    fn polygon(&mut self, rings: Option<&Value>) {
        let Some(rings) = rings.and_then(Value::as_array) else {
            return self.fault(codes::SHAPE_BROKEN, "the polygon has no rings".to_owned());
        };
        let mut part = Part::default();
        for (k, ring) in rings.iter().enumerate() {
            let all = ring.as_array().map(Vec::as_slice).unwrap_or_default();
            let at = |position: &Value, axis: usize| {
                position
                    .get(axis)
                    .and_then(Value::as_f64)
                    .filter(|v| v.is_finite())
            };
            let points: Vec<Coord<f64>> = all
                .iter()
                .filter_map(|position| {
                    Some(Coord {
                        x: at(position, 0)?,
                        y: at(position, 1)?,
                    })
                })
                .collect();
            if points.len() < all.len() {
                self.fault(
                    codes::POINT_NOT_FINITE,
                    format!(
                        "{} positions of ring {} are no two numbers",
                        all.len() - points.len(),
                        k + 1
                    ),
                );
            }
            if all.iter().any(|position| position.get(2).is_some()) {
                self.map.oddities.push(Fault::note(
                    codes::SHAPE_Z,
                    self.place.clone(),
                    "the shape carries heights, which prescription maps do not need",
                ));
            }
            part.rings.push(Ring {
                role: if k == 0 {
                    RingRole::Outer
                } else {
                    RingRole::Inner
                },
                points,
            });
        }
        if !part.rings.is_empty() {
            self.parts.push(part);
        }
    }
}
