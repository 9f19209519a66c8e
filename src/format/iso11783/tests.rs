//! A task set read back as a controller would, from its bytes alone.

use crate::finding::{Checked, Severity};
use crate::format::iso11783::{RateGrid, rate_grid};
use crate::format::payload::Payload;
use crate::format::tests::options;
use crate::format::{Archive, Format, WriteOptions};
use crate::map::export::ExportMap;
use crate::map::fixture;
use crate::map::fixture::{EXCLUSION, LENGTH, WIDTH};
use crate::map::machine::machine_rates;
use crate::map::prescription::Prescription;
use crate::map::task_options::{GridRates, TaskKind};
use crate::space::crs::{Crs, Projector};
use crate::units::Length;
use geo::{LineString, MultiPolygon, Polygon};
use jiff::Timestamp;
use quick_xml::Reader;
use quick_xml::events::Event;
use std::collections::{BTreeMap, BTreeSet};
use std::io::Read as _;

/// Files as a run leaves them, and what is to be said of their grid.
fn write(p: &Prescription, instant: Timestamp) -> Checked<Vec<Payload>> {
    let rates = machine_rates(p).unwrap().value;
    let grid = rate_grid(p, &rates, TaskKind::Grid).unwrap();
    let map = ExportMap::of_prescription(p, &rates).unwrap();
    let options = WriteOptions {
        instant,
        grid: Some(&grid.value),
        archive: Some(Archive {
            path: "office/TASKDATA.zip",
            beside_files: true,
        }),
        ..options("machine/")
    };
    let written = Format::Iso11783.rules().write(&map, &options).unwrap();
    Checked::new(written.value.files, grid.findings)
}

/// One element: depth, name, attributes.
struct Element {
    depth: usize,
    name: String,
    attributes: BTreeMap<String, String>,
}

impl Element {
    fn get(&self, key: &str) -> &str {
        self.attributes.get(key).map_or("", String::as_str)
    }
    fn number(&self, key: &str) -> f64 {
        self.get(key).parse().unwrap()
    }
}

/// Task data read from bytes.
struct Task {
    xml: String,
    elements: Vec<Element>,
    binary: Vec<u8>,
}

impl Task {
    fn read(files: &[Payload]) -> Self {
        let bytes = |path: &str| {
            files
                .iter()
                .find(|file| file.path == path)
                .unwrap()
                .bytes
                .clone()
        };
        let xml = String::from_utf8(bytes("machine/TASKDATA/TASKDATA.XML")).unwrap();
        let mut reader = Reader::from_str(&xml);
        let mut elements = Vec::new();
        let mut depth = 0;
        loop {
            let event = reader.read_event().unwrap();
            match &event {
                Event::Start(start) | Event::Empty(start) => {
                    let attributes = start.attributes().map(|attribute| {
                        let attribute = attribute.unwrap();
                        (
                            attribute.key.as_ref().to_owned(),
                            attribute.value.to_string(),
                        )
                    });
                    elements.push(Element {
                        depth,
                        name: start.name().as_ref().to_owned(),
                        attributes: attributes.collect(),
                    });
                    depth += usize::from(matches!(event, Event::Start(_)));
                }
                Event::End(_) => depth -= 1,
                Event::Text(text) => assert!(
                    text.xml10_content().trim().is_empty(),
                    "text between elements"
                ),
                Event::Eof => break,
                _ => {}
            }
        }
        Self {
            xml,
            elements,
            binary: bytes("machine/TASKDATA/GRD00000.bin"),
        }
    }

    fn of(prescription: &Prescription) -> Self {
        Self::read(&write(prescription, Timestamp::UNIX_EPOCH).value)
    }

    fn all(&self, name: &str) -> impl Iterator<Item = &Element> {
        self.elements
            .iter()
            .filter(move |element| element.name == name)
    }

    fn one(&self, name: &str) -> &Element {
        let mut all = self.all(name);
        let first = all.next().unwrap_or_else(|| panic!("no {name}"));
        assert!(all.next().is_none(), "more than one {name}");
        first
    }

