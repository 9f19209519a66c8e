//! Mends what can be mended without changing what is spread where: points, closing, direction, text, twins, parts, crossings that keep the area.

use std::collections::BTreeMap;

use geo::{Area, Coord, LineString, MultiPolygon, Polygon, Validation};

use crate::map::imported::{Attribute, ImportedMap, Patch, Rate};
use crate::space::polygon::{oriented, repaired};

/// Share of its area that a polygon may gain or lose by being made valid.
const KEPT: f64 = 1e-6;

/// Points of a polygon in an order of their own, bit by bit.
type Key = Vec<(u64, u64)>;

/// A mended record.
#[derive(Clone, Debug, PartialEq)]
pub struct Mended {
    /// One polygon, valid, exterior counter-clockwise.
    pub polygon: Polygon<f64>,
    /// Columns of the record, the rate as a number where it was text.
    pub attributes: Vec<(String, Attribute)>,
}

/// A mended map, and what was done and left.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Repair {
    /// Records, one polygon each.
    pub rows: Vec<Mended>,
    /// What was done, a sentence each.
    pub done: Vec<String>,
    /// What could not be mended safely, a sentence each.
    pub left: Vec<String>,
}

/// Mends a map of polygons.
pub fn repair(map: &ImportedMap) -> Repair {
    let mut repair = Repair::default();
    let mut seen: BTreeMap<Key, Vec<Option<u64>>> = BTreeMap::new();
    for patch in &map.patches {
        if patch.parts.is_empty() {
            repair
                .done
                .push(format!("{}: dropped, it has no shape", patch.place));
            continue;
        }
        let attributes = attributes(map, patch, &mut repair);
        let mut polygons: Vec<Polygon<f64>> = Vec::new();
        for part in &patch.parts {
            let mut rings = part.rings.iter().filter_map(|ring| tidy(&ring.points));
            let Some(exterior) = rings.next() else {
                repair.left.push(format!(
                    "{}: an exterior has fewer than three points; its part is left out",
                    patch.place
                ));
                continue;
            };
            polygons.extend(valid(
                Polygon::new(exterior, rings.collect()),
                patch,
                &mut repair,
            ));
        }
        let before: usize = patch
            .parts
            .iter()
            .flat_map(|part| &part.rings)
            .map(|ring| ring.points.len() + usize::from(!ring.is_closed()))
            .sum();
        let after: usize = polygons
            .iter()
            .map(|p| p.exterior().0.len() + p.interiors().iter().map(|r| r.0.len()).sum::<usize>())
            .sum();
        if patch
            .parts
            .iter()
            .flat_map(|part| &part.rings)
            .any(|ring| !ring.is_closed())
        {
            repair.done.push(format!("{}: rings closed", patch.place));
        }
        if before > after {
            repair.done.push(format!(
                "{}: {} repeated points and spikes dropped",
                patch.place,
                before - after
            ));
        }
        if polygons.len() > 1 {
            repair.done.push(format!(
                "{}: {} parts made records of their own",
                patch.place,
                polygons.len()
            ));
        }
        for polygon in polygons {
            let key = key(&polygon);
            let rate = patch.rate.number().map(f64::to_bits);
            let before = seen.entry(key).or_default();
            if before.contains(&rate) {
                repair.done.push(format!(
                    "{}: dropped, the same polygon with the same rate stands before",
                    patch.place
                ));
                continue;
            }
            if !before.is_empty() {
                repair.left.push(format!(
                    "{}: stands twice with different rates; nobody but you can say which holds",
                    patch.place
                ));
            }
            before.push(rate);
            repair.rows.push(Mended {
                polygon,
                attributes: attributes.clone(),
            });
        }
    }
    if !repair.rows.is_empty() {
        repair
            .done
            .push("exteriors and holes turned as the format written asks".to_owned());
    }
    repair
}

fn attributes(map: &ImportedMap, patch: &Patch, repair: &mut Repair) -> Vec<(String, Attribute)> {
    let mut attributes = patch.attributes.clone();
    if let (Rate::Text { written, number }, Some(column)) = (&patch.rate, &map.rate_column)
        && let Some((_, value)) = attributes.iter_mut().find(|(name, _)| name == column)
    {
        *value = Attribute::Real(*number);
        repair.done.push(format!(
            "{}: rate {written:?} stored as the number {number}",
            patch.place
        ));
    }
    if patch.rate.number().is_none() {
        repair.left.push(format!(
            "{}: has no rate that is a number; set one",
            patch.place
        ));
    }
    attributes
}

/// A ring closed, without repeated points and without spikes; `None` when fewer than three points are left.
fn tidy(points: &[Coord<f64>]) -> Option<LineString<f64>> {
    let mut ring: Vec<Coord<f64>> = points.to_vec();
    if ring.len() > 1 && ring.first() == ring.last() {
        ring.pop();
    }
    loop {
        ring.dedup();
        if ring.len() > 1 && ring.first() == ring.last() {
            ring.pop();
        }
        let count = ring.len();
        if count < 3 {
            return None;
        }
        // A vertex at which the ring turns straight back.
        let turns = |k: usize| {
            let (a, b, c) = (
                ring[(k + count - 1) % count],
                ring[k],
                ring[(k + 1) % count],
            );
            let across = (a.x - b.x) * (c.y - b.y) - (a.y - b.y) * (c.x - b.x);
            across == 0.0 && (a.x - b.x) * (c.x - b.x) + (a.y - b.y) * (c.y - b.y) > 0.0
        };
        match (0..count).find(|&k| turns(k)) {
            Some(k) => drop(ring.remove(k)),
            None => break,
        }
    }
    let mut line = LineString::new(ring);
    line.close();
    Some(line)
}

/// The polygon, made valid if that keeps its area.
fn valid(polygon: Polygon<f64>, patch: &Patch, repair: &mut Repair) -> Vec<Polygon<f64>> {
    let whole = MultiPolygon::new(vec![polygon]);
    if whole.is_valid() {
        return oriented(&whole).0;
    }
    let before = area_by_rings(&whole);
    let mended = repaired(&whole);
    let after = mended.polygon.unsigned_area();
    if (after - before).abs() <= KEPT * before.max(after) && mended.polygon.is_valid() {
        repair
            .done
            .push(format!("{}: made valid, its area kept", patch.place));
        return mended.polygon.0;
    }
    repair.left.push(format!(
        "{}: crosses itself, and untangling it would change its area; draw it anew",
        patch.place
    ));
    oriented(&whole).0
}

/// Area of exteriors less that of holes, each by its own points.
fn area_by_rings(polygon: &MultiPolygon<f64>) -> f64 {
    let ring = |line: &LineString<f64>| Polygon::new(line.clone(), Vec::new()).unsigned_area();
    polygon
        .iter()
        .map(|p| ring(p.exterior()) - p.interiors().iter().map(ring).sum::<f64>())
        .sum()
}

fn key(polygon: &Polygon<f64>) -> Key {
    let rings = std::iter::once(polygon.exterior()).chain(polygon.interiors());
    let mut points: Vec<(u64, u64)> = rings
        .flat_map(|ring| ring.0.iter().skip(1))
        .map(|c| (c.x.to_bits(), c.y.to_bits()))
        .collect();
    points.sort_unstable();
    points
}
