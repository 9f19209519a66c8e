//! `haulm check MAP` on other formats: shapefiles, task data, KML, rasters, archives; files cut and flipped; our own outputs.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use haulm::app::api::{CheckMapRequest, check_map};
use serde_json::{Value, json};

use crate::check_map::{Bench, at, collection, faults, only};
use crate::field::Field;

const PRJ: &str = r#"GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]"#;

/// A ring of the field, clockwise, closed.
type Ring = Vec<[f64; 2]>;

fn clockwise(x0: f64, y0: f64, x1: f64, y1: f64) -> Ring {
    vec![at(x0, y0), at(x0, y1), at(x1, y1), at(x1, y0), at(x0, y0)]
}

fn turned(mut ring: Ring) -> Ring {
    ring.reverse();
    ring
}

/// A shapefile byte by byte (ESRI Shapefile Technical Description, from memory): shapes, each of rings, and a table with one column.
pub(crate) struct Shp {
    shapes: Vec<Vec<Ring>>,
    column: String,
    rates: Vec<String>,
    prj: bool,
    kind: i32,
}

impl Shp {
    pub(crate) fn four() -> Self {
        let corners = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)];
        Self {
            shapes: corners
                .iter()
                .map(|&(x, y)| vec![clockwise(x, y, x + 1.0, y + 1.0)])
                .collect(),
            column: "KG_HA".to_owned(),
            rates: ["100.00", "120.00", "140.00", "160.00"]
                .map(str::to_owned)
                .to_vec(),
            prj: true,
            kind: 5,
        }
    }

    fn shp(&self) -> Vec<u8> {
        let all = || self.shapes.iter().flatten().flatten();
        let edge = |axis: usize, minimum: bool| {
            all().map(|p| p[axis]).fold(
                if minimum {
                    f64::INFINITY
                } else {
                    f64::NEG_INFINITY
                },
                |a, b| if minimum { a.min(b) } else { a.max(b) },
            )
        };
        let bounds = [edge(0, true), edge(1, true), edge(0, false), edge(1, false)];
        let mut body = Vec::new();
        for (k, rings) in self.shapes.iter().enumerate() {
            let mut record = Vec::new();
            record.extend(if rings.is_empty() { 0 } else { self.kind }.to_le_bytes());
            if !rings.is_empty() {
                for value in bounds {
                    record.extend(value.to_le_bytes());
                }
                record.extend((rings.len() as i32).to_le_bytes());
                record.extend((rings.iter().map(Vec::len).sum::<usize>() as i32).to_le_bytes());
                let mut start = 0_i32;
                for ring in rings {
                    record.extend(start.to_le_bytes());
                    start += ring.len() as i32;
                }
                for value in rings.iter().flatten().flatten() {
                    record.extend(value.to_le_bytes());
                }
            }
            body.extend((k as i32 + 1).to_be_bytes());
            body.extend((record.len() as i32 / 2).to_be_bytes());
            body.extend(record);
        }
        let mut file = Vec::new();
        file.extend(9994_i32.to_be_bytes());
        file.extend([0; 20]);
        file.extend(((100 + body.len()) as i32 / 2).to_be_bytes());
        file.extend(1000_i32.to_le_bytes());
        file.extend(self.kind.to_le_bytes());
        for value in bounds {
            file.extend(value.to_le_bytes());
        }
        file.extend([0; 32]);
        file.extend(body);
        file
    }

    fn dbf(&self) -> Vec<u8> {
        let mut file = vec![3, 100, 1, 1];
        file.extend((self.rates.len() as u32).to_le_bytes());
        file.extend([65, 0, 11, 0]);
        file.extend([0; 20]);
        let mut name = self.column.clone().into_bytes();
        name.resize(11, 0);
        file.extend(name);
        file.push(b'N');
        file.extend([0, 0, 0, 0, 10, 2]);
        file.extend([0; 14]);
        file.push(0x0d);
        for rate in &self.rates {
            file.extend(format!(" {rate:>10}").into_bytes());
        }
        file.push(0x1a);
        file
    }

    pub(crate) fn write(&self, bench: &Bench) -> PathBuf {
        bench.put("map.dbf", &self.dbf());
        bench.put("map.shx", b"");
        if self.prj {
            bench.put("map.prj", PRJ.as_bytes());
        }
        bench.put("map.shp", &self.shp())
    }
}