    /// The process data of a treatment zone.
    fn zone(&self, code: &str) -> &Element {
        let position = self
            .elements
            .iter()
            .position(|element| element.name == "TZN" && element.get("A") == code)
            .unwrap();
        let value = &self.elements[position + 1];
        assert_eq!(value.name, "PDV");
        value
    }

    /// The cell's value in units of the screen, at a longitude and latitude, by the standard's order: west to east, rows from the south, little-endian.
    fn shown(&self, longitude: f64, latitude: f64) -> f64 {
        let grid = self.one("GRD");
        let row = libm::floor((latitude - grid.number("A")) / grid.number("C")) as usize;
        let col = libm::floor((longitude - grid.number("B")) / grid.number("D")) as usize;
        let cols: usize = grid.get("E").parse().unwrap();
        let at = (row * cols + col) * 4;
        f64::from(i32::from_le_bytes(
            self.binary[at..at + 4].try_into().unwrap(),
        )) * self.one("VPN").number("C")
    }
}

fn to_degrees(along: f64, left: f64) -> (f64, f64) {
    let (x, y) = fixture::point(along, left);
    Projector::new(&fixture::prescription().plane, &Crs::wgs84())
        .unwrap()
        .point(x, y)
        .unwrap()
}

fn shown(task: &Task, along: f64, left: f64) -> f64 {
    let (longitude, latitude) = to_degrees(along, left);
    task.shown(longitude, latitude)
}

/// Litres per hectare of a 28 % solution of 1.28 kg/L for so much nitrogen.
fn litres(n: f64) -> f64 {
    n / 0.28 / 1.28
}

fn polygon(corners: &[(f64, f64)]) -> Polygon<f64> {
    Polygon::new(
        corners
            .iter()
            .map(|(along, left)| fixture::point(*along, *left))
            .collect::<LineString<f64>>(),
        Vec::new(),
    )
}

#[test]
fn the_file_says_what_the_standard_asks() {
    let task = Task::of(&fixture::prescription());
    assert!(
        task.xml
            .starts_with("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<ISO11783_TaskData ")
    );
    assert!(task.xml.is_ascii() && !task.xml.contains("xmlns"));
    let root = task.one("ISO11783_TaskData");
    assert_eq!(
        (
            root.get("VersionMajor"),
            root.get("VersionMinor"),
            root.get("DataTransferOrigin")
        ),
        ("3", "3", "1")
    );
    // Text of 32 characters at most; ids of three capitals and a number above 0.
    for element in &task.elements {
        for (key, value) in &element.attributes {
            assert!(value.len() <= 32, "{} {key} {value}", element.name);
            assert!(
                !(value.contains('e') && value.parse::<f64>().is_ok()),
                "an exponent in {} {key}: {value}",
                element.name
            );
        }
    }
    assert_eq!(
        (task.one("TSK").get("B"), task.one("TSK").get("G")),
        ("Long Ley 0a1b2c", "1")
    );
    assert_eq!(task.one("PFD").get("D"), "60000");
    assert_eq!(
        (task.one("DLT").get("A"), task.one("DLT").get("B")),
        ("DFFF", "31")
    );
    assert_eq!(
        (task.one("PDT").get("B"), task.one("PDT").get("E")),
        ("UAN 28 28%N 1.28kg/L", "0048")
    );
    assert_eq!(
        (task.one("VPN").get("C"), task.one("VPN").get("E")),
        ("0.0001", "L/ha")
    );
    assert_eq!(task.one("GRD").depth, task.one("TSK").depth + 1);
}

