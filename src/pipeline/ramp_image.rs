//! The steps of a nitrogen ramp measured on an image: shrunk like a reference strip, whole pixels that are not bare, weighed by their share.

use geo::{Area as _, BooleanOps, Centroid, MultiPolygon};

use crate::finding::{Checked, Finding, codes};
pub(crate) use crate::job::settings::ramp::RampImage;
use crate::pipeline::exclusions::{excluded, surroundings};
use crate::pipeline::ground::{Layer, pixel_size};
use crate::pipeline::scan::{Found, Probe, Scan, ScanError, scan, window_pixels};
use crate::pipeline::survey::Sources;
use crate::science::response_curve::Point;
use crate::space::cells::{CellFrame, CellGrid};
use crate::space::crs::{Crs, CrsError, Projector};
use crate::space::plane::{PlaneError, choose};
use crate::space::polygon::{carried, grown, joined, less, minimum_rectangle, oriented, repaired};
use crate::units::NRate;

/// A shrunk step narrower than this many pixels holds too few that are purely its own.
const FINE_PIXELS: f64 = 4.0;
/// Pixels without which a step is left out, and below which it is a weak estimate.
const PIXELS: (u64, u64) = (5, 30);

/// Why a ramp cannot be measured on an image.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub(crate) enum RampImageError {
    /// Several boundary features.
    #[error(
        "{count} boundary features, but a field has one: name it with where, or join them with merge = true"
    )]
    Several {
        /// How many.
        count: usize,
    },
    /// A step lies outside the field.
    #[error("step {step} of the ramp lies with only {:.0} % of its area in the field, at least half is needed", 100.0 * share)]
    Outside {
        /// Its number.
        step: usize,
        /// Share inside.
        share: f64,
    },
    /// Two steps overlap.
    #[error(
        "steps {first} and {second} of the ramp overlap by {area:.1} m²: nobody can say which rate that ground got"
    )]
    Overlap {
        /// One.
        first: usize,
        /// The other.
        second: usize,
        /// Area. \[m²\]
        area: f64,
    },
    /// The plane.
    #[error(transparent)]
    Plane(#[from] PlaneError),
    /// A transformation.
    #[error(transparent)]
    Crs(#[from] CrsError),
    /// The pixels.
    #[error(transparent)]
    Scan(#[from] ScanError),
}

/// Shapes that were read for a ramp.
#[derive(Clone, Debug)]
pub(crate) struct RampLayers {
    /// Boundary features.
    pub boundary: Layer<MultiPolygon<f64>>,
    /// Exclusions, in the order of the settings.
    pub exclusions: Vec<Layer<MultiPolygon<f64>>>,
    /// Steps.
    pub steps: Layer<MultiPolygon<f64>>,
    /// The rate of each step.
    pub rates: Vec<NRate>,
    /// Working plane that the job asks for.
    pub plane: Option<Crs>,
}

/// The polygons of a layer on the plane.
fn on_plane(
    layer: &Layer<MultiPolygon<f64>>,
    plane: &Crs,
) -> Result<Vec<MultiPolygon<f64>>, CrsError> {
    let way = Projector::new(&layer.crs, plane)?;
    layer
        .shapes
        .iter()
        .map(|shape| carried(shape, &way).map(|shape| repaired(&shape).polygon))
        .collect()
}

/// Measures every step: mean index of the pixels that are seen, whole, not bare and at least half in the shrunk step, weighed by their share in it.
///
/// A step that is too narrow for the image, or holds too few pixels, is left out with a caution; it never gets a number.
///
/// # Errors
/// [`RampImageError`].
pub(crate) fn measure(
    image: &RampImage,
    layers: &RampLayers,
    sources: &Sources<'_>,
) -> Result<Checked<Vec<Point>>, RampImageError> {
    let mut log = Vec::new();
    let findings = &mut log;
    let boundary = &layers.boundary;
    if boundary.shapes.len() > 1 && !image.field.boundary.merge {
        return Err(RampImageError::Several {
            count: boundary.shapes.len(),
        });
    }
    let lattice = sources.image.lattice();
    let place = boundary
        .shapes
        .iter()
        .find_map(Centroid::centroid)
        .map_or((0.0, 0.0), |c| (c.x(), c.y()));
    let (longitude, latitude) =
        Projector::new(&boundary.crs, &Crs::wgs84())?.point(place.0, place.1)?;
    let plane = choose(
        layers.plane.as_ref(),
        &lattice.crs,
        longitude,
        latitude,
        findings,
    )?;
    let ground = oriented(&joined(&on_plane(boundary, &plane.crs)?));
    let mut kept_clear = Vec::new();
    for (exclusion, layer) in image.field.exclusions.iter().zip(&layers.exclusions) {
        let way = Projector::new(&layer.crs, &plane.crs)?;
        let Some(around) = surroundings(&ground, exclusion.buffer) else {
            continue;
        };
        for shape in &layer.shapes {
            kept_clear.push(excluded(&carried(shape, &way)?, exclusion.buffer, &around).polygon);
        }
    }
    let field = oriented(&less(&ground, &joined(&kept_clear)));
    let steps = on_plane(&layers.steps, &plane.crs)?;
    check(&steps, &field)?;

    let mut probes = Vec::new();
    let mut measured = Vec::new();
    for (k, step) in steps.iter().enumerate() {
        let Some(centre) = step.centroid() else {
            continue;
        };
        let pixel = pixel_size(&plane.crs, lattice, centre.x(), centre.y())?;
        let core = grown(step, -image.inset.get().max(0.75 * pixel));
        match minimum_rectangle(&core).filter(|along| along.width >= FINE_PIXELS * pixel) {
            Some(along) => {
                measured.push(k);
                probes.push(Probe::Segments { area: core, along, segments: 1, blocks: 1 });
            }
            None => findings.push(Finding::caution(
                codes::RAMP_STEP,
                format!(
                    "step {} of the ramp ({:.1}) is left out: shrunk by {:.1} m it is narrower than {FINE_PIXELS} pixels of {pixel:.2} m, so that no pixel is surely its own",
                    k + 1,
                    layers.rates[k],
                    image.inset.get().max(0.75 * pixel)
                ),
            )),
        }
    }
    let scanned = scan(&Scan {
        source: sources.image,
        index: sources.index,
        plane: &plane.crs,
        field: &field,
        grid: &CellGrid::new(CellFrame::new(0.0, 1.0, 1.0), Vec::new()),
        probes: &probes,
        pixel_inside: image.imagery.pixel_inside,
        bare_below: sources.bare_below,
        look_at_bands: false,
        threads: sources.threads,
        window_pixels: window_pixels(sources.memory, sources.threads, sources.image.slots()),
        progress: sources.progress,
    })?;
    let mut points = Vec::new();
    for (k, found) in measured.into_iter().zip(&scanned.found) {
        let Found::Segments(tallies) = found else {
            continue;
        };
        let Some(tally) = tallies.first() else {
            continue;
        };
        let (number, rate) = (k + 1, layers.rates[k]);
        if tally.pixels < PIXELS.0 || tally.weight.is_zero() {
            findings.push(Finding::caution(
                codes::RAMP_STEP,
                format!(
                    "step {number} of the ramp ({rate:.1}) is left out: only {} pixels of it are seen, whole and not bare, {} are needed",
                    tally.pixels, PIXELS.0
                ),
            ));
            continue;
        }
        if tally.pixels < PIXELS.1 {
            findings.push(Finding::caution(
                codes::REFERENCE_PIXELS,
                format!("step {number} of the ramp ({rate:.1}) rests on {} pixels; below {} it is a weak estimate", tally.pixels, PIXELS.1),
            ));
        }
        points.push(Point {
            rate,
            value: tally.weighted.get() / tally.weight.get(),
        });
    }
    Ok(Checked::new(points, log))
}

/// Refuses steps outside the field and steps that overlap.
fn check(steps: &[MultiPolygon<f64>], field: &MultiPolygon<f64>) -> Result<(), RampImageError> {
    for (k, step) in steps.iter().enumerate() {
        let share = step.intersection(field).unsigned_area() / step.unsigned_area();
        if share.is_nan() || share < 0.5 - 1e-6 {
            return Err(RampImageError::Outside { step: k + 1, share });
        }
        for (other, before) in steps.iter().enumerate().take(k) {
            let area = step.intersection(before).unsigned_area();
            if area > 1e-3 {
                return Err(RampImageError::Overlap {
                    first: other + 1,
                    second: k + 1,
                    area,
                });
            }
        }
    }
    Ok(())
}
