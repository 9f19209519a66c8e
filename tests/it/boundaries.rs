//! Boundaries as people have them, each rule with its trap: every file format, systems in metres, feet and Mercator's stretched metres, and the faults of drawing.
//!
//! | rule | test |
//! | --- | --- |
//! | shapefile, GeoPackage, KML and KMZ, GeoJSON with a system, FlatGeobuf | `every_format_is_the_same_field` |
//! | UTM, Web Mercator, feet, a `.prj` without a code | `every_system_is_the_same_field` |
//! | no `.prj` | `a_shapefile_without_its_system_is_refused` |
//! | heights, points drawn twice | `heights_and_doubled_points_change_nothing` |
//! | rings that do not close | `a_ring_that_does_not_close` |
//! | holes as features of their own; headland and field both | `a_hole_drawn_as_a_feature_is_told` |
//! | a polygon drawn as a line | `a_boundary_drawn_as_a_line_is_refused` |
//! | the wrong zone of UTM | `the_wrong_zone_is_refused` |
//! | a layer of many fields | `one_field_of_many` |
//! | longitude and latitude swapped, several features, crossing itself, empty | `bad_input.rs` |

use std::io::Write as _;

use gdal::DriverManager;
use gdal::spatial_ref::SpatialRef;
use gdal::vector::{
    Feature, FieldDefn, Geometry, LayerAccess as _, LayerOptions, OGRFieldType, OGRwkbGeometryType,
};

use crate::field::{CORNER, EXTENT, Field, Ring, carry, rectangle, refused, way};

fn whole() -> Ring {
    rectangle([0.0, 0.0, EXTENT.0, EXTENT.1])
}

/// Corners of a ring in a system, as WKT writes them, the first again at the end; `height` is put behind each.
fn tuples(ring: &[(f64, f64)], system: &str, part: &str, height: &str) -> String {
    let way = way("EPSG:32633", system);
    let corner = |(x, y): &(f64, f64)| {
        let (a, b) = carry(&way, CORNER.0 + x, CORNER.1 + y);
        format!("{a}{part}{b}{height}")
    };
    ring.iter()
        .chain(ring.first())
        .map(corner)
        .collect::<Vec<_>>()
        .join(if part == "," { " " } else { ", " })
}

/// Writes polygons, numbered from 1, by a driver of GDAL.
fn write(field: &Field, name: &str, driver: &str, system: &str, rings: &[Ring]) {
    let mut file = DriverManager::get_driver_by_name(driver)
        .unwrap()
        .create_vector_only(field.path(name))
        .unwrap();
    let srs = SpatialRef::from_definition(system).unwrap();
    let layer = file
        .create_layer(LayerOptions {
            name: "fields",
            srs: Some(&srs),
            ty: OGRwkbGeometryType::wkbPolygon,
            options: None,
        })
        .unwrap();
    FieldDefn::new("number", OGRFieldType::OFTInteger)
        .unwrap()
        .add_to_layer(&layer)
        .unwrap();
    for (k, ring) in rings.iter().enumerate() {
        let mut feature = Feature::new(layer.defn()).unwrap();
        feature
            .set_geometry(
                Geometry::from_wkt(&format!("POLYGON(({}))", tuples(ring, system, " ", "")))
                    .unwrap(),
            )
            .unwrap();
        feature.set_field_integer(0, k as i32 + 1).unwrap();
        feature.create(&layer).unwrap();
    }
    file.close().unwrap();
}

fn kml(geometry: &str) -> String {
    format!(
        "<?xml version=\"1.0\"?><kml xmlns=\"http://www.opengis.net/kml/2.2\"><Document><Placemark><name>Middle Piece</name>{geometry}</Placemark></Document></kml>"
    )
}

fn kml_polygon(height: &str) -> String {
    let corners = tuples(&whole(), "EPSG:4326", ",", height);
    kml(&format!(
        "<Polygon><outerBoundaryIs><LinearRing><coordinates>{corners}</coordinates></LinearRing></outerBoundaryIs></Polygon>"
    ))
}

fn checked(field: &Field) -> serde_json::Value {
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    field.record()
}

/// The map is that of the usual boundary, whose corners have nine digits behind the point of a degree, a tenth of a millimetre.
fn same(what: &str, field: &Field) {
    let record = checked(field);
    let area = record["field"]["area_m2"].as_f64().unwrap();
    assert!(
        (area / (EXTENT.0 * EXTENT.1) - 1.0).abs() < 1e-6,
        "{what}: {area} m²"
    );
    let nitrogen = record["totals"]["n_kg_exact"].as_f64().unwrap();
    let usual = Field::mapped().record()["totals"]["n_kg_exact"]
        .as_f64()
        .unwrap();
    assert!(
        (nitrogen / usual - 1.0).abs() < 1e-3,
        "{what}: {nitrogen} and {usual}"
    );
}

