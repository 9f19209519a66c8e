//! Cells, covered shares and cell means against shapely 2.2.0 and exactextract 0.3.0, whose results are in `coverage.json`
//! (made by: `python tests/truth/make_coverage.py > tests/truth/coverage.json`).
//!
//! exactextract holds shares in 32 bits, so numbers agree to 1e-6 and not better.

use std::collections::BTreeMap;

use approx::{assert_abs_diff_eq, assert_relative_eq};
use geo::{LineString, MultiPolygon, Polygon};
use haulm::pipeline::scan::{Scan, scan};
use haulm::space::cells::{CellFrame, CellGrid};
use haulm::space::coverage::{Scratch, cover};
use haulm::space::crs::Crs;
use haulm::space::cut::cut;
use haulm::space::polygon::{oriented, rings_of};
use haulm::space::raster::{Affine, Lattice};
use serde::Deserialize;

use crate::held::{BandIsIndex, Held};

const TOLERANCE: f64 = 1e-6;

#[derive(Deserialize)]
struct Truth {
    cols: i64,
    rows: i64,
    pixel: f64,
    left: f64,
    top: f64,
    azimuth: f64,
    length: f64,
    width: f64,
    outline: Vec<(f64, f64)>,
    pond: Vec<(f64, f64)>,
    field_area: f64,
    rules: Vec<Rule>,
    cells: Vec<Cell>,
}

#[derive(Deserialize)]
struct Rule {
    /// Share of a pixel that must lie in the field.
    pixel_inside: f64,
    /// By cell: sum of shares of pixels with a value, their mean weighted by share.
    cells: Vec<(f64, Option<f64>)>,
}

#[derive(Deserialize)]
struct Cell {
    row: i32,
    col: i32,
    area: f64,
    /// Sum of the shares of pixels of the image.
    covered: f64,
    /// Row, column, share; of a few cells only.
    #[serde(default)]
    pixels: Vec<(i64, i64, f64)>,
}

impl Truth {
    fn read() -> Self {
        serde_json::from_str(include_str!("coverage.json")).expect("the committed file")
    }
    fn field(&self) -> MultiPolygon<f64> {
        let ring = |points: &[(f64, f64)]| LineString::from(points.to_vec());
        oriented(&MultiPolygon::new(vec![Polygon::new(
            ring(&self.outline),
            vec![ring(&self.pond)],
        )]))
    }
    fn grid(&self) -> CellGrid {
        let field = self.field();
        let mut frame = CellFrame::new(self.azimuth, self.length, self.width);
        let uv: Vec<(f64, f64)> = rings_of(&field)
            .iter()
            .flatten()
            .map(|p| frame.to_uv(p[0], p[1]))
            .collect();
        frame.u0 = uv.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
        frame.v0 = uv.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
        cut(&field, frame).expect("a small field")
    }
    const fn affine(&self) -> Affine {
        Affine([self.left, self.pixel, 0.0, self.top, 0.0, -self.pixel])
    }
}

/// As in `make_coverage.py`.
fn value(col: i64, row: i64) -> f64 {
    if (7 * col + 3 * row) % 41 == 0 {
        f64::NAN
    } else {
        0.2 + ((37 * col + 91 * row + col * row) % 1000) as f64 / 2000.0
    }
}

#[test]
fn cells_are_those_that_shapely_cuts() {
    let (truth, grid) = (Truth::read(), Truth::read().grid());
    let places = |cell: &haulm::space::cells::Cell| (cell.row, cell.col);
    assert_eq!(
        grid.cells.iter().map(places).collect::<Vec<_>>(),
        truth
            .cells
            .iter()
            .map(|cell| (cell.row, cell.col))
            .collect::<Vec<_>>()
    );
    for (cell, expected) in grid.cells.iter().zip(&truth.cells) {
        assert_relative_eq!(cell.area, expected.area, max_relative = TOLERANCE);
    }
    assert_relative_eq!(
        grid.cells.iter().map(|cell| cell.area).sum::<f64>(),
        truth.field_area,
        max_relative = 1e-9
    );
}

