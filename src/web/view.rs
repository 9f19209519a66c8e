//! What a page is sent of a job: answers, findings, zones, ground. Numbers come from the record, which is what `haulm map` writes.

use std::path::Path;

use geo::{BoundingRect as _, MultiPolygon};
use serde::Serialize;
use serde_json::{Map, Value, json};

use crate::app::decide::{Decision, Rates};
use crate::app::error::AppError;
use crate::app::photo::tiling;
use crate::app::prepare::Prepared;
use crate::finding::{Finding, codes};
use crate::job::fault::Fault;
use crate::job::settings::Output;
use crate::map::palette::{Legend, ramp};
use crate::pipeline::set_rates::words_of;
use crate::pipeline::strips::How;
use crate::space::crs::{Crs, Projector};
use crate::space::polygon::Rectangle;
use crate::web::answers::{Answer, answers, unfinished};
use crate::web::edit;
use crate::web::job::{Job, Shown};
use crate::web::state::Shared;

/// A finding with what the reference page says of its code.
#[derive(Clone, Debug, Serialize, utoipa::ToSchema)]
pub(crate) struct FindingView {
    code: String,
    /// `note`, `caution` or `stop`.
    severity: &'static str,
    message: String,
    /// Why it matters, and what to do.
    why: String,
    /// Which question it belongs to, 1 to 5.
    question: usize,
    /// The figure that it hangs on, which an acceptance names.
    figure: Option<String>,
    /// Who accepted it, and why.
    accepted: Option<String>,
    /// Whether an adviser can accept it in the job.
    acceptable: bool,
}

/// A fault of the job file at its key.
#[derive(Clone, Debug, Serialize, utoipa::ToSchema)]
pub(crate) struct FaultView {
    key: String,
    line: usize,
    message: String,
    hint: String,
    question: usize,
}

/// What is shown of a job.
#[derive(Clone, Debug, Serialize, utoipa::ToSchema)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "facts that the page shows, each by itself"
)]
pub(crate) struct View {
    id: usize,
    file: String,
    revision: u64,
    decided: u64,
    reading: u64,
    /// `ready`, `stopped`, `unfinished` or `refused`.
    state: &'static str,
    saved: bool,
    can_undo: bool,
    can_redo: bool,
    /// Whether the uncertainty is still being drawn.
    drawing: bool,
    /// The job's values as a tree.
    #[schema(value_type = Object)]
    job: Value,
    text: String,
    answers: Vec<Answer>,
    findings: Vec<FindingView>,
    faults: Vec<FaultView>,
    /// Why nothing was decided, as in the terminal's `--json`.
    #[schema(value_type = Option<Object>)]
    error: Option<Value>,
    /// The record, without map id, outputs and time.
    #[schema(value_type = Option<Object>)]
    record: Option<Value>,
    #[schema(value_type = Vec<Object>)]
    zones: Vec<Value>,
    /// What the colours of rates mean.
    #[schema(value_type = Option<Object>)]
    legend: Option<Value>,
    #[schema(value_type = Vec<Object>)]
    check_points: Vec<Value>,
}

/// The question that a section of the job bears on.
pub(crate) fn question_of(section: &str) -> usize {
    match section.split('.').next().unwrap_or_default() {
        "field" | "imagery" | "points" => 1,
        "reference" | "season" | "crop" => 2,
        "response" | "rate" | "prices" => 3,
        "uncertainty" | "application" | "accept" => 4,
        _ => 5,
    }
}

/// The question that a finding bears on, by the group of its code.
fn question_of_code(code: &str) -> usize {
    match code.split('.').next().unwrap_or_default() {
        "plane" | "boundary" | "image" | "exclusion" | "field" | "points" | "file" | "raster" => 1,
        "reference" | "response" | "season" | "weather" | "ramp" => 2,
        "rate" | "money" | "method" | "prices" => 3,
        "product" | "machine" | "zones" | "output" | "task" => 5,
        _ => 4,
    }
}

fn finding(finding: &Finding) -> FindingView {
    let code = finding.code.word();
    FindingView {
        code: code.to_owned(),
        severity: finding.severity.word(),
        message: finding.message.clone(),
        why: codes::find(code).map_or_else(String::new, |code| code.why().to_owned()),
        question: question_of_code(code),
        figure: finding.figure.clone(),
        accepted: finding
            .accepted
            .as_ref()
            .map(|accepted| format!("{}: {}", accepted.by, accepted.reason)),
        acceptable: finding.stops(),
    }
}