#[test]
fn every_format_is_the_same_field() {
    let field = Field::new();
    let mut last = "boundary.geojson";
    let mut take = |name: &'static str| {
        field.job(last, name);
        last = name;
        same(name, &field);
        let read: Vec<String> = field.record()["inputs"]
            .as_array()
            .unwrap()
            .iter()
            .map(|input| input["path"].as_str().unwrap().to_owned())
            .collect();
        assert!(read.iter().any(|path| path == name), "{read:?}");
        read
    };
    write(
        &field,
        "field.shp",
        "ESRI Shapefile",
        "EPSG:32633",
        &[whole()],
    );
    let read = take("field.shp");
    assert!(
        ["field.shx", "field.dbf", "field.prj"]
            .iter()
            .all(|side| read.iter().any(|path| path == side)),
        "{read:?}"
    );
    write(&field, "field.gpkg", "GPKG", "EPSG:32633", &[whole()]);
    take("field.gpkg");
    write(&field, "field.fgb", "FlatGeobuf", "EPSG:32633", &[whole()]);
    take("field.fgb");
    field.write("field.kml", kml_polygon(",412.5"));
    take("field.kml");
    let mut archive = zip::ZipWriter::new(fs_err::File::create(field.path("field.kmz")).unwrap());
    archive
        .start_file("doc.kml", zip::write::SimpleFileOptions::default())
        .unwrap();
    archive.write_all(kml_polygon("").as_bytes()).unwrap();
    archive.finish().unwrap();
    take("field.kmz");
    // GeoJSON of before 2016 with a system of its own.
    let corners: Vec<[f64; 2]> = whole()
        .iter()
        .chain(whole().first())
        .map(|(x, y)| [CORNER.0 + x, CORNER.1 + y])
        .collect();
    let old = serde_json::json!({ "type": "FeatureCollection", "crs": { "type": "name", "properties": { "name": "urn:ogc:def:crs:EPSG::32633" } },
        "features": [{ "type": "Feature", "properties": {}, "geometry": { "type": "Polygon", "coordinates": [corners] } }] });
    field.write("old.geojson", old.to_string());
    take("old.geojson");
}

#[test]
fn every_system_is_the_same_field() {
    let field = Field::new();
    // At 50° north a square metre of Web Mercator is 0.41 of one on the ground: an area measured in it would be 2.4 times too large.
    let feet = "+proj=tmerc +lat_0=50 +lon_0=15.8 +k=0.9999 +x_0=200000 +y_0=0 +datum=WGS84 +units=us-ft +no_defs";
    let equal = "+proj=laea +lat_0=50 +lon_0=15.5 +x_0=0 +y_0=0 +ellps=GRS80 +units=m +no_defs";
    let mut last = "boundary.geojson".to_owned();
    for (k, (system, driver, end)) in [
        ("EPSG:3857", "GPKG", "gpkg"),
        (feet, "ESRI Shapefile", "shp"),
        (equal, "ESRI Shapefile", "shp"),
        ("EPSG:4258", "ESRI Shapefile", "shp"),
    ]
    .into_iter()
    .enumerate()
    {
        let name = format!("field{k}.{end}");
        write(&field, &name, driver, system, &[whole()]);
        field.job(&last, &name);
        last = name;
        same(system, &field);
    }
    let prj = fs_err::read_to_string(field.path("field2.prj")).unwrap();
    assert!(
        !prj.contains("AUTHORITY"),
        "no code: it is known by its own words: {prj}"
    );
}

#[test]
fn a_shapefile_without_its_system_is_refused() {
    let field = Field::new();
    write(
        &field,
        "field.shp",
        "ESRI Shapefile",
        "EPSG:32633",
        &[whole()],
    );
    fs_err::remove_file(field.path("field.prj")).unwrap();
    field.job("boundary.geojson", "field.shp");
    refused(&field, &["error[vector.no_system]", "field.shp", ".prj"]);
}

#[test]
fn heights_and_doubled_points_change_nothing() {
    let field = Field::new();
    field.job("boundary.geojson", "field.kml");
    field.write("field.kml", kml_polygon(",0"));
    same("heights of 0", &field);
    let doubled: Ring = whole()
        .into_iter()
        .flat_map(|corner| [corner, corner, corner])
        .collect();
    field.polygons("doubled.geojson", &[doubled]);
    field.job("field.kml", "doubled.geojson");
    same("each corner three times", &field);
    // A spike out and back again encloses nothing.
    let mut spiked = whole();
    spiked.insert(1, (100.0, 0.0));
    spiked.insert(2, (100.0, -40.0));
    spiked.insert(3, (100.0, 0.0));
    field.polygons("spiked.geojson", &[spiked]);
    field.job("doubled.geojson", "spiked.geojson");
    same("a spike", &field);
}

