//! The pass over the pixels, with everything that is measured on them: cells, strips, placebo strips.

use crate::finding::{Checked, Finding, codes};
use crate::job::settings::{ImageSource, Imagery, Machine, PointSpread, ReferenceSettings};
use crate::pipeline::error::StepError;
use crate::pipeline::ground::Ground;
use crate::pipeline::scan::{Probe, Scan, ScanError, Scanned, scan, window_pixels};
use crate::pipeline::survey::{Sources, Survey};
use crate::pipeline::{placebo, points, strips};

/// What of a job the pass depends on.
#[derive(Clone, Copy, Debug)]
pub struct LookRules<'a> {
    /// `[imagery]`, when the canopy comes from an image.
    pub imagery: Option<&'a Imagery>,
    /// `[reference]`.
    pub reference: &'a ReferenceSettings,
    /// `[machine]`: placebo strips keep off the headland.
    pub machine: &'a Machine,
    /// Whether strips are mapped like the rest.
    pub map_strips: bool,
    /// Coefficient of variation above which a stand is uneven. \[–\]
    pub stand_cv: f64,
}

/// Passes over the pixels and measures the strips.
///
/// # Errors
/// [`StepError`]: unreadable pixels, nothing seen, an index out of its range.
pub fn look(
    rules: &LookRules<'_>,
    ground: &Ground,
    sources: &Sources<'_>,
) -> Result<Checked<Survey>, StepError> {
    let image = rules.imagery;
    if let (Some(ImageSource::Points(rule)), Some(layer)) =
        (image.map(|image| &image.source), sources.points)
    {
        return points::look(
            (rule, layer),
            rules.reference,
            (rules.map_strips, rules.stand_cv),
            ground,
            sources,
        );
    }
    let lattice = sources.image.lattice();
    let (plans, mut probes) = strips::plan(ground, rules.reference, lattice)?;
    let (placebo_plans, placebo_probes) =
        placebo::plan(ground, rules.reference, rules.machine, lattice, &plans)?;
    let strip_probes = probes.len();
    probes.extend(placebo_probes);
    let scanned = pass(image, ground, sources, &probes)?;
    let counts = scanned.counts;
    let unseen = counts.missing + counts.undefined + counts.out_of_range;
    if counts.in_field == 0 {
        let minimum = image.map_or(1.0, |image| image.pixel_inside);
        return Err(StepError::NoPixel {
            minimum,
            pixel: ground.pixel,
            area_ha: ground.area / 10_000.0,
        });
    }
    if unseen >= counts.in_field {
        return Err(StepError::NothingSeen {
            in_field: counts.in_field,
            missing: counts.missing,
            undefined: counts.undefined,
            out_of_range: counts.out_of_range,
        });
    }
    if counts.out_of_range as f64 > 0.01 * counts.in_field as f64 {
        return Err(StepError::OutOfRange {
            in_field: counts.in_field,
            out_of_range: counts.out_of_range,
        });
    }
    let mut findings = Vec::new();
    if let Some((row, col)) = counts.first_odd {
        let notice = format!(
            "{} of {} pixels of the field have an index outside its possible range, {} have none (a denominator that is not above 0); they count as unseen; the first lies in column {col}, row {row} of the image, counted from 0",
            counts.out_of_range, counts.in_field, counts.undefined
        );
        findings.push(if counts.out_of_range > 0 {
            Finding::caution(codes::IMAGE_OUT_OF_RANGE, notice)
        } else {
            Finding::note(codes::IMAGE_UNDEFINED, notice)
        });
    }
    let (mut weighted, mut canopy) = (
        crate::space::fixed::Fixed::default(),
        crate::space::fixed::Fixed::default(),
    );
    for sums in &scanned.cells {
        weighted.add(sums.weighted);
        canopy.add(sums.canopy);
    }
    let field_mean = if canopy.is_zero() {
        f64::NAN
    } else {
        weighted.get() / canopy.get()
    };
    let spread = image.map_or(PointSpread::Given(0.0), |image| image.point_spread.clone());
    let (strips, fitted) = strips::estimate(
        ground,
        rules.reference,
        &spread,
        lattice,
        plans,
        &scanned.found[..strip_probes],
    )?;
    let placebos = placebo::measure(
        placebo_plans,
        &strips,
        &scanned.found[strip_probes..],
        spread.width(fitted.as_ref()),
    );
    findings.extend(strips::findings_of(
        &strips,
        sources.index_name,
        rules.stand_cv,
    ));
    if spread == PointSpread::Fit {
        findings.extend(strips::say_spread(&strips, fitted.as_ref()));
    }
    let survey = Survey {
        scanned,
        strips,
        placebos,
        field_mean,
        points: None,
        spread: fitted,
    };
    Ok(Checked::new(survey, findings))
}

fn pass(
    image: Option<&Imagery>,
    ground: &Ground,
    sources: &Sources<'_>,
    probes: &[Probe],
) -> Result<Scanned, ScanError> {
    scan(&Scan {
        source: sources.image,
        index: sources.index,
        plane: &ground.plane.crs,
        field: &ground.field,
        grid: &ground.grid,
        probes,
        pixel_inside: image.map_or(0.9, |image| image.pixel_inside),
        bare_below: sources.bare_below,
        look_at_bands: sources.look_at_bands,
        threads: sources.threads,
        window_pixels: window_pixels(sources.memory, sources.threads, sources.image.slots()),
        progress: sources.progress,
    })
}
