//! Shapefiles as they stand: rings in file order and direction, null shapes, sets with a part missing.
//!
//! # Source
//! ESRI Shapefile Technical Description (July 1998), from memory: header of 100 bytes, code 9994, records of polygons (types 5, 15, 25), exteriors clockwise.

use std::path::Path;

use geo::{Contains, Coord, Point, Polygon};

use crate::finding::codes;
use crate::format::maps::{MapError, bytes_of, dbf, stem};
use crate::format::systems::system_of_prj;
use crate::map::faults::fault::Fault;
use crate::map::imported::{
    Attribute, ImportedMap, MapKind, Part, Patch, Place, Rate, Ring, RingRole, System,
};

/// File code of shapefiles.
const CODE: i32 = 9994;
/// Words that the text of a reference system may begin with: a bare name or an address is not looked up.
const WKT_WORDS: [&str; 6] = [
    "GEOGCS[",
    "PROJCS[",
    "COMPD_CS[",
    "GEOGCRS[",
    "PROJCRS[",
    "BOUNDCRS[",
];

fn be(bytes: &[u8], at: usize) -> Option<i32> {
    Some(i32::from_be_bytes(
        bytes.get(at..at.checked_add(4)?)?.try_into().ok()?,
    ))
}
fn le(bytes: &[u8], at: usize) -> Option<i32> {
    Some(i32::from_le_bytes(
        bytes.get(at..at.checked_add(4)?)?.try_into().ok()?,
    ))
}
fn real(bytes: &[u8], at: usize) -> Option<f64> {
    Some(f64::from_le_bytes(
        bytes.get(at..at.checked_add(8)?)?.try_into().ok()?,
    ))
}

/// The system that a `.prj` states.
pub(super) fn system_of_wkt(text: &str) -> System {
    let text = text.trim_start_matches('\u{feff}').trim();
    let upper = text.to_ascii_uppercase().replace(' ', "");
    if !WKT_WORDS.iter().any(|word| upper.starts_with(word)) {
        return System::Missing(
            "the .prj holds no reference system that can be understood".to_owned(),
        );
    }
    match system_of_prj(text) {
        Ok(crs) => System::Known(crs),
        Err(reason) => System::Missing(format!("the .prj cannot be understood: {reason}")),
    }
}

pub(super) fn read(path: &Path) -> Result<ImportedMap, MapError> {
    let unreadable = |reason: &str| MapError::Unreadable {
        path: path.to_owned(),
        reason: reason.to_owned(),
    };
    let bytes = bytes_of(path)?;
    if be(&bytes, 0) != Some(CODE) || bytes.len() < 100 {
        return Err(unreadable("it does not begin like a shapefile"));
    }
    let mut map = ImportedMap::empty(stem(path), MapKind::Shapefile);
    let side = |ending: &str| {
        [ending.to_owned(), ending.to_uppercase()]
            .iter()
            .map(|e| path.with_extension(e))
            .find(|p| p.exists())
    };
    map.system = match side("prj") {
        Some(prj) => system_of_wkt(&String::from_utf8_lossy(&bytes_of(&prj)?)),
        None => System::Missing("the set has no .prj".to_owned()),
    };
    for ending in ["shx", "dbf"] {
        if side(ending).is_none() {
            let message = format!(
                "the set has no .{ending}: controllers refuse it; copy all parts of the set"
            );
            map.oddities.push(Fault::stop(
                codes::FILE_SET,
                Place::named(format!(".{ending}")),
                message,
            ));
        }
    }
    records(&bytes, &mut map);
    if let Some(dbf) = side("dbf") {
        match dbf::read(&bytes_of(&dbf)?) {
            None => map.oddities.push(Fault::stop(
                codes::FILE_TABLE,
                Place::named(".dbf"),
                "the table of the set cannot be read: copy it again",
            )),
            Some(table) => join(&mut map, &table),
        }
    }
    header(&bytes, &mut map);
    Ok(map)
}

