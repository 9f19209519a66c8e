//! A map from single readings: a boom's log over a made field whose truth is known, from separated values and from vector files.

use std::fmt::Write as _;

use gdal::vector::LayerAccess as _;

use crate::field::{CORNER, EXTENT, Field, STRIP};

/// A sum of waves: patches of some 60 m, smooth enough that its mean over a cell is known from a few places.
fn truth(x: f64, y: f64) -> f64 {
    let (west, south, east, north) = (STRIP[0], STRIP[1], STRIP[2], STRIP[3]);
    if x >= west && x < east && y >= south && y < north {
        return 0.74 + 0.006 * libm::sin(y / 9.0);
    }
    0.60 + 0.03 * libm::sin(x / 21.0 + 0.4) * libm::cos(y / 27.0) + 0.02 * libm::sin((x + y) / 17.0)
}

/// Mean of the truth over a cell of 24 m.
fn cell_truth(row: i64, col: i64) -> f64 {
    // The field lies due grid north: rows go north, columns west from the east edge (to the left of the drive).
    let (south, east) = (24.0 * row as f64, EXTENT.0 - 24.0 * col as f64);
    let mut sum = 0.0;
    for i in 0..12 {
        for j in 0..12 {
            sum += truth(
                east - 1.0 - 2.0 * f64::from(i),
                south + 1.0 + 2.0 * f64::from(j),
            );
        }
    }
    sum / 144.0
}

/// Noise that repeats: a linear congruence, uniform in ±1 (constants of Knuth, from memory).
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

/// One reading: pass, easting, northing from the corner [m], speed [km/h], index.
type Reading = (usize, f64, f64, f64, f64);

/// A boom with two sensors, 6 m left and right of the tramline, a reading every 3 m; nothing is read east of 216 m.
fn log() -> Vec<Reading> {
    let mut noise = Noise(20_260_414);
    let mut log = Vec::new();
    for pass in 0..10_u8 {
        for sensor in [-6.0, 6.0] {
            let x = 12.0 + 24.0 * f64::from(pass) + sensor;
            if x > 216.0 {
                continue;
            }
            for k in 0..96 {
                let y = 1.5 + 3.0 * f64::from(k);
                log.push((
                    usize::from(pass) * 2 + usize::from(sensor > 0.0),
                    x,
                    y,
                    8.0,
                    truth(x, y) + 0.008 * noise.next(),
                ));
            }
        }
    }
    log
}

fn csv(log: &[Reading]) -> String {
    let way = crate::field::way("EPSG:32633", "EPSG:4326");
    let mut text = "lat;lon;ndvi;pass;speed (km/h)\n".to_owned();
    for (pass, x, y, speed, index) in log {
        let (longitude, latitude) = crate::field::carry(&way, CORNER.0 + x, CORNER.1 + y);
        let line = format!("{latitude:.8};{longitude:.8};{index:.5};{pass};{speed:.1}");
        writeln!(text, "{}", line.replace('.', ",")).unwrap();
    }
    text
}

const IMAGERY: &str = "[imagery]\npath = \"image.tif\"\ndate = 2026-04-14\nindex = \"NDVI\"\n";

fn field(points: &str) -> Field {
    let field = Field::new();
    field.write("log.csv", csv(&log()));
    field.job(
        IMAGERY,
        &format!("[points]\npath = \"log.csv\"\ndate = 2026-04-14\nindex = \"NDVI\"\n{points}"),
    );
    field
}

fn mapped(field: &Field, arguments: &[&str]) -> serde_json::Value {
    let wording = field.run(arguments);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    field.record()
}

/// Row, column, state, index and its standard error.
type Cell = (i64, i64, String, Option<f64>, Option<f64>);

fn cells(field: &Field) -> Vec<Cell> {
    let file = gdal::Dataset::open_ex(
        field.path("out/office/prescription.gpkg"),
        gdal::DatasetOptions {
            open_flags: gdal::GdalOpenFlags::GDAL_OF_VECTOR,
            ..gdal::DatasetOptions::default()
        },
    )
    .unwrap();
    let mut layer = file.layer_by_name("cells").unwrap();
    let column = |name: &str| layer.defn().field_index(name).unwrap();
    let (row, col, state, index, error) = (
        column("row"),
        column("col"),
        column("state"),
        column("index"),
        column("index_se"),
    );
    let cell = |feature: gdal::vector::Feature<'_>| {
        (
            feature.field_as_integer64(row).unwrap().unwrap(),
            feature.field_as_integer64(col).unwrap().unwrap(),
            feature.field_as_string(state).unwrap().unwrap(),
            feature.field_as_double(index).unwrap(),
            feature.field_as_double(error).unwrap(),
        )
    };
    layer.features().map(cell).collect()
}

