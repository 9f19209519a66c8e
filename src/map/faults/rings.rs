//! Rings: closed, simple, turned the right way, holes in their exteriors.
//!
//! # Source
//! Valid polygons as in OGC 06-103 (Simple Feature Access, part 1); directions: shapefile exteriors clockwise (ESRI 1998), `GeoJSON` exteriors counter-clockwise (RFC 7946).

use std::collections::BTreeMap;

use geo::algorithm::validation::InvalidPolygon;
use geo::line_intersection::{LineIntersection, line_intersection};
use geo::{Coord, Line, MultiPolygon, Validation};
use rstar::primitives::{GeomWithData, Rectangle};
use rstar::{AABB, RTree};

use crate::finding::{Code, Severity, codes};
use crate::map::faults::fault::Fault;
use crate::map::faults::frame::Frame;
use crate::map::imported::{ImportedMap, MapKind, Part, Patch, Place, Ring, RingRole};
use crate::space::valid::is_valid;

/// Places of one kind that are named one by one in a ring; the rest is counted.
const NAMED: usize = 5;

pub(super) fn check(map: &ImportedMap, frame: &Frame, faults: &mut Vec<Fault>) {
    for patch in &map.patches {
        if patch.parts.is_empty() {
            let notice = faults.iter().any(|fault| {
                fault.place == patch.place
                    && [codes::SHAPE_KIND, codes::FILE_CUT, codes::POINT_NOT_FINITE]
                        .contains(&fault.code)
            });
            if !notice {
                faults.push(Fault::stop(
                    codes::SHAPE_NULL,
                    patch.place.clone(),
                    "the record has no shape: some controllers refuse the whole file",
                ));
            }
        }
        if patch.parts.len() > 1 && map.kind == MapKind::Shapefile {
            let message = format!(
                "the shape has {} parts; many controllers read only the first",
                patch.parts.len()
            );
            faults.push(
                Fault::caution(codes::SHAPE_PARTS, patch.place.clone(), message)
                    .sized(patch.parts.len() as f64, "parts"),
            );
        }
        for part in &patch.parts {
            part_of(patch, part, map.kind, frame, faults);
        }
    }
}

fn ring_name(index: usize) -> String {
    if index == 0 {
        "the exterior".to_owned()
    } else {
        format!("hole {index}")
    }
}

fn part_of(patch: &Patch, part: &Part, kind: MapKind, frame: &Frame, faults: &mut Vec<Fault>) {
    let mut sound = true;
    for (index, ring) in part.rings.iter().enumerate() {
        sound &= ring_of(&patch.place, index, ring, frame, faults);
        if !frame.swapped {
            direction(&patch.place, index, ring, kind, faults);
        }
    }
    sound &= crossings(&patch.place, part, frame, faults);
    if sound && part.rings.len() > 1 {
        holes(&patch.place, part, faults);
    }
}

/// Closed, of three points or more, none twice; whether it can be looked at further.
fn ring_of(
    place: &Place,
    index: usize,
    ring: &Ring,
    frame: &Frame,
    faults: &mut Vec<Fault>,
) -> bool {
    let Some(&first) = ring.points.first() else {
        faults.push(Fault::stop(
            codes::RING_EMPTY,
            place.clone(),
            format!("{} has no points", ring_name(index)),
        ));
        return false;
    };
    if !ring.is_closed() {
        let last = ring.points.last().copied().unwrap_or(first);
        let far = frame
            .point(first)
            .zip(frame.point(last))
            .map(|(a, b)| libm::hypot(a.x - b.x, a.y - b.y));
        let by = far
            .filter(|_| frame.measured)
            .map_or_else(String::new, |d| format!(" by {d:.2} m"));
        let fault = Fault::stop(
            codes::RING_UNCLOSED,
            place.clone(),
            format!(
                "{} is not closed: its last point misses the first{by}",
                ring_name(index)
            ),
        )
        .at(last);
        faults.push(match far {
            Some(d) if frame.measured => fault.sized(d, "m"),
            _ => fault,
        });
    }
    let mut distinct: Vec<(u64, u64)> = ring
        .points
        .iter()
        .map(|c| (c.x.to_bits(), c.y.to_bits()))
        .collect();
    distinct.sort_unstable();
    distinct.dedup();
    if distinct.len() < 3 {
        let message = format!(
            "{} has {} different points; a ring needs three",
            ring_name(index),
            distinct.len()
        );
        faults.push(Fault::stop(codes::RING_FEW_POINTS, place.clone(), message).at(first));
        return false;
    }
    let twice: Vec<Coord<f64>> = ring
        .points
        .windows(2)
        .filter(|pair| pair[0] == pair[1])
        .map(|pair| pair[0])
        .collect();
    if let Some(&at) = twice.first() {
        let message = format!(
            "{} repeats {} points one after the other",
            ring_name(index),
            twice.len()
        );
        faults.push(
            Fault::caution(codes::RING_DUPLICATE_POINTS, place.clone(), message)
                .at(at)
                .sized(twice.len() as f64, "points"),
        );
    }
    true
}

