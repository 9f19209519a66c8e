//! Valid maps of every format, cut off at many places and with bits turned over: refused, or found faulty, or no other than before; never a panic, never long.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use haulm::app::api::{CheckMapRequest, ConvertRequest, check_map, convert};
use haulm::format::Format;
use serde_json::{Value, json};

use crate::check_map::{Bench, collection, ring};
use crate::check_map_files::{AROUND, Shp, Task, kml, of, tuples, zipped};

/// Longer than this is a hang: a map of a few kilobytes takes some tenths of a second, and a machine at work on other things many times that.
const LONGEST: Duration = Duration::from_mins(1);

/// File that is spoilt, and map that is read then.
type Target = (&'static str, &'static str);

const TARGETS: [Target; 13] = [
    ("map.shp", "map.shp"),
    ("map.dbf", "map.shp"),
    ("map.prj", "map.shp"),
    ("a.geojson", "a.geojson"),
    ("a.kml", "a.kml"),
    ("a.kmz", "a.kmz"),
    ("a.zip", "a.zip"),
    ("a.gpkg", "a.gpkg"),
    ("a.fgb", "a.fgb"),
    ("a.tif", "a.tif"),
    ("TASKDATA/TASKDATA.XML", "TASKDATA"),
    ("TASKDATA/GRD00000.bin", "TASKDATA"),
    ("TASKDATA/PDT00001.XML", "TASKDATA"),
];

/// One valid map of each format, over the same field.
fn valid() -> Bench {
    let bench = Bench::new();
    Shp::four().write(&bench);
    let mut task = Task::new();
    let whole = task.xml.clone();
    task.put(
        r#"<PDT A="PDT1" B="granules"/>"#,
        r#"<XFR A="PDT00001" B="1"/>"#,
    );
    task.write(&bench);
    bench.put(
        "TASKDATA/PDT00001.XML",
        br#"<?xml version="1.0" encoding="UTF-8"?><XFC><PDT A="PDT1" B="granules"/></XFC>"#,
    );
    bench.put(
        "a.zip",
        &zipped(&[
            ("TASKDATA/TASKDATA.XML", whole.as_bytes()),
            ("TASKDATA/GRD00000.bin", &task.grid),
        ]),
    );
    let feature = json!({ "type": "Feature", "properties": { "KG_HA": 3 }, "geometry": { "type": "Polygon", "coordinates": [ring(&AROUND[..4])] } });
    bench.put("a.geojson", collection(&[feature]).to_string().as_bytes());
    bench.put("a.kml", kml(&tuples(&AROUND)).as_bytes());
    bench.put(
        "a.kmz",
        &zipped(&[("doc.kml", kml(&tuples(&AROUND)).as_bytes())]),
    );
    for (to, ending) in [
        (Format::GeoPackage, "gpkg"),
        (Format::FlatGeobuf, "fgb"),
        (Format::GeoTiff, "tif"),
    ] {
        convert(&turn(
            &bench.path("map.shp"),
            to,
            bench.path(&format!("a.{ending}")),
        ))
        .unwrap();
    }
    bench
}

fn turn(map: &Path, to: Format, output: PathBuf) -> ConvertRequest {
    ConvertRequest {
        map: map.to_owned(),
        to,
        output: Some(output),
        layer: None,
        rate_column: None,
        unit: None,
        product: None,
        to_unit: None,
        to_product: None,
        boundary: None,
        on_start: None,
        position_lost: None,
        outside: None,
        task: haulm::map::task_options::TaskOptions::default(),
        cell: (to == Format::GeoTiff).then(|| "10 m".to_owned()),
        overwrite: true,
        common: haulm::app::api::Common::default(),
    }
}

/// The same numbers each time.
struct Chance(u64);

impl Chance {
    fn next(&mut self, below: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % below as u64) as usize
    }
}

/// Area and number of records or cells.
fn size(report: &Value) -> (f64, u64) {
    (
        report["map"]["area_m2"].as_f64().unwrap(),
        report["map"]["zones"].as_u64().unwrap() + report["map"]["cells"].as_u64().unwrap_or(0),
    )
}

