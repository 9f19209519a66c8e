//! How patches cover the field: twice, not at all, beyond it, on ground to be left out, or too narrow for the machine.

use std::collections::BTreeMap;

use geo::{
    Area, BooleanOps, BoundingRect, Coord, Distance, Euclidean, Length as _, MultiPolygon, Point,
    Polygon,
};
use rstar::RTree;
use rstar::primitives::{GeomWithData, Rectangle};

use crate::finding::{Code, Severity, codes};
use crate::map::faults::fault::Fault;
use crate::map::faults::frame::Frame;
use crate::map::faults::necks::{Neck, necks};
use crate::map::faults::{Against, Sums};
use crate::map::imported::{ImportedMap, Patch, Place};
use crate::space::holes::holes;
use crate::space::interior::interior_point_of;
use crate::space::polygon::{grown, joined, less, repaired};
use crate::space::repair::widest;
use crate::units::M2_PER_HA;

/// Ground smaller than this is rounding, not a fault. \[m²\]
pub(super) const SMALL_M2: f64 = 1.0;
/// Ground narrower than this is rounding of coordinates (7 decimals of a degree are 1 cm). \[m\]
const NARROW_M: f64 = 0.1;
/// How far rates may run out over the edge when no machine is named: nothing but an uncertainty up to here. \[m\] Common practice, no source.
pub(super) const USUAL_RUN_OUT_M: f64 = 50.0;
/// How far beyond a neck's wall the field must end for it to lie along the edge. \[m\]
const BESIDE_M: f64 = 0.5;
/// Share of the machine's width from which on a neck is no doubt any more: the overlap is that of ordinary driving. Common practice, no source.
const NEARLY: f64 = 0.9;
/// Share of the field that gaps along its edge may take together. Own rule.
const SMALL_SHARE: f64 = 0.01;
/// How near to the edge ground lies on it. \[m\]
const ON_EDGE_M: f64 = 0.01;
/// Share of its border that a gap along the edge has in common with it. Own rule.
const ALONG: f64 = 0.25;
/// Width of gaps along the edge that steps of a raster leave, where no machine is named: a pixel of the usual satellites. \[m\] Own rule.
const USUAL_PIXEL_M: f64 = 10.0;
/// Faults of one kind that are told one by one.
const REPORTED: usize = 200;

/// One polygon of a patch on the plane.
struct Unit<'a> {
    patch: &'a Patch,
    polygon: MultiPolygon<f64>,
    area: f64,
    rate: Option<f64>,
}

/// The field on the plane.
pub(super) struct Field {
    pub(super) boundary: Option<MultiPolygon<f64>>,
    /// Each exclusion, grown by its buffer.
    pub(super) exclusions: Vec<MultiPolygon<f64>>,
    /// Boundary less exclusions.
    pub(super) inner: Option<MultiPolygon<f64>>,
    /// Holes of the boundary, one by one.
    pub(super) holes: Vec<MultiPolygon<f64>>,
}

impl Field {
    pub(super) fn of(against: &Against, frame: &Frame) -> Self {
        if !frame.placed {
            return Self {
                boundary: None,
                exclusions: Vec::new(),
                inner: None,
                holes: Vec::new(),
            };
        }
        let boundary = against
            .boundary
            .as_ref()
            .and_then(|b| frame.ground(b))
            .map(|b| repaired(&b).polygon);
        let exclusions: Vec<_> = against
            .exclusions
            .iter()
            .filter_map(|e| frame.ground(e))
            .map(|e| grown(&widest(&e).polygon, against.exclusion_buffer.get()))
            .collect();
        let inner = boundary.as_ref().map(|b| less(b, &joined(&exclusions)));
        let holes = boundary
            .iter()
            .flat_map(holes)
            .map(|hole| MultiPolygon::new(vec![hole]))
            .collect();
        Self {
            boundary,
            exclusions,
            inner,
            holes,
        }
    }

    /// The boundary's outer edges: what lies beyond them is outside, what lies in a hole is not.
    pub(super) fn edges(&self) -> Vec<&geo::LineString<f64>> {
        let parts = self.boundary.iter().flatten();
        parts.map(Polygon::exterior).collect()
    }
}

