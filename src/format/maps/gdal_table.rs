//! `GeoPackage` and `FlatGeobuf`, through GDAL, which hands rings on as they are stored.

use std::io::Read as _;
use std::path::Path;

use gdal::Dataset;
use gdal::vector::sql::Dialect;
use gdal::vector::{FieldValue, Geometry, LayerAccess};
use geo::Coord;

use crate::finding::codes;
use crate::format::complaints;
use crate::format::maps::table::settle;
use crate::format::maps::{MapError, ReadOptions, stem};
use crate::format::systems::system_of;
use crate::format::vector::{OpenFault, is_set, open};
use crate::map::faults::fault::Fault;
use crate::map::imported::{
    Attribute, ImportedMap, MapKind, Part, Patch, Place, Rate, Ring, RingRole, System,
};

/// The layer that holds the map in our own files.
const OWN_LAYER: &str = "zones";

pub(in crate::format) fn read(path: &Path, options: &ReadOptions) -> Result<ImportedMap, MapError> {
    let unreadable = |error: gdal::errors::GdalError| MapError::Unreadable {
        path: path.to_owned(),
        reason: error.to_string(),
    };
    let refused = |reason: String| MapError::Unreadable {
        path: path.to_owned(),
        reason,
    };
    let (dataset, mut wording) = open(path).map_err(|fault| match fault {
        OpenFault::Unreadable(reason) | OpenFault::Damaged(reason) | OpenFault::System(reason) => {
            refused(reason)
        }
    })?;
    let driver = dataset.driver().short_name();
    if driver != "GPKG" && driver != "FlatGeobuf" {
        return Err(refused(format!(
            "it is a file of {driver}, not what its ending says"
        )));
    }
    let layers: Vec<String> = dataset.layers().map(|layer| layer.name()).collect();
    let problem = |problem: String| MapError::Layer {
        path: path.to_owned(),
        problem,
        layers: layers.clone(),
    };
    let index = match options.layer.as_deref() {
        Some(name) => layers
            .iter()
            .position(|layer| layer == name)
            .ok_or_else(|| problem(format!("there is no layer {name:?}")))?,
        None => match layers.iter().position(|layer| layer == OWN_LAYER) {
            Some(own) => own,
            None if layers.len() == 1 => 0,
            None if layers.is_empty() => return Err(problem("it has no layer".to_owned())),
            None => {
                return Err(problem(
                    "it has several layers: name one with --layer".to_owned(),
                ));
            }
        },
    };
    let mut layer = dataset.layer(index).map_err(unreadable)?;
    let kind = if driver == "GPKG" {
        MapKind::GeoPackage
    } else {
        MapKind::FlatGeobuf
    };
    let mut map = ImportedMap::empty(
        if layers.len() > 1 {
            layers[index].clone()
        } else {
            stem(path)
        },
        kind,
    );
    map.system = match layer.spatial_ref() {
        None => System::Missing("the layer states none".to_owned()),
        Some(stated) => system_of(&stated).map_or_else(
            || System::Missing("the layer states one that lies nowhere on Earth".to_owned()),
            System::Known,
        ),
    };
    map.columns = layer.defn().fields().map(|field| field.name()).collect();
    for (number, feature) in (1..).zip(layer.features()) {
        let mut place = Place::at("feature", number);
        if let Some(id) = feature.fid().filter(|&id| id != number) {
            place = place.with_name(format!("id {id}"));
        }
        let attributes = map
            .columns
            .iter()
            .enumerate()
            .map(|(k, name)| (name.clone(), attribute(&feature, k)))
            .collect();
        let mut parts = Vec::new();
        if let Some(geometry) = feature.geometry().filter(|geometry| !geometry.is_empty()) {
            add(geometry, &place, &mut parts, &mut map.oddities, 0);
        }
        map.patches.push(Patch {
            place,
            parts,
            rate: Rate::Missing,
            attributes,
        });
    }
    // A reader that meets a damaged place just ends; what the file promises tells whether it came to the end.
    let (read, promised) = (map.patches.len() as u64, layer.feature_count());
    if read < promised {
        let message = format!(
            "the layer promises {promised} features, and {read} can be read: the file is cut off or damaged; copy it again"
        );
        map.oddities.push(
            Fault::stop(codes::FILE_RECORDS, Place::whole(), message)
                .sized((promised - read) as f64, "features"),
        );
    }
    wording.extend(complaints::take());
    // A shape that is not there is told as such.
    if let Some(reason) = wording
        .into_iter()
        .find(|wording| !wording.contains("'OGR_G_IsEmpty'") && !wording.contains("'hGeom'"))
        .filter(|_| read >= promised)
    {
        map.oddities.push(Fault::stop(
            codes::FILE_DAMAGED,
            Place::whole(),
            format!("not all of the layer can be read ({reason}): copy or export it again"),
        ));
    }
    if kind == MapKind::GeoPackage {
        whole_database(path, &dataset, &mut map.oddities);
    }
    settle(&mut map, options);
    Ok(map)
}

