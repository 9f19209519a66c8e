//! Files that are not what they say: coordinates where nothing can be, parts that do not fit together, text that is no JSON, and files that change meanwhile.

use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering};

use gdal::spatial_ref::{AxisMappingStrategy, SpatialRef};
use gdal::vector::LayerAccess as _;
use gdal::{DriverManager, Metadata as _};

use crate::field::{CORNER, EXTENT, Field, Image, Wording, carry, files, rectangle, way};

fn notice(wording: &Wording) -> String {
    wording.err.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Mapping is refused with this code and these parts.
fn refused(what: &str, field: &Field, code: &str, parts: &[&str]) {
    let wording = field.run(&["map"]);
    let notice = notice(&wording);
    assert_eq!(wording.status, Some(1), "{what}: {notice}{}", wording.out);
    assert!(
        notice.contains(&format!("error[{code}]")),
        "{what}: {notice}"
    );
    for part in parts {
        assert!(notice.contains(part), "{what}: {part:?} is not in {notice}");
    }
}

/// A feature collection of rings in the field's own metres.
fn metres(rings: &[Vec<[f64; 2]>]) -> String {
    let features: Vec<_> = rings
        .iter()
        .map(|ring| serde_json::json!({ "type": "Feature", "properties": { "rate": 100 }, "geometry": { "type": "Polygon", "coordinates": [ring] } }))
        .collect();
    serde_json::json!({ "type": "FeatureCollection", "crs": { "type": "name", "properties": { "name": "EPSG:32633" } }, "features": features }).to_string()
}

fn square(west: f64, south: f64, side: f64) -> Vec<[f64; 2]> {
    let (x, y) = (CORNER.0 + west, CORNER.1 + south);
    vec![
        [x, y],
        [x + side, y],
        [x + side, y + side],
        [x, y + side],
        [x, y],
    ]
}

#[test]
fn one_far_vertex_loses_no_pond() {
    // Common fill values: of a grid format, and of nobody in particular.
    for far in [-9.97e36, -5e11, 1e20, f64::from(f32::MAX)] {
        let field = Field::new();
        field.job(
            "[imagery]",
            "[[field.exclude]]\npath = \"ponds.geojson\"\n\n[imagery]",
        );
        let mut triangle = square(10.0, 10.0, 20.0);
        triangle[1][0] = far;
        field.write(
            "ponds.geojson",
            metres(&[square(20.0, 60.0, 100.0), triangle]),
        );
        refused(
            &format!("{far:e}"),
            &field,
            "vector.place",
            &["ponds.geojson", "feature 2", "vertex 2"],
        );
    }
}

#[test]
fn every_layer_is_looked_at() {
    let spoilt = |ring: &[[f64; 2]]| {
        let mut ring = ring.to_vec();
        ring[2][1] = 3e9;
        metres(&[ring])
    };
    let far = spoilt(&square(0.0, 0.0, 240.0));
    let field = Field::new();
    field.write("boundary.geojson", &far);
    refused(
        "boundary",
        &field,
        "vector.place",
        &["boundary.geojson", "vertex 3"],
    );
    let field = Field::new();
    field.write("strips.geojson", &far);
    refused(
        "strips",
        &field,
        "vector.place",
        &["strips.geojson", "vertex 3"],
    );
    let field = Field::new();
    field.job(
        "heading = \"0 grid\"",
        "heading = { line = \"line.geojson\" }",
    );
    let (x, y) = CORNER;
    field.write("line.geojson", serde_json::json!({ "type": "Feature", "crs": { "type": "name", "properties": { "name": "EPSG:32633" } }, "properties": {}, "geometry": { "type": "LineString", "coordinates": [[x, y], [x, y + 200.0], [x, 8e8]] } }).to_string());
    refused(
        "line",
        &field,
        "vector.place",
        &["line.geojson", "feature 1", "vertex 3"],
    );
    // In degrees one vertex of many is told, not another system.
    let field = Field::new();
    let text = fs_err::read_to_string(field.path("boundary.geojson")).unwrap();
    let at = text.find("],[").unwrap() + 3;
    let end = at + text[at..].find(',').unwrap();
    field.write(
        "boundary.geojson",
        format!("{}330.5{}", &text[..at], &text[end..]),
    );
    refused(
        "degrees",
        &field,
        "vector.place",
        &["feature 1", "vertex 2", "330.5"],
    );
}

#[test]
fn maps_that_lie_nowhere_are_neither_checked_nor_converted() {
    let field = Field::new();
    let mut ring = square(0.0, 0.0, 100.0);
    ring[3] = [CORNER.0, -9.97e36];
    field.write("a.geojson", metres(&[square(100.0, 0.0, 100.0), ring]));
    let degrees = serde_json::json!({ "type": "Feature", "properties": { "rate_kg_ha": 100 }, "geometry": { "type": "Polygon", "coordinates": [[[15.0, 50.0], [15.01, 50.0], [15.01, 330.0], [15.0, 50.0]]] } });
    field.write("b.geojson", degrees.to_string());
    for (map, place) in [("a.geojson", "vertex 4"), ("b.geojson", "vertex 3")] {
        for arguments in [
            vec!["check", map],
            vec![
                "convert", map, "--to", "kml", "--output", "out.kml", "--unit", "kg/ha",
            ],
        ] {
            let wording = field.command(&arguments);
            assert_eq!(
                wording.status,
                Some(1),
                "{arguments:?}: {}{}",
                wording.out,
                wording.err
            );
            assert!(
                notice(&wording).contains("error[map.place]"),
                "{arguments:?}: {}",
                wording.err
            );
            assert!(
                notice(&wording).contains(place),
                "{arguments:?}: {}",
                wording.err
            );
            assert!(!field.path("out.kml").exists());
        }
    }
    // Other formats: the same ground out of a GeoPackage, a FlatGeobuf and a shapefile.
    let good = metres(&[square(0.0, 0.0, 100.0)]);
    field.write("good.geojson", good);
    for (driver, ending) in [
        ("GPKG", "gpkg"),
        ("FlatGeobuf", "fgb"),
        ("ESRI Shapefile", "shp"),
    ] {
        let path = field.path(&format!("far.{ending}"));
        let mut system = SpatialRef::from_epsg(32_633).unwrap();
        system.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
        {
            let mut set = DriverManager::get_driver_by_name(driver)
                .unwrap()
                .create_vector_only(&path)
                .unwrap();
            let mut layer = set
                .create_layer(gdal::vector::LayerOptions {
                    name: "far",
                    srs: Some(&system),
                    ty: gdal::vector::OGRwkbGeometryType::wkbPolygon,
                    options: None,
                })
                .unwrap();
            let (x, y) = CORNER;
            let text = format!("POLYGON (({x} {y}, {} {y}, {x} -5e11, {x} {y}))", x + 100.0);
            layer
                .create_feature(gdal::vector::Geometry::from_wkt(&text).unwrap())
                .unwrap();
        }
        let wording = field.command(&["check", &format!("far.{ending}")]);
        assert_eq!(wording.status, Some(1), "{driver}: {}", wording.out);
        assert!(
            notice(&wording).contains("error[map.place]"),
            "{driver}: {}",
            wording.err
        );
    }
}

#[test]
fn readings_that_lie_nowhere_are_refused() {
    let field = Field::new();
    field.job(
        "[imagery]\npath = \"image.tif\"\ndate = 2026-04-14\nindex = \"NDVI\"\n",
        "[points]\npath = \"log.csv\"\ndate = 2026-04-14\nindex = \"NDVI\"\ncrs = \"EPSG:32633\"\nx = \"x\"\ny = \"y\"\n",
    );
    let (x, y) = CORNER;
    field.write(
        "log.csv",
        format!(
            "x,y,NDVI\n{},{},0.6\n{},-9.97e36,0.6\n",
            x + 10.0,
            y + 10.0,
            x + 20.0
        ),
    );
    let wording = field.run(&["map"]);
    assert!(
        notice(&wording).contains("error[points.place]"),
        "{}",
        wording.err
    );
}

#[test]
fn numbers_that_are_none_and_broken_text() {
    let whole = |field: &Field| fs_err::read_to_string(field.path("boundary.geojson")).unwrap();
    let spoil: [(&str, &dyn Fn(String) -> String); 4] = [
        ("a number with two points", &|text| {
            let at = text.find("[[[").unwrap() + 3;
            let point = at + text[at..].find(',').unwrap();
            format!("{}.376{}", &text[..point], &text[point..])
        }),
        ("no number", &|text| {
            text.replacen("\"id\":1", "\"id\":NaN", 1)
        }),
        ("text behind the end", &|text| text + "]"),
        ("a comma too many", &|text| {
            text.replacen("\"id\":1", "\"id\":1,", 1)
        }),
    ];
    for (what, spoil) in spoil {
        let field = Field::new();
        field.write("boundary.geojson", spoil(whole(&field)));
        refused(
            what,
            &field,
            "vector.unreadable",
            &["boundary.geojson", "no valid JSON"],
        );
    }
}

/// Writes the field's boundary by a driver.
fn boundary_as(field: &Field, name: &str, driver: &str) {
    let mut system = SpatialRef::from_epsg(32_633).unwrap();
    system.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
    let mut set = DriverManager::get_driver_by_name(driver)
        .unwrap()
        .create_vector_only(field.path(name))
        .unwrap();
    let layer = set
        .create_layer(gdal::vector::LayerOptions {
            name: "field",
            srs: Some(&system),
            ty: gdal::vector::OGRwkbGeometryType::wkbPolygon,
            options: None,
        })
        .unwrap();
    layer
        .create_defn_fields(&[("name", gdal::vector::OGRFieldType::OFTString)])
        .unwrap();
    let corners: Vec<String> = rectangle([0.0, 0.0, EXTENT.0, EXTENT.1])
        .iter()
        .chain(&[(0.0, 0.0)])
        .map(|(x, y)| format!("{} {}", CORNER.0 + x, CORNER.1 + y))
        .collect();
    let ring = format!("POLYGON (({}))", corners.join(", "));
    let definition = gdal::vector::Defn::from_layer(&layer);
    let mut feature = gdal::vector::Feature::new(&definition).unwrap();
    feature
        .set_geometry(gdal::vector::Geometry::from_wkt(&ring).unwrap())
        .unwrap();
    feature.set_field_string(0, "Long Ley").unwrap();
    feature.create(&layer).unwrap();
}

#[test]
fn parts_that_do_not_fit_together() {
    let field = Field::new();
    boundary_as(&field, "field.shp", "ESRI Shapefile");
    field.job("boundary.geojson", "field.shp");
    assert_eq!(field.run(&["map"]).status, Some(0));
    let table = fs_err::read(field.path("field.dbf")).unwrap();
    // A whole row more than the header says, and a header that says more.
    let record = usize::from(u16::from_le_bytes([table[10], table[11]]));
    let mut longer = table.clone();
    longer.extend(vec![b' '; record]);
    field.write("field.dbf", &longer);
    refused(
        "longer",
        &field,
        "vector.damaged",
        &["field.dbf", "1 records"],
    );
    let wording = field.command(&["check", "field.shp"]);
    assert!(wording.out.contains("file.records"), "{}", wording.out);
    let mut more = table.clone();
    more[4] = 3;
    field.write("field.dbf", &more);
    refused(
        "a header that says more",
        &field,
        "vector.damaged",
        &["field.dbf", "3 records"],
    );
    field.write("field.dbf", &table);
    assert_eq!(field.run(&["map"]).status, Some(0));

    let field = Field::new();
    boundary_as(&field, "field.mif", "MapInfo File");
    field.job("boundary.geojson", "field.mif");
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    let rows = fs_err::read_to_string(field.path("field.mid")).unwrap();
    field.write("field.mid", format!("{rows}\"Pond\"\n"));
    refused(
        "fewer shapes than rows",
        &field,
        "vector.damaged",
        &["1 shapes", "2 rows"],
    );
}

#[test]
fn raw_numbers_that_end_early() {
    let field = Field::new();
    let image = gdal::Dataset::open(field.path("image.tif")).unwrap();
    image
        .create_copy(
            &DriverManager::get_driver_by_name("ENVI").unwrap(),
            field.path("image.img"),
            &gdal::raster::RasterCreationOptions::default(),
        )
        .unwrap()
        .close()
        .unwrap();
    field.job("image.tif", "image.img");
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    let bytes = fs_err::read(field.path("image.img")).unwrap();
    field.write("image.img", &bytes[..bytes.len() - 4]);
    refused(
        "ENVI",
        &field,
        "image.unreadable",
        &["image.img", "cut off"],
    );
    // The same numbers out of a virtual raster.
    let (cols, rows) = Image::default().size;
    let transform = Image::default()
        .transform
        .unwrap()
        .map(|v| v.to_string())
        .join(",");
    let band = |number: usize, name: &str| {
        // The two bands of a pixel lie beside each other.
        let first = (number - 1) * 4;
        format!(
            "<VRTRasterBand dataType=\"Float32\" band=\"{number}\" subClass=\"VRTRawRasterBand\"><Description>{name}</Description><NoDataValue>-9999</NoDataValue><SourceFilename relativeToVRT=\"1\">image.img</SourceFilename><ImageOffset>{first}</ImageOffset><PixelOffset>8</PixelOffset><LineOffset>{}</LineOffset><ByteOrder>LSB</ByteOrder></VRTRasterBand>",
            cols * 8
        )
    };
    field.write("raw.vrt", format!("<VRTDataset rasterXSize=\"{cols}\" rasterYSize=\"{rows}\"><SRS>EPSG:32633</SRS><GeoTransform>{transform}</GeoTransform>{}{}</VRTDataset>", band(1, "red"), band(2, "nir")));
    field.job("image.img", "raw.vrt");
    refused(
        "virtual",
        &field,
        "image.unreadable",
        &["image.img", "cut off"],
    );
    field.write("image.img", &bytes);
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
}

#[test]
fn a_damaged_picture_is_refused() {
    let field = Field::new();
    let Ok(driver) = DriverManager::get_driver_by_name("JP2OpenJPEG") else {
        panic!("this GDAL has no driver of JPEG 2000");
    };
    // Reflectance as whole numbers, without loss.
    let (cols, rows) = Image::default().size;
    let source = gdal::Dataset::open(field.path("image.tif")).unwrap();
    let mut whole = DriverManager::get_driver_by_name("MEM")
        .unwrap()
        .create_with_band_type::<u16, _>("", cols, rows, 2)
        .unwrap();
    whole
        .set_geo_transform(&source.geo_transform().unwrap())
        .unwrap();
    whole
        .set_spatial_ref(&source.spatial_ref().unwrap())
        .unwrap();
    for band in 1..=2 {
        let values = source
            .rasterband(band)
            .unwrap()
            .read_band_as::<f32>()
            .unwrap();
        let values = values
            .data()
            .iter()
            .map(|v| (v * 10_000.0).max(0.0) as u16)
            .collect();
        let mut buffer = gdal::raster::Buffer::new((cols, rows), values);
        whole
            .rasterband(band)
            .unwrap()
            .write((0, 0), (cols, rows), &mut buffer)
            .unwrap();
    }
    let options = gdal::raster::RasterCreationOptions::from_iter([
        "QUALITY=100",
        "REVERSIBLE=YES",
        "YCBCR420=NO",
        "BLOCKXSIZE=64",
        "BLOCKYSIZE=64",
    ]);
    whole
        .create_copy(&driver, field.path("image.jp2"), &options)
        .unwrap()
        .close()
        .unwrap();
    field.job("image.tif", "image.jp2");
    field.job(
        "index = \"NDVI\"",
        "index = \"NDVI\"\nscale = 0.0001\nnodata = 0\nbands = { red = 1, nir = 2 }",
    );
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    let bytes = fs_err::read(field.path("image.jp2")).unwrap();
    field.write("image.jp2", &bytes[..bytes.len() * 2 / 3]);
    refused("cut off", &field, "image.unreadable", &["image.jp2"]);
    // Damage to what holds a tile together: its length, its mark, the head of its first packet. Bits turned within the packed numbers themselves are no fault that
    // the decoder can notice: the bytes say other numbers then.
    let tiles: Vec<usize> = (0..bytes.len() - 1)
        .filter(|at| bytes[*at..*at + 2] == [0xff, 0x90])
        .collect();
    assert!(tiles.len() >= 9, "{} tiles", tiles.len());
    let tile = tiles[tiles.len() / 2];
    for (name, from, damage) in [
        ("length of a tile", tile + 6, [0, 0, 0, 5].as_slice()),
        ("mark of a tile", tile, [0, 0].as_slice()),
        ("head of a packet", tile + 14, [255; 26].as_slice()),
    ] {
        let mut damaged = bytes.clone();
        damaged[from..from + damage.len()].copy_from_slice(damage);
        field.write("image.jp2", &damaged);
        refused(name, &field, "image.unreadable", &["image.jp2"]);
    }
}

#[test]
fn a_file_that_changes_while_it_is_read() {
    for name in ["boundary.geojson", "image.tif", "strips.geojson"] {
        let field = Field::new();
        let bytes = fs_err::read(field.path(name)).unwrap();
        let done = AtomicBool::new(false);
        let wording: Wording = std::thread::scope(|scope| {
            // Always whole, always the same bytes: another file in its place, again and again.
            scope.spawn(|| {
                while !done.load(Ordering::Relaxed) {
                    fs_err::write(field.path("next"), &bytes).unwrap();
                    fs_err::rename(field.path("next"), field.path(name)).unwrap();
                    std::thread::sleep(std::time::Duration::from_millis(3));
                }
            });
            let wording = field.run(&["map"]);
            done.store(true, Ordering::Relaxed);
            wording
        });
        assert_eq!(wording.status, Some(1), "{name}: {}", wording.err);
        assert!(
            notice(&wording).contains("error[file.changed]"),
            "{name}: {}",
            wording.err
        );
        assert!(!field.path("out/machine").exists(), "{name}");
    }
}

#[test]
fn a_mask_that_lies_elsewhere_is_named() {
    let field = Field::new();
    Image {
        transform: Some([CORNER.0 + 50_000.0, 2.0, 0.0, CORNER.1, 0.0, -2.0]),
        ready: true,
        ..Image::default()
    }
    .write(&field.path("mask.tif"));
    field.job(
        "index = \"NDVI\"",
        "index = \"NDVI\"\nmask = { path = \"mask.tif\", keep = [0] }",
    );
    refused(
        "mask",
        &field,
        "mask.apart",
        &["mask.tif", "does not show the field"],
    );
}

#[test]
fn a_multipolygon_with_an_empty_part_is_its_other_parts() {
    let field = Field::new();
    let plain = field.run(&["map", "--json"]);
    assert_eq!(plain.status, Some(0));
    let total = field.record()["totals"]["n_kg"].clone();
    let text = fs_err::read_to_string(field.path("boundary.geojson")).unwrap();
    let at = text.find("[[[").unwrap();
    let end = text.find("]]]").unwrap() + 3;
    let many = format!("{}[{},[]]{}", &text[..at], &text[at..end], &text[end..]);
    field.write(
        "boundary.geojson",
        many.replacen("\"Polygon\"", "\"MultiPolygon\"", 1),
    );
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    assert_eq!(field.record()["totals"]["n_kg"], total);
}

#[test]
fn the_map_is_the_same_however_the_job_is_spelled() {
    let field = Field::new();
    fs_err::create_dir(field.path("x")).unwrap();
    // A finding that names files, and a mask in a folder of its own.
    field.job("path = \"image.tif\"", "path = \"x/image.tif\"");
    fs_err::rename(field.path("image.tif"), field.path("x/image.tif")).unwrap();
    {
        let mut image = gdal::Dataset::open_ex(
            field.path("x/image.tif"),
            gdal::DatasetOptions {
                open_flags: gdal::GdalOpenFlags::GDAL_OF_UPDATE,
                ..gdal::DatasetOptions::default()
            },
        )
        .unwrap();
        image
            .set_metadata_item("ACQUISITIONDATETIME", "2026-04-13T10:00:00", "IMAGERY")
            .unwrap();
    }
    let text = fs_err::read_to_string(field.path("job.toml")).unwrap();
    field.write(
        "job.toml",
        format!("{text}\n[[accept]]\ncode = \"image.date\"\nfigure = \"2026-04-13\"\nreason = \"known\"\nby = \"me\"\n"),
    );
    let home = field.path("").canonicalize().unwrap();
    let beside = tempfile::tempdir().unwrap();
    let link = beside.path().join("link");
    std::os::unix::fs::symlink(&home, &link).unwrap();
    let spellings = [
        ("job.toml".to_owned(), home.clone()),
        ("./job.toml".to_owned(), home.clone()),
        ("x/../job.toml".to_owned(), home.clone()),
        (home.join("job.toml").display().to_string(), home.clone()),
        (link.join("job.toml").display().to_string(), home.clone()),
        ("../job.toml".to_owned(), home.join("x")),
        ("link/job.toml".to_owned(), beside.path().to_owned()),
    ];
    let mut first = None;
    for (job, folder) in spellings {
        let output = beside.path().join("out");
        let wording: Wording = Command::new(env!("CARGO_BIN_EXE_haulm"))
            .args(["map", "--output"])
            .arg(&output)
            .arg(&job)
            .current_dir(&folder)
            .output()
            .unwrap()
            .into();
        assert_eq!(wording.status, Some(0), "{job}: {}", wording.err);
        let mut made = files(&output);
        let record = made.remove("office/record.json").unwrap();
        let mut record: serde_json::Value = serde_json::from_slice(&record).unwrap();
        record["made_at"] = serde_json::Value::Null;
        fs_err::remove_dir_all(&output).unwrap();
        match &first {
            None => {
                assert!(
                    record["findings"]
                        .to_string()
                        .contains("x/image.tif says it was taken"),
                    "{}",
                    record["findings"]
                );
                first = Some((made, record));
            }
            Some((files, known)) => {
                assert_eq!(record["map_id"], known["map_id"], "{job}");
                assert_eq!(&record, known, "{job}");
                for (name, bytes) in &made {
                    assert!(files[name] == *bytes, "{job}: {name}");
                }
                assert_eq!(made.len(), files.len(), "{job}");
            }
        }
    }
}

#[test]
fn nothing_is_written_beside_inputs() {
    for (driver, name) in [
        ("GPKG", "field.gpkg"),
        ("ESRI Shapefile", "field.shp"),
        ("FlatGeobuf", "field.fgb"),
        ("GeoJSON", "field.geojson"),
        ("GeoJSONSeq", "field.geojsonl"),
        ("KML", "field.kml"),
        ("GML", "field.gml"),
        ("MapInfo File", "field.tab"),
        ("MapInfo File", "field.mif"),
    ] {
        let field = Field::new();
        fs_err::create_dir(field.path("data")).unwrap();
        boundary_as(&field, &format!("data/{name}"), driver);
        // A schema, the other way to the same end, is not there.
        let _ = fs_err::remove_file(field.path("data/field.xsd"));
        if driver == "GPKG" {
            // Once written with a log, a database says so for ever, and a plain opening makes the log anew.
            let database = rusqlite::Connection::open(field.path("data/field.gpkg")).unwrap();
            let _: String = database
                .query_row("PRAGMA journal_mode = WAL", [], |row| row.get(0))
                .unwrap();
            drop(database);
        }
        field.job("boundary.geojson", &format!("data/{name}"));
        let before = files(&field.path("data"));
        let wording = field.run(&["map"]);
        assert_eq!(wording.status, Some(0), "{name}: {}", wording.err);
        let _ = field.command(&[
            "check",
            "strips.geojson",
            "--boundary",
            &format!("data/{name}"),
        ]);
        let after = files(&field.path("data"));
        assert_eq!(
            before.keys().collect::<Vec<_>>(),
            after.keys().collect::<Vec<_>>(),
            "{name}"
        );
        assert!(before == after, "{name}: bytes");
        // And from a folder that nobody may write to.
        let id = field.record()["map_id"].clone();
        let mut closed = fs_err::metadata(field.path("data")).unwrap().permissions();
        let open = closed.clone();
        closed.set_readonly(true);
        fs_err::set_permissions(field.path("data"), closed).unwrap();
        let wording = field.run(&["map"]);
        fs_err::set_permissions(field.path("data"), open).unwrap();
        assert_eq!(
            wording.status,
            Some(0),
            "{name}, read-only: {}",
            wording.err
        );
        assert_eq!(field.record()["map_id"], id, "{name}");
    }
}

#[test]
fn a_database_with_an_unfinished_log_is_refused() {
    let field = Field::new();
    boundary_as(&field, "field.gpkg", "GPKG");
    let database = rusqlite::Connection::open(field.path("field.gpkg")).unwrap();
    let _: String = database
        .query_row("PRAGMA journal_mode = WAL", [], |row| row.get(0))
        .unwrap();
    database
        .execute("UPDATE gpkg_contents SET description = 'changed'", [])
        .unwrap();
    field.job("boundary.geojson", "field.gpkg");
    refused(
        "a log",
        &field,
        "vector.damaged",
        &["field.gpkg-wal", "close the program"],
    );
    drop(database);
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
}

/// Something done to a field.
type Spoil<'a> = dyn Fn(&Field) + 'a;

#[test]
fn no_message_echoes_a_long_value() {
    let long = "9".repeat(5_000);
    let name = "n".repeat(5_000);
    let wording = |spoil: &Spoil<'_>| {
        let field = Field::new();
        spoil(&field);
        field.run(&["map"])
    };
    let in_file = |field: &Field| {
        let text = fs_err::read_to_string(field.path("boundary.geojson")).unwrap();
        let crs = format!(
            "\"crs\":{{\"type\":\"name\",\"properties\":{{\"name\":\"{name}\"}}}},\"features\":"
        );
        field.write("boundary.geojson", text.replacen("\"features\":", &crs, 1));
    };
    let in_job = |old: &'static str, new: String| move |field: &Field| field.job(old, &new);
    let spoils: [(&str, Box<Spoil<'_>>); 6] = [
        (
            "a rate",
            Box::new(in_job("150 kg N/ha", format!("{long} kg X/ha"))),
        ),
        ("a key", Box::new(in_job("maximum =", format!("{name} =")))),
        (
            "a system",
            Box::new(in_job(
                "[imagery]",
                format!("crs = \"{name}\"\n\n[imagery]"),
            )),
        ),
        ("a system of a file", Box::new(in_file)),
        (
            "a layer",
            Box::new(in_job(
                "boundary = \"boundary.geojson\"",
                format!("boundary = {{ path = \"boundary.geojson\", layer = \"{name}\" }}"),
            )),
        ),
        (
            "an index",
            Box::new(in_job("index = \"NDVI\"", format!("index = \"{name}\""))),
        ),
    ];
    for (what, spoil) in spoils {
        let wording = wording(spoil.as_ref());
        assert_eq!(wording.status, Some(1), "{what}: {}", wording.err);
        let longest = wording
            .err
            .split_whitespace()
            .map(|word| word.chars().count())
            .max();
        let same = wording
            .err
            .chars()
            .filter(|c| *c == '9' || *c == 'n')
            .count();
        assert!(
            longest < Some(240) && same < 2_000,
            "{what}: {longest:?} {}",
            wording.err
        );
    }
}

#[test]
fn a_point_of_a_far_reading_keeps_its_place() {
    // DHDN carries a place by three degrees from its own meridian, which is ordinary work.
    let there = way("EPSG:32633", "EPSG:31467");
    let field = Field::new();
    let corners: Vec<[f64; 2]> = rectangle([0.0, 0.0, EXTENT.0, EXTENT.1])
        .iter()
        .chain(&[(0.0, 0.0)])
        .map(|(x, y)| carry(&there, CORNER.0 + x, CORNER.1 + y).into())
        .collect();
    field.write("boundary.geojson", serde_json::json!({ "type": "Feature", "crs": { "type": "name", "properties": { "name": "EPSG:31467" } }, "properties": {}, "geometry": { "type": "Polygon", "coordinates": [corners] } }).to_string());
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
}
