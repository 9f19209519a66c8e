//! What must hold of outlines whatever the labels: they partition the ground, before and after simplification.

use crate::space::cells::{Border, Cell, CellFrame, CellGrid, CellShape, Piece};
use crate::zones::build::{GroupBy, Kind, Rate, ZoneCell, ZoneRule, build};
use crate::zones::outline::outlines;
use crate::zones::shape::{ShapeRule, shape};
use crate::zones::simplify::simplify;
use geo::algorithm::kernels::{Kernel, Orientation, RobustKernel};
use geo::{Area, Coord, Distance, Euclidean, Line, LineString, MultiPolygon, Point, Validation};
use proptest::prelude::*;
use rstar::RTree;
use rstar::primitives::{GeomWithData, Rectangle};
use std::collections::BTreeMap;

/// A cell of one of several shapes: whole, cut once, cut in two, with a hole, or with a vertex on its side that the neighbour may lack.
pub(super) fn cell(frame: &CellFrame, row: i32, col: i32, shape: u8) -> Cell {
    let (u0, u1, v0, v1) = (
        frame.row_start(row),
        frame.row_start(row + 1),
        frame.col_start(col),
        frame.col_start(col + 1),
    );
    let (um, vm) = (f64::midpoint(u0, u1), f64::midpoint(v0, v1));
    let [a, b, c, d] = [[u0, v0], [u1, v0], [u1, v1], [u0, v1]];
    let ring = |points: &[[f64; 2]]| -> Vec<[f64; 2]> {
        points.iter().chain(points.first()).copied().collect()
    };
    let one = |points: &[[f64; 2]]| {
        vec![Piece {
            exterior: ring(points),
            holes: Vec::new(),
        }]
    };
    let pieces = match shape {
        1 => one(&[a, b, c]),
        2 => one(&[b, c, d]),
        3 => one(&[c, d, a]),
        4 => one(&[d, a, b]),
        5 => one(&[a, b, [u1, vm], [u0, vm]]),
        6 => one(&[a, [um, v0], [um, v1], d]),
        7 => [one(&[a, [um, v0], [u0, vm]]), one(&[c, [um, v1], [u1, vm]])].concat(),
        8 => {
            let hole = |x: f64, y: f64| [u0 + (u1 - u0) * x, v0 + (v1 - v0) * y];
            vec![Piece {
                exterior: ring(&[a, b, c, d]),
                holes: vec![ring(&[hole(0.3, 0.4), hole(0.4, 0.7), hole(0.7, 0.6)])],
            }]
        }
        9 => one(&[a, b, [u1, vm], c, [um, v1], d]),
        _ => Vec::new(),
    };
    let area = |ring: &[[f64; 2]]| {
        ring.windows(2)
            .map(|e| (e[0][0] - u0) * (e[1][1] - v0) - (e[1][0] - u0) * (e[0][1] - v0))
            .sum::<f64>()
            / 2.0
    };
    if pieces.is_empty() {
        return Cell {
            row,
            col,
            area: area(&ring(&[a, b, c, d])),
            shape: CellShape::Whole,
        };
    }
    let sum = pieces
        .iter()
        .map(|piece| area(&piece.exterior) + piece.holes.iter().map(|hole| area(hole)).sum::<f64>())
        .sum();
    Cell {
        row,
        col,
        area: sum,
        shape: CellShape::Cut(pieces),
    }
}

fn small(number: usize) -> i32 {
    i32::try_from(number).unwrap()
}

#[derive(Debug)]
struct Scene {
    grid: CellGrid,
    label_of: Vec<u32>,
    labels: u32,
}

