//! How fast the zones of a field of a million cells are made and written: `cargo bench --bench zones`.
//!
//! A seeded field with a pond and a crooked edge is cut into cells, its cells are put into zones, their borders traced and simplified, and the zones written as `GeoPackage`, `GeoJSON` and
//! shapefile, in memory. Each step is timed by the wall and by the processor, and the most memory held so far is told. Say `--quick` for a field of 10 000 cells.

#![expect(clippy::print_stdout, reason = "a bench prints its numbers")]

#[path = "../support/say.rs"]
mod say;

use std::time::Instant;

use geo::{Area as _, LineString, MultiPolygon, Polygon};
use haulm::format::{Format, WriteOptions};
use haulm::map::export::ExportMap;
use haulm::map::machine::{default_fallbacks, machine_rates};
use haulm::map::prescription::{CellState, MachineLimits, Prescription, ZoneRecord};
use haulm::map::task_options::{GridRates, TaskOptions};
use haulm::space::cells::{CellFrame, CellGrid};
use haulm::space::crs::Crs;
use haulm::space::cut::{borders, cut};
use haulm::space::polygon::{oriented, rings_of};
use haulm::units::{Area, Length, NRate, Product, RateUnit};
use haulm::zones::build::{GroupBy, Kind, Rate, Zone, ZoneCell, ZoneRule, build};
use haulm::zones::outline::outlines;
use haulm::zones::shape::{ShapeRule, shape};

use crate::say::{caveats, short};

/// Side of a cell. \[m\]
const CELL: f64 = 6.0;
/// How far borders may move. \[m\]
const SIMPLIFY: f64 = 4.0;
const STEP: f64 = 10.0;

/// Well mixed bits of a place (finaliser of the `SplitMix64` generator, from memory).
const fn mixed(seed: u64) -> u64 {
    let mut z = seed.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

fn unit(seed: u64) -> f64 {
    (mixed(seed) >> 11) as f64 / 9_007_199_254_740_992.0
}

/// A round-cornered field of that side with a pond in it; its edge has a vertex every few metres.
fn field(side: f64) -> MultiPolygon<f64> {
    let ring = |centre: f64, reach: f64, points: usize, uneven: f64| -> LineString<f64> {
        let at = |k: usize| {
            let angle = std::f64::consts::TAU * k as f64 / points as f64;
            let (sin, cos) = (libm::sin(angle), libm::cos(angle));
            // Between a circle and a square.
            let stretch = reach
                / (sin * sin * sin * sin + cos * cos * cos * cos)
                    .sqrt()
                    .sqrt();
            let bent = stretch * (1.0 - uneven * unit(k as u64));
            (
                500_000.0 + centre + bent * cos,
                5_400_000.0 + centre + bent * sin,
            )
        };
        (0..points).map(at).collect()
    };
    let half = side / 2.0;
    oriented(&MultiPolygon::new(vec![Polygon::new(
        ring(half, half, 4_000, 0.002),
        vec![ring(half * 0.8, half * 0.06, 300, 0.02)],
    )]))
}

/// One step, its times and the memory held so far.
fn step<T>(name: &str, work: impl FnOnce() -> T) -> (T, f64) {
    let (start, before) = (Instant::now(), processor());
    let made = work();
    let used = processor() - before;
    println!(
        "  {name:<44} wall {:>7.2} s, processor {used:>6.2} s, peak {:>5} MiB",
        start.elapsed().as_secs_f64(),
        peak_mib()
    );
    (made, used)
}

/// Processor seconds of this process, user and system, in hundredths; 0 where the kernel has no such table.
fn processor() -> f64 {
    let text = fs_err::read_to_string("/proc/self/stat").unwrap_or_default();
    let rest = text.rsplit_once(')').map_or("", |(_, rest)| rest);
    let fields: Vec<f64> = rest
        .split_whitespace()
        .skip(11)
        .take(2)
        .filter_map(|field| field.parse().ok())
        .collect();
    fields.iter().sum::<f64>() / 100.0
}

fn peak_mib() -> u64 {
    let text = fs_err::read_to_string("/proc/self/status").unwrap_or_default();
    let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.split_whitespace().next())
        .and_then(|number| number.parse::<u64>().ok())
        .map_or(0, |kib| kib / 1024)
}

/// Rates of ground that varies over some hundred metres, with noise of a few kilograms.
fn zone_cells(grid: &CellGrid, rule: &ZoneRule) -> Vec<ZoneCell> {
    let noise = 12.0;
    let cell = |(k, cell): (usize, &haulm::space::cells::Cell)| {
        let (r, c) = (f64::from(cell.row), f64::from(cell.col));
        let wave = 70.0
            + 35.0 * libm::sin(r / 60.0 + libm::sin(c / 90.0))
            + 30.0 * libm::sin(c / 45.0 + r / 200.0);
        let n_exact = (wave + noise * (unit(k as u64) - 0.5)).clamp(0.0, 140.0);
        ZoneCell {
            area: cell.area,
            kind: Kind::Canopy,
            n_exact,
            rate: Rate::Steps(rule.steps_of(n_exact)),
            index: Some(0.5),
            class: None,
            follows: None,
        }
    };
    grid.cells.iter().enumerate().map(cell).collect()
}

