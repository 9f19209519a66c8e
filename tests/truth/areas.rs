//! Areas of shapes and buffers against GEOS 3.14.1, and areas on the ground against PROJ 9.5.1, both in `areas.json`
//! (made by: `python tests/truth/make_areas.py > tests/truth/areas.json`).

use std::collections::BTreeMap;

use approx::assert_relative_eq;
use geo::{Area, Centroid, LineString, MultiPolygon, Polygon};
use haulm::space::cells::CellFrame;
use haulm::space::crs::{Crs, Projector};
use haulm::space::cut::cut;
use haulm::space::plane::examine;
use haulm::space::polygon::{grown, less, oriented};
use serde::Deserialize;

#[derive(Deserialize)]
struct Truth {
    shapes: Vec<Shape>,
}

/// Parts, rings, points.
type Parts = Vec<Vec<Vec<(f64, f64)>>>;

#[derive(Deserialize)]
struct Shape {
    name: String,
    epsg: u32,
    parts: Parts,
    exclusion: Parts,
    area: f64,
    /// Area by distance of the buffer in metres.
    grown: BTreeMap<String, f64>,
    less_grown_exclusion: f64,
    geodesic: f64,
}

fn polygon(parts: &Parts) -> MultiPolygon<f64> {
    let ring = |points: &Vec<(f64, f64)>| LineString::from(points.clone());
    oriented(&MultiPolygon::new(
        parts
            .iter()
            .map(|rings| Polygon::new(ring(&rings[0]), rings[1..].iter().map(ring).collect()))
            .collect(),
    ))
}

fn shapes() -> Vec<Shape> {
    let truth: Truth =
        serde_json::from_str(include_str!("areas.json")).expect("the committed file");
    assert_eq!(truth.shapes.len(), 5);
    truth.shapes
}

#[test]
fn areas_of_shapes_and_of_their_cells() {
    for shape in shapes() {
        let outline = polygon(&shape.parts);
        assert_relative_eq!(outline.unsigned_area(), shape.area, max_relative = 1e-9);
        let grid = cut(&outline, CellFrame::new(33.0, 20.0, 24.0)).expect("a small field");
        let cells: f64 = grid.cells.iter().map(|cell| cell.area).sum();
        assert_relative_eq!(cells, shape.area, max_relative = 1e-9);
    }
}

#[test]
fn buffers_are_those_of_geos() {
    for shape in shapes() {
        let outline = polygon(&shape.parts);
        for (distance, &expected) in &shape.grown {
            let area = grown(&outline, distance.parse().expect("a number")).unsigned_area();
            assert!(
                (area / expected - 1.0).abs() <= 1e-6,
                "{}, {distance} m: {area} m², GEOS {expected} m²",
                shape.name
            );
        }
        let left = less(&outline, &grown(&polygon(&shape.exclusion), 10.0)).unsigned_area();
        assert_relative_eq!(left, shape.less_grown_exclusion, max_relative = 1e-6);
    }
}

#[test]
fn areal_scale_gives_the_area_on_the_ground() {
    for shape in shapes() {
        let outline = polygon(&shape.parts);
        let crs = Crs::epsg(shape.epsg, "the plane");
        let centre = outline.centroid().expect("a shape with area");
        let (longitude, latitude) = Projector::new(&crs, &Crs::wgs84())
            .expect("a way")
            .point(centre.x(), centre.y())
            .expect("a place");
        let plane = examine(&crs, longitude, latitude).expect("a plane");
        assert_relative_eq!(
            outline.unsigned_area() / plane.areal_scale,
            shape.geodesic,
            max_relative = 1e-6
        );
    }
}
