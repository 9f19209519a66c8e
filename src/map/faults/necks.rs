//! Necks: places where a zone that is wide on either side is narrower than the machine.
//!
//! The zone is opened: shrunk by half the machine's width and grown again, which leaves the ground that the machine can reach without leaving the zone. What opening
//! takes away is a corner if it hangs on what stays by one mouth, and a neck if it hangs on by two or more. A neck so short that the grown parts meet in it again
//! shows in their overlap.
//!
//! # Source
//! Opening by a disc: mathematical morphology, common knowledge, no source. Lengths and widths: own arithmetic, see [`Neck`].

use std::collections::BTreeSet;

use geo::{
    Area, BooleanOps, BoundingRect, Centroid, Contains, Coord, Distance, Euclidean, Intersects,
    Length as _, Line, LineString, MultiLineString, MultiPolygon, Point, Polygon, Rect,
};
use rstar::primitives::GeomWithData;
use rstar::{AABB, RTree};

use crate::space::interior::interior_point;
use crate::space::polygon::{grown, joined};

/// By how much parts grow beyond what they were shrunk by, as a share of it: round joins are chords, 0.12 % short of the arc.
const LEEWAY: f64 = 0.004;
/// How deep a mouth reaches into what stays, as a share of the same.
const MOUTH: f64 = 0.012;
/// Ground smaller than this is no neck. \[m²\]
const SMALL_M2: f64 = 1.0;
/// How near to a wall a side of a piece lies that is part of it. \[m\] Boolean operations round to some micrometres.
const ON_WALL_M: f64 = 1e-4;
/// Sides shorter than this are chance. \[m\]
const TELLING_M: f64 = 0.01;
/// Halvings that find a neck's width: to a thousandth of the machine's.
const HALVINGS: usize = 10;

/// A neck of a zone.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Neck {
    /// The ground in it.
    pub(super) ground: MultiPolygon<f64>,
    /// A point in it.
    pub(super) at: Coord<f64>,
    /// Width of the widest machine that would pass. \[m\]
    pub(super) width: f64,
    /// Length of its shorter side; of one so short that it has none, about the length over which the machine is wider than the zone. \[m\]
    pub(super) length: f64,
}

/// Necks of a zone that are narrower than twice `reach`, \[m\] and how many more there are than the `most` that are measured. `core` is the zone shrunk by `reach`.
pub(super) fn necks(
    zone: &Polygon<f64>,
    core: &MultiPolygon<f64>,
    reach: f64,
    most: usize,
) -> (Vec<Neck>, usize) {
    // Without a hole to go round, a neck parts what is left.
    if core.0.is_empty() || core.0.len() == 1 && zone.interiors().is_empty() {
        return (Vec::new(), 0);
    }
    let whole = MultiPolygon::new(vec![zone.clone()]);
    let cores: Vec<MultiPolygon<f64>> = core
        .iter()
        .map(|part| MultiPolygon::new(vec![part.clone()]))
        .collect();
    let opened: Vec<MultiPolygon<f64>> = cores
        .iter()
        .map(|part| grown(part, reach * (1.0 + LEEWAY)))
        .collect();
    let mut found = Found {
        most,
        ..Found::default()
    };
    long(&whole, &joined(&opened), reach, &mut found);
    short(&whole, &cores, &opened, reach, &mut found);
    (found.necks, found.more)
}

/// Necks on the way.
#[derive(Default)]
struct Found {
    necks: Vec<Neck>,
    more: usize,
    most: usize,
}

impl Found {
    /// Whether one more is measured; else it is counted.
    const fn room(&mut self) -> bool {
        let room = self.necks.len() < self.most;
        if !room {
            self.more += 1;
        }
        room
    }
}

