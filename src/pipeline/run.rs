//! The walk from pixels to prescription, and what is said of it.

use std::collections::BTreeMap;

use geo::MultiPolygon;

use crate::finding::{Finding, codes};
use crate::job::settings::{ClassBreaks, ImageSource, PointSpread, Settings, StateRate, ZonesBy};
use crate::pipeline::ground::Ground;
use crate::pipeline::money::{Money, money_of};
use crate::pipeline::overrun::{carried_outwards, with_margin};
use crate::pipeline::placebo::{NoPlacebo, StripPlacebo};
use crate::pipeline::points::{PointLayer, PointsError, PointsSaid};
use crate::pipeline::rates::{RateError, Rated, model, rates, seen};
use crate::pipeline::reference::{NoReference, Reference};
use crate::pipeline::scan::{Probe, RowIndex, Scan, ScanError, Scanned, scan, window_pixels};
use crate::pipeline::share::Measured;
use crate::pipeline::strips::Strip;
use crate::pipeline::totals::{Totals, totals_of};
use crate::pipeline::uncertainty::{Uncertainty, bounds_of, uncertainty_of};
use crate::pipeline::{
    ahead, beside, drive, judge, placebo, points, share, step, strips, uncertainty, uncrossed,
};
use crate::science::reference::SpreadFit;
use crate::space::crs::CrsError;
use crate::space::lay::LayError;
use crate::space::raster::RasterSource;
use crate::units::{Area, NRate};
use crate::zones::build::{BuildError, GroupBy, Kind, Zone, ZoneCell, ZoneRule, build};
use crate::zones::classify::{Classes, ClassifyError};
use crate::zones::machine::default_fallbacks;
use crate::zones::outline::outlines;
use crate::zones::prescription::{
    CellState, Fallbacks, MachineLimits, Prescription, StripRecord, ZoneRecord,
};
use crate::zones::shape::{ShapeRule, Shaped, shape};

