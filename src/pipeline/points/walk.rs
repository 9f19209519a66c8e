//! From readings to what is known before any rate: the same answer that a pass over pixels gives.

use super::alike::alike_area;
use super::cells::Rule;
use super::clean::{Cleaned, clean};
use super::error::{ENOUGH_FOR_VARIOGRAM, MINIMUM_FOR_VARIOGRAM, PointsError};
use super::layer::{PointLayer, Reading};
use super::summary::{Kriging, PointsSummary};
use super::{cells, strip};
use crate::finding::{Checked, Finding, codes};
use crate::job::settings::ReferenceSettings;
use crate::job::settings::points::{Estimate, Points};
use crate::pipeline::error::StepError;
use crate::pipeline::ground::Ground;
use crate::pipeline::placebo::NoPlacebo;
use crate::pipeline::scan::{PixelCounts, Scanned};
use crate::pipeline::strips;
use crate::pipeline::survey::{Sources, Survey};
use crate::science::points::{Fit, Sample, fit, leave_one_out, semivariances};
use crate::science::reference::ReferenceError;
use crate::space::crs::{CrsError, Projector};
use crate::space::fixed::Fixed;
use crate::space::raster::RasterSource as _;
use crate::units::Length;

/// Classes of distance.
const BINS: usize = 15;
/// Longest distance of the variogram as a share of the readings' extent.
const LONGEST_SHARE: f64 = 1.0 / 3.0;
/// Readings left out in cross-validation, at the most.
const MAXIMUM_LEFT_OUT: usize = 400;

/// Cleans the readings, puts them into cells and measures the strips.
///
/// # Errors
/// [`StepError::Points`] without readings that count, without a variogram; [`StepError::OutOfRange`] when more than one in a hundred has an index that cannot be.
pub fn look(
    (rule, layer): (&Points, &PointLayer),
    reference: &ReferenceSettings,
    (map_strips, stand_cv): (bool, f64),
    ground: &Ground,
    sources: &Sources<'_>,
) -> Result<Checked<Survey>, StepError> {
    let unusable = layer.unusable();
    let all = layer.readings().len();
    if unusable.out_of_range as f64 > 0.01 * (all + unusable.out_of_range) as f64 {
        return Err(StepError::OutOfRange {
            in_field: (all + unusable.out_of_range) as u64,
            out_of_range: unusable.out_of_range as u64,
        });
    }
    let cleaned = clean(&on_plane(layer, ground)?, rule, ground, sources.bare_below);
    let Cleaned {
        kept,
        dropped,
        too_many_outliers,
        spacing,
    } = cleaned;
    let green = kept.iter().filter(|kept| !kept.bare).count();
    if kept.is_empty() {
        let speed = dropped.speed + dropped.no_speed;
        return Err(PointsError::None {
            readings: all,
            outside: dropped.outside,
            speed,
            outliers: dropped.outliers,
        }
        .into());
    }
    let members = cells::members(ground, &kept, map_strips);
    let (found, kriging) = match &rule.estimate {
        Estimate::Mean => (
            cells::means(ground, &kept, &members, rule.minimum_readings),
            None,
        ),
        Estimate::Kriging {
            models,
            neighbours,
            reach,
        } => {
            let open: Vec<Sample> = kept
                .iter()
                .filter(|kept| kept.class == 0 && !kept.bare)
                .map(|kept| kept.sample)
                .collect();
            let (fit, longest) = variogram(&open, models)?;
            let reach = reach.map_or_else(
                || fit.variogram.practical_range().min(longest),
                crate::units::Length::get,
            );
            let trees = cells::trees(&kept, ground.strips.len());
            let kriged = Rule {
                variogram: &fit.variogram,
                neighbours: *neighbours,
                reach,
                minimum: rule.minimum_readings,
                threads: sources.threads,
                progress: sources.progress,
            };
            let found = cells::kriged(ground, &kept, &members, &trees, &kriged)?;
            let samples: Vec<Sample> = kept.iter().map(|kept| kept.sample).collect();
            let taken: Vec<usize> = (0..kept.len())
                .filter(|at| kept[*at].class == 0 && !kept[*at].bare)
                .collect();
            let taken: Vec<usize> = taken
                .iter()
                .copied()
                .step_by(taken.len().div_ceil(MAXIMUM_LEFT_OUT).max(1))
                .collect();
            let left_out = leave_one_out(
                &samples,
                &taken,
                &trees[0],
                &fit.variogram,
                *neighbours,
                reach,
            );
            let errors: Vec<f64> = found.iter().filter_map(|(_, error)| *error).collect();
            let mean_error =
                (!errors.is_empty()).then(|| errors.iter().sum::<f64>() / errors.len() as f64);
            let alike = alike_area(ground, &kept, &found, &trees, &kriged);
            (
                found,
                Some(Kriging {
                    fit,
                    longest,
                    reach,
                    left_out,
                    mean_error,
                    alike,
                }),
            )
        }
    };
    let wording = PointsSummary {
        readings: all,
        unusable,
        dropped,
        kept: kept.len(),
        bare: kept.len() - green,
        spacing,
        cells_unseen: found.iter().filter(|(sums, _)| sums.seen.is_zero()).count(),
        kriging,
    };
    let mut findings = wording_of(&wording, too_many_outliers, ground.grid.cells.len(), green);
    let (plans, probes) = strips::plan_points(ground, reference, spacing);
    let scanned = Scanned {
        cells: found.iter().map(|(sums, _)| *sums).collect(),
        standard_errors: found.into_iter().map(|(_, error)| error).collect(),
        areas: ground.grid.cells.iter().map(|cell| cell.area).collect(),
        found: strip::found(&probes, &kept),
        counts: PixelCounts {
            in_field: kept.len() as u64,
            ..PixelCounts::default()
        },
        bands: Vec::new(),
    };
    let field_mean = field_mean(&scanned);
    let inset_m = reference.inset.get();
    let mut strips = strips::estimate_points(reference, plans, &scanned.found);
    for strip in &mut strips {
        if matches!(strip.found, Err(ReferenceError::NoPixels)) {
            strip.found = Err(ReferenceError::NoReadings { inset_m });
        }
    }
    findings.extend(strips::findings_of(&strips, sources.index_name, stand_cv));
    let survey = Survey {
        scanned,
        placebos: vec![Err(NoPlacebo::Readings); strips.len()],
        strips,
        field_mean,
        points: Some(wording),
        spread: None,
    };
    Ok(Checked::new(survey, findings))
}

