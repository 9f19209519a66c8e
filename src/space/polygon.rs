//! Polygon work on the plane: buffers, differences, the least-area rectangle, rings in another system.

use geo::algorithm::buffer::{BufferStyle, LineCap, LineJoin};
use geo::algorithm::orient::Direction;
use geo::{
    BooleanOps, Buffer, ConvexHull, Coord, CoordsIter as _, LineString, MultiLineString,
    MultiPolygon, Orient, Polygon, Simplify,
};

use crate::space::crs::{CrsError, Projector};
pub use crate::space::repair::{Repaired, repaired};

/// Angle of one chord of a round join: 16 chords a quadrant.
const CHORD: f64 = std::f64::consts::FRAC_PI_2 / 16.0;

/// Corners sharper than this are cut off when slits are closed. \[rad\]
const SHARP: f64 = 0.1;

/// Outlines of more vertices than this are thinned before they are moved: where vertices lie closer than the distance, the moved edges of each cross those of all
/// others near it, and their number grows with the square.
const MANY: usize = 20_000;

/// A polygon grown (`distance` > 0) or shrunk (`distance` < 0), with round joins of 16 chords a quadrant. \[m\]
///
/// An outline of more than 20 000 vertices is moved by up to a quarter of the distance further than asked, and never by less: by what its thinning may have moved it.
pub fn grown(polygon: &MultiPolygon<f64>, distance: f64) -> MultiPolygon<f64> {
    if distance == 0.0 {
        return polygon.clone();
    }
    let moved = |polygon: &MultiPolygon<f64>, by: f64| {
        polygon.buffer_with_style(BufferStyle::new(by).line_join(LineJoin::Round(CHORD)))
    };
    if polygon.coords_count() <= MANY {
        return moved(polygon, distance);
    }
    let mut tolerance = distance.abs() / 256.0;
    let mut thin = thinned(polygon, tolerance);
    while thin.coords_count() > MANY && tolerance < distance.abs() / 4.0 {
        tolerance *= 2.0;
        thin = thinned(polygon, tolerance);
    }
    moved(&thin, distance + tolerance.copysign(distance))
}

/// A polygon without the vertices that lie within `tolerance` of the last one that is kept, so that no place of its outline is moved by more. \[m\]
fn thinned(polygon: &MultiPolygon<f64>, tolerance: f64) -> MultiPolygon<f64> {
    let ring = |ring: &LineString<f64>| {
        let mut kept: Vec<Coord<f64>> = Vec::new();
        for place in ring {
            let is_near =
                |last: &Coord<f64>| libm::hypot(last.x - place.x, last.y - place.y) <= tolerance;
            if !kept.last().is_some_and(is_near) {
                kept.push(*place);
            }
        }
        let mut thin = LineString::new(kept);
        thin.close();
        // What is smaller than the tolerance stays as it is.
        if thin.0.len() < 4 { ring.clone() } else { thin }
    };
    polygon
        .iter()
        .map(|part| {
            Polygon::new(
                ring(part.exterior()),
                part.interiors().iter().map(ring).collect(),
            )
        })
        .collect()
}

/// How much longer an outline is than the way around it: 1 for a convex one, some 5 for a field of many bays.
pub fn roughness(ring: &LineString<f64>) -> f64 {
    let length = |ring: &LineString<f64>| {
        ring.lines()
            .map(|edge| libm::hypot(edge.dx(), edge.dy()))
            .sum::<f64>()
    };
    let around = length(ring.convex_hull().exterior());
    if around > 0.0 {
        length(ring) / around
    } else {
        1.0
    }
}

/// A polygon grown by a hair: every corner stays one corner, so that nothing becomes round. Of corners sharper than 0.1 rad the tip is cut off. \[m\]
pub fn grown_by_tolerance(polygon: &MultiPolygon<f64>, distance: f64) -> MultiPolygon<f64> {
    polygon.buffer_with_style(BufferStyle::new(distance).line_join(LineJoin::Miter(SHARP)))
}

/// Lines as strips: widened to both sides by `half`, with square ends at the lines' own and sharp corners. \[m\]
pub fn lines_widened(lines: &MultiLineString<f64>, half: f64) -> MultiPolygon<f64> {
    let style = BufferStyle::new(half)
        .line_cap(LineCap::Butt)
        .line_join(LineJoin::Miter(SHARP));
    lines.buffer_with_style(style)
}

