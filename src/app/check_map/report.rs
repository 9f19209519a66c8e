//! What a check has to say: the map in a few lines, its faults by kind, each with its place.

use serde_json::{Value, json};

use crate::app::check_map::{CheckMapRequest, fault_json};
use crate::finding::{Code, Finding, Severity, by_weight, codes};
use crate::map::faults::fault::Fault;
use crate::map::faults::repair::Repair;
use crate::map::faults::{Against, Verdict};
use crate::map::imported::{ImportedMap, System};
use crate::report::model::{Block, Brief, Column, Report, Row, Table};
use crate::space::crs::{Crs, Projector};
use crate::units::{Area, RateUnit};

/// Faults of one code that are told one by one; all stand in JSON and in the layer.
pub(super) const REPORTED: usize = 10;

pub(super) fn report(
    request: &CheckMapRequest,
    map: &ImportedMap,
    against: &Against,
    verdict: &Verdict,
    repair: Option<&Repair>,
    files: Vec<(String, u64)>,
) -> Report {
    let [errors, cautions, notes] = counts(&verdict.faults);
    let mut blocks = vec![Block::rows("Map", rows(map, against, verdict))];
    blocks.push(Block::rows(
        "Result",
        vec![
            Row::new("stops", errors.to_string()).with_note(if errors > 0 {
                "not fit for a machine as it stands"
            } else {
                "none"
            }),
            Row::new("cautions", cautions.to_string()),
            Row::new("notes", notes.to_string()),
        ],
    ));
    let table = kinds(&verdict.faults);
    if !table.rows.is_empty() {
        blocks.push(Block::table("By kind", table));
    }
    if let Some(repair) = repair {
        if !repair.done.is_empty() {
            blocks.push(Block::text("Repaired", shortened(&repair.done)));
        }
        if !repair.left.is_empty() {
            blocks.push(Block::text("Left as it was", shortened(&repair.left)));
        }
    }
    let json = json!({
        "map": about(request, map, verdict),
        "errors": errors,
        "cautions": cautions,
        "notes": notes,
        "faults": faults_json(map, &verdict.faults),
        "repair": repair.map(|repair| json!({ "done": repair.done, "left": repair.left })),
    });
    Report {
        title: format!("Check of {}", request.map.display()),
        brief: Some(Brief {
            rows: brief_rows(map, against, verdict, [errors, cautions, notes], repair),
            next: next(request, errors, repair),
            findings: Some(findings(&verdict.faults, usize::MAX)),
            ..Brief::default()
        }),
        blocks,
        json,
        findings: findings(&verdict.faults, REPORTED),
        files,
        stopped: errors > 0,
    }
}

/// How many faults stop, ask for caution, are worth knowing.
pub(super) fn counts(faults: &[Fault]) -> [usize; 3] {
    [Severity::Stop, Severity::Caution, Severity::Note].map(|severity| {
        faults
            .iter()
            .filter(|fault| fault.severity == severity)
            .count()
    })
}

/// What a map is, for scripts.
pub(super) fn about(request: &CheckMapRequest, map: &ImportedMap, verdict: &Verdict) -> Value {
    json!({
        "path": request.map.display().to_string(),
        "name": map.name,
        "task": map.part,
        "format": map.kind.name(),
        "system": map.system.known().map(ToString::to_string),
        "quantity": map.meaning.quantity.name(),
        "unit": map.meaning.unit.map(RateUnit::label),
        "rate_column": map.rate_column,
        "zones": map.patches.len(),
        "cells": map.lattice.as_ref().map(|lattice| lattice.rates.len()),
        "area_m2": verdict.sums.area_m2,
        "total": verdict.sums.total,
    })
}

/// Faults, for scripts.
pub(super) fn faults_json(map: &ImportedMap, faults: &[Fault]) -> Vec<Value> {
    let lonlat = match &map.system {
        System::Known(crs) => Projector::new(crs, &Crs::wgs84()).ok(),
        System::Missing(_) => None,
    };
    faults
        .iter()
        .map(|fault| fault_json(fault, lonlat.as_ref()))
        .collect()
}

/// The rows of the short answer.
fn brief_rows(
    map: &ImportedMap,
    against: &Against,
    verdict: &Verdict,
    [stops, cautions, notes]: [usize; 3],
    repair: Option<&Repair>,
) -> Vec<Row> {
    let mut rows: Vec<Row> = rows(map, against, verdict)
        .into_iter()
        .filter(|row| row.label != "reference system")
        .collect();
    rows.push(Row::new(
        "result",
        format!(
            "{stops} stops, {cautions} cautions, {notes} notes{}",
            if stops > 0 {
                ": not fit for a machine"
            } else {
                ""
            }
        ),
    ));
    if let Some(repair) = repair {
        rows.push(Row::new(
            "repaired",
            format!(
                "{} changes, {} left as they were",
                repair.done.len(),
                repair.left.len()
            ),
        ));
    }
    rows
}

/// What to do with the map.
fn next(request: &CheckMapRequest, stops: usize, repair: Option<&Repair>) -> Vec<String> {
    let mut next = Vec::new();
    if stops > 0 && repair.is_none() {
        next.push("Fix it where it was made, or try --repair COPY; --faults FILE.gpkg writes the places as a layer.".to_owned());
    }
    if let Some(copy) = request.repair.as_ref().filter(|_| repair.is_some()) {
        next.push(format!(
            "Check the repaired copy: haulm check {}",
            copy.display()
        ));
    }
    next
}