fn scene(most: usize) -> impl Strategy<Value = Scene> {
    let frame = (
        0.0_f64..360.0,
        3.0_f64..30.0,
        3.0_f64..30.0,
        -5e6_f64..5e6,
        -5e5_f64..5e5,
    );
    (frame, 1..=most, 1..=most, 1_usize..6, 1_u32..5, 0_u8..3).prop_flat_map(
        |(frame, rows, columns, block, labels, cuts)| {
            let blocks = rows.div_ceil(block) * columns.div_ceil(block);
            let chosen = proptest::collection::vec(0_u32..12, blocks);
            let shapes = proptest::collection::vec(0_u8..60, rows * columns);
            (chosen, shapes).prop_map(move |(chosen, shapes)| {
                let mut machine = CellFrame::new(frame.0, frame.1, frame.2);
                (machine.u0, machine.v0) = (frame.3, frame.4);
                let (mut cells, mut label_of) = (Vec::new(), Vec::new());
                for (i, &shape) in shapes.iter().enumerate() {
                    let (row, col) = (i / columns, i % columns);
                    // Missing cells are 59; whole cells are most of the rest.
                    if shape == 59 {
                        continue;
                    }
                    cells.push(cell(
                        &machine,
                        small(row),
                        small(col),
                        if cuts == 0 { 0 } else { shape },
                    ));
                    label_of.push(
                        chosen[(row / block) * columns.div_ceil(block) + col / block]
                            % (labels + 1),
                    );
                }
                Scene {
                    grid: CellGrid::new(machine, cells),
                    label_of,
                    labels,
                }
            })
        },
    )
}

fn rings(outline: &MultiPolygon<f64>) -> impl Iterator<Item = &LineString<f64>> {
    outline
        .iter()
        .flat_map(|polygon| std::iter::once(polygon.exterior()).chain(polygon.interiors()))
}

type Edge = ([u64; 2], [u64; 2]);

/// How often each edge is walked in each direction.
fn walked(outlines: &[MultiPolygon<f64>]) -> BTreeMap<Edge, (u32, u32)> {
    let bits = |p: Coord<f64>| [p.x.to_bits(), p.y.to_bits()];
    let mut edges: BTreeMap<Edge, (u32, u32)> = BTreeMap::new();
    for line in outlines.iter().flat_map(rings).flat_map(LineString::lines) {
        let (a, b) = (bits(line.start), bits(line.end));
        let count = edges.entry((a.min(b), a.max(b))).or_default();
        if a < b {
            count.0 += 1;
        } else {
            count.1 += 1;
        }
    }
    edges
}

/// The edges that only one outline has.
fn outer(outlines: &[MultiPolygon<f64>]) -> Vec<Edge> {
    walked(outlines)
        .into_iter()
        .filter(|&(_, (there, back))| there + back == 1)
        .map(|(edge, _)| edge)
        .collect()
}

/// Checks that outlines are valid, orientated and share every edge that they share whole.
fn check_partition(outlines: &[MultiPolygon<f64>]) -> Result<(), TestCaseError> {
    for outline in outlines {
        for polygon in outline {
            prop_assert!(polygon.is_valid(), "{:?}", polygon.validation_errors());
            let bare =
                |ring: &LineString<f64>| geo::Polygon::new(ring.clone(), Vec::new()).signed_area();
            prop_assert!(bare(polygon.exterior()) > 0.0);
            prop_assert!(polygon.interiors().iter().all(|hole| bare(hole) < 0.0));
        }
        if outline.0.len() < 12 {
            prop_assert!(outline.is_valid(), "{:?}", outline.validation_errors());
        }
    }
    for (edge, (there, back)) in walked(outlines) {
        prop_assert!(
            there <= 1 && back <= 1,
            "{edge:?} walked {there} and {back} times"
        );
    }
    Ok(())
}

/// Whether two different edges meet anywhere but at an end that they share.
fn cross(s: Line<f64>, t: Line<f64>) -> bool {
    let turn = |a: Coord<f64>, b: Coord<f64>, c: Coord<f64>| RobustKernel::orient2d(a, b, c);
    let ends = [s.start, s.end];
    let shared = [t.start, t.end].into_iter().find(|end| ends.contains(end));
    if let Some(end) = shared {
        let (own, other) = (
            if s.start == end { s.end } else { s.start },
            if t.start == end { t.end } else { t.start },
        );
        let ahead = (own.x - end.x) * (other.x - end.x) + (own.y - end.y) * (other.y - end.y) > 0.0;
        return ahead && turn(end, own, other) == Orientation::Collinear;
    }
    let apart = |a: Orientation, b: Orientation| a == b && a != Orientation::Collinear;
    !(apart(turn(s.start, s.end, t.start), turn(s.start, s.end, t.end))
        || apart(turn(t.start, t.end, s.start), turn(t.start, t.end, s.end)))
}