#[test]
fn spoiled_shapefiles() {
    type Case = (&'static str, &'static str, u64, bool, fn(&mut Shp));
    let cases: [Case; 10] = [
        ("no .prj", "system.missing", 0, true, |s| s.prj = false),
        ("exterior as hole", "ring.direction", 2, true, |s| {
            s.shapes[1][0].reverse();
        }),
        ("hole as exterior", "ring.direction", 1, true, |s| {
            s.shapes[0].push(clockwise(0.4, 0.4, 0.6, 0.6));
        }),
        ("a row too few", "file.records", 0, true, |s| {
            drop(s.rates.pop());
        }),
        ("NaN in the table", "rate.not_finite", 3, true, |s| {
            "NaN".clone_into(&mut s.rates[2]);
        }),
        ("stars in the table", "rate.text", 3, true, |s| {
            "**********".clone_into(&mut s.rates[2]);
        }),
        ("blank in the table", "rate.missing", 3, true, |s| {
            s.rates[2].clear();
        }),
        ("null shape", "shape.null", 5, true, |s| {
            s.shapes.push(Vec::new());
            s.rates.push("1.00".to_owned());
        }),
        ("two parts", "shape.parts", 2, false, |s| {
            s.shapes[1] = vec![clockwise(1.0, 0.0, 1.5, 1.0), clockwise(1.5, 0.0, 2.0, 1.0)];
        }),
        ("ten letters", "column.cut", 0, false, |s| {
            "RATE_PRODU".clone_into(&mut s.column);
        }),
    ];
    for (name, code, record, error, change) in cases {
        let bench = Bench::new();
        let mut shp = Shp::four();
        change(&mut shp);
        let mut request = bench.ask(shp.write(&bench));
        request.rate_column = Some(shp.column.clone());
        let found = faults(&request);
        // A hole that is lost leaves a gap as well, a missing row leaves a record without a rate.
        let fault = if ["hole as exterior", "a row too few", "exterior as hole"].contains(&name) {
            found
                .iter()
                .find(|fault| fault["code"] == code)
                .unwrap_or_else(|| panic!("{name}: {found:#?}"))
        } else {
            only(name, &found, code)
        };
        assert_eq!(fault["severity"] == "stop", error, "{name}: {fault}");
        if record > 0 {
            assert_eq!(fault["place"]["number"], record, "{name}: {fault}");
        }
    }
    // Clean, and with a proper hole.
    let bench = Bench::new();
    let found = faults(&bench.ask(Shp::four().write(&bench)));
    assert_eq!(found, Vec::<Value>::new());
    let mut shp = Shp::four();
    shp.shapes[0].push(turned(clockwise(0.4, 0.4, 0.6, 0.6)));
    assert_eq!(
        only("hole", &faults(&bench.ask(shp.write(&bench))), "field.gap")["severity"],
        "stop"
    );
    let whole = Shp::four().shp();
    let cut = bench.put("map.shp", &whole[..whole.len() - 40]);
    assert!(
        faults(&bench.ask(cut))
            .iter()
            .any(|fault| fault["code"] == "file.cut" && fault["place"]["number"] == 4)
    );
}

/// Task data with a grid of type 2 over the field: 24 by 24 cells, the field in the middle 20 by 20, 0 around it.
pub(crate) struct Task {
    pub(crate) xml: String,
    pub(crate) grid: Vec<u8>,
    folder: String,
}

pub(crate) const SIDE: usize = 24;