#[test]
fn every_reference_resolves() {
    let task = Task::of(&fixture::prescription());
    let ids: Vec<&str> = task
        .elements
        .iter()
        .filter(|e| ["CTP", "CTR", "FRM", "PFD", "PDT", "VPN", "TSK"].contains(&e.name.as_str()))
        .map(|e| e.get("A"))
        .collect();
    assert_eq!(
        ids.iter().collect::<BTreeSet<_>>().len(),
        ids.len(),
        "ids twice"
    );
    for id in &ids {
        assert!(id[3..].parse::<u32>().unwrap() > 0, "{id}");
    }
    for (name, keys) in [
        ("FRM", "I"),
        ("PFD", "EFG"),
        ("PDT", "D"),
        ("PDV", "CE"),
        ("TSK", "CDE"),
    ] {
        for element in task.all(name) {
            for key in keys.chars() {
                assert!(
                    ids.contains(&element.get(&key.to_string())),
                    "{name} {key} {:?}",
                    element.attributes
                );
            }
        }
    }
    let codes: Vec<u8> = task
        .all("TZN")
        .map(|zone| zone.get("A").parse().unwrap())
        .collect();
    assert!(
        codes.iter().all(|code| *code <= 254) && codes.iter().collect::<BTreeSet<_>>().len() == 4
    );
    assert_eq!(task.one("GRD").get("J"), "1");
    let main = task.one("TSK");
    for code in [
        task.one("GRD").get("J"),
        main.get("H"),
        main.get("I"),
        main.get("J"),
    ] {
        assert_eq!(
            (task.zone(code).get("A"), task.zone(code).get("C")),
            ("0001", "PDT1")
        );
    }
    let fallback = |key: &str| task.zone(main.get(key)).number("B");
    // Start 75 kg N/ha; position lost 0 beside a buffered exclusion; outside 0.
    assert_eq!(
        (fallback("H"), fallback("I"), fallback("J")),
        ((litres(75.0) * 10_000.0).round(), 0.0, 0.0)
    );
}

#[test]
fn the_boundary_is_closed_latitude_first() {
    let mut field = fixture::prescription();
    let hole = polygon(&[(30.0, 20.0), (60.0, 20.0), (60.0, 40.0), (30.0, 40.0)]);
    field.boundary = MultiPolygon::new(vec![Polygon::new(
        field.boundary.0[0].exterior().clone(),
        vec![hole.exterior().clone()],
    )]);
    let task = Task::of(&field);
    assert_eq!(task.one("PLN").get("A"), "1");
    assert_eq!(
        task.all("LSG")
            .map(|ring| ring.get("A"))
            .collect::<Vec<_>>(),
        ["1", "2"]
    );
    let points: Vec<(&str, &str)> = task.all("PNT").map(|p| (p.get("C"), p.get("D"))).collect();
    assert_eq!(points.len(), 10);
    assert!(points[0] == points[4] && points[5] == points[9]);
    let (longitude, latitude) = to_degrees(0.0, 0.0);
    assert!(
        (points[0].0.parse::<f64>().unwrap() - latitude).abs() < 1e-9
            && (points[0].1.parse::<f64>().unwrap() - longitude).abs() < 1e-9
    );
    assert!(points.iter().all(|p| {
        p.0.split('.')
            .nth(1)
            .is_some_and(|decimals| decimals.len() <= 9)
    }));
}

#[test]
fn the_grid_has_its_length_and_covers_the_overrun() {
    let task = Task::of(&fixture::prescription());
    let grid = task.one("GRD");
    assert_eq!((grid.get("G"), grid.get("I")), ("GRD00000", "2"));
    assert_eq!(
        grid.number("E") as usize * grid.number("F") as usize * 4,
        task.binary.len()
    );
    assert_eq!(grid.number("H") as usize, task.binary.len());
    for (along, left) in [
        (-24.0, -24.0),
        (LENGTH + 24.0, -24.0),
        (LENGTH + 24.0, WIDTH + 24.0),
        (-24.0, WIDTH + 24.0),
    ] {
        // 12 m of overrun and a cell of 3 m beyond the field's box in degrees; the corners of a turned field reach less far than its box.
        let (longitude, latitude) = to_degrees(along.clamp(0.0, LENGTH), left.clamp(0.0, WIDTH));
        assert!(
            latitude > grid.number("A") + 14.9 / 111_300.0
                && longitude > grid.number("B") + 14.9 / 111_300.0
        );
        assert!(
            latitude < grid.number("A") + grid.number("F") * grid.number("C") - 14.9 / 111_300.0
        );
        assert!(
            longitude < grid.number("B") + grid.number("E") * grid.number("D") - 14.9 / 111_300.0
        );
    }
}