/// Readings with their places on the working plane.
fn on_plane(layer: &PointLayer, ground: &Ground) -> Result<Vec<Reading>, CrsError> {
    let way = Projector::new(&layer.lattice().crs, &ground.plane.crs)?;
    layer
        .readings()
        .iter()
        .map(|reading| {
            way.point(reading.x, reading.y)
                .map(|(x, y)| Reading { x, y, ..*reading })
        })
        .collect()
}

/// Area mean of the cells, less their bare part.
fn field_mean(scanned: &Scanned) -> f64 {
    let (mut weighted, mut canopy) = (Fixed::default(), Fixed::default());
    for sums in &scanned.cells {
        weighted.add(sums.weighted);
        canopy.add(sums.canopy);
    }
    if canopy.is_zero() {
        f64::NAN
    } else {
        weighted.get() / canopy.get()
    }
}

/// The variogram of the open field's canopy, and the longest distance that it was fitted to. \[m\]
fn variogram(
    open: &[Sample],
    models: &[crate::science::points::Model],
) -> Result<(Fit, f64), PointsError> {
    let Some(first) = open.first().filter(|_| open.len() >= MINIMUM_FOR_VARIOGRAM) else {
        return Err(PointsError::TooFew { found: open.len() });
    };
    if open.iter().all(|s| s.value == first.value) {
        return Err(PointsError::AllAlike {
            found: open.len(),
            value: first.value,
        });
    }
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for s in open {
        low = [low[0].min(s.x), low[1].min(s.y)];
        high = [high[0].max(s.x), high[1].max(s.y)];
    }
    let longest = LONGEST_SHARE * libm::hypot(high[0] - low[0], high[1] - low[1]);
    let bins = semivariances(open, longest, BINS);
    let fit = fit(&bins, models).ok_or(PointsError::NoVariogram { bins: bins.len() })?;
    Ok((fit, longest))
}