/// Checks that no two edges of all outlines meet but at their ends. With every edge walked once in each direction at most, exteriors counter-clockwise, holes clockwise, and areas
/// that add up to the ground, that makes the outlines a partition of it, however many vertices they have.
fn check_planar(outlines: &[MultiPolygon<f64>]) -> Result<(), TestCaseError> {
    let point = |bits: [u64; 2]| Coord {
        x: f64::from_bits(bits[0]),
        y: f64::from_bits(bits[1]),
    };
    let edges: Vec<Line<f64>> = walked(outlines)
        .into_keys()
        .map(|(a, b)| Line::new(point(a), point(b)))
        .collect();
    let boxed = |(k, line): (usize, &Line<f64>)| {
        GeomWithData::new(
            Rectangle::from_corners([line.start.x, line.start.y], [line.end.x, line.end.y]),
            k,
        )
    };
    let tree = RTree::bulk_load(edges.iter().enumerate().map(boxed).collect());
    for (a, b) in tree
        .intersection_candidates_with_other_tree(&tree)
        .map(|(a, b)| (a.data, b.data))
        .filter(|(a, b)| a < b)
    {
        prop_assert!(
            !cross(edges[a], edges[b]),
            "{:?} and {:?} meet",
            edges[a],
            edges[b]
        );
    }
    Ok(())
}

/// Checks orientation, shared edges and that nothing crosses, in time that grows with the number of edges alone.
fn check_large(outlines: &[MultiPolygon<f64>]) -> Result<(), TestCaseError> {
    let bare = |ring: &LineString<f64>| geo::Polygon::new(ring.clone(), Vec::new()).signed_area();
    for polygon in outlines.iter().flatten() {
        prop_assert!(
            bare(polygon.exterior()) > 0.0
                && polygon.interiors().iter().all(|hole| bare(hole) < 0.0)
        );
    }
    for (edge, (there, back)) in walked(outlines) {
        prop_assert!(
            there <= 1 && back <= 1,
            "{edge:?} walked {there} and {back} times"
        );
    }
    check_planar(outlines)
}

/// Borders simplified and rounded: still a partition of the same ground, with every part and hole, and every area within its bound.
fn check_drawn(
    before: &[MultiPolygon<f64>],
    rule: &ShapeRule,
    large: bool,
) -> Result<(), TestCaseError> {
    let done = shape(before.to_vec(), rule);
    if large {
        check_large(&done.outlines)?;
    } else {
        check_partition(&done.outlines)?;
    }
    check_planar(&done.outlines)?;
    prop_assert_eq!(
        outer(before),
        outer(&done.outlines),
        "the field's edge moved"
    );
    let total =
        |outlines: &[MultiPolygon<f64>]| outlines.iter().map(Area::unsigned_area).sum::<f64>();
    prop_assert!((total(before) - total(&done.outlines)).abs() <= 1e-9 * total(before).max(1.0));
    let holes = |outline: &MultiPolygon<f64>| {
        outline
            .iter()
            .map(|p| p.interiors().len())
            .collect::<Vec<_>>()
    };
    let mut beyond = 0;
    for (old, new) in before.iter().zip(&done.outlines) {
        prop_assert_eq!(holes(old), holes(new));
        beyond += usize::from(
            (old.unsigned_area() - new.unsigned_area()).abs()
                > rule.area_within * old.unsigned_area(),
        );
    }
    prop_assert_eq!(beyond, done.beyond);
    Ok(())
}

fn check_areas(outlines: &[MultiPolygon<f64>], scene: &Scene) -> Result<(), TestCaseError> {
    for label in 1..=scene.labels {
        let cells: f64 = scene
            .grid
            .cells
            .iter()
            .zip(&scene.label_of)
            .filter(|&(_, &l)| l == label)
            .map(|(cell, _)| cell.area)
            .sum();
        let outline = outlines[label as usize - 1].unsigned_area();
        prop_assert!(
            (outline - cells).abs() <= 1e-9 * cells.max(1.0),
            "label {label}: outline {outline} m², cells {cells} m²"
        );
    }
    Ok(())
}

