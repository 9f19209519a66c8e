//! The index as it was taken, thinned and laid upright on the working plane for a page.

use geo::BoundingRect;

use crate::app::error::AppError;
use crate::app::open::{Canopy, Image};
use crate::pipeline::error::StepError;
use crate::pipeline::ground::Ground;
use crate::pipeline::scan::{RowIndex, ScanError};
use crate::report::draw::raster::IndexOverview;
use crate::space::coverage::{Scratch, cover};
use crate::space::crs::Projector;
use crate::space::polygon::rings_of;
use crate::space::raster::{RasterSource, Window};

/// Most samples along the longer side.
const MOST: f64 = 480.0;
/// Pixels of the image under the field up to which it is read again for a picture.
const MOST_PIXELS: usize = 2_000_000;

/// Samples the index over the boundary; `None` where boundary and image do not meet, for single readings, and for an image so large that cells show it as well.
///
/// # Errors
/// When the image cannot be read or the plane not be carried into it.
pub(crate) fn index_overview(
    image: &Image,
    ground: &Ground,
) -> Result<Option<IndexOverview>, AppError> {
    let Canopy::Raster(stack) = &image.stack else {
        return Ok(None);
    };
    let lattice = stack.lattice();
    let Some(bounds) = ground.boundary.bounding_rect() else {
        return Ok(None);
    };
    let step = ground.pixel.max(bounds.width().max(bounds.height()) / MOST);
    let (cols, rows) = (
        (libm::ceil(bounds.width() / step) as usize).max(1),
        (libm::ceil(bounds.height() / step) as usize).max(1),
    );
    let corner = (bounds.min().x, bounds.max().y);
    // The four corners are carried into the image; between them a straight line is off by far less than a sample.
    let way = Projector::new(&ground.plane.crs, &lattice.crs).map_err(StepError::from)?;
    let mut corners = [(0.0, 0.0); 4];
    for (k, place) in corners.iter_mut().enumerate() {
        let (x, y) = way
            .point(
                corner.0 + (k % 2) as f64 * cols as f64 * step,
                corner.1 - (k / 2) as f64 * rows as f64 * step,
            )
            .map_err(StepError::from)?;
        *place = lattice.affine.to_pixel(x, y);
    }
    let place = |across: f64, down: f64| {
        let mix = |a: f64, b: f64, share: f64| a + (b - a) * share;
        let row = |k: usize| {
            (
                mix(corners[k].0, corners[k + 1].0, across),
                mix(corners[k].1, corners[k + 1].1, across),
            )
        };
        let (top, bottom) = (row(0), row(2));
        (mix(top.0, bottom.0, down), mix(top.1, bottom.1, down))
    };
    let extent = |of: fn(&(f64, f64)) -> f64, most: i64| {
        let (low, high) = corners
            .iter()
            .map(of)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
                (low.min(v), high.max(v))
            });
        let from = (libm::floor(low) as i64).clamp(0, most);
        (from, (libm::ceil(high) as i64).clamp(from, most))
    };
    let (c, r) = (extent(|p| p.0, lattice.cols), extent(|p| p.1, lattice.rows));
    let window = Window {
        col: c.0,
        row: r.0,
        cols: c.1 - c.0,
        rows: r.1 - r.0,
    };
    // A large image is not decoded a second time for a picture: cells show it as well.
    if window.is_empty() || window.len() > MOST_PIXELS {
        return Ok(None);
    }
    let overview = stack
        .overview(window, 2 * MOST as i64)
        .map_err(|error| StepError::from(ScanError::from(error)))?;
    let slots = stack.slots();
    let mut bands = vec![vec![f64::NAN; cols]; slots];
    let mut one = vec![f64::NAN; slots];
    let mut values = Vec::with_capacity(cols * rows);
    let mut line = vec![f64::NAN; cols];
    for row in 0..rows {
        for col in 0..cols {
            let (x, y) = place(
                (col as f64 + 0.5) / cols as f64,
                (row as f64 + 0.5) / rows as f64,
            );
            overview.at(x, y, &mut one);
            for (band, value) in bands.iter_mut().zip(&one) {
                band[col] = *value;
            }
        }
        let slices: Vec<&[f64]> = bands.iter().map(Vec::as_slice).collect();
        image.index.evaluate(&slices, &mut line);
        values.extend_from_slice(&line);
    }
    // Only the field is shown: samples that lie at least half in the boundary.
    let rings: Vec<Vec<[f64; 2]>> = rings_of(&ground.boundary)
        .into_iter()
        .map(|ring| {
            ring.into_iter()
                .map(|p| [(p[0] - corner.0) / step, (corner.1 - p[1]) / step])
                .collect()
        })
        .collect();
    let mut spans = Vec::new();
    cover(
        &rings,
        (0, rows as i64),
        &mut Scratch::default(),
        &mut spans,
    );
    let mut shown = vec![f64::NAN; values.len()];
    for span in spans.iter().filter(|span| span.share >= 0.5) {
        for col in span.col.max(0)..(span.col + span.len).min(cols as i64) {
            let at = span.row as usize * cols + col as usize;
            shown[at] = values[at];
        }
    }
    Ok(Some(IndexOverview {
        corner,
        step,
        cols,
        rows,
        values: shown,
    }))
}
