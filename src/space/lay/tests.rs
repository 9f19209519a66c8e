use super::*;
use crate::space::curve::{CurveFault, CurveRule};
use crate::space::polygon::{oriented, rings_of};
use approx::assert_relative_eq;
use geo::{Area, Coord, LineString, Polygon, Rect, Validation};
use proptest::prelude::*;

const PLACE: (f64, f64) = (5e5, 5.4e6);

fn framed(shape: &MultiPolygon<f64>, azimuth: f64, length: f64, width: f64) -> CellFrame {
    let mut frame = CellFrame::new(azimuth, length, width);
    let uv: Vec<(f64, f64)> = rings_of(shape)
        .iter()
        .flatten()
        .map(|p| frame.to_uv(p[0], p[1]))
        .collect();
    (frame.u0, frame.v0) = uv
        .iter()
        .fold((f64::INFINITY, f64::INFINITY), |minimum, p| {
            (minimum.0.min(p.0), minimum.1.min(p.1))
        });
    frame
}

fn straight(frames: &[CellFrame]) -> Vec<Way> {
    frames.iter().copied().map(Way::Straight).collect()
}

fn rectangle(west: f64, south: f64, east: f64, north: f64) -> MultiPolygon<f64> {
    let corner = |x: f64, y: f64| Coord {
        x: PLACE.0 + x,
        y: PLACE.1 + y,
    };
    MultiPolygon::new(vec![
        Rect::new(corner(west, south), corner(east, north)).to_polygon(),
    ])
}

fn star(x: f64, y: f64, radii: &[f64]) -> MultiPolygon<f64> {
    let n = radii.len() as f64;
    let ring: Vec<Coord<f64>> = radii
        .iter()
        .enumerate()
        .map(|(i, r)| {
            let a = 0.2 + std::f64::consts::TAU * i as f64 / n;
            Coord {
                x: PLACE.0 + x + r * libm::cos(a),
                y: PLACE.1 + y + r * libm::sin(a),
            }
        })
        .collect();
    oriented(&MultiPolygon::new(vec![Polygon::new(
        LineString::new(ring),
        Vec::new(),
    )]))
}

/// The grid is a partition of the field: areas add up, and every edge of a cell is another cell's too, or lies on the field's edge.
fn check(field: &MultiPolygon<f64>, grid: &CellGrid, borders: &[Border]) {
    let sum: f64 = grid.cells.iter().map(|cell| cell.area).sum();
    assert_relative_eq!(sum, field.unsigned_area(), max_relative = 1e-9);
    let mut edges: BTreeMap<EdgeKey, (u32, u32, f64)> = BTreeMap::new();
    let mut perimeters = 0.0;
    for k in 0..grid.cells.len() {
        let outline = grid.outline(k);
        assert_relative_eq!(
            outline.unsigned_area(),
            grid.cells[k].area,
            max_relative = 1e-6,
            epsilon = 1e-5
        );
        if grid.cells[k].area > 1e-2 {
            assert!(outline.is_valid(), "{:?}", grid.cells[k]);
        }
        for (ring, _) in grid.rings(k) {
            for edge in ring.windows(2) {
                let (a, b) = (bits(edge[0]), bits(edge[1]));
                let length = libm::hypot(edge[1][0] - edge[0][0], edge[1][1] - edge[0][1]);
                let count = edges.entry((a.min(b), a.max(b))).or_default();
                *if a < b { &mut count.0 } else { &mut count.1 } += 1;
                count.2 = length;
                perimeters += length;
            }
        }
    }
    let rim: Vec<_> = rings_of(field)
        .iter()
        .flat_map(|ring| {
            ring.windows(2)
                .map(|edge| (edge[0], edge[1]))
                .collect::<Vec<_>>()
        })
        .collect();
    let on_rim = |p: [u64; 2]| {
        rim.iter()
            .any(|&(a, b)| off_and_along(p.map(f64::from_bits), a, b).0 < 1e-6)
    };
    let mut open = 0.0;
    for ((a, b), (there, back, length)) in edges {
        assert!(there <= 1 && back <= 1);
        if there + back == 1 {
            open += length;
            // What a dropped crumb of a square millimetre leaves is shorter than this.
            assert!(
                length < 1e-2 || (on_rim(a) && on_rim(b)),
                "{:?} {:?} {length}",
                a.map(f64::from_bits),
                b.map(f64::from_bits)
            );
        }
    }
    let shared: f64 = borders.iter().map(|border| border.length).sum();
    assert!(borders.iter().all(|border| border.a < border.b));
    assert!(
        borders
            .windows(2)
            .all(|pair| (pair[0].a, pair[0].b) < (pair[1].a, pair[1].b))
    );
    assert_relative_eq!(
        2.0 * shared + open,
        perimeters,
        max_relative = 1e-6,
        epsilon = 1.0
    );
}