fn direction(place: &Place, index: usize, ring: &Ring, kind: MapKind, faults: &mut Vec<Fault>) {
    let closed = Ring {
        role: ring.role,
        points: ring.closed().0,
    };
    let area = closed.doubled_area();
    let counter = match (kind, ring.role) {
        (MapKind::Shapefile, RingRole::Outer) | (MapKind::GeoJson, RingRole::Inner) => false,
        (MapKind::Shapefile, RingRole::Inner) | (MapKind::GeoJson, RingRole::Outer) => true,
        _ => return,
    };
    if area == 0.0 || (area > 0.0) == counter {
        return;
    }
    let (severity, consequence) = match (kind, ring.role) {
        (MapKind::Shapefile, RingRole::Outer) => (
            Severity::Stop,
            ": a controller takes it for a hole, and its ground for no zone",
        ),
        (MapKind::Shapefile, RingRole::Inner) => (
            Severity::Stop,
            ": the hole is lost on a controller, and its ground gets the rate",
        ),
        _ => (Severity::Caution, ", against RFC 7946"),
    };
    let way = if counter {
        "clockwise"
    } else {
        "counter-clockwise"
    };
    let fault = Fault::new(
        codes::RING_DIRECTION,
        severity,
        place.clone(),
        format!("{} runs {way}{consequence}", ring_name(index)),
    );
    faults.push(match ring.points.first() {
        Some(&first) => fault.at(first),
        None => fault,
    });
}

type Edge = GeomWithData<Rectangle<[f64; 2]>, (usize, usize)>;

/// Edges that cross, touch or run along one another; whether there are none that must not.
fn crossings(place: &Place, part: &Part, frame: &Frame, faults: &mut Vec<Fault>) -> bool {
    let rings: Vec<Vec<Coord<f64>>> = part
        .rings
        .iter()
        .map(|ring| {
            let mut points = ring.closed().0;
            points.dedup();
            points
        })
        .collect();
    let line = |(ring, edge): (usize, usize)| Line::new(rings[ring][edge], rings[ring][edge + 1]);
    let mut edges: Vec<Edge> = Vec::new();
    for (ring, points) in rings.iter().enumerate() {
        for (edge, pair) in points.windows(2).enumerate() {
            edges.push(GeomWithData::new(
                Rectangle::from_corners([pair[0].x, pair[0].y], [pair[1].x, pair[1].y]),
                (ring, edge),
            ));
        }
    }
    let tree = RTree::bulk_load(edges.clone());
    let mut found = Found::default();
    for one in &edges {
        let corners = [line(one.data).start, line(one.data).end];
        let envelope =
            AABB::from_corners([corners[0].x, corners[0].y], [corners[1].x, corners[1].y]);
        for other in tree
            .locate_in_envelope_intersecting(envelope)
            .filter(|other| other.data > one.data)
        {
            let (a, b) = (one.data, other.data);
            let neighbours =
                a.0 == b.0 && (b.1 == a.1 + 1 || (a.1 == 0 && b.1 + 2 == rings[a.0].len()));
            match line_intersection(line(a), line(b)) {
                None => {}
                Some(LineIntersection::Collinear { intersection }) if neighbours => {
                    found.spikes.push((a.0, intersection));
                }
                Some(LineIntersection::SinglePoint { .. }) if neighbours => {}
                Some(LineIntersection::Collinear { intersection }) if a.0 == b.0 => {
                    found.along.push((a.0, intersection.start));
                }
                Some(LineIntersection::Collinear { intersection }) => {
                    found.shared.push((b.0, intersection.start));
                }
                Some(LineIntersection::SinglePoint {
                    intersection,
                    is_proper: true,
                }) if a.0 == b.0 => found.crosses.push((a.0, intersection)),
                Some(LineIntersection::SinglePoint {
                    intersection,
                    is_proper: true,
                }) => found.rings_cross.push((b.0, intersection)),
                Some(LineIntersection::SinglePoint { intersection, .. }) if a.0 == b.0 => {
                    found.touches.push((a.0, intersection));
                }
                Some(LineIntersection::SinglePoint { intersection, .. }) => {
                    found
                        .meet
                        .entry((intersection.x.to_bits(), intersection.y.to_bits()))
                        .or_default()
                        .extend([a.0, b.0]);
                }
            }
        }
    }
    found.tell(place, &rings, frame, faults)
}

