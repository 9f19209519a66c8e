//! Strips of first jobs: drawn lines become polygons, and each field takes the strips that lie in it.

use std::path::Path;

use crate::app::error::AppError;
use crate::app::new_fields::fields_of;
use crate::app::open;
use crate::finding::{Finding, codes};
use crate::format::vector::read_lines;
use crate::job::amount;
use crate::space::crs::{Crs, CrsError, Projector};
use crate::space::polygon::{joined, lines_widened};
use geo::{
    Area as _, BooleanOps as _, BoundingRect as _, CoordsIter as _, Intersects as _, LineString,
    MultiLineString, MultiPolygon,
};
use serde_json::{Value, json};

/// A strip belongs to the fields that hold this much of it. \[share\] What a run asks of a strip.
const SHARE: f64 = 0.5;

/// A strip of a file.
#[derive(Clone, Debug)]
pub(crate) struct Strip {
    /// The filter that picks it alone; `None` of a drawn line.
    filter: Option<String>,
    /// What the file calls it.
    name: Option<String>,
    /// Its ground in WGS 84.
    ground: MultiPolygon<f64>,
}

/// What a job says of its strips.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Source {
    /// The file as it is.
    Whole,
    /// Some features of it.
    Some(String),
    /// Text of a `GeoJSON` file to be written beside the job: lines made polygons.
    Drawn(String),
}

/// Reads the strips of a file, polygons or, with a width, lines.
///
/// # Errors
/// When the file cannot be read, or the width is none of a strip.
pub(crate) fn read(path: &Path, width: Option<&str>) -> Result<Vec<Strip>, AppError> {
    match width {
        Some(width) => drawn(path, width),
        None => fields_of(path, None)?
            .into_iter()
            .map(|feature| {
                Ok(Strip {
                    ground: ground(path, Some(&feature.filter))?,
                    filter: Some(feature.filter),
                    name: Some(feature.name),
                })
            })
            .collect(),
    }
}

fn failed(path: &Path, error: &CrsError) -> AppError {
    AppError::refused("plane.transformation", "a shape cannot be reprojected")
        .with_fact(path.display().to_string(), error.to_string())
        .with_hint("check its reference system")
}

/// Polygons of a file as one, in WGS 84.
pub(crate) fn ground(path: &Path, filter: Option<&str>) -> Result<MultiPolygon<f64>, AppError> {
    let layer = open::areas(path, None, filter)?;
    let shapes: Vec<MultiPolygon<f64>> = layer
        .shapes
        .into_iter()
        .map(|shape| shape.geometry)
        .collect();
    Projector::new(&layer.crs, &Crs::wgs84())
        .and_then(|way| way.geometry(&joined(&shapes)))
        .map_err(|error| failed(path, &error))
}

/// Lines as polygons of a width with square ends.
fn drawn(path: &Path, width: &str) -> Result<Vec<Strip>, AppError> {
    let width = amount::length(width)
        .map_err(|problem| {
            AppError::refused(problem.code(), format!("--strip-width: {problem}"))
                .with_hint(problem.hint("--strip-width"))
        })?
        .get();
    if !(1.0..=200.0).contains(&width) {
        return Err(AppError::refused(
            "reference.strip_width",
            format!("--strip-width: {width} m is no width of a strip"),
        )
        .with_hint("give what the spreader's pass covers, 1 m to 200 m"));
    }
    let layer = read_lines(path, None, None)?;
    let failed = |error: CrsError| failed(path, &error);
    let to_lonlat = Projector::new(&layer.crs, &Crs::wgs84()).map_err(failed)?;
    let mut strips = Vec::new();
    for shape in &layer.shapes {
        let lines = MultiLineString::new(shape.geometry.clone());
        let lines = to_lonlat.geometry(&lines).map_err(failed)?;
        let Some(start) = lines.coords_iter().next() else {
            continue;
        };
        let plane = Crs::utm(start.x, start.y);
        let there = Projector::new(&Crs::wgs84(), &plane).map_err(failed)?;
        let back = Projector::new(&plane, &Crs::wgs84()).map_err(failed)?;
        let strip = lines_widened(&there.geometry(&lines).map_err(failed)?, width / 2.0);
        strips.push(Strip {
            filter: None,
            name: shape.name.clone(),
            ground: back.geometry(&strip).map_err(failed)?,
        });
    }
    Ok(strips)
}