fn check_simplified(
    scene: &Scene,
    before: &[MultiPolygon<f64>],
    tolerance: f64,
) -> Result<(), TestCaseError> {
    let mut after = before.to_vec();
    let done = simplify(&mut after, tolerance, |_, _| false);
    prop_assert!(done.after <= done.before);
    check_partition(&after)?;
    prop_assert_eq!(outer(before), outer(&after), "the field's edge moved");
    let total =
        |outlines: &[MultiPolygon<f64>]| outlines.iter().map(Area::unsigned_area).sum::<f64>();
    prop_assert!((total(before) - total(&after)).abs() <= 1e-9 * total(before).max(1.0));
    for (old, new) in before.iter().zip(&after) {
        prop_assert_eq!(
            old.iter().map(|p| p.interiors().len()).collect::<Vec<_>>(),
            new.iter().map(|p| p.interiors().len()).collect::<Vec<_>>()
        );
        let border: f64 = rings(old)
            .flat_map(LineString::lines)
            .map(|line| Euclidean.distance(line.start, line.end))
            .sum();
        prop_assert!(
            (old.unsigned_area() - new.unsigned_area()).abs() <= 2.0 * tolerance * border + 1e-6
        );
        // Borders move by the tolerance at most.
        if scene.grid.cells.len() < 150 {
            for (old, new) in rings(old).zip(rings(new)) {
                let near = |p: Coord<f64>, on: &LineString<f64>| {
                    on.lines()
                        .map(|line: Line<f64>| Euclidean.distance(&Point::from(p), &line))
                        .fold(f64::INFINITY, f64::min)
                };
                prop_assert!(old.coords().all(|&p| near(p, new) <= tolerance + 1e-6));
            }
        }
    }
    Ok(())
}

fn laws(scene: &Scene, tolerance: f64) -> Result<(), TestCaseError> {
    let mut outlines = outlines(&scene.grid, &scene.label_of, scene.labels);
    check_partition(&outlines)?;
    check_areas(&outlines, scene)?;
    check_simplified(scene, &outlines, tolerance)?;
    check_planar(&outlines)?;
    for (simplify, round, area_within) in [
        (tolerance, 0.0, 0.05),
        (0.0, tolerance, 1.0),
        (tolerance, tolerance, 1.0),
        (tolerance, tolerance / 2.0, 0.02),
    ] {
        check_drawn(
            &outlines,
            &ShapeRule {
                simplify,
                round,
                area_within,
            },
            false,
        )?;
    }
    let before = outlines.clone();
    simplify(&mut outlines, 0.0, |_, _| false);
    prop_assert_eq!(&before, &outlines);
    simplify(&mut outlines, tolerance, |_, _| true);
    prop_assert_eq!(&before, &outlines);
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn small_grids_are_partitioned(scene in scene(9), tolerance in 0.5_f64..40.0) {
        laws(&scene, tolerance)?;
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: ProptestConfig::default().cases.div_ceil(16), ..ProptestConfig::default() })]

    #[test]
    fn large_grids_are_partitioned(scene in scene(60), tolerance in 0.5_f64..40.0) {
        laws(&scene, tolerance)?;
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: ProptestConfig::default().cases.div_ceil(32), ..ProptestConfig::default() })]

    #[test]
    fn grids_of_two_hundred_are_partitioned(scene in scene(200), tolerance in 0.5_f64..40.0) {
        let outlines = outlines(&scene.grid, &scene.label_of, scene.labels);
        check_large(&outlines)?;
        check_areas(&outlines, &scene)?;
        for (simplify, round, area_within) in [(tolerance, 0.0, 0.05), (tolerance, tolerance, 1.0)] {
            check_drawn(&outlines, &ShapeRule { simplify, round, area_within }, true)?;
        }
    }
}

fn square_frame() -> CellFrame {
    CellFrame::new(90.0, 10.0, 10.0)
}

/// Outlines of letters in rows; a point is a cell of label 0, a blank no cell.
fn drawn(rows: &[&str], labels: u32) -> Vec<MultiPolygon<f64>> {
    let frame = square_frame();
    let (mut cells, mut label_of) = (Vec::new(), Vec::new());
    for (r, row) in rows.iter().enumerate() {
        for (c, letter) in row
            .bytes()
            .enumerate()
            .filter(|&(_, letter)| letter != b' ')
        {
            cells.push(cell(&frame, small(r), small(c), 0));
            label_of.push(if letter == b'.' {
                0
            } else {
                u32::from(letter - b'a' + 1)
            });
        }
    }
    outlines(&CellGrid::new(frame, cells), &label_of, labels)
}

