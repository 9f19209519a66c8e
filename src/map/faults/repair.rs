//! Repairs what can be repaired without changing what is applied where: points, closing, direction, text, twins, parts, crossings that keep the area. On request also gaps, overlaps and crossings that do change it, by a stated rule.

use std::collections::BTreeMap;

use geo::{
    Area, BooleanOps, BoundingRect, Coord, Euclidean, Intersects, Length as _, LineString,
    MultiPolygon, Polygon,
};

use crate::map::imported::{Attribute, ImportedMap, Patch, Rate, System};
use crate::space::crs::{Crs, Projector};
use crate::space::polygon::{grown_by_tolerance, joined, oriented, repaired};
use crate::space::valid::is_valid;
use crate::units::Length;

/// Share of its area that a polygon may gain or lose by being made valid.
const KEPT: f64 = 1e-6;

/// Points of a polygon in an order of their own, bit by bit.
type Key = Vec<(u64, u64)>;

/// A mended record.
#[derive(Clone, Debug, PartialEq)]
pub struct Repaired {
    /// One polygon, valid, exterior counter-clockwise.
    pub polygon: Polygon<f64>,
    /// Columns of the record, the rate as a number where it was text.
    pub attributes: Vec<(String, Attribute)>,
}

/// A mended map, and what was done and left.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Repair {
    /// Records, one polygon each.
    pub rows: Vec<Repaired>,
    /// What was done, a sentence each.
    pub done: Vec<String>,
    /// What could not be mended safely, a sentence each.
    pub left: Vec<String>,
}

/// Which zone keeps the ground of an overlap.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Keeps {
    /// The zone with the lower rate.
    Lower,
    /// The zone with the higher rate.
    Higher,
    /// The zone that stands first in the file.
    First,
}

impl Keeps {
    /// The rule in words.
    const fn words(self) -> &'static str {
        match self {
            Self::Lower => "the lower rate keeps the ground",
            Self::Higher => "the higher rate keeps the ground",
            Self::First => "the first in the file keeps the ground",
        }
    }
}

/// Repairs that change what is applied where, and so are made on request only.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Asked {
    /// Gaps narrower than this go to the neighbour with the longest common border.
    pub gaps: Option<Length>,
    /// Which zone keeps the ground of an overlap.
    pub overlaps: Option<Keeps>,
    /// Whether a polygon that crosses itself is split into its loops.
    pub bowties: bool,
}

/// Repairs a map of polygons; `field`, in WGS 84, bounds the gaps at its edge.
pub fn repair(map: &ImportedMap, asked: &Asked, field: Option<&MultiPolygon<f64>>) -> Repair {
    let mut repair = repaired_records(map, asked);
    if let Some(keeps) = asked.overlaps {
        cut_overlaps(map, keeps, &mut repair);
    }
    if let (Some(width), System::Known(crs)) = (asked.gaps, &map.system) {
        close_gaps(width, crs, field, &mut repair);
    }
    repair
}

/// Rate of a record, for the order in which overlaps are cut.
fn rate_of(map: &ImportedMap, row: &Repaired) -> Option<f64> {
    let column = map.rate_column.as_ref()?;
    row.attributes
        .iter()
        .find(|(name, _)| name == column)
        .and_then(|(_, value)| match value {
            Attribute::Real(number) => Some(*number),
            Attribute::Whole(number) => Some(*number as f64),
            _ => None,
        })
}

/// Takes the ground of each overlap from one of the two zones.
fn cut_overlaps(map: &ImportedMap, keeps: Keeps, repair: &mut Repair) {
    let rows = std::mem::take(&mut repair.rows);
    let mut order: Vec<usize> = (0..rows.len()).collect();
    // A zone without a rate never takes ground from one that has a rate.
    let rate = |k: &usize, none: f64| rate_of(map, &rows[*k]).unwrap_or(none);
    match keeps {
        Keeps::First => {}
        Keeps::Lower => {
            order.sort_by(|a, b| rate(a, f64::INFINITY).total_cmp(&rate(b, f64::INFINITY)));
        }
        Keeps::Higher => {
            order.sort_by(|a, b| rate(b, f64::NEG_INFINITY).total_cmp(&rate(a, f64::NEG_INFINITY)));
        }
    }
    let mut kept: Vec<Option<MultiPolygon<f64>>> = vec![None; rows.len()];
    let mut cuts = 0_usize;
    for (at, k) in order.iter().enumerate() {
        let mut ground = MultiPolygon::new(vec![rows[*k].polygon.clone()]);
        for earlier in order.iter().take(at) {
            let Some(other) = kept[*earlier].as_ref().filter(|other| meet(other, &ground)) else {
                continue;
            };
            let shared = ground.intersection(other).unsigned_area();
            if shared > KEPT * ground.unsigned_area().min(other.unsigned_area()) {
                ground = ground.difference(other);
                cuts += 1;
            }
        }
        kept[*k] = Some(ground);
    }
    for (row, ground) in rows.into_iter().zip(kept) {
        for polygon in oriented(&ground.unwrap_or_else(|| MultiPolygon::new(Vec::new()))).0 {
            repair.rows.push(Repaired {
                polygon,
                attributes: row.attributes.clone(),
            });
        }
    }
    if cuts > 0 {
        repair
            .done
            .push(format!("{cuts} overlaps cut as asked: {}", keeps.words()));
    }
}