/// Which strips belong to which fields.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Shared {
    /// Numbers of the strips of each field.
    pub(crate) of_fields: Vec<Vec<usize>>,
    /// Strips of which no field holds half: the field that holds most, if one holds any, and its share.
    pub(crate) left: Vec<(usize, Option<(usize, f64)>)>,
}

/// Shares strips among fields in WGS 84, whose names stand in `path`: each belongs to the fields that hold half of it.
///
/// # Errors
/// When a shape cannot be brought onto a plane.
pub(crate) fn by_field(
    strips: &[Strip],
    fields: &[MultiPolygon<f64>],
    path: &Path,
) -> Result<Shared, AppError> {
    let mut shares: Vec<Vec<(usize, f64)>> = vec![Vec::new(); strips.len()];
    for (at, field) in fields.iter().enumerate() {
        let Some(frame) = field.bounding_rect() else {
            continue;
        };
        let plane = Crs::utm(frame.center().x, frame.center().y);
        let way = Projector::new(&Crs::wgs84(), &plane).map_err(|error| failed(path, &error))?;
        let field = way.geometry(field).map_err(|error| failed(path, &error))?;
        for (strip, known) in strips.iter().zip(&mut shares) {
            let meets = strip
                .ground
                .bounding_rect()
                .is_some_and(|other| other.intersects(&frame));
            if !meets {
                continue;
            }
            let ground = way
                .geometry(&strip.ground)
                .map_err(|error| failed(path, &error))?;
            let share = field.intersection(&ground).unsigned_area() / ground.unsigned_area();
            if share > 0.0 {
                known.push((at, share));
            }
        }
    }
    let mut shared = Shared {
        of_fields: vec![Vec::new(); fields.len()],
        left: Vec::new(),
    };
    for (strip, known) in shares.iter().enumerate() {
        let mut taken = false;
        for (at, _) in known.iter().filter(|(_, share)| *share >= SHARE) {
            if let Some(list) = shared.of_fields.get_mut(*at) {
                list.push(strip);
                taken = true;
            }
        }
        if !taken {
            let most = known.iter().max_by(|a, b| a.1.total_cmp(&b.1)).copied();
            shared.left.push((strip, most));
        }
    }
    Ok(shared)
}

/// What a job says of the strips that are its own; `None` when there is none.
pub(crate) fn source(strips: &[Strip], own: &[usize]) -> Option<Source> {
    let chosen: Vec<&Strip> = own.iter().filter_map(|at| strips.get(*at)).collect();
    let first = chosen.first()?;
    if first.filter.is_none() {
        return Some(Source::Drawn(text(&chosen)));
    }
    if chosen.len() == strips.len() {
        return Some(Source::Whole);
    }
    let filters: Vec<&str> = chosen
        .iter()
        .filter_map(|strip| strip.filter.as_deref())
        .collect();
    Some(Source::Some(filters.join(" OR ")))
}

/// Strips as the text of a `GeoJSON` file.
fn text(strips: &[&Strip]) -> String {
    let ring = |ring: &LineString<f64>| -> Vec<[f64; 2]> {
        ring.coords().map(|at| [at.x, at.y]).collect()
    };
    let feature = |(k, strip): (usize, &&Strip)| -> Value {
        let polygons: Vec<Vec<_>> = strip
            .ground
            .iter()
            .map(|polygon| {
                std::iter::once(polygon.exterior())
                    .chain(polygon.interiors())
                    .map(ring)
                    .collect()
            })
            .collect();
        json!({
            "type": "Feature",
            "properties": { "strip": k + 1, "name": strip.name },
            "geometry": { "type": "MultiPolygon", "coordinates": polygons },
        })
    };
    let features: Vec<Value> = strips.iter().enumerate().map(feature).collect();
    let text = json!({ "type": "FeatureCollection", "features": features });
    format!("{text:#}\n")
}