fn rows(map: &ImportedMap, against: &Against, verdict: &Verdict) -> Vec<Row> {
    let sums = &verdict.sums;
    let system = match &map.system {
        System::Known(crs) => format!("{crs} ({})", crs.name()),
        System::Missing(_) => "none".to_owned(),
    };
    let wording = if map.meaning.wording_by.is_empty() {
        "their unit is unknown".to_owned()
    } else {
        format!("by {}", map.meaning.wording_by)
    };
    let mut rows = vec![
        Row::new("format", map.kind.name()),
        Row::new("reference system", system),
    ];
    match &map.lattice {
        Some(lattice) => rows.push(
            Row::new("grid", format!("{} × {} cells", lattice.cols, lattice.rows))
                .with_note("columns × rows"),
        ),
        None => rows.push(Row::new("records", map.patches.len().to_string())),
    }
    if let Some((low, high)) = sums.range {
        rows.push(
            Row::new(
                "rates",
                format!("{} to {} {}", shown(low), shown(high), map.meaning.label()),
            )
            .with_note(format!("{}, {wording}", map.meaning.quantity.name())),
        );
    }
    if sums.area_m2 > 0.0 {
        rows.push(Row::new("ground with a rate", area(map, sums.area_m2)));
        let unit = map.meaning.unit.map_or("", RateUnit::total_label);
        if !unit.is_empty() {
            rows.push(
                Row::new("total", format!("{} {unit}", shown(sums.total)))
                    .with_note("rate times ground, as the map stands"),
            );
        }
    }
    match sums.field_m2 {
        Some(field) => {
            rows.push(Row::new("field", area(map, field)).with_note("boundary less exclusions"));
        }
        None if against.boundary.is_none() => rows.push(
            Row::new("field", "not given")
                .with_note("gaps and ground outside are found only with --boundary"),
        ),
        None => {}
    }
    rows
}

/// An area in the map's own units.
pub(super) fn area(map: &ImportedMap, m2: f64) -> String {
    let area = Area::m2(m2);
    if map.meaning.unit.is_some_and(RateUnit::is_us) {
        format!("{:.2} ac", area.as_ac())
    } else {
        format!("{:.2} ha", area.as_ha())
    }
}

pub(super) fn shown(value: f64) -> String {
    if value == libm::round(value) {
        format!("{value:.0}")
    } else {
        format!("{value:.2}")
    }
}

/// How many of each kind, the heaviest first, else by first appearance.
pub(super) fn kinds(faults: &[Fault]) -> Table {
    let mut seen: Vec<(Code, Severity, usize)> = Vec::new();
    for fault in faults {
        match seen
            .iter_mut()
            .find(|(code, severity, _)| *code == fault.code && *severity == fault.severity)
        {
            Some((.., count)) => *count += 1,
            None => seen.push((fault.code, fault.severity, 1)),
        }
    }
    seen.sort_by_key(|kind| std::cmp::Reverse(kind.1));
    let rows = seen
        .iter()
        .map(|(code, severity, count)| {
            vec![
                count.to_string(),
                severity.word().to_owned(),
                code.word().to_owned(),
            ]
        })
        .collect();
    Table {
        columns: vec![
            Column::right("count"),
            Column::left("weight"),
            Column::left("kind"),
        ],
        rows,
    }
}

/// The faults as findings; of more than `most` alike the first, and how many more.
pub(super) fn findings(faults: &[Fault], most: usize) -> Vec<Finding> {
    let mut findings = Vec::new();
    let mut seen: Vec<(Code, usize)> = Vec::new();
    for fault in faults {
        let at = seen
            .iter()
            .position(|(code, _)| *code == fault.code)
            .unwrap_or_else(|| {
                seen.push((fault.code, 0));
                seen.len() - 1
            });
        let count = seen.get_mut(at).map_or(1, |(_, count)| {
            *count += 1;
            *count
        });
        if count > most {
            continue;
        }
        let place = match fault.at {
            Some(at) => format!("{} at {}, {}: ", fault.place, digits(at.x), digits(at.y)),
            None if fault.place.number > 0 || fault.place.name.is_some() => {
                format!("{}: ", fault.place)
            }
            None => String::new(),
        };
        findings.push(Finding {
            code: fault.code,
            severity: fault.severity,
            message: format!("{place}{}", fault.message),
            figure: None,
            accepted: None,
        });
    }
    for (code, count) in seen.iter().filter(|(_, count)| *count > most) {
        findings.push(Finding::note(
            codes::FAULTS_MORE,
            format!(
                "{} more of the kind {code}: all stand in --json and in the layer of --faults",
                count - most
            ),
        ));
    }
    by_weight(&mut findings);
    findings
}

/// Seven decimals of a degree, two of a metre.
fn digits(value: f64) -> String {
    if value.abs() <= 180.0 {
        format!("{value:.7}")
    } else {
        format!("{value:.2}")
    }
}

fn shortened(lines: &[String]) -> Vec<String> {
    let mut notice: Vec<String> = lines.iter().take(REPORTED).cloned().collect();
    if lines.len() > REPORTED {
        notice.push(format!(
            "and {} more; all stand in --json",
            lines.len() - REPORTED
        ));
    }
    notice
}