/// Spoils each file so often; returns how many were cut, and how many of them were noticed, and the same of turned bits.
fn spoil(times: usize, seed: u64) -> [usize; 4] {
    let bench = valid();
    let mut chance = Chance(seed);
    let mut counts = [0; 4];
    let mut wrong = Vec::new();
    let mut need = |holds: bool, what: String| wrong.extend((!holds).then_some(what));
    for (spoilt, map) in TARGETS {
        let whole = fs_err::read(bench.path(spoilt)).unwrap();
        let boundary =
            (!map.contains("TASK") && !map.contains("zip")).then(|| bench.path("field.geojson"));
        let ask = CheckMapRequest {
            boundary,
            ..of(bench.path(map))
        };
        let good = check_map(&ask).unwrap_or_else(|error| panic!("{map}: {error:?}"));
        assert!(!good.stopped, "{map}: {:#}", good.json["faults"]);
        let (area, records) = size(&good.json);
        for k in 0..times {
            let mut bytes = whole.clone();
            let cut = k % 3 == 0;
            let what = if cut {
                // Near the end too, where a file looks whole.
                let near = if k % 2 == 0 {
                    whole.len()
                } else {
                    whole.len().min(64)
                };
                bytes.truncate(whole.len() - 1 - chance.next(near));
                format!("{spoilt} cut to {} of {} bytes", bytes.len(), whole.len())
            } else {
                let at = chance.next(whole.len());
                let bit = chance.next(8);
                bytes[at] ^= 1 << bit;
                format!("{spoilt} with bit {bit} of byte {at} turned")
            };
            bench.put(spoilt, &bytes);
            let begun = Instant::now();
            let notice = check_map(&ask);
            // A map that is found good is turned into another; one that is not must not bring that down either.
            if k % 4 < 2 {
                let _ = convert(&turn(
                    &bench.path(map),
                    Format::GeoJson,
                    bench.path("out.geojson"),
                ));
            }
            assert!(begun.elapsed() < LONGEST, "{what}: {:?}", begun.elapsed());
            let noticed = notice.as_ref().map_or(true, |report| report.stopped);
            counts[if cut { 0 } else { 2 }] += 1;
            counts[if cut { 1 } else { 3 }] += usize::from(noticed);
            if let Ok(report) = &notice
                && !noticed
            {
                let (area_now, records_now) = size(&report.json);
                let doubted = report.json["cautions"] != 0;
                need(
                    doubted || records_now == records,
                    format!("{what}: {records_now} records of {records}, and no word of it"),
                );
                need(
                    doubted || (area_now / area - 1.0).abs() < 0.005,
                    format!("{what}: {area_now} m² of {area}, and no word of it"),
                );
                need(
                    report.json["map"]["total"]
                        .as_f64()
                        .is_some_and(f64::is_finite),
                    format!("{what}: {:#}", report.json["map"]),
                );
                // The last byte of a table marks its end and is no record; the newline of a text is none either.
                let harmless = whole[bytes.len().min(whole.len())..]
                    .iter()
                    .all(|byte| matches!(byte, 0x1a | b'\n' | b'\r'));
                need(
                    !cut || harmless || doubted,
                    format!("{what}: passes for whole"),
                );
            }
        }
        bench.put(spoilt, &whole);
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    counts
}

#[test]
fn cut_and_flipped_files_never_panic() {
    let [cut, cut_noticed, flipped, flips_noticed] = spoil(40, 0x2545_f491_4f6c_dd1d);
    assert!(
        cut_noticed * 10 >= cut * 9,
        "{cut_noticed} of {cut} cut files noticed"
    );
    assert!(
        flips_noticed * 5 >= flipped,
        "{flips_noticed} of {flipped} flipped files noticed"
    );
}

/// 13 files, 1 200 times each; some minutes.
#[test]
#[ignore = "takes minutes: run by hand with --ignored"]
fn cut_and_flipped_files_never_panic_at_length() {
    for seed in [0x9e37_79b9_7f4a_7c15, 0xd1b5_4a32_d192_ed03] {
        let [cut, cut_noticed, flipped, flips_noticed] = spoil(600, seed);
        assert!(
            cut_noticed * 10 >= cut * 9 && flips_noticed * 5 >= flipped,
            "{cut_noticed} of {cut}, {flips_noticed} of {flipped}"
        );
    }
}