/// Necks that opening takes away.
fn long(zone: &MultiPolygon<f64>, opened: &MultiPolygon<f64>, reach: f64, found: &mut Found) {
    let walls = segments(zone.iter().map(|polygon| (0, polygon)));
    for piece in zone
        .difference(opened)
        .into_iter()
        .filter(|piece| piece.unsigned_area() >= SMALL_M2)
    {
        if mouths_by_walls(&piece, &walls) < 2 {
            continue;
        }
        let ground = MultiPolygon::new(vec![piece]);
        let near = grown(&ground, reach * MOUTH);
        let Some(around) = window(&near, 1.0) else {
            continue;
        };
        let mouths: Vec<Polygon<f64>> = near.intersection(&opened.intersection(&around)).0;
        let Some(at) = middle(&ground).filter(|_| mouths.len() >= 2) else {
            continue;
        };
        if found.room() {
            let half = half_width(zone, reach, &near, &mouths);
            let length = shorter_side(&ground, &mouths, reach);
            found.necks.push(Neck {
                ground,
                at,
                width: 2.0 * half,
                length,
            });
        }
    }
}

/// Sides of polygons, each with the number of its polygon.
type Sides = RTree<GeomWithData<rstar::primitives::Line<[f64; 2]>, usize>>;

fn segments<'a>(polygons: impl Iterator<Item = (usize, &'a Polygon<f64>)>) -> Sides {
    let rings = polygons.flat_map(|(k, polygon)| {
        std::iter::once(polygon.exterior())
            .chain(polygon.interiors())
            .map(move |ring| (k, ring))
    });
    let sides = rings.flat_map(|(k, ring)| ring.lines().map(move |line| (k, line)));
    let ends = |line: Line<f64>| {
        rstar::primitives::Line::new([line.start.x, line.start.y], [line.end.x, line.end.y])
    };
    RTree::bulk_load(
        sides
            .map(|(k, line)| GeomWithData::new(ends(line), k))
            .collect(),
    )
}

/// How often the way round a piece leaves the walls of its zone: sides that lie on none are mouths. Sides of a few millimetres tell nothing.
fn mouths_by_walls(piece: &Polygon<f64>, walls: &Sides) -> usize {
    let on_wall = |line: Line<f64>| {
        let middle = [
            f64::midpoint(line.start.x, line.end.x),
            f64::midpoint(line.start.y, line.end.y),
        ];
        walls
            .locate_within_distance(middle, ON_WALL_M * ON_WALL_M)
            .next()
            .is_some()
    };
    let lines = std::iter::once(piece.exterior())
        .chain(piece.interiors())
        .flat_map(LineString::lines);
    let walled: Vec<bool> = lines
        .filter(|line| Euclidean.length(line) >= TELLING_M)
        .map(on_wall)
        .collect();
    (0..walled.len())
        .filter(|&k| walled[k] && !walled[(k + 1) % walled.len()])
        .count()
}

/// Length of the shorter side of a neck, from mouth to mouth. \[m\]
fn shorter_side(ground: &MultiPolygon<f64>, mouths: &[Polygon<f64>], reach: f64) -> f64 {
    let by = 0.5 * reach * MOUTH;
    let mouths = grown(&MultiPolygon::new(mouths.to_vec()), by);
    let Some(outer) = ground.0.first().map(Polygon::exterior) else {
        return 0.0;
    };
    let mut points: Vec<Coord<f64>> = outer.0.iter().skip(1).copied().collect();
    // A ring that begins within a mouth leaves whole sides when the mouths are cut out of it.
    let Some(first) = points.iter().position(|c| mouths.intersects(&Point(*c))) else {
        return 0.0;
    };
    points.rotate_left(first);
    points.extend(points.first().copied());
    let sides = mouths.clip(&MultiLineString::new(vec![LineString::new(points)]), true);
    let shortest = sides
        .iter()
        .map(|side| Euclidean.length(side))
        .fold(f64::INFINITY, f64::min);
    // The mouths were grown into each side at both ends.
    if shortest.is_finite() {
        shortest + 2.0 * by
    } else {
        0.0
    }
}