fn finding<'a>(record: &'a serde_json::Value, code: &str) -> Option<&'a str> {
    record["findings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|finding| finding["code"] == code)
        .and_then(|finding| finding["message"].as_str())
}

fn number(value: &serde_json::Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}

#[test]
fn kriging_finds_the_truth_and_knows_how_well() {
    let field = field("pass = \"pass\"\nestimate = \"kriging\"\nreach = \"14 m\"\n");
    let record = mapped(&field, &["map"]);
    let strip = &record["reference"]["strips"][0];
    assert_eq!(strip["estimator"], "fine");
    assert!((number(&strip["index"]) - 0.74).abs() < 0.004, "{strip}");
    // Beside it, 5 to 29 m away on both sides, the truth is known too.
    let (mut beside, mut n) = (0.0, 0.0);
    for x in (91..115).chain(149..173) {
        for y in 27..261 {
            beside += truth(f64::from(x) + 0.5, f64::from(y) + 0.5);
            n += 1.0;
        }
    }
    assert!(
        (number(&strip["beside"]) - beside / n).abs() < 0.006,
        "{strip} {}",
        beside / n
    );
    let (low, high) = (
        number(&record["reference"]["ratio_low"]),
        number(&record["reference"]["ratio_high"]),
    );
    let ratio = 0.74 * n / beside;
    assert!(
        low < ratio && ratio < high && high - low < 0.1,
        "{low} {ratio} {high}"
    );

    let (mut squares, mut within, mut seen, mut unseen) = (0.0, 0, 0, 0);
    for (row, col, state, index, error) in cells(&field) {
        // The ground without readings: the easternmost column's middle lies 18 m from the last pass.
        if col == 0 {
            assert_eq!(
                (state.as_str(), index, error),
                ("unseen", None, None),
                "row {row}"
            );
            unseen += 1;
            continue;
        }
        let off = index.unwrap() - cell_truth(row, col);
        let error = error.unwrap();
        assert!(error > 0.0 && error < 0.03, "{error}");
        // Cells of the strip's ends are half strip, half field: no single place tells of both.
        if (120.0..144.0).contains(&(EXTENT.0 - 24.0 * col as f64 - 12.0)) {
            continue;
        }
        squares += off * off;
        seen += 1;
        within += usize::from(off.abs() < 2.0 * error);
    }
    assert_eq!((unseen, seen), (12, 96));
    assert!(
        libm::sqrt(squares / f64::from(seen)) < 0.008,
        "{}",
        libm::sqrt(squares / f64::from(seen))
    );
    assert!(
        within >= 86,
        "{within} of {seen} cells lie within two standard errors"
    );
    let kriging = &record["points"]["kriging"];
    assert!(
        (0.2..3.0).contains(&number(&kriging["left_out"]["variance_ratio"])),
        "{kriging}"
    );
    assert!(number(&kriging["practical_range_m"]) > 20.0, "{kriging}");
    assert_eq!(record["settings"]["points"]["estimate"], "kriging");
    assert!(record["settings"]["imagery"].is_null());
    assert!(
        finding(&record, "points.gaps")
            .unwrap()
            .contains("12 of 120"),
        "{record}"
    );
    let inputs = record["inputs"].as_array().unwrap();
    assert!(
        inputs.iter().any(|input| input["path"] == "log.csv")
            && inputs.iter().all(|input| input["path"] != "image.tif")
    );
}

