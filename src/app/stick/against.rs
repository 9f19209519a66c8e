//! The proof that a stick holds what the office made: every task, every cell, every shapefile, map by map.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::app::commit;
use crate::app::commit::{STICK_RECORD, sha256_hex};
use crate::app::error::AppError;
use crate::app::requests::Common;
use crate::app::stick::office::{Office, is_of, offices, rights_of, sources};
use crate::app::stick::state::{TASKDATA, is_log};
use crate::app::stick::{cards, several, stick_folder};
use crate::finding::{Finding, codes};
use crate::format::task_set::{TaskFacts, TaskSet, compare, tasks_of};
use crate::report::counted::counted;
use crate::report::model::{Block, Column, Report, Row, Table};

/// Files of task data larger than this are not read: no grid that a controller takes comes near it. (bytes)
const MAXIMUM: u64 = 256 << 20;

/// What to prove.
#[derive(Clone, Debug, Default)]
pub struct CheckStickRequest {
    /// The stick's folder.
    pub stick: PathBuf,
    /// What it should hold: job files, output folders, folders that hold either.
    pub against: Vec<PathBuf>,
    /// What every command may be told.
    pub common: Common,
}

/// A map and what was found of it.
struct Compared<'a> {
    office: &'a Office,
    cells: usize,
    shapefile: bool,
    faults: usize,
}

/// What lies on a stick.
struct Stick {
    folder: PathBuf,
    set: TaskSet,
    tasks: Vec<TaskFacts>,
    /// Names in TASKDATA.
    names: BTreeSet<String>,
    /// Base name of a map's files on the stick, by map id; `None` without a record.
    record: Option<BTreeMap<String, Value>>,
    /// Path and hash of each file that the record lists.
    listed: BTreeMap<String, String>,
}

/// Compares a stick with the maps of the office.
///
/// # Errors
/// When the stick or a map of the office cannot be read at all. What differs is a finding.
pub fn check_stick(request: &CheckStickRequest) -> Result<Report, AppError> {
    let mut findings = Vec::new();
    let sources = sources(&request.against)?;
    rights_of(&sources, &[], &request.common)
        .with_output(&request.stick)
        .give_up_others(&request.common)?;
    let offices = offices(sources)?.into_log(&mut findings);
    let stick = open(&request.stick, &mut findings)?;
    let mut compared = Vec::new();
    for office in &offices {
        let before = findings.len();
        let (cells, shapefile) = one(&stick, office, &mut findings);
        compared.push(Compared {
            office,
            cells,
            shapefile,
            faults: findings[before..]
                .iter()
                .filter(|finding| finding.stops())
                .count(),
        });
    }
    extra(&stick, &offices, &mut findings);
    strangers(&stick, &offices, &mut findings)?;
    Ok(report(&request.stick, &compared, findings))
}

