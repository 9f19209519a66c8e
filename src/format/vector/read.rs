//! Opening, choosing the layer, and turning features into polygons and lines.

use std::path::Path;

use gdal::Dataset;
use gdal::vector::{Feature, Layer, LayerAccess, OGRFieldType};
use geo::{CoordsIter as _, Geometry, LineString, MultiPolygon};

use super::error::VectorError;
use super::open::{OpenFault, is_set, open};
use crate::format::complaints;
use crate::format::extent::Extent;
use crate::format::systems::system_of;
use crate::space::crs::Crs;

/// What GDAL says of a ring whose ends lie apart.
const UNCLOSED: &str = "closed ring";

/// One feature: its areal parts and what the file calls it.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape<G> {
    /// Its geometry in the layer's system.
    pub geometry: G,
    /// The column `name`, `NAME` or `Name`, if there is one.
    pub name: Option<String>,
    /// The number in the column that was asked for; `None` where it is null, not finite, or none was asked for.
    pub number: Option<f64>,
}

/// A layer of one kind of shape.
#[derive(Clone, Debug, PartialEq)]
pub struct VectorLayer<G> {
    /// The system of its coordinates.
    pub crs: Crs,
    /// Features in file order.
    pub shapes: Vec<Shape<G>>,
}

/// Reads the polygons of a layer.
///
/// # Errors
/// [`VectorError`]: missing, unreadable, layer to be chosen, filter, no or doubtful reference system, no feature, a feature that is no polygon.
pub fn read_polygons(
    path: &Path,
    layer: Option<&str>,
    filter: Option<&str>,
) -> Result<VectorLayer<MultiPolygon<f64>>, VectorError> {
    read(path, layer, filter, None, "polygon", &areal)
}

/// Reads the polygons of a layer, each with the number in one of its columns.
///
/// # Errors
/// As [`read_polygons`]; a column that is not there or holds no numbers.
pub fn read_polygons_with(
    path: &Path,
    layer: Option<&str>,
    filter: Option<&str>,
    column: &str,
) -> Result<VectorLayer<MultiPolygon<f64>>, VectorError> {
    read(path, layer, filter, Some(column), "polygon", &areal)
}

/// The areal parts of a geometry.
pub(super) fn areal(geometry: Geometry<f64>) -> Option<MultiPolygon<f64>> {
    match geometry {
        Geometry::Polygon(polygon) => Some(MultiPolygon::new(vec![polygon])),
        Geometry::MultiPolygon(many) => Some(many),
        Geometry::GeometryCollection(parts) => {
            let mut polygons = Vec::new();
            for part in parts {
                match part {
                    Geometry::Polygon(polygon) => polygons.push(polygon),
                    Geometry::MultiPolygon(many) => polygons.extend(many),
                    _ => {}
                }
            }
            (!polygons.is_empty()).then(|| MultiPolygon::new(polygons))
        }
        _ => None,
    }
}

/// Reads the lines of a layer; the rings of polygons count as lines.
///
/// # Errors
/// As [`read_polygons`].
pub fn read_lines(
    path: &Path,
    layer: Option<&str>,
    filter: Option<&str>,
) -> Result<VectorLayer<Vec<LineString<f64>>>, VectorError> {
    read(
        path,
        layer,
        filter,
        None,
        "line",
        &|geometry| match geometry {
            Geometry::LineString(line) => Some(vec![line]),
            Geometry::MultiLineString(many) => Some(many.0),
            Geometry::Polygon(polygon) => Some(
                std::iter::once(polygon.exterior().clone())
                    .chain(polygon.interiors().iter().cloned())
                    .collect(),
            ),
            _ => None,
        },
    )
}