/// What the edges of a part do, by ring and place.
#[derive(Default)]
struct Found {
    spikes: Vec<(usize, Line<f64>)>,
    crosses: Vec<(usize, Coord<f64>)>,
    along: Vec<(usize, Coord<f64>)>,
    touches: Vec<(usize, Coord<f64>)>,
    rings_cross: Vec<(usize, Coord<f64>)>,
    shared: Vec<(usize, Coord<f64>)>,
    /// Points at which rings meet, with the rings.
    meet: BTreeMap<(u64, u64), Vec<usize>>,
}

impl Found {
    fn tell(
        mut self,
        place: &Place,
        rings: &[Vec<Coord<f64>>],
        frame: &Frame,
        faults: &mut Vec<Fault>,
    ) -> bool {
        for (ring, spike) in &self.spikes {
            let ends = frame.point(spike.start).zip(frame.point(spike.end));
            let long = ends
                .map(|(a, b)| libm::hypot(a.x - b.x, a.y - b.y))
                .filter(|_| frame.measured);
            let by = long.map_or_else(String::new, |d| format!(", {d:.2} m long"));
            // The tip is the end that a neighbour of both edges shares: the vertex where the ring turns back.
            let tip = if rings[*ring].contains(&spike.end) && !rings[*ring].contains(&spike.start) {
                spike.end
            } else {
                tip_of(&rings[*ring], spike)
            };
            let fault = Fault::stop(
                codes::RING_SPIKE,
                place.clone(),
                format!("{} runs out and back on itself{by}", ring_name(*ring)),
            )
            .at(tip);
            faults.push(match long {
                Some(d) => fault.sized(d, "m"),
                None => fault,
            });
        }
        let lines = self.spikes.is_empty() && self.along.is_empty() && self.shared.is_empty();
        let sound = lines
            && self.crosses.is_empty()
            && self.touches.is_empty()
            && self.rings_cross.is_empty();
        // A crossing is met by edges beyond it, too: what runs along itself also touches itself at the ends of that stretch.
        if !self.along.is_empty() || !self.spikes.is_empty() {
            self.touches.clear();
        }
        list(
            place,
            codes::RING_CROSSES,
            &self.crosses,
            "crosses itself",
            faults,
        );
        list(
            place,
            codes::RING_CROSSES,
            &self.along,
            "runs along itself",
            faults,
        );
        list(
            place,
            codes::RING_TOUCHES,
            &self.touches,
            "touches itself",
            faults,
        );
        list(
            place,
            codes::RINGS_CROSS,
            &self.rings_cross,
            "crosses another ring of its polygon",
            faults,
        );
        list(
            place,
            codes::RINGS_SHARE_LINE,
            &self.shared,
            "runs along another ring of its polygon",
            faults,
        );
        if sound && let Some(at) = self.splits(rings.len()) {
            let message = "rings touch one another so that the ground between them is cut in two: it must be two polygons";
            faults.push(Fault::stop(codes::POLYGON_SPLIT, place.clone(), message).at(at));
        }
        sound
    }

    /// A point that closes a chain of rings touching one another: their inside falls apart.
    fn splits(&self, rings: usize) -> Option<Coord<f64>> {
        let mut root: Vec<usize> = (0..rings + self.meet.len()).collect();
        for (number, ((x, y), touching)) in self.meet.iter().enumerate() {
            let mut touching = touching.clone();
            touching.sort_unstable();
            touching.dedup();
            for ring in touching {
                let (a, b) = (find(&mut root, ring), find(&mut root, rings + number));
                if a == b {
                    return Some(Coord {
                        x: f64::from_bits(*x),
                        y: f64::from_bits(*y),
                    });
                }
                root[a] = b;
            }
        }
        None
    }
}

/// The name of the set that a member belongs to.
fn find(root: &mut [usize], mut k: usize) -> usize {
    while root[k] != k {
        root[k] = root[root[k]];
        k = root[k];
    }
    k
}