fn open(folder: &Path, findings: &mut Vec<Finding>) -> Result<Stick, AppError> {
    stick_folder(folder)?;
    let unreadable = |path: &Path, error: &std::io::Error| {
        AppError::refused("stick.unreadable", "the stick cannot be read")
            .with_fact(path.display().to_string(), error.to_string())
            .with_hint("try another port; if it stays so, take another stick")
    };
    if commit::pending(folder).map_err(AppError::from)?.is_some() {
        return Err(AppError::refused(
            "output.interrupted",
            "writing this stick was interrupted: old and new files lie side by side",
        )
        .with_fact(folder.display().to_string(), "NOT FOR USE")
        .with_hint("write it again with haulm stick, which completes what is half done"));
    }
    let bytes = fs_err::read(folder.join(STICK_RECORD)).ok();
    let listed = bytes.as_deref().and_then(commit::listed);
    let record = listed.as_ref().and(bytes).and_then(|bytes| {
        let record: Value = serde_json::from_slice(&bytes).ok()?;
        let maps = record["maps"].as_array()?.iter();
        Some(
            maps.filter_map(|map| Some((map["map_id"].as_str()?.to_owned(), map.clone())))
                .collect(),
        )
    });
    if record.is_none() {
        findings.push(Finding::caution(
            codes::STICK_RECORD,
            format!(
                "the stick has no {STICK_RECORD} of haulm: its task data are compared by map id, its shapefiles and cards are not"
            ),
        ));
    }
    let mut stick = Stick {
        folder: folder.to_owned(),
        set: TaskSet::default(),
        tasks: Vec::new(),
        names: BTreeSet::new(),
        record,
        listed: listed
            .unwrap_or_default()
            .into_iter()
            .map(|item| (item.path, item.sha256))
            .collect(),
    };
    let tasks = folder.join(TASKDATA);
    if tasks.is_dir() {
        for entry in fs_err::read_dir(&tasks).map_err(|error| unreadable(&tasks, &error))? {
            let entry = entry.map_err(|error| unreadable(&tasks, &error))?;
            let name = entry.file_name().to_string_lossy().into_owned();
            let data = entry
                .metadata()
                .map_err(|error| unreadable(&entry.path(), &error))?;
            let requirement = name == "TASKDATA.XML"
                || name.starts_with("GRD")
                    && Path::new(&name)
                        .extension()
                        .is_some_and(|ending| ending == "bin");
            stick.names.insert(name.clone());
            if !requirement || !data.is_file() || data.len() > MAXIMUM {
                continue;
            }
            let path = entry.path();
            let bytes = fs_err::read(&path).map_err(|error| unreadable(&path, &error))?;
            if name == "TASKDATA.XML" {
                stick.set.main = bytes;
            } else {
                stick.set.files.insert(name, bytes);
            }
        }
    }
    if !stick.set.main.is_empty() {
        match tasks_of(&stick.set) {
            Ok(tasks) => stick.tasks = tasks,
            Err(error) => findings.push(Finding::stop(
                codes::STICK_TASK,
                format!("the stick's task data cannot be used: {error}; write the stick again"),
            )),
        }
    }
    Ok(stick)
}

/// Compares one map; returns the cells that are the same, and whether the shapefile is.
fn one(stick: &Stick, office: &Office, findings: &mut Vec<Finding>) -> (usize, bool) {
    let map = &office.map;
    let who = format!("map {} of {}", map.map_id, map.field);
    let mut cells = 0;
    let mut found = false;
    if let Some((set, due)) = &office.set {
        let tasks: Vec<&TaskFacts> = stick
            .tasks
            .iter()
            .filter(|task| is_of(task, &map.map_id))
            .collect();
        if tasks.len() > 1 {
            let text = format!(
                "{who} stands on the stick {} times; write it again",
                tasks.len()
            );
            findings.push(Finding::stop(codes::STICK_EXTRA, text));
        }
        if let Some(task) = tasks.first() {
            found = true;
            cells = task_faults(stick, set, due, task, &who, findings);
        }
    }
    let entry = stick
        .record
        .as_ref()
        .and_then(|record| record.get(&map.map_id));
    let name = entry.and_then(|entry| entry["name"].as_str());
    let mut shapefile = false;
    if let Some(name) = name {
        let mut named = map.clone();
        name.clone_into(&mut named.name);
        let wrong: Vec<String> = office
            .shapes
            .iter()
            .map(|(ending, bytes)| (format!("SHAPES/{name}.{ending}"), bytes))
            .filter(|(path, bytes)| !is_same(&stick.folder, path, bytes))
            .map(|(path, _)| path)
            .collect();
        let there = office.shapes.keys().any(|ending| {
            stick
                .folder
                .join(format!("SHAPES/{name}.{ending}"))
                .is_file()
        });
        found |= there;
        shapefile = wrong.is_empty() && !office.shapes.is_empty();
        if !wrong.is_empty() && (found || office.set.is_none()) {
            let text = format!(
                "{who}: missing or not as the office made it: {}; write the stick again",
                several(&wrong)
            );
            findings.push(Finding::stop(codes::STICK_SHAPEFILE, text));
            found = true;
        }
        let wrong: Vec<String> = cards(office, &named)
            .into_iter()
            .filter(|card| !is_same(&stick.folder, &card.path, &card.bytes))
            .map(|card| card.path)
            .collect();
        if !wrong.is_empty() && found {
            let text = format!(
                "{who}: the card {} is missing or not as it was written; print the office's",
                several(&wrong)
            );
            findings.push(Finding::caution(codes::STICK_CARD, text));
        }
    }
    if office.set.is_some() && !stick.tasks.iter().any(|task| is_of(task, &map.map_id)) || !found {
        let what = if found { "the task of " } else { "" };
        let text = format!("{what}{who} is not on the stick; write it again with this map");
        findings.push(Finding::stop(codes::STICK_MISSING, text));
    }
    (cells, shapefile)
}