/// Opens a file, and says whether a ring of it was dropped because its ends lie apart.
pub(super) fn opened(path: &Path) -> Result<(Dataset, bool), VectorError> {
    if !path.exists() {
        return Err(VectorError::Missing {
            path: path.to_owned(),
        });
    }
    let damaged = |reason: String| VectorError::Damaged {
        path: path.to_owned(),
        read: 0,
        reason,
    };
    let (dataset, wording) = open(path).map_err(|fault| match fault {
        OpenFault::Unreadable(reason) => VectorError::Unreadable {
            path: path.to_owned(),
            reason,
        },
        OpenFault::System(stated) => VectorError::SystemUnknown {
            path: path.to_owned(),
            stated,
        },
        OpenFault::Damaged(reason) => damaged(reason),
    })?;
    // Some drivers read everything on opening, and drop such a ring, a pond's for instance, with a word to nobody else.
    let unclosed = wording.iter().any(|wording| wording.contains(UNCLOSED));
    if let Some(reason) = wording
        .into_iter()
        .find(|wording| !wording.contains(UNCLOSED))
    {
        return Err(damaged(reason));
    }
    Ok((dataset, unclosed))
}

/// The layer that is meant, with its filter set, and its reference system.
pub(super) fn chosen<'d>(
    path: &Path,
    dataset: &'d Dataset,
    layer_name: Option<&str>,
    filter: Option<&str>,
) -> Result<(Layer<'d>, Crs), VectorError> {
    let names: Vec<String> = dataset.layers().map(|layer| layer.name()).collect();
    let problem = |problem: String| VectorError::Layer {
        path: path.to_owned(),
        problem,
        layers: names.clone(),
    };
    let index = match layer_name {
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
    let mut layer = dataset
        .layer(index)
        .map_err(|error| VectorError::Unreadable {
            path: path.to_owned(),
            reason: error.to_string(),
        })?;
    if let Some(text) = filter {
        let columns = layer.defn().fields().map(|field| field.name()).collect();
        layer
            .set_attribute_filter(text)
            .map_err(|error| VectorError::Filter {
                path: path.to_owned(),
                filter: text.to_owned(),
                reason: error.to_string(),
                columns,
            })?;
    }
    let crs = layer
        .spatial_ref()
        .and_then(|system| system_of(&system))
        .ok_or_else(|| VectorError::NoSystem {
            path: path.to_owned(),
        })?;
    Ok((layer, crs))
}

/// What is taken of each feature.
pub(super) struct Take<'a, G> {
    /// The file.
    pub(super) path: &'a Path,
    /// Its system.
    pub(super) crs: &'a Crs,
    /// Where places of that system can lie.
    pub(super) extent: Extent,
    /// The column of names.
    pub(super) name: Option<usize>,
    /// The column of numbers.
    pub(super) number: Option<usize>,
    /// What kind of shape is wanted.
    pub(super) requirement: &'static str,
    /// Takes it out of a geometry.
    pub(super) part: &'a dyn Fn(Geometry<f64>) -> Option<G>,
}

impl<G> Take<'_, G> {
    /// The shape of a feature; `number` is its place, from 1.
    pub(super) fn shape(
        &self,
        feature: &Feature<'_>,
        number: usize,
    ) -> Result<Shape<G>, VectorError> {
        let path = self.path;
        // Never passed over: it may be the water that must get nothing.
        let Some(geometry) = feature.geometry().filter(|geometry| !geometry.is_empty()) else {
            // Where the file is cut off, that is the reason.
            if let Err(error @ VectorError::Damaged { .. }) = undamaged(path, number) {
                return Err(error);
            }
            return Err(VectorError::NoGeometry {
                path: path.to_owned(),
                feature: number,
                requirement: self.requirement,
            });
        };
        let kind = geometry.geometry_name();
        let wrong = || VectorError::Kind {
            path: path.to_owned(),
            feature: number,
            kind: kind.clone(),
            requirement: self.requirement,
        };
        let mut flat = geometry.clone();
        flat.flatten_to_2d();
        let plain = without_empty_parts(&flat).ok_or_else(wrong)?;
        // An envelope passes over what is no number.
        if plain
            .coords_iter()
            .any(|place| !place.x.is_finite() || !place.y.is_finite())
        {
            return Err(VectorError::NotFinite {
                path: path.to_owned(),
                feature: number,
            });
        }
        check_places(path, number, &plain, &self.extent)?;
        let geometry = (self.part)(plain).ok_or_else(wrong)?;
        let name = self
            .name
            .and_then(|column| feature.field_as_string(column).ok().flatten());
        check_numbers(path, number, &flat, self.crs)?;
        let number = self
            .number
            .filter(|column| is_set(feature, *column))
            .and_then(|column| feature.field_as_double(column).ok().flatten())
            .filter(|number| number.is_finite());
        Ok(Shape {
            geometry,
            name,
            number,
        })
    }
}