fn fault(fault: &Fault) -> FaultView {
    FaultView {
        key: fault.key.clone(),
        line: fault.line,
        message: sentence(&fault.problem.to_string()),
        hint: fault.hint(),
        question: question_of(&fault.key),
    }
}

/// With a capital, unless it begins with a name that must stay as it is: a file, a key.
fn sentence(text: &str) -> String {
    let word = text.split([' ', ',']).next().unwrap_or_default();
    let mut chars = text.chars();
    match chars.next() {
        Some(first) if word.chars().all(char::is_alphabetic) => {
            first.to_uppercase().chain(chars).collect()
        }
        _ => text.to_owned(),
    }
}

/// A refusal with files as people know them: below the page's folder.
fn refusal(error: &AppError, root: &Path) -> Value {
    fn shortened(value: &mut Value, folder: &str) {
        match value {
            Value::String(text) => *text = text.replace(folder, ""),
            Value::Array(list) => list.iter_mut().for_each(|each| shortened(each, folder)),
            Value::Object(fields) => fields.values_mut().for_each(|each| shortened(each, folder)),
            _ => {}
        }
    }
    let mut value = error.to_json();
    shortened(&mut value, &format!("{}/", root.display()));
    value
}

/// A line on the plane, to a millimetre.
fn line(line: &geo::LineString<f64>) -> Value {
    line.coords()
        .map(|c| json!([millimetres(c.x), millimetres(c.y)]))
        .collect()
}

/// Rings of a shape on the plane, to a millimetre.
fn rings(shape: &MultiPolygon<f64>) -> Value {
    shape
        .iter()
        .map(|polygon| {
            std::iter::once(polygon.exterior())
                .chain(polygon.interiors())
                .map(line)
                .collect::<Value>()
        })
        .collect()
}

fn millimetres(value: f64) -> f64 {
    libm::round(value * 1000.0) / 1000.0
}

pub(crate) fn view(shared: &Shared, job: &Job, shown: &Shown) -> View {
    let tree =
        edit::document(&shown.text).map_or(Value::Null, |document| edit::tree(document.as_item()));
    let faults: Vec<FaultView> = shown.faults.iter().map(fault).collect();
    let mut out = View {
        id: job.id,
        file: job.file.clone(),
        revision: shown.revision,
        decided: shown.decided,
        reading: shown.reading,
        state: if shown.faults.is_empty() {
            "refused"
        } else {
            "unfinished"
        },
        saved: shown.saved,
        can_undo: shown.can_undo,
        can_redo: shown.can_redo,
        drawing: shown.drawing,
        job: tree,
        text: shown.text.clone(),
        answers: Vec::new(),
        findings: Vec::new(),
        faults,
        error: shown
            .error
            .as_ref()
            .map(|error| refusal(error, shared.root())),
        record: None,
        zones: Vec::new(),
        legend: None,
        check_points: Vec::new(),
    };
    if let Some(decision) = &shown.decision {
        decided(&mut out, decision);
    } else {
        let mut missing: [Vec<String>; 5] = Default::default();
        for fault in &out.faults {
            missing[fault.question - 1].push(fault.message.clone());
        }
        let prepared = shown.prepared.as_ref();
        let area = prepared.map(|prepared| prepared.ground().area);
        out.answers = unfinished(&missing, area);
    }
    out
}

fn decided(out: &mut View, decision: &Decision) {
    let prescription = &decision.outcome().prescription;
    let output = &decision.settings().output;
    let mut record = Value::Object(decision.record());
    let rates = || prescription.zones.iter().map(|zone| zone.n.get());
    record["page"] = json!({
        "minimum_n_kg_ha": rates().reduce(f64::min),
        "maximum_n_kg_ha": rates().reduce(f64::max),
    });
    out.state = if decision.stopped() {
        "stopped"
    } else {
        "ready"
    };
    out.answers = answers(&record, output, out.drawing);
    let mut findings: Vec<&Finding> = decision.findings().iter().collect();
    findings.sort_by_key(|finding| {
        (
            std::cmp::Reverse(finding.stops()),
            std::cmp::Reverse(finding.severity),
        )
    });
    out.findings = findings.into_iter().map(finding).collect();
    let unit = |rate| {
        prescription
            .product
            .as_ref()
            .and_then(|product| product.in_unit(rate, output.unit))
    };
    out.zones = prescription
        .zones
        .iter()
        .map(|zone| {
            json!({
                "zone": zone.zone,
                "n_kg_ha": zone.n.get(),
                "p10": zone.n_low.map(crate::units::NRate::get),
                "p90": zone.n_high.map(crate::units::NRate::get),
                "product": zone.product.and_then(unit),
                "area_m2": zone.area.get(),
                "index": zone.index,
                "cells": zone.cells,
                "state": zone.state.word(),
                "rings": rings(&zone.outline),
            })
        })
        .collect();
    out.legend = Some(legend(rates(), output));
    out.check_points = decision
        .check_points()
        .iter()
        .map(|point| json!({ "longitude": point.longitude, "latitude": point.latitude, "rate": point.rate }))
        .collect();
    out.record = Some(record);
}