#[test]
fn two_headings_meet_along_a_seam() {
    // 216 m × 120 m, the eastern 96 m driven east, the rest north: cells of 20 m × 12 m.
    let field = rectangle(0.0, 0.0, 216.0, 120.0);
    let shapes = split(&field, &[rectangle(120.0, -10.0, 300.0, 200.0)]).unwrap();
    let frames = [
        framed(&field, 0.0, 20.0, 12.0),
        framed(&shapes[1], 90.0, 20.0, 12.0),
    ];
    let (grid, borders) = lay(&shapes, &straight(&frames)).unwrap();
    check(&field, &grid, &borders);
    assert_eq!(
        (grid.ways(), grid.cells_of(0).len(), grid.cells_of(1).len()),
        (2, 6 * 10, 5 * 10)
    );
    // Rows and columns count in each part's own frame: v runs to the west in the first, to the north in the second.
    assert_eq!((grid.part_of(59), grid.part_of(60)), (0, 1));
    assert_eq!((grid.cells[60].row, grid.cells[60].col), (0, 0));
    assert_eq!(grid.find(1, 3, 9), Some(99));
    // Along the seam 6 cells of 20 m meet 10 of 12 m: sides at 0, 12, 20, 24, … m.
    let across: Vec<f64> = borders
        .iter()
        .filter(|border| grid.part_of(border.a as usize) != grid.part_of(border.b as usize))
        .map(|b| b.length)
        .collect();
    assert_eq!(across.len(), 6 + 10 - 2);
    assert_relative_eq!(across.iter().sum::<f64>(), 120.0, max_relative = 1e-9);
    assert!(
        grid.cells
            .iter()
            .filter(|cell| cell.shape == CellShape::Whole)
            .count()
            >= 5 * 6,
        "cells away from seam and corners stay whole"
    );
}

#[test]
fn a_field_that_is_one_part_is_cut_as_ever() {
    let field = star(0.0, 0.0, &[120.0, 80.0, 150.0, 90.0, 110.0, 60.0, 140.0]);
    let frame = framed(&field, 33.0, 24.0, 18.0);
    let (grid, borders) = lay(std::slice::from_ref(&field), &straight(&[frame])).unwrap();
    let plain = cut(&field, frame).unwrap();
    check(&field, &grid, &borders);
    let place = |cell: &Cell| (cell.row, cell.col, cell.area.to_bits());
    assert_eq!(
        grid.cells.iter().map(place).collect::<Vec<_>>(),
        plain.cells.iter().map(place).collect::<Vec<_>>()
    );
    assert_eq!(borders, super::borders(&plain));
}

#[test]
fn an_island_of_its_own_heading() {
    let field = rectangle(0.0, 0.0, 300.0, 300.0);
    let shapes = split(&field, &[star(150.0, 150.0, &[70.0; 24])]).unwrap();
    let frames = [
        framed(&field, 0.0, 24.0, 24.0),
        framed(&shapes[1], 45.0, 24.0, 24.0),
    ];
    let (grid, borders) = lay(&shapes, &straight(&frames)).unwrap();
    check(&field, &grid, &borders);
}

/// An arc of a circle about a place south of the field's corner, turning to the right as it goes east: from 20° west of north to as far east of it.
fn arc(radius: f64, points: u32) -> LineString<f64> {
    let about = |k: u32| (-20.0 + 40.0 * f64::from(k) / f64::from(points - 1)).to_radians();
    (0..points)
        .map(|k| Coord {
            x: PLACE.0 + 150.0 + radius * libm::sin(about(k)),
            y: PLACE.1 - radius + 100.0 + radius * libm::cos(about(k)),
        })
        .collect()
}