/// What is worth a word: strips that belong to no field, fields without a strip.
pub(crate) fn noticed(strips: &[Strip], shared: &Shared, names: &[&str]) -> Vec<Finding> {
    let mut findings = Vec::new();
    // Of one field of a farm the strips of the others lie elsewhere.
    let left = shared
        .left
        .iter()
        .filter(|(_, most)| names.len() > 1 || most.is_some());
    for (at, most) in left {
        let name = strips
            .get(*at)
            .and_then(|strip| strip.name.clone())
            .unwrap_or_else(|| (at + 1).to_string());
        let place = match most.and_then(|(field, share)| Some((names.get(field)?, share))) {
            Some((field, share)) => {
                format!(
                    "lies with only {:.0} % of its area in {field}",
                    100.0 * share
                )
            }
            None => "lies in no field".to_owned(),
        };
        findings.push(Finding::caution(
            codes::REFERENCE_OF_FIELD,
            format!("strip {name} {place}, and half is needed: no job takes it; check its place and reference system"),
        ));
    }
    let without = names
        .iter()
        .zip(&shared.of_fields)
        .filter(|(_, own)| own.is_empty());
    for (name, _) in without {
        findings.push(Finding::caution(
            codes::REFERENCE_OF_FIELD,
            format!("no strip of the file lies in {name}: fill in reference.strips, or hand readings, in its job"),
        ));
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Coord, Rect};

    /// A rectangle of metres near 50 degrees north, in WGS 84.
    fn block(west: f64, south: f64, east: f64, north: f64) -> MultiPolygon<f64> {
        let plane = Crs::utm(15.5, 50.0);
        let back = Projector::new(&plane, &Crs::wgs84()).unwrap();
        let at = |x: f64, y: f64| Coord {
            x: 535_000.0 + x,
            y: 5_538_000.0 + y,
        };
        let block = Rect::new(at(west, south), at(east, north)).to_polygon();
        back.geometry(&MultiPolygon::new(vec![block])).unwrap()
    }

    fn strip(name: &str, ground: MultiPolygon<f64>) -> Strip {
        Strip {
            filter: Some(format!("name = '{name}'")),
            name: Some(name.to_owned()),
            ground,
        }
    }

    #[test]
    fn a_strip_goes_to_the_field_that_holds_half_of_it() {
        let fields = [
            block(0.0, 0.0, 400.0, 400.0),
            block(400.0, 0.0, 800.0, 400.0),
            block(2000.0, 0.0, 2400.0, 400.0),
        ];
        let strips = [
            // Whole in the first; a third of it there and the rest in the second; a tenth over the second's border.
            strip("in", block(100.0, 50.0, 124.0, 350.0)),
            strip("across", block(300.0, 200.0, 600.0, 224.0)),
            strip("over", block(530.0, 100.0, 830.0, 124.0)),
            // A third in the third, the rest in none; far from all.
            strip("apart", block(1800.0, 0.0, 2100.0, 24.0)),
            strip("elsewhere", block(9000.0, 0.0, 9024.0, 300.0)),
        ];
        let shared = by_field(&strips, &fields, Path::new("strips")).unwrap();
        assert_eq!(shared.of_fields, [vec![0], vec![1, 2], vec![]]);
        assert_eq!(
            source(&strips, &shared.of_fields[1]),
            Some(Source::Some("name = 'across' OR name = 'over'".to_owned()))
        );
        assert_eq!(source(&strips, &shared.of_fields[2]), None);
        assert_eq!(source(&strips[..1], &[0]), Some(Source::Whole));
        let notice = noticed(&strips, &shared, &["A", "B", "C"]);
        let notice: Vec<&str> = notice.iter().map(|one| one.message.as_str()).collect();
        assert_eq!(notice.len(), 3, "{notice:?}");
        assert!(
            notice[0].starts_with("strip apart lies with only 33 %") && notice[0].contains("in C")
        );
        assert!(notice[1].starts_with("strip elsewhere lies in no field"));
        assert!(notice[2].contains("lies in C"));
    }
}