pub(super) fn check(
    map: &ImportedMap,
    against: &Against,
    frame: &Frame,
    faults: &mut Vec<Fault>,
) -> Sums {
    if !frame.measured {
        return Sums::default();
    }
    let units: Vec<Unit<'_>> = map
        .patches
        .iter()
        .flat_map(|patch| patch.parts.iter().map(move |part| (patch, part)))
        .filter_map(|(patch, part)| {
            let polygon =
                repaired(&frame.polygon(&MultiPolygon::new(vec![part.polygon()?]))?).polygon;
            let area = polygon.unsigned_area();
            Some(Unit {
                patch,
                polygon,
                area,
                rate: patch.rate.number(),
            })
        })
        .collect();
    let field = Field::of(against, frame);
    let mut sums = Sums {
        field_m2: field.inner.as_ref().map(Area::unsigned_area),
        ..Sums::default()
    };
    if units.is_empty() {
        return sums;
    }
    let mut look = Look {
        map,
        frame,
        faults,
        notice: BTreeMap::new(),
    };
    let twins = look.duplicates(&units);
    look.overlaps(&units, &twins);
    look.small(&units, &field, against);
    let all = joined(
        &units
            .iter()
            .map(|unit| unit.polygon.clone())
            .collect::<Vec<_>>(),
    );
    look.field(&units, &all, &field, against);
    look.finish();
    for unit in units.iter().filter(|unit| unit.rate.is_some()) {
        sums.area_m2 += unit.area;
        sums.total += unit.rate.unwrap_or_default() * area_in_unit(map, unit.area);
    }
    sums
}

/// Area in the area measure of the map's unit: hectares, or acres.
pub(super) fn area_in_unit(map: &ImportedMap, m2: f64) -> f64 {
    map.meaning.unit.map_or(m2 / M2_PER_HA, |unit| {
        unit.area_of(crate::units::Area::m2(m2))
    })
}

/// Unit of totals.
pub(super) fn total_unit(map: &ImportedMap) -> &'static str {
    map.meaning
        .unit
        .map_or("(unit not stated)", crate::units::RateUnit::total_label)
}

/// A point inside, for a pin on the map.
pub(super) fn pin(polygon: &MultiPolygon<f64>) -> Option<Coord<f64>> {
    let largest = polygon
        .iter()
        .max_by(|a, b| a.unsigned_area().total_cmp(&b.unsigned_area()))?;
    interior_point_of(largest)
}

/// Width of a long piece of ground: twice its area over its perimeter.
fn width(polygon: &Polygon<f64>) -> f64 {
    let around = Euclidean.length(polygon.exterior())
        + polygon
            .interiors()
            .iter()
            .map(|ring| Euclidean.length(ring))
            .sum::<f64>();
    if around > 0.0 {
        2.0 * polygon.unsigned_area() / around
    } else {
        0.0
    }
}

struct Look<'a> {
    map: &'a ImportedMap,
    frame: &'a Frame,
    faults: &'a mut Vec<Fault>,
    notice: BTreeMap<Code, usize>,
}