#[test]
fn what_kriging_does_not_know_is_in_the_band() {
    // Every other uncertainty is taken away, so that the ground between readings is all that is left.
    let only = |rest: &str| {
        let field = field("pass = \"pass\"\nestimate = \"kriging\"\nreach = \"14 m\"\n");
        field.job(
            "strips = \"strips.geojson\"",
            "readings = [{ strip = 0.74, beside = 0.62 }]",
        );
        field.job(
            "method = \"yield response\"\n",
            "method = \"yield response\"\ncurve_spread = 0\n",
        );
        field.job("folder = \"out\"\n", &format!("folder = \"out\"\n{rest}[uncertainty]\ndraws = 2000\nuse_efficiency_spread = 0\nplace_spread = 0\n"));
        let record = mapped(&field, &["map"]);
        (field, record)
    };
    let (field, record) = only("");
    let drawn = &record["uncertainty"]["drawn"];
    let alone = drawn["alone"].as_array().unwrap();
    assert_eq!(
        (
            alone.len(),
            &alone[0]["uncertainty"],
            number(&alone[0]["variance_share"])
        ),
        (1, &"ground between readings".into(), 1.0),
        "{drawn}"
    );
    let sd = number(&alone[0]["sd_n_kg"]);
    // Worked out and drawn are two ways to one number; limits and the curve of the method bend it a little.
    assert!(
        sd > 0.0 && (number(&drawn["n_kg_sd"]) / sd - 1.0).abs() < 0.15,
        "{drawn}"
    );
    assert!(
        (number(&drawn["n_kg_mean"]) - number(&drawn["n_kg_plain"])).abs() < 2.0 * sd,
        "{drawn}"
    );
    let side = number(&drawn["errors_alike_side_m"]);
    assert!((11.9..60.0).contains(&side), "{side} m");
    // P10 and P90 of a normal distribution lie 2.5631 standard deviations apart.
    let (mut squares, mut sum, mut area_sum) = (0.0, 0.0, 0.0);
    for cell in bounds(&field) {
        let Some((area, low, high)) = cell else {
            continue;
        };
        let one = area * (high - low) / 2.563_1 / 10_000.0;
        (squares, sum, area_sum) = (squares + one * one, sum + one, area_sum + area);
    }
    assert!(area_sum > 30_000.0, "{area_sum} m² with a band");
    // More than if cells knew nothing of each other, and far less than if all were wrong together.
    assert!(
        sd > 0.95 * squares.sqrt() && sd < 0.5 * sum,
        "{} < {sd} < {sum}",
        squares.sqrt()
    );
    // Rates themselves do not move, and the same seed draws the same.
    let (_, again) = only("");
    assert_eq!(record["uncertainty"], again["uncertainty"]);
    let other = self::field("pass = \"pass\"\nestimate = \"kriging\"\nreach = \"14 m\"\n");
    other.job(
        "strips = \"strips.geojson\"",
        "readings = [{ strip = 0.74, beside = 0.62 }]",
    );
    other.job(
        "folder = \"out\"\n",
        "folder = \"out\"\n[uncertainty]\ndraws = 0\n",
    );
    assert_eq!(
        mapped(&other, &["map"])["totals"]["n_kg_exact"],
        record["totals"]["n_kg_exact"]
    );
}

/// Area and bounds of each cell that has them.
fn bounds(field: &Field) -> Vec<Option<(f64, f64, f64)>> {
    let options = gdal::DatasetOptions {
        open_flags: gdal::GdalOpenFlags::GDAL_OF_VECTOR,
        ..Default::default()
    };
    let file = gdal::Dataset::open_ex(field.path("out/office/prescription.gpkg"), options).unwrap();
    let mut layer = file.layer_by_name("cells").unwrap();
    let place = |name: &str| layer.defn().field_index(name).unwrap();
    let columns = ["area_m2", "n_p10_kg_ha", "n_p90_kg_ha"].map(place);
    layer
        .features()
        .map(|f| {
            Some((
                f.field_as_double(columns[0]).unwrap()?,
                f.field_as_double(columns[1]).unwrap()?,
                f.field_as_double(columns[2]).unwrap()?,
            ))
        })
        .collect()
}

#[test]
fn means_of_cells_have_no_standard_error_and_gaps_stay_gaps() {
    let field = field("");
    let record = mapped(&field, &["map"]);
    for (row, col, state, index, error) in cells(&field) {
        assert_eq!(error, None);
        if col == 0 {
            assert_eq!((state.as_str(), index), ("unseen", None));
        } else {
            assert!(
                (index.unwrap() - cell_truth(row, col)).abs() < 0.02,
                "{row} {col}: {index:?} {}",
                cell_truth(row, col)
            );
        }
    }
    assert_eq!(record["points"]["kept"], 18 * 96);
    assert!(record["points"]["kriging"].is_null());
}

