//! A small sample prescription for the writers' tests, cut by hand so that every number in it can be checked with a pencil.
//!
//! In metres of the machine frame, from the field's corner: the field is 300 long (u) and 200 wide (v), less an exclusion at u 200 to 220, v 80 to 100.
//! Zone 1 (60 kg N/ha) is u 0 to 144 less zone 2; zone 2 (bare, 0) is u 48 to 96, v 48 to 120; zone 3 (90 kg N/ha) is the rest. Cells are 24 by 24:
//! the last row is 12 long, the last column 8 wide, and the exclusion takes a corner from each of four cells.

use crate::map::prescription::{
    Capped, CellRecord, CellState, Fallbacks, MachineLimits, Prescription, StripRecord, ZoneRecord,
};
use crate::map::task_options::GridRates;
use crate::space::cells::{Cell, CellFrame, CellGrid, CellShape, Piece};
use crate::space::crs::Crs;
use crate::units::{Area, Length, NRate, Product, RateUnit, Share, Yield};
use geo::{LineString, MultiPolygon, Polygon};

/// Length of the field along the drive. \[m\]
pub(crate) const LENGTH: f64 = 300.0;
/// Width of the field. \[m\]
pub(crate) const WIDTH: f64 = 200.0;
/// Cell side. \[m\]
pub(crate) const CELL: f64 = 24.0;
/// How far machine outlines reach over the edge. \[m\]
pub(crate) const OVERRUN: f64 = 12.0;
/// The exclusion: least u, least v, greatest u, greatest v, from the field's corner. \[m\]
pub(crate) const EXCLUSION: [f64; 4] = [200.0, 80.0, 220.0, 100.0];

/// The frame: heading 30° from the plane's north, corner of the field at 430 000, 5 500 000 in UTM zone 33 north.
pub(crate) fn frame() -> CellFrame {
    let mut frame = CellFrame::new(30.0, CELL, CELL);
    (frame.u0, frame.v0) = frame.to_uv(430_000.0, 5_500_000.0);
    frame
}

/// A point of the working plane from metres along the drive and to its left, both from the field's corner.
pub(crate) fn point(along: f64, left: f64) -> (f64, f64) {
    let frame = frame();
    frame.to_xy(frame.u0 + along, frame.v0 + left)
}

/// The whole prescription: UAN 28 in L/ha, three zones, two strips (the second left out), one buffered exclusion.
pub(crate) fn prescription() -> Prescription {
    let product = Product::new("UAN 28", 0.28, Some(1.28)).unwrap();
    let grid = CellGrid::new(frame(), cells());
    let records: Vec<CellRecord> = grid.cells.iter().map(record).collect();
    let machine = [
        with_holes(
            &shape(-OVERRUN, -OVERRUN, 144.0, WIDTH + OVERRUN),
            &[ring(48.0, 48.0, 96.0, 120.0)],
        ),
        shape(48.0, 48.0, 96.0, 120.0),
        with_holes(
            &shape(144.0, -OVERRUN, LENGTH + OVERRUN, WIDTH + OVERRUN),
            &[exclusion_ring()],
        ),
    ];
    let outlines = [
        with_holes(
            &shape(0.0, 0.0, 144.0, WIDTH),
            &[ring(48.0, 48.0, 96.0, 120.0)],
        ),
        shape(48.0, 48.0, 96.0, 120.0),
        with_holes(&shape(144.0, 0.0, LENGTH, WIDTH), &[exclusion_ring()]),
    ];
    let zones: Vec<ZoneRecord> = (1_u32..)
        .zip(outlines)
        .zip(machine)
        .map(|((zone, outline), machine_outline)| {
            let of_zone = || records.iter().filter(move |cell| cell.zone == zone);
            let n = rate(zone);
            ZoneRecord {
                zone,
                n,
                n_low: (zone != 2).then(|| n - NRate::kg_per_ha(12.5)),
                n_high: (zone != 2).then(|| n + NRate::kg_per_ha(17.5)),
                product: Some(product.rate_for(n)),
                area: Area::m2([25_344.0, 3_456.0, 30_800.0][zone as usize - 1]),
                index: [Some(0.62), None, Some(0.55)][zone as usize - 1],
                cells: u32::try_from(of_zone().count()).unwrap(),
                state: if zone == 2 {
                    CellState::Bare
                } else {
                    CellState::Canopy
                },
                outline: MultiPolygon::new(vec![outline]),
                machine_outline: MultiPolygon::new(vec![machine_outline]),
                machine_inside: None,
            }
        })
        .collect();
    let total_n_kg = zones.iter().map(|zone| (zone.n * zone.area).get()).sum();
    let strip = |strip: u32, left: f64, known: bool| StripRecord {
        strip,
        index: known.then_some(0.75),
        beside: known.then_some(0.6),
        estimator: known.then_some("fine"),
        pixels: if known { 9_000 } else { 0 },
        segments_dropped: u32::from(known),
        left_out: !known,
        outline: MultiPolygon::new(vec![shape(0.0, left, LENGTH, left + CELL)]),
    };
    Prescription {
        map_id: "0a1b2c".to_owned(),
        field_name: "Long Ley".to_owned(),
        client: None,
        farm: None,
        crop: "winter wheat".to_owned(),
        image_date: jiff::civil::date(2026, 4, 14),
        plane: Crs::epsg(32_633, "WGS 84 / UTM zone 33N"),
        unit: RateUnit::LPerHa,
        grid,
        cells: records,
        zones,
        strips: vec![strip(1, 24.0, true), strip(2, 144.0, false)],
        boundary: MultiPolygon::new(vec![shape(0.0, 0.0, LENGTH, WIDTH)]),
        field: MultiPolygon::new(vec![with_holes(
            &shape(0.0, 0.0, LENGTH, WIDTH),
            &[exclusion_ring()],
        )]),
        exclusions: MultiPolygon::new(vec![Polygon::new(exclusion_ring(), Vec::new())]),
        hard_edges: Vec::new(),
        field_rate: NRate::kg_per_ha(75.0),
        fallbacks: Fallbacks {
            on_start: NRate::kg_per_ha(75.0),
            position_lost: NRate::ZERO,
            outside: NRate::ZERO,
        },
        machine: MachineLimits {
            minimum: product.from_unit(40.0, RateUnit::LPerHa),
            maximum: product.from_unit(400.0, RateUnit::LPerHa),
            overrun: Length::m(OVERRUN),
            working_width: Length::m(CELL),
            grid: GridRates::Zone,
        },
        product: Some(product),
        total_n_kg,
        headings: vec![("the field".to_owned(), 30.0)],
        look_ahead: None,
    }
}

