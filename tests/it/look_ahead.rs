//! Machine files that look ahead, from outside: what stands at a place against what stands ahead of it in the map that does not.

use gdal::vector::LayerAccess as _;
use geo::{Contains as _, MultiPolygon, Point};

use crate::field::{CORNER, Field, carry, rectangle, way};
use crate::job_refusals::{faults, with_line};

fn field(machine: &str) -> Field {
    let field = Field::new();
    field.job(
        "heading = \"0 grid\"\n",
        &format!("heading = \"0 grid\"\n{machine}\n"),
    );
    field
}

fn mapped(field: &Field) {
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
}

/// Rates of a file of polygons in longitude and latitude.
struct Map {
    zones: Vec<(MultiPolygon<f64>, f64)>,
    way: gdal::spatial_ref::CoordTransform,
}

impl Map {
    fn read(path: &std::path::Path, column: &str) -> Self {
        let file = gdal::Dataset::open(path).unwrap();
        let mut layer = file.layer(0).unwrap();
        let zones = layer
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
                (shape, rate)
            })
            .collect();
        Self {
            zones,
            way: way("EPSG:32633", "EPSG:4326"),
        }
    }
    /// The shapefile in a field's folder.
    fn shapefile(field: &Field) -> Self {
        let folder = field.path("out/machine");
        let found = fs_err::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .find(|path| path.extension().is_some_and(|e| e == "shp"));
        Self::read(&found.unwrap(), "L_HA")
    }
    /// The rate at metres from the field's corner.
    fn at(&self, x: f64, y: f64) -> Option<f64> {
        let (longitude, latitude) = carry(&self.way, CORNER.0 + x, CORNER.1 + y);
        let hits: Vec<f64> = self
            .zones
            .iter()
            .filter(|zone| zone.0.contains(&Point::new(longitude, latitude)))
            .map(|zone| zone.1)
            .collect();
        assert!(hits.len() <= 1, "{hits:?} at {x}, {y}");
        hits.first().copied()
    }
}

/// Places that lie on no border: every 7 m across and 5 m along, off the grid lines.
fn places() -> impl Iterator<Item = (f64, f64)> {
    (0..34).flat_map(|i| (0..57).map(move |k| (2.3 + 7.0 * f64::from(i), 1.7 + 5.0 * f64::from(k))))
}

/// The pass of a place, from the rightmost: the field is 240 m wide and driven north, in passes of 24 m.
fn pass(x: f64) -> i32 {
    libm::floor((240.0 - x) / 24.0) as i32
}

#[test]
fn each_pass_is_shifted_against_its_own_direction() {
    let plain = field("");
    mapped(&plain);
    let now = Map::shapefile(&plain);
    for (first_pass, right) in [("along", 1.0), ("against", -1.0), ("every along", 1.0)] {
        let ahead = field(&format!(
            "look_ahead = \"10 m\"\nfirst_pass = \"{first_pass}\""
        ));
        mapped(&ahead);
        let shifted = Map::shapefile(&ahead);
        let (mut compared, mut moved) = (0, 0);
        for (x, y) in places() {
            let turns = first_pass != "every along" && pass(x) % 2 == 1;
            let way = if turns { -right } else { right };
            let there = y + 10.0 * way;
            if !(0.0..288.0).contains(&there) {
                // Beyond the end of the pass there is nothing to look at: its last rate runs on.
                assert_eq!(shifted.at(x, y), now.at(x, y), "{first_pass} {x} {y}");
                continue;
            }
            assert_eq!(shifted.at(x, y), now.at(x, there), "{first_pass} {x} {y}");
            compared += 1;
            moved += i32::from(now.at(x, there) != now.at(x, y));
        }
        assert!(compared > 1800 && moved > 50, "{compared} {moved}");
    }
}

#[test]
fn slanting_passes_leave_no_slivers() {
    for heading in ["27.3", "118", "\"301.7 grid\""] {
        let field = field("sections = 3\nlook_ahead = \"9 m\"\nfirst_pass = \"against\"");
        field.job("heading = \"0 grid\"", &format!("heading = {heading}"));
        mapped(&field);
        // Valid, as every reading of a map asserts; and no two at one place.
        let shifted = Map::shapefile(&field);
        for (x, y) in places() {
            assert!(shifted.at(x, y).is_some(), "{x} {y}");
        }
        let rings: Vec<f64> = shifted
            .zones
            .iter()
            .flat_map(|zone| zone.0.iter())
            .map(|part| geo::Area::unsigned_area(part) * 111_000.0 * 71_000.0)
            .collect();
        assert!(rings.iter().all(|area| *area > 1.0), "{rings:?}");
    }
}