fn wording_of(
    wording: &PointsSummary,
    too_many_outliers: Option<usize>,
    cells: usize,
    green: usize,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    let (dropped, unusable) = (wording.dropped, wording.unusable);
    findings.push(Finding::note(
        codes::POINTS_USED,
        format!(
            "{} readings count ({} of canopy, {} of bare ground), {} apart by the median; of {} with place and index, {} lie outside the field, {} were taken too slowly or too fast, {} have no speed, {} are unlike their neighbours, {} were joined with the one before; {} rows have no place, {} no index, {} an index that cannot be",
            wording.kept,
            green,
            wording.bare,
            Length::m(wording.spacing).both(),
            wording.readings,
            dropped.outside,
            dropped.speed,
            dropped.no_speed,
            dropped.outliers,
            dropped.joined,
            unusable.no_place,
            unusable.no_index,
            unusable.out_of_range
        ),
    ));
    if let Some(many) = too_many_outliers {
        findings.push(Finding::caution(
            codes::POINTS_UNEVEN,
            format!("{many} readings are unlike their neighbours, more than a quarter: none was dropped; look at the sensor, or at the column that is read"),
        ));
    } else if dropped.outliers as f64
        > 0.05 * (wording.kept + dropped.joined + dropped.outliers) as f64
    {
        findings.push(Finding::caution(
            codes::POINTS_OUTLIERS,
            format!(
                "{} readings, more than 5 %, were dropped as unlike their neighbours; points.outliers = 0 keeps them: compare the totals",
                dropped.outliers
            ),
        ));
    }
    let lost = unusable.no_place + unusable.no_index + unusable.out_of_range;
    if lost as f64 > 0.1 * (wording.readings + lost) as f64 {
        findings.push(Finding::caution(
            codes::POINTS_MISSING,
            format!(
                "{lost} of {} rows of the file are no readings: look at the sensor's log",
                wording.readings + lost
            ),
        ));
    }
    if wording.cells_unseen > 0 {
        findings.push(Finding::note(
            codes::POINTS_GAPS,
            format!(
                "{} of {cells} cells have too few readings near and count as unseen: each gets the rate that the job states for unseen ground",
                wording.cells_unseen
            ),
        ));
    }
    if let Some(kriging) = &wording.kriging {
        findings.extend(wording_of_kriging(kriging, green));
    }
    findings
}

fn wording_of_kriging(kriging: &Kriging, green: usize) -> Vec<Finding> {
    let mut findings = Vec::new();
    let variogram = kriging.fit.variogram;
    let (share, range) = (variogram.nugget_share(), variogram.practical_range());
    findings.push(Finding::note(
        codes::POINTS_VARIOGRAM,
        format!(
            "cells are kriged with a {} variogram: nugget {:.6}, sill {:.6}, readings tell of each other up to {range:.0} m; readings up to {:.0} m away are used",
            variogram.model.word(),
            variogram.nugget,
            variogram.nugget + variogram.sill,
            kriging.reach
        ),
    ));
    let poor = |what: String| {
        Finding::caution(
            codes::POINTS_VARIOGRAM_POOR,
            format!(
                "the variogram fits poorly: {what}; the standard errors mean little, and a mean of the readings in each cell (estimate = \"mean\") is the plainer answer"
            ),
        )
    };
    if share > 0.9 {
        findings.push(poor(format!("{:.0} % of the variance is nugget, so readings hardly tell of each other at any distance", 100.0 * share)));
    } else if range > kriging.longest {
        findings.push(poor(format!(
            "its range {range:.0} m lies beyond the {:.0} m that it was fitted to, so the field has a trend rather than patches",
            kriging.longest
        )));
    } else if kriging.fit.explained < 0.5 {
        findings.push(poor(format!(
            "it explains {:.0} % of how semivariance changes with distance",
            100.0 * kriging.fit.explained
        )));
    }
    if green < ENOUGH_FOR_VARIOGRAM {
        findings
            .push(Finding::caution(codes::POINTS_FEW, format!("{green} readings of canopy are few for a variogram: below {ENOUGH_FOR_VARIOGRAM} it is a guess")));
    }
    if let Some(left_out) = kriging
        .left_out
        .filter(|left_out| !(0.5..=2.0).contains(&left_out.variance_ratio))
    {
        findings.push(Finding::caution(
            codes::POINTS_STANDARD_ERROR,
            format!(
                "readings left out are missed by {:.4} (root mean square), {:.2} times what the standard errors say: trust index_se by that factor less",
                left_out.root_mean_square,
                libm::sqrt(left_out.variance_ratio)
            ),
        ));
    }
    findings
}
