//! Bad input, one test each: what is refused, what is mended with a word about it, and that the last good map stays as it was.

use crate::field::{CORNER, EXTENT, Field, Image, STRIP, carry, rectangle, way};

/// Spoils a field that has a good map, and runs again: refused with these parts, and the map is untouched.
pub(crate) fn refused(code: &str, parts: &[&str], spoil: impl FnOnce(&Field)) {
    let field = Field::mapped();
    let before = field.outputs();
    assert!(before.len() > 10, "a map is there");
    spoil(&field);
    let wording = field.run(&["map"]);
    // Lines are broken by width, so a part may be broken too.
    let notice = wording.err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(wording.status, Some(1), "{notice}\n{}", wording.out);
    assert!(
        notice.contains(&format!("error[{code}]")),
        "{code} is not in: {notice}"
    );
    for part in parts.iter().chain(&["hint: "]) {
        assert!(notice.contains(part), "{part:?} is not in: {notice}");
    }
    assert!(wording.out.is_empty(), "{}", wording.out);
    assert!(field.outputs() == before, "the earlier map was touched");
    assert!(
        hidden(&field).is_empty(),
        "left behind: {:?}",
        hidden(&field)
    );
}

/// Hidden files and folders beside the job: staging and locks that should be gone.
fn hidden(field: &Field) -> Vec<String> {
    let names = fs_err::read_dir(field.path(""))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned());
    names.filter(|name| name.starts_with('.')).collect()
}

/// Changes a field and maps it: done, with this finding and these parts in it.
pub(crate) fn works(code: &str, parts: &[&str], change: impl FnOnce(&Field)) -> Field {
    let field = Field::new();
    change(&field);
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    if !code.is_empty() {
        let record = field.record();
        let found = record["findings"]
            .as_array()
            .unwrap()
            .iter()
            .find(|finding| finding["code"] == code);
        let message =
            found.unwrap_or_else(|| panic!("{code} is not in {}", record["findings"]))["message"]
                .as_str()
                .unwrap();
        for part in parts {
            assert!(message.contains(part), "{part:?} is not in: {message}");
        }
        assert!(
            wording.out.contains(&format!("[{code}]")),
            "the terminal tells it too: {}",
            wording.out
        );
    }
    field
}

/// Total nitrogen of a field's last map. [kg]
fn nitrogen(field: &Field) -> f64 {
    field.record()["totals"]["n_kg_exact"].as_f64().unwrap()
}

fn close(a: f64, b: f64, share: f64) {
    assert!((a / b - 1.0).abs() < share, "{a} and {b}");
}

#[test]
fn a_missing_file() {
    refused(
        "file.missing",
        &["image.tif", "relative to the job file"],
        |field| fs_err::remove_file(field.path("image.tif")).unwrap(),
    );
    refused("file.missing", &["boundary.geojson"], |field| {
        fs_err::remove_file(field.path("boundary.geojson")).unwrap();
    });
    refused("file.missing", &["strips.geojson"], |field| {
        fs_err::remove_file(field.path("strips.geojson")).unwrap();
    });
}

#[test]
fn not_a_raster() {
    refused("image.unreadable", &["image.tif", "GeoTIFF"], |field| {
        field.write("image.tif", "date,tmin\n2026-04-14,3\n");
    });
}

#[test]
fn a_truncated_image() {
    refused(
        "image.unreadable",
        &["image.tif", "copy it again"],
        |field| {
            let bytes = fs_err::read(field.path("image.tif")).unwrap();
            field.write("image.tif", &bytes[..bytes.len() / 2]);
        },
    );
}

#[test]
fn no_georeference() {
    refused("image.no_georeference", &["image.tif"], |field| {
        field.image(&Image {
            transform: None,
            ..Image::default()
        });
    });
    refused("image.no_system", &["image.tif"], |field| {
        field.image(&Image {
            system: None,
            ..Image::default()
        });
    });
}

