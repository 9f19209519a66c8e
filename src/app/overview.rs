//! The index as it was taken, thinned and laid upright on the working plane for a page.

use geo::{BoundingRect, MultiPolygon, Rect};

use crate::app::error::AppError;
use crate::app::open::{Canopy, Image};
use crate::pipeline::error::StepError;
use crate::pipeline::ground::Ground;
use crate::pipeline::scan::{RowIndex, ScanError};
use crate::report::draw::frame::{Graticule, GraticuleLine, round_length};
use crate::report::draw::raster::IndexOverview;
use crate::space::coverage::{Scratch, cover};
use crate::space::crs::{Crs, Projector};
use crate::space::polygon::rings_of;
use crate::space::raster::{RasterSource, Window};

/// Most samples along the longer side.
const MAXIMUM: f64 = 480.0;
/// Pixels of the image under the map, or of its reduced copies, up to which it is read again for a picture.
const MAXIMUM_PIXELS: usize = 2_600_000;

/// How far beyond the field's longer side a map shows its surroundings, as a share of that side.
const AROUND: f64 = 0.13;

/// The square of ground that maps show: the boundary and its surroundings.
pub(crate) fn shown(boundary: &MultiPolygon<f64>) -> Option<Rect<f64>> {
    let bounds = boundary.bounding_rect()?;
    let half = bounds.width().max(bounds.height()) * (0.5 + AROUND);
    let middle = bounds.center();
    Some(Rect::new(
        (middle.x - half, middle.y - half),
        (middle.x + half, middle.y + half),
    ))
}

/// Lines of latitude and longitude over all that maps show, three or four each way; none where the plane cannot be carried into degrees.
pub(crate) fn graticule(ground: &Ground) -> Graticule {
    let lines = || -> Option<Graticule> {
        let bounds = shown(&ground.boundary)?;
        let way = Projector::new(&ground.plane.crs, &Crs::wgs84()).ok()?;
        let back = Projector::new(&Crs::wgs84(), &ground.plane.crs).ok()?;
        let corners: Vec<(f64, f64)> = [
            (bounds.min().x, bounds.min().y),
            (bounds.max().x, bounds.min().y),
            (bounds.max().x, bounds.max().y),
            (bounds.min().x, bounds.max().y),
        ]
        .into_iter()
        .map(|(x, y)| way.point(x, y).ok())
        .collect::<Option<_>>()?;
        let range = |of: fn(&(f64, f64)) -> f64| {
            corners
                .iter()
                .map(of)
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
                    (low.min(v), high.max(v))
                })
        };
        let (longitudes, latitudes) = (range(|p| p.0), range(|p| p.1));
        let line = |from: (f64, f64), to: (f64, f64)| -> Option<Vec<(f64, f64)>> {
            // A field is small: four pieces follow any parallel to less than a line's width.
            (0..=4)
                .map(|k| f64::from(k) / 4.0)
                .map(|share| {
                    back.point(
                        from.0 + share * (to.0 - from.0),
                        from.1 + share * (to.1 - from.1),
                    )
                    .ok()
                })
                .collect()
        };
        let meridians = round_degrees(longitudes, ("E", "W"))
            .into_iter()
            .map(|(at, label)| {
                let points = line((at, latitudes.0), (at, latitudes.1))?;
                Some(GraticuleLine { label, points })
            })
            .collect::<Option<_>>()?;
        let parallels = round_degrees(latitudes, ("N", "S"))
            .into_iter()
            .map(|(at, label)| {
                let points = line((longitudes.0, at), (longitudes.1, at))?;
                Some(GraticuleLine { label, points })
            })
            .collect::<Option<_>>()?;
        Some(Graticule {
            meridians,
            parallels,
        })
    };
    lines().unwrap_or_default()
}

/// Round degrees within a range, at least two as a rule, each with its label.
fn round_degrees(range: (f64, f64), sides: (&str, &str)) -> Vec<(f64, String)> {
    let step = round_length((range.1 - range.0) / 2.5);
    let decimals = (-libm::floor(libm::log10(step) + 1e-9)).max(0.0) as usize;
    let (first, last) = (
        libm::ceil(range.0 / step) as i64,
        libm::floor(range.1 / step) as i64,
    );
    (first..=last)
        .map(|k| k as f64 * step)
        .map(|value| {
            let side = if value < 0.0 { sides.1 } else { sides.0 };
            (value, format!("{:.decimals$}° {side}", value.abs()))
        })
        .collect()
}