/// Closes slits and notches that are narrower than a width: grown by half of it and shrunk again, with sharp corners, which stay where they are but for a tenth of the
/// width. \[m\]
pub fn without_narrow_gaps(polygon: &MultiPolygon<f64>, width: f64) -> MultiPolygon<f64> {
    let moved = |shape: &MultiPolygon<f64>, by: f64| {
        shape.buffer_with_style(BufferStyle::new(by).line_join(LineJoin::Miter(SHARP)))
    };
    moved(&moved(polygon, width / 2.0), -width / 2.0).simplify(width / 10.0)
}

/// `from` less `what`; `from` itself, bit for bit, when there is nothing to take away.
pub fn less(from: &MultiPolygon<f64>, what: &MultiPolygon<f64>) -> MultiPolygon<f64> {
    if what.0.is_empty() {
        from.clone()
    } else {
        from.difference(what)
    }
}

/// The union of many.
pub fn joined(parts: &[MultiPolygon<f64>]) -> MultiPolygon<f64> {
    match parts {
        [] => MultiPolygon::new(Vec::new()),
        [one] => one.clone(),
        many => geo::algorithm::bool_ops::unary_union(many),
    }
}

/// Exteriors counter-clockwise, holes clockwise.
pub fn oriented(polygon: &MultiPolygon<f64>) -> MultiPolygon<f64> {
    polygon.orient(Direction::Default)
}

/// The least-area rectangle around a shape, seen along its longer side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rectangle {
    /// The corner with the least coordinate along and across.
    pub corner: [f64; 2],
    /// Unit vector of the longer side; azimuth in [0°, 180°).
    pub along: [f64; 2],
    /// Length of the longer side. \[m\]
    pub length: f64,
    /// Length of the shorter side. \[m\]
    pub width: f64,
}

impl Rectangle {
    /// Azimuth of the longer side, clockwise from the plane's north. \[°\] In [0, 180).
    pub fn azimuth_deg(&self) -> f64 {
        azimuth_of(self.along)
    }
    /// Position along and to the left of the longer side, from the corner. \[m\]
    pub fn along_across(&self, x: f64, y: f64) -> (f64, f64) {
        let (dx, dy) = (x - self.corner[0], y - self.corner[1]);
        (
            dx * self.along[0] + dy * self.along[1],
            -dx * self.along[1] + dy * self.along[0],
        )
    }
    /// The plane point at a position along and across.
    pub fn point(&self, along: f64, across: f64) -> Coord<f64> {
        Coord {
            x: self.corner[0] + along * self.along[0] - across * self.along[1],
            y: self.corner[1] + along * self.along[1] + across * self.along[0],
        }
    }
    /// The rectangle between two positions along and two across, as a polygon.
    pub fn part(&self, along: (f64, f64), across: (f64, f64)) -> Polygon<f64> {
        let ring = vec![
            self.point(along.0, across.0),
            self.point(along.1, across.0),
            self.point(along.1, across.1),
            self.point(along.0, across.1),
            self.point(along.0, across.0),
        ];
        Polygon::new(LineString::new(ring), Vec::new())
    }
}

fn azimuth_of(direction: [f64; 2]) -> f64 {
    let degrees = libm::atan2(direction[0], direction[1]).to_degrees();
    let folded = degrees.rem_euclid(180.0);
    if folded >= 180.0 { 0.0 } else { folded }
}

/// The least-area enclosing rectangle: a side on a hull edge; of equal areas (within 1e-9) the one whose longer side has the least azimuth in [0°, 180°).
///
/// `None` for an empty or flat shape.
pub fn minimum_rectangle(shape: &MultiPolygon<f64>) -> Option<Rectangle> {
    let hull = shape.convex_hull();
    let points: Vec<Coord<f64>> = hull.exterior().0.clone();
    let mut best: Option<(f64, Rectangle)> = None;
    for edge in points.windows(2) {
        let (dx, dy) = (edge[1].x - edge[0].x, edge[1].y - edge[0].y);
        let size = libm::hypot(dx, dy);
        if size < 1e-9 {
            continue;
        }
        let mut along = [dx / size, dy / size];
        let extent = |d: [f64; 2]| {
            let at = |c: &Coord<f64>| (c.x - points[0].x) * d[0] + (c.y - points[0].y) * d[1];
            points
                .iter()
                .map(at)
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), t| {
                    (low.min(t), high.max(t))
                })
        };
        let across = [-along[1], along[0]];
        let (a, b) = (extent(along), extent(across));
        if b.1 - b.0 > a.1 - a.0 {
            along = across;
        }
        // One of the two directions of an axis: azimuth in [0°, 180°).
        if along[0] < 0.0 || (along[0] == 0.0 && along[1] < 0.0) {
            along = [-along[0], -along[1]];
        }
        let (a, b) = (extent(along), extent([-along[1], along[0]]));
        let (length, width) = (a.1 - a.0, b.1 - b.0);
        let corner = [
            points[0].x + a.0 * along[0] - b.0 * along[1],
            points[0].y + a.0 * along[1] + b.0 * along[0],
        ];
        let rectangle = Rectangle {
            corner,
            along,
            length,
            width,
        };
        let area = length * width;
        let better = match &best {
            None => true,
            Some((minimum, chosen)) => {
                let equal = (area - minimum).abs() <= 1e-9 * minimum.max(area);
                if equal {
                    rectangle.azimuth_deg() < chosen.azimuth_deg() - 1e-9
                } else {
                    area < *minimum
                }
            }
        };
        if better {
            best = Some((area, rectangle));
        }
    }
    best.filter(|(area, _)| *area > 0.0)
        .map(|(_, rectangle)| rectangle)
}