#[test]
fn image_and_boundary_apart() {
    let transform = Some([
        CORNER.0 + 49_976.0,
        2.0,
        0.0,
        CORNER.1 + EXTENT.1 + 24.0,
        0.0,
        -2.0,
    ]);
    refused(
        "boundary.apart",
        &[
            "49.9 km",
            "boundary.geojson",
            "longitude 15.84",
            "latitude 50.19",
            "reference system",
        ],
        |field| {
            field.image(&Image {
                transform,
                ..Image::default()
            });
        },
    );
}

#[test]
fn longitude_and_latitude_swapped() {
    refused(
        "boundary.apart",
        &["km", "longitude 50.19", "latitude 15.84", "swapped"],
        |field| {
            field.polygons_by(
                "boundary.geojson",
                &[rectangle([0.0, 0.0, EXTENT.0, EXTENT.1])],
                &|longitude, latitude| (latitude, longitude),
            );
        },
    );
}

#[test]
fn a_geographic_image_works() {
    let (west, north) = carry(
        &way("EPSG:32633", "EPSG:4326"),
        CORNER.0 - 30.0,
        CORNER.1 + EXTENT.1 + 30.0,
    );
    // About 2 m at latitude 50.19.
    let transform = Some([west, 2.8e-5, 0.0, north, 0.0, -1.8e-5]);
    let image = Image {
        system: Some("EPSG:4326".to_owned()),
        transform,
        size: (160, 180),
        ..Image::default()
    };
    let field = works("plane.utm", &["EPSG:32633"], |field| field.image(&image));
    // Another sampling of the same ground gives the same nitrogen but for the pixels at edges.
    close(nitrogen(&field), nitrogen(&Field::mapped()), 0.01);
}

#[test]
fn a_rotated_image_works() {
    let (sin, cos) = libm::sincos(20.0_f64.to_radians());
    let transform = Some([
        CORNER.0 - 140.0,
        2.0 * cos,
        2.0 * sin,
        CORNER.1 + 320.0,
        2.0 * sin,
        -2.0 * cos,
    ]);
    let image = Image {
        transform,
        size: (230, 240),
        ..Image::default()
    };
    let field = works("", &[], |field| field.image(&image));
    close(nitrogen(&field), nitrogen(&Field::mapped()), 0.01);
    assert_eq!(
        field.record()["totals"]["unseen_share"]
            .as_f64()
            .map(|share| (share * 120.0).round()),
        Some(4.0),
        "the image shows the whole field"
    );
}

#[test]
fn an_image_in_feet_works() {
    // A transverse Mercator of its own in US survey feet (1200/3937 m), as plane systems of some states are.
    let system = "+proj=tmerc +lat_0=50 +lon_0=15.8 +k=0.9999 +x_0=200000 +y_0=0 +datum=WGS84 +units=us-ft +no_defs";
    let (west, north) = carry(
        &way("EPSG:32633", system),
        CORNER.0 - 30.0,
        CORNER.1 + EXTENT.1 + 30.0,
    );
    let transform = Some([west, 6.5, 0.0, north, 0.0, -6.5]);
    let image = Image {
        system: Some(system.to_owned()),
        transform,
        size: (155, 180),
        ..Image::default()
    };
    let field = works("plane.utm", &["EPSG:32633"], |field| field.image(&image));
    close(nitrogen(&field), nitrogen(&Field::mapped()), 0.01);
    close(
        field.record()["field"]["area_m2"].as_f64().unwrap(),
        EXTENT.0 * EXTENT.1,
        1e-6,
    );
}

