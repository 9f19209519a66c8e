//! Cells into zones: which belong together, how their borders are drawn, and what the machine gets of them.

use std::collections::BTreeMap;

use geo::MultiPolygon;

use crate::finding::{Checked, Finding, codes};
use crate::job::settings::{ClassBreaks, Machine, Output, RateRules, ZoneRules, ZonesBy};
use crate::map::prescription::{CellState, ZoneRecord};
use crate::pipeline::cell_facts::CellFacts;
use crate::pipeline::error::StepError;
use crate::pipeline::ground::Ground;
use crate::pipeline::overrun::with_margin;
use crate::pipeline::rates::Rated;
use crate::pipeline::{ahead, step};
use crate::space::cells::CellGrid;
use crate::space::lay::LayError;
use crate::units::{Area, NRate, Product};
use crate::zones::build::{GroupBy, Kind, ZoneCell, ZoneRule, Zoning, build};
use crate::zones::classify::{Classes, ClassifyError};
use crate::zones::outline::outlines;
use crate::zones::shape::{ShapeRule, Shaped, shape};

/// Puts cells into zones and numbers them.
///
/// # Errors
/// [`StepError::Classes`] when classes cannot be cut, [`StepError::Zones`] when a number is not finite.
pub fn zoning(
    zone_rules: &ZoneRules,
    (rule, output): (&RateRules, &Output),
    ground: &Ground,
    rated: &Rated,
) -> Result<Checked<Zoning>, StepError> {
    let step = rule.step.get();
    let classes = classes_of(&zone_rules.by, rated)?;
    let cells: Vec<ZoneCell> = rated
        .cells
        .iter()
        .zip(&rated.due)
        .zip(&rated.follows)
        .map(|((cell, due), follows)| ZoneCell {
            area: cell.area.get(),
            kind: due.kind,
            n_exact: due.exact.get(),
            rate: due.rate,
            index: cell.index,
            class: classes
                .as_ref()
                .and_then(|classes| cell.index.map(|index| classes.of(index))),
            follows: *follows,
        })
        .collect();
    let build_rule = ZoneRule {
        step,
        minimum_q: libm::ceil(rule.minimum.get() / step - 1e-9) as i64,
        maximum_q: libm::floor(rule.maximum.get() / step + 1e-9) as i64,
        minimum_area: zone_rules.minimum_area.get(),
        keep_total: zone_rules.keep_total,
        tolerance: zone_rules.tolerance.get(),
    };
    let by = if classes.is_some() {
        GroupBy::Class
    } else {
        GroupBy::Rate
    };
    let zoning = build(&cells, &ground.borders, by, &build_rule)?;
    let mut findings = Vec::new();
    findings.extend(step::finding_of(
        (rule, output),
        rated,
        (&cells, &ground.borders, by),
        (&build_rule, &zoning),
    ));
    if zoning.joined_alike > 0 {
        findings.push(Finding::note(
            codes::ZONES_JOINED,
            format!(
                "{} zones joined neighbours whose rates lie within {} of the joined ones': {} are left",
                zoning.joined_alike,
                output.nitrogen_rate(zoning.tolerance),
                zoning.zones.len()
            ),
        ));
    }
    if zoning.tolerance < build_rule.tolerance {
        findings.push(Finding::caution(
            codes::ZONES_TOLERANCE,
            format!(
                "zones.tolerance of {} would have moved the field's nitrogen by more than 0.5 %; {} was used",
                output.nitrogen_rate(build_rule.tolerance),
                output.nitrogen_rate(zoning.tolerance)
            ),
        ));
    }
    Ok(Checked::new(zoning, findings))
}

