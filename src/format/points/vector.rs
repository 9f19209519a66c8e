//! Readings as a layer of points: shapefile, `GeoPackage`, `GeoJSON`.

use std::path::Path;

use gdal::vector::LayerAccess;
use geo::Geometry;

use super::error::PointFileError;
use super::{Columns, Gathered, PointTable, Raw, Requirement};
use crate::format::complaints;
use crate::format::systems::system_of;
use crate::format::vector::{OpenFault, is_set, open};

/// Refuses a file of which not all was read: what GDAL complains of is said nowhere else.
fn lossless(path: &Path, wording: Vec<String>) -> Result<(), PointFileError> {
    // A row without a geometry is told as such.
    wording
        .into_iter()
        .find(|wording| !wording.contains("'OGR_G_IsEmpty'"))
        .map_or(Ok(()), |reason| {
            Err(PointFileError::Unreadable {
                path: path.to_owned(),
                reason: format!("not all of it can be read: {reason}"),
            })
        })
}

/// Reads a layer of points.
pub(super) fn read(
    path: &Path,
    requirement: &Requirement<'_>,
) -> Result<PointTable, PointFileError> {
    let unreadable = |error: &gdal::errors::GdalError| PointFileError::Unreadable {
        path: path.to_owned(),
        reason: error.to_string(),
    };
    let (dataset, wording) = open(path).map_err(|fault| PointFileError::Unreadable {
        path: path.to_owned(),
        reason: match fault {
            OpenFault::Unreadable(reason) | OpenFault::Damaged(reason) => reason,
            OpenFault::System(stated) => {
                format!("it says that it is in {stated:?}, and no such reference system is known")
            }
        },
    })?;
    lossless(path, wording)?;
    let names: Vec<String> = dataset.layers().map(|layer| layer.name()).collect();
    let problem = |problem: String| PointFileError::Layer {
        path: path.to_owned(),
        problem,
        layers: names.clone(),
    };
    let index = match requirement.layer {
        Some(name) => names
            .iter()
            .position(|n| n == name)
            .ok_or_else(|| problem(format!("there is no layer {name:?}")))?,
        None if names.len() > 1 => {
            return Err(problem(
                "it has several layers: name one with layer = \"...\"".to_owned(),
            ));
        }
        None if names.is_empty() => return Err(problem("it has no layer".to_owned())),
        None => 0,
    };
    let mut layer = dataset.layer(index).map_err(|error| unreadable(&error))?;
    if let Some(filter) = requirement.filter {
        let refused = |error: gdal::errors::GdalError| PointFileError::Filter {
            path: path.to_owned(),
            filter: filter.to_owned(),
            reason: error.to_string(),
        };
        layer.set_attribute_filter(filter).map_err(refused)?;
    }
    let own = layer.spatial_ref().and_then(|system| system_of(&system));
    let crs = match (requirement.crs, own) {
        (Some(crs), _) => crs.clone(),
        (None, Some(crs)) => crs,
        (None, None) => {
            return Err(PointFileError::NoSystem {
                path: path.to_owned(),
                what: "its points are in".to_owned(),
            });
        }
    };
    let fields: Vec<String> = layer.defn().fields().map(|field| field.name()).collect();
    let columns = Columns::find(fields, path, requirement, true)?;
    let mut gathered = Gathered::new(path, columns, crs);
    for (k, feature) in layer.features().enumerate() {
        let at = match feature.geometry().filter(|geometry| !geometry.is_empty()) {
            None => None,
            Some(geometry) => {
                let kind = || PointFileError::Kind {
                    path: path.to_owned(),
                    feature: k + 1,
                    kind: geometry.geometry_name(),
                };
                let mut flat = geometry.clone();
                flat.flatten_to_2d();
                match flat.to_geo().map_err(|_| kind())? {
                    Geometry::Point(point) => Some((point.x(), point.y())),
                    Geometry::MultiPoint(points) if points.0.len() == 1 => {
                        points.0.first().map(|point| (point.x(), point.y()))
                    }
                    _ => return Err(kind()),
                }
            }
        };
        if let Some((x, y)) = at.filter(|(x, y)| !x.is_finite() || !y.is_finite()) {
            return Err(PointFileError::Place {
                path: path.to_owned(),
                place: format!("feature {}", k + 1),
                x,
                y,
                problem: "are no finite numbers",
            });
        }
        // A null is a missing value; numbers are written so that they read back the same.
        let cell = |at: usize| match feature.field(at) {
            _ if !is_set(&feature, at) => String::new(),
            Ok(Some(gdal::vector::FieldValue::RealValue(value))) => value.to_string(),
            Ok(Some(_)) => feature
                .field_as_string(at)
                .ok()
                .flatten()
                .unwrap_or_default(),
            _ => String::new(),
        };
        // A feature without a geometry has no place.
        gathered.take(&Raw {
            place: format!("feature {}", k + 1),
            at: Some(at.unwrap_or((0.0, 0.0))),
            cells: &cell,
        })?;
    }
    lossless(path, complaints::take())?;
    gathered.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAIN: Requirement<'static> = Requirement {
        layer: None,
        filter: None,
        column: None,
        index: "NDVI",
        place: None,
        crs: None,
        time: None,
        pass: None,
        speed: None,
        speed_unit: None,
        scaled: false,
    };

    fn read_text(text: &str, requirement: &Requirement<'_>) -> Result<PointTable, PointFileError> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("log.geojson");
        fs_err::write(&path, text).unwrap();
        read(&path, requirement)
    }

    #[test]
    fn points_with_nulls_and_text() {
        let feature = |x: f64, value: &str| {
            format!(
                r#"{{"type":"Feature","properties":{{"ndvi":{value},"pass":"A"}},"geometry":{{"type":"Point","coordinates":[{x},50.0]}}}}"#
            )
        };
        let text = format!(
            r#"{{"type":"FeatureCollection","features":[{},{},{}]}}"#,
            feature(15.0, "0.6125"),
            feature(15.1, "null"),
            feature(15.2, "-9999")
        );
        let table = read_text(
            &text,
            &Requirement {
                pass: Some("pass"),
                ..PLAIN
            },
        )
        .unwrap();
        assert_eq!(
            table.rows.iter().map(|row| row.value).collect::<Vec<_>>(),
            [Some(0.6125), None, None]
        );
        assert_eq!(table.crs.code(), Some(4326));
        let filtered = read_text(
            &text,
            &Requirement {
                filter: Some("ndvi > 0.5"),
                ..PLAIN
            },
        )
        .unwrap();
        assert_eq!(filtered.rows.len(), 1);
        assert!(matches!(
            read_text(
                &text,
                &Requirement {
                    column: Some("ndre"),
                    ..PLAIN
                }
            ),
            Err(PointFileError::NoColumn { .. })
        ));
        assert!(matches!(
            read_text(
                &text,
                &Requirement {
                    layer: Some("other"),
                    ..PLAIN
                }
            ),
            Err(PointFileError::Layer { .. })
        ));
        let lines = r#"{"type":"Feature","properties":{"ndvi":0.5},"geometry":{"type":"LineString","coordinates":[[15,50],[15.1,50]]}}"#;
        assert!(matches!(
            read_text(lines, &PLAIN),
            Err(PointFileError::Kind { .. })
        ));
    }
}
