//! Outlines of cells against the unions that GEOS 3.14.1 makes of them, and validity and overlay of small shapes against GEOS's own verdicts, all in `zones.json`
//! (made by: `python tests/truth/make_zones.py > tests/truth/zones.json`; the kinds of shapes follow the test suites of JTS and GEOS, from memory).

use approx::assert_relative_eq;
use geo::{Area, BooleanOps, Euclidean, Length, LineString, MultiPolygon, Polygon, Validation};
use haulm::space::cells::{Cell, CellFrame, CellGrid, CellShape};
use haulm::space::connected::inside_is_connected;
use haulm::space::polygon::{joined, less, oriented, repaired};
use haulm::zones::outline::outlines;
use haulm::zones::shape::{ShapeRule, shape};
use serde::Deserialize;

#[derive(Deserialize)]
struct Truth {
    made_by: String,
    length: f64,
    width: f64,
    place: (f64, f64),
    grids: Vec<Grid>,
    validity: Vec<Verdict>,
    overlay: Vec<Overlay>,
}

#[derive(Deserialize)]
struct Grid {
    /// Rows of digits; a point is a cell of no label.
    cells: Vec<String>,
    outlines: Vec<Outline>,
}

#[derive(Deserialize)]
struct Outline {
    area: f64,
    perimeter: f64,
    parts: usize,
    holes: usize,
}

#[derive(Deserialize)]
struct Verdict {
    name: String,
    wkt: String,
    valid: bool,
}

#[derive(Deserialize)]
struct Overlay {
    name: String,
    a: String,
    b: String,
    union: f64,
    difference: f64,
    intersection: f64,
}

fn truth() -> Truth {
    let truth: Truth =
        serde_json::from_str(include_str!("zones.json")).expect("the committed file");
    assert!(truth.made_by.contains("GEOS 3.14.1"), "{}", truth.made_by);
    truth
}

/// Polygons of well-known text, as far as the cases use it.
fn polygons(wkt: &str) -> MultiPolygon<f64> {
    let body = wkt
        .trim_start_matches("MULTIPOLYGON ")
        .trim_start_matches("POLYGON ");
    let (mut parts, mut rings, mut depth) = (Vec::new(), Vec::new(), 0);
    let ring_depth = if wkt.starts_with("MULTI") { 3 } else { 2 };
    let mut text = String::new();
    for letter in body.chars() {
        match letter {
            '(' => depth += 1,
            ')' => {
                if depth == ring_depth {
                    let numbers = |pair: &str| {
                        pair.split_whitespace()
                            .map(|n| n.parse::<f64>().expect("a number"))
                            .collect::<Vec<_>>()
                    };
                    rings.push(
                        text.split(", ")
                            .map(|pair| (numbers(pair)[0], numbers(pair)[1]))
                            .collect::<LineString<f64>>(),
                    );
                    text.clear();
                } else if depth == ring_depth - 1 {
                    let mut own = std::mem::take(&mut rings).into_iter();
                    parts.push(Polygon::new(own.next().expect("a shell"), own.collect()));
                }
                depth -= 1;
            }
            letter if depth == ring_depth => text.push(letter),
            _ => {}
        }
    }
    MultiPolygon::new(parts)
}

fn grid_of(truth: &Truth, grid: &Grid) -> (CellGrid, Vec<u32>) {
    // Heading east: rows go east, columns north.
    let mut frame = CellFrame::new(90.0, truth.length, truth.width);
    (frame.u0, frame.v0) = frame.to_uv(truth.place.0, truth.place.1);
    let (mut cells, mut label_of) = (Vec::new(), Vec::new());
    for (row, line) in (0..).zip(&grid.cells) {
        for (col, letter) in (0..).zip(line.chars()) {
            cells.push(Cell {
                row,
                col,
                area: truth.length * truth.width,
                shape: CellShape::Whole,
            });
            label_of.push(letter.to_digit(10).unwrap_or(0));
        }
    }
    (CellGrid::new(frame, cells), label_of)
}

#[test]
fn outlines_are_the_unions_of_their_cells() {
    let truth = truth();
    assert_eq!(truth.grids.len(), 5);
    for grid in &truth.grids {
        let (cells, label_of) = grid_of(&truth, grid);
        let found = outlines(
            &cells,
            &label_of,
            u32::try_from(grid.outlines.len()).expect("few labels"),
        );
        for (found, due) in found.iter().zip(&grid.outlines) {
            assert!(found.iter().all(Validation::is_valid));
            assert_relative_eq!(found.unsigned_area(), due.area, max_relative = 1e-9);
            let perimeter: f64 = found
                .iter()
                .flat_map(|part| std::iter::once(part.exterior()).chain(part.interiors()))
                .map(|ring| Euclidean.length(ring))
                .sum();
            assert_relative_eq!(perimeter, due.perimeter, max_relative = 1e-9);
            let holes: usize = found.iter().map(|part| part.interiors().len()).sum();
            assert_eq!((found.0.len(), holes), (due.parts, due.holes));
        }
    }
}

#[test]
fn drawn_borders_keep_the_whole_and_every_part() {
    let truth = truth();
    for grid in &truth.grids {
        let (cells, label_of) = grid_of(&truth, grid);
        let traced = outlines(
            &cells,
            &label_of,
            u32::try_from(grid.outlines.len()).expect("few labels"),
        );
        let done = shape(
            traced,
            &ShapeRule {
                simplify: 9.0,
                round: 4.0,
                area_within: 0.04,
            },
        );
        let (whole, due) = (
            done.outlines.iter().map(Area::unsigned_area).sum::<f64>(),
            grid.outlines
                .iter()
                .map(|outline| outline.area)
                .sum::<f64>(),
        );
        assert_relative_eq!(whole, due, max_relative = 1e-9);
        for (found, due) in done.outlines.iter().zip(&grid.outlines) {
            let holes: usize = found.iter().map(|part| part.interiors().len()).sum();
            assert_eq!((found.0.len(), holes), (due.parts, due.holes));
            assert!(done.beyond > 0 || (found.unsigned_area() - due.area).abs() <= 0.04 * due.area);
        }
    }
}

#[test]
fn what_is_valid_is_known() {
    let truth = truth();
    assert_eq!(
        (
            truth.validity.len(),
            truth.validity.iter().filter(|case| case.valid).count()
        ),
        (17, 6)
    );
    for case in &truth.validity {
        let shape = polygons(&case.wkt);
        let repaired = repaired(&shape);
        assert_eq!(repaired.area_change.is_none(), case.valid, "{}", case.name);
        assert!(
            repaired.polygon.is_valid() && repaired.polygon.iter().all(inside_is_connected),
            "{}: {:?}",
            case.name,
            repaired.polygon
        );
    }
}

#[test]
fn areas_of_overlays() {
    let truth = truth();
    assert_eq!(truth.overlay.len(), 9);
    for case in &truth.overlay {
        let (a, b) = (oriented(&polygons(&case.a)), oriented(&polygons(&case.b)));
        assert!(a.is_valid() && b.is_valid(), "{}", case.name);
        assert_relative_eq!(
            joined(&[a.clone(), b.clone()]).unsigned_area(),
            case.union,
            max_relative = 1e-6
        );
        assert_relative_eq!(
            less(&a, &b).unsigned_area(),
            case.difference,
            max_relative = 1e-6,
            epsilon = 1e-6
        );
        assert_relative_eq!(
            a.intersection(&b).unsigned_area(),
            case.intersection,
            max_relative = 1e-6,
            epsilon = 1e-6
        );
    }
}