fn header(bytes: &[u8], map: &mut ImportedMap) {
    let stated = be(bytes, 24).map_or(0, |words| i64::from(words) * 2);
    if stated != bytes.len() as i64 {
        let message = format!(
            "the header says {stated} bytes, the file has {}: it was cut off or added to",
            bytes.len()
        );
        map.oddities.push(Fault::stop(
            codes::FILE_LENGTH,
            Place::named("header"),
            message,
        ));
    }
    let boxed: Vec<f64> = [36, 44, 52, 60]
        .iter()
        .filter_map(|&at| real(bytes, at))
        .collect();
    if let (Some((low, high)), [x0, y0, x1, y1]) = (map.bounds(), boxed.as_slice()) {
        let reach = 1e-6 * (high.x - low.x).abs().max((high.y - low.y).abs()).max(1e-9);
        let off = [x0 - low.x, y0 - low.y, x1 - high.x, y1 - high.y]
            .iter()
            .any(|d| d.abs().is_nan() || d.abs() > reach);
        if off {
            let message = format!(
                "the header's box {x0}, {y0} to {x1}, {y1} is not that of the shapes, {}, {} to {}, {}",
                low.x, low.y, high.x, high.y
            );
            map.oddities
                .push(Fault::caution(codes::FILE_BOX, Place::named("header"), message).at(low));
        }
    }
}

fn records(bytes: &[u8], map: &mut ImportedMap) {
    let mut at = 100_usize;
    let mut number = 0_u64;
    let (mut z, mut m) = (0_u64, 0_u64);
    while at + 8 <= bytes.len() {
        number += 1;
        let place = Place::at("record", number);
        let content = be(bytes, at + 4)
            .and_then(|words| usize::try_from(words).ok())
            .and_then(|words| words.checked_mul(2));
        let body = content.and_then(|length| bytes.get(at + 8..(at + 8).checked_add(length)?));
        let (Some(length), Some(body)) = (content, body) else {
            map.oddities.push(Fault::stop(
                codes::FILE_CUT,
                place,
                format!("the file ends within record {number}: it was cut off; copy it again"),
            ));
            break;
        };
        let kind = le(body, 0).unwrap_or(-1);
        let mut patch = Patch {
            place: place.clone(),
            parts: Vec::new(),
            rate: Rate::Missing,
            attributes: Vec::new(),
        };
        match kind {
            0 => {}
            5 | 15 | 25 => {
                z += u64::from(kind == 15);
                m += u64::from(kind == 25);
                match rings(body, &place, map) {
                    Some(rings) => patch.parts = parts_of(&rings),
                    None => map.oddities.push(Fault::stop(
                        codes::FILE_CUT,
                        place,
                        format!(
                            "the points of record {number} do not fit into it: the file is damaged"
                        ),
                    )),
                }
            }
            other => {
                let message = format!("the shape is of type {other}, not a polygon (5)");
                map.oddities
                    .push(Fault::stop(codes::SHAPE_KIND, place, message));
            }
        }
        map.patches.push(patch);
        at = at + 8 + length;
    }
    if z + m > 0 {
        let message = format!(
            "{} shapes carry heights or measures; controllers expect plain polygons (type 5)",
            z + m
        );
        map.oddities
            .push(Fault::caution(codes::SHAPE_Z, Place::whole(), message));
    }
}