fn rate(zone: u32) -> NRate {
    NRate::kg_per_ha([60.0, 0.0, 90.0][zone as usize - 1])
}

fn zone_of(row: i32, col: i32) -> u32 {
    match (row, col) {
        (2..4, 2..5) => 2,
        (0..6, _) => 1,
        _ => 3,
    }
}

/// Rows 0 to 12, columns 0 to 8, in that order.
fn cells() -> Vec<Cell> {
    (0..13)
        .flat_map(|row| (0..9).map(move |col| cell(row, col)))
        .collect()
}

fn cell(row: i32, col: i32) -> Cell {
    let frame = frame();
    let (a0, b0) = (f64::from(row) * CELL, f64::from(col) * CELL);
    let (a1, b1) = ((a0 + CELL).min(LENGTH), (b0 + CELL).min(WIDTH));
    let [e0, f0, e1, f1] = EXCLUSION;
    let taken = |a: f64, b: f64| a > e0 && a < e1 && b > f0 && b < f1;
    // Counter-clockwise; where the exclusion holds a corner, its own corner and the two crossings stand instead.
    let (e, f) = (
        if a1 > e0 && a1 < e1 { e0 } else { e1 },
        if b1 > f0 && b1 < f1 { f0 } else { f1 },
    );
    let mut ring = Vec::new();
    for (a, b, first_along_u) in [
        (a0, b0, false),
        (a1, b0, true),
        (a1, b1, false),
        (a0, b1, true),
    ] {
        match (taken(a, b), first_along_u) {
            (false, _) => ring.push([a, b]),
            (true, true) => ring.extend([[e, b], [e, f], [a, f]]),
            (true, false) => ring.extend([[a, f], [e, f], [e, b]]),
        }
    }
    ring.push(ring[0]);
    let overlap = (a1.min(e1) - a0.max(e0)).max(0.0) * (b1.min(f1) - b0.max(f0)).max(0.0);
    let area = (a1 - a0) * (b1 - b0) - overlap;
    let shape = if ring.len() == 5 && a1 < LENGTH && b1 < WIDTH {
        CellShape::Whole
    } else {
        CellShape::Cut(vec![Piece {
            exterior: ring
                .iter()
                .map(|p| [frame.u0 + p[0], frame.v0 + p[1]])
                .collect(),
            holes: Vec::new(),
        }])
    };
    Cell {
        row,
        col,
        area,
        shape,
    }
}