const RULE: CurveRule = CurveRule {
    length: 20.0,
    width: 12.0,
    pass: 12.0,
    room: 20.0,
};

#[test]
fn cells_along_a_curve_are_a_partition_and_keep_to_their_passes() {
    let pond = rectangle(100.0, 100.0, 130.0, 140.0);
    let field = crate::space::polygon::oriented(&crate::space::polygon::less(
        &rectangle(0.0, 0.0, 300.0, 200.0),
        &pond,
    ));
    // Longer than the field, so that it is a curve everywhere in it.
    let curve = CurveFrame::new(&arc(600.0, 17), &field, &RULE).unwrap();
    let (grid, borders) = lay(
        std::slice::from_ref(&field),
        &[Way::Curve(Box::new(curve.clone()))],
    )
    .unwrap();
    check(&field, &grid, &borders);
    assert!(
        grid.cells
            .windows(2)
            .all(|pair| (pair[0].row, pair[0].col) < (pair[1].row, pair[1].col)),
        "one cell a row and column"
    );
    // Everywhere on a cell, the distance from the arc's chain says its column: within what chords of 2.5° lie inside their arc, 600 m × (1 − cos 1.25°) = 0.14 m.
    for k in 0..grid.cells.len() {
        for (ring, _) in grid.rings(k) {
            for p in ring {
                let radius = libm::hypot(p[0] - PLACE.0 - 150.0, p[1] - PLACE.1 + 500.0);
                let low = f64::from(grid.cells[k].col) * 12.0 + curve_origin(&curve);
                assert!(
                    (low - 0.3..low + 12.3).contains(&(radius - 600.0)),
                    "{radius} {low}"
                );
            }
        }
        let centre = geo::Centroid::centroid(&grid.outline(k)).unwrap();
        if geo::Contains::contains(&grid.outline(k), &centre) {
            assert_eq!(grid.locate(0, centre.x(), centre.y()), Some(k));
        }
    }
    // Cells away from the edge are as long as the chain is there: 20 m times radius over 600 m.
    let inner: Vec<&Cell> = grid
        .cells
        .iter()
        .filter(|cell| (4..=8).contains(&cell.row))
        .collect();
    let whole = inner.iter().filter(|cell| {
        let middle = 600.0 + (f64::from(cell.col) + 0.5) * 12.0 + curve_origin(&curve);
        (cell.area / (240.0 * middle / 600.0) - 1.0).abs() < 0.01
    });
    assert!(whole.count() > 40);
}

fn curve_origin(curve: &CurveFrame) -> f64 {
    // A place 3 m to the left of the line tells where its column begins.
    let columns = (0..40).map(|k| 3.0 - 12.0 * f64::from(k)).find(|&d| {
        let strip = &curve.strips()[curve.pieces() / 2];
        let (a, b) = strip.across(f64::midpoint(strip.span().0, strip.span().1));
        let v = strip.frame.to_uv(PLACE.0 + 150.0, PLACE.1 + 100.0).1 + d;
        let (x, y) = strip.frame.to_xy(a + b * v, v);
        curve.row_and_column(x, y).is_none_or(|place| place.1 == 0)
    });
    // Passes lie about the line: a column begins 6 m to its right.
    columns.map_or(f64::NAN, |d| libm::floor((d + 6.0) / 12.0) * 12.0 - 6.0)
}