#[test]
fn shares_of_pixels_are_those_of_exactextract() {
    let (truth, grid) = (Truth::read(), Truth::read().grid());
    let mut compared = 0;
    for (k, expected) in truth.cells.iter().enumerate() {
        let rings: Vec<Vec<[f64; 2]>> = rings_of(&grid.outline(k))
            .iter()
            .map(|ring| {
                let pixel = |p: &[f64; 2]| truth.affine().to_pixel(p[0], p[1]);
                ring.iter()
                    .map(pixel)
                    .map(|(col, row)| [col, row])
                    .collect()
            })
            .collect();
        let mut spans = Vec::new();
        cover(&rings, (0, truth.rows), &mut Scratch::default(), &mut spans);
        let mut shares = BTreeMap::new();
        for span in &spans {
            for col in (span.col..span.col + span.len).filter(|col| (0..truth.cols).contains(col)) {
                *shares.entry((span.row, col)).or_insert(0.0) += span.share;
            }
        }
        assert_relative_eq!(
            shares.values().sum::<f64>(),
            expected.covered,
            max_relative = TOLERANCE
        );
        if expected.pixels.is_empty() {
            continue;
        }
        // A sliver that 32 bits take for nothing may be missing there; any other pixel has to be on both sides.
        let theirs: BTreeMap<(i64, i64), f64> = expected
            .pixels
            .iter()
            .map(|&(row, col, share)| ((row, col), share))
            .collect();
        for place in shares.keys().chain(theirs.keys()) {
            let of = |all: &BTreeMap<(i64, i64), f64>| all.get(place).copied().unwrap_or(0.0);
            assert_abs_diff_eq!(of(&shares), of(&theirs), epsilon = TOLERANCE);
            compared += 1;
        }
    }
    assert!(compared > 300, "{compared} pixels compared one by one");
}

#[test]
fn means_of_cells_are_those_of_exactextract() {
    let (truth, grid) = (Truth::read(), Truth::read().grid());
    let crs = Crs::utm(15.0, 48.0);
    let lattice = Lattice {
        cols: truth.cols,
        rows: truth.rows,
        affine: truth.affine(),
        crs: crs.clone(),
        block: (16, 16),
    };
    let image = Held { lattice, value };
    for rule in &truth.rules {
        let scanned = scan(&Scan {
            source: &image,
            index: &BandIsIndex,
            plane: &crs,
            field: &truth.field(),
            grid: &grid,
            probes: &[],
            pixel_inside: rule.pixel_inside,
            bare_below: None,
            look_at_bands: false,
            threads: 2,
            window_pixels: 1 << 20,
            progress: &|_, _| true,
        })
        .expect("an image that cannot fail");
        let (mut means, mut largest) = (0, 0.0_f64);
        for (k, (sums, &(seen, mean))) in scanned.cells.iter().zip(&rule.cells).enumerate() {
            let cell = &truth.cells[k];
            let place = format!(
                "rule {}, row {}, column {}",
                rule.pixel_inside, cell.row, cell.col
            );
            let pixels = cell.area / (truth.pixel * truth.pixel);
            assert_relative_eq!(scanned.areas[k], pixels, max_relative = TOLERANCE);
            assert!(
                (sums.seen.get() - seen).abs() <= TOLERANCE * seen.max(1e-3),
                "{place}: {} of pixels seen, {seen} expected",
                sums.seen.get()
            );
            assert_eq!(sums.canopy.get() > 0.0, mean.is_some(), "{place}");
            let Some(mean) = mean else { continue };
            let off = (sums.weighted.get() / sums.canopy.get() / mean - 1.0).abs();
            assert!(
                off <= TOLERANCE,
                "{place}: mean {} and {mean}",
                sums.weighted.get() / sums.canopy.get()
            );
            (means, largest) = (means + 1, largest.max(off));
        }
        assert_eq!(scanned.cells.len(), rule.cells.len());
        assert!(means > 30, "{means} means, largest difference {largest:e}");
    }
}