/// Necks in which the opened parts meet again.
fn short(
    zone: &MultiPolygon<f64>,
    cores: &[MultiPolygon<f64>],
    opened: &[MultiPolygon<f64>],
    reach: f64,
    found: &mut Found,
) {
    for (i, j) in neighbours(cores, 2.0 * reach * (1.0 + LEEWAY)) {
        for piece in opened[i].intersection(&opened[j]) {
            let ground = MultiPolygon::new(vec![piece]);
            let Some(local) = window(&ground, 1.0).map(|around| zone.intersection(&around)) else {
                continue;
            };
            let ground = ground.intersection(&local);
            let Some((at, around)) = middle(&ground).zip(window(&ground, 1.1 * reach)) else {
                continue;
            };
            let beside: Vec<Polygon<f64>> = [&cores[i], &cores[j]]
                .into_iter()
                .filter_map(|core| largest(core.intersection(&around)))
                .collect();
            let [a, b] = beside.as_slice() else { continue };
            if found.room() {
                let half = half_width(zone, reach, &around, &beside);
                // The discs at the ends of the parts stand in the corners of the neck, each sqrt(reach² − half²) before it.
                let before = libm::sqrt((reach * reach - half * half).max(0.0));
                let length = (Euclidean.distance(a, b) - 2.0 * before).max(0.0);
                found.necks.push(Neck {
                    ground,
                    at,
                    width: 2.0 * half,
                    length,
                });
            }
        }
    }
}

/// Pairs of parts that come as near to one another as this. \[m\]
fn neighbours(parts: &[MultiPolygon<f64>], near: f64) -> BTreeSet<(usize, usize)> {
    let tree = segments(
        parts
            .iter()
            .enumerate()
            .flat_map(|(k, part)| part.iter().map(move |polygon| (k, polygon))),
    );
    let line = |side: &rstar::primitives::Line<[f64; 2]>| {
        Line::new(Coord::from(side.from), Coord::from(side.to))
    };
    let mut pairs = BTreeSet::new();
    for side in &tree {
        let own = line(side.geom());
        let (low, high) = (own.bounding_rect().min(), own.bounding_rect().max());
        let around =
            AABB::from_corners([low.x - near, low.y - near], [high.x + near, high.y + near]);
        for other in tree
            .locate_in_envelope_intersecting(around)
            .filter(|other| other.data > side.data)
        {
            if !pairs.contains(&(side.data, other.data))
                && Euclidean.distance(&own, &line(other.geom())) <= near
            {
                pairs.insert((side.data, other.data));
            }
        }
    }
    pairs
}

/// Half the width of the widest machine that gets from each of the `ends` to each other within `near`. \[m\]
fn half_width(
    zone: &MultiPolygon<f64>,
    reach: f64,
    near: &MultiPolygon<f64>,
    ends: &[Polygon<f64>],
) -> f64 {
    let Some(around) = window(near, 1.1 * reach) else {
        return 0.0;
    };
    let local = zone.intersection(&around);
    let passes = |half: f64| {
        let left = grown(&local, -half).intersection(near);
        left.iter()
            .any(|part| ends.iter().all(|end| part.intersects(end)))
    };
    let (mut low, mut high) = (0.0, reach);
    for _ in 0..HALVINGS {
        let half = f64::midpoint(low, high);
        if passes(half) {
            low = half;
        } else {
            high = half;
        }
    }
    f64::midpoint(low, high)
}

/// The bounding box, wider by `margin` on each side.
fn window(ground: &MultiPolygon<f64>, margin: f64) -> Option<MultiPolygon<f64>> {
    let inner = ground.bounding_rect()?;
    let by = Coord {
        x: margin,
        y: margin,
    };
    Some(MultiPolygon::new(vec![
        Rect::new(inner.min() - by, inner.max() + by).to_polygon(),
    ]))
}