/// What the colours of rates mean.
fn legend(rates: impl Iterator<Item = f64>, output: &Output) -> Value {
    let legend = Legend::new("Rate", "kg N/ha", rates);
    json!({
        "unit": output.unit.label(),
        "total_unit": output.unit.total_label(),
        "classes": legend.classes.iter().map(|class| json!({
            "from": class.from, "to": class.to, "least": class.minimum, "greatest": class.maximum, "colour": class.colour.hex(),
        })).collect::<Vec<_>>(),
    })
}

/// Rates of cells before borders, sums and findings are known.
#[derive(Debug)]
pub(crate) struct Early {
    /// What the colours mean, as JSON.
    pub(crate) legend: String,
    /// Two columns, as [`columns`] has them: the rate of each cell, and that of its zone.
    pub(crate) bytes: Vec<u8>,
}

pub(crate) fn early(rates: &Rates) -> Early {
    let found = rates.cells();
    let zones = &found.zoning.zones;
    let of_zones = found.rated.cells.iter().map(|cell| {
        let zone = zones.get((cell.zone as usize).wrapping_sub(1));
        zone.map_or(f64::NAN, |zone| zone.n)
    });
    let own = found.rated.cells.iter().map(|cell| cell.n.get());
    Early {
        legend: legend(zones.iter().map(|zone| zone.n), &rates.settings().output).to_string(),
        bytes: own
            .chain(of_zones)
            .flat_map(|n| (n as f32).to_le_bytes())
            .collect(),
    }
}

/// The ramp of continuous values, 64 colours from the least up.
pub(crate) fn colours() -> Vec<String> {
    (0..64).map(|at| ramp(f64::from(at) / 63.0).hex()).collect()
}

/// Corners of a place of a strip's frame.
fn placed(frame: &Rectangle, along: f64, across: f64, length: f64) -> Value {
    let corner = |u: f64, v: f64| {
        let c = frame.point(u + along, v + across);
        json!([millimetres(c.x), millimetres(c.y)])
    };
    let (l, w) = (length, frame.width);
    json!([
        corner(0.0, 0.0),
        corner(l, 0.0),
        corner(l, w),
        corner(0.0, w),
        corner(0.0, 0.0)
    ])
}

/// Strips as measured, with their placebo places and the index along them.
fn strips(prepared: &Prepared) -> Value {
    let survey = prepared.survey();
    let ground = prepared.ground();
    ground
        .strips
        .iter()
        .enumerate()
        .map(|(k, outline)| {
            let strip = survey.strips.get(k);
            let placebo = survey.placebos.get(k).and_then(|placebo| placebo.as_ref().ok());
            let frame = strip.map(|strip| match &strip.plan.how {
                How::Fine { core, .. } => *core,
                How::Coarse { .. } => strip.plan.outer,
            });
            let places: Vec<Value> = placebo
                .zip(frame)
                .map(|(placebo, frame)| {
                    placebo
                        .places
                        .iter()
                        .zip(&placebo.measured.ratios)
                        .map(|(place, ratio)| {
                            let along = place.along as f64 * placebo.length / 4.0;
                            let across = place.across as f64 * frame.width / 2.0;
                            json!({ "ratio": ratio, "ring": placed(&frame, along, across, placebo.length) })
                        })
                        .collect()
                })
                .unwrap_or_default();
            let profile: Vec<Value> = strip
                .map(|strip| {
                    strip
                        .profile
                        .iter()
                        .map(|piece| {
                            json!({
                                "from": piece.from, "to": piece.to, "strip": piece.strip, "beside": piece.beside,
                                "strip_dropped": piece.strip_dropped, "beside_dropped": piece.beside_dropped,
                            })
                        })
                        .collect()
                })
                .unwrap_or_default();
            json!({
                "strip": k + 1,
                "rings": rings(outline),
                "ratio": placebo.map(|placebo| placebo.measured.ratio),
                "placebo": places,
                "profile": profile,
                "axis": strip.map(|strip| {
                    let frame = strip.plan.outer;
                    let (a, b) = (frame.point(0.0, frame.width / 2.0), frame.point(frame.length, frame.width / 2.0));
                    json!({ "from": [a.x, a.y], "to": [b.x, b.y], "width": frame.width, "azimuth": frame.azimuth_deg() })
                }),
            })
        })
        .collect()
}