/// Compares a task with the office's; returns the cells that are the same.
fn task_faults(
    stick: &Stick,
    set: &TaskSet,
    due: &TaskFacts,
    task: &TaskFacts,
    who: &str,
    findings: &mut Vec<Finding>,
) -> usize {
    if task.work > 0 || !task.planned {
        let text = format!(
            "{who}: its task {} carries work that a machine did or began; bring it back with haulm stick --bring-back",
            task.id
        );
        findings.push(Finding::caution(codes::STICK_RETURNED, text));
    }
    let differ: Vec<String> = due
        .parts
        .iter()
        .zip(&task.parts)
        .filter(|(due, found)| due.text != found.text)
        .map(|(due, _)| due.what.to_owned())
        .collect();
    if !differ.is_empty() {
        let text = format!(
            "{who}: its task {} differs from the office's in {}; do not use the stick, write it again",
            task.id,
            several(&differ)
        );
        findings.push(Finding::stop(codes::STICK_TASK, text));
    }
    let Some(grid) = &due.grid else { return 0 };
    let bytes = set.files.get(&grid.file).map_or(&[][..], Vec::as_slice);
    let on_stick = task
        .grid
        .as_ref()
        .and_then(|grid| Some((&grid.file, stick.set.files.get(&grid.file)?)));
    let Some((file, found)) = on_stick else {
        let text = format!(
            "{who}: the grid of its task {} is not on the stick; write it again",
            task.id
        );
        findings.push(Finding::stop(codes::STICK_GRID, text));
        return 0;
    };
    match compare(grid, bytes, found) {
        None => grid.rows * grid.cols,
        Some(fault) => {
            let text = format!("{who}, {file}: {fault}; do not use the stick, write it again");
            findings.push(Finding::stop(codes::STICK_GRID, text));
            0
        }
    }
}

fn is_same(folder: &Path, path: &str, bytes: &[u8]) -> bool {
    fs_err::read(folder.join(path)).is_ok_and(|found| found == bytes)
}

/// Maps of the stick that are none of those given.
fn extra(stick: &Stick, offices: &[Office], findings: &mut Vec<Finding>) {
    let mut extra: Vec<String> = stick
        .tasks
        .iter()
        .filter(|task| !offices.iter().any(|office| is_of(task, &office.map.map_id)))
        .map(|task| format!("{} ({})", task.name, task.id))
        .collect();
    for (map_id, map) in stick.record.iter().flatten() {
        let known = offices.iter().any(|office| office.map.map_id == *map_id)
            || stick.tasks.iter().any(|task| is_of(task, map_id));
        if !known {
            let field = map["field"].as_str().unwrap_or_default();
            extra.push(format!("{field} {map_id}"));
        }
    }
    if !extra.is_empty() {
        let text = format!(
            "the stick holds {} that {} none of the maps given: {}; name their output folders too, or write the stick again",
            counted(extra.len(), "map"),
            if extra.len() == 1 { "is" } else { "are" },
            several(&extra)
        );
        findings.push(Finding::stop(codes::STICK_EXTRA, text));
    }
}