#[test]
fn faults_of_a_log_are_dropped_and_counted() {
    let field = field(
        "pass = \"pass\"\nspeed = \"speed (km/h)\"\nminimum_speed = \"1 km/h\"\nmaximum_speed = \"20 km/h\"\n",
    );
    let clean = mapped(&field, &["map"]);
    let mut log = log();
    // Two posts before the sensor, a reading at a standstill, twenty while the machine waits, one outside, one that cannot be.
    log[100].4 = 0.31;
    log[700].4 = 0.95;
    let at = |k: usize, dx: f64| (log[k].0, log[k].1 + dx, log[k].2, 8.0, log[k].4);
    let waiting: Vec<Reading> = (0..20).map(|k| at(50, 0.01 * f64::from(k))).collect();
    let (outside, never) = (at(9, -60.0), (0, 20.0, 20.0, 8.0, 1.7));
    log[300].3 = 0.2;
    let after = log.split_off(51);
    log.extend(waiting);
    log.extend(after);
    log.extend([outside, never]);
    let mut text = csv(&log);
    text.push_str(";;0,6;1;8\n50,1;15,8;;1;8\n50,1;15,8;-9999;1;8\n");
    field.write("log.csv", text);
    let record = mapped(&field, &["map"]);
    let points = &record["points"];
    let expected = [
        ("outliers", 2),
        ("wrong_speed", 1),
        ("joined", 20),
        ("outside", 1),
        ("out_of_range", 1),
        ("no_place", 1),
        ("no_index", 2),
    ];
    for (key, count) in expected {
        assert_eq!(points[key], count, "{key}: {points}");
    }
    assert!(
        finding(&record, "points.used")
            .unwrap()
            .contains("2 are unlike their neighbours"),
        "{record}"
    );
    // Faults that are dropped hardly move the map.
    let total = |record: &serde_json::Value| number(&record["totals"]["n_kg_exact"]);
    assert!(
        (total(&record) / total(&clean) - 1.0).abs() < 0.01,
        "{} {}",
        total(&record),
        total(&clean)
    );
}

#[test]
fn the_same_bytes_whatever_the_threads() {
    let (one, two) = (
        field("estimate = \"kriging\"\n"),
        field("estimate = \"kriging\"\n"),
    );
    mapped(&one, &["--threads", "1", "map"]);
    mapped(&two, &["--threads", "2", "map"]);
    let (mut a, mut b) = (one.outputs(), two.outputs());
    // The record holds the true time.
    let records = [
        a.remove("office/record.json").unwrap(),
        b.remove("office/record.json").unwrap(),
    ];
    let [first, second] = records.map(|bytes| {
        String::from_utf8(bytes)
            .unwrap()
            .lines()
            .filter(|line| !line.contains("\"made_at\""))
            .collect::<Vec<_>>()
            .join("\n")
    });
    assert!(a == b && a.len() > 4);
    assert_eq!(first, second);
}

/// Writes the log as a vector file in UTM, the index in a column of its own name.
fn vector(field: &Field, name: &str, driver: &str) {
    let mut file = gdal::DriverManager::get_driver_by_name(driver)
        .unwrap()
        .create_vector_only(field.path(name))
        .unwrap();
    let system = gdal::spatial_ref::SpatialRef::from_epsg(32_633).unwrap();
    let layer = file
        .create_layer(gdal::vector::LayerOptions {
            name: "readings",
            srs: Some(&system),
            ty: gdal::vector::OGRwkbGeometryType::wkbPoint,
            options: None,
        })
        .unwrap();
    gdal::vector::FieldDefn::new("wert", gdal::vector::OGRFieldType::OFTReal)
        .unwrap()
        .add_to_layer(&layer)
        .unwrap();
    for (_, x, y, _, index) in log() {
        let mut feature = gdal::vector::Feature::new(layer.defn()).unwrap();
        let mut point =
            gdal::vector::Geometry::empty(gdal::vector::OGRwkbGeometryType::wkbPoint).unwrap();
        point.add_point_2d((CORNER.0 + x, CORNER.1 + y));
        feature.set_geometry(point).unwrap();
        feature
            .set_field_double(0, (index * 1e5).round() / 1e5)
            .unwrap();
        feature.create(&layer).unwrap();
    }
    file.close().unwrap();
}