#[test]
fn an_unknown_reference_system() {
    let named = |field: &Field| {
        field.job(
            "boundary = \"boundary.geojson\"",
            "boundary = \"boundary.geojson\"\ncrs = \"EPSG:999999\"",
        );
    };
    refused(
        "plane.unknown",
        &["field.crs", "EPSG:999999", "EPSG:32633"],
        named,
    );
    refused("vector.system", &["boundary.geojson", "999999"], |field| {
        let text = fs_err::read_to_string(field.path("boundary.geojson")).unwrap();
        let crs = r#""crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::999999"}},"features""#;
        field.write("boundary.geojson", text.replacen("\"features\"", crs, 1));
    });
}

#[test]
fn a_band_that_is_not_there() {
    refused(
        "imagery.band",
        &["band 5", "2 band", "image.tif", "imagery.bands"],
        |field| {
            field.job(
                "index = \"NDVI\"",
                "index = \"NDVI\"\nbands = { red = 1, nir = 5 }",
            );
        },
    );
}

#[test]
fn bands_without_names() {
    refused(
        "imagery.bands",
        &["NDVI", "nir", "image.tif", "bands = {"],
        |field| {
            field.image(&Image {
                names: ["red", ""],
                ..Image::default()
            });
        },
    );
}

#[test]
fn an_image_without_any_value() {
    refused(
        "image.nothing_seen",
        &["pixels", "image.tif", "nodata"],
        |field| {
            field.image(&Image {
                blank: true,
                ..Image::default()
            });
        },
    );
}

#[test]
fn a_strip_outside_the_field() {
    refused(
        "reference.outside",
        &["reference strip 1", "0 %", "half", "strips.geojson"],
        |field| {
            field.polygons("strips.geojson", &[rectangle([400.0, 24.0, 424.0, 264.0])]);
        },
    );
}

#[test]
fn a_strip_outside_the_image() {
    refused(
        "reference.none",
        &["strip 1", "strips.geojson", "image.tif"],
        |field| {
            // The image ends before the strip begins.
            field.image(&Image {
                size: (60, 168),
                ..Image::default()
            });
        },
    );
}

#[test]
fn a_strip_too_small_for_either_estimator() {
    refused(
        "reference.none",
        &[
            "strip 1",
            "2 pixels",
            "4 are needed",
            "strips.geojson",
            "image.tif",
        ],
        |field| {
            field.polygons("strips.geojson", &[rectangle([120.0, 60.0, 123.0, 64.0])]);
        },
    );
}

#[test]
fn a_boundary_that_crosses_itself_works() {
    // A bow tie: two triangles of 240 m by 144 m.
    let field = works("boundary.repaired", &["boundary.geojson", "m²"], |field| {
        field.polygons(
            "boundary.geojson",
            &[vec![
                (0.0, 0.0),
                (EXTENT.0, EXTENT.1),
                (0.0, EXTENT.1),
                (EXTENT.0, 0.0),
            ]],
        );
        field.polygons("strips.geojson", &[rectangle([60.0, 216.0, 180.0, 240.0])]);
        field.image(&Image {
            strip: 0.62,
            ..Image::default()
        });
    });
    close(
        field.record()["field"]["area_m2"].as_f64().unwrap(),
        EXTENT.0 * EXTENT.1 / 2.0,
        1e-6,
    );
}

#[test]
fn an_empty_layer() {
    refused(
        "vector.empty",
        &["boundary.geojson", "no polygon"],
        |field| {
            field.write(
                "boundary.geojson",
                r#"{"type":"FeatureCollection","features":[]}"#,
            );
        },
    );
}