/// The ground of what was read: outlines, the grid's frames, the index as it was taken, and where it lies on the globe.
///
/// # Errors
/// When the plane has no way to longitude and latitude.
pub(crate) fn ground(shared: &Shared, shown: &Shown) -> Result<Value, AppError> {
    let Some(prepared) = &shown.prepared else {
        return Ok(Value::Null);
    };
    let ground = prepared.ground();
    let bounds = ground
        .boundary
        .bounding_rect()
        .ok_or_else(|| AppError::fault("page.ground", "the field has no extent"))?;
    let way = Projector::new(&ground.plane.crs, &Crs::wgs84())
        .map_err(|error| AppError::fault("page.ground", error.to_string()))?;
    let mut corners = Vec::new();
    for k in 0..9u32 {
        let (x, y) = (
            bounds.min().x + f64::from(k % 3) / 2.0 * bounds.width(),
            bounds.min().y + f64::from(k / 3) / 2.0 * bounds.height(),
        );
        let (longitude, latitude) = way
            .point(x, y)
            .map_err(|error| AppError::fault("page.ground", error.to_string()))?;
        corners.push(json!([longitude, latitude]));
    }
    let grid = &ground.grid;
    let parts: Vec<Value> = (0..grid.ways())
        .map(|part| {
            let frame = grid.drive(part);
            let cells = grid.cells_of(part);
            let (du, dv) = (frame.to_xy(1.0, 0.0), frame.to_xy(0.0, 1.0));
            json!({
                "first": cells.start, "after": cells.end, "curved": grid.is_curved(part),
                "origin": frame.to_xy(frame.u0, frame.v0),
                "along": [du.0, du.1], "across": [dv.0, dv.1],
                "length": frame.length, "width": frame.width,
                "region": ground.driven.get(part).map(|driven| rings(&driven.region)),
            })
        })
        .collect();
    let curved: Map<String, Value> = (0..grid.ways())
        .filter(|part| grid.is_curved(*part))
        .flat_map(|part| grid.cells_of(part))
        .map(|cell| (cell.to_string(), rings(&grid.outline(cell))))
        .collect();
    let overview = prepared.inner().overview.as_ref().map(|overview| {
        json!({ "corner": [overview.corner.0, overview.corner.1], "step": overview.step, "cols": overview.cols, "rows": overview.rows })
    });
    let finished = shown.decision.is_some();
    Ok(json!({
        "reading": shown.reading,
        "name": prepared.settings().field.name,
        "plane": { "code": ground.plane.crs.to_string(), "name": ground.plane.crs.name(), "convergence_deg": ground.plane.convergence_deg, "areal_scale": ground.plane.areal_scale },
        "bounds": [bounds.min().x, bounds.min().y, bounds.max().x, bounds.max().y],
        "globe": corners,
        "boundary": rings(&ground.boundary),
        "field": rings(&ground.mapped),
        "exclusions": rings(&ground.kept_clear),
        "excluded": ground.excluded.iter().map(rings).collect::<Value>(),
        "set": ground.set.iter().map(rings).collect::<Value>(),
        "guidance": ground.guidance.iter().map(line).collect::<Value>(),
        "area_m2": ground.area,
        "cells": grid.cells.len(),
        "parts": parts,
        "outlines": curved,
        "strips": if finished || !ground.strips.is_empty() { strips(prepared) } else { json!([]) },
        "index": overview,
        "tiles": tiling(prepared).map(|(corner, side, finest)| json!({ "corner": [corner.0, corner.1], "side": side, "finest": finest })),
        "index_name": prepared.inner().image.index.name(),
        "pixel": ground.pixel,
        "may_write": shared.may_write(),
    }))
}