#[test]
fn rates_at_known_points() {
    let task = Task::of(&fixture::prescription());
    let near = |rate: f64, along: f64, left: f64| {
        let read = shown(&task, along, left);
        assert!(
            (read - rate).abs() < 1e-3,
            "{read} instead of {rate} at {along}, {left}"
        );
    };
    near(litres(60.0), 20.0, 30.0);
    near(litres(60.0), 120.0, 180.0);
    near(0.0, 72.0, 84.0);
    near(litres(90.0), 180.0, 30.0);
    near(litres(90.0), 280.0, 180.0);
    // In the exclusion, and on its rim.
    near(0.0, 210.0, 90.0);
    near(0.0, EXCLUSION[0] - 1.0, 90.0);
    // The overrun carries the nearest rate 12 m out on every side; two cells further there is nothing.
    for (along, left, n) in [
        (-11.0, 100.0, 60.0),
        (40.0, -11.0, 60.0),
        (100.0, WIDTH + 11.0, 60.0),
        (LENGTH + 11.0, 50.0, 90.0),
        (250.0, -11.0, 90.0),
    ] {
        near(litres(n), along, left);
    }
    near(0.0, -45.0, 100.0);
    near(0.0, 150.0, WIDTH + 45.0);
}

/// Every cell against the mean of 24 × 24 points in it, each placed by the way back to the plane: nothing of the overlay is used.
#[test]
fn every_cell_is_the_mean_of_its_part_of_the_field() {
    let mut field = fixture::prescription();
    // Means below the least rate would be held to it.
    field.machine.minimum = None;
    let rates = machine_rates(&field).unwrap().value;
    let own = rate_grid(&field, &rates, TaskKind::Grid).unwrap().value;
    field.machine.grid = GridRates::Mean;
    let grid = rate_grid(&field, &rates, TaskKind::Grid).unwrap().value;
    assert_eq!(own.lattice, grid.lattice);
    let back = Projector::new(&Crs::wgs84(), &field.plane).unwrap();
    let frame = fixture::frame();
    let inside = |v: f64, low: f64, high: f64| v >= low && v < high;
    let [e0, f0, e1, f1] = EXCLUSION;
    let mut seen = 0;
    for row in 0..grid.lattice.rows {
        for col in 0..grid.lattice.cols {
            let (mut sum, mut count, mut in_exclusion, mut near) = (0.0, 0_u32, false, false);
            let mut of_zones = [(0.0, 0_u32), (60.0, 0), (90.0, 0)];
            for i in 0..24 {
                for j in 0..24 {
                    let longitude = grid.lattice.west
                        + (col as f64 + (f64::from(i) + 0.5) / 24.0) * grid.lattice.cell_east;
                    let latitude = grid.lattice.south
                        + (row as f64 + (f64::from(j) + 0.5) / 24.0) * grid.lattice.cell_north;
                    let (x, y) = back.point(longitude, latitude).unwrap();
                    let (u, v) = frame.to_uv(x, y);
                    let (u, v) = (u - frame.u0, v - frame.v0);
                    // A cell may touch the exclusion between two points.
                    near |= inside(u, e0 - 0.3, e1 + 0.3) && inside(v, f0 - 0.3, f1 + 0.3);
                    if inside(u, e0, e1) && inside(v, f0, f1) {
                        in_exclusion = true;
                    } else if inside(u, 0.0, LENGTH) && inside(v, 0.0, WIDTH) {
                        count += 1;
                        let zone = if inside(u, 48.0, 96.0) && inside(v, 48.0, 120.0) {
                            0
                        } else {
                            1 + usize::from(u >= 144.0)
                        };
                        sum += litres(of_zones[zone].0);
                        of_zones[zone].1 += 1;
                    }
                }
            }
            let rate = grid.rates[row * grid.lattice.cols + col];
            let shown = own.rates[row * grid.lattice.cols + col];
            if in_exclusion {
                assert_eq!((rate, shown), (0.0, 0.0));
            } else if count >= 60 && !near {
                // By default a cell holds one zone's rate: that of which it holds most.
                of_zones.sort_by_key(|zone| std::cmp::Reverse(zone.1));
                assert!(
                    (shown - litres(of_zones[0].0)).abs() < 1e-9
                        || of_zones[0].1 - of_zones[1].1 < count / 8
                            && (shown - litres(of_zones[1].0)).abs() < 1e-9,
                    "row {row} column {col}: {shown} where {of_zones:?}"
                );
                let mean = sum / f64::from(count);
                assert!(
                    (rate - mean).abs() < 6.0,
                    "row {row} column {col}: {rate} instead of {mean}"
                );
                seen += 1;
            }
        }
    }
    assert!(seen > 6_000, "{seen} cells compared");
}

