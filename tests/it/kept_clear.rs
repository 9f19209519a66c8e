//! Ground that gets nothing, from outside: ponds cut out of the boundary, and exclusions, in every file for machines, on the card and in `check`.

use geo::{
    Area as _, BooleanOps as _, BoundingRect as _, Contains as _, LineString, MultiPolygon, Point,
    Polygon,
};

use crate::field::{CORNER, EXTENT, Field, carry, mapped, message, rectangle, way};
use crate::job_refusals::{faults, with_line};

/// A pond, off the lines of the machine's cells and of any pixel.
const POND: [f64; 4] = [155.3, 101.7, 181.9, 143.3];

/// The field with the pond cut out of its boundary.
fn with_pond() -> Field {
    let field = Field::new();
    field.write("boundary.geojson", boundary_with(&[POND]));
    field
}

/// The field's boundary with holes, in longitude and latitude.
fn boundary_with(ponds: &[[f64; 4]]) -> String {
    let there = way("EPSG:32633", "EPSG:4326");
    let ring = |corners: [f64; 4]| -> Vec<[f64; 2]> {
        let mut points: Vec<[f64; 2]> = rectangle(corners)
            .into_iter()
            .map(|(x, y)| {
                let (longitude, latitude) = carry(&there, CORNER.0 + x, CORNER.1 + y);
                [longitude, latitude]
            })
            .collect();
        points.push(points[0]);
        points
    };
    let rings: Vec<_> = std::iter::once([0.0, 0.0, EXTENT.0, EXTENT.1])
        .chain(ponds.iter().copied())
        .map(ring)
        .collect();
    serde_json::json!({ "type": "FeatureCollection", "features": [{ "type": "Feature", "properties": {}, "geometry": { "type": "Polygon", "coordinates": rings } }] }).to_string()
}

fn ground(corners: [f64; 4]) -> MultiPolygon<f64> {
    let ring: LineString<f64> = rectangle(corners)
        .into_iter()
        .map(|(x, y)| (CORNER.0 + x, CORNER.1 + y))
        .collect();
    MultiPolygon::new(vec![Polygon::new(ring, Vec::new())])
}

fn attribute(node: roxmltree::Node<'_, '_>, name: &str) -> f64 {
    node.attribute(name).unwrap().parse().unwrap()
}

/// The grid of task data, read by the words of the standard: rows from the south, columns from the west.
struct Grid {
    south: f64,
    west: f64,
    north: f64,
    east: f64,
    cols: usize,
    values: Vec<i32>,
    /// Metres along a cell's side to the north.
    side: f64,
}

impl Grid {
    fn read(field: &Field) -> Self {
        let text = fs_err::read_to_string(field.path("out/machine/TASKDATA/TASKDATA.XML")).unwrap();
        let document = roxmltree::Document::parse(&text).unwrap();
        let grid = document
            .descendants()
            .find(|node| node.has_tag_name("GRD"))
            .unwrap();
        let bytes = fs_err::read(field.path("out/machine/TASKDATA/GRD00000.bin")).unwrap();
        Self {
            south: attribute(grid, "A"),
            west: attribute(grid, "B"),
            north: attribute(grid, "C"),
            east: attribute(grid, "D"),
            cols: attribute(grid, "E") as usize,
            values: bytes
                .chunks_exact(4)
                .map(|four| i32::from_le_bytes(four.try_into().unwrap()))
                .collect(),
            // A degree of meridian at 50° north: 111.229 km (tables of the ellipsoid, from memory).
            side: attribute(grid, "C") * 111_229.0,
        }
    }
    fn rows(&self) -> usize {
        self.values.len() / self.cols
    }
    /// The cell's ground on the plane.
    fn cell(&self, cell: usize, back: &gdal::spatial_ref::CoordTransform) -> MultiPolygon<f64> {
        let (row, col) = ((cell / self.cols) as f64, (cell % self.cols) as f64);
        let corner = |r: f64, c: f64| {
            carry(
                back,
                self.west + (col + c) * self.east,
                self.south + (row + r) * self.north,
            )
        };
        let ring: LineString<f64> = [(0.0, 0.0), (0.0, 1.0), (1.0, 1.0), (1.0, 0.0), (0.0, 0.0)]
            .into_iter()
            .map(|(r, c)| corner(r, c))
            .collect();
        MultiPolygon::new(vec![Polygon::new(ring, Vec::new())])
    }
    /// Ground of a rectangle that cells above 0 put product on, and ground that they leave. \[m²\]
    fn on(&self, ground: &MultiPolygon<f64>) -> (f64, f64) {
        let back = way("EPSG:4326", "EPSG:32633");
        let around = ground.bounding_rect().unwrap();
        let (mut fed, mut free) = (0.0, 0.0);
        for (cell, value) in self.values.iter().enumerate() {
            let shape = self.cell(cell, &back);
            let own = shape.bounding_rect().unwrap();
            if own.min().x > around.max().x
                || own.max().x < around.min().x
                || own.min().y > around.max().y
                || own.max().y < around.min().y
            {
                continue;
            }
            let area = shape.intersection(ground).unsigned_area();
            if *value > 0 {
                fed += area;
            } else {
                free += area;
            }
        }
        (fed, free)
    }
}

