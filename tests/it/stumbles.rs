//! What people stumbled over: each with the words that they typed and what they should get.

use gdal::DriverManager;
use gdal::raster::{Buffer, ColorInterpretation};
use gdal::spatial_ref::SpatialRef;
use serde_json::{Value, json};

use crate::check_map::{at, block, collection};
use crate::field::{CORNER, EXTENT, Field, Image, carry, rectangle, way};

fn value(out: &str) -> Value {
    serde_json::from_str(out).unwrap_or_else(|error| panic!("{error}: {out}"))
}

/// A boundary file of three fields, side by side, with the names given.
fn farm(field: &Field, names: [&str; 3]) {
    let to = way("EPSG:32633", "EPSG:4326");
    let features: Vec<Value> = names
        .iter()
        .enumerate()
        .map(|(k, name)| {
            let west = 80.0 * k as f64;
            let ring: Vec<[f64; 2]> = [
                (west, 0.0),
                (west + 80.0, 0.0),
                (west + 80.0, EXTENT.1),
                (west, EXTENT.1),
                (west, 0.0),
            ]
            .map(|(x, y)| {
                let (lon, lat) = carry(&to, CORNER.0 + x, CORNER.1 + y);
                [lon, lat]
            })
            .to_vec();
            json!({ "type": "Feature", "properties": { "grower": "A", "FIELD": name, "no": k + 7 }, "geometry": { "type": "Polygon", "coordinates": [ring] } })
        })
        .collect();
    field.write("farm.geojson", collection(&features).to_string());
}

