//! Each writer's bytes read back: by GDAL, by the `geojson` and `shapefile` crates' own readers through `format::maps`, and compared zone by zone.
//!
//! Our own map and anybody's go through the same writers, so each test holds for both.

use super::*;
use crate::finding::Finding;
use crate::format::iso11783::on_ground;
use crate::map::fixture;
use crate::map::machine::{Changed, Held, MachineRates, ZoneRate, machine_rates};
use crate::map::prescription::Prescription;
use crate::map::rate_map::{RateMap, Requirements, of_imported, of_prescription};
use crate::map::task_options::{TaskKind, TaskVersion};
use crate::units::Area;
use approx::assert_relative_eq;
use gdal::vector::LayerAccess;

/// The instant of files in tests.
pub(super) fn instant() -> Timestamp {
    "2026-04-14T00:00:00Z".parse().unwrap()
}

/// Options for files of this name.
pub(super) fn options(name: &str) -> WriteOptions<'_> {
    WriteOptions {
        name,
        instant: instant(),
        cell_m: None,
        task: TaskOptions::default(),
        grid: None,
        archive: None,
    }
}

/// Rates as decided, whatever they are; and those of a machine without limits.
pub(super) fn rates(p: &Prescription, shown: impl Fn(usize) -> f64) -> MachineRates {
    let zones = p.zones.iter().enumerate().map(|(k, zone)| ZoneRate {
        zone: zone.zone,
        shown: shown(k),
        held: Held::No,
    });
    MachineRates {
        zones: zones.collect(),
        on_start: p.shown(p.fallbacks.on_start),
        position_lost: p.shown(p.fallbacks.position_lost),
        outside: p.shown(p.fallbacks.outside),
        minimum: None,
        maximum: None,
        to_zero: Changed::default(),
        to_minimum: Changed::default(),
        to_maximum: Changed::default(),
        area: Area::m2(0.0),
        total: 0.0,
    }
}

/// Files of a prescription where a run puts them, with these rates of the machine.
pub(super) fn files_with(
    format: Format,
    p: &Prescription,
    rates: &MachineRates,
) -> Result<Vec<Payload>, WriteError> {
    let name = format.rules().place(&p.field_name, &p.map_id);
    let map = ExportMap::of_prescription(p, rates).unwrap();
    Ok(format.rules().write(&map, &options(&name))?.value.files)
}

/// Files of a prescription where a run puts them, with the rates as decided.
pub(super) fn files(format: Format, p: &Prescription) -> Result<Vec<Payload>, WriteError> {
    files_with(format, p, &rates(p, |k| p.shown(p.zones[k].n)))
}

fn plain() -> RateMap {
    of_prescription(&fixture::prescription()).unwrap()
}

fn written(format: Format, map: &RateMap, options: &WriteOptions<'_>) -> Checked<Written> {
    let map = ExportMap::of_rate_map(map);
    format.rules().write(&map, options).unwrap()
}

/// The files in a folder of their own, and the map that the reader makes of the first.
fn back(files: &[Payload], map: &RateMap) -> (tempfile::TempDir, RateMap) {
    let folder = tempfile::tempdir().unwrap();
    for file in files {
        let path = folder.path().join(&file.path);
        fs_err::create_dir_all(path.parent().unwrap()).unwrap();
        fs_err::write(path, &file.bytes).unwrap();
    }
    let imported =
        maps::read(&folder.path().join(&files[0].path), &ReadOptions::default()).unwrap();
    let requirements = Requirements {
        holds: map.product.clone(),
        ..Requirements::default()
    };
    let plain = of_imported(&imported, &requirements).unwrap().value.map;
    (folder, plain)
}

const TABLES: [Format; 5] = [
    Format::GeoPackage,
    Format::GeoJson,
    Format::Kml,
    Format::FlatGeobuf,
    Format::Shapefile,
];

#[test]
fn words_endings_and_short_names_are_each_of_one_format() {
    let mut seen = std::collections::BTreeSet::new();
    for format in Format::ALL {
        let row = format.row();
        assert_eq!(Format::named(row.word), Some(*format));
        assert!(Format::WORDS.contains(&row.word) && !row.about.is_empty());
        for ending in row.endings {
            assert!(seen.insert(*ending), "{ending} stands for two formats");
            assert_eq!(Format::of_ending(ending), Some(*format));
        }
        for name in row.short_names {
            assert_eq!(Format::meant_by(&name.to_uppercase()), Some(*format));
        }
    }
    let machine: Vec<_> = Format::ALL
        .iter()
        .filter(|format| format.is_for_the_machine())
        .collect();
    assert_eq!(machine, [&Format::Shapefile, &Format::Iso11783]);
}

