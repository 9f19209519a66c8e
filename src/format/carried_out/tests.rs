//! Each writer's bytes read back: by GDAL, by the `geojson` and `shapefile` crates' own readers through `format::maps`, and compared zone by zone.

use super::*;
use crate::format::maps::ReadOptions;
use crate::format::payload::Payload;
use crate::format::{geopackage, geotiff, iso11783, maps};
use crate::map::fixture;
use crate::map::plain::{PlainMap, Wanted, of_imported, of_prescription};
use crate::map::task_options::{TaskKind, TaskOptions, TaskVersion};
use approx::assert_relative_eq;
use gdal::vector::LayerAccess;
use jiff::Timestamp;

fn plain() -> PlainMap {
    of_prescription(&fixture::prescription()).unwrap()
}

fn instant() -> Timestamp {
    "2026-04-14T00:00:00Z".parse().unwrap()
}

/// The files in a folder of their own, and the map that the reader makes of the first.
fn back(files: &[Payload], map: &PlainMap) -> (tempfile::TempDir, PlainMap) {
    let folder = tempfile::tempdir().unwrap();
    for file in files {
        let path = folder.path().join(&file.path);
        fs_err::create_dir_all(path.parent().unwrap()).unwrap();
        fs_err::write(path, &file.bytes).unwrap();
    }
    let carried = maps::read(&folder.path().join(&files[0].path), &ReadOptions::default()).unwrap();
    let wanted = Wanted {
        holds: map.product.clone(),
        ..Wanted::default()
    };
    let plain = of_imported(&carried, &wanted).unwrap().value.map;
    (folder, plain)
}

#[test]
fn tables_keep_rates_areas_and_totals() {
    let map = plain();
    let shapefile = write_shapefile(&map, "m", instant()).unwrap();
    assert_eq!((shapefile.1, shapefile.2), (0, 0.0));
    let all = [
        geopackage::write_carried(&map, "m", instant()).unwrap(),
        write_geojson(&map, "m").unwrap(),
        write_kml(&map, "m").unwrap(),
        write_flatgeobuf(&map, "m").unwrap(),
        shapefile.0,
    ];
    for files in all {
        let (_folder, got) = back(&files, &map);
        let (a, b) = (map.tally(), got.tally());
        assert_eq!(
            (a.zones, got.measure),
            (b.zones, map.measure),
            "{}",
            files[0].path
        );
        // A centimetre at the end of an edge of 300 m is 1.5 m².
        assert_relative_eq!(a.area_m2, b.area_m2, max_relative = 1e-4);
        assert_relative_eq!(a.total, b.total, max_relative = 1e-4);
        // FlatGeobuf orders by place; the others keep the order.
        let mut rates: Vec<_> = got.zones.iter().map(|zone| zone.rate).collect();
        rates.sort_by(f64::total_cmp);
        assert_eq!(rates, [0.0, 167.41, 251.12], "{}", files[0].path);
    }
}

#[test]
fn nitrogen_stands_beside_the_product() {
    let map = plain();
    let (folder, _) = back(&write_flatgeobuf(&map, "m").unwrap(), &map);
    let dataset = gdal::Dataset::open(folder.path().join("m.fgb")).unwrap();
    let mut layer = dataset.layer(0).unwrap();
    assert_eq!(layer.spatial_ref().unwrap().auth_code().unwrap(), 32_633);
    let mut n: Vec<_> = layer
        .features()
        .map(|feature| {
            feature
                .field_as_double(feature.field_index("n_kg_ha").unwrap())
                .unwrap()
                .unwrap()
        })
        .collect();
    n.sort_by(f64::total_cmp);
    assert_eq!(n, [0.0, 60.0, 90.0]);
}

