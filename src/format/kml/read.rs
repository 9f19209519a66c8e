//! KML and KMZ: polygons of placemarks, with the values beside them.
//!
//! # Source
//! OGC 07-147 (KML 2.2), from memory: longitude, latitude and height of WGS 84; `ExtendedData` with `Data` or `SchemaData`.

use std::path::Path;

use geo::Coord;
use roxmltree::Node;

use crate::finding::codes;
use crate::format::maps::table::settle;
use crate::format::maps::unpack::{unzipped, xml_text, xml_tree};
use crate::format::maps::{MapError, ReadOptions, bytes_of, stem};
use crate::map::faults::fault::Fault;
use crate::map::imported::{
    Attribute, ImportedMap, MapKind, Part, Patch, Place, Rate, Ring, RingRole, System,
};
use crate::space::crs::Crs;

pub(super) fn read(path: &Path, options: &ReadOptions) -> Result<ImportedMap, MapError> {
    let mut bytes = bytes_of(path)?;
    if bytes.starts_with(b"PK") {
        let files = unzipped(path, &bytes, |_| true)?;
        let main = files
            .into_iter()
            .find(|(name, _)| name.to_ascii_lowercase().ends_with(".kml"));
        bytes = main
            .ok_or_else(|| MapError::Unreadable {
                path: path.to_owned(),
                reason: "the archive holds no .kml".to_owned(),
            })?
            .1;
    }
    let (text, _) = xml_text(path, &bytes)?;
    let tree = xml_tree(path, text)?;
    let mut map = ImportedMap::empty(stem(path), MapKind::Kml);
    map.system = System::Known(Crs::wgs84());
    if tree.descendants().any(|node| named(node, "NetworkLink")) {
        map.oddities.push(Fault::caution(
            codes::FILE_LINK,
            Place::whole(),
            "it links to other files, which are not looked at",
        ));
    }
    for (number, placemark) in
        (1..).zip(tree.descendants().filter(|node| named(*node, "Placemark")))
    {
        let patch = placemark_of(placemark, number, &mut map);
        map.patches.push(patch);
    }
    settle(&mut map, options);
    Ok(map)
}

fn named(node: Node<'_, '_>, name: &str) -> bool {
    node.is_element() && node.tag_name().name() == name
}

fn placemark_of(placemark: Node<'_, '_>, number: u64, map: &mut ImportedMap) -> Patch {
    let mut place = Place::at("placemark", number);
    let mut attributes = Vec::new();
    if let Some(name) = placemark
        .children()
        .find(|node| named(*node, "name"))
        .and_then(|node| node.text())
    {
        place = place.with_name(name.trim());
    }
    for node in placemark.descendants() {
        let value = if named(node, "Data") {
            node.children()
                .find(|child| named(*child, "value"))
                .and_then(|child| child.text())
        } else if named(node, "SimpleData") {
            node.text()
        } else {
            continue;
        };
        let Some(name) = node.attribute("name") else {
            continue;
        };
        if !map.columns.iter().any(|column| column == name) {
            map.columns.push(name.to_owned());
        }
        attributes.push((name.to_owned(), attribute(value)));
    }
    let mut parts = Vec::new();
    for polygon in placemark
        .descendants()
        .filter(|node| named(*node, "Polygon"))
    {
        let mut part = Part::default();
        for border in polygon.children() {
            let role = match border.tag_name().name() {
                "outerBoundaryIs" => RingRole::Outer,
                "innerBoundaryIs" => RingRole::Inner,
                _ => continue,
            };
            for text in border
                .descendants()
                .filter(|node| named(*node, "coordinates"))
                .filter_map(|node| node.text())
            {
                let all: Vec<&str> = text.split_whitespace().collect();
                let points: Vec<Coord<f64>> = all.iter().filter_map(|tuple| point(tuple)).collect();
                if points.len() < all.len() {
                    let message = format!(
                        "{} positions are no longitude,latitude",
                        all.len() - points.len()
                    );
                    map.oddities
                        .push(Fault::stop(codes::POINT_NOT_FINITE, place.clone(), message));
                }
                part.rings.push(Ring { role, points });
            }
        }
        part.rings.sort_by_key(|ring| ring.role == RingRole::Inner);
        if !part.rings.is_empty() {
            parts.push(part);
        }
    }
    if parts.is_empty()
        && let Some(other) = placemark
            .descendants()
            .find(|node| ["LineString", "Point", "LinearRing"].contains(&node.tag_name().name()))
    {
        let message = format!("the shape is a {}, not a polygon", other.tag_name().name());
        map.oddities
            .push(Fault::stop(codes::SHAPE_KIND, place.clone(), message));
    }
    Patch {
        place,
        parts,
        rate: Rate::Missing,
        attributes,
    }
}

fn point(tuple: &str) -> Option<Coord<f64>> {
    let mut numbers = tuple.split(',').map(str::parse::<f64>);
    let (x, y) = (numbers.next()?.ok()?, numbers.next()?.ok()?);
    (x.is_finite() && y.is_finite()).then_some(Coord { x, y })
}

/// KML knows only text; a number is what reads as one.
fn attribute(text: Option<&str>) -> Attribute {
    let text = text.unwrap_or_default().trim();
    if text.is_empty() {
        Attribute::Null
    } else if let Ok(whole) = text.parse::<i64>() {
        Attribute::Whole(whole)
    } else if let Ok(real) = text.parse::<f64>() {
        Attribute::Real(real)
    } else {
        Attribute::Text(text.to_owned())
    }
}