/// Polygons of a file on the plane, with the number in a column.
fn shapes(path: &std::path::Path, column: &str) -> Vec<(MultiPolygon<f64>, f64)> {
    use gdal::vector::LayerAccess as _;
    use geo::MapCoords as _;
    let back = way("EPSG:4326", "EPSG:32633");
    let file = gdal::Dataset::open(path).unwrap();
    let mut layer = file.layer(0).unwrap();
    layer
        .features()
        .map(|feature| {
            let rate = feature
                .field_as_double(feature.field_index(column).unwrap())
                .unwrap()
                .unwrap();
            let shape = feature.geometry().unwrap();
            assert!(shape.is_valid(), "{}", shape.wkt().unwrap());
            let shape = match geo::Geometry::<f64>::try_from(shape).unwrap() {
                geo::Geometry::MultiPolygon(shape) => shape,
                geo::Geometry::Polygon(shape) => MultiPolygon::new(vec![shape]),
                other => panic!("{other:?}"),
            };
            (shape.map_coords(|c| carry(&back, c.x, c.y).into()), rate)
        })
        .collect()
}

fn shapefile(field: &Field) -> std::path::PathBuf {
    fs_err::read_dir(field.path("out/machine"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.extension().is_some_and(|ending| ending == "shp"))
        .unwrap()
}

/// Ground of polygons with a rate above 0, and of polygons with a rate of 0.
fn fed_and_free(zones: &[(MultiPolygon<f64>, f64)], ground: &MultiPolygon<f64>) -> (f64, f64) {
    let area = |fed: bool| {
        zones
            .iter()
            .filter(|(_, rate)| (*rate > 0.0) == fed)
            .map(|(shape, _)| shape.intersection(ground).unsigned_area())
            .sum()
    };
    (area(true), area(false))
}

#[test]
fn no_grid_cell_feeds_a_pond_of_the_boundary() {
    let field = with_pond();
    mapped(&field);
    let grid = Grid::read(&field);
    let (fed, free) = grid.on(&ground(POND));
    assert!(fed < 1e-3, "{fed:.1} m² of the pond get product");
    assert!((free - 26.6 * 41.6).abs() < 1.0, "{free}");
    // What lies well clear of it is not starved.
    let (fed, free) = grid.on(&ground([150.0, 170.0, 186.0, 200.0]));
    assert!(fed > 1000.0 && free < 1e-3, "{fed} {free}");
}

#[test]
fn no_grid_cell_feeds_an_exclusion_with_its_buffer() {
    let field = Field::new();
    field.polygons("pond.geojson", &[rectangle(POND)]);
    field.job(
        "\n[imagery]",
        "\n[[field.exclude]]\npath = \"pond.geojson\"\nbuffer = \"4 m\"\n\n[imagery]",
    );
    mapped(&field);
    let grid = Grid::read(&field);
    let grown = ground([POND[0] - 4.0, POND[1], POND[2] + 4.0, POND[3]]);
    let (fed, _) = grid.on(&grown);
    assert!(fed < 1e-3, "{fed:.1} m²");
}

#[test]
fn with_a_pond_a_lost_position_ends_the_rate() {
    let lost = |field: &Field| {
        mapped(field);
        let text = fs_err::read_to_string(field.path("out/machine/TASKDATA/TASKDATA.XML")).unwrap();
        let document = roxmltree::Document::parse(&text).unwrap();
        let task = document
            .descendants()
            .find(|node| node.has_tag_name("TSK"))
            .unwrap();
        let zone = document
            .descendants()
            .find(|node| node.has_tag_name("TZN") && node.attribute("A") == task.attribute("I"))
            .unwrap();
        let value = zone
            .children()
            .find(|node| node.has_tag_name("PDV"))
            .unwrap();
        (
            attribute(value, "B"),
            message(field, "machine.position_lost"),
        )
    };
    assert!(lost(&Field::new()).0 > 0.0, "nothing to keep off");
    assert_eq!(lost(&with_pond()), (0.0, None));
    // An exclusion without a buffer counts as one with it.
    let field = Field::new();
    field.polygons("pond.geojson", &[rectangle(POND)]);
    field.job(
        "\n[imagery]",
        "\n[[field.exclude]]\npath = \"pond.geojson\"\n\n[imagery]",
    );
    assert_eq!(lost(&field), (0.0, None));
    // Asked for by name it stands, with a word.
    let field = with_pond();
    field.job("heading = ", "position_lost = \"field rate\"\nheading = ");
    let (rate, notice) = lost(&field);
    assert!(rate > 0.0 && notice.unwrap().contains("leave machine.position_lost out"));
}

#[test]
fn ponds_and_exclusions_are_zones_of_nothing_for_the_machine() {
    let field = with_pond();
    // Half outside the field, so that the run-out would meet it.
    let corner = [-30.0, 200.0, 15.0, 230.0];
    field.polygons("corner.geojson", &[rectangle(corner)]);
    field.job(
        "\n[imagery]",
        "\n[[field.exclude]]\npath = \"corner.geojson\"\nbuffer = \"5 m\"\n\n[imagery]",
    );
    field.job(
        "folder = \"out\"",
        "folder = \"out\"\ntask_data = { kind = \"polygons\" }",
    );
    mapped(&field);
    let zones = shapes(&shapefile(&field), "L_HA");
    for (what, due) in [
        (POND, 26.6 * 41.6),
        // As far as rates run on outside, and the buffer inside.
        ([-12.0, 200.0, 15.0, 230.0], 27.0 * 30.0),
    ] {
        let (fed, free) = fed_and_free(&zones, &ground(what));
        assert!(fed < 0.05, "{fed} m² of {what:?} get product");
        assert!(
            (free - due).abs() < 0.1,
            "{free} of {due} m² of {what:?} are zones of 0"
        );
    }
    // Office files keep that ground free.
    let office = shapes(&field.path("out/office/prescription.geojson"), "n_kg_ha");
    let (fed, free) = fed_and_free(&office, &ground(POND));
    // Seven decimals of a degree are a centimetre, along 136 m of shore.
    assert!(fed < 1.0 && free < 1.0, "{fed} {free}");
    // Polygons of the task data: a zone of 0 over the pond.
    let text = fs_err::read_to_string(field.path("out/machine/TASKDATA/TASKDATA.XML")).unwrap();
    let document = roxmltree::Document::parse(&text).unwrap();
    let (longitude, latitude) = carry(
        &way("EPSG:32633", "EPSG:4326"),
        CORNER.0 + f64::midpoint(POND[0], POND[2]),
        CORNER.1 + f64::midpoint(POND[1], POND[3]),
    );
    let values: Vec<f64> = document
        .descendants()
        .filter(|node| node.has_tag_name("TZN"))
        .filter(|zone| {
            zone.children()
                .filter(|node| node.has_tag_name("PLN"))
                .any(|polygon| {
                    let mut rings = polygon
                        .children()
                        .filter(|node| node.has_tag_name("LSG"))
                        .map(|ring| {
                            ring.children()
                                .filter(|node| node.has_tag_name("PNT"))
                                .map(|p| (attribute(p, "D"), attribute(p, "C")))
                                .collect::<LineString<f64>>()
                        });
                    let exterior = rings.next().unwrap();
                    Polygon::new(exterior, rings.collect())
                        .contains(&Point::new(longitude, latitude))
                })
        })
        .map(|zone| {
            attribute(
                zone.children()
                    .find(|node| node.has_tag_name("PDV"))
                    .unwrap(),
                "B",
            )
        })
        .collect();
    assert_eq!(values, [0.0]);
}

#[test]
fn strips_that_are_left_get_nothing_from_the_machine() {
    let field = Field::new();
    field.job("boundary = ", "strips = \"leave\"\nboundary = ");
    mapped(&field);
    // A swath's middle: its rim shares grid cells with the field beside it.
    let middle = ground([125.0, 30.0, 139.0, 258.0]);
    let (fed, _) = Grid::read(&field).on(&middle);
    assert!(fed < 1e-3, "{fed}");
    let (fed, free) = fed_and_free(&shapes(&shapefile(&field), "L_HA"), &middle);
    assert!(
        fed < 0.05 && (free - 14.0 * 228.0).abs() < 0.1,
        "{fed} {free}"
    );
}

#[test]
fn the_grid_is_fine_and_shows_the_zones_rates() {
    let field = with_pond();
    mapped(&field);
    let grid = Grid::read(&field);
    assert!((grid.side - 3.0).abs() < 0.02, "{}", grid.side);
    assert!(grid.rows() <= 350 && grid.cols <= 350);
    let rates: Vec<f64> = shapes(&shapefile(&field), "L_HA")
        .into_iter()
        .map(|(_, rate)| rate)
        .collect();
    let odd = |grid: &Grid| {
        grid.values
            .iter()
            .filter(|value| {
                let rate = f64::from(**value) / 10_000.0;
                rates.iter().all(|own| (own - rate).abs() > 0.006)
            })
            .count()
    };
    assert_eq!(odd(&grid), 0, "rates that no zone has");
    field.job("heading = ", "grid = \"mean\"\nheading = ");
    let wording = field.run(&["map", "--overwrite"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    assert!(
        odd(&Grid::read(&field)) > 0,
        "means lie between zones' rates"
    );
    assert_eq!(field.record()["settings"]["machine"]["grid"], "mean");
    let refused = faults(&with_line("machine", "grid = \"fine\""));
    assert_eq!(
        (refused[0].key.as_str(), refused[0].found.as_str()),
        ("machine.grid", "\"fine\"")
    );
}

#[test]
fn check_points_lie_on_even_ground() {
    let field = with_pond();
    mapped(&field);
    let grid = Grid::read(&field);
    let card = fs_err::read_to_string(field.path("out/machine/CARD.txt")).unwrap();
    let zones = shapes(&shapefile(&field), "L_HA");
    let there = way("EPSG:4326", "EPSG:32633");
    let mut seen = 0;
    for line in card.lines() {
        let words: Vec<&str> = line.split_whitespace().collect();
        let &[number, latitude, longitude, rate, "L/ha"] = words.as_slice() else {
            continue;
        };
        if number.parse::<u32>().is_err() {
            continue;
        }
        let [longitude, latitude, rate] =
            [longitude, latitude, rate].map(|word| word.parse::<f64>().unwrap());
        let (row, col) = (
            ((latitude - grid.south) / grid.north).floor() as usize,
            ((longitude - grid.west) / grid.east).floor() as usize,
        );
        for r in row - 1..=row + 1 {
            for c in col - 1..=col + 1 {
                let shown = f64::from(grid.values[r * grid.cols + c]) / 10_000.0;
                assert!((shown - rate).abs() < 0.006, "{line}: {shown}");
            }
        }
        let (x, y) = carry(&there, longitude, latitude);
        for k in 0..16 {
            let angle = f64::from(k) / 16.0 * std::f64::consts::TAU;
            let near = Point::new(x + 4.9 * libm::cos(angle), y + 4.9 * libm::sin(angle));
            assert!(
                zones
                    .iter()
                    .any(|(shape, own)| shape.contains(&near) && (own - rate).abs() < 0.006),
                "{line}"
            );
        }
        seen += 1;
    }
    assert_eq!(seen, 3, "{card}");
}

#[test]
fn each_file_says_what_it_puts_on_the_field() {
    let field = with_pond();
    mapped(&field);
    let inside = ground([0.0, 0.0, EXTENT.0, EXTENT.1]).difference(&ground(POND));
    let zones = shapes(&shapefile(&field), "L_HA");
    let sum = |within: Option<&MultiPolygon<f64>>| -> f64 {
        zones
            .iter()
            .map(|(shape, rate)| {
                let area = within.map_or(shape.unsigned_area(), |w| {
                    shape.intersection(w).unsigned_area()
                });
                area / 10_000.0 * rate
            })
            .sum()
    };
    let grid = Grid::read(&field);
    let back = way("EPSG:4326", "EPSG:32633");
    let by_cells: f64 = grid
        .values
        .iter()
        .enumerate()
        .filter(|(_, value)| **value > 0)
        .map(|(cell, value)| {
            grid.cell(cell, &back).intersection(&inside).unsigned_area() / 10_000.0
                * f64::from(*value)
                / 10_000.0
        })
        .sum();
    let record = field.record();
    let files = record["totals"]["product_by_file"].as_array().unwrap();
    let notice = |name: &str, key: &str| {
        files
            .iter()
            .find(|file| file["file"].as_str().unwrap().contains(name))
            .unwrap()[key]
            .as_f64()
            .unwrap()
    };
    let near = |notice: f64, own: f64| {
        assert!(
            (notice / own - 1.0).abs() < 5e-4,
            "{notice} told, {own} summed"
        );
    };
    near(notice("shapefile", "in_field"), sum(Some(&inside)));
    near(notice("shapefile", "with_run_out"), sum(None));
    near(notice("grid", "in_field"), by_cells);
    assert!(notice("grid", "with_run_out") > by_cells);
    let card = fs_err::read_to_string(field.path("out/machine/CARD.txt")).unwrap();
    // The product of a file stands below its name.
    let line = |start: &str| {
        card.lines()
            .skip_while(|line| !line.starts_with(start))
            .find(|line| line.starts_with("  product"))
            .unwrap()
            .to_owned()
    };
    assert!(
        line("Shapefile").contains(&format!(
            "{:.1} L in the field",
            notice("shapefile", "in_field")
        )),
        "{card}"
    );
    assert!(
        line("TASKDATA").contains(&format!("{:.1} L in the field", notice("grid", "in_field"))),
        "{card}"
    );
}

/// What `haulm check` says of a map of the field: codes of errors.
fn errors(field: &Field, arguments: &[&str]) -> Vec<serde_json::Value> {
    let wording = field.command(&[&["check"], arguments, &["--json"]].concat());
    let notice: serde_json::Value = serde_json::from_str(&wording.out).unwrap();
    notice["result"]["faults"]
        .as_array()
        .unwrap_or_else(|| panic!("{}", wording.out))
        .iter()
        .filter(|fault| fault["severity"] == "stop")
        .cloned()
        .collect()
}

#[test]
fn check_finds_no_error_in_our_own_files() {
    let field = with_pond();
    field.polygons("wet.geojson", &[rectangle([-20.0, 200.0, 15.0, 230.0])]);
    field.job(
        "\n[imagery]",
        "\n[[field.exclude]]\npath = \"wet.geojson\"\nbuffer = \"5 m\"\n\n[imagery]",
    );
    mapped(&field);
    let shapes = shapefile(&field).display().to_string();
    for map in [
        "out/machine/TASKDATA",
        shapes.as_str(),
        "out/office/prescription.geojson",
    ] {
        let product = if map.ends_with("json") {
            &["--unit", "L/ha", "--rate-column", "product_rate"][..]
        } else {
            &[]
        };
        let found = errors(
            &field,
            &[
                &[
                    map,
                    "--boundary",
                    "boundary.geojson",
                    "--exclude",
                    "wet.geojson",
                    "--exclude-buffer",
                    "5 m",
                    "--machine-width",
                    "24 m",
                ],
                product,
            ]
            .concat(),
        );
        assert!(found.is_empty(), "{map}: {found:?}");
    }
}

#[test]
fn check_finds_product_on_a_pond_from_one_square_metre_on() {
    // Mapped without the pond, checked with it: a narrow one, wholly within reach of the edge's run-out.
    let field = Field::new();
    mapped(&field);
    let narrow = [60.0, 30.0, 66.0, 36.0];
    field.write("pond.geojson", boundary_with(&[narrow]));
    let shapes = shapefile(&field).display().to_string();
    for map in ["out/machine/TASKDATA", shapes.as_str()] {
        let found = errors(
            &field,
            &[map, "--boundary", "pond.geojson", "--machine-width", "24 m"],
        );
        assert_eq!(found.len(), 1, "{map}: {found:?}");
        assert!(found[0]["code"].as_str().unwrap().starts_with("hole."));
        let area = found[0]["sizes"][0]["value"].as_f64().unwrap();
        assert!((area - 36.0).abs() < 0.2, "{map}: {found:?}");
        let lonlat = &found[0]["lonlat"];
        let (x, y) = carry(
            &way("EPSG:4326", "EPSG:32633"),
            lonlat[0].as_f64().unwrap(),
            lonlat[1].as_f64().unwrap(),
        );
        assert!(
            (x - CORNER.0 - 63.0).abs() < 5.0 && (y - CORNER.1 - 33.0).abs() < 5.0,
            "{x} {y}"
        );
    }
    // A tenth of a pond that is fed is fed ground too: the boundary's pond lies a little beside the map's.
    let field = with_pond();
    mapped(&field);
    let beside = [POND[0], POND[1], POND[2] + 6.0, POND[3]];
    field.write("pond.geojson", boundary_with(&[beside]));
    let shapes = shapefile(&field).display().to_string();
    for map in ["out/machine/TASKDATA", shapes.as_str()] {
        let found = errors(
            &field,
            &[map, "--boundary", "pond.geojson", "--machine-width", "24 m"],
        );
        assert_eq!(found.len(), 1, "{map}: {found:?}");
        assert_eq!(found[0]["code"], "hole.rate");
    }
}