fn meet(a: &MultiPolygon<f64>, b: &MultiPolygon<f64>) -> bool {
    a.bounding_rect()
        .zip(b.bounding_rect())
        .is_some_and(|(a, b)| a.intersects(&b))
}

/// Gives each narrow gap to the neighbour with the longest common border.
fn close_gaps(width: Length, crs: &Crs, field: Option<&MultiPolygon<f64>>, repair: &mut Repair) {
    let all: Vec<MultiPolygon<f64>> = repair
        .rows
        .iter()
        .map(|row| MultiPolygon::new(vec![row.polygon.clone()]))
        .collect();
    let whole = joined(&all);
    let Some(plane) = plane_of(&whole, crs) else {
        return;
    };
    let field = field.and_then(|field| {
        let way = Projector::new(&Crs::wgs84(), crs).ok()?;
        way.geometry(field).ok()
    });
    let gaps = match &field {
        Some(field) => field.difference(&whole),
        None => MultiPolygon::new(
            whole
                .iter()
                .flat_map(Polygon::interiors)
                .map(|ring| Polygon::new(ring.clone(), Vec::new()))
                .collect(),
        ),
    };
    let (mut closed, mut area, mut left) = (0_usize, 0.0, 0_usize);
    for gap in gaps {
        let Ok(on_plane) = plane.geometry(&gap) else {
            continue;
        };
        let around = Euclidean.length(on_plane.exterior());
        let wide = 2.0 * on_plane.unsigned_area() / around.max(f64::MIN_POSITIVE);
        if wide > width.get() {
            left += 1;
            continue;
        }
        // A millimetre wider: edges that were cut anew may lie a rounding away from the neighbour's.
        let hair = if crs.is_geographic() { 1e-8 } else { 1e-3 };
        let shape = grown_by_tolerance(&MultiPolygon::new(vec![gap.clone()]), hair);
        let own = Euclidean.length(gap.exterior());
        let shared = |row: &Repaired| {
            let zone = MultiPolygon::new(vec![row.polygon.clone()]);
            if !meet(&zone, &shape) {
                return None;
            }
            let both = zone.union(&shape);
            let [joined_polygon] = both.0.as_slice() else {
                return None;
            };
            let around = |polygon: &Polygon<f64>| {
                Euclidean.length(polygon.exterior())
                    + polygon
                        .interiors()
                        .iter()
                        .map(|ring| Euclidean.length(ring))
                        .sum::<f64>()
            };
            let border = around(&row.polygon) + own - around(joined_polygon);
            (border > 0.0).then(|| (border, joined_polygon.clone()))
        };
        let best = repair
            .rows
            .iter()
            .enumerate()
            .filter_map(|(k, row)| shared(row).map(|(border, polygon)| (k, border, polygon)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        match best {
            Some((k, _, polygon)) => {
                closed += 1;
                area += on_plane.unsigned_area();
                if let Some(row) = repair.rows.get_mut(k) {
                    row.polygon = polygon;
                }
            }
            None => left += 1,
        }
    }
    if closed > 0 {
        repair.done.push(format!(
            "{closed} gaps narrower than {:.2} m, {area:.1} m² in all, given to the neighbour with the longest border, as asked",
            width.get()
        ));
    }
    if left > 0 {
        repair.left.push(format!(
            "{left} gaps are wider, or touch no zone: draw them"
        ));
    }
}

/// From the map's coordinates to metres.
fn plane_of(whole: &MultiPolygon<f64>, crs: &Crs) -> Option<Projector> {
    let middle = whole.bounding_rect()?.center();
    let (longitude, latitude) = Projector::new(crs, &Crs::wgs84())
        .ok()?
        .point(middle.x, middle.y)
        .ok()?;
    Projector::new(crs, &Crs::utm(longitude, latitude)).ok()
}

fn repaired_records(map: &ImportedMap, asked: &Asked) -> Repair {
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
                asked.bowties,
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
            repair.rows.push(Repaired {
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
fn valid(
    polygon: Polygon<f64>,
    patch: &Patch,
    bowties: bool,
    repair: &mut Repair,
) -> Vec<Polygon<f64>> {
    let whole = MultiPolygon::new(vec![polygon]);
    if is_valid(&whole) {
        return oriented(&whole).0;
    }
    let before = area_by_rings(&whole);
    let repaired = repaired(&whole);
    let after = repaired.polygon.unsigned_area();
    if (after - before).abs() <= KEPT * before.max(after) && is_valid(&repaired.polygon) {
        repair
            .done
            .push(format!("{}: made valid, its area kept", patch.place));
        return repaired.polygon.0;
    }
    if bowties && is_valid(&repaired.polygon) && !repaired.polygon.0.is_empty() {
        repair.done.push(format!(
            "{}: crossed itself, split into {} loops as asked; look whether each belongs to it",
            patch.place,
            repaired.polygon.0.len()
        ));
        return oriented(&repaired.polygon).0;
    }
    repair.left.push(format!(
        "{}: crosses itself, and untangling it would change its area; --split-bowties makes its loops polygons, or draw it anew",
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