/// Carries a polygon over with its edges densified until no chord strays by more than `tolerance` (in target units) from the true image of the edge.
///
/// `place` maps plane coordinates to the target.
///
/// # Errors
/// As `place`.
pub fn densified(
    polygon: &MultiPolygon<f64>,
    tolerance: f64,
    place: &dyn Fn(f64, f64) -> Result<(f64, f64), CrsError>,
) -> Result<Vec<Vec<[f64; 2]>>, CrsError> {
    let mut rings = Vec::new();
    for part in &polygon.0 {
        for ring in std::iter::once(part.exterior()).chain(part.interiors()) {
            rings.push(densified_ring(
                &ring.0.iter().map(|c| [c.x, c.y]).collect::<Vec<_>>(),
                tolerance,
                place,
            )?);
        }
    }
    Ok(rings)
}

/// One closed ring of [`densified`].
///
/// # Errors
/// As `place`.
pub fn densified_ring(
    ring: &[[f64; 2]],
    tolerance: f64,
    place: &dyn Fn(f64, f64) -> Result<(f64, f64), CrsError>,
) -> Result<Vec<[f64; 2]>, CrsError> {
    let image = |p: [f64; 2]| place(p[0], p[1]).map(|(x, y)| [x, y]);
    let mut out = Vec::with_capacity(ring.len());
    let Some(first) = ring.first() else {
        return Ok(out);
    };
    out.push(image(*first)?);
    for edge in ring.windows(2) {
        // Points by halving, depth first and in order; both directions of an edge meet the same midpoints.
        let mut stack = vec![(edge[0], image(edge[0])?, edge[1], image(edge[1])?, 0_u32)];
        while let Some((a, image_a, b, image_b, depth)) = stack.pop() {
            let middle = [f64::midpoint(a[0], b[0]), f64::midpoint(a[1], b[1])];
            let image_middle = image(middle)?;
            let chord = [
                f64::midpoint(image_a[0], image_b[0]),
                f64::midpoint(image_a[1], image_b[1]),
            ];
            let stray = libm::hypot(image_middle[0] - chord[0], image_middle[1] - chord[1]);
            if stray > tolerance && depth < 24 {
                stack.push((middle, image_middle, b, image_b, depth + 1));
                stack.push((a, image_a, middle, image_middle, depth + 1));
            } else {
                out.push(image_b);
            }
        }
    }
    Ok(out)
}

/// The rings of a polygon as they stand.
pub fn rings_of(polygon: &MultiPolygon<f64>) -> Vec<Vec<[f64; 2]>> {
    polygon
        .0
        .iter()
        .flat_map(|part| std::iter::once(part.exterior()).chain(part.interiors()))
        .map(|ring| ring.0.iter().map(|c| [c.x, c.y]).collect())
        .collect()
}