/// The column that holds a feature's name.
pub(super) fn name_column(layer: &Layer<'_>) -> Option<usize> {
    ["name", "NAME", "Name"]
        .iter()
        .find_map(|column| layer.defn().field_index(column).ok())
}

fn read<G>(
    path: &Path,
    layer_name: Option<&str>,
    filter: Option<&str>,
    column: Option<&str>,
    requirement: &'static str,
    take: &dyn Fn(Geometry<f64>) -> Option<G>,
) -> Result<VectorLayer<G>, VectorError> {
    let (dataset, unclosed) = opened(path)?;
    let (mut layer, crs) = chosen(path, &dataset, layer_name, filter)?;
    let number = column
        .map(|column| number_column(&layer, column).ok_or_else(|| no_column(path, &layer, column)))
        .transpose()?;
    let taken = Take {
        path,
        crs: &crs,
        extent: Extent::of(&crs),
        name: name_column(&layer),
        number,
        requirement,
        part: take,
    };
    let mut shapes = Vec::new();
    complaints::take();
    for (number, feature) in (1..).zip(layer.features()) {
        shapes.push(taken.shape(&feature, number)?);
    }
    let read = shapes.len();
    if unclosed {
        return Err(VectorError::Unclosed {
            path: path.to_owned(),
        });
    }
    undamaged(path, read)?;
    // This format states the number at its beginning; others count by looking, or keep deleted records in the number.
    let notice = if dataset.driver().short_name() == "FlatGeobuf" {
        layer.feature_count() as usize
    } else {
        0
    };
    if read < notice {
        return Err(VectorError::Damaged {
            path: path.to_owned(),
            read,
            reason: format!("it says that it holds {notice}"),
        });
    }
    if shapes.is_empty() {
        return Err(VectorError::Empty {
            path: path.to_owned(),
            layer: layer.name(),
            filter: filter.map(str::to_owned),
            requirement,
        });
    }
    Ok(VectorLayer { crs, shapes })
}

/// Refuses a layer that ended early, or lost a ring on the way: what it lacks may be the pond that must get nothing.
pub(super) fn undamaged(path: &Path, read: usize) -> Result<(), VectorError> {
    let wording = complaints::take();
    if wording.iter().any(|wording| wording.contains(UNCLOSED)) {
        return Err(VectorError::Unclosed {
            path: path.to_owned(),
        });
    }
    // A feature without a geometry is told as such.
    match wording
        .into_iter()
        .find(|wording| !wording.contains("'OGR_G_IsEmpty'"))
    {
        Some(reason) => Err(VectorError::Damaged {
            path: path.to_owned(),
            read,
            reason,
        }),
        None => Ok(()),
    }
}

/// Place of a column that holds numbers.
fn number_column(layer: &Layer<'_>, column: &str) -> Option<usize> {
    let field = layer.defn().fields().find(|field| field.name() == column)?;
    let kinds = [
        OGRFieldType::OFTInteger,
        OGRFieldType::OFTInteger64,
        OGRFieldType::OFTReal,
    ];
    if kinds.contains(&field.field_type()) {
        layer.defn().field_index(column).ok()
    } else {
        None
    }
}

fn no_column(path: &Path, layer: &Layer<'_>, column: &str) -> VectorError {
    let kind = |kind| match kind {
        OGRFieldType::OFTInteger | OGRFieldType::OFTInteger64 | OGRFieldType::OFTReal => "numbers",
        OGRFieldType::OFTString => "text",
        _ => "something else",
    };
    let columns = layer
        .defn()
        .fields()
        .map(|field| format!("{} ({})", field.name(), kind(field.field_type())))
        .collect();
    VectorError::Column {
        path: path.to_owned(),
        column: column.to_owned(),
        columns,
    }
}