/// The vertex of a spike at which the ring turns back.
fn tip_of(ring: &[Coord<f64>], spike: &Line<f64>) -> Coord<f64> {
    let turns = |c: Coord<f64>| {
        let count = ring.len().saturating_sub(1);
        (0..count).any(|k| {
            let (before, here, after) = (
                ring[(k + count - 1) % count],
                ring[k],
                ring[(k + 1) % count],
            );
            let (a, b) = (
                (before.x - here.x, before.y - here.y),
                (after.x - here.x, after.y - here.y),
            );
            here == c && a.0 * b.1 == a.1 * b.0 && a.0 * b.0 + a.1 * b.1 > 0.0
        })
    };
    if turns(spike.start) {
        spike.start
    } else {
        spike.end
    }
}

fn list(
    place: &Place,
    code: Code,
    all: &[(usize, Coord<f64>)],
    does: &str,
    faults: &mut Vec<Fault>,
) {
    let mut places: Vec<(usize, Coord<f64>)> = Vec::new();
    for found in all {
        if !places.contains(found) {
            places.push(*found);
        }
        if places.len() > NAMED {
            break;
        }
    }
    for (k, (ring, at)) in places.iter().take(NAMED).enumerate() {
        let more = if k + 1 == NAMED && all.len() > NAMED {
            format!("; {} more such places are not listed", all.len() - NAMED)
        } else {
            String::new()
        };
        faults.push(
            Fault::stop(
                code,
                place.clone(),
                format!("{} {does} at {}, {}{more}", ring_name(*ring), at.x, at.y),
            )
            .at(*at),
        );
    }
}