#[test]
fn the_office_keeps_the_map_where_it_is() {
    let (plain, ahead) = (
        field(""),
        field("look_ahead = \"10 m\"\nfirst_pass = \"along\""),
    );
    mapped(&plain);
    mapped(&ahead);
    let zones = |field: &Field| {
        let options = gdal::DatasetOptions {
            open_flags: gdal::GdalOpenFlags::GDAL_OF_VECTOR,
            ..gdal::DatasetOptions::default()
        };
        let file =
            gdal::Dataset::open_ex(field.path("out/office/prescription.gpkg"), options).unwrap();
        let mut layer = file.layer_by_name("zones").unwrap();
        layer
            .features()
            .map(|feature| feature.geometry().unwrap().wkb().unwrap())
            .collect::<Vec<_>>()
    };
    assert_eq!(zones(&plain), zones(&ahead));
    let raster = |field: &Field| {
        fs_err::metadata(field.path("out/office/nitrogen.tif"))
            .unwrap()
            .len()
    };
    assert_eq!(raster(&plain), raster(&ahead));
    let record = ahead.record();
    let notice = &record["settings"]["machine"]["look_ahead"];
    assert_eq!(
        (notice["distance_m"].as_f64(), notice["first_pass"].as_str()),
        (Some(10.0), Some("along"))
    );
    assert!(plain.record()["settings"]["machine"]["look_ahead"].is_null());
    let finding = record["findings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|finding| finding["code"] == "machine.look_ahead")
        .unwrap();
    assert!(
        finding["severity"] == "caution"
            && finding["message"]
                .as_str()
                .unwrap()
                .contains("shifted by 10.0 m against the direction of travel"),
        "{finding}"
    );
    let card = |field: &Field| {
        fs_err::read_to_string(field.path("out/machine/CARD.txt"))
            .unwrap()
            .replace("\r\n  ", " ")
    };
    assert!(
        card(&ahead).contains("THE MAP LOOKS AHEAD by 10.0 m")
            && card(&ahead).contains("both together shift twice"),
        "{}",
        card(&ahead)
    );
    assert!(
        !card(&ahead).contains("does not look ahead")
            && card(&plain).contains("The map does not look ahead")
    );
}

#[test]
fn the_task_grid_looks_ahead_too() {
    let (plain, ahead) = (
        field(""),
        field("look_ahead = \"12 m\"\nfirst_pass = \"every along\""),
    );
    for field in [&plain, &ahead] {
        mapped(field);
        let wording = field.command(&[
            "convert",
            "out/machine/TASKDATA",
            "--to",
            "geojson",
            "--output",
            "grid.geojson",
        ]);
        assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    }
    let grid = |field: &Field| Map::read(&field.path("grid.geojson"), "product_rate");
    let (now, shifted) = (grid(&plain), grid(&ahead));
    let (mut nearer, mut further, mut alike) = (0, 0, 0);
    for (x, y) in places().filter(|place| place.1 > 24.0 && place.1 < 250.0) {
        let (Some(rate), Some(there), Some(here)) =
            (shifted.at(x, y), now.at(x, y + 12.0), now.at(x, y))
        else {
            continue;
        };
        if (here - there).abs() < 5.0 {
            alike += i32::from((rate - here).abs() < 5.0);
        } else if (rate - there).abs() < (rate - here).abs() {
            nearer += 1;
        } else {
            further += 1;
        }
    }
    // Grid cells of 3 m lie across borders: within half a cell of one a place may have the rate of either side. Elsewhere it agrees with the rate ahead.
    assert!(
        nearer > 30 && further * 4 < nearer && alike > 1_000,
        "{nearer} {further} {alike}"
    );
}

#[test]
fn nothing_is_shifted_onto_an_exclusion_or_on_the_headland() {
    let exclude = "[[field.exclude]]\npath = \"pond.geojson\"\nreason = \"pond\"\n\n[imagery]\n";
    let make = |machine: &str| {
        let field = field(machine);
        field.polygons("pond.geojson", &[rectangle([90.0, 100.0, 130.0, 150.0])]);
        field.job("[imagery]\n", exclude);
        mapped(&field);
        Map::shapefile(&field)
    };
    let headland = "headland = { passes = 1, rate = \"17 kg N/ha\" }";
    let (now, shifted) = (
        make(headland),
        make(&format!(
            "{headland}\nlook_ahead = \"10 m\"\nfirst_pass = \"along\""
        )),
    );
    let mut inner = 0;
    for (x, y) in places() {
        let rim = !(24.0..216.0).contains(&x) || !(24.0..264.0).contains(&y);
        if rim {
            assert_eq!(shifted.at(x, y), now.at(x, y), "headland {x} {y}");
        } else if now.at(x, y).is_none() {
            assert_eq!(shifted.at(x, y), None, "pond {x} {y}");
        } else {
            assert!(shifted.at(x, y).is_some(), "{x} {y}");
            inner += i32::from(shifted.at(x, y) != now.at(x, y));
        }
    }
    assert!(inner > 50, "{inner}");
}

#[test]
fn check_points_hold_in_the_shifted_map() {
    let ahead = field("look_ahead = \"10 m\"\nfirst_pass = \"along\"");
    mapped(&ahead);
    let shifted = Map::shapefile(&ahead);
    let card = fs_err::read_to_string(ahead.path("out/machine/CARD.txt")).unwrap();
    let points: Vec<(f64, f64, f64)> = card
        .lines()
        .filter(|line| line.starts_with(['1', '2', '3']) && line.ends_with("L/ha"))
        .map(|line| {
            let numbers: Vec<f64> = line
                .split_whitespace()
                .filter_map(|word| word.parse().ok())
                .collect();
            // Latitude stands first.
            (numbers[2], numbers[1], numbers[3])
        })
        .collect();
    for (longitude, latitude, rate) in &points {
        let hit = shifted
            .zones
            .iter()
            .find(|zone| zone.0.contains(&Point::new(*longitude, *latitude)))
            .unwrap();
        assert!((hit.1 - rate).abs() < 0.006, "{} {rate}", hit.1);
    }
}

#[test]
fn a_time_goes_by_the_speed_and_doubtful_ones_are_refused() {
    use haulm::app::job::map_job;
    let timed = with_line(
        "machine",
        "speed = \"12 km/h\"\ndelay = \"1 s\"\ntransition = \"1 s\"\nlook_ahead = \"3 s\"\nfirst_pass = \"against\"",
    );
    let settings = map_job(timed.as_bytes(), std::path::Path::new("job.toml"))
        .unwrap()
        .value;
    // 3 s at 12 km/h.
    assert!((settings.machine.look_ahead.unwrap().distance.get() - 10.0).abs() < 1e-9);
    for (line, code) in [
        ("look_ahead = \"10 m\"", "job.missing"),
        ("first_pass = \"along\"", "job.missing"),
        (
            "look_ahead = \"2 s\"\nfirst_pass = \"along\"",
            "job.none_of",
        ),
        (
            "look_ahead = \"0 m\"\nfirst_pass = \"along\"",
            "job.out_of_range",
        ),
        (
            "look_ahead = \"200 m\"\nfirst_pass = \"along\"",
            "job.out_of_range",
        ),
        ("look_ahead = 10\nfirst_pass = \"along\"", "job.bare_number"),
        (
            "look_ahead = \"10 m\"\nfirst_pass = \"left\"",
            "job.unknown_name",
        ),
    ] {
        let found = faults(&with_line("machine", line));
        assert!(
            found.iter().any(|fault| fault.code() == code),
            "{line}: {:?}",
            found
                .iter()
                .map(haulm::job::fault::Fault::code)
                .collect::<Vec<_>>()
        );
    }
}

/// The demo's field has slanting edges, a hole, an exclusion over its edge and a margin all around.
#[test]
fn fields_of_any_shape_look_ahead() {
    let demo = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo");
    let folder = tempfile::tempdir().unwrap();
    fs_err::create_dir(folder.path().join("field")).unwrap();
    for entry in fs_err::read_dir(demo.join("field")).unwrap() {
        let entry = entry.unwrap();
        fs_err::copy(
            entry.path(),
            folder.path().join("field").join(entry.file_name()),
        )
        .unwrap();
    }
    let job = fs_err::read_to_string(demo.join("job.toml")).unwrap();
    let heading = job
        .lines()
        .find(|line| line.starts_with("heading"))
        .unwrap();
    for (degrees, first) in [
        ("63.0", "along"),
        ("41.0", "against"),
        ("10.0", "every along"),
        ("\"auto\"", "along"),
    ] {
        let text = job
            .replace(
                "[machine]\n",
                &format!("[machine]\nlook_ahead = \"8 m\"\nfirst_pass = \"{first}\"\n"),
            )
            .replace(heading, &format!("heading = {degrees}"));
        let path = folder.path().join("job.toml");
        fs_err::write(&path, text).unwrap();
        let wording = std::process::Command::new(env!("CARGO_BIN_EXE_haulm"))
            .args(["map", "--overwrite", "--threads", "2"])
            .arg(&path)
            .output()
            .unwrap();
        assert!(
            wording.status.success(),
            "{degrees} {first}: {}",
            String::from_utf8_lossy(&wording.stderr)
        );
        let shape = folder.path().join("out/machine/LONG_LEY.shp");
        let map = Map::read(&shape, "L_HA");
        let area: f64 = map
            .zones
            .iter()
            .map(|(shape, _)| geo::Area::unsigned_area(shape))
            .sum();
        let whole = geo::algorithm::bool_ops::unary_union(map.zones.iter().map(|(shape, _)| shape));
        assert!(
            (geo::Area::unsigned_area(&whole) / area - 1.0).abs() < 1e-6,
            "{degrees} {first}: zones overlap"
        );
    }
}