#[test]
fn several_boundaries() {
    let halves = [
        rectangle([0.0, 0.0, EXTENT.0, 144.0]),
        rectangle([0.0, 144.0, EXTENT.0, EXTENT.1]),
    ];
    refused(
        "boundary.several",
        &["boundary.geojson", "2 features", "where = ", "merge = true"],
        |field| field.polygons("boundary.geojson", &halves),
    );
    let field = works("", &[], |field| {
        field.polygons("boundary.geojson", &halves);
        field.job(
            "boundary = \"boundary.geojson\"",
            "boundary = { path = \"boundary.geojson\", merge = true }",
        );
    });
    close(
        field.record()["field"]["area_m2"].as_f64().unwrap(),
        EXTENT.0 * EXTENT.1,
        1e-6,
    );
    let field = works("", &[], |field| {
        field.polygons("boundary.geojson", &halves);
        field.polygons("strips.geojson", &[rectangle([120.0, 12.0, 144.0, 132.0])]);
        field.job(
            "boundary = \"boundary.geojson\"",
            "boundary = { path = \"boundary.geojson\", where = \"id = 1\" }",
        );
    });
    close(
        field.record()["field"]["area_m2"].as_f64().unwrap(),
        EXTENT.0 * 144.0,
        1e-6,
    );
}

#[test]
fn a_strip_no_greener_than_the_field_gives_minimum_rates() {
    let field = works(
        "response.none",
        &["not significantly above 1", "look again"],
        |field| {
            field.image(&Image {
                strip: 0.6263,
                ..Image::default()
            });
            field.job(
                "maximum = \"150",
                "minimum = \"20 kg N/ha\"\nmaximum = \"150",
            );
        },
    );
    let record = field.record();
    let ratio = record["reference"]["ratio"].as_f64().unwrap();
    assert!((ratio - 1.0).abs() < 0.01, "{ratio}");
    // Only the pale and the thin cells ask for more.
    assert!(
        record["totals"]["mean_n_kg_ha"].as_f64().unwrap() < 30.0,
        "{}",
        record["totals"]
    );
}

#[test]
fn a_strip_paler_than_the_field_stops_the_machine() {
    let field = Field::mapped();
    assert!(
        field
            .outputs()
            .keys()
            .any(|name| name.starts_with("machine/"))
    );
    field.image(&Image {
        strip: 0.54,
        ..Image::default()
    });
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(1), "{}", wording.err);
    let notice = wording.err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        notice.contains("stopped[reference.below]")
            && notice.contains("nothing for the machine")
            && notice.contains("hint: ")
            && notice.contains("[[accept]]"),
        "{notice}"
    );
    assert!(
        wording.out.contains("NOT FOR USE") && wording.out.contains("wholly below 1"),
        "{}",
        wording.out
    );
    let record = field.record();
    assert_eq!(record["not_for_use"], true, "the record is marked");
    let high = record["reference"]["ratio_high"].as_f64().unwrap();
    assert!(high < 1.0, "{high}");
    assert!(
        field
            .outputs()
            .keys()
            .all(|name| !name.starts_with("machine/")),
        "{:?}",
        field.outputs().keys()
    );
    assert!(
        !field.path("out/machine").exists(),
        "not even the folder of last time's files"
    );

    field.job("[output]", "[[accept]]\ncode = \"reference.below\"\nfigure = \"0.86\"\nreason = \"strip was grazed by geese\"\nby = \"A. Adviser\"\n\n[output]");
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    assert!(
        wording.out.contains("accepted by A. Adviser") && !wording.out.contains("NOT FOR USE"),
        "{}",
        wording.out
    );
    assert!(field.path("out/machine/CARD.txt").exists());
    assert_eq!(field.record()["not_for_use"], false);
    assert!(
        fs_err::read_to_string(field.path("out/machine/CARD.txt"))
            .unwrap()
            .contains("A. Adviser"),
        "the card says so"
    );
}

#[test]
fn an_index_that_is_not_the_curves() {
    refused("job.curve_index", &["job.toml", "NDVI", "GNDVI"], |field| {
        field.job("index = \"NDVI\"\n", "index = \"GNDVI\"\n");
    });
    // A formula is not the curve's index either.
    refused(
        "response.index",
        &["NDVI", "(nir - 2 * red)", "590"],
        |field| {
            field.job(
                "index = \"NDVI\"\n",
                "index = \"(nir - 2 * red) / (nir + red)\"\n",
            );
        },
    );
}