/// Files among the maps that belong to none, logs, and an index page that is another.
fn strangers(
    stick: &Stick,
    offices: &[Office],
    findings: &mut Vec<Finding>,
) -> Result<(), AppError> {
    let grids: BTreeSet<&str> = stick
        .tasks
        .iter()
        .filter_map(|task| task.grid.as_ref())
        .map(|grid| grid.file.as_str())
        .collect();
    let (logs, mut others): (Vec<String>, Vec<String>) = stick
        .names
        .iter()
        .filter(|name| *name != "TASKDATA.XML" && !grids.contains(name.as_str()))
        .map(|name| format!("{TASKDATA}/{name}"))
        .partition(|name| is_log(name));
    if !logs.is_empty() {
        let text = format!(
            "the stick carries logs of work: {}; bring them back with haulm stick --bring-back",
            several(&logs)
        );
        findings.push(Finding::caution(codes::STICK_RETURNED, text));
    }
    if stick.record.is_some() {
        for part in ["SHAPES", "CARDS"] {
            let folder = stick.folder.join(part);
            if !folder.is_dir() {
                continue;
            }
            let listed = fs_err::read_dir(&folder).map_err(|error| {
                AppError::refused("stick.unreadable", "the stick cannot be read")
                    .with_fact(folder.display().to_string(), error.to_string())
            })?;
            let names = listed
                .flatten()
                .map(|entry| format!("{part}/{}", entry.file_name().to_string_lossy()));
            others.extend(names.filter(|name| !stick.listed.contains_key(name)));
        }
    }
    others.sort();
    if !others.is_empty() {
        let text = format!(
            "{} of the stick belong to none of its maps: take them away before it goes to the machine",
            several(&others)
        );
        findings.push(Finding::caution(codes::STICK_STRANGER, text));
    }
    if let Some(due) = stick
        .listed
        .get("index.html")
        .filter(|_| !offices.is_empty())
    {
        let found = fs_err::read(stick.folder.join("index.html")).map(|bytes| sha256_hex(&bytes));
        if !found.is_ok_and(|found| found == *due) {
            findings.push(Finding::caution(
                codes::STICK_CARD,
                "index.html is missing or not as it was written; the maps are compared for themselves",
            ));
        }
    }
    Ok(())
}

fn report(stick: &Path, compared: &[Compared<'_>], mut findings: Vec<Finding>) -> Report {
    findings.sort_by_key(Finding::rank);
    let stopped = findings.iter().any(Finding::stops);
    let same = compared.iter().filter(|map| map.faults == 0).count();
    let cells: usize = compared.iter().map(|map| map.cells).sum();
    let shapefiles = compared.iter().filter(|map| map.shapefile).count();
    let title = if stopped {
        format!("The stick {} is NOT what the office made", stick.display())
    } else {
        format!("The stick {} is what the office made", stick.display())
    };
    let rows = vec![
        Row::new("maps", format!("{same} of {}", compared.len())).with_note("the same"),
        Row::new("cells of task data", cells.to_string()).with_note("each compared, the same"),
        Row::new("shapefiles", shapefiles.to_string()).with_note("the same, byte for byte"),
    ];
    let wrong: Vec<Vec<String>> = compared
        .iter()
        .filter(|map| map.faults > 0)
        .map(|map| {
            vec![
                map.office.map.map_id.clone(),
                map.faults.to_string(),
                map.office.map.field.clone(),
            ]
        })
        .collect();
    let mut blocks = vec![Block::rows("", rows)];
    if !wrong.is_empty() {
        blocks.push(Block::table(
            "Maps that differ",
            Table {
                columns: vec![
                    Column::left("map id"),
                    Column::right("faults"),
                    Column::left("field"),
                ],
                rows: wrong,
            },
        ));
    }
    let maps = compared.iter().map(|map| {
        json!({ "map_id": map.office.map.map_id, "field": map.office.map.field, "cells": map.cells, "shapefile": map.shapefile, "same": map.faults == 0 })
    });
    Report {
        title,
        brief: None,
        blocks,
        json: json!({ "stick": stick.display().to_string(), "maps": maps.collect::<Vec<_>>(), "cells": cells, "same": !stopped }),
        findings,
        files: Vec::new(),
        stopped,
    }
}