/// Samples the index over the field and its surroundings, or over the field alone where its surroundings are too large; `None` where boundary and image do not
/// meet, for single readings, and for an image so large that cells show it as well.
///
/// # Errors
/// When the image cannot be read or the plane not be carried into it.
pub(crate) fn index_overview(
    image: &Image,
    ground: &Ground,
) -> Result<Option<IndexOverview>, AppError> {
    for bounds in [shown(&ground.boundary), ground.boundary.bounding_rect()]
        .into_iter()
        .flatten()
    {
        if let Some(overview) = sampled(image, ground, bounds)? {
            return Ok(Some(overview));
        }
    }
    Ok(None)
}

/// Bands as they were taken, thinned and laid upright on the working plane.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct BandOverview {
    /// Upper left corner on the plane. \[m\]
    pub(crate) corner: (f64, f64),
    /// Side of a sample. \[m\]
    pub(crate) step: f64,
    /// Samples across.
    pub(crate) cols: usize,
    /// Samples down.
    pub(crate) rows: usize,
    /// Values row by row, a list a band; NaN where there is none.
    pub(crate) bands: Vec<Vec<f64>>,
}

/// Samples the bands over a rectangle of the plane, with at most so many samples along its longer side; `None` where rectangle and image do not meet, for single
/// readings, and where more than `maximum_pixels` would be read.
///
/// # Errors
/// When the image cannot be read or the plane not be carried into it.
pub(crate) fn band_overview(
    image: &Image,
    ground: &Ground,
    bounds: Rect<f64>,
    most: f64,
    maximum_pixels: usize,
) -> Result<Option<BandOverview>, AppError> {
    let Canopy::Raster(stack) = &image.stack else {
        return Ok(None);
    };
    let lattice = stack.lattice();
    let step = ground.pixel.max(bounds.width().max(bounds.height()) / most);
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
    let samples = 2 * most as i64;
    let decoded = || {
        let decoded = stack.decoded(window, samples);
        decoded.map_err(|error| StepError::from(ScanError::from(error)))
    };
    // A large image without reduced copies is not decoded a second time for a picture: cells show it as well.
    if window.is_empty() || window.len() > maximum_pixels && decoded()? > maximum_pixels {
        return Ok(None);
    }
    let overview = stack
        .overview(window, samples)
        .map_err(|error| StepError::from(ScanError::from(error)))?;
    let slots = stack.slots();
    let mut bands = vec![vec![f64::NAN; cols * rows]; slots];
    let mut one = vec![f64::NAN; slots];
    for row in 0..rows {
        for col in 0..cols {
            let (x, y) = place(
                (col as f64 + 0.5) / cols as f64,
                (row as f64 + 0.5) / rows as f64,
            );
            overview.at(x, y, &mut one);
            for (band, value) in bands.iter_mut().zip(&one) {
                band[row * cols + col] = *value;
            }
        }
    }
    Ok(Some(BandOverview {
        corner,
        step,
        cols,
        rows,
        bands,
    }))
}

/// Samples the index over a rectangle of the plane.
fn sampled(
    image: &Image,
    ground: &Ground,
    bounds: Rect<f64>,
) -> Result<Option<IndexOverview>, AppError> {
    let Some(sampled) = band_overview(image, ground, bounds, MAXIMUM, MAXIMUM_PIXELS)? else {
        return Ok(None);
    };
    let BandOverview {
        corner,
        step,
        cols,
        rows,
        bands,
    } = sampled;
    let mut values = Vec::with_capacity(cols * rows);
    let mut line = vec![f64::NAN; cols];
    for row in 0..rows {
        let slices: Vec<&[f64]> = bands
            .iter()
            .map(|band| &band[row * cols..(row + 1) * cols])
            .collect();
        image.rows.evaluate(&slices, &mut line);
        values.extend_from_slice(&line);
    }
    // In the field is what lies at least half in the boundary.
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
    let mut inside = vec![false; values.len()];
    for span in spans.iter().filter(|span| span.share >= 0.5) {
        for col in span.col.max(0)..(span.col + span.len).min(cols as i64) {
            inside[span.row as usize * cols + col as usize] = true;
        }
    }
    Ok(Some(IndexOverview {
        corner,
        step,
        cols,
        rows,
        values,
        inside,
    }))
}