impl Look<'_> {
    /// Tells of ground on the plane.
    fn tell(&mut self, fault: Fault, ground: &MultiPolygon<f64>) {
        let notice = self.notice.entry(fault.code).or_default();
        *notice += 1;
        if *notice > REPORTED {
            return;
        }
        let fault = match self.frame.polygon_back(ground) {
            Some(ground) => fault.over(ground),
            None => fault,
        };
        self.faults
            .push(match pin(ground).and_then(|c| self.frame.point_back(c)) {
                Some(at) => fault.at(at),
                None => fault,
            });
    }

    fn finish(&mut self) {
        for (code, count) in &self.notice {
            if *count > REPORTED {
                self.faults.push(Fault::note(
                    codes::FAULTS_MORE,
                    Place::whole(),
                    format!(
                        "{} more faults of the kind {code} are not listed",
                        count - REPORTED
                    ),
                ));
            }
        }
    }

    /// The same polygon twice; pairs by number.
    fn duplicates(&mut self, units: &[Unit<'_>]) -> Vec<(usize, usize)> {
        // Alike to a millimetre, wherever the ring begins and whichever way it runs.
        let key = |unit: &Unit<'_>| {
            let mm = |v: f64| libm::round(v * 1000.0) as i64;
            let mut points: Vec<(i64, i64)> = unit
                .polygon
                .iter()
                .flat_map(|p| std::iter::once(p.exterior()).chain(p.interiors()))
                .flat_map(|r| r.0.iter().skip(1))
                .map(|c| (mm(c.x), mm(c.y)))
                .collect();
            points.sort_unstable();
            points
        };
        let mut seen: BTreeMap<Vec<(i64, i64)>, usize> = BTreeMap::new();
        let mut twins = Vec::new();
        for (k, unit) in units
            .iter()
            .enumerate()
            .filter(|(_, unit)| !unit.polygon.0.is_empty())
        {
            match seen.get(&key(unit)) {
                None => drop(seen.insert(key(unit), k)),
                Some(&first) => {
                    twins.push((first, k));
                    let other = &units[first];
                    let rates = if other.rate == unit.rate {
                        "with the same rate".to_owned()
                    } else {
                        format!("with {}", rates(self.map, other.rate, unit.rate))
                    };
                    let message = format!(
                        "the polygon stands in {} already, {rates}: one of them must go",
                        other.patch.place
                    );
                    self.tell(
                        Fault::stop(codes::PATCH_DUPLICATE, unit.patch.place.clone(), message)
                            .sized(unit.area, "m²"),
                        &unit.polygon,
                    );
                }
            }
        }
        twins
    }

    fn overlaps(&mut self, units: &[Unit<'_>], twins: &[(usize, usize)]) {
        let boxes: Vec<_> = units
            .iter()
            .enumerate()
            .filter_map(|(k, unit)| {
                let b = unit.polygon.bounding_rect()?;
                Some(GeomWithData::new(
                    Rectangle::from_corners([b.min().x, b.min().y], [b.max().x, b.max().y]),
                    k,
                ))
            })
            .collect();
        let tree = RTree::bulk_load(boxes.clone());
        let (mut small, mut count) = (0.0, 0_u64);
        for one in &boxes {
            let mut others: Vec<usize> = tree
                .locate_in_envelope_intersecting(rstar::RTreeObject::envelope(one))
                .map(|other| other.data)
                .filter(|&k| k > one.data)
                .collect();
            others.sort_unstable();
            for other in others {
                if twins.contains(&(one.data, other)) {
                    continue;
                }
                let (a, b) = (&units[one.data], &units[other]);
                let shared = a.polygon.intersection(&b.polygon);
                let area = shared.unsigned_area();
                if area >= SMALL_M2 && shared.iter().any(|piece| width(piece) >= NARROW_M) {
                    let message = format!(
                        "{} lie in {} too ({}): they would get a rate twice, or the wrong one",
                        self.ground(area),
                        a.patch.place,
                        rates(self.map, a.rate, b.rate)
                    );
                    self.tell(
                        Fault::stop(codes::PATCH_OVERLAP, b.patch.place.clone(), message)
                            .sized(area, "m²"),
                        &shared,
                    );
                } else if area > 0.01 {
                    small += area;
                    count += 1;
                }
            }
        }
        if count > 0 && small >= SMALL_M2 {
            let message = format!(
                "{count} pairs of zones overlap by less than {SMALL_M2} m² or {NARROW_M} m each, {small:.1} m² in all: borders drawn twice, or rounded"
            );
            self.faults.push(
                Fault::note(codes::PATCH_OVERLAP_SMALL, Place::whole(), message).sized(small, "m²"),
            );
        }
    }

    /// Slivers, and zones narrower than the machine.
    fn small(&mut self, units: &[Unit<'_>], field: &Field, against: &Against) {
        for unit in units {
            if unit.area < SMALL_M2 {
                let message = format!(
                    "the polygon has {:.3} m²: some controllers stumble over such slivers",
                    unit.area
                );
                let fault = Fault::caution(codes::PATCH_SLIVER, unit.patch.place.clone(), message)
                    .sized(unit.area, "m²");
                let first = unit
                    .patch
                    .parts
                    .first()
                    .and_then(|part| part.rings.first())
                    .and_then(|ring| ring.points.first());
                self.tell(fault, &unit.polygon);
                // A flat ring has no inside to pin; its first point is as good.
                if let (Some(last), Some(&at)) = (self.faults.last_mut(), first)
                    && last.code == codes::PATCH_SLIVER
                    && last.at.is_none()
                {
                    last.at = Some(at);
                }
                continue;
            }
            let Some(machine) = against.machine_width else {
                continue;
            };
            // What only runs out over the edge, or lies on ground to be left out, is as narrow as it is meant to be.
            let beyond = |field: &MultiPolygon<f64>| {
                !touch(&unit.polygon, field)
                    || unit.polygon.intersection(field).unsigned_area() < SMALL_M2
            };
            if field.inner.as_ref().is_some_and(beyond) {
                continue;
            }
            // Two hundredths less than half: a zone of just the machine's width is wide enough.
            let reach = 0.48 * machine.get();
            let cores: Vec<MultiPolygon<f64>> = unit
                .polygon
                .iter()
                .map(|polygon| grown(&MultiPolygon::new(vec![polygon.clone()]), -reach))
                .collect();
            if cores.iter().all(|core| core.0.is_empty()) {
                let wide = unit.polygon.iter().map(width).fold(0.0, f64::max);
                let message = format!(
                    "nowhere is the zone as wide as the machine (about {wide:.1} m, {:.1} m are worked): its rate cannot be set alone",
                    machine.get()
                );
                self.tell(
                    Fault::caution(codes::PATCH_NARROW, unit.patch.place.clone(), message)
                        .sized(wide, "m")
                        .sized(unit.area, "m²"),
                    &unit.polygon,
                );
                continue;
            }
            for (polygon, core) in unit.polygon.iter().zip(&cores) {
                let room = REPORTED.saturating_sub(
                    self.notice
                        .get(&codes::PATCH_NECK)
                        .copied()
                        .unwrap_or_default(),
                );
                let (found, more) = necks(polygon, core, reach, room);
                for neck in found {
                    self.neck(unit, &neck, machine.get(), field);
                }
                *self.notice.entry(codes::PATCH_NECK).or_default() += more;
            }
        }
    }

    /// A neck, which beside the field's edge is worth no more than a note: there the swath runs out over ground that gets nothing.
    fn neck(&mut self, unit: &Unit<'_>, neck: &Neck, machine: f64, field: &Field) {
        // A disc that reaches just over both walls from the middle.
        let middle = geo::Rect::new(neck.at, neck.at + Coord { x: 0.01, y: 0.01 }).to_polygon();
        let around = grown(
            &MultiPolygon::new(vec![middle]),
            0.5 * neck.width + 2.0 * BESIDE_M,
        );
        let beyond = |boundary: &MultiPolygon<f64>| {
            around.difference(boundary).unsigned_area() >= BESIDE_M * BESIDE_M
        };
        let edge = field.boundary.as_ref().is_some_and(beyond);
        let what = format!(
            "the zone has a neck of {:.1} m by about {:.0} m, and {machine:.1} m are worked",
            neck.width, neck.length
        );
        let (severity, then) = if edge {
            (
                Severity::Note,
                "it lies along the field's edge, over which the swath may run out",
            )
        } else if neck.width >= NEARLY * machine {
            (Severity::Note, "that is nearly enough")
        } else {
            (
                Severity::Caution,
                "there the rate of the zones beside it is set as well, or its own beyond it",
            )
        };
        let fault = Fault::new(
            codes::PATCH_NECK,
            severity,
            unit.patch.place.clone(),
            format!("{what}: {then}"),
        );
        self.tell(
            fault.sized(neck.width, "m").sized(neck.length, "m"),
            &neck.ground,
        );
        // The middle of a neck says more than any point in its ground.
        if let Some(last) = self
            .faults
            .last_mut()
            .filter(|last| last.code == codes::PATCH_NECK)
            && let Some(at) = self.frame.point_back(neck.at)
        {
            last.at = Some(at);
        }
    }

    fn field(
        &mut self,
        units: &[Unit<'_>],
        all: &MultiPolygon<f64>,
        field: &Field,
        against: &Against,
    ) {
        let gaps = match &field.inner {
            Some(inner) => inner.difference(all),
            None => MultiPolygon::new(
                all.iter()
                    .flat_map(|p| {
                        p.interiors()
                            .iter()
                            .map(|hole| Polygon::new(hole.clone(), Vec::new()))
                    })
                    .collect(),
            ),
        };
        let mut small = 0.0;
        let at_edge = field
            .inner
            .as_ref()
            .map_or_else(Vec::new, |inner| edge_gaps(&gaps, inner, against));
        self.at_edge(&at_edge);
        for gap in &gaps {
            let area = gap.unsigned_area();
            if area < SMALL_M2 || width(gap) < NARROW_M {
                small += area;
                continue;
            }
            if at_edge.contains(&gap) {
                continue;
            }
            let ground = MultiPolygon::new(vec![gap.clone()]);
            let fault = if field.inner.is_some() {
                let message = format!(
                    "{} of the field lie in no zone: they get the terminal's fallback or the last rate",
                    self.ground(area)
                );
                Fault::stop(codes::FIELD_GAP, Place::whole(), message)
            } else {
                Fault::caution(
                    codes::FIELD_GAP,
                    Place::whole(),
                    format!(
                        "{} between the zones lie in none; give --boundary to tell a gap from a pond",
                        self.ground(area)
                    ),
                )
            };
            self.tell(fault.sized(area, "m²"), &ground);
        }
        if field.inner.is_some() && small >= SMALL_M2 {
            let message = format!(
                "{small:.1} m² of the field lie between zones in pieces of less than {SMALL_M2} m² or {NARROW_M} m: borders that do not meet, or rounding"
            );
            self.faults.push(
                Fault::note(codes::FIELD_SLIVERS, Place::whole(), message).sized(small, "m²"),
            );
        }
        for exclusion in &field.exclusions {
            self.on_ground(
                units,
                exclusion,
                codes::EXCLUSION_RATE,
                "lie on ground to be left out and would get",
            );
        }
        if let Some(boundary) = &field.boundary {
            self.beyond(units, boundary, field, against);
        }
    }

    /// Small gaps along the field's edge, told as one with their sum.
    fn at_edge(&mut self, gaps: &[&Polygon<f64>]) {
        if gaps.is_empty() {
            return;
        }
        let ground = MultiPolygon::new(gaps.iter().map(|gap| (*gap).clone()).collect());
        let area = ground.unsigned_area();
        let widest = gaps.iter().map(|gap| width(gap)).fold(0.0, f64::max);
        let message = format!(
            "{} gaps along the field's edge, {} in all, at most {widest:.1} m wide, lie in no zone: steps of a raster, or borders drawn short; they get the terminal's rate outside the field",
            gaps.len(),
            self.ground(area)
        );
        self.tell(
            Fault::caution(codes::FIELD_GAP, Place::whole(), message).sized(area, "m²"),
            &ground,
        );
    }

    /// An area in the map's own units.
    fn ground(&self, m2: f64) -> String {
        if self
            .map
            .meaning
            .unit
            .is_some_and(crate::units::RateUnit::is_us)
        {
            format!("{:.3} ac", crate::units::Area::m2(m2).as_ac())
        } else {
            format!("{m2:.1} m²")
        }
    }

    /// Rates above 0 on ground that must get none; kilograms with them.
    fn on_ground(
        &mut self,
        units: &[Unit<'_>],
        ground: &MultiPolygon<f64>,
        code: Code,
        does: &str,
    ) {
        for unit in units {
            let Some(rate) = unit.rate.filter(|rate| *rate > 0.0) else {
                continue;
            };
            if !touch(&unit.polygon, ground) {
                continue;
            }
            let shared = unit.polygon.intersection(ground);
            let area = shared.unsigned_area();
            if area >= SMALL_M2 && shared.iter().any(|piece| width(piece) >= NARROW_M) {
                let total = rate * area_in_unit(self.map, area);
                let message = format!(
                    "{} {does} {rate} {} ({total:.2} {} in all)",
                    self.ground(area),
                    self.map.meaning.label(),
                    total_unit(self.map)
                );
                self.tell(
                    Fault::stop(code, unit.patch.place.clone(), message)
                        .sized(area, "m²")
                        .sized(total, total_unit(self.map)),
                    &shared,
                );
            }
        }
    }

    /// Rates above 0 in a hole of the field: from 1 m² on, in pieces that are no rounding.
    fn in_hole(&mut self, units: &[Unit<'_>], hole: &MultiPolygon<f64>) {
        let (mut pieces, mut total, mut place) = (Vec::new(), 0.0, None);
        for unit in units {
            let Some(rate) = unit.rate.filter(|rate| *rate > 0.0) else {
                continue;
            };
            if !touch(&unit.polygon, hole) {
                continue;
            }
            let shared = unit.polygon.intersection(hole);
            for piece in shared.into_iter().filter(|piece| width(piece) >= NARROW_M) {
                total += rate * area_in_unit(self.map, piece.unsigned_area());
                place.get_or_insert_with(|| unit.patch.place.clone());
                pieces.push(MultiPolygon::new(vec![piece]));
            }
        }
        let fed = joined(&pieces);
        let (covered, whole) = (fed.unsigned_area(), hole.unsigned_area());
        if covered < SMALL_M2 {
            return;
        }
        let given = format!("{total:.2} {} in all", total_unit(self.map));
        let (code, message) = if covered >= 0.5 * whole {
            (
                codes::HOLE_LOST,
                format!(
                    "a hole of the field of {whole:.1} m² has got lost: {covered:.1} m² of it would get a rate, {given}"
                ),
            )
        } else {
            (
                codes::HOLE_RATE,
                format!(
                    "{covered:.1} m² in a hole of the field of {whole:.1} m² would get a rate, {given}"
                ),
            )
        };
        let fault = Fault::stop(code, place.unwrap_or_else(Place::whole), message)
            .sized(covered, "m²")
            .sized(total, total_unit(self.map));
        self.tell(fault, &fed);
    }

    /// What lies beyond the boundary: whole zones, holes with a rate, rates that run out over the edge.
    fn beyond(
        &mut self,
        units: &[Unit<'_>],
        boundary: &MultiPolygon<f64>,
        field: &Field,
        against: &Against,
    ) {
        for hole in &field.holes {
            self.in_hole(units, hole);
        }
        let edges = field.edges();
        let allowed = against.machine_width.map(crate::units::Length::get);
        let (mut over, mut farthest) = (0.0, 0.0_f64);
        for unit in units
            .iter()
            .filter(|unit| unit.rate.is_none_or(|rate| rate > 0.0))
        {
            let out = unit.polygon.difference(boundary);
            let area = out.unsigned_area();
            if area < SMALL_M2 {
                continue;
            }
            let far = |c: &Coord<f64>| {
                edges
                    .iter()
                    .map(|edge| Euclidean.distance(&Point(*c), *edge))
                    .fold(f64::INFINITY, f64::min)
            };
            let most = allowed.unwrap_or(USUAL_RUN_OUT_M) * 1.01;
            if area > 0.99 * unit.area
                && unit
                    .polygon
                    .iter()
                    .flat_map(|p| &p.exterior().0)
                    .any(|c| far(c) > most)
            {
                let message = format!(
                    "the zone of {} lies outside the field",
                    self.ground(unit.area)
                );
                self.tell(
                    Fault::stop(codes::PATCH_OUTSIDE, unit.patch.place.clone(), message)
                        .sized(area, "m²"),
                    &out,
                );
                continue;
            }
            for piece in out
                .iter()
                .filter(|piece| piece.unsigned_area() >= SMALL_M2 && width(piece) >= NARROW_M)
            {
                let ground = MultiPolygon::new(vec![piece.clone()]);
                // Told already.
                let mut left_out = field.holes.iter().chain(&field.exclusions);
                if left_out.any(|out| {
                    touch(out, &ground)
                        && out.intersection(&ground).unsigned_area() > 0.5 * piece.unsigned_area()
                }) {
                    continue;
                }
                let reach = piece.exterior().0.iter().map(far).fold(0.0, f64::max);
                if reach > most {
                    let message = format!(
                        "{} of the zone lie outside the field, up to {reach:.1} m from its edge",
                        self.ground(piece.unsigned_area())
                    );
                    self.tell(
                        Fault::stop(codes::FIELD_OUTSIDE, unit.patch.place.clone(), message)
                            .sized(piece.unsigned_area(), "m²")
                            .sized(reach, "m"),
                        &ground,
                    );
                } else if allowed.is_none() {
                    let message = format!(
                        "{} of the zone run out over the field's edge, up to {reach:.1} m: fine if meant for the machine's width",
                        self.ground(piece.unsigned_area())
                    );
                    self.tell(
                        Fault::caution(codes::FIELD_OUTSIDE, unit.patch.place.clone(), message)
                            .sized(piece.unsigned_area(), "m²")
                            .sized(reach, "m"),
                        &ground,
                    );
                } else {
                    over += piece.unsigned_area();
                    farthest = farthest.max(reach);
                }
            }
        }
        if over > 0.0 {
            let message = format!(
                "rates run out over the field's edge by up to {farthest:.1} m ({} in all), within the machine's width",
                self.ground(over)
            );
            self.faults.push(
                Fault::note(codes::FIELD_RUN_OUT, Place::whole(), message)
                    .sized(over, "m²")
                    .sized(farthest, "m"),
            );
        }
    }
}

/// Gaps along the edge of the field that are no zone's fault: narrower than a quarter of the machine; or, together, no more than a hundredth of the field
/// and each narrower than the machine (or than a pixel of a satellite where none is named).
fn edge_gaps<'a>(
    gaps: &'a MultiPolygon<f64>,
    inner: &MultiPolygon<f64>,
    against: &Against,
) -> Vec<&'a Polygon<f64>> {
    let rings: Vec<&geo::LineString<f64>> = inner
        .iter()
        .flat_map(|part| std::iter::once(part.exterior()).chain(part.interiors()))
        .collect();
    let machine = against.machine_width.map(crate::units::Length::get);
    let wide = machine.unwrap_or(USUAL_PIXEL_M);
    let along: Vec<&Polygon<f64>> = gaps
        .iter()
        .filter(|gap| gap.unsigned_area() >= SMALL_M2 && width(gap) >= NARROW_M)
        .filter(|gap| is_narrower(gap, wide))
        .filter(|gap| {
            let near = |at: Coord<f64>| {
                rings
                    .iter()
                    .any(|ring| Euclidean.distance(&Point(at), *ring) < ON_EDGE_M)
            };
            let along: f64 = gap
                .exterior()
                .lines()
                .filter(|line| near(line.start) && near(line.end))
                .filter(|line| near((line.start + line.end) / 2.0))
                .map(|line| Euclidean.length(&line))
                .sum();
            // A slit that crosses the field meets its edge with its ends alone.
            along >= ALONG * Euclidean.length(gap.exterior())
        })
        .collect();
    let sum: f64 = along.iter().map(|gap| gap.unsigned_area()).sum();
    if sum <= SMALL_SHARE * inner.unsigned_area() {
        return along;
    }
    let quarter = machine.map_or(0.0, |machine| 0.25 * machine);
    along
        .into_iter()
        .filter(|gap| is_narrower(gap, quarter))
        .collect()
}

/// Whether a piece of ground is nowhere as wide as this.
fn is_narrower(piece: &Polygon<f64>, wide: f64) -> bool {
    // A hundredth more, so that a square of just that width counts.
    let shrunk = grown(&MultiPolygon::new(vec![piece.clone()]), -0.505 * wide);
    wide > 0.0 && shrunk.unsigned_area() <= 0.0
}

/// Whether two shapes' boxes meet.
fn touch(a: &MultiPolygon<f64>, b: &MultiPolygon<f64>) -> bool {
    let (Some(a), Some(b)) = (a.bounding_rect(), b.bounding_rect()) else {
        return false;
    };
    a.min().x <= b.max().x
        && b.min().x <= a.max().x
        && a.min().y <= b.max().y
        && b.min().y <= a.max().y
}

fn rates(map: &ImportedMap, a: Option<f64>, b: Option<f64>) -> String {
    let shown =
        |rate: Option<f64>| rate.map_or_else(|| "no rate".to_owned(), |rate| rate.to_string());
    format!("{} and {} {}", shown(a), shown(b), map.meaning.label())
}