#[test]
fn our_own_map_and_the_same_as_anybodys_say_the_same() {
    let p = fixture::prescription();
    let (map, rates) = (plain(), machine_rates(&p).unwrap().value);
    let own = ExportMap::of_prescription(&p, &rates).unwrap();
    for format in [
        Format::GeoPackage,
        Format::GeoJson,
        Format::Kml,
        Format::FlatGeobuf,
    ] {
        let ours = format
            .rules()
            .write(&own, &options("m"))
            .unwrap()
            .value
            .files;
        let theirs = written(format, &map, &options("m")).value.files;
        let (a, b) = (back(&ours, &map).1, back(&theirs, &map).1);
        assert_eq!(a.measure, b.measure);
        let zones = |map: &RateMap| -> Vec<_> {
            map.zones
                .iter()
                .map(|zone| (zone.rate, zone.outline.clone(), zone.stated_n))
                .collect()
        };
        assert_eq!(zones(&a), zones(&b), "{}", format.word());
    }
}

#[test]
fn tables_keep_rates_areas_and_totals() {
    let map = plain();
    for format in TABLES {
        let made = written(format, &map, &options("m")).value;
        assert_eq!(made.slivers, (0, 0.0));
        let files = made.files;
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
    let (folder, _) = back(
        &written(Format::FlatGeobuf, &map, &options("m")).value.files,
        &map,
    );
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
    let text = String::from_utf8(
        written(Format::Kml, &map, &options("m"))
            .value
            .files
            .remove(0)
            .bytes,
    )
    .unwrap();
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
    let made = written(Format::GeoTiff, &map, &options("m")).value;
    assert_eq!(made.pixel_m, Some(1.0));
    let (_folder, got) = back(&made.files, &map);
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
    let again = written(Format::GeoTiff, &got, &options("n")).value;
    assert_eq!(again.pixel_m, None);
    assert_eq!(
        back(&again.files, &map).1.lattice.unwrap().rates,
        lattice.rates
    );
}

fn task_files(map: &RateMap, task: TaskOptions) -> Vec<Payload> {
    let options = WriteOptions {
        task,
        ..options("")
    };
    let made = written(Format::Iso11783, map, &options);
    assert!(
        made.findings
            .iter()
            .all(|finding: &Finding| !finding.stops())
    );
    made.value.files
}

#[test]
fn task_data_of_every_kind_keep_the_total_on_the_ground() {
    let map = plain();
    for version in [TaskVersion::V3, TaskVersion::V4] {
        for kind in [TaskKind::Grid, TaskKind::Zones, TaskKind::Polygons] {
            let files = task_files(&map, TaskOptions { version, kind });
            assert_eq!(files.len(), if kind == TaskKind::Polygons { 1 } else { 2 });
            let (_folder, got) = back(&files, &map);
            let total = match &got.lattice {
                Some(lattice) => map
                    .measure
                    .areas_of(on_ground(&map, lattice, &got.system).unwrap().1),
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
    let files = task_files(&map, TaskOptions::default());
    let (_folder, got) = back(&files, &map);
    let again = task_files(
        &got,
        TaskOptions {
            version: TaskVersion::V4,
            kind: TaskKind::Grid,
        },
    );
    assert_eq!(files[1], again[1], "the grid's file byte for byte");
}

#[test]
fn what_a_thread_has_read_does_not_change_what_it_writes() {
    // PROJ (9.1) takes an ensemble of datums for one datum when the file of an image named the datum first.
    let image = {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("image.tif");
        let mut dataset = gdal::DriverManager::get_driver_by_name("GTiff")
            .and_then(|driver| driver.create_with_band_type::<u8, _>(&path, 2, 2, 1))
            .unwrap();
        dataset
            .set_spatial_ref(&gdal::spatial_ref::SpatialRef::from_epsg(32_633).unwrap())
            .unwrap();
        dataset
            .set_geo_transform(&[500_000.0, 10.0, 0.0, 5_400_000.0, 0.0, -10.0])
            .unwrap();
        dataset.close().unwrap();
        (path, folder)
    };
    let written = |reads: bool| {
        let path = image.0.clone();
        std::thread::spawn(move || {
            if reads {
                raster::facts(&path, path.parent().unwrap()).unwrap();
            }
            files(Format::FlatGeobuf, &fixture::prescription()).unwrap()
        })
        .join()
        .unwrap()
    };
    assert!(written(true)[0].bytes == written(false)[0].bytes);
}
