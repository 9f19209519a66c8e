//! Bad input by its meaning: every file can be read, and what it says cannot be right. What would be lost without a word is told here.

use std::ffi::OsStr;
use std::os::unix::ffi::OsStrExt as _;
use std::process::Command;
use std::time::{Duration, Instant};

use gdal::vector::LayerAccess as _;

use crate::bad_input::{refused, works};
use crate::field::{CORNER, EXTENT, Field, carry, message, rectangle, way};

/// A pond in the field's west, from the corner. [m]
const POND: [f64; 4] = [24.0, 144.0, 72.0, 192.0];

/// Adds an exclusion to the job.
fn exclude(field: &Field, file: &str) {
    field.job(
        "[imagery]",
        &format!("[[field.exclude]]\npath = \"{file}\"\nreason = \"open water\"\n\n[imagery]"),
    );
}

fn area(field: &Field) -> f64 {
    field.record()["field"]["area_m2"].as_f64().unwrap()
}

#[test]
fn a_hole_that_is_not_closed_is_not_lost() {
    let open = |name: &'static str| {
        move |field: &Field| {
            field.polygons("pond.geojson", &[rectangle(POND)]);
            let pond: serde_json::Value =
                serde_json::from_slice(&fs_err::read(field.path("pond.geojson")).unwrap()).unwrap();
            let mut ring = pond["features"][0]["geometry"]["coordinates"][0]
                .as_array()
                .unwrap()
                .clone();
            ring.pop();
            let mut file: serde_json::Value =
                serde_json::from_slice(&fs_err::read(field.path(name)).unwrap()).unwrap();
            file["features"][0]["geometry"]["coordinates"]
                .as_array_mut()
                .unwrap()
                .push(ring.into());
            field.write(name, file.to_string());
        }
    };
    refused(
        "vector.unclosed",
        &["boundary.geojson", "does not end where it begins"],
        open("boundary.geojson"),
    );
    refused(
        "vector.unclosed",
        &["strips.geojson"],
        open("strips.geojson"),
    );
}

#[test]
fn an_exclusion_that_is_not_closed_is_not_lost() {
    refused(
        "vector.no_geometry",
        &["ponds.geojson", "feature 1"],
        |field| {
            field.polygons(
                "ponds.geojson",
                &[rectangle(POND), rectangle([24.0, 24.0, 48.0, 40.0])],
            );
            let mut file: serde_json::Value =
                serde_json::from_slice(&fs_err::read(field.path("ponds.geojson")).unwrap())
                    .unwrap();
            file["features"][0]["geometry"]["coordinates"][0]
                .as_array_mut()
                .unwrap()
                .pop();
            field.write("ponds.geojson", file.to_string());
            exclude(field, "ponds.geojson");
        },
    );
}

/// Writes five ponds on the working plane in a format that GDAL can make.
fn ponds(field: &Field, name: &str, driver: &str) {
    let driver = gdal::DriverManager::get_driver_by_name(driver).unwrap();
    let mut data = driver.create_vector_only(field.path(name)).unwrap();
    let system = gdal::spatial_ref::SpatialRef::from_epsg(32633).unwrap();
    let mut layer = data
        .create_layer(gdal::vector::LayerOptions {
            name: "ponds",
            srs: Some(&system),
            ty: gdal::vector::OGRwkbGeometryType::wkbPolygon,
            ..Default::default()
        })
        .unwrap();
    for k in 0..5 {
        let (x, y) = (CORNER.0 + 20.0 + 20.0 * f64::from(k), CORNER.1 + 150.0);
        let text = format!(
            "POLYGON (({x} {y}, {} {y}, {} {}, {x} {}, {x} {y}))",
            x + 10.0,
            x + 10.0,
            y + 10.0,
            y + 10.0
        );
        layer
            .create_feature(gdal::vector::Geometry::from_wkt(&text).unwrap())
            .unwrap();
    }
    data.close().unwrap();
}