impl Task {
    pub(crate) fn new() -> Self {
        let [south, west] = [at(0.0, -0.2)[1], at(-0.2, 0.0)[0]];
        let mut points = String::new();
        // The north-west corner is cut off, so that the field looks otherwise from every side.
        for (x, y) in [
            (0.0, 0.0),
            (2.0, 0.0),
            (2.0, 2.0),
            (1.0, 2.0),
            (0.0, 1.0),
            (0.0, 0.0),
        ] {
            let [east, north] = at(x, y);
            write!(points, r#"<PNT A="2" C="{north:.9}" D="{east:.9}"/>"#).unwrap();
        }
        let xml = format!(
            r#"<?xml version="1.0" encoding="UTF-8"?>
<ISO11783_TaskData VersionMajor="3" VersionMinor="3" ManagementSoftwareManufacturer="m" ManagementSoftwareVersion="1" DataTransferOrigin="1">
<CTR A="CTR1" B="Ambermere"/><FRM A="FRM1" B="Ambermere Farm" I="CTR1"/>
<PFD A="PFD1" C="Long Ley" D="40000" E="CTR1" F="FRM1"><PLN A="1"><LSG A="1">{points}</LSG></PLN></PFD>
<VPN A="VPN1" B="0" C="0.01" D="1" E="kg/ha"/><PDT A="PDT1" B="granules"/>
<TSK A="TSK1" B="top dressing" C="CTR1" D="FRM1" E="PFD1" G="1" H="1" I="1" J="1">
<TZN A="0"><PDV A="0006" B="0" C="PDT1" E="VPN1"/></TZN><TZN A="1"><PDV A="0006" B="0" C="PDT1" E="VPN1"/></TZN>
<GRD A="{south:.9}" B="{west:.9}" C="0.00009" D="0.00014" E="{SIDE}" F="{SIDE}" G="GRD00000" I="2" J="0"/><DLT A="DFFF" B="31"/></TSK>
</ISO11783_TaskData>"#
        );
        let mut grid = Vec::new();
        for row in 0..SIDE {
            for col in 0..SIDE {
                let (x, y) = (
                    (col as f64 + 0.5) / 10.0 - 0.2,
                    (row as f64 + 0.5) / 10.0 - 0.2,
                );
                let inside = x > 0.0 && y > 0.0 && x < 2.0 && y < 2.0 && y < 1.0 + x;
                grid.extend(if inside { 15_000_i32 } else { 0 }.to_le_bytes());
            }
        }
        Self {
            xml,
            grid,
            folder: "TASKDATA".to_owned(),
        }
    }

    pub(crate) fn write(&self, bench: &Bench) -> PathBuf {
        bench.put(&format!("{}/GRD00000.bin", self.folder), &self.grid);
        bench
            .put(
                &format!("{}/TASKDATA.XML", self.folder),
                self.xml.as_bytes(),
            )
            .parent()
            .unwrap()
            .to_owned()
    }

    pub(crate) fn put(&mut self, old: &str, new: &str) {
        assert!(self.xml.contains(old), "{old}");
        self.xml = self.xml.replace(old, new);
    }
}

/// Without a boundary of the user's: the task's own counts.
pub(crate) fn of(map: PathBuf) -> CheckMapRequest {
    CheckMapRequest {
        map,
        ..CheckMapRequest::default()
    }
}

#[test]
fn spoiled_task_data() {
    type Change = fn(&mut Task);
    let cases: [(&str, &str, bool, Change); 23] = [
        ("no J", "task.no_outside_zone", false, |t| {
            t.put(r#" J="1">"#, ">");
        }),
        ("dangling J", "task.zone_dangling", true, |t| {
            t.put(r#" J="1">"#, r#" J="9">"#);
        }),
        ("grid's zone", "task.grid_zone", true, |t| {
            t.put(r#"I="2" J="0""#, r#"I="2" J="7""#);
        }),
        ("a byte too few", "task.grid_length", true, |t| {
            t.grid.truncate(t.grid.len() - 1);
        }),
        ("stated length", "task.grid_stated", false, |t| {
            t.put(r#"G="GRD00000""#, r#"G="GRD00000" H="12""#);
        }),
        ("rows from the north", "grid.order", true, |t| {
            let rows: Vec<Vec<u8>> = t.grid.chunks(4 * SIDE).rev().map(<[u8]>::to_vec).collect();
            t.grid = rows.concat();
        }),
        ("actual rate", "task.ddi_kind", true, |t| {
            t.put("0006", "0007");
        }),
        ("dictionary entry", "task.ddi", true, |t| {
            t.put(r#"<TZN A="1"><PDV A="0006""#, r#"<TZN A="1"><PDV A="6""#);
        }),
        (
            "fallback of another kind",
            "task.fallback_kind",
            true,
            |t| t.put(r#"<TZN A="1"><PDV A="0006""#, r#"<TZN A="1"><PDV A="0001""#),
        ),
        ("dangling product", "task.dangling", true, |t| {
            t.put(r#"<PDT A="PDT1""#, r#"<PDT A="PDT2""#);
        }),
        ("minus", "task.id", false, |t| t.put("TSK1", "TSK-1")),
        ("no number", "task.id", true, |t| t.put("TSK1", "TSKx")),
        ("id twice", "task.id_twice", true, |t| {
            t.put(
                r#"<PDT A="PDT1" B="granules"/>"#,
                r#"<PDT A="PDT1" B="granules"/><PDT A="PDT1" B="again"/>"#,
            );
        }),
        ("status", "task.status", false, |t| {
            t.put(r#"G="1" H"#, r#"G="4" H"#);
        }),
        ("no owner", "task.owner", false, |t| {
            t.put(r#" C="CTR1" D="FRM1" E="PFD1""#, r#" E="PFD1""#);
        }),
        ("no boundary", "task.no_boundary", false, |t| {
            t.put("<PLN A=\"1\">", "<PLN A=\"3\">");
        }),
        ("zone twice", "task.zone_twice", true, |t| {
            t.put(r#"<TZN A="1">"#, r#"<TZN A="0">"#);
        }),
        ("scale of the screen", "unit.doubtful", true, |t| {
            t.put(r#"C="0.01""#, r#"C="0.001""#);
        }),
        ("litres on the screen", "unit.doubtful", true, |t| {
            t.put(r#"E="kg/ha""#, r#"E="L/ha""#);
        }),
        ("version", "task.version", true, |t| {
            t.put(r#"VersionMajor="3""#, r#"VersionMajor="7""#);
        }),
        ("origin", "task.origin", false, |t| {
            t.put(r#"DataTransferOrigin="1""#, r#"DataTransferOrigin="2""#);
        }),
        ("long name", "task.text", false, |t| {
            t.put(
                "top dressing",
                "a name that is longer than all that terminals show",
            );
        }),
        ("folder", "task.file_name", false, |t| {
            "taskdata".clone_into(&mut t.folder);
        }),
    ];
    for (name, code, error, change) in cases {
        let bench = Bench::new();
        let mut task = Task::new();
        change(&mut task);
        let found = faults(&of(task.write(&bench)));
        let fault = found
            .iter()
            .find(|fault| fault["code"] == code)
            .unwrap_or_else(|| panic!("{name}: no {code} in {found:#?}"));
        assert_eq!(fault["severity"] == "stop", error, "{name}: {fault}");
        assert!(
            fault["place"]["name"].is_string() || fault["place"]["number"] != 0,
            "{name}: {fault}"
        );
    }
    let bench = Bench::new();
    let report = check_map(&of(Task::new().write(&bench))).unwrap();
    assert_eq!(
        report.json["faults"],
        json!([]),
        "{:#}",
        report.json["faults"]
    );
    // 350 of about 400 cells of 10 m by 10 m, 150 kg/ha (15 000 mg/m², the standard's worked example): 3.5 ha and 525 kg.
    let total = report.json["map"]["total"].as_f64().unwrap();
    assert!((total - 525.0).abs() < 10.0, "{total}");
}

#[test]
fn grids_of_zones_and_polygons() {
    let bench = Bench::new();
    let mut task = Task::new();
    task.put(r#"I="2" J="0""#, r#"I="1""#);
    task.put(
        r#"<TZN A="0"><PDV A="0006" B="0""#,
        r#"<TZN A="0"><PDV A="0006" B="15000""#,
    );
    task.grid = task
        .grid
        .chunks(4)
        .map(|cell| u8::from(cell == [0; 4]))
        .collect();
    let found = faults(&of(task.write(&bench)));
    assert_eq!(found, Vec::<Value>::new());
    // One cell of a code that no zone has: row 3, column 5.
    task.grid[2 * SIDE + 4] = 77;
    let found = faults(&of(task.write(&bench)));
    let fault = found
        .iter()
        .find(|fault| fault["code"] == "task.code_unknown")
        .unwrap();
    let centre = at(4.5 / 10.0 - 0.2, 2.5 / 10.0 - 0.2);
    assert!(
        (fault["at"][0].as_f64().unwrap() - centre[0]).abs() < 1e-8
            && (fault["at"][1].as_f64().unwrap() - centre[1]).abs() < 1e-8,
        "{fault}"
    );

    // Polygons: from version 4 on a ring repeats its first point.
    for (version, closed, requirement) in [
        ("3", false, None),
        ("4", true, None),
        ("4", false, Some("ring.unclosed")),
    ] {
        let bench = Bench::new();
        let mut task = Task::new();
        let mut points = String::new();
        for (x, y) in [(0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (1.0, 2.0), (0.0, 1.0)]
            .into_iter()
            .chain(closed.then_some((0.0, 0.0)))
        {
            let [east, north] = at(x, y);
            write!(points, r#"<PNT A="2" C="{north:.9}" D="{east:.9}"/>"#).unwrap();
        }
        task.put(
            r#"<PDV A="0006" B="0" C="PDT1" E="VPN1"/></TZN><TZN A="1">"#,
            &format!(r#"<PDV A="0006" B="15000" C="PDT1" E="VPN1"/><PLN A="2"><LSG A="1">{points}</LSG></PLN></TZN><TZN A="1">"#),
        );
        let grid = task.xml.find("<GRD").unwrap();
        let end = task.xml[grid..].find("/>").unwrap() + grid + 2;
        task.xml.replace_range(grid..end, "");
        task.put(
            r#"VersionMajor="3""#,
            &format!(r#"VersionMajor="{version}""#),
        );
        let found = faults(&of(task.write(&bench)));
        let errors: Vec<&Value> = found
            .iter()
            .filter(|fault| fault["severity"] == "stop")
            .map(|fault| &fault["code"])
            .collect();
        assert_eq!(
            errors,
            requirement
                .iter()
                .map(|code| json!(code))
                .collect::<Vec<_>>()
                .iter()
                .collect::<Vec<_>>(),
            "{version} {closed}"
        );
    }
}

pub(crate) fn kml(coordinates: &str) -> String {
    format!(
        r#"<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>North</name><ExtendedData><Data name="KG_HA"><value>120</value></Data></ExtendedData><Polygon><outerBoundaryIs><LinearRing><coordinates>{coordinates}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>"#
    )
}

pub(crate) fn tuples(points: &[(f64, f64)]) -> String {
    points
        .iter()
        .map(|&(x, y)| at(x, y))
        .map(|[x, y]| format!("{x},{y},0"))
        .collect::<Vec<_>>()
        .join(" ")
}

pub(crate) const AROUND: [(f64, f64); 5] =
    [(0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0), (0.0, 0.0)];

#[test]
fn kml_and_hostile_xml() {
    let bench = Bench::new();
    let good = kml(&tuples(&AROUND));
    let report = check_map(&bench.ask(bench.put("map.kml", good.as_bytes()))).unwrap();
    assert_eq!(
        report.json["faults"],
        json!([]),
        "{:#}",
        report.json["faults"]
    );
    assert_eq!(report.json["map"]["unit"], "kg/ha");
    let path = bench.put("map.kml", kml(&tuples(&AROUND[..4])).as_bytes());
    assert_eq!(
        only("open", &faults(&bench.ask(path)), "ring.unclosed")["place"]["name"],
        "North"
    );
    let bomb = good
        .replacen(
            "<kml",
            "<!DOCTYPE kml [<!ENTITY a \"aaaa\"><!ENTITY b SYSTEM \"field.geojson\">]><kml",
            1,
        )
        .replacen("North", "&b;", 1);
    let path = bench.put("map.kml", bomb.as_bytes());
    assert_eq!(
        check_map(&bench.ask(path)).unwrap_err().code,
        "map.unreadable"
    );
}

pub(crate) fn zipped(entries: &[(&str, &[u8])]) -> Vec<u8> {
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, bytes) in entries {
        archive
            .start_file(*name, zip::write::SimpleFileOptions::default())
            .unwrap();
        archive.write_all(bytes).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

#[test]
fn archives_with_limits() {
    let bench = Bench::new();
    let task = Task::new();
    let good = zipped(&[
        ("TASKDATA/TASKDATA.XML", task.xml.as_bytes()),
        ("TASKDATA/GRD00000.bin", &task.grid),
    ]);
    assert_eq!(
        faults(&of(bench.put("map.zip", &good))),
        Vec::<Value>::new()
    );
    let kmz = zipped(&[("doc.kml", kml(&tuples(&AROUND)).as_bytes())]);
    assert_eq!(
        faults(&bench.ask(bench.put("map.kmz", &kmz))),
        Vec::<Value>::new()
    );
    let zeros = vec![0; 40 << 20];
    for (name, archive) in [
        ("bomb", zipped(&[("TASKDATA/TASKDATA.XML", &zeros)])),
        ("stray", zipped(&[("../TASKDATA.XML", b"x")])),
        ("absolute", zipped(&[("/TASKDATA/TASKDATA.XML", b"x")])),
    ] {
        let error = check_map(&of(bench.put("map.zip", &archive))).unwrap_err();
        assert_eq!(error.code, "map.archive", "{name}: {error}");
    }
    let many: Vec<(String, Vec<u8>)> = (0..10_001).map(|k| (format!("f{k}"), Vec::new())).collect();
    let many: Vec<(&str, &[u8])> = many
        .iter()
        .map(|(name, bytes)| (name.as_str(), bytes.as_slice()))
        .collect();
    assert_eq!(
        check_map(&of(bench.put("map.zip", &zipped(&many))))
            .unwrap_err()
            .code,
        "map.archive"
    );
}

#[test]
fn rasters_of_rates() {
    let bench = Bench::new();
    // 30 columns and rows of 10 m in UTM zone 33 north, over the field and beyond; the second line from the north, third column has no data.
    let (west, south) = (559_970.0, 5_559_970.0);
    let grid = |hole: bool| {
        let mut text = format!(
            "ncols 30\nnrows 30\nxllcorner {west}\nyllcorner {south}\ncellsize 10\nNODATA_value -9999\n"
        );
        for row in 0..30 {
            for col in 0..30 {
                write!(
                    text,
                    "{} ",
                    if hole && row == 15 && col == 12 {
                        -9999.0
                    } else {
                        120.5
                    }
                )
                .unwrap();
            }
            text.push('\n');
        }
        text
    };
    let prj = gdal::spatial_ref::SpatialRef::from_epsg(32633)
        .unwrap()
        .to_wkt()
        .unwrap();
    bench.put("map.prj", prj.as_bytes());
    let way = crate::field::way("EPSG:32633", "EPSG:4326");
    let corner = |x: f64, y: f64| {
        let (lon, lat) = crate::field::carry(&way, west + x, south + y);
        json!([lon, lat])
    };
    let field = json!([
        corner(50.0, 50.0),
        corner(250.0, 50.0),
        corner(250.0, 250.0),
        corner(50.0, 250.0),
        corner(50.0, 50.0)
    ]);
    let feature = json!({ "type": "Feature", "properties": {}, "geometry": { "type": "Polygon", "coordinates": [field] } });
    bench.put(
        "field.geojson",
        collection(&[feature]).to_string().as_bytes(),
    );
    let request = CheckMapRequest {
        unit: Some("kg/ha".to_owned()),
        machine_width: Some("60 m".to_owned()),
        ..bench.ask(bench.put("map.asc", grid(false).as_bytes()))
    };
    let report = check_map(&request).unwrap();
    // The raster runs 50 m and more over the field's edge on all sides: 900 cells less 400 of the field, less 84 that touch its edge.
    let beyond = only(
        "run out",
        report.json["faults"].as_array().unwrap(),
        "field.run_out",
    );
    assert_eq!(
        (&beyond["severity"], &beyond["sizes"][1]["value"]),
        (&json!("note"), &json!(416.0)),
        "{beyond}"
    );
    // Four hectares at 120.5 kg/ha.
    assert!(
        (report.json["map"]["total"].as_f64().unwrap() - 482.0).abs() < 1e-6,
        "{}",
        report.json["map"]
    );
    bench.put("map.asc", grid(true).as_bytes());
    let found = faults(&request);
    let gap = only("no data", &found, "field.gap");
    assert_eq!(
        (&gap["at"][0], &gap["at"][1]),
        (&json!(west + 125.0), &json!(south + 145.0)),
        "{gap}"
    );
    let found = faults(&CheckMapRequest {
        unit: None,
        ..request.clone()
    });
    assert!(found.iter().any(|fault| fault["code"] == "unit.unknown"));
    // Without a machine up to 50 m and half a cell's diagonal are an uncertainty, and more is an error: the four corners, 45 m off both ways.
    bench.put("map.asc", grid(false).as_bytes());
    let found = faults(&CheckMapRequest {
        machine_width: None,
        ..request
    });
    let far: Vec<_> = found
        .iter()
        .filter(|fault| fault["code"] == "field.outside")
        .map(|fault| (&fault["severity"], &fault["sizes"][1]["value"]))
        .collect();
    assert_eq!(
        far,
        [
            (&json!("caution"), &json!(412.0)),
            (&json!("stop"), &json!(4.0))
        ],
        "{found:#?}"
    );
}

#[test]
fn our_own_outputs_have_no_error() {
    let field = Field::mapped();
    let out = field.path("out");
    let maps: Vec<PathBuf> = crate::field::files(&out)
        .keys()
        .map(|name| out.join(name))
        .filter(|path| is_map(path))
        .collect();
    assert!(maps.len() >= 4, "{maps:?}");
    for map in maps {
        let request = CheckMapRequest {
            map: map.clone(),
            boundary: Some(field.path("boundary.geojson")),
            machine_width: Some("24 m".to_owned()),
            ..CheckMapRequest::default()
        };
        let report =
            check_map(&request).unwrap_or_else(|error| panic!("{}: {error:?}", map.display()));
        assert!(
            !report.stopped,
            "{}: {:#}",
            map.display(),
            report.json["faults"]
        );
    }
}

fn is_map(path: &Path) -> bool {
    let ending = path
        .extension()
        .and_then(|ending| ending.to_str())
        .unwrap_or_default();
    ["shp", "geojson", "gpkg", "tif", "XML", "zip"].contains(&ending)
        && !path.to_string_lossy().contains("cells")
}