/// Whether a database is all there and sound in itself: length against its header, and `SQLite`'s own check.
///
/// # Source
/// `SQLite` database file format, 1.3: page size at 16, change counter at 24, pages at 28, valid for that counter at 92, all big-endian.
fn whole_database(path: &Path, dataset: &Dataset, oddities: &mut Vec<Fault>) {
    let mut head = [0_u8; 100];
    let read = fs_err::File::open(path)
        .and_then(|mut file| Ok((file.read_exact(&mut head)?, file.metadata()?.len())));
    if let Ok(((), length)) = read {
        let number = |at: usize| {
            head.get(at..at + 4)
                .and_then(|four| four.try_into().ok())
                .map_or(0, u32::from_be_bytes)
        };
        let page = match u64::from(u16::from_be_bytes([head[16], head[17]])) {
            1 => 65_536,
            page => page,
        };
        let due = page * u64::from(number(28));
        if number(24) == number(92) && length < due {
            let message = format!(
                "the file has {length} bytes, its header says {due}: it is cut off; copy it again"
            );
            oddities.push(
                Fault::stop(codes::FILE_CUT, Place::whole(), message)
                    .sized((due - length) as f64, "bytes"),
            );
            return;
        }
    }
    let wording = dataset
        .execute_sql("PRAGMA quick_check(1)", None, Dialect::DEFAULT)
        .ok()
        .flatten()
        .and_then(|mut rows| {
            let row = rows.features().next()?;
            row.field_as_string(0).ok().flatten()
        });
    if wording.as_deref() != Some("ok") {
        let why = wording.unwrap_or_else(|| "it cannot even be checked".to_owned());
        oddities.push(Fault::stop(
            codes::FILE_DAMAGED,
            Place::whole(),
            format!(
                "the database is damaged ({}): copy it again",
                why.replace('\n', " ")
            ),
        ));
    }
}

fn attribute(feature: &gdal::vector::Feature<'_>, column: usize) -> Attribute {
    if !is_set(feature, column) {
        return Attribute::Null;
    }
    match feature.field(column) {
        Ok(Some(FieldValue::IntegerValue(value))) => Attribute::Whole(value.into()),
        Ok(Some(FieldValue::Integer64Value(value))) => Attribute::Whole(value),
        Ok(Some(FieldValue::RealValue(value))) => Attribute::Real(value),
        Ok(Some(FieldValue::StringValue(text))) => Attribute::Text(text),
        Ok(Some(_)) => feature
            .field_as_string(column)
            .ok()
            .flatten()
            .map_or(Attribute::Null, Attribute::Text),
        Ok(None) | Err(_) => Attribute::Null,
    }
}

fn add(
    geometry: &Geometry,
    place: &Place,
    parts: &mut Vec<Part>,
    oddities: &mut Vec<Fault>,
    depth: u8,
) {
    let kind = geometry.geometry_name();
    match kind.as_str() {
        "POLYGON" => {
            let mut part = Part::default();
            for k in 0..geometry.geometry_count() {
                let mut raw = Vec::new();
                geometry.get_geometry(k).get_points(&mut raw);
                let points: Vec<Coord<f64>> = raw
                    .iter()
                    .map(|p| Coord { x: p.0, y: p.1 })
                    .filter(|c| c.x.is_finite() && c.y.is_finite())
                    .collect();
                if points.len() < raw.len() {
                    let message = format!(
                        "{} points of ring {} are no finite numbers",
                        raw.len() - points.len(),
                        k + 1
                    );
                    oddities.push(Fault::stop(codes::POINT_NOT_FINITE, place.clone(), message));
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
                parts.push(part);
            }
        }
        "MULTIPOLYGON" | "GEOMETRYCOLLECTION" if depth < 8 => {
            for k in 0..geometry.geometry_count() {
                add(&geometry.get_geometry(k), place, parts, oddities, depth + 1);
            }
        }
        _ => oddities.push(Fault::stop(
            codes::SHAPE_KIND,
            place.clone(),
            format!("the shape is a {kind}, not a polygon"),
        )),
    }
}