/// Why a run ended without a map.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RunError {
    /// Pixels.
    #[error(transparent)]
    Scan(#[from] ScanError),
    /// Single readings.
    #[error(transparent)]
    Points(#[from] PointsError),
    /// A transformation.
    #[error(transparent)]
    Crs(#[from] CrsError),
    /// The reference.
    #[error(transparent)]
    Reference(#[from] NoReference),
    /// Rates.
    #[error(transparent)]
    Rate(#[from] RateError),
    /// The headland, the margin outside the field, or the machine's shifted map.
    #[error(transparent)]
    Lay(#[from] LayError),
    /// Classes.
    #[error(transparent)]
    Classes(#[from] ClassifyError),
    /// Zones.
    #[error(transparent)]
    Zones(#[from] BuildError),
    /// Pixels are too large for the field.
    #[error(
        "no pixel of the image lies in the field: at least {least:.2} of it must, pixels are {pixel:.1} m wide, and the field has {area_ha:.2} ha"
    )]
    NoPixel {
        /// The job's least share of a pixel.
        least: f64,
        /// Side of a pixel. \[m\]
        pixel: f64,
        /// The field. \[ha\]
        area_ha: f64,
    },
    /// No pixel of the field has an index.
    #[error(
        "nothing of the field is seen: of {in_field} pixels, {missing} have no value, {undefined} no defined index, {out_of_range} an index outside its range"
    )]
    NothingSeen {
        /// Pixels in the field.
        in_field: u64,
        /// Without a value.
        missing: u64,
        /// Without a defined index.
        undefined: u64,
        /// Outside the range.
        out_of_range: u64,
    },
    /// Too many pixels outside the index's range.
    #[error("{out_of_range} of {in_field} pixels of the field ({:.1} %) have an index outside its possible range; at most 1 % may", 100.0 * *out_of_range as f64 / *in_field as f64)]
    OutOfRange {
        /// Pixels in the field.
        in_field: u64,
        /// Outside the range.
        out_of_range: u64,
    },
}

/// What a run needs besides settings and ground.
pub struct Sources<'a> {
    /// The image.
    pub image: &'a dyn RasterSource,
    /// Single readings, when the canopy comes from them instead of an image.
    pub points: Option<&'a PointLayer>,
    /// The index.
    pub index: &'a dyn RowIndex,
    /// The index's name.
    pub index_name: &'a str,
    /// Bare limit in force.
    pub bare_below: Option<f64>,
    /// Growing days.
    pub growing_days: f64,
    /// Whether bands are looked at one by one.
    pub look_at_bands: bool,
    /// Threads.
    pub threads: usize,
    /// Memory that may be used, about. \[B\]
    pub memory: u64,
    /// Progress: windows done, windows in all; `false` stops.
    pub progress: &'a (dyn Fn(usize, usize) -> bool + Sync),
}

/// What is known after the pass over the pixels, before any rate.
#[derive(Clone, Debug)]
pub struct Looked {
    /// Sums.
    pub scanned: Scanned,
    /// Strips.
    pub strips: Vec<Strip>,
    /// Mean index of the field's canopy pixels.
    pub field_mean: f64,
    /// Placebo places by strip, in the order of the strips.
    pub placebos: Vec<Result<StripPlacebo, NoPlacebo>>,
    /// What is to be said of single readings, when the canopy comes from them.
    pub points: Option<PointsSaid>,
    /// The sensor's blur, when it was fitted.
    pub spread: Option<SpreadFit>,
}

/// Everything that a run found.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// Pixels and strips.
    pub looked: Looked,
    /// The reference.
    pub reference: Reference,
    /// The nitrogen share as it was measured, or why it is not known.
    pub share: Measured,
    /// Cells and their rates.
    pub rated: Rated,
    /// Totals.
    pub totals: Totals,
    /// The band of field, zones and cells, unless the job wants no draws.
    pub uncertainty: Option<Uncertainty>,
    /// Money, if prices were given.
    pub money: Option<Money>,
    /// What exporters write.
    pub prescription: Prescription,
}

/// Passes over the pixels and measures the strips.
///
/// # Errors
/// [`RunError`]: unreadable pixels, nothing seen, an index out of its range.
pub fn look(
    settings: &Settings,
    ground: &Ground,
    sources: &Sources<'_>,
    findings: &mut Vec<Finding>,
) -> Result<Looked, RunError> {
    let image = settings.imagery.as_ref();
    if let (Some(ImageSource::Points(rule)), Some(layer)) =
        (image.map(|image| &image.source), sources.points)
    {
        return points::look(settings, rule, layer, ground, sources, findings);
    }
    let lattice = sources.image.lattice();
    let (plans, mut probes) = strips::plan(ground, &settings.reference, lattice)?;
    let (placebo_plans, placebo_probes) = placebo::plan(ground, settings, lattice, &plans)?;
    let strip_probes = probes.len();
    probes.extend(placebo_probes);
    let scanned = pass(settings, ground, sources, &probes)?;
    let counts = scanned.counts;
    let unseen = counts.missing + counts.undefined + counts.out_of_range;
    if counts.in_field == 0 {
        let least = image.map_or(1.0, |image| image.pixel_inside);
        return Err(RunError::NoPixel {
            least,
            pixel: ground.pixel,
            area_ha: ground.area / 10_000.0,
        });
    }
    if unseen >= counts.in_field {
        return Err(RunError::NothingSeen {
            in_field: counts.in_field,
            missing: counts.missing,
            undefined: counts.undefined,
            out_of_range: counts.out_of_range,
        });
    }
    if counts.out_of_range as f64 > 0.01 * counts.in_field as f64 {
        return Err(RunError::OutOfRange {
            in_field: counts.in_field,
            out_of_range: counts.out_of_range,
        });
    }
    if let Some((row, col)) = counts.first_odd {
        let told = format!(
            "{} of {} pixels of the field have an index outside its possible range, {} have none (a denominator that is not above 0); they count as unseen; the first lies in column {col}, row {row} of the image, counted from 0",
            counts.out_of_range, counts.in_field, counts.undefined
        );
        findings.push(if counts.out_of_range > 0 {
            Finding::caution(codes::IMAGE_OUT_OF_RANGE, told)
        } else {
            Finding::note(codes::IMAGE_UNDEFINED, told)
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
        &settings.reference,
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
    strips::findings_of(
        &strips,
        sources.index_name,
        settings.season.crop.stand_cv,
        findings,
    );
    if spread == PointSpread::Fit {
        strips::say_spread(&strips, fitted.as_ref(), findings);
    }
    Ok(Looked {
        scanned,
        strips,
        placebos,
        field_mean,
        points: None,
        spread: fitted,
    })
}

fn pass(
    settings: &Settings,
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
        pixel_inside: settings
            .imagery
            .as_ref()
            .map_or(0.9, |image| image.pixel_inside),
        bare_below: sources.bare_below,
        look_at_bands: sources.look_at_bands,
        threads: sources.threads,
        window_pixels: window_pixels(sources.memory, sources.threads, sources.image.slots()),
        progress: sources.progress,
    })
}

/// From pixels to prescription. The map id is still empty: the record sets it.
///
/// # Errors
/// [`RunError`].
pub fn run(
    settings: &Settings,
    ground: &Ground,
    sources: &Sources<'_>,
    findings: &mut Vec<Finding>,
) -> Result<Outcome, RunError> {
    let looked = look(settings, ground, sources, findings)?;
    let minimum_seen = settings
        .imagery
        .as_ref()
        .map_or(0.3, |image| image.minimum_seen);
    let cells = seen(&looked.scanned, minimum_seen);
    let canopy: Vec<(f64, f64)> = cells
        .iter()
        .zip(&ground.grid.cells)
        .filter_map(|(seen, cell)| seen.index.map(|index| (cell.area, index)))
        .collect();
    let reference =
        crate::pipeline::reference::judge(settings, &looked, ground.area, &canopy, findings)?;
    let measured = share::measured(ground, &looked);
    let model = model(settings, &reference, &measured, sources.growing_days)?;
    let mut rated = rates(
        ground,
        settings,
        &cells,
        &reference,
        model,
        sources.bare_below,
        findings,
    )?;
    drive::headland(settings, ground, &mut rated, findings)?;
    drive::maximum_step(settings, ground, &mut rated, findings);
    let mut zones = zones_of(settings, ground, &mut rated, findings)?;
    let totals = totals_of(
        settings, ground, &looked, &reference, &measured, &rated, &zones,
    );
    let alike = looked
        .points
        .as_ref()
        .and_then(|points| points.kriging.as_ref())
        .and_then(|kriging| kriging.alike);
    let uncertainty = uncertainty_of(settings, ground, &reference, &rated, &zones, alike);
    if let Some(uncertainty) = &uncertainty {
        for (zone, band) in zones.iter_mut().zip(&uncertainty.zones) {
            (zone.n_low, zone.n_high) = band.as_ref().map(bounds_of).unzip();
        }
        for (cell, band) in rated.cells.iter_mut().zip(&uncertainty.cells) {
            (cell.n_low, cell.n_high) = band
                .map(|(low, high)| (NRate::kg_per_ha(low), NRate::kg_per_ha(high)))
                .unzip();
        }
    }
    let money = money_of(settings, &reference, &measured, &rated, &zones);
    if settings.prices.is_some() && settings.response.yields().is_none() {
        findings.push(Finding::note(
            codes::MONEY_NONE,
            format!(
                "the method {} foretells no yield, so that no gain can be told; prices {}",
                settings.response.name(),
                if settings.response.economic.is_some() {
                    "set the economic optimum and nothing else"
                } else {
                    "are not used"
                }
            ),
        ));
    }
    judge::cautions(
        settings, &looked, &reference, &rated, &totals, sources, findings,
    );
    beside::findings_of(settings, ground, &rated, findings);
    findings.extend(uncrossed::finding_of(
        settings, ground, &looked, &rated, &measured,
    ));
    share::findings_of(
        settings,
        &measured,
        &totals.n_kg_by_share,
        money.as_ref(),
        findings,
    );
    if let Some(uncertainty) = &uncertainty {
        uncertainty::findings_of(settings, &reference, uncertainty, findings);
    }
    let prescription = prescription(settings, ground, &looked, &rated, zones, &totals);
    Ok(Outcome {
        looked,
        reference,
        share: measured,
        rated,
        totals,
        uncertainty,
        money,
        prescription,
    })
}

/// Puts cells into zones, numbers them, and draws their outlines.
fn zones_of(
    settings: &Settings,
    ground: &Ground,
    rated: &mut Rated,
    findings: &mut Vec<Finding>,
) -> Result<Vec<ZoneRecord>, RunError> {
    let step = settings.rate.step.get();
    let classes = classes_of(settings, rated)?;
    let cells: Vec<ZoneCell> = rated
        .cells
        .iter()
        .zip(&rated.zone_rates)
        .zip(&rated.follows)
        .map(|((cell, (kind, n_exact, rate)), follows)| ZoneCell {
            area: cell.area.get(),
            kind: *kind,
            n_exact: *n_exact,
            rate: *rate,
            index: cell.index,
            class: classes
                .as_ref()
                .and_then(|classes| cell.index.map(|index| classes.of(index))),
            follows: *follows,
        })
        .collect();
    let rule = ZoneRule {
        step,
        least_q: libm::ceil(settings.rate.minimum.get() / step - 1e-9) as i64,
        greatest_q: libm::floor(settings.rate.maximum.get() / step + 1e-9) as i64,
        minimum_area: settings.zones.minimum_area.get(),
        keep_total: settings.zones.keep_total,
        tolerance: settings.zones.tolerance.get(),
    };
    let by = if classes.is_some() {
        GroupBy::Class
    } else {
        GroupBy::Rate
    };
    let zoning = build(&cells, &ground.borders, by, &rule)?;
    step::findings_of(
        settings,
        rated,
        (&cells, &ground.borders, by),
        (&rule, &zoning),
        findings,
    );
    let rate_of = |zone: u32| zoning.zones[zone as usize - 1].n;
    drive::steps_left(settings, ground, &zoning.zone_of, rate_of, findings);
    if zoning.joined_alike > 0 {
        findings.push(Finding::note(
            codes::ZONES_JOINED,
            format!(
                "{} zones joined neighbours whose rates lie within {} of the joined ones': {} are left",
                zoning.joined_alike,
                settings.output.nitrogen_rate(zoning.tolerance),
                zoning.zones.len()
            ),
        ));
    }
    if zoning.tolerance < rule.tolerance {
        findings.push(Finding::caution(
            codes::ZONES_TOLERANCE,
            format!(
                "zones.tolerance of {} would have moved the field's nitrogen by more than 0.5 %; {} was used",
                settings.output.nitrogen_rate(rule.tolerance),
                settings.output.nitrogen_rate(zoning.tolerance)
            ),
        ));
    }
    let zone_rule = &settings.zones;
    let drawing = ShapeRule {
        simplify: zone_rule.simplify.get(),
        round: zone_rule.round_corners.get(),
        area_within: zone_rule.area_within,
    };
    let shaped = shape(
        outlines(&ground.grid, &zoning.zone_of, zoning.zones.len() as u32),
        &drawing,
    );
    drawing_findings(&shaped, &drawing, findings);
    let drawn = shaped.outlines;
    let mut states: Vec<BTreeMap<CellState, f64>> = vec![BTreeMap::new(); zoning.zones.len()];
    for (cell, zone) in rated.cells.iter_mut().zip(&zoning.zone_of) {
        cell.zone = *zone;
        *states[*zone as usize - 1].entry(cell.state).or_default() += cell.area.get();
    }
    let margins = carried_outwards(
        ground,
        &zoning.zone_of,
        zoning.zones.len(),
        settings.machine.overrun.get(),
    )?;
    let mut driven = None;
    if let Some(look_ahead) = &settings.machine.look_ahead {
        let over = |whole: &MultiPolygon<f64>| {
            ahead::shifted(
                ground,
                &settings.machine,
                look_ahead,
                &zoning.zone_of,
                zoning.zones.len(),
                whole,
            )
        };
        driven = Some((
            over(&ground.mapped)?,
            over(&ahead::with_margins(ground, &margins))?,
        ));
        findings.push(ahead::finding(look_ahead, &settings.machine, ground));
    }
    let product = settings.product.as_ref();
    let record = |k: usize, zone: Zone, outline: MultiPolygon<f64>, margin: MultiPolygon<f64>| {
        let n = NRate::kg_per_ha(zone.n);
        let thin_only =
            states[k].contains_key(&CellState::Thin) && !states[k].contains_key(&CellState::Canopy);
        let state = match zone.kind {
            Kind::Canopy if thin_only => CellState::Thin,
            Kind::Canopy | Kind::Headland => CellState::Canopy,
            Kind::Bare => CellState::Bare,
            Kind::Unseen => CellState::Unseen,
        };
        ZoneRecord {
            zone: k as u32 + 1,
            n,
            n_low: None,
            n_high: None,
            product: product.map(|product| product.rate_for(n)),
            area: Area::m2(zone.area),
            index: zone.index,
            cells: zone.cells,
            state,
            machine_inside: driven.as_ref().map(|(inside, _)| inside[k].clone()),
            machine_outline: driven
                .as_ref()
                .map_or_else(|| with_margin(&outline, margin), |(_, all)| all[k].clone()),
            outline,
        }
    };
    Ok(zoning
        .zones
        .into_iter()
        .zip(drawn)
        .zip(margins)
        .enumerate()
        .map(|(k, ((zone, outline), margin))| record(k, zone, outline, margin))
        .collect())
}

/// What simplifying and rounding borders did, as far as the user should know.
fn drawing_findings(shaped: &Shaped, rule: &ShapeRule, findings: &mut Vec<Finding>) {
    let within = 100.0 * rule.area_within;
    if shaped.simplified.held_back > 0 {
        findings.push(Finding::note(
            codes::ZONES_SIMPLIFIED,
            format!("{} zone borders were simplified less than asked for, or not at all, so that nothing crosses", shaped.simplified.held_back),
        ));
    }
    if shaped.rounded.kept > 0 {
        let all = shaped.rounded.kept + shaped.rounded.cut;
        findings.push(Finding::note(
            codes::ZONES_ROUNDED,
            format!(
                "{} of {all} corners of zone borders were not rounded, so that nothing crosses",
                shaped.rounded.kept
            ),
        ));
    }
    if shaped.held > 0 {
        findings.push(Finding::note(
            codes::ZONES_AREA_HELD,
            format!(
                "{} zones keep their borders as they were: drawn otherwise their area would change by more than {within:.1} % (zones.area_within)",
                shaped.held
            ),
        ));
    }
    if shaped.beyond > 0 {
        findings.push(Finding::caution(
            codes::ZONES_AREA,
            format!(
                "the outlines of {} zones differ from their area by more than {within:.1} %, by up to {:.1} %: totals count the true area, a program that measures the outline does not; \
                 lessen zones.simplify or zones.round_corners",
                shaped.beyond,
                100.0 * shaped.greatest_change
            ),
        ));
    }
}

fn classes_of(settings: &Settings, rated: &Rated) -> Result<Option<Classes>, RunError> {
    let ZonesBy::Classes(breaks) = &settings.zones.by else {
        return Ok(None);
    };
    let canopy: Vec<(f64, f64)> = rated
        .cells
        .iter()
        .filter(|cell| cell.state == CellState::Canopy)
        .filter_map(|cell| cell.index.map(|index| (index, cell.area.get())))
        .collect();
    let values: Vec<f64> = canopy.iter().map(|cell| cell.0).collect();
    let areas: Vec<f64> = canopy.iter().map(|cell| cell.1).collect();
    Ok(Some(match breaks {
        ClassBreaks::Natural(classes) => Classes::natural(&values, *classes)?,
        ClassBreaks::Quantile(classes) => Classes::quantiles(&values, &areas, *classes)?,
        ClassBreaks::Given(breaks) => Classes::given(breaks)?,
    }))
}

fn prescription(
    settings: &Settings,
    ground: &Ground,
    looked: &Looked,
    rated: &Rated,
    zones: Vec<ZoneRecord>,
    totals: &Totals,
) -> Prescription {
    let field_rate = NRate::kg_per_ha(rated.field_q as f64 * settings.rate.step.get());
    let usual = default_fallbacks(field_rate, !ground.kept_clear.0.is_empty());
    let stated = |rule: StateRate, default: NRate| match rule {
        StateRate::Amount(amount) => amount,
        StateRate::Own | StateRate::FieldRate => default,
    };
    let machine = &settings.machine;
    let strips = ground
        .strips
        .iter()
        .zip(&looked.strips)
        .enumerate()
        .map(|(k, (outline, strip))| {
            let found = strip.found.as_ref().ok();
            StripRecord {
                strip: k as u32 + 1,
                index: found.map(strips::StripFound::index),
                beside: found.and_then(strips::StripFound::beside),
                estimator: found.map(strips::StripFound::estimator),
                pixels: found.map_or(0, strips::StripFound::pixels),
                segments_dropped: found.map_or(0, |found| found.dropped() as u32),
                left_out: found.is_none(),
                outline: outline.clone(),
            }
        })
        .collect();
    Prescription {
        map_id: String::new(),
        field_name: settings.field.name.clone(),
        client: settings.filed.client.clone(),
        farm: settings.filed.farm.clone(),
        crop: settings.season.crop.name.clone(),
        image_date: settings
            .imagery
            .as_ref()
            .map_or_else(jiff::civil::Date::default, |image| image.date),
        plane: ground.plane.crs.clone(),
        product: settings.product.clone(),
        unit: settings.output.unit,
        grid: ground.grid.clone(),
        cells: rated.cells.clone(),
        zones,
        strips,
        boundary: ground.boundary.clone(),
        field: ground.mapped.clone(),
        exclusions: ground.exclusions.clone(),
        hard_edges: ground.hard_edges.clone(),
        field_rate,
        fallbacks: Fallbacks {
            on_start: stated(machine.on_start, usual.on_start),
            position_lost: match machine.position_lost {
                StateRate::FieldRate => field_rate,
                other => stated(other, usual.position_lost),
            },
            outside: match machine.outside {
                StateRate::FieldRate => field_rate,
                other => stated(other, usual.outside),
            },
        },
        machine: MachineLimits {
            least: machine.minimum_rate,
            greatest: machine.maximum_rate,
            overrun: machine.overrun,
            working_width: machine.working_width,
            grid: machine.grid,
        },
        total_n_kg: totals.n_kg,
        headings: ground
            .driven
            .iter()
            .map(|driven| {
                (
                    driven.name.clone(),
                    ground.plane.true_azimuth(driven.azimuth_deg),
                )
            })
            .collect(),
        look_ahead: settings
            .machine
            .look_ahead
            .map(|look_ahead| look_ahead.distance),
    }
}