#[test]
fn a_rectangle_has_four_corners() {
    let outline = &drawn(&["aaa", "aaa"], 1)[0];
    assert_eq!(outline.unsigned_area(), 600.0);
    assert_eq!(outline.0[0].exterior().0.len(), 5);
}

#[test]
fn neighbours_share_every_vertex() {
    // Where b and c meet, a keeps a vertex on its straight side.
    let found = drawn(&["aa", "bc"], 3);
    assert_eq!(found[0].0[0].exterior().0.len(), 6);
    assert_eq!(found[1].0[0].exterior().0.len(), 5);
}

#[test]
fn cells_that_touch_at_a_corner_stay_apart() {
    let found = drawn(&["ab", "ba"], 2);
    assert_eq!(
        found
            .iter()
            .map(|outline| outline.0.len())
            .collect::<Vec<_>>(),
        [2, 2]
    );
    assert!(found.iter().all(Validation::is_valid));
}

#[test]
fn holes_may_touch_each_other_and_the_outside_at_points() {
    for rows in [
        &["aaaa", "abaa", "aaba", "aaaa"][..],
        &["aaa ", "aba ", "aa  "],
        &["aaaaa", "abaca", "aabaa", "acaba", "aaaaa"],
    ] {
        let found = drawn(rows, 3);
        assert!(found.iter().all(Validation::is_valid), "{rows:?}");
        assert!(
            found[0]
                .0
                .iter()
                .any(|polygon| !polygon.interiors().is_empty()),
            "{rows:?}"
        );
    }
}

#[test]
fn ground_inside_a_diamond_of_touching_cells_is_ground_of_its_own() {
    let found = drawn(&["aaaaa", "aabaa", "abaabaa", "aabaa", "aaaaa"], 2);
    assert!(found[0].is_valid());
    let found = drawn(&["aaaaa", "aabaa", "ababa", "aabaa", "aaaaa"], 2);
    assert_eq!(found[0].0.len(), 2);
    assert!(found[0].is_valid());
    assert_eq!(found[0].unsigned_area(), 2100.0);
}

#[test]
fn label_zero_is_left_out_and_labels_without_cells_are_empty() {
    let found = drawn(&["a.", ".."], 2);
    assert_eq!(found[0].unsigned_area(), 100.0);
    assert!(found[1].0.is_empty());
}

#[test]
fn a_vertex_on_a_neighbours_side_is_shared() {
    let frame = square_frame();
    // The upper cell is half a cell: it ends in the middle of the lower one's side.
    let cells = vec![cell(&frame, 0, 0, 0), cell(&frame, 1, 0, 5)];
    let found = outlines(&CellGrid::new(frame, cells), &[1, 2], 2);
    let [lower, upper] = [&found[0], &found[1]].map(|outline| outline.0[0].exterior());
    assert_eq!((lower.0.len(), upper.0.len()), (6, 5));
    let shared = upper
        .coords()
        .filter(|&p| lower.coords().any(|q| p == q))
        .count();
    assert!(shared >= 2, "{lower:?} {upper:?}");
}

#[test]
fn a_staircase_becomes_a_line() {
    let mut found = drawn(&["abbbbb", "aabbbb", "aaabbb", "aaaabb", "aaaaab"], 2);
    let done = simplify(&mut found, 8.0, |_, _| false);
    assert!(done.after < done.before && done.held_back == 0, "{done:?}");
    // Corner points of the two triangles; the field's corners stay.
    assert!(
        found
            .iter()
            .all(|outline| outline.0[0].exterior().0.len() <= 6),
        "{found:?}"
    );
    assert!(found.iter().all(Validation::is_valid));
}