/// Holes outside their exterior, in one another, or laid over one another.
fn holes(place: &Place, part: &Part, faults: &mut Vec<Fault>) {
    let Some(polygon) = part.polygon() else {
        return;
    };
    let first = |role: geo::algorithm::validation::RingRole| match role {
        geo::algorithm::validation::RingRole::Exterior => {
            (0, polygon.exterior().0.first().copied())
        }
        geo::algorithm::validation::RingRole::Interior(k) => (
            k + 1,
            polygon
                .interiors()
                .get(k)
                .and_then(|ring| ring.0.first().copied()),
        ),
    };
    // To say what is wrong takes a time that grows with the square of the vertices, to say that nothing is does not.
    if is_valid(&MultiPolygon::new(vec![polygon.clone()])) {
        return;
    }
    for error in polygon.validation_errors() {
        let (code, (ring, at), text) = match error {
            InvalidPolygon::InteriorRingNotContainedInExteriorRing(role) => (
                codes::HOLE_OUTSIDE,
                first(role),
                "does not lie in the exterior",
            ),
            InvalidPolygon::IntersectingRingsOnAnArea(_, role) => {
                (codes::HOLE_NESTED, first(role), "lies over another hole")
            }
            InvalidPolygon::IntersectingRingsOnALine(_, role) => (
                codes::RINGS_SHARE_LINE,
                first(role),
                "runs along another ring",
            ),
            InvalidPolygon::SelfIntersection(role) => (
                codes::RING_CROSSES,
                first(role),
                "crosses or touches itself",
            ),
            InvalidPolygon::TooFewPointsInRing(role) => (
                codes::RING_FEW_POINTS,
                first(role),
                "has fewer than three different points",
            ),
            InvalidPolygon::NonFiniteCoord(role, _) => (
                codes::POINT_NOT_FINITE,
                first(role),
                "has a point that is no number",
            ),
        };
        let fault = Fault::stop(code, place.clone(), format!("{} {text}", ring_name(ring)));
        faults.push(match at {
            Some(at) => fault.at(at),
            None => fault,
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(rings: &[&[(f64, f64)]]) -> Part {
        let ring = |(k, points): (usize, &&[(f64, f64)])| Ring {
            role: if k == 0 {
                RingRole::Outer
            } else {
                RingRole::Inner
            },
            points: points.iter().map(|&(x, y)| Coord { x, y }).collect(),
        };
        Part {
            rings: rings.iter().enumerate().map(ring).collect(),
        }
    }

    type Seen = (&'static str, Option<(f64, f64)>);

    fn codes(rings: &[&[(f64, f64)]]) -> Vec<Seen> {
        let mut map = ImportedMap::empty("t", MapKind::GeoPackage);
        let patch = Patch {
            place: Place::at("feature", 1),
            parts: vec![part(rings)],
            rate: crate::map::imported::Rate::Number(1.0),
            attributes: Vec::new(),
        };
        map.patches.push(patch);
        map.system = crate::map::imported::System::Known(crate::space::crs::Crs::wgs84());
        let mut faults = Vec::new();
        let frame = Frame::of(&map, &crate::map::faults::Against::default(), &mut faults);
        check(&map, &frame, &mut faults);
        faults
            .iter()
            .map(|fault| (fault.code.word(), fault.at.map(|c| (c.x, c.y))))
            .collect()
    }

    /// Cases in the manner of the JTS Topology Suite's validity tests (general/TestValid.xml, from memory: bow tie, spike, hole outside, nested holes, hole that
    /// touches twice, ring that touches itself). What JTS calls valid has no fault here, what it calls invalid has one.
    #[test]
    fn validity_as_jts_sees_it() {
        let square: &[(f64, f64)] = &[(0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 9.0), (0.0, 0.0)];
        assert!(codes(&[square]).is_empty());
        assert!(
            codes(&[
                square,
                &[(2.0, 2.0), (2.0, 4.0), (4.0, 4.0), (4.0, 2.0), (2.0, 2.0)]
            ])
            .is_empty()
        );
        // A hole may touch the exterior at one point.
        assert!(codes(&[square, &[(0.0, 4.0), (2.0, 5.0), (2.0, 3.0), (0.0, 4.0)]]).is_empty());
        // Two holes may touch one another at one point.
        assert!(
            codes(&[
                square,
                &[(2.0, 2.0), (2.0, 4.0), (4.0, 4.0), (2.0, 2.0)],
                &[(4.0, 4.0), (6.0, 6.0), (6.0, 4.0), (4.0, 4.0)]
            ])
            .is_empty()
        );
        let bow: &[(f64, f64)] = &[(0.0, 0.0), (8.0, 8.0), (8.0, 0.0), (0.0, 8.0), (0.0, 0.0)];
        assert_eq!(codes(&[bow]), [("ring.crosses", Some((4.0, 4.0)))]);
        let spike: &[(f64, f64)] = &[
            (0.0, 0.0),
            (9.0, 0.0),
            (9.0, 9.0),
            (5.0, 9.0),
            (5.0, 12.0),
            (5.0, 9.0),
            (0.0, 9.0),
            (0.0, 0.0),
        ];
        assert_eq!(codes(&[spike]), [("ring.spike", Some((5.0, 12.0)))]);
        let touching: &[(f64, f64)] = &[
            (0.0, 0.0),
            (9.0, 0.0),
            (9.0, 9.0),
            (5.0, 0.0),
            (0.0, 9.0),
            (0.0, 0.0),
        ];
        assert_eq!(codes(&[touching])[0], ("ring.touches", Some((5.0, 0.0))));
        let outside: &[(f64, f64)] = &[(12.0, 2.0), (12.0, 4.0), (14.0, 4.0), (12.0, 2.0)];
        assert_eq!(
            codes(&[square, outside])[0],
            ("hole.outside", Some((12.0, 2.0)))
        );
        let hole: &[(f64, f64)] = &[(1.0, 1.0), (1.0, 8.0), (8.0, 8.0), (8.0, 1.0), (1.0, 1.0)];
        let inner: &[(f64, f64)] = &[(3.0, 3.0), (3.0, 4.0), (4.0, 4.0), (3.0, 3.0)];
        assert_eq!(codes(&[square, hole, inner])[0].0, "hole.nested");
        let through: &[(f64, f64)] =
            &[(4.0, 4.0), (4.0, 12.0), (6.0, 12.0), (6.0, 4.0), (4.0, 4.0)];
        assert!(codes(&[square, through]).contains(&("rings.cross", Some((4.0, 9.0)))));
        let along: &[(f64, f64)] = &[(0.0, 3.0), (0.0, 5.0), (2.0, 4.0), (0.0, 3.0)];
        assert_eq!(codes(&[square, along])[0].0, "rings.share_line");
        // A hole from side to side, touching both: the inside falls in two.
        let across: &[(f64, f64)] = &[(0.0, 4.0), (4.0, 5.0), (9.0, 4.0), (4.0, 3.0), (0.0, 4.0)];
        assert_eq!(
            codes(&[square, across])
                .iter()
                .map(|c| c.0)
                .collect::<Vec<_>>(),
            ["polygon.split"]
        );
    }

    #[test]
    fn points_and_closing() {
        assert_eq!(
            codes(&[&[(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]])[0],
            ("ring.unclosed", Some((0.0, 1.0)))
        );
        assert_eq!(
            codes(&[&[(0.0, 0.0), (1.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 0.0)]]),
            [("ring.duplicate_points", Some((1.0, 0.0)))]
        );
        assert_eq!(
            codes(&[&[(0.0, 0.0), (1.0, 0.0), (0.0, 0.0)]])[0].0,
            "ring.few_points"
        );
    }
}
