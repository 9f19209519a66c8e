//! A walk on the library, without a file: cut a field into cells, see which share of each pixel a cell covers, rate the cell.
//!
//! `cargo run --example library_walk`

#![expect(clippy::print_stdout, reason = "an example shows what it found")]

use std::error::Error;

use geo::{Area, LineString, MultiPolygon, Polygon};
use haulm::science::yield_response::{RateInputs, YieldCurve, rate_of};
use haulm::space::cells::{CellFrame, CellGrid};
use haulm::space::coverage::{Scratch, cover};
use haulm::space::cut::cut;
use haulm::space::polygon::{oriented, rings_of};
use haulm::space::raster::Affine;
use haulm::units::{NRate, Yield};

/// An invented field of 300 m by 200 m with a pond, on a plane in metres.
fn field() -> MultiPolygon<f64> {
    let outline = LineString::from(vec![
        (0.0, 0.0),
        (300.0, 20.0),
        (290.0, 200.0),
        (15.0, 180.0),
    ]);
    let pond = LineString::from(vec![
        (120.0, 80.0),
        (150.0, 85.0),
        (145.0, 120.0),
        (115.0, 110.0),
    ]);
    // Exteriors counter-clockwise, holes clockwise: the cutter wants them so.
    oriented(&MultiPolygon::new(vec![Polygon::new(outline, vec![pond])]))
}

/// The field in cells of 24 m, along a heading of 86° on the plane, from the field's least corner on.
fn cells(field: &MultiPolygon<f64>) -> Result<CellGrid, Box<dyn Error>> {
    let mut frame = CellFrame::new(86.0, 24.0, 24.0);
    let corners: Vec<(f64, f64)> = rings_of(field)
        .iter()
        .flatten()
        .map(|p| frame.to_uv(p[0], p[1]))
        .collect();
    frame.u0 = corners.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    frame.v0 = corners.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
    Ok(cut(field, frame)?)
}

/// Canopy index of a pixel: paler to the east, no value in one corner.
fn index(col: i64, row: i64) -> Option<f64> {
    (col >= 4 || row >= 36).then_some(0.66 - 0.004 * col as f64)
}

/// Area of a cell in pixels, how much of it was seen, and its mean index, every pixel weighted by the share of it that the cell covers.
fn measured(grid: &CellGrid, cell: usize, image: &Affine) -> (f64, f64, Option<f64>) {
    let mut rings = rings_of(&grid.outline(cell));
    for point in rings.iter_mut().flatten() {
        let (col, row) = image.to_pixel(point[0], point[1]);
        *point = [col, row];
    }
    let mut spans = Vec::new();
    cover(&rings, (0, 40), &mut Scratch::default(), &mut spans);
    let (mut all, mut seen, mut weighted) = (0.0, 0.0, 0.0);
    for span in &spans {
        for col in span.col..span.col + span.len {
            all += span.share;
            if let Some(index) = index(col, span.row) {
                seen += span.share;
                weighted += span.share * index;
            }
        }
    }
    (all, seen, (seen > 0.0).then(|| weighted / seen))
}

fn main() -> Result<(), Box<dyn Error>> {
    let field = field();
    let grid = cells(&field)?;
    println!(
        "{:.2} ha in {} cells",
        field.unsigned_area() / 10_000.0,
        grid.cells.len()
    );

    // Pixels of 5 m; the upper left corner of the image is the upper left corner of the plane shown.
    let image = Affine([0.0, 5.0, 0.0, 200.0, 0.0, -5.0]);
    let inputs = RateInputs {
        curve: YieldCurve {
            a: Yield::kg_per_ha(590.0),
            b: 258.2,
        },
        growing_days: 94.0,
        maximum_yield: Yield::kg_per_ha(6_000.0),
        maximum_ratio: 2.0,
        ratio_adjustment: None,
        dead_band: 0.0,
        blend: None,
        grain_nitrogen: 0.0239,
        use_efficiency: 0.5,
        applied_since_sensing: NRate::ZERO,
        minimum: NRate::ZERO,
        maximum: NRate::kg_per_ha(150.0),
    };
    inputs.check()?;
    let reference = 0.68;
    println!("index of the reference strip {reference}");
    for (k, cell) in grid.cells.iter().enumerate().step_by(7) {
        let (all, seen, mean) = measured(&grid, k, &image);
        let place = format!(
            "row {:2}, column {}: {:5.1} m²",
            cell.row, cell.col, cell.area
        );
        // A cell that nobody saw gets no rate from here: what it shall get is for the user to say.
        match mean.and_then(|mean| rate_of(mean, reference, &inputs).map(|rate| (mean, rate))) {
            Some((mean, rate)) => {
                println!(
                    "{place}, {:3.0} % seen, index {mean:.3}, response index {:.3}: {:.0} kg N/ha",
                    100.0 * seen / all,
                    rate.ratio,
                    rate.n_exact.get()
                );
            }
            None => println!("{place}, not seen"),
        }
    }
    Ok(())
}