/// Columns of cells, one after the other, each a number of four bytes a cell, least byte first; NaN where there is no value.
///
/// # Errors
/// A column that is not known.
pub(crate) fn columns(decision: &Decision, names: &str) -> Result<Vec<u8>, AppError> {
    let cells = &decision.outcome().prescription.cells;
    let none = f64::NAN;
    let rate = |value: Option<crate::units::NRate>| value.map_or(none, crate::units::NRate::get);
    let mut bytes = Vec::with_capacity(4 * cells.len() * names.split(',').count());
    for name in names.split(',') {
        type Cell = crate::map::prescription::CellRecord;
        let pick: &dyn Fn(&Cell) -> f64 = match name {
            "row" => &|cell| f64::from(cell.row),
            "col" => &|cell| f64::from(cell.col),
            "area" => &|cell| cell.area.get(),
            "index" => &|cell| cell.index.unwrap_or(none),
            "ratio" => &|cell| cell.ratio.unwrap_or(none),
            "n" => &|cell| cell.n.get(),
            "n_exact" => &|cell| rate(cell.n_exact),
            "spread" => &|cell| rate(cell.n_high) - rate(cell.n_low),
            "zone" => &|cell| f64::from(cell.zone),
            "state" => &|cell| f64::from(cell.state as u8),
            _ => {
                return Err(AppError::misuse(
                    "page.column",
                    "there is no such column of cells",
                ));
            }
        };
        for cell in cells {
            bytes.extend_from_slice(&(pick(cell) as f32).to_le_bytes());
        }
    }
    Ok(bytes)
}

/// What is set by hand where a cell lies, and why.
fn set_of(decision: &Decision, at: usize) -> Option<Value> {
    let outcome = decision.outcome();
    let host = (*outcome.rated.follows.get(at)?).map_or(at, |host| host as usize);
    let table = (*decision.prepared.inner().facts.set.get(host)?)? as usize;
    let found = outcome.set.get(table)?;
    let us = decision.settings().output.us_units;
    Some(json!({ "table": table, "what": words_of(found.to, us), "reason": found.reason }))
}

/// Everything that is known of one cell.
pub(crate) fn cell(decision: &Decision, at: usize) -> Option<Value> {
    let outcome = decision.outcome();
    let prescription = &outcome.prescription;
    let cell = prescription.cells.get(at)?;
    let zone = prescription
        .zones
        .get((cell.zone as usize).checked_sub(1)?)?;
    let rate = |value: Option<crate::units::NRate>| value.map(crate::units::NRate::get);
    let kg_ha = |value: Option<crate::units::Yield>| value.map(crate::units::Yield::get);
    let product = zone
        .product
        .zip(prescription.product.as_ref())
        .and_then(|(rate, product)| product.in_unit(rate, prescription.unit));
    Some(json!({
        "cell": at, "row": cell.row, "col": cell.col, "area_m2": cell.area.get(), "seen": cell.seen.get(), "bare": cell.bare.get(),
        "state": cell.state.word(), "index": cell.index,
        "reference": outcome.rated.reference_of.get(at),
        "ratio_raw": cell.ratio_raw, "ratio": cell.ratio,
        "yield_without": kg_ha(cell.yield_without), "yield_with": kg_ha(cell.yield_with),
        "n_raw": rate(cell.n_raw), "n_exact": rate(cell.n_exact), "n": cell.n.get(),
        "p10": rate(cell.n_low), "p90": rate(cell.n_high),
        "capped": cell.capped.word(), "beyond": cell.beyond,
        "set": set_of(decision, at),
        "zone": cell.zone, "zone_n": zone.n.get(), "zone_product": product,
        "rings": rings(&prescription.grid.outline(at)),
    }))
}

/// What flat rates would bring on the mean of the canopy: kg N/ha, kg/ha.
pub(crate) fn curve(decision: &Decision) -> Value {
    let settings = decision.settings();
    crate::pipeline::curve::mean_yield_at_flat_rates(
        &settings.response,
        &settings.rate,
        &decision.outcome().rated,
    )
    .into_iter()
    .map(|(rate, grain)| json!([rate.get(), grain.get()]))
    .collect()
}