fn prescription(
    field: MultiPolygon<f64>,
    frame: CellFrame,
    zones: Vec<Zone>,
    drawn: Vec<MultiPolygon<f64>>,
) -> Option<Prescription> {
    let product = Product::new("granules", 0.46, None)?;
    let record = |(k, (zone, outline)): (usize, (Zone, MultiPolygon<f64>))| ZoneRecord {
        n_low: None,
        n_high: None,
        zone: k as u32 + 1,
        n: NRate::kg_per_ha(zone.n),
        product: Some(product.rate_for(NRate::kg_per_ha(zone.n))),
        area: Area::m2(zone.area),
        index: zone.index,
        cells: zone.cells,
        state: CellState::Canopy,
        machine_outline: outline.clone(),
        machine_inside: None,
        outline,
    };
    let zones: Vec<ZoneRecord> = zones
        .into_iter()
        .zip(drawn)
        .enumerate()
        .map(record)
        .collect();
    let none = || MultiPolygon::new(Vec::new());
    Some(Prescription {
        map_id: "0a1b2c".to_owned(),
        field_name: "Bench".to_owned(),
        client: None,
        farm: None,
        crop: "winter wheat".to_owned(),
        image_date: jiff::civil::date(2026, 4, 14),
        plane: Crs::epsg(32_633, "WGS 84 / UTM zone 33N"),
        total_n_kg: zones.iter().map(|zone| (zone.n * zone.area).get()).sum(),
        headings: vec![("the field".to_owned(), 30.0)],
        look_ahead: None,
        product: Some(product),
        unit: RateUnit::KgPerHa,
        // Zones are timed here; the layer of a million cells is another matter.
        grid: CellGrid::new(frame, Vec::new()),
        cells: Vec::new(),
        zones,
        strips: Vec::new(),
        boundary: field.clone(),
        field,
        exclusions: none(),
        hard_edges: Vec::new(),
        field_rate: NRate::kg_per_ha(70.0),
        fallbacks: default_fallbacks(NRate::kg_per_ha(70.0), false),
        machine: MachineLimits {
            minimum: None,
            maximum: None,
            overrun: Length::ZERO,
            working_width: Length::m(CELL),
            grid: GridRates::Zone,
        },
    })
}

fn main() {
    let quick = std::env::args().any(|word| word == "--quick");
    let side = if quick { 620.0 } else { 6_200.0 };
    println!("{}", caveats());
    println!(
        "caveat: made ground, one run, files made in memory; the cells' own layer is not written"
    );
    let field = field(side);
    let mut frame = CellFrame::new(37.0, CELL, CELL);
    let uv: Vec<(f64, f64)> = rings_of(&field)
        .iter()
        .flatten()
        .map(|p| frame.to_uv(p[0], p[1]))
        .collect();
    (frame.u0, frame.v0) = uv.iter().fold((f64::INFINITY, f64::INFINITY), |(u, v), p| {
        (u.min(p.0), v.min(p.1))
    });

    let (grid, _) = step("cut into cells", || {
        cut(&field, frame).expect("not too many cells")
    });
    let (borders, _) = step("borders of cells", || borders(&grid));
    println!(
        "{} cells in a field of {:.0} ha",
        short(grid.cells.len() as f64),
        field.unsigned_area() / 10_000.0
    );
    let rule = ZoneRule {
        step: STEP,
        minimum_q: 0,
        maximum_q: 14,
        minimum_area: 8.0 * CELL * CELL,
        keep_total: true,
        tolerance: 0.0,
    };
    let cells = zone_cells(&grid, &rule);
    let (zoning, built) = step("put into zones", || {
        build(&cells, &borders, GroupBy::Rate, &rule).expect("good numbers")
    });
    drop((cells, borders));
    let (traced, trace) = step("borders traced", || {
        outlines(&grid, &zoning.zone_of, zoning.zones.len() as u32)
    });
    drop(grid);
    let drawing = ShapeRule {
        simplify: SIMPLIFY,
        round: 0.0,
        area_within: 0.05,
    };
    let traced_again = traced.clone();
    let (shaped, draw) = step("borders simplified", || shape(traced, &drawing));
    println!(
        "    {} zones; {} vertices become {}; {} zones keep their borders, {} beyond 5 % of their area",
        zoning.zones.len(),
        short(shaped.simplified.before as f64),
        short(shaped.simplified.after as f64),
        shaped.held,
        shaped.beyond
    );
    let ground = field.unsigned_area();
    let drawn: f64 = shaped.outlines.iter().map(geo::Area::unsigned_area).sum();
    assert!(
        (drawn / ground - 1.0).abs() < 1e-9,
        "the zones are {drawn} m², the field {ground} m²"
    );
    let made = prescription(field, frame, zoning.zones, shaped.outlines)
        .expect("a product of 46 % nitrogen");
    let rates = machine_rates(&made).expect("rates").value;
    let map = ExportMap::of_prescription(&made, &rates).expect("a map");
    let options = WriteOptions {
        name: "map",
        instant: jiff::Timestamp::UNIX_EPOCH,
        cell_m: None,
        task: TaskOptions::default(),
        grid: None,
        archive: None,
    };
    let mut written = 0.0;
    for format in [Format::GeoPackage, Format::GeoJson, Format::Shapefile] {
        let (files, used) = step(format.word(), || {
            let made = format.rules().write(&map, &options).expect("files");
            made.value.files.len()
        });
        assert!(files > 0);
        written += used;
    }
    let peak = peak_mib();
    println!(
        "traced, simplified and written: processor {:.2} s; with putting into zones {:.2} s; peak {peak} MiB",
        trace + draw + written,
        built + trace + draw + written
    );
    let rounding = ShapeRule {
        round: 6.0,
        ..drawing
    };
    step("(simplified and rounded, for comparison)", || {
        shape(traced_again, &rounding).outlines.len()
    });
}