#[test]
fn kml_is_coloured_by_the_palette_and_escapes_names() {
    let mut map = plain();
    map.name = "<Ley & \"Beck\">".to_owned();
    let text = String::from_utf8(write_kml(&map, "m").unwrap().remove(0).bytes).unwrap();
    assert!(text.contains("&lt;Ley &amp; "), "{text}");
    // Least, middle and greatest of the ramp, as alpha, blue, green, red.
    for colour in [
        crate::map::palette::ramp(0.0),
        crate::map::palette::ramp(0.5),
        crate::map::palette::ramp(1.0),
    ] {
        assert!(text.contains(&format!(
            "<color>bf{:02x}{:02x}{:02x}</color>",
            colour.blue, colour.green, colour.red
        )));
    }
    assert!(text.contains("251.12 L/ha"));
}

#[test]
fn rasters_keep_rates_where_they_were() {
    let map = plain();
    let (files, pixel) = geotiff::write_carried(&map, "m", None).unwrap();
    assert_eq!(pixel, Some(1.0));
    let (_folder, got) = back(&files, &map);
    let lattice = got.lattice.as_ref().unwrap();
    for (along, left, expected) in [
        (10.0, 10.0, Some(167.410_714)),
        (72.0, 84.0, Some(0.0)),
        (290.0, 190.0, Some(251.116_071)),
        (210.0, 90.0, None),
    ] {
        let (x, y) = fixture::point(along, left);
        let rate = lattice.rate(
            ((x - lattice.west) / lattice.cell_x) as usize,
            ((y - lattice.south) / lattice.cell_y) as usize,
        );
        assert_eq!(
            rate.map(|rate| (rate * 1_000.0).round()),
            expected.map(|rate: f64| (rate * 1_000.0).round()),
            "{along} {left}"
        );
    }
    assert_relative_eq!(map.tally().total, got.tally().total, max_relative = 5e-3);
    // A grid that came as one stays one, number by number.
    let (again, pixel) = geotiff::write_carried(&got, "n", None).unwrap();
    assert_eq!(pixel, None);
    assert_eq!(back(&again, &map).1.lattice.unwrap().rates, lattice.rates);
}

#[test]
fn task_data_of_every_flavour_keep_the_total_on_the_ground() {
    let map = plain();
    for version in [TaskVersion::V3, TaskVersion::V4] {
        for kind in [TaskKind::Grid, TaskKind::Zones, TaskKind::Polygons] {
            let files = iso11783::write_plain(&map, TaskOptions { version, kind }, None)
                .unwrap()
                .value;
            assert_eq!(files.len(), if kind == TaskKind::Polygons { 1 } else { 2 });
            let (_folder, got) = back(&files, &map);
            let total = match &got.lattice {
                Some(lattice) => map
                    .measure
                    .areas_of(iso11783::on_ground(&map, lattice, &got.system).unwrap().1),
                None => got.tally().total,
            };
            // The mean of a cell's ground keeps the total; a whole zone a cell moves it a little.
            let tolerance = if kind == TaskKind::Zones { 0.02 } else { 1e-5 };
            assert_relative_eq!(total, map.tally().total, max_relative = tolerance);
            let fallbacks = [
                got.fallbacks.on_start,
                got.fallbacks.position_lost,
                got.fallbacks.outside,
            ];
            for (got, due) in fallbacks.iter().zip([
                map.fallbacks.on_start,
                map.fallbacks.position_lost,
                map.fallbacks.outside,
            ]) {
                assert_relative_eq!(got.unwrap(), due.unwrap(), epsilon = 1e-4);
            }
        }
    }
}

#[test]
fn a_task_grid_turned_into_task_data_stays_cell_by_cell() {
    let map = plain();
    let files = iso11783::write_plain(&map, TaskOptions::default(), None)
        .unwrap()
        .value;
    let (_folder, got) = back(&files, &map);
    let again = iso11783::write_plain(
        &got,
        TaskOptions {
            version: TaskVersion::V4,
            kind: TaskKind::Grid,
        },
        None,
    )
    .unwrap()
    .value;
    assert_eq!(files[1], again[1], "the grid's file byte for byte");
}