/// Values of a cell: canopy from pencil-friendly numbers, nothing where bare.
fn record(cell: &Cell) -> CellRecord {
    let zone = zone_of(cell.row, cell.col);
    let canopy = zone != 2;
    let n = rate(zone);
    CellRecord {
        row: cell.row,
        col: cell.col,
        area: Area::m2(cell.area),
        seen: Share::ALL,
        bare: if canopy {
            Share::NONE
        } else {
            Share::held(0.875)
        },
        index: canopy.then_some(if zone == 1 { 0.62 } else { 0.55 }),
        index_se: None,
        ratio_raw: canopy.then_some(if zone == 1 { 0.75 / 0.62 } else { 0.75 / 0.55 }),
        ratio: canopy.then_some(if zone == 1 { 0.75 / 0.62 } else { 0.75 / 0.55 }),
        yield_without: canopy.then_some(Yield::kg_per_ha(3_000.0)),
        yield_with: canopy.then_some(Yield::kg_per_ha(4_250.0)),
        n_raw: canopy.then_some(n + NRate::kg_per_ha(0.5)),
        n_exact: canopy.then_some(n + NRate::kg_per_ha(0.5)),
        n,
        n_low: canopy.then(|| n - NRate::kg_per_ha(15.0)),
        n_high: canopy.then(|| n + NRate::kg_per_ha(20.0)),
        capped: if zone == 3 {
            Capped::With
        } else {
            Capped::None
        },
        beyond: zone == 3 && cell.row == 12,
        state: if canopy {
            CellState::Canopy
        } else {
            CellState::Bare
        },
        zone,
    }
}

fn ring(a0: f64, b0: f64, a1: f64, b1: f64) -> LineString<f64> {
    [(a0, b0), (a1, b0), (a1, b1), (a0, b1), (a0, b0)]
        .into_iter()
        .map(|(a, b)| point(a, b))
        .collect()
}

fn exclusion_ring() -> LineString<f64> {
    let [e0, f0, e1, f1] = EXCLUSION;
    ring(e0, f0, e1, f1)
}

fn shape(a0: f64, b0: f64, a1: f64, b1: f64) -> Polygon<f64> {
    Polygon::new(ring(a0, b0, a1, b1), Vec::new())
}

/// Holes run the other way than exteriors.
fn with_holes(polygon: &Polygon<f64>, holes: &[LineString<f64>]) -> Polygon<f64> {
    let reversed = holes
        .iter()
        .map(|hole| LineString::new(hole.0.iter().rev().copied().collect()))
        .collect();
    Polygon::new(polygon.exterior().clone(), reversed)
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Area as _, Contains, Point, Validation};

    #[test]
    fn cells_and_zones_fill_the_field() {
        let p = prescription();
        let field = p.field.unsigned_area();
        assert!((field - (LENGTH * WIDTH - 400.0)).abs() < 1e-6);
        let of = |areas: Vec<f64>| areas.iter().sum::<f64>();
        assert!(
            (of(p
                .zones
                .iter()
                .map(|zone| zone.outline.unsigned_area())
                .collect())
                - field)
                .abs()
                < 1e-6
        );
        assert!(
            (of((0..p.cells.len())
                .map(|i| p.grid.outline(i).unsigned_area())
                .collect())
                - field)
                .abs()
                < 1e-5
        );
        for (i, cell) in p.grid.cells.iter().enumerate() {
            let outline = p.grid.outline(i);
            assert!(
                outline.is_valid() && (outline.signed_area() - cell.area).abs() < 1e-6,
                "{cell:?}"
            );
        }
        assert_eq!(
            p.grid
                .cells
                .iter()
                .filter(|cell| cell.shape != CellShape::Whole)
                .count(),
            4 + 9 + 12
        );
        assert_eq!(
            p.zones.iter().map(|zone| zone.cells).collect::<Vec<_>>(),
            [48, 6, 63]
        );
        assert!(
            p.zones
                .iter()
                .all(|zone| zone.outline.is_valid() && zone.machine_outline.is_valid())
        );
        let middle = point(72.0, 84.0);
        assert!(
            p.zones[1].outline.contains(&Point::from(middle))
                && !p.zones[0].outline.contains(&Point::from(middle))
        );
        assert!((p.total_n_kg - (2.5344 * 60.0 + 3.08 * 90.0)).abs() < 1e-9);
    }
}