fn rings(body: &[u8], place: &Place, map: &mut ImportedMap) -> Option<Vec<Vec<Coord<f64>>>> {
    let (parts, points) = (
        usize::try_from(le(body, 36)?).ok()?,
        usize::try_from(le(body, 40)?).ok()?,
    );
    let first = 44_usize.checked_add(parts.checked_mul(4)?)?;
    body.get(first..first.checked_add(points.checked_mul(16)?)?)?;
    let starts: Vec<usize> = (0..parts)
        .map(|k| usize::try_from(le(body, 44 + 4 * k)?).ok())
        .collect::<Option<_>>()?;
    let mut rings = Vec::new();
    for (k, &start) in starts.iter().enumerate() {
        let end = starts.get(k + 1).copied().unwrap_or(points);
        if start > end || end > points {
            return None;
        }
        let all: Vec<Coord<f64>> = (start..end)
            .filter_map(|p| {
                Some(Coord {
                    x: real(body, first + 16 * p)?,
                    y: real(body, first + 16 * p + 8)?,
                })
            })
            .collect();
        let good: Vec<Coord<f64>> = all
            .iter()
            .copied()
            .filter(|c| c.x.is_finite() && c.y.is_finite())
            .collect();
        if good.len() < all.len() {
            let message = format!("{} points are no finite numbers", all.len() - good.len());
            map.oddities
                .push(Fault::stop(codes::POINT_NOT_FINITE, place.clone(), message));
        }
        rings.push(good);
    }
    Some(rings)
}

/// Tells exteriors from holes: by direction, except where a ring lies in another, or in none, against its direction.
fn parts_of(rings: &[Vec<Coord<f64>>]) -> Vec<Part> {
    let shells: Vec<Polygon<f64>> = rings
        .iter()
        .map(|points| Polygon::new(geo::LineString::new(points.clone()), Vec::new()))
        .collect();
    // How many other rings lie round the ring, judged by its first point that is on no border.
    let depth = |k: usize| {
        let within = |j: usize| {
            j != k
                && rings[k]
                    .iter()
                    .filter(|c| shells[j].contains(&Point(**c)))
                    .count()
                    * 2
                    > rings[k].len()
        };
        (0..rings.len()).filter(|&j| within(j)).collect::<Vec<_>>()
    };
    let around: Vec<Vec<usize>> = (0..rings.len()).map(depth).collect();
    let mut parts: Vec<Part> = Vec::new();
    let mut part_of: Vec<Option<usize>> = vec![None; rings.len()];
    for (k, points) in rings.iter().enumerate() {
        if around[k].len().is_multiple_of(2) {
            part_of[k] = Some(parts.len());
            parts.push(Part {
                rings: vec![Ring {
                    role: RingRole::Outer,
                    points: points.clone(),
                }],
            });
        }
    }
    for (k, points) in rings.iter().enumerate() {
        if around[k].len() % 2 == 1 {
            // The innermost exterior around it is the one with the most rings around itself.
            let shell = around[k]
                .iter()
                .filter(|&&j| part_of[j].is_some())
                .max_by_key(|&&j| around[j].len())
                .and_then(|&j| part_of[j]);
            if let Some(part) = shell.and_then(|at| parts.get_mut(at)) {
                part.rings.push(Ring {
                    role: RingRole::Inner,
                    points: points.clone(),
                });
            }
        }
    }
    parts
}

/// Puts the table's rows beside the shapes.
fn join(map: &mut ImportedMap, table: &dbf::DbfTable) {
    map.columns = table
        .fields
        .iter()
        .map(|field| field.name.clone())
        .collect();
    if table.rows.len() != map.patches.len() || table.lost + table.beyond > 0 {
        let message = format!(
            "{} shapes and {} rows in the table ({} more promised by its header, {} behind the promised ones): rates would stand beside wrong shapes",
            map.patches.len(),
            table.rows.len(),
            table.lost,
            table.beyond
        );
        map.oddities.push(Fault::stop(
            codes::FILE_RECORDS,
            Place::named(".dbf"),
            message,
        ));
    }
    for field in table
        .fields
        .iter()
        .filter(|field| !['N', 'F', 'C'].contains(&field.kind))
    {
        let message = format!(
            "column {:?} is of kind {:?}; controllers expect numbers and texts only",
            field.name, field.kind
        );
        map.oddities.push(Fault::note(
            codes::COLUMN_KIND,
            Place::named(format!("column {}", field.name)),
            message,
        ));
    }
    for (patch, row) in map.patches.iter_mut().zip(&table.rows) {
        patch.attributes = table
            .fields
            .iter()
            .map(|field| field.name.clone())
            .zip(row.iter().cloned())
            .collect::<Vec<(String, Attribute)>>();
    }
}
