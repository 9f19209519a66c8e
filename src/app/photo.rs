//! The image as the eye would see it, and tiles of it and of its index, for a page to lay the field on.

use geo::{BoundingRect as _, Coord, Rect};

use crate::app::error::AppError;
use crate::app::open;
use crate::app::open::Image;
use crate::app::overview::{BandOverview, band_overview};
use crate::app::prepare::{Prepared, rights_of};
use crate::app::requests::Common;
use crate::job::settings::ImageSource;
use crate::pipeline::scan::RowIndex as _;

/// Most samples along the longer side of a photo.
const MAXIMUM: f64 = 1600.0;
/// Pixels under the field up to which the image is read for a photo, or for a tile.
const MAXIMUM_PIXELS: usize = 60_000_000;
/// Ground shown around the field, as a share of its longer side.
const AROUND: f64 = 0.08;
/// Colours as the eye sees them, in the words of an index.
const EYE: &str = "red + green + blue";
/// Samples along a side of a tile.
const TILE: f64 = 256.0;

/// An upright picture on the working plane.
#[derive(Clone, Debug)]
pub(crate) struct Photo {
    /// Upper left corner on the plane. \[m\]
    pub(crate) corner: (f64, f64),
    /// Side of a pixel. \[m\]
    pub(crate) step: f64,
    /// Pixels across.
    pub(crate) cols: usize,
    /// Pixels down.
    pub(crate) rows: usize,
    /// Red, green, blue and opacity, row by row.
    pub(crate) rgba: Vec<u8>,
    /// Values between which brightness runs.
    pub(crate) stretch: (f64, f64),
}

/// The index over a rectangle of the plane.
#[derive(Clone, Debug)]
pub(crate) struct IndexTile {
    /// Upper left corner on the plane. \[m\]
    pub(crate) corner: (f64, f64),
    /// Side of a sample. \[m\]
    pub(crate) step: f64,
    /// Samples across.
    pub(crate) cols: usize,
    /// Values row by row; NaN where there is none.
    pub(crate) values: Vec<f64>,
}

/// The square that tiles divide: field and surroundings. `None` without extent.
fn square(prepared: &Prepared) -> Option<((f64, f64), f64)> {
    let bounds = prepared.ground().boundary.bounding_rect()?;
    let side = bounds.width().max(bounds.height());
    let around = AROUND * side;
    let corner = (bounds.min().x - around, bounds.max().y + around);
    (side > 0.0).then_some((corner, side + 2.0 * around))
}

/// Where the square of tiles lies: its upper left corner and its side on the plane \[m\], and the finest level; a tile of level `z` is a 2^z-th part of the side.
pub(crate) fn tiling(prepared: &Prepared) -> Option<((f64, f64), f64, u32)> {
    let (corner, side) = square(prepared)?;
    let pixels = side / (TILE * prepared.ground().pixel);
    let finest = libm::ceil(libm::log2(pixels.max(1.0))).clamp(0.0, 16.0) as u32;
    Some((corner, side, finest))
}

/// The rectangle of a tile; `None` where there is none of that number.
fn place_of(prepared: &Prepared, (z, x, y): (usize, usize, usize)) -> Option<Rect<f64>> {
    let (corner, side, finest) = tiling(prepared)?;
    if z > finest as usize || x >> z > 0 || y >> z > 0 {
        return None;
    }
    let own = side / (1_usize << z) as f64;
    let (west, north) = (corner.0 + x as f64 * own, corner.1 - y as f64 * own);
    Some(Rect::new(
        Coord {
            x: west,
            y: north - own,
        },
        Coord {
            x: west + own,
            y: north,
        },
    ))
}

/// The job's image with its bands for an index; `None` for readings and where the image has no such bands: what else is wrong with it was said when it was read.
fn image_for(prepared: &Prepared, index: Option<&str>, common: &Common) -> Option<Image> {
    let settings = prepared.settings();
    let mut imagery = settings
        .imagery
        .clone()
        .filter(|imagery| !matches!(imagery.source, ImageSource::Points(_)))?;
    let fitted_with = if let Some(index) = index {
        index.clone_into(&mut imagery.index);
        ""
    } else {
        settings.response.index().unwrap_or_default()
    };
    let folder = &prepared.inner().folder;
    open::image(
        &imagery,
        fitted_with,
        folder,
        (common.network, None),
        &mut Vec::new(),
    )
    .ok()
}

/// The photo of a prepared job; `None` where the image has no red, green and blue, or cannot be thinned in good time.
///
/// # Errors
/// When the image can no longer be read.
pub(crate) fn photo(prepared: &Prepared, common: &Common) -> Result<Option<Photo>, AppError> {
    let rights = rights_of(&prepared.inner().job, prepared.settings(), common);
    rights.reading().apart(common, || {
        let Some((corner, side)) = square(prepared) else {
            return Ok(None);
        };
        let wide = Rect::new(
            Coord {
                x: corner.0,
                y: corner.1 - side,
            },
            Coord {
                x: corner.0 + side,
                y: corner.1,
            },
        );
        taken(prepared, common, wide, MAXIMUM, None)
    })
}

