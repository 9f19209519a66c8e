//! The image as the eye would see it, for a page to lay the field on.

use geo::{BoundingRect as _, Coord, Rect};

use crate::app::error::AppError;
use crate::app::open;
use crate::app::overview::band_overview;
use crate::app::prepare::{Prepared, rights_of};
use crate::app::requests::Common;
use crate::job::settings::ImageSource;

/// Most samples along the longer side of a photo.
const MOST: f64 = 1600.0;
/// Pixels under the field up to which the image is read for a photo.
const MOST_PIXELS: usize = 60_000_000;
/// Ground shown around the field, as a share of its longer side.
const AROUND: f64 = 0.08;
/// Colours as the eye sees them, in the words of an index.
const EYE: &str = "red + green + blue";

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
}

/// The photo of a prepared job; `None` where the image has no red, green and blue, or cannot be thinned in good time.
///
/// # Errors
/// When the image can no longer be read.
pub(crate) fn photo(prepared: &Prepared, common: &Common) -> Result<Option<Photo>, AppError> {
    let rights = rights_of(&prepared.inner().job, prepared.settings(), common);
    rights.reading().apart(common, || taken(prepared, common))
}

fn taken(prepared: &Prepared, common: &Common) -> Result<Option<Photo>, AppError> {
    let settings = prepared.settings();
    let Some(imagery) = settings
        .imagery
        .as_ref()
        .filter(|imagery| !matches!(imagery.source, ImageSource::Points(_)))
    else {
        return Ok(None);
    };
    let mut eye = imagery.clone();
    EYE.clone_into(&mut eye.index);
    let folder = &prepared.inner().folder;
    // An image without these bands has no photo; what else is wrong with it was said when it was read.
    let Ok(image) = open::image(&eye, "", folder, (common.network, None), &mut Vec::new()) else {
        return Ok(None);
    };
    let ground = prepared.ground();
    let Some(bounds) = ground.boundary.bounding_rect() else {
        return Ok(None);
    };
    let around = AROUND * bounds.width().max(bounds.height());
    let wide = Rect::new(
        Coord {
            x: bounds.min().x - around,
            y: bounds.min().y - around,
        },
        Coord {
            x: bounds.max().x + around,
            y: bounds.max().y + around,
        },
    );
    let Some(sampled) = band_overview(&image, ground, wide, MOST, MOST_PIXELS)? else {
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
    let (low, high) = stretch(&bands);
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