#[test]
fn a_file_that_is_cut_off_loses_no_exclusion() {
    let cut = |field: &Field, name: &str, part: &str, share: f64, driver: &str| {
        ponds(field, name, driver);
        let bytes = fs_err::read(field.path(part)).unwrap();
        field.write(part, &bytes[..(bytes.len() as f64 * share) as usize]);
        exclude(field, name);
    };
    // Whole, both leave out five ponds of 100 m², each with 1 mm around its 40 m.
    for (name, driver) in [("ponds.shp", "ESRI Shapefile"), ("ponds.fgb", "FlatGeobuf")] {
        let field = works("", &[], |field| cut(field, name, name, 1.0, driver));
        assert!(
            (area(&field) - (EXTENT.0 * EXTENT.1 - 500.2)).abs() < 0.01,
            "{name}: {}",
            area(&field)
        );
    }
    for share in [0.4, 0.7, 0.95] {
        refused("vector.damaged", &["ponds.shp", "copy it again"], |field| {
            cut(field, "ponds.shp", "ponds.shp", share, "ESRI Shapefile");
        });
    }
    // The head of this format takes more than half of so small a file.
    for share in [0.85, 0.95, 0.99] {
        refused("vector.damaged", &["ponds.fgb", "copy it again"], |field| {
            cut(field, "ponds.fgb", "ponds.fgb", share, "FlatGeobuf");
        });
    }
    refused("vector.damaged", &["ponds.shp"], |field| {
        cut(field, "ponds.shp", "ponds.dbf", 0.6, "ESRI Shapefile");
    });
}

#[test]
fn an_exclusion_elsewhere_is_told() {
    let field = works(
        "field.exclude_apart",
        &["pond.geojson", "976 m", "takes nothing away"],
        |field| {
            field.polygons(
                "pond.geojson",
                &[rectangle([EXTENT.0 + 976.0, 0.0, EXTENT.0 + 1000.0, 24.0])],
            );
            exclude(field, "pond.geojson");
        },
    );
    assert!((area(&field) - EXTENT.0 * EXTENT.1).abs() < 0.01);
    let swapped = |field: &Field| {
        field.polygons_by(
            "pond.geojson",
            &[rectangle(POND)],
            &|longitude, latitude| (latitude, longitude),
        );
        exclude(field, "pond.geojson");
    };
    let field = Field::new();
    swapped(&field);
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(1), "{}{}", wording.out, wording.err);
    assert!(
        wording.err.contains("stopped[field.exclude_apart]") && wording.out.contains("swapped"),
        "{}{}",
        wording.out,
        wording.err
    );
    assert!(
        !field.path("out/machine").exists(),
        "nothing for the machine"
    );
}

#[test]
fn a_hole_outside_its_ring_adds_no_ground() {
    let field = works("boundary.repaired", &["boundary.geojson"], |field| {
        let way = way("EPSG:32633", "EPSG:4326");
        let ring = |area: [f64; 4]| -> Vec<[f64; 2]> {
            let corners = rectangle(area);
            corners
                .iter()
                .chain(corners.first())
                .map(|(x, y)| carry(&way, CORNER.0 + x, CORNER.1 + y))
                .map(|(x, y)| [x, y])
                .collect()
        };
        // One pond outside, one half over the edge: 48 m by 24 m of it lie in the field.
        let rings = [
            ring([0.0, 0.0, EXTENT.0, EXTENT.1]),
            ring([300.0, 0.0, 400.0, 100.0]),
            ring([24.0, -24.0, 72.0, 24.0]),
        ];
        field.write(
            "boundary.geojson",
            serde_json::json!({ "type": "Polygon", "coordinates": rings }).to_string(),
        );
    });
    assert!(
        (area(&field) - (EXTENT.0 * EXTENT.1 - 48.0 * 24.0)).abs() < 1.0,
        "{}",
        area(&field)
    );
}

#[test]
fn a_coordinate_that_is_no_number() {
    refused(
        "vector.unreadable",
        &["boundary.geojson", "no valid JSON"],
        |field| {
            let text = fs_err::read_to_string(field.path("boundary.geojson")).unwrap();
            let (head, tail) = text.rsplit_once("],[").unwrap();
            field.write("boundary.geojson", format!("{head}],[NaN,50.19],[{tail}"));
        },
    );
}

