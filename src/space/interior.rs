//! A place well inside a polygon: the middle of the longest piece of the horizontal line at half its height.
//!
//! # Source
//! The geo crate's `InteriorPoint`, whose places these are bit for bit (a test compares them). It compares all edges that overlap from west to east with each
//! other, and every candidate by a relation of the whole; here only the edges that reach the line are looked at.

use geo::coordinate_position::{CoordPos, CoordinatePosition as _};
use geo::line_intersection::LineIntersection;
use geo::sweep::Intersections;
use geo::{BoundingRect as _, Coord, CoordsIter as _, Line, LinesIter as _, MultiPolygon, Polygon};

/// A place inside the part whose piece of the line is the longest; a corner of one that encloses nothing, `None` of nothing.
pub(crate) fn interior_point(shape: &MultiPolygon<f64>) -> Option<Coord<f64>> {
    let places = shape.iter().filter_map(with_length);
    places
        .min_by(|a, b| b.1.total_cmp(&a.1))
        .map(|(place, _)| place)
}

/// The same of one polygon.
pub(crate) fn interior_point_of(polygon: &Polygon<f64>) -> Option<Coord<f64>> {
    with_length(polygon).map(|(place, _)| place)
}

/// The place, and the length of the piece that it is the middle of; 0 where it lies on the outline. \[m\]
fn with_length(polygon: &Polygon<f64>) -> Option<(Coord<f64>, f64)> {
    if let [only] = polygon.exterior().0.as_slice() {
        return Some((*only, 0.0));
    }
    let line = scan_line(polygon)?;
    let lines = reaching(polygon, line.start.y).chain(std::iter::once(line));
    let meetings: Intersections<Line<f64>> = lines.collect();
    let mut along: Vec<f64> = Vec::new();
    for (one, other, met) in meetings {
        if one != line && other != line {
            continue;
        }
        match met {
            LineIntersection::Collinear { intersection } => {
                along.extend([intersection.start.x, intersection.end.x]);
            }
            LineIntersection::SinglePoint { intersection, .. } => along.push(intersection.x),
        }
    }
    along.sort_by(f64::total_cmp);
    let mut pieces: Vec<(f64, f64)> = along
        .windows(2)
        .map(|ends| (f64::midpoint(ends[0], ends[1]), ends[1] - ends[0]))
        .collect();
    pieces.sort_by(|a, b| b.1.total_cmp(&a.1));
    let found = pieces.into_iter().find_map(|(x, length)| {
        let place = Coord { x, y: line.start.y };
        match polygon.coordinate_position(&place) {
            CoordPos::Inside => Some((place, length)),
            CoordPos::OnBoundary => Some((place, 0.0)),
            CoordPos::Outside => None,
        }
    });
    found.or_else(|| polygon.coords_iter().next().map(|corner| (corner, 0.0)))
}

/// The line at half the height; where a vertex lies on it, halfway to the nearest one that does not.
fn scan_line(polygon: &Polygon<f64>) -> Option<Line<f64>> {
    let bounds = polygon.bounding_rect()?;
    let mut middle = f64::midpoint(bounds.min().y, bounds.max().y);
    if polygon.coords_iter().any(|corner| corner.y == middle) {
        let others = polygon.coords_iter().filter(|corner| corner.y != middle);
        let nearest = others.min_by(|a, b| {
            let far = |corner: &Coord<f64>| (corner.y - middle).abs();
            far(a).total_cmp(&far(b))
        });
        if let Some(nearest) = nearest {
            middle = f64::midpoint(middle, nearest.y);
        }
    }
    let at = |x: f64| Coord { x, y: middle };
    Some(Line::new(at(bounds.min().x), at(bounds.max().x)))
}

/// Edges that reach a height; no other can meet the line there.
fn reaching(polygon: &Polygon<f64>, y: f64) -> impl Iterator<Item = Line<f64>> + '_ {
    polygon
        .lines_iter()
        .filter(move |edge| edge.start.y.min(edge.end.y) <= y && y <= edge.start.y.max(edge.end.y))
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{InteriorPoint as _, LineString};
    use proptest::prelude::*;

    /// A ring of corners at these distances from a middle, with a hole of half of them.
    fn star(middle: (f64, f64), reaches: &[f64], hole: bool) -> Polygon<f64> {
        let ring = |share: f64| {
            let count = reaches.len() as f64;
            let corners = reaches.iter().enumerate().map(|(k, reach)| {
                let angle = std::f64::consts::TAU * k as f64 / count;
                Coord {
                    x: middle.0 + share * reach * libm::cos(angle),
                    y: middle.1 + share * reach * libm::sin(angle),
                }
            });
            let mut ring: LineString<f64> = corners.collect();
            ring.close();
            ring
        };
        Polygon::new(ring(1.0), if hole { vec![ring(0.5)] } else { Vec::new() })
    }

    proptest! {
        #[test]
        fn places_are_those_of_geo(
            middle in (-1e3..1e6_f64, -1e3..6e6_f64),
            reaches in proptest::collection::vec(1.0..200.0_f64, 3..40),
            more in proptest::collection::vec(1.0..200.0_f64, 3..9),
            hole: bool,
            whole: bool,
        ) {
            // On whole metres vertices lie on the line, and edges along it.
            let rounded = |reach: &f64| if whole { libm::round(*reach) } else { *reach };
            let reaches: Vec<f64> = reaches.iter().map(rounded).collect();
            let one = star(middle, &reaches, hole);
            prop_assert_eq!(interior_point_of(&one), one.interior_point().map(|p| p.0));
            let both = MultiPolygon::new(vec![one, star((middle.0 + 500.0, middle.1), &more, !hole)]);
            prop_assert_eq!(interior_point(&both), both.interior_point().map(|p| p.0));
        }

        #[test]
        fn places_on_a_grid_are_those_of_geo(corners in proptest::collection::vec((0..6_i32, 0..6_i32), 1..9)) {
            let corners = corners.iter().map(|(x, y)| Coord { x: f64::from(*x), y: f64::from(*y) });
            let one = Polygon::new(corners.collect(), Vec::new());
            // One that crosses itself has an inside that is told in two ways.
            if crate::space::valid::is_valid(&MultiPolygon::new(vec![one.clone()])) {
                prop_assert_eq!(interior_point_of(&one), one.interior_point().map(|p| p.0));
            }
        }
    }

    #[test]
    fn few_edges_of_a_long_outline_are_looked_at() {
        let count = 100_000;
        let reaches: Vec<f64> = (0..count)
            .map(|k| 100.0 + 0.01 * f64::from(k % 2))
            .collect();
        let field = star((5e5, 5e6), &reaches, true);
        let line = scan_line(&field).unwrap();
        assert!(reaching(&field, line.start.y).count() < 20);
        let place = interior_point_of(&field).unwrap();
        assert_eq!(field.coordinate_position(&place), CoordPos::Inside);
    }

    #[test]
    fn what_encloses_nothing_has_a_corner() {
        let corner = Coord { x: 1.0, y: 2.0 };
        let flat = Polygon::new(LineString::new(vec![corner, corner, corner]), Vec::new());
        assert_eq!(interior_point_of(&flat), flat.interior_point().map(|p| p.0));
        assert_eq!(interior_point(&MultiPolygon::new(Vec::new())), None);
    }
}