/// A tile of the photo, in the brightness of the whole; `None` where there is none of that number, or the image has no red, green and blue.
///
/// # Errors
/// When the image can no longer be read.
pub(crate) fn photo_tile(
    prepared: &Prepared,
    common: &Common,
    tile: (usize, usize, usize),
    stretch: (f64, f64),
) -> Result<Option<Photo>, AppError> {
    let Some(place) = place_of(prepared, tile) else {
        return Ok(None);
    };
    let rights = rights_of(&prepared.inner().job, prepared.settings(), common);
    rights.reading().apart(common, || {
        taken(prepared, common, place, TILE, Some(stretch))
    })
}

/// A tile of the index; `None` where there is none of that number, and for readings.
///
/// # Errors
/// When the image can no longer be read.
pub(crate) fn index_tile(
    prepared: &Prepared,
    common: &Common,
    tile: (usize, usize, usize),
) -> Result<Option<IndexTile>, AppError> {
    let Some(place) = place_of(prepared, tile) else {
        return Ok(None);
    };
    let rights = rights_of(&prepared.inner().job, prepared.settings(), common);
    rights.reading().apart(common, || {
        let Some(image) = image_for(prepared, None, common) else {
            return Ok(None);
        };
        let found = band_overview(&image, prepared.ground(), place, TILE, MAXIMUM_PIXELS)?;
        Ok(found.map(|found| indexed(&image, &found)))
    })
}

/// The index of sampled bands.
fn indexed(image: &Image, sampled: &BandOverview) -> IndexTile {
    let mut values = Vec::with_capacity(sampled.cols * sampled.rows);
    let mut line = vec![f64::NAN; sampled.cols];
    for row in 0..sampled.rows {
        let slices: Vec<&[f64]> = sampled
            .bands
            .iter()
            .map(|band| &band[row * sampled.cols..(row + 1) * sampled.cols])
            .collect();
        image.rows.evaluate(&slices, &mut line);
        values.extend_from_slice(&line);
    }
    IndexTile {
        corner: sampled.corner,
        step: sampled.step,
        cols: sampled.cols,
        values,
    }
}

/// Red, green and blue over a rectangle of the plane, at most so many samples along its longer side.
fn taken(
    prepared: &Prepared,
    common: &Common,
    place: Rect<f64>,
    most: f64,
    stretched: Option<(f64, f64)>,
) -> Result<Option<Photo>, AppError> {
    let Some(image) = image_for(prepared, Some(EYE), common) else {
        return Ok(None);
    };
    let Some(sampled) = band_overview(&image, prepared.ground(), place, most, MAXIMUM_PIXELS)?
    else {
        return Ok(None);
    };
    let order: Vec<usize> = ["red", "green", "blue"]
        .iter()
        .filter_map(|name| image.slots.iter().position(|slot| slot.0 == *name))
        .collect();
    let [red, green, blue] = order[..] else {
        return Ok(None);
    };
    let bands = [
        &sampled.bands[red],
        &sampled.bands[green],
        &sampled.bands[blue],
    ];
    let (low, high) = stretched.unwrap_or_else(|| stretch(&bands));
    let tone = |value: f64| {
        let share = ((value - low) / (high - low)).clamp(0.0, 1.0);
        libm::round(255.0 * libm::pow(share, 0.8)) as u8
    };
    let mut rgba = Vec::with_capacity(4 * sampled.cols * sampled.rows);
    for at in 0..sampled.cols * sampled.rows {
        let values = bands.map(|band| band[at]);
        if values.iter().all(|value| value.is_finite()) {
            rgba.extend(values.map(tone));
            rgba.push(255);
        } else {
            rgba.extend([0; 4]);
        }
    }
    Ok(Some(Photo {
        corner: sampled.corner,
        step: sampled.step,
        cols: sampled.cols,
        rows: sampled.rows,
        rgba,
        stretch: (low, high),
    }))
}

/// Values between which brightness runs: 2 % of all lie below, 2 % above. One pair for all bands, so that no colour shifts.
fn stretch(bands: &[&Vec<f64>; 3]) -> (f64, f64) {
    let mut values: Vec<f64> = bands
        .iter()
        .flat_map(|band| band.iter().copied())
        .filter(|value| value.is_finite())
        .collect();
    if values.is_empty() {
        return (0.0, 1.0);
    }
    values.sort_by(f64::total_cmp);
    let at = |share: f64| values[((values.len() - 1) as f64 * share) as usize];
    let (low, high) = (at(0.02), at(0.98));
    if high > low {
        (low, high)
    } else {
        (low, low + 1.0)
    }
}