#[test]
fn a_band_that_the_file_calls_otherwise_stops_the_machine() {
    let field = Field::new();
    field.image(&crate::field::Image {
        names: ["green", "nir"],
        ..crate::field::Image::default()
    });
    field.job(
        "index = \"NDVI\"",
        "index = \"NDVI\"\nbands = { red = 1, nir = 2 }",
    );
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(1), "{}{}", wording.out, wording.err);
    assert!(
        wording.err.contains("stopped[image.band_name]"),
        "{}",
        wording.err
    );
    let notice = wording.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        notice.contains("takes band 1 of")
            && notice.contains("for red, but the file calls it green"),
        "{notice}"
    );
    // Names of the file's own that say nothing of the light are the job's to settle.
    works("", &[], |field| {
        field.image(&crate::field::Image {
            names: ["first", "second"],
            ..crate::field::Image::default()
        });
        field.job(
            "index = \"NDVI\"",
            "index = \"NDVI\"\nbands = { red = 1, nir = 2 }",
        );
    });
}

#[test]
fn amounts_above_the_greatest_rate() {
    for key in ["thin", "unseen", "bare"] {
        refused(
            "job.out_of_range",
            &[
                &format!("rate.{key}"),
                "151 kg N/ha",
                "more than rate.maximum",
                "150 kg N/ha",
            ],
            |field| {
                field.job("step = ", &format!("{key} = \"151 kg N/ha\"\nstep = "));
            },
        );
    }
    for key in ["on_start", "position_lost", "outside"] {
        refused(
            "job.out_of_range",
            &[
                &format!("machine.{key}"),
                "151 kg N/ha",
                "more than rate.maximum",
            ],
            |field| {
                field.job(
                    "heading = ",
                    &format!("{key} = \"151 kg N/ha\"\nheading = "),
                );
            },
        );
    }
    works("", &[], |field| {
        field.job("step = ", "thin = \"150 kg N/ha\"\nstep = ");
    });
    works("machine.outside", &["outside the field"], |field| {
        field.job("heading = ", "outside = \"10 kg N/ha\"\nheading = ");
    });
}

#[test]
fn nitrogen_asked_for_where_product_is_written() {
    refused(
        "job.disagree",
        &["output.unit", "nitrogen", "UAN 28", "take [product] out"],
        |field| {
            field.job("folder = \"out\"", "folder = \"out\"\nunit = \"kg N/ha\"");
        },
    );
}

#[test]
fn a_curve_or_a_yield_in_the_wrong_unit() {
    // A map of nothing stops, with a report and without a file for the machine.
    for (old, new, notice) in [
        (
            "590 kg/ha",
            "590 t/ha",
            ["100 % of the canopy", "7.00 t/ha"],
        ),
        ("\"7 t/ha\"", "\"0.7 t/ha\"", ["units", "0.70 t/ha"]),
    ] {
        let field = Field::new();
        field.job(old, new);
        let wording = field.run(&["map"]);
        assert_eq!(wording.status, Some(1), "{}", wording.out);
        assert!(!field.path("out/machine/CARD.txt").exists());
        let message = message(&field, "rate.at_maximum").unwrap();
        assert!(
            notice.iter().all(|part| message.contains(part)),
            "{message}"
        );
    }
    works("rate.far_below", &["less than a tenth"], |field| {
        field.job("590 kg/ha", "5.9 kg/ha");
    });
}