fn largest(polygon: MultiPolygon<f64>) -> Option<Polygon<f64>> {
    polygon
        .into_iter()
        .max_by(|a, b| a.unsigned_area().total_cmp(&b.unsigned_area()))
}

/// The centroid, or, where that lies outside, a point within.
fn middle(ground: &MultiPolygon<f64>) -> Option<Coord<f64>> {
    let centre: Option<Point<f64>> = ground.centroid().filter(|centre| ground.contains(centre));
    centre
        .map(|point| point.0)
        .or_else(|| interior_point(ground))
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::MapCoords;

    /// Half of 24 m less four hundredths.
    const REACH: f64 = 11.52;

    fn shape(points: &[(f64, f64)]) -> Polygon<f64> {
        Polygon::new(LineString::from(points.to_vec()), Vec::new())
    }

    /// Two blocks of 100 m by 100 m, joined by a corridor from x = 100 of this length, `half` to either side of y = 50.
    fn dumbbell(length: f64, half: f64) -> Polygon<f64> {
        let (near, far) = (100.0, 100.0 + length);
        shape(&[
            (0.0, 0.0),
            (near, 0.0),
            (near, 50.0 - half),
            (far, 50.0 - half),
            (far, 0.0),
            (far + 100.0, 0.0),
            (far + 100.0, 100.0),
            (far, 100.0),
            (far, 50.0 + half),
            (near, 50.0 + half),
            (near, 100.0),
            (0.0, 100.0),
        ])
    }

    fn found(polygon: &Polygon<f64>) -> Vec<Neck> {
        let (found, more) = necks(
            polygon,
            &grown(&MultiPolygon::new(vec![polygon.clone()]), -REACH),
            REACH,
            100,
        );
        assert_eq!(more, 0);
        found
    }

    fn turned(polygon: &Polygon<f64>, degrees: f64) -> Polygon<f64> {
        let (sine, cosine) = libm::sincos(degrees.to_radians());
        polygon.map_coords(|c| Coord {
            x: 560_000.0 + c.x * cosine - c.y * sine,
            y: 5_560_000.0 + c.x * sine + c.y * cosine,
        })
    }

    #[test]
    fn corridors_are_found_with_their_width_and_length() {
        // Widths and lengths by arithmetic, from nearly nothing to just below the machine, long, short and of no length at all.
        for (length, half) in [
            (60.0, 5.0),
            (60.0, 11.0),
            (60.0, 1.0),
            (20.0, 8.0),
            (6.0, 3.0),
            (2.0, 10.0),
            (0.5, 6.0),
            (200.0, 11.4),
        ] {
            for degrees in [0.0, 27.0, 45.0, 90.0] {
                let found = found(&turned(&dumbbell(length, half), degrees));
                assert_eq!(
                    found.len(),
                    1,
                    "{length} m by {half} m at {degrees}°: {found:?}"
                );
                let neck = &found[0];
                assert!(
                    (neck.width - 2.0 * half).abs() < 0.1,
                    "{length} m by {half} m at {degrees}°: {} m wide",
                    neck.width
                );
                assert!(
                    (neck.length - length).abs() < 0.05 * length + 1.0,
                    "{length} m by {half} m at {degrees}°: {} m long",
                    neck.length
                );
                let place = turned(
                    &shape(&[(100.0 + length / 2.0, 50.0), (0.0, 0.0), (0.0, 1.0)]),
                    degrees,
                )
                .exterior()
                .0[0];
                let off = libm::hypot(neck.at.x - place.x, neck.at.y - place.y);
                assert!(
                    off < 3.0,
                    "{length} m by {half} m at {degrees}°: {off} m off"
                );
            }
        }
    }

    #[test]
    fn what_the_machine_fits_into_is_no_neck() {
        for degrees in [0.0, 27.0, 45.0] {
            for length in [0.5, 10.0, 60.0] {
                assert_eq!(found(&turned(&dumbbell(length, 11.7), degrees)), []);
            }
            // Corners of all kinds: a star of five, with arms that come to a point.
            let star: Vec<(f64, f64)> = (0..10)
                .map(|k| {
                    let (sine, cosine) = libm::sincos(f64::from(k) * std::f64::consts::PI / 5.0);
                    let far = if k % 2 == 0 { 150.0 } else { 60.0 };
                    (far * cosine, far * sine)
                })
                .collect();
            assert_eq!(found(&turned(&shape(&star), degrees)), []);
            // Stairs of 6 m, as cells or pixels make them, around a lake of stairs.
            let stairs = |from: f64, to: f64| -> Vec<(f64, f64)> {
                let mut points = vec![(from, from)];
                let mut at = (to, from);
                points.push(at);
                while at.0 > from + 6.0 {
                    at.1 += 6.0;
                    points.push(at);
                    at.0 -= 6.0;
                    points.push(at);
                }
                points.push((from, at.1));
                points
            };
            let lake = Polygon::new(
                LineString::from(stairs(0.0, 300.0)),
                vec![LineString::from(stairs(60.0, 120.0))],
            );
            assert_eq!(found(&turned(&lake, degrees)), []);
            // A comb: teeth of 8 m are narrow, but lead nowhere.
            let mut comb = vec![(0.0, 0.0), (120.0, 0.0)];
            for k in (0..6).rev() {
                let x = 20.0 * f64::from(k);
                comb.extend([(x + 8.0, 60.0), (x + 8.0, 100.0), (x, 100.0), (x, 60.0)]);
            }
            comb[1].0 = 108.0;
            comb[2] = (108.0, 60.0);
            assert_eq!(found(&turned(&shape(&comb), degrees)), []);
        }
    }

    #[test]
    fn a_ring_with_a_narrow_side_has_a_neck() {
        // The pond's side of 30 m, and 5 to 6.5 m at either end, where the machine cannot turn round its corner yet.
        let pond = LineString::from(vec![(60.0, 40.0), (95.0, 40.0), (95.0, 70.0), (60.0, 70.0)]);
        let ring = Polygon::new(
            shape(&[(0.0, 0.0), (100.0, 0.0), (100.0, 120.0), (0.0, 120.0)])
                .exterior()
                .clone(),
            vec![pond],
        );
        for degrees in [0.0, 27.0] {
            let found = found(&turned(&ring, degrees));
            assert_eq!(found.len(), 1, "{found:?}");
            assert!(
                (found[0].width - 5.0).abs() < 0.1 && (found[0].length - 41.0).abs() < 3.0,
                "{found:?}"
            );
        }
    }

    #[test]
    fn several_necks_are_told_apart() {
        // Three blocks in a row, and a second way from the first to the last.
        let zone = shape(&[(0.0, 0.0), (340.0, 0.0), (340.0, 60.0), (0.0, 60.0)]);
        let hole = |x: f64, y0: f64, y1: f64| {
            LineString::from(vec![(x, y0), (x + 20.0, y0), (x + 20.0, y1), (x, y1)])
        };
        let zone = Polygon::new(
            zone.exterior().clone(),
            vec![hole(100.0, 10.0, 48.0), hole(220.0, 10.0, 30.0)],
        );
        let found = found(&zone);
        let widths: Vec<f64> = found.iter().map(|neck| libm::round(neck.width)).collect();
        assert_eq!(widths.len(), 3, "{found:?}");
        let (few, more) = necks(
            &zone,
            &grown(&MultiPolygon::new(vec![zone.clone()]), -REACH),
            REACH,
            1,
        );
        assert_eq!(
            (few.len(), more),
            (1, 2),
            "measured as far as asked for, and counted beyond"
        );
        assert!(
            widths.contains(&12.0) && widths.iter().filter(|width| **width == 10.0).count() == 2,
            "{widths:?}"
        );
    }
}