#[test]
fn several_fields_are_listed_with_the_filter_that_picks_each() {
    let field = Field::new();
    farm(&field, ["Low Ley", "O'Hara 40", "O'Hara 80"]);
    let wording = field.command(&["new", "farm.geojson", "image.tif", "--output", "a.toml"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    for requirement in ["Low Ley", "--where \"FIELD = 'O''Hara 40'\"", "--all"] {
        assert!(
            wording.out.contains(requirement),
            "{requirement} in {}",
            wording.out
        );
    }
    let wording = field.command(&[
        "new",
        "farm.geojson",
        "image.tif",
        "--output",
        "b.toml",
        "--where",
        "FIELD = 'Low Ley'",
    ]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    let text = fs_err::read_to_string(field.path("b.toml")).unwrap();
    assert!(
        text.contains("where = \"FIELD = 'Low Ley'\"") && !wording.out.contains("boundary.several"),
        "{text}{}",
        wording.out
    );
}

#[test]
fn each_field_becomes_a_job_in_one_folder() {
    let field = Field::new();
    farm(&field, ["Miller North 40", "Miller North 80", "Höhe/1"]);
    let wording = field.command(&[
        "new",
        "farm.geojson",
        "image.tif",
        "--strips",
        "strips.geojson",
        "--all",
        "--output",
        "jobs",
        "--date",
        "2026-04-14",
        "--json",
    ]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    let jobs = value(&wording.out)["result"]["jobs"].clone();
    assert_eq!(jobs.as_array().unwrap().len(), 3);
    for (name, folder) in [
        ("miller-north-40", "miller-north-40-2026-04-14"),
        ("miller-north-80", "miller-north-80-2026-04-14"),
        ("höhe-1", "höhe-1-2026-04-14"),
    ] {
        let text = fs_err::read_to_string(field.path(&format!("jobs/{name}.toml"))).unwrap();
        assert!(
            text.contains(&format!("folder = \"{folder}\""))
                && text.contains("path = \"../farm.geojson\"")
                && text.contains("where = "),
            "{text}"
        );
    }
    // By another column, and one that does not tell them apart is refused with those there are.
    let wording = field.command(&[
        "new",
        "farm.geojson",
        "image.tif",
        "--all",
        "--name-column",
        "no",
        "--output",
        "more",
    ]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    assert!(field.path("more/7.toml").exists());
    let wording = field.command(&[
        "new",
        "farm.geojson",
        "image.tif",
        "--all",
        "--name-column",
        "grower",
        "--output",
        "none",
    ]);
    assert_eq!(wording.status, Some(1), "{}", wording.out);
    assert!(
        wording.err.contains("boundary.column") && wording.err.contains("FIELD"),
        "{}",
        wording.err
    );
    assert!(!field.path("none").exists(), "nothing is left of a refusal");
}

#[test]
fn a_day_in_the_file_name_is_a_guess_that_is_said() {
    let field = Field::new();
    for name in ["20260702.tif", "T14TPL_20260702T170849_ndvi.tif"] {
        fs_err::copy(field.path("image.tif"), field.path(name)).unwrap();
        let job = format!("{name}.toml");
        let wording = field.command(&["new", "boundary.geojson", name, "--output", &job]);
        assert_eq!(wording.status, Some(0), "{}", wording.err);
        assert!(
            wording.out.contains("[image.date_guessed]"),
            "{}",
            wording.out
        );
        let text = fs_err::read_to_string(field.path(&job)).unwrap();
        assert!(
            text.contains("date  = 2026-07-02") && text.contains("a guess, out of the file's name"),
            "{text}"
        );
        assert!(text.contains("folder = \"boundary-2026-07-02\""), "{text}");
    }
}

#[test]
fn every_method_begins_with_its_own_keys_alone() {
    let field = Field::new();
    for (method, own, other) in [
        ("yield response", "yield_curve = \"TODO\"", "delta_si"),
        ("square root", "delta_si = \"TODO\"", "yield_curve"),
        ("quadratic", "method = \"quadratic\"", "yield_curve"),
        (
            "chlorophyll root",
            "method = \"chlorophyll root\"",
            "yield_curve",
        ),
        ("visible line", "light = \"TODO\"", "yield_curve"),
        ("linear ramp", "at_low = \"TODO\"", "yield_curve"),
        ("class table", "classes = \"TODO\"", "yield_curve"),
        ("flat", "rate = \"TODO\"", "yield_curve"),
    ] {
        let wording = field.command(&[
            "new",
            "boundary.geojson",
            "image.tif",
            "--strips",
            "strips.geojson",
            "--date",
            "2026-06-24",
            "--crop",
            "corn",
            "--method",
            method,
            "--overwrite",
        ]);
        assert_eq!(wording.status, Some(0), "{method}: {}", wording.err);
        let text = fs_err::read_to_string(field.path("job.toml")).unwrap();
        assert!(text.contains(own), "{method}: {text}");
        assert!(!text.contains(other), "{method}: {text}");
    }
    let wording = field.command(&[
        "new",
        "boundary.geojson",
        "image.tif",
        "--method",
        "cube root",
        "--overwrite",
    ]);
    assert_eq!(wording.status, Some(1));
    assert!(wording.err.contains("square root"), "{}", wording.err);
}

#[test]
fn a_strip_drawn_as_a_line_becomes_a_polygon_of_its_width() {
    let field = Field::new();
    let to = way("EPSG:32633", "EPSG:4326");
    let ends = [24.0, 264.0].map(|y| {
        let (lon, lat) = carry(&to, CORNER.0 + 132.0, CORNER.1 + y);
        [lon, lat]
    });
    let line = json!({ "type": "Feature", "properties": {}, "geometry": { "type": "LineString", "coordinates": ends } });
    field.write("line.geojson", collection(&[line]).to_string());
    let wording = field.command(&[
        "new",
        "boundary.geojson",
        "image.tif",
        "--strips",
        "line.geojson",
        "--strip-width",
        "24 m",
        "--date",
        "2026-04-14",
        "--crop",
        "winter wheat",
        "--max-yield",
        "7 t/ha",
        "--maximum",
        "150 kg N/ha",
        "--width",
        "24 m",
        "--product",
        "UAN 28",
        "--overwrite",
    ]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    let text = fs_err::read_to_string(field.path("job.toml")).unwrap();
    assert!(text.contains("strips = \"job-strips.geojson\""), "{text}");
    let strips = value(&fs_err::read_to_string(field.path("job-strips.geojson")).unwrap());
    let back = way("EPSG:4326", "EPSG:32633");
    let ring: Vec<(f64, f64)> = strips["features"][0]["geometry"]["coordinates"][0][0]
        .as_array()
        .unwrap()
        .iter()
        .map(|at| carry(&back, at[0].as_f64().unwrap(), at[1].as_f64().unwrap()))
        .collect();
    let twice: f64 = ring
        .windows(2)
        .map(|pair| pair[0].0 * pair[1].1 - pair[1].0 * pair[0].1)
        .sum();
    // 24 m by 240 m, as drawn, with square ends.
    assert!(
        (twice.abs() / 2.0 / (24.0 * 240.0) - 1.0).abs() < 1e-4,
        "{twice}"
    );
}

#[test]
fn colours_that_the_file_says_are_bands_to_check() {
    let field = Field::new();
    let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
    let mut file = driver
        .create_with_band_type::<u8, _>(field.path("photo.tif"), 40, 40, 4)
        .unwrap();
    file.set_spatial_ref(&SpatialRef::from_definition("EPSG:32633").unwrap())
        .unwrap();
    file.set_geo_transform(&[CORNER.0, 10.0, 0.0, CORNER.1 + 400.0, 0.0, -10.0])
        .unwrap();
    let colours = [
        ColorInterpretation::RedBand,
        ColorInterpretation::GreenBand,
        ColorInterpretation::BlueBand,
        ColorInterpretation::AlphaBand,
    ];
    for (k, colour) in colours.into_iter().enumerate() {
        let mut band = file.rasterband(k + 1).unwrap();
        band.set_color_interpretation(colour).unwrap();
        band.write(
            (0, 0),
            (40, 40),
            &mut Buffer::new((40, 40), vec![90_u8; 1600]),
        )
        .unwrap();
    }
    file.close().unwrap();
    let wording = field.command(&[
        "new",
        "boundary.geojson",
        "photo.tif",
        "--index",
        "(green - red) / (green + red)",
        "--date",
        "2026-05-01",
        "--overwrite",
    ]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    let text = fs_err::read_to_string(field.path("job.toml")).unwrap();
    assert!(
        text.contains("bands = { red = 1, green = 2, blue = 3 }")
            && text.contains("colour interpretation: check it"),
        "{text}"
    );
}

#[test]
fn swapped_inputs_are_told_as_such() {
    let field = Field::new();
    let wording = field.command(&["new", "image.tif", "boundary.geojson"]);
    assert_eq!(wording.status, Some(2), "{}", wording.out);
    assert!(
        wording.err.contains("swapped")
            && wording.err.contains("haulm new boundary.geojson image.tif"),
        "{}",
        wording.err
    );
    for arguments in [
        &["new", "nothing.geojson", "image.tif"][..],
        &["map", "nothing.toml"],
        &["check", "nothing.shp"],
        &["new", "job.toml", "image.tif"],
    ] {
        let wording = field.command(arguments);
        assert!(
            !wording.err.contains("os error") && !wording.err.contains("NULL pointer"),
            "{arguments:?}: {}",
            wording.err
        );
    }
}

#[test]
fn methods_are_compared_for_a_crop() {
    let field = Field::new();
    let wording = field.command(&["methods", "--crop", "corn"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    for requirement in [
        "for corn",
        "made for it",
        "needs optimum, delta_si, index;",
        "--method NAME",
    ] {
        let out = wording.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            out.contains(requirement),
            "{requirement} in {}",
            wording.out
        );
    }
    assert!(
        wording.out.lines().all(|line| line.chars().count() <= 80),
        "{}",
        wording.out
    );
    let wording = field.command(&["methods", "--crop", "winter wheat", "--json"]);
    let methods = value(&wording.out)["result"]["methods"].clone();
    let fit = |name: &str| {
        let all = methods.as_array().unwrap();
        all.iter().find(|m| m["name"] == name).unwrap()["fit"].clone()
    };
    assert_eq!(fit("yield response"), "by a curve");
    assert_eq!(fit("quadratic"), "no");
}

#[test]
fn the_map_of_another_job_is_not_replaced_without_a_word() {
    let field = Field::mapped();
    let before = field.outputs();
    field.job("Middle Piece", "Low Ley");
    let wording = field.command(&["map", "job.toml"]);
    assert_eq!(wording.status, Some(1), "{}", wording.out);
    assert!(
        wording.err.contains("output.other_job")
            && wording.err.contains("Middle Piece")
            && wording.err.contains("--overwrite"),
        "{}",
        wording.err
    );
    assert_eq!(field.outputs(), before);
    let wording = field.command(&["map", "job.toml", "--overwrite"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    // The same job again is nobody else's.
    assert_eq!(field.command(&["map", "job.toml"]).status, Some(0));
}

#[test]
fn any_amount_in_us_units_makes_a_job_of_us_units() {
    for (old, new) in [
        ("\"24 m\"", "\"80'\""),
        ("\"24 m\"", "\"80 feet\""),
        ("\"7 t/ha\"", "\"100 bu/ac\""),
    ] {
        let field = Field::new();
        field.job("step = \"5 kg N/ha\"\n", "");
        field.job(old, new);
        let wording = field.command(&["check", "job.toml", "--json"]);
        assert_eq!(
            wording.status,
            Some(0),
            "{new}: {}{}",
            wording.out,
            wording.err
        );
        let settings = value(&wording.out)["result"]["settings"].clone();
        assert_eq!(settings["output"]["us_units"], true, "{new}");
        assert_eq!(settings["output"]["unit"], "gal/ac", "{new}");
        // 5 lb N/ac, not 5 kg N/ha in other words.
        let step = settings["rate"]["step_kg_n_ha"].as_f64().unwrap();
        assert!((step / 1.120_851_156 - 5.0).abs() < 1e-6, "{new}: {step}");
        let wording = field.command(&["check", "job.toml"]);
        assert!(
            wording.out.contains(" ac: mean ") && wording.out.contains("lb N/ac"),
            "{}",
            wording.out
        );
        // Asked for, it is metric again.
        let wording = field.command(&["check", "job.toml", "--units", "metric"]);
        assert!(
            wording.out.contains(" ha: mean ") && !wording.out.contains("lb N"),
            "{}",
            wording.out
        );
    }
    let field = Field::new();
    let wording = field.command(&["check", "job.toml", "--units", "us"]);
    assert!(
        wording.out.contains("lb N/ac") && !wording.out.contains("kg N"),
        "{}",
        wording.out
    );
}

#[test]
fn convert_takes_boundary_and_the_rates_beside_the_zones() {
    let field = Field::mapped();
    let shape = field
        .outputs()
        .into_keys()
        .find(|name| {
            std::path::Path::new(name)
                .extension()
                .is_some_and(|end| end == "shp")
        })
        .map(|name| format!("out/{name}"))
        .unwrap();
    let wording = field.command(&[
        "convert",
        &shape,
        "--product",
        "UAN 28",
        "--to",
        "iso11783",
        "--output",
        "stick",
        "--boundary",
        "boundary.geojson",
        "--on-start",
        "50 L/ha",
        "--position-lost",
        "0 L/ha",
        "--outside",
        "20 lb N/ac",
        "--json",
    ]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    let xml = fs_err::read_to_string(field.path("stick/TASKDATA/TASKDATA.XML")).unwrap();
    // 50 L/ha in hundredths of a millilitre a square metre, as the dictionary counts.
    assert!(xml.contains("<PLN"), "the boundary: {xml}");
    assert!(
        xml.contains("=\"500000\"") || xml.contains("D=\"0001"),
        "{xml}"
    );
    let wording = field.command(&[
        "convert",
        &shape,
        "--to",
        "iso11783",
        "--output",
        "other",
        "--on-start",
        "50 furlongs",
    ]);
    assert!(
        wording.status != Some(0) && wording.err.contains("--on-start"),
        "{}",
        wording.err
    );
}

/// Zones of a raster: squares of 10 m that stop short of a slanting edge by steps.
fn steps() -> (Value, Value) {
    // Ten squares of 1 beside each other under a slope; one unit is what `at` makes of it.
    let zones: Vec<Value> = (0..10)
        .map(|k| {
            let x = f64::from(k);
            json!({ "type": "Feature", "properties": { "kg_ha": 100 + k }, "geometry": { "type": "Polygon", "coordinates": [block(x / 10.0, 0.0, (x + 1.0) / 10.0, 0.9 + 0.01 * x)] } })
        })
        .collect();
    let edge = json!({ "type": "Feature", "properties": {}, "geometry": { "type": "Polygon", "coordinates": [[at(0.0, 0.0), at(1.0, 0.0), at(1.0, 1.0), at(0.0, 0.9), at(0.0, 0.0)]] } });
    (collection(&zones), collection(&[edge]))
}

#[test]
fn steps_along_the_edge_are_one_caution_with_their_sum() {
    let field = Field::new();
    let (zones, edge) = steps();
    field.write("zones.geojson", zones.to_string());
    field.write("edge.geojson", edge.to_string());
    let wording = field.command(&[
        "check",
        "zones.geojson",
        "--boundary",
        "edge.geojson",
        "--unit",
        "kg/ha",
        "--json",
    ]);
    let notice = value(&wording.out);
    let gaps: Vec<&Value> = notice["result"]["faults"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|fault| fault["code"] == "field.gap")
        .collect();
    assert_eq!(gaps.len(), 1, "{}", wording.out);
    assert_eq!(gaps[0]["severity"], "caution");
    assert!(
        gaps[0]["message"]
            .as_str()
            .unwrap()
            .contains("along the field's edge"),
        "{}",
        gaps[0]
    );
}

#[test]
fn gaps_overlaps_and_bowties_are_repaired_on_request_by_a_stated_rule() {
    let field = Field::new();
    let zone = |ring: Value, rate: u32| json!({ "type": "Feature", "properties": { "kg_ha": rate }, "geometry": { "type": "Polygon", "coordinates": [ring] } });
    // Two zones overlap between 0.9 and 1.1; a slit of 0.002 stays between the second and the third; the fourth is a bowtie.
    let bowtie = json!([
        at(3.0, 0.0),
        at(4.0, 1.0),
        at(4.0, 0.0),
        at(3.0, 1.0),
        at(3.0, 0.0)
    ]);
    let map = collection(&[
        zone(block(0.0, 0.0, 1.1, 1.0), 100),
        zone(block(0.9, 0.0, 1.998, 1.0), 80),
        zone(block(2.0, 0.0, 3.0, 1.0), 60),
        zone(bowtie, 40),
    ]);
    let edge = json!({ "type": "Feature", "properties": {}, "geometry": { "type": "Polygon", "coordinates": [block(0.0, 0.0, 3.0, 1.0)] } });
    field.write("zones.geojson", map.to_string());
    field.write("edge.geojson", collection(&[edge]).to_string());
    let run = |more: &[&str]| {
        let mut all = vec![
            "check",
            "zones.geojson",
            "--boundary",
            "edge.geojson",
            "--unit",
            "kg/ha",
            "--repair",
            "copy.geojson",
            "--overwrite",
            "--json",
        ];
        all.extend(more);
        let wording = field.command(&all);
        let notice = value(&wording.out)["result"]["repair"].clone();
        let copy: Value =
            serde_json::from_slice(&fs_err::read(field.path("copy.geojson")).unwrap()).unwrap();
        (
            notice.to_string(),
            copy["features"].as_array().unwrap().len(),
        )
    };
    let (notice, count) = run(&[]);
    assert!(
        notice.contains("crosses itself") && !notice.contains("cut as asked"),
        "{notice}"
    );
    assert_eq!(count, 4);
    let (notice, count) = run(&[
        "--close-gaps",
        "2 m",
        "--cut-overlaps",
        "lower",
        "--split-bowties",
    ]);
    for requirement in [
        "the lower rate keeps the ground",
        "given to the neighbour with the longest border",
        "split into 2 loops",
    ] {
        assert!(notice.contains(requirement), "{requirement} in {notice}");
    }
    assert_eq!(count, 5);
    let wording = field.command(&[
        "check",
        "copy.geojson",
        "--boundary",
        "edge.geojson",
        "--unit",
        "kg/ha",
        "--json",
    ]);
    let faults = value(&wording.out)["result"]["faults"].clone();
    let codes: Vec<&str> = faults
        .as_array()
        .unwrap()
        .iter()
        .map(|fault| fault["code"].as_str().unwrap())
        .collect();
    for code in ["patch.overlap", "field.gap", "ring.crosses"] {
        assert!(!codes.contains(&code), "{code} in {codes:?}");
    }
}

#[test]
fn an_image_says_nothing_of_itself_by_default() {
    // The fixture's own: without a date in its name nothing is guessed.
    let field = Field::new();
    field.image(&Image::default());
    field.polygons("boundary.geojson", &[rectangle([0.0, 0.0, 240.0, 288.0])]);
    let wording = field.command(&["new", "boundary.geojson", "image.tif", "--overwrite"]);
    let text = fs_err::read_to_string(field.path("job.toml")).unwrap();
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    assert!(text.contains("date = \"TODO\""), "{text}");
}