/// A geometry whose parts that hold nothing are left out: a collection may have such, and is what the others make it.
fn without_empty_parts(geometry: &gdal::vector::Geometry) -> Option<Geometry<f64>> {
    let count = geometry.geometry_count();
    let name = geometry.geometry_name();
    let many = name.starts_with("MULTI") || name == "GEOMETRYCOLLECTION";
    let empty = (0..count).any(|k| geometry.get_geometry(k).is_empty());
    if !many || !empty {
        return geometry.to_geo().ok();
    }
    let parts = (0..count)
        .filter(|k| !geometry.get_geometry(*k).is_empty())
        .map(|k| without_empty_parts(&geometry.get_geometry(k)))
        .collect::<Option<Vec<_>>>()?;
    let polygons = parts
        .iter()
        .map(|part| match part {
            Geometry::Polygon(polygon) => Some(polygon.clone()),
            _ => None,
        })
        .collect::<Option<Vec<_>>>();
    let lines = parts
        .iter()
        .map(|part| match part {
            Geometry::LineString(line) => Some(line.clone()),
            _ => None,
        })
        .collect::<Option<Vec<_>>>();
    Some(match (polygons, lines) {
        (Some(polygons), _) => Geometry::MultiPolygon(MultiPolygon::new(polygons)),
        (None, Some(lines)) => Geometry::MultiLineString(geo::MultiLineString::new(lines)),
        (None, None) => Geometry::GeometryCollection(geo::GeometryCollection::from(parts)),
    })
}

/// Refuses a vertex where no place can be. A feature of which no vertex could be a longitude and latitude is in another system, and is told as such.
fn check_places(
    path: &Path,
    feature: usize,
    geometry: &Geometry<f64>,
    extent: &Extent,
) -> Result<(), VectorError> {
    let found = geometry
        .coords_iter()
        .enumerate()
        .find_map(|(k, c)| Some((k, c, extent.problem(c.x, c.y)?)));
    let Some((k, c, problem)) = found else {
        return Ok(());
    };
    let another = geometry
        .coords_iter()
        .all(|c| !Extent::like_degrees(c.x, c.y) && c.x.abs().max(c.y.abs()) < 2e7);
    if extent.is_geographic() && another {
        return Ok(());
    }
    Err(VectorError::Place {
        path: path.to_owned(),
        feature,
        vertex: k + 1,
        x: c.x,
        y: c.y,
        problem,
    })
}

/// Refuses coordinates that are no numbers, and those that cannot belong to the stated system.
fn check_numbers(
    path: &Path,
    feature: usize,
    geometry: &gdal::vector::Geometry,
    crs: &Crs,
) -> Result<(), VectorError> {
    let envelope = geometry.envelope();
    let all = [envelope.MinX, envelope.MaxX, envelope.MinY, envelope.MaxY];
    if all.iter().any(|value| !value.is_finite()) {
        return Err(VectorError::NotFinite {
            path: path.to_owned(),
            feature,
        });
    }
    let like_degrees = envelope.MinX >= -180.0
        && envelope.MaxX <= 180.0
        && envelope.MinY >= -90.0
        && envelope.MaxY <= 90.0;
    let doubtful = |problem: &'static str| VectorError::SystemDoubtful {
        path: path.to_owned(),
        crs: crs.to_string(),
        x: envelope.MinX,
        y: envelope.MinY,
        problem,
    };
    if crs.is_geographic() && !like_degrees {
        return Err(doubtful(
            "are no longitudes and latitudes: state the system that they are in",
        ));
    }
    if !crs.is_geographic() && like_degrees {
        return Err(doubtful(
            "look like degrees: state EPSG:4326, or write projected coordinates",
        ));
    }
    Ok(())
}