/// Carries the vertices of a polygon over.
///
/// # Errors
/// [`CrsError::Point`] for a vertex that cannot be carried.
pub fn carried(
    polygon: &MultiPolygon<f64>,
    way: &Projector,
) -> Result<MultiPolygon<f64>, CrsError> {
    way.geometry(polygon)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use geo::{Area as _, polygon};

    fn square(side: f64) -> MultiPolygon<f64> {
        MultiPolygon::new(vec![
            polygon![(x: 0.0, y: 0.0), (x: side, y: 0.0), (x: side, y: side), (x: 0.0, y: side)],
        ])
    }

    #[test]
    fn shrinking_a_rectangle_is_exact() {
        assert_relative_eq!(
            grown(&square(30.0), -3.0).unsigned_area(),
            24.0 * 24.0,
            max_relative = 1e-6
        );
        assert!(grown(&square(30.0), -15.5).0.is_empty());
    }

    #[test]
    fn growing_rounds_corners_with_sixteen_chords() {
        // Square plus four sides plus an inscribed 64-gon of radius 2: 64/2 · sin(2π/64) · 4.
        let expected =
            900.0 + 4.0 * 30.0 * 2.0 + 32.0 * libm::sin(std::f64::consts::TAU / 64.0) * 4.0;
        assert_relative_eq!(
            grown(&square(30.0), 2.0).unsigned_area(),
            expected,
            max_relative = 1e-5
        );
    }

    #[test]
    fn an_outline_of_many_vertices_is_moved_no_less_than_asked_and_a_quarter_more_at_most() {
        let side = |from: (f64, f64), to: (f64, f64)| {
            (0..10_000).map(move |k| {
                let share = f64::from(k) / 10_000.0;
                Coord {
                    x: from.0 + share * (to.0 - from.0),
                    y: from.1 + share * (to.1 - from.1),
                }
            })
        };
        let corners = [(0.0, 0.0), (300.0, 0.0), (300.0, 300.0), (0.0, 300.0)];
        let ring: Vec<Coord<f64>> = (0..4)
            .flat_map(|k| side(corners[k], corners[(k + 1) % 4]))
            .collect();
        let many = MultiPolygon::new(vec![Polygon::new(LineString::new(ring), Vec::new())]);
        for distance in [12.0, -12.0] {
            let (thin, exact) = (grown(&many, distance), grown(&square(300.0), distance));
            // Between the polygon that is moved as asked and the one that is moved by a quarter more.
            let further = grown(&square(300.0), distance * 1.25);
            let (minimum, most) = (exact.unsigned_area(), further.unsigned_area());
            let found = thin.unsigned_area();
            assert!(
                found >= minimum.min(most) - 1e-6 && found <= minimum.max(most) + 1e-6,
                "{distance}: {minimum} {found} {most}"
            );
        }
    }

    #[test]
    fn a_saw_is_rougher_than_a_field() {
        assert_relative_eq!(roughness(square(30.0).0[0].exterior()), 1.0);
        let saw: Vec<Coord<f64>> = (0..1_000)
            .map(|k| Coord {
                x: f64::from(k) * 0.1,
                y: f64::from(k % 2) * 10.0,
            })
            .collect();
        // A thousand teeth of 10 m around 100 m by 10 m.
        assert_relative_eq!(
            roughness(&LineString::new(saw)),
            9_990.5 / 219.8,
            max_relative = 0.02
        );
        assert_relative_eq!(roughness(&LineString::new(Vec::new())), 1.0);
    }

    #[test]
    fn least_rectangle_of_a_turned_one() {
        let (s, c) = (libm::sin(0.5), libm::cos(0.5));
        let turn = |x: f64, y: f64| Coord {
            x: x * c - y * s + 5e5,
            y: x * s + y * c + 5.4e6,
        };
        let shape = MultiPolygon::new(vec![Polygon::new(
            LineString::new(vec![
                turn(0.0, 0.0),
                turn(300.0, 0.0),
                turn(300.0, 36.0),
                turn(150.0, 30.0),
                turn(0.0, 36.0),
                turn(0.0, 0.0),
            ]),
            Vec::new(),
        )]);
        let rectangle = minimum_rectangle(&shape).unwrap();
        assert_relative_eq!(rectangle.length, 300.0, max_relative = 1e-8);
        assert_relative_eq!(rectangle.width, 36.0, max_relative = 1e-8);
        assert_relative_eq!(
            rectangle.azimuth_deg(),
            90.0 - 0.5_f64.to_degrees(),
            max_relative = 1e-9
        );
    }

    #[test]
    fn a_square_lies_along_the_lesser_azimuth() {
        assert_relative_eq!(
            minimum_rectangle(&square(10.0)).unwrap().azimuth_deg(),
            0.0,
            epsilon = 1e-9
        );
    }

    #[test]
    fn edges_are_densified_until_the_chord_is_true() {
        let bend = |x: f64, y: f64| Ok((x, y + x * x / 1000.0));
        let rings = densified(&square(100.0), 0.01, &bend).unwrap();
        assert!(rings[0].len() > 20);
        for pair in rings[0]
            .windows(2)
            .filter(|p| p[0][0] != p[1][0] && p[0][1] < 50.0 && p[1][1] < 50.0)
        {
            let (xm, ym) = (
                f64::midpoint(pair[0][0], pair[1][0]),
                f64::midpoint(pair[0][1], pair[1][1]),
            );
            assert!((ym - xm * xm / 1000.0).abs() <= 0.01 + 1e-12);
        }
    }
}