#[test]
fn an_island_in_a_bay_stays_on_its_side() {
    // Straightening the bay of a would leave c on the wrong side.
    let before = drawn(&["aaaaaaa", "aabbbaa", "aabcbaa", "abbbbba", "bbbbbbb"], 3);
    for tolerance in [5.0, 11.0, 25.0, 100.0] {
        let mut found = before.clone();
        simplify(&mut found, tolerance, |_, _| false);
        assert!(found.iter().all(Validation::is_valid), "{tolerance}");
        let areas =
            |outlines: &[MultiPolygon<f64>]| outlines.iter().map(Area::unsigned_area).sum::<f64>();
        assert!((areas(&before) - areas(&found)).abs() < 1e-9);
        assert_eq!(found[1].0[0].interiors().len(), 1);
    }
}

/// A number in 0..1 that looks like chance.
fn chance(seed: u64) -> f64 {
    let mixed = (seed ^ (seed >> 31)).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    (mixed >> 11) as f64 / (1_u64 << 53) as f64
}

/// How long a million cells take: run it with `cargo test --release --lib a_million_cells -- --ignored --nocapture`.
#[test]
#[ignore = "takes a while and means something only in a release build"]
#[expect(clippy::print_stderr, reason = "its output is the measurement")]
fn a_million_cells() {
    let (rows, columns) = (1000_u64, 1000_u64);
    let mut frame = CellFrame::new(37.0, 6.0, 6.0);
    (frame.u0, frame.v0) = (4_800_000.0, 510_000.0);
    let borders: Vec<Border> = (0..rows * columns)
        .flat_map(|i| {
            let right = (i % columns + 1 < columns).then_some(i + 1);
            let up = (i + columns < rows * columns).then_some(i + columns);
            right.into_iter().chain(up).map(move |other| Border {
                a: i as u32,
                b: other as u32,
                length: 6.0,
            })
        })
        .collect();
    for (name, noise) in [
        ("smooth ground, some noise", 12.0),
        ("nothing but noise", 140.0),
    ] {
        let rule = ZoneRule {
            step: 10.0,
            minimum_q: 0,
            maximum_q: 14,
            minimum_area: 72.0,
            keep_total: true,
            tolerance: 0.0,
        };
        let cells: Vec<ZoneCell> = (0..rows * columns)
            .map(|i| {
                let (r, c) = ((i / columns) as f64, (i % columns) as f64);
                let wave = 60.0
                    + 30.0 * libm::sin(r / 60.0 + libm::sin(c / 90.0))
                    + 30.0 * libm::sin(c / 45.0 + r / 200.0);
                let n_exact = ((1.0 - noise / 140.0) * wave + noise * chance(i)).clamp(0.0, 140.0);
                let rate = Rate::Steps(rule.steps_of(n_exact));
                ZoneCell {
                    area: 36.0,
                    kind: Kind::Canopy,
                    n_exact,
                    rate,
                    index: Some(0.5),
                    class: None,
                    follows: None,
                }
            })
            .collect();
        let grid = CellGrid::new(
            frame,
            (0..rows * columns)
                .map(|i| {
                    cell(
                        &frame,
                        small((i / columns) as usize),
                        small((i % columns) as usize),
                        0,
                    )
                })
                .collect(),
        );
        let start = std::time::Instant::now();
        let zoning = build(&cells, &borders, GroupBy::Rate, &rule).unwrap();
        let built = start.elapsed();
        let mut found = outlines(&grid, &zoning.zone_of, zoning.zones.len() as u32);
        let traced = start.elapsed();
        let start = std::time::Instant::now();
        let little = simplify(&mut found.clone(), 3.0, |_, _| false);
        let light = start.elapsed();
        let start = std::time::Instant::now();
        let much = simplify(&mut found, 12.0, |_, _| false);
        let heavy = start.elapsed();
        let total: f64 = found.iter().map(Area::unsigned_area).sum();
        eprintln!(
            "{name}: {} zones in {built:.2?}, with outlines {traced:.2?}; by 3 m {light:.2?} {little:?}; by 12 m {heavy:.2?} {much:?}; area off by {:.1e}",
            zoning.zones.len(),
            total / 36e6 - 1.0
        );
        assert!((total / 36e6 - 1.0).abs() < 1e-9);
    }
    let values: Vec<f64> = (0..1_000_000).map(chance).collect();
    let start = std::time::Instant::now();
    let classes = crate::zones::classify::Classes::natural(&values, 5).unwrap();
    eprintln!(
        "natural breaks of a million values: {:.2?}",
        start.elapsed()
    );
    assert_eq!(classes.count(), 5);
}