#[test]
fn no_curve() {
    let curve = "yield_curve = { a = \"590 kg/ha\", b = 258.2, index = \"NDVI\", source = \"common practice\" }\n";
    refused("job.missing", &["job.toml", "yield_curve = "], |field| {
        field.job(curve, "");
    });
}

#[test]
fn nitrogen_written_as_anything() {
    refused(
        "job.nitrogen_or_product",
        &["job.toml:", "rate.maximum", "150 kg N/ha", "150 kg/ha"],
        |field| {
            field.job("maximum = \"150 kg N/ha\"", "maximum = \"150 kg/ha\"");
            field.job("[product]\nname = \"UAN 28\"\n", "");
        },
    );
    // A product named makes it no clearer: both readings are told all the same.
    refused(
        "job.nitrogen_or_product",
        &[
            "rate.maximum",
            "150 kg N/ha",
            "150 kg/ha of UAN 28 = 42 kg N/ha",
        ],
        |field| field.job("150 kg N/ha", "150 kg/ha"),
    );
    // A volume can only be product, and both are told: 117.3 L/ha · 1.2785 kg/L · 0.28.
    let field = works(
        "rate.product_amount",
        &["117.3 L/ha of UAN 28", "kg N/ha"],
        |field| field.job("150 kg N/ha", "117.3 L/ha"),
    );
    close(
        field.record()["settings"]["rate"]["maximum_kg_n_ha"]
            .as_f64()
            .unwrap(),
        117.3 * 1.2785 * 0.28,
        1e-9,
    );
}

#[test]
fn a_bare_ton() {
    refused(
        "job.bare_ton",
        &["job.toml:", "maximum_yield", "1000 kg", "907.18 kg"],
        |field| field.job("7 t/ha", "7 ton/ha"),
    );
}

#[test]
fn web_mercator_as_plane() {
    refused(
        "plane.unfit",
        &["EPSG:3857", "1.5", "UTM", "field.crs"],
        |field| {
            field.job(
                "boundary = \"boundary.geojson\"",
                "boundary = \"boundary.geojson\"\ncrs = \"EPSG:3857\"",
            );
        },
    );
    // As the image's own system it is only passed over.
    let (west, north) = carry(
        &way("EPSG:32633", "EPSG:3857"),
        CORNER.0 - 40.0,
        CORNER.1 + EXTENT.1 + 40.0,
    );
    let image = Image {
        system: Some("EPSG:3857".to_owned()),
        transform: Some([west, 3.0, 0.0, north, 0.0, -3.0]),
        size: (180, 200),
        ..Image::default()
    };
    let field = works("plane.utm", &["EPSG:3857", "1.5", "EPSG:32633"], |field| {
        field.image(&image);
    });
    close(
        field.record()["field"]["area_m2"].as_f64().unwrap(),
        EXTENT.0 * EXTENT.1,
        1e-6,
    );
}

#[test]
fn an_index_outside_its_range() {
    let stored = Image {
        ready: true,
        factor: 10_000.0,
        ..Image::default()
    };
    refused("image.range", &["16704", "image.tif", "0.0001"], |field| {
        field.image(&stored);
        field.job("index = \"NDVI\"\n", "index = \"band 1\"\n");
    });
    // With its scale the same file is the index.
    let field = works("", &[], |field| {
        field.image(&stored);
        field.job(
            "index = \"NDVI\"\n",
            "index = \"band 1\"\nscale = 0.0001\nbare_below = 0.25\n",
        );
    });
    close(nitrogen(&field), nitrogen(&Field::mapped()), 1e-3);
}