#[test]
fn in_field_total_and_what_exclusions_take() {
    let mut field = fixture::prescription();
    // A ditch of half a metre, which the zones do not know of: whole cells along it get nothing.
    let ditch = polygon(&[(0.0, 150.0), (300.0, 150.0), (300.0, 150.5), (0.0, 150.5)]);
    field.exclusions.0.push(ditch);
    let rates = machine_rates(&field).unwrap().value;
    let checked = rate_grid(&field, &rates, TaskKind::Grid).unwrap();
    // 2.5344 ha × 60 and 3.08 ha × 90 kg N/ha, in litres.
    let zones = 2.534_4 * litres(60.0) + 3.08 * litres(90.0);
    assert!((rates.total - zones).abs() < 1e-9);
    assert!(
        (checked.value.total_without_exclusions / zones - 1.0).abs() < 0.005,
        "{} {zones}",
        checked.value.total_without_exclusions
    );
    // Cells of 3 m take at most (0.5 + 2 × 3 √2) m along the ditch, and (20 + 2 × 3 √2)² m² for the exclusion, of which 400 m² are its own.
    let lost = checked.value.total_without_exclusions - checked.value.total;
    assert!(
        lost > 0.03 * 300.0 / 100.0 * litres(60.0)
            && lost < (300.0 * 9.0 + 812.0 - 400.0) / 10_000.0 * litres(90.0),
        "{lost}"
    );
    // With the run-out it is more.
    assert!(checked.value.total_with_run_out > checked.value.total);
    let finding = checked
        .findings
        .iter()
        .find(|finding| finding.code == "machine.grid_total")
        .unwrap();
    assert!(
        finding.severity == Severity::Caution && finding.message.contains(&format!("{lost:.1} L")),
        "{}",
        finding.message
    );
    let held = |checked: &Checked<RateGrid>| {
        let mut findings = checked.findings.iter();
        findings.any(|finding| finding.code == "machine.grid_held")
    };
    assert!(!held(&checked));
    // Means of zones may fall below what the machine holds.
    field.machine.grid = GridRates::Mean;
    assert!(held(&rate_grid(&field, &rates, TaskKind::Grid).unwrap()));
    // Without the exclusion there is nothing to tell of the total.
    let mut open = fixture::prescription();
    open.exclusions = MultiPolygon::new(Vec::new());
    assert!(
        rate_grid(&open, &rates, TaskKind::Grid)
            .unwrap()
            .findings
            .iter()
            .all(|finding| finding.code != "machine.grid_total")
    );
}

#[test]
fn hard_edges_holes_and_no_overrun() {
    let mut field = fixture::prescription();
    let (a, b) = (
        fixture::point(LENGTH + 0.5, -50.0),
        fixture::point(LENGTH + 0.5, WIDTH + 50.0),
    );
    field.hard_edges = vec![LineString::from(vec![a, b])];
    let task = Task::of(&field);
    assert_eq!(
        shown(&task, LENGTH + 14.0, 50.0),
        0.0,
        "beyond the hard edge"
    );
    assert!(
        (shown(&task, 40.0, -11.0) - litres(60.0)).abs() < 1e-3,
        "elsewhere the overrun stays"
    );
    // A pond in the boundary itself, in zone 3.
    let mut field = fixture::prescription();
    let pond = polygon(&[
        (220.0, 120.0),
        (290.0, 120.0),
        (290.0, 190.0),
        (220.0, 190.0),
    ])
    .exterior()
    .clone();
    field.boundary = MultiPolygon::new(vec![Polygon::new(
        field.boundary.0[0].exterior().clone(),
        vec![pond.clone()],
    )]);
    let outline = field.zones[2].outline.0[0].clone();
    field.zones[2].outline = MultiPolygon::new(vec![Polygon::new(
        outline.exterior().clone(),
        vec![outline.interiors()[0].clone(), pond],
    )]);
    let task = Task::of(&field);
    for (along, left) in [(255.0, 155.0), (240.0, 140.0), (270.0, 170.0)] {
        assert_eq!(
            shown(&task, along, left),
            0.0,
            "in the pond at {along}, {left}"
        );
    }
    let mut field = fixture::prescription();
    field.machine.overrun = Length::ZERO;
    let task = Task::of(&field);
    assert_eq!(
        shown(&task, 40.0, -18.0),
        0.0,
        "no overrun, nothing outside"
    );
}