#[test]
fn a_density_and_a_share_that_are_another_products() {
    works(
        "product.density",
        &["0.900 kg/L", "UAN 28", "-30 %"],
        |field| {
            field.job(
                "name = \"UAN 28\"",
                "name = \"UAN 28\"\ndensity = \"0.9 kg/L\"",
            );
        },
    );
    let field = works("product.grade", &["46.00 %", "28.00 %"], |field| {
        field.job("name = \"UAN 28\"", "name = \"UAN 28\"\nnitrogen = 0.46");
    });
    let grade = field.record()["findings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|finding| finding["code"] == "product.grade")
        .unwrap()
        .clone();
    assert_eq!(grade["severity"], "caution", "{grade}");
}

#[test]
fn prices_in_the_wrong_unit() {
    let priced = |grain: &str, nitrogen: &str| {
        format!("\n[prices]\ncurrency = \"EUR\"\ngrain = \"{grain}\"\nnitrogen = \"{nitrogen}\"\n")
    };
    for (grain, nitrogen) in [
        ("210 EUR/kg", "1.15 EUR/kg N"),
        ("210 EUR/t", "1150 EUR/kg N"),
    ] {
        works("prices.ratio", &["kg of grain", "units"], |field| {
            let text = fs_err::read_to_string(field.path("job.toml")).unwrap();
            field.write("job.toml", text + &priced(grain, nitrogen));
        });
    }
    let field = works("", &[], |field| {
        let text = fs_err::read_to_string(field.path("job.toml")).unwrap();
        field.write("job.toml", text + &priced("210 EUR/t", "1.15 EUR/kg N"));
    });
    assert!(
        !field.record()["findings"]
            .to_string()
            .contains("prices.ratio")
    );
}

#[test]
fn scales_names_and_spelling() {
    refused(
        "job.negative",
        &["imagery.scale", "-0.0001", "above zero"],
        |field| field.job("index = ", "scale = -0.0001\nindex = "),
    );
    refused("job.out_of_range", &["field.name", "printable"], |field| {
        field.job("Middle Piece", "Middle\u{202e}Piece");
    });
    refused(
        "job.syntax",
        &["day between 01 and 28", "2026-02-29"],
        |field| field.job("date = 2026-04-14", "date = 2026-02-29"),
    );
}

#[test]
fn a_pipe_or_a_device_is_no_file() {
    let pipe = |field: &Field, name: &str| {
        let path = field.path(name);
        if path.exists() {
            fs_err::remove_file(&path).unwrap();
        }
        assert!(
            Command::new("mkfifo")
                .arg(&path)
                .status()
                .unwrap()
                .success()
        );
    };
    let soon = |spoil: &dyn Fn(&Field), code: &str| {
        let field = Field::new();
        spoil(&field);
        let began = Instant::now();
        let mut child = Command::new(env!("CARGO_BIN_EXE_haulm"))
            .arg("map")
            .arg(field.path("job.toml"))
            .stderr(std::process::Stdio::piped())
            .spawn()
            .unwrap();
        while child.try_wait().unwrap().is_none() {
            if began.elapsed() > Duration::from_secs(20) {
                child.kill().unwrap();
                panic!("{code}: it waits for the pipe");
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        let wording = child.wait_with_output().unwrap();
        let notice = String::from_utf8(wording.stderr).unwrap();
        assert_eq!(wording.status.code(), Some(1), "{notice}");
        assert!(
            notice.contains(code) && notice.contains("pipe") && notice.contains("hint"),
            "{notice}"
        );
    };
    for name in ["boundary.geojson", "strips.geojson", "image.tif"] {
        soon(&|field| pipe(field, name), "file.kind");
    }
    soon(&|field| pipe(field, "job.toml"), "job.unreadable");
    soon(
        &|field| {
            pipe(field, "station.csv");
            field.job("growing_days = 100", "weather = \"station.csv\"");
        },
        "file.kind",
    );
    soon(
        &|field| field.job("\"boundary.geojson\"", "\"/dev/zero\""),
        "file.kind",
    );
    soon(
        &|field| {
            pipe(field, "crops.toml");
            field.job("crop = ", "crops = \"crops.toml\"\ncrop = ");
        },
        "job.crop_file",
    );
}

#[test]
fn a_name_that_is_no_text_keeps_json() {
    let field = Field::new();
    let name = OsStr::from_bytes(b"caf\xe9.toml");
    fs_err::rename(field.path("job.toml"), field.path("").join(name)).unwrap();
    let run = Command::new(env!("CARGO_BIN_EXE_haulm"))
        .arg("check")
        .arg(field.path("").join(name))
        .arg("--json")
        .output()
        .unwrap();
    assert_eq!(run.status.code(), Some(0));
    let document: serde_json::Value = serde_json::from_slice(&run.stdout).unwrap();
    assert_eq!(document["status"], "done");
}

#[test]
fn an_output_name_that_no_disk_takes() {
    let field = Field::new();
    let wording = field.command(&["map", "job.toml", "--output", &"x".repeat(256)]);
    assert_eq!(wording.status, Some(1), "{}", wording.err);
    assert!(
        wording.err.contains("error[output.place]") && wording.err.contains("256 bytes"),
        "{}",
        wording.err
    );
    let left: Vec<_> = fs_err::read_dir(field.path(""))
        .unwrap()
        .map(|entry| entry.unwrap().file_name())
        .collect();
    assert_eq!(left.len(), 4, "{left:?}");
}

#[test]
fn a_variable_hides_no_database_of_systems() {
    let field = Field::new();
    let run = Command::new(env!("CARGO_BIN_EXE_haulm"))
        .env("PROJ_LIB", "/nonexistent")
        .env_remove("PROJ_DATA")
        .arg("check")
        .arg(field.path("job.toml"))
        .output();
    let run = run.unwrap();
    let notice = String::from_utf8(run.stderr).unwrap();
    assert!(
        run.status.success() && !notice.contains("error"),
        "{notice}"
    );
}

#[test]
fn an_output_never_takes_the_place_of_an_input() {
    let field = Field::mapped();
    let zones = "out/office/prescription.gpkg";
    fs_err::copy(field.path(zones), field.path("zones.gpkg")).unwrap();
    let machine = "out/machine/TASKDATA";
    let shape = fs_err::read_dir(field.path("out/machine"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.extension() == Some(OsStr::new("shp")));
    let shape = shape.unwrap().to_string_lossy().into_owned();
    let before = crate::field::files(&field.path(""));
    for arguments in [
        &[
            "new",
            "boundary.geojson",
            "image.tif",
            "--output",
            "boundary.geojson",
            "--overwrite",
        ][..],
        &[
            "new",
            "boundary.geojson",
            "image.tif",
            "--output",
            "image.tif",
            "--overwrite",
        ],
        &[
            "new",
            "boundary.geojson",
            "image.tif",
            "--strips",
            "strips.geojson",
            "--output",
            "./strips.geojson",
            "--overwrite",
        ],
        &[
            "convert",
            "zones.gpkg",
            "--layer",
            "zones",
            "--to",
            "geopackage",
            "--output",
            "zones.gpkg",
            "--overwrite",
        ],
        &[
            "convert",
            "zones.gpkg",
            "--layer",
            "zones",
            "--to",
            "geopackage",
            "--overwrite",
        ],
        &[
            "convert",
            &shape,
            "--to",
            "shapefile",
            "--output",
            &shape,
            "--overwrite",
        ],
        &[
            "convert",
            machine,
            "--to",
            "iso11783",
            "--output",
            "out/machine",
            "--overwrite",
        ],
        &[
            "check",
            "zones.gpkg",
            "--layer",
            "zones",
            "--faults",
            "zones.gpkg",
            "--overwrite",
        ],
        &["check", &shape, "--repair", &shape, "--overwrite"],
        &[
            "check",
            &shape,
            "--boundary",
            "zones.gpkg",
            "--faults",
            "zones.gpkg",
            "--overwrite",
        ],
    ] {
        let wording = field.command(arguments);
        assert_eq!(
            wording.status,
            Some(1),
            "{arguments:?}: {}{}",
            wording.out,
            wording.err
        );
        assert!(
            wording.err.contains("error[output.input]") && wording.err.contains("hint: "),
            "{arguments:?}: {}",
            wording.err
        );
    }
    let wording = field.command(&[
        "new",
        "boundary.geojson",
        "image.tif",
        "--output",
        "station.csv",
        "--overwrite",
    ]);
    assert!(
        wording.status == Some(1) && wording.err.contains("error[job.ending]"),
        "{}",
        wording.err
    );
    assert!(
        crate::field::files(&field.path("")) == before,
        "something was changed"
    );
}

#[test]
fn readings_that_the_index_cannot_have_and_a_strip_that_is_paler() {
    let rate = |strip: &str, beside: &str| {
        let strip = format!("--strip={strip}");
        let beside = format!("--beside={beside}");
        let more = [
            "--growing-days=94",
            "--crop=winter wheat",
            "--curve=winter wheat, common practice",
            "--max-yield=100 bu/ac",
            "--maximum=120 lb N/ac",
            "--details",
        ];
        let run = Command::new(env!("CARGO_BIN_EXE_haulm"))
            .args(["rate", &strip, &beside])
            .args(more)
            .output()
            .unwrap();
        (
            run.status.code(),
            String::from_utf8(run.stdout).unwrap(),
            String::from_utf8(run.stderr).unwrap(),
        )
    };
    let (status, _, notice) = rate("66", "50");
    assert_eq!(status, Some(1), "{notice}");
    assert!(
        notice.contains("error[reference.range]")
            && notice.contains("66 cannot be NDVI")
            && notice.contains("per cent"),
        "{notice}"
    );
    let (status, out, _) = rate("0.50", "0.66");
    assert_eq!(status, Some(0), "{out}");
    assert!(
        out.contains("caution") && out.contains("[reference.below]") && out.contains("swapped"),
        "{out}"
    );
    let (status, out, _) = rate("0.66", "0.50");
    assert!(
        status == Some(0) && !out.contains("reference.below"),
        "{out}"
    );
}