/// Draws the zones' borders, zone by zone.
pub fn drawn(
    rules: &ZoneRules,
    grid: &CellGrid,
    zoning: &Zoning,
) -> Checked<Vec<MultiPolygon<f64>>> {
    let drawing = ShapeRule {
        simplify: rules.simplify.get(),
        round: rules.round_corners.get(),
        area_within: rules.area_within,
    };
    let shaped = shape(
        outlines(grid, &zoning.zone_of, zoning.zones.len() as u32),
        &drawing,
    );
    let findings = wording_of_drawing(&shaped, &drawing);
    Checked::new(shaped.outlines, findings)
}

/// Shapes for machine files, zone by zone.
#[derive(Clone, Debug)]
pub struct MachineShapes {
    /// The zones with what is carried outwards; shifted where the machine looks ahead.
    pub outlines: Vec<MultiPolygon<f64>>,
    /// Where the machine looks ahead: the shifted zones within the field.
    pub inside: Option<Vec<MultiPolygon<f64>>>,
}

/// What the machine gets: zones carried outwards, and shifted against the direction of travel when it looks ahead.
///
/// # Errors
/// [`LayError`] when the shifted map cannot be laid.
pub fn machine_shapes(
    machine: &Machine,
    (ground, facts): (&Ground, &CellFacts),
    zoning: &Zoning,
    outlines: &[MultiPolygon<f64>],
) -> Result<Checked<MachineShapes>, LayError> {
    let zones = zoning.zones.len();
    let margins = facts.margin.as_ref().map_or_else(
        || vec![MultiPolygon::new(Vec::new()); zones],
        |margin| margin.outlines(&zoning.zone_of, zones),
    );
    let Some(look_ahead) = &machine.look_ahead else {
        let outlines = outlines
            .iter()
            .zip(margins)
            .map(|(outline, margin)| with_margin(outline, margin))
            .collect();
        return Ok(Checked::clean(MachineShapes {
            outlines,
            inside: None,
        }));
    };
    let over = |whole: &MultiPolygon<f64>| {
        ahead::shifted(ground, machine, look_ahead, &zoning.zone_of, zones, whole)
    };
    let inside = over(&ground.mapped)?;
    let shapes = MachineShapes {
        outlines: over(&ahead::with_margins(ground, &margins))?,
        inside: Some(inside),
    };
    let finding = ahead::finding(look_ahead, machine, ground);
    Ok(Checked::new(shapes, vec![finding]))
}

/// The zones as records; the range of their rates is added once it is drawn. `rated` knows the zone of each cell.
pub fn records(
    product: Option<&Product>,
    rated: &Rated,
    zoning: &Zoning,
    outlines: Vec<MultiPolygon<f64>>,
    shapes: MachineShapes,
) -> Vec<ZoneRecord> {
    let mut states: Vec<BTreeMap<CellState, f64>> = vec![BTreeMap::new(); zoning.zones.len()];
    for cell in &rated.cells {
        *states[cell.zone as usize - 1]
            .entry(cell.state)
            .or_default() += cell.area.get();
    }
    let mut inside = shapes.inside.map(Vec::into_iter);
    zoning
        .zones
        .iter()
        .zip(outlines)
        .zip(shapes.outlines)
        .zip(&states)
        .enumerate()
        .map(|(k, (((zone, outline), machine_outline), states))| {
            let n = NRate::kg_per_ha(zone.n);
            let thin_only =
                states.contains_key(&CellState::Thin) && !states.contains_key(&CellState::Canopy);
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
                machine_inside: inside.as_mut().and_then(Iterator::next),
                machine_outline,
                outline,
            }
        })
        .collect()
}

/// What simplifying and rounding borders did, as far as the user should know.
fn wording_of_drawing(shaped: &Shaped, rule: &ShapeRule) -> Vec<Finding> {
    let mut findings = Vec::new();
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
                100.0 * shaped.maximum_change
            ),
        ));
    }
    findings
}

fn classes_of(by: &ZonesBy, rated: &Rated) -> Result<Option<Classes>, ClassifyError> {
    let ZonesBy::Classes(breaks) = by else {
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