#[test]
fn keys_types_and_units() {
    refused(
        "job.unknown_key",
        &["job.toml:", "maximun", "maximum"],
        |field| field.job("maximum = \"150", "maximun = \"150"),
    );
    refused(
        "job.wrong_type",
        &["job.toml:2", "field.name", "text in quotes"],
        |field| field.job("\"Middle Piece\"", "12"),
    );
    refused(
        "job.bare_number",
        &["job.toml:", "24 of what", "\"24 m\""],
        |field| field.job("\"24 m\"", "24"),
    );
    refused(
        "job.wrong_quantity",
        &["job.toml:", "24 ha is an area", "length"],
        |field| field.job("\"24 m\"", "\"24 ha\""),
    );
    let prices = |line: &str| format!("[prices]\ncurrency = \"EUR\"\n{line}\n\n[output]");
    refused(
        "job.wrong_quantity",
        &["job.toml:", "prices.nitrogen", "substance", "/kg N"],
        |field| {
            field.job(
                "[output]",
                &prices("grain = \"210 EUR/t\"\nnitrogen = \"1.15 EUR/kg\""),
            );
        },
    );
    refused(
        "job.negative",
        &["job.toml:", "prices.grain", "-210", "below zero"],
        |field| {
            field.job(
                "[output]",
                &prices("grain = \"-210 EUR/t\"\nnitrogen = \"1.15 EUR/kg N\""),
            );
        },
    );
    refused(
        "job.order",
        &["job.toml:", "200 kg N/ha", "150 kg N/ha"],
        |field| {
            field.job(
                "maximum = \"150",
                "minimum = \"200 kg N/ha\"\nmaximum = \"150",
            );
        },
    );
    refused(
        "job.date_order",
        &["job.toml:", "2026-04-14", "2026-10-06"],
        |field| field.job("2025-10-06", "2026-10-06"),
    );
}

#[test]
fn several_faults_at_once_are_told_at_once() {
    let field = Field::mapped();
    let before = field.outputs();
    field.job("\"24 m\"", "24");
    field.job("7 t/ha", "7 ton/ha");
    let wording = field.run(&["map"]);
    let notice = wording.err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(wording.status, Some(1), "{notice}");
    // Each fault brings its own way out.
    for part in [
        "error[job.faults]: 2 faults",
        "24 of what",
        "write working_width = ",
        "7 ton/ha",
        "907.18 kg",
        "write \"7 t\"",
    ] {
        assert!(notice.contains(part), "{part:?} is not in: {notice}");
    }
    assert!(field.outputs() == before);
}

#[test]
fn a_folder_that_cannot_be_written() {
    // A path below a file: even the superuser cannot make it a folder.
    refused(
        "output.kind",
        &["job.toml is not a folder", "another folder"],
        |field| field.job("folder = \"out\"", "folder = \"job.toml/out\""),
    );
}

#[test]
fn a_full_disk() {
    let field = Field::new();
    let disk = field.path("out");
    fs_err::create_dir_all(&disk).unwrap();
    // A disk of its own needs the right to mount; without it this cannot be tried.
    let mounted = std::process::Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=64k", "none"])
        .arg(&disk)
        .output();
    if !mounted.as_ref().is_ok_and(|output| output.status.success()) {
        eprintln!("skipped: no right to mount a small disk here: {mounted:?}");
        return;
    }
    let wording = field.run(&["map"]);
    let left = field.outputs();
    assert!(
        std::process::Command::new("umount")
            .arg(&disk)
            .status()
            .unwrap()
            .success()
    );
    let notice = wording.err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(wording.status, Some(1), "{notice}");
    assert!(
        notice.contains("error[output.") && notice.contains("hint: ") && notice.contains("KiB"),
        "{notice}"
    );
    assert!(left.is_empty(), "{:?}", left.keys());
}

#[test]
fn a_strip_is_needed_in_the_field_not_only_on_paper() {
    // Half inside is enough, less is not.
    refused(
        "reference.outside",
        &["reference strip 1", "45 %"],
        |field| {
            field.polygons(
                "strips.geojson",
                &[rectangle([STRIP[0], -132.0, STRIP[2], 108.0])],
            );
        },
    );
}