#[test]
fn bends_too_tight_for_the_ground_are_refused() {
    let field = rectangle(0.0, 0.0, 300.0, 200.0);
    // Its centre lies in the field.
    match CurveFrame::new(&arc(90.0, 9), &field, &RULE) {
        Err(CurveFault::Tight {
            radius,
            reach,
            place,
        }) => {
            assert!(
                (80.0..100.0).contains(&radius) && reach > 90.0,
                "{radius} {reach}"
            );
            assert!(
                (place[0] - PLACE.0 - 150.0).abs() < 40.0
                    && (place[1] - PLACE.1 - 97.0).abs() < 10.0,
                "{place:?}"
            );
        }
        other => panic!("{other:?}"),
    }
    let hairpin: LineString<f64> = [
        (0.0, 0.0),
        (100.0, 0.0),
        (110.0, 5.0),
        (100.0, 10.0),
        (0.0, 10.0),
    ]
    .map(|(x, y)| Coord {
        x: PLACE.0 + x,
        y: PLACE.1 + y,
    })
    .to_vec()
    .into();
    assert!(
        matches!(CurveFrame::new(&hairpin, &field, &RULE), Err(CurveFault::Turns { degrees }) if degrees > 170.0)
    );
    assert_eq!(
        CurveFrame::new(&LineString::new(Vec::new()), &field, &RULE),
        Err(CurveFault::NoLength)
    );
}

proptest! {
    #[test]
    fn any_curve_that_can_be_followed_makes_a_partition(
        radii in prop::collection::vec(60.0..200.0_f64, 5..24),
        turns in prop::collection::vec(-6.0..6.0_f64, 2..14),
        heading in 0.0..360.0_f64,
        piece in 20.0..120.0_f64,
        length in 8.0..40.0_f64,
        width in 6.0..30.0_f64,
        with_area in any::<bool>(),
    ) {
        let field = star(0.0, 0.0, &radii);
        let (mut at, mut along) = (Coord { x: PLACE.0 - 3.0 * piece * libm::sin(heading.to_radians()), y: PLACE.1 - 3.0 * piece * libm::cos(heading.to_radians()) }, heading);
        let mut points = vec![at];
        for turn in turns {
            at = Coord { x: at.x + piece * libm::sin(along.to_radians()), y: at.y + piece * libm::cos(along.to_radians()) };
            points.push(at);
            along += turn;
        }
        let rule = CurveRule { length, width, pass: width, room: 10.0 };
        if let Ok(curve) = CurveFrame::new(&LineString::new(points), &field, &rule) {
            let areas = if with_area { vec![star(40.0, 20.0, &[90.0; 7])] } else { Vec::new() };
            let shapes = split(&field, &areas).unwrap();
            let ways = [Way::Curve(Box::new(curve)), Way::Straight(framed(&field, 17.0, length, width))];
            let (grid, borders) = lay(&shapes, &ways[..shapes.len()]).unwrap();
            check(&field, &grid, &borders);
            for part in 0..grid.ways() {
                prop_assert!(grid.cells[grid.cells_of(part)].windows(2).all(|pair| (pair[0].row, pair[0].col) < (pair[1].row, pair[1].col)));
            }
        }
    }

    #[test]
    fn any_areas_with_any_headings_are_a_partition(
        radii in prop::collection::vec(60.0..250.0_f64, 5..24),
        areas in prop::collection::vec((-200.0..200.0_f64, -200.0..200.0_f64, 30.0..200.0_f64, 3..9_usize, 0.0..360.0_f64), 1..4),
        azimuth in prop_oneof![0.0..180.0_f64, Just(0.0), Just(90.0)],
        length in 8.0..40.0_f64,
        width in 8.0..40.0_f64,
        snapped in any::<bool>(),
    ) {
        let field = if snapped { rectangle(-150.0, -100.0, 150.0, 100.0) } else { star(0.0, 0.0, &radii) };
        let given: Vec<_> = areas
            .iter()
            .map(|&(x, y, r, n, _)| if snapped { rectangle(libm::round(x / 24.0) * 24.0, -200.0, libm::round(x / 24.0) * 24.0 + 72.0, y) } else { star(x, y, &vec![r; n]) })
            .collect();
        let shapes = split(&field, &given).unwrap();
        let mut frames = vec![framed(&field, azimuth, length, width)];
        frames.extend(shapes[1..].iter().zip(&areas).map(|(shape, area)| framed(shape, if snapped { 90.0 } else { area.4 }, length, width)));
        for (frame, shape) in frames.iter_mut().zip(&shapes) {
            if shape.0.is_empty() {
                (frame.u0, frame.v0) = (0.0, 0.0);
            }
        }
        let (grid, borders) = lay(&shapes, &straight(&frames)).unwrap();
        check(&field, &grid, &borders);
    }
}