#[test]
fn vector_files_say_the_same_as_separated_values() {
    let field = field("");
    let plain = mapped(&field, &["map"]);
    for (name, driver) in [("log.gpkg", "GPKG"), ("log.shp", "ESRI Shapefile")] {
        let other = self::field("");
        vector(&other, name, driver);
        other.job(
            "path = \"log.csv\"",
            &format!("path = \"{name}\"\ncolumn = \"wert\""),
        );
        let record = mapped(&other, &["map"]);
        // Places rounded to 1e-8 degrees are a millimetre off; no reading changes its cell for that.
        let (a, b) = (
            number(&plain["totals"]["n_kg_exact"]),
            number(&record["totals"]["n_kg_exact"]),
        );
        assert!((a / b - 1.0).abs() < 1e-6, "{name}: {a} {b}");
        assert_eq!(record["points"]["kept"], plain["points"]["kept"]);
    }
}

#[test]
fn inspect_and_check_know_readings() {
    let field = field("");
    let wording = field.run(&["inspect"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    assert!(
        wording.out.contains("1728") && wording.out.contains("3.000 m apart"),
        "{}",
        wording.out
    );
    let wording = field.run(&["check"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
}

fn refused(field: &Field, words: &[&str]) {
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(1), "{}{}", wording.out, wording.err);
    for word in words {
        assert!(
            wording.err.contains(word),
            "{word:?} is not in {}",
            wording.err
        );
    }
    assert!(!field.path("out/machine").exists());
}

#[test]
fn bad_logs_are_refused_with_what_to_do() {
    let field = field("");
    let good = csv(&log());
    field.write("log.csv", good.replace("50,", "50.3,x"));
    refused(&field, &["line 2", "is no number"]);
    field.write("log.csv", "lat,lon,ndvi\n5010.5,1550.2,0.6\n");
    refused(&field, &["5010.5", "degrees and minutes", "50.20575"]);
    field.write("log.csv", good.replace("ndvi", "value"));
    refused(&field, &["points.column", "value"]);
    field.write("log.csv", good.replace("lat;lon", "lon;lat"));
    refused(
        &field,
        &["the boundary lies outside the readings", "points.x"],
    );
    let times_100: Vec<Reading> = log()
        .into_iter()
        .map(|r| (r.0, r.1, r.2, r.3, 100.0 * r.4))
        .collect();
    field.write("log.csv", csv(&times_100));
    refused(&field, &["scale = 0.01"]);
    field.write(
        "log.csv",
        csv(&log().into_iter().take(20).collect::<Vec<_>>()),
    );
    field.job(
        "index = \"NDVI\"\n",
        "index = \"NDVI\"\nestimate = \"kriging\"\n",
    );
    refused(&field, &["a variogram needs 30 readings", "there are 20"]);
}

#[test]
fn keys_that_do_not_go_together_are_refused() {
    for (keys, words) in [
        ("reach = \"20 m\"\n", "estimate"),
        ("x = \"lon\"\n", "y"),
        ("minimum_speed = \"1 km/h\"\n", "speed"),
        (
            "estimate = \"kriging\"\nneighbours = 8\nminimum_readings = 9\n",
            "neighbours",
        ),
        ("neighbors = 8\n", "neighbours"),
        ("join = \"1\"\n", "unit"),
    ] {
        let field = field(keys);
        let wording = field.run(&["map"]);
        assert_eq!(
            wording.status,
            Some(1),
            "{keys}: {}{}",
            wording.out,
            wording.err
        );
        assert!(wording.err.contains(words), "{keys}: {}", wording.err);
    }
    let field = Field::new();
    field.write("log.csv", csv(&log()));
    field.job(
        IMAGERY,
        &format!("{IMAGERY}\n[points]\npath = \"log.csv\"\ndate = 2026-04-14\n"),
    );
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(1));
    assert!(
        wording.err.contains("imagery") && wording.err.contains("points"),
        "{}",
        wording.err
    );
}