/// Writes a geometry as WKT, for messages.
#[cfg(test)]
fn wkt(geometry: &MultiPolygon<f64>) -> String {
    use gdal::vector::ToGdal as _;
    geometry.to_gdal().and_then(|g| g.wkt()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(name: &str, text: &str) -> (tempfile::TempDir, std::path::PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(name);
        fs_err::write(&path, text).unwrap();
        (folder, path)
    }

    const SQUARE: &str = r#"{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"name":"North","id":7},"geometry":{"type":"Polygon","coordinates":[[[15,48],[15.01,48],[15.01,48.01],[15,48.01],[15,48]]]}}]}"#;

    #[test]
    fn a_polygon_with_name_and_system() {
        let (_keep, path) = file("a.geojson", SQUARE);
        let layer = read_polygons(&path, None, None).unwrap();
        assert_eq!(layer.crs.code(), Some(4326));
        assert_eq!(layer.shapes[0].name.as_deref(), Some("North"));
        assert!(wkt(&layer.shapes[0].geometry).starts_with("MULTIPOLYGON (((15 48"));
        assert!(read_polygons(&path, None, Some("id = 7")).is_ok());
        assert!(matches!(
            read_polygons(&path, None, Some("id = 8")),
            Err(VectorError::Empty { .. })
        ));
        assert!(matches!(
            read_polygons(&path, None, Some("nope = 8")),
            Err(VectorError::Filter { .. })
        ));
        assert!(matches!(
            read_polygons(&path, Some("other"), None),
            Err(VectorError::Layer { .. })
        ));
    }

    #[test]
    fn a_feature_without_geometry_is_never_passed_over() {
        let with = |geometry: &str| {
            SQUARE.replace(
                "]}}]}",
                &format!(
                    "]}}}},{{\"type\":\"Feature\",\"properties\":{{}},\"geometry\":{geometry}}}]}}"
                ),
            )
        };
        for geometry in ["null", r#"{"type":"Polygon","coordinates":[]}"#] {
            let (_keep, path) = file("n.geojson", &with(geometry));
            assert!(
                matches!(
                    read_polygons(&path, None, None),
                    Err(VectorError::NoGeometry { feature: 2, .. })
                ),
                "{geometry}"
            );
            // It can be left out by name.
            assert!(
                read_polygons(&path, None, Some("id = 7")).is_ok(),
                "{geometry}"
            );
        }
    }

    #[test]
    fn what_is_refused() {
        let (_keep, missing) = file("b.geojson", SQUARE);
        assert!(matches!(
            read_polygons(&missing.with_file_name("c.geojson"), None, None),
            Err(VectorError::Missing { .. })
        ));
        let (_keep, path) = file("a.geojson", "no json");
        assert!(matches!(
            read_polygons(&path, None, None),
            Err(VectorError::Unreadable { .. })
        ));
        let (_keep, path) = file("p.geojson", r#"{"type":"Point","coordinates":[15,48]}"#);
        assert!(matches!(
            read_polygons(&path, None, None),
            Err(VectorError::Kind { .. })
        ));
        // A hole whose ends lie apart would be lost without a word, and the pond get nitrogen.
        let open = ",[[15.002,48.002],[15.004,48.002],[15.004,48.004]]]";
        let (_keep, path) = file(
            "o.geojson",
            &SQUARE.replace("[15,48]]]", &format!("[15,48]]{open}")),
        );
        assert!(matches!(
            read_polygons(&path, None, None),
            Err(VectorError::Unclosed { .. })
        ));
        let null = r#","features":[{"type":"Feature","properties":{},"geometry":null},"#;
        let (_keep, path) = file("e.geojson", &SQUARE.replace(r#","features":["#, null));
        assert!(matches!(
            read_polygons(&path, None, None),
            Err(VectorError::NoGeometry { feature: 1, .. })
        ));
        let (_keep, path) = file("n.geojson", &SQUARE.replace("[15.01,48.01]", "[15.01,NaN]"));
        assert!(matches!(
            read_polygons(&path, None, None),
            Err(VectorError::Unreadable { .. })
        ));
        let (_keep, path) = file("u.geojson", &SQUARE.replace("[15", "[500015"));
        assert!(matches!(
            read_polygons(&path, None, None),
            Err(VectorError::SystemDoubtful { .. })
        ));
        let utm = SQUARE.replacen(r#""features""#, r#""crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::32633"}},"features""#, 1);
        let (_keep, path) = file("d.geojson", &utm);
        assert!(matches!(
            read_polygons(&path, None, None),
            Err(VectorError::SystemDoubtful { .. })
        ));
    }
}