#[test]
fn a_ring_that_does_not_close() {
    let field = Field::new();
    let corners: Vec<[f64; 2]> = {
        let way = way("EPSG:32633", "EPSG:4326");
        whole()
            .iter()
            .map(|(x, y)| carry(&way, CORNER.0 + x, CORNER.1 + y))
            .map(|(a, b)| [a, b])
            .collect()
    };
    let open = serde_json::json!({ "type": "Feature", "properties": {}, "geometry": { "type": "Polygon", "coordinates": [corners] } });
    field.write("open.geojson", open.to_string());
    field.job("boundary.geojson", "open.geojson");
    refused(
        &field,
        &[
            "error[vector.no_geometry]",
            "open.geojson",
            "feature 1",
            "does not close",
        ],
    );
    // Nor is it passed over where other features are sound: an open ring around water would be forgotten.
    let field = Field::new();
    field.polygons("water.geojson", &[rectangle([96.0, 96.0, 120.0, 120.0])]);
    let sound = fs_err::read_to_string(field.path("water.geojson")).unwrap();
    field.write(
        "water.geojson",
        sound.replacen("\"features\":[", &format!("\"features\":[{open},"), 1),
    );
    field.job("boundary = \"boundary.geojson\"\n", "boundary = \"boundary.geojson\"\n\n[[field.exclude]]\npath = \"water.geojson\"\nreason = \"pond\"\n");
    refused(
        &field,
        &["error[vector.no_geometry]", "water.geojson", "feature 1"],
    );
}

#[test]
fn a_hole_drawn_as_a_feature_is_told() {
    let pond = rectangle([96.0, 96.0, 144.0, 144.0]);
    let field = Field::new();
    field.polygons("boundary.geojson", &[whole(), pond.clone()]);
    refused(&field, &["error[boundary.several]", "2 features"]);
    field.job(
        "boundary = \"boundary.geojson\"",
        "boundary = { path = \"boundary.geojson\", merge = true }",
    );
    let record = checked(&field);
    let notice = record["findings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|finding| finding["code"] == "boundary.overlap")
        .expect("it is told");
    let message = notice["message"].as_str().unwrap();
    // 48 m by 48 m, which is 0.2304 ha, counted once in the joined field.
    assert!(
        notice["severity"] == "caution"
            && message.contains("0.23 ha (0.57 ac)")
            && message.contains("field.exclude"),
        "{message}"
    );
    // Headland and inner field side by side are one field without a word.
    let mut around = whole();
    around.push((0.0, 0.0));
    around.extend([
        (24.0, 24.0),
        (24.0, EXTENT.1 - 24.0),
        (EXTENT.0 - 24.0, EXTENT.1 - 24.0),
        (EXTENT.0 - 24.0, 24.0),
        (24.0, 24.0),
        (0.0, 0.0),
    ]);
    let field = Field::new();
    field.polygons(
        "boundary.geojson",
        &[
            around,
            rectangle([24.0, 24.0, EXTENT.0 - 24.0, EXTENT.1 - 24.0]),
        ],
    );
    field.job(
        "boundary = \"boundary.geojson\"",
        "boundary = { path = \"boundary.geojson\", merge = true }",
    );
    let record = checked(&field);
    assert!(
        (record["field"]["area_m2"].as_f64().unwrap() / (EXTENT.0 * EXTENT.1) - 1.0).abs() < 1e-6
    );
    assert!(!record["findings"].to_string().contains("boundary.overlap"));
}

#[test]
fn a_boundary_drawn_as_a_line_is_refused() {
    let field = Field::new();
    field.write(
        "line.kml",
        kml(&format!(
            "<LineString><coordinates>{}</coordinates></LineString>",
            tuples(&whole(), "EPSG:4326", ",", "")
        )),
    );
    field.job("boundary.geojson", "line.kml");
    refused(&field, &["error[vector.kind]", "line.kml", "polygon"]);
}

#[test]
fn the_wrong_zone_is_refused() {
    let field = Field::new();
    write(
        &field,
        "field.shp",
        "ESRI Shapefile",
        "EPSG:32633",
        &[whole()],
    );
    let zone = SpatialRef::from_epsg(32_632).unwrap().to_wkt().unwrap();
    field.write("field.prj", zone);
    field.job("boundary.geojson", "field.shp");
    refused(
        &field,
        &[
            "error[boundary.apart]",
            "km",
            "longitude 9.8",
            "longitude 15.8",
        ],
    );
}

#[test]
fn one_field_of_many() {
    let field = Field::new();
    let other = rectangle([1000.0, 0.0, 1200.0, 200.0]);
    write(&field, "farm.gpkg", "GPKG", "EPSG:32633", &[other, whole()]);
    field.job(
        "boundary = \"boundary.geojson\"",
        "boundary = \"farm.gpkg\"",
    );
    refused(&field, &["error[boundary.several]", "2 features", "where"]);
    field.job(
        "boundary = \"farm.gpkg\"",
        "boundary = { path = \"farm.gpkg\", where = \"number = 2\" }",
    );
    same("the second", &field);
}