#[test]
fn large_fields_say_that_cells_grew() {
    let mut field = fixture::prescription();
    let whole = MultiPolygon::new(vec![polygon(&[
        (0.0, 0.0),
        (6_000.0, 0.0),
        (6_000.0, 2_000.0),
        (0.0, 2_000.0),
    ])]);
    field.boundary = whole.clone();
    field.zones.truncate(1);
    field.zones[0].outline = whole;
    let checked = write(&field, Timestamp::UNIX_EPOCH);
    let finding = checked
        .findings
        .iter()
        .find(|finding| finding.code == "machine.grid_coarsened")
        .unwrap();
    assert!(
        finding.message.contains("from 6.0 m to"),
        "{}",
        finding.message
    );
    let task = Task::read(&checked.value);
    assert!(task.one("GRD").number("E") <= 350.0 && task.one("GRD").number("F") <= 350.0);
    assert!((shown(&task, 3_000.0, 1_000.0) - litres(60.0)).abs() < 1e-3);
}

#[test]
fn without_a_product_it_is_nitrogen() {
    let mut field = fixture::prescription();
    field.product = None;
    field.unit = crate::units::RateUnit::KgPerHa;
    let task = Task::of(&field);
    assert!(task.all("PDV").all(|value| value.get("A") == "01B0"));
    assert_eq!(task.one("VPN").get("E"), "kg N/ha");
    assert!((shown(&task, 20.0, 30.0) - 60.0).abs() < 1e-9);
}

#[test]
fn the_archive_holds_the_same_bytes_and_nothing_of_today() {
    let field = fixture::prescription();
    let instant: Timestamp = "2026-04-14T00:00:00Z".parse().unwrap();
    let files = write(&field, instant).value;
    assert_eq!(
        files
            .iter()
            .map(|file| file.path.as_str())
            .collect::<Vec<_>>(),
        [
            "machine/TASKDATA/TASKDATA.XML",
            "machine/TASKDATA/GRD00000.bin",
            "office/TASKDATA.zip"
        ]
    );
    assert_eq!(files, write(&field, instant).value);
    let mut archive = zip::ZipArchive::new(std::io::Cursor::new(&files[2].bytes)).unwrap();
    assert_eq!(archive.len(), 2);
    for (position, name) in ["TASKDATA/TASKDATA.XML", "TASKDATA/GRD00000.bin"]
        .into_iter()
        .enumerate()
    {
        let mut entry = archive.by_index(position).unwrap();
        let time = entry.last_modified().unwrap();
        assert_eq!(
            (
                &*entry.name().unwrap(),
                time.year(),
                time.month(),
                time.day(),
                time.hour()
            ),
            (name, 2026, 4, 14, 0)
        );
        let mut bytes = Vec::new();
        entry.read_to_end(&mut bytes).unwrap();
        assert_eq!(bytes, files[position].bytes);
    }
    // An instant before archives could date files is the earliest they can.
    let early = write(&field, Timestamp::UNIX_EPOCH).value;
    let mut archive = zip::ZipArchive::new(std::io::Cursor::new(&early[2].bytes)).unwrap();
    assert_eq!(
        archive.by_index(0).unwrap().last_modified().unwrap().year(),
        1980
    );
}

#[test]
fn names_cannot_break_the_file() {
    let mut field = fixture::prescription();
    field.field_name = "\"<Söderåker> & 'Ängen' \u{202e}\u{7} and a very long tail".to_owned();
    let task = Task::of(&field);
    assert!(
        task.one("PFD").get("C").contains("Soederaker"),
        "{}",
        task.one("PFD").get("C")
    );
    assert!(task.one("TSK").get("B").ends_with(" 0a1b2c"));
}
