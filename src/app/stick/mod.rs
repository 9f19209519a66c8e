//! Any number of finished maps on one stick for the terminal, and the proof that a stick holds what the office made.
//!
//! A stick has `TASKDATA` (one set of task data, a task a map), `SHAPES` (shapefiles, flat), `CARDS`, `index.html`, and `haulm.json`, the list of all these files with
//! their hashes: by it the next run knows what is its own, and what a machine brought back.

mod against;
mod name;
mod office;
mod state;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use jiff::Timestamp;
use serde_json::{Value, json};

use crate::app::commit;
use crate::app::commit::{
    CommitError, CommitOptions, CommitReport, OutputFolder, STICK_RECORD, size,
};
use crate::app::error::AppError;
use crate::app::requests::Common;
use crate::app::stick::name::Requirement;
use crate::app::stick::office::{Office, offices, rights_of, sources};
use crate::app::stick::state::{Brought, Returned};
use crate::finding::{Checked, Finding, codes};
use crate::format::payload::Payload;
use crate::format::task_set;
use crate::format::task_set::{MAXIMUM_ELEMENTS, MAXIMUM_OF_A_KIND, TaskSetError};
use crate::report::counted::counted;
use crate::report::model::{Block, Column, Report, Row, Table};
use crate::report::stick::{card_head, card_line, index};

pub use crate::app::stick::against::{CheckStickRequest, check_stick};

/// Rows of the table of maps that are printed; the rest stands on the index page.
const ROWS: usize = 12;

/// What to put on a stick.
#[derive(Clone, Debug, Default)]
pub struct StickRequest {
    /// Job files, output folders, folders that hold either.
    pub maps: Vec<PathBuf>,
    /// The stick's folder: where it is mounted.
    pub stick: PathBuf,
    /// Where what came back is copied to; without it a stick that came back is refused.
    pub bring_back: Option<PathBuf>,
    /// Whether to do everything but write.
    pub dry_run: bool,
    /// What every command may be told.
    pub common: Common,
}

/// Puts maps on a stick, or only brings back what lies on it when no map is named.
///
/// # Errors
/// When maps are not ready, the stick holds what is not haulm's or not yet in the office, or cannot be written. Then it is as it was, or the message says what to do.
pub fn stick(request: &StickRequest) -> Result<Report, AppError> {
    let mut findings = Vec::new();
    if request.maps.is_empty() && request.bring_back.is_none() {
        return Err(AppError::misuse("stick.maps", "no map is named")
            .with_hint("name job files or output folders, or --bring-back FOLDER"));
    }
    let sources = sources(&request.maps)?;
    let outputs: Vec<PathBuf> = std::iter::once(&request.stick)
        .chain(&request.bring_back)
        .cloned()
        .collect();
    rights_of(&sources, &outputs, &request.common).give_up_others(&request.common)?;
    let maps = offices(sources)?.into_log(&mut findings);
    let planned = if maps.is_empty() {
        None
    } else {
        let planned = planned(&maps)?.into_log(&mut findings);
        name::check_fat(&planned.files)?;
        Some(planned)
    };
    if request.dry_run {
        findings.extend(commit::pending(&request.stick).map_err(notice)?);
    } else {
        findings.extend(commit::recover(&request.stick).map_err(notice)?);
    }
    let returned = state::look(&request.stick)?;
    let brought = brought(request, &returned, &mut findings)?;
    let Some(planned) = planned else {
        return Ok(only_brought(request, brought.as_ref(), findings));
    };
    let done = write(request, &planned, &returned, &mut findings)?;
    let own_disk = commit::is_own_disk(&request.stick).map_err(notice)?;
    if !own_disk {
        let text = format!(
            "{} is a folder of a larger disk: copy what is in it to the root of a stick, then prove the copy with haulm check STICK --against OFFICE",
            request.stick.display()
        );
        findings.push(Finding::note(codes::STICK_FOLDER, text));
    }
    Ok(written(
        request,
        &planned,
        &done,
        brought.as_ref(),
        own_disk,
        findings,
    ))
}

/// Copies what came back, if asked to; refuses to go on without.
fn brought(
    request: &StickRequest,
    returned: &Returned,
    findings: &mut Vec<Finding>,
) -> Result<Option<Brought>, AppError> {
    let Some(folder) = &request.bring_back else {
        return if returned.is_empty() {
            Ok(None)
        } else {
            Err(returned.refusal(&request.stick))
        };
    };
    if returned.is_empty() {
        findings.push(Finding::note(
            codes::STICK_RETURNED,
            "nothing came back on the stick: it is as haulm wrote it, or holds no maps yet, and nothing was copied",
        ));
        return Ok(None);
    }
    if request.dry_run {
        let text = format!(
            "{} files came back; they would be copied to {} and compared first",
            returned.files.len(),
            folder.display()
        );
        findings.push(Finding::note(codes::STICK_RETURNED, text));
        return Ok(None);
    }
    let brought = state::bring_back(&request.stick, returned, folder)?;
    let text = format!(
        "{} of the stick are copied to {}, each the same by its SHA-256",
        counted(brought.files.len(), "file"),
        brought.folder.display()
    );
    findings.push(Finding::note(codes::STICK_RETURNED, text));
    Ok(Some(brought))
}

fn write(
    request: &StickRequest,
    planned: &Planned,
    returned: &Returned,
    findings: &mut Vec<Finding>,
) -> Result<CommitReport, AppError> {
    let options = CommitOptions {
        overwrite: false,
        cancel: request.common.cancel.clone(),
    };
    let mut files = planned.files.clone();
    let kept = returned.files.clone();
    let now = (!request.dry_run).then(SystemTime::now);
    files.push(record(planned, now));
    let mut done = if request.dry_run {
        commit::dry_run_stick(&request.stick, kept, &files, &options).map_err(notice)?
    } else {
        let claimed = OutputFolder::claim_stick(&request.stick, kept, options)
            .map_err(notice)?
            .into_log(findings);
        claimed.commit(&files).map_err(|error| {
            match AppError::of_commit(error, &request.common.cancel) {
                error if error.code.starts_with("output.") => in_words_of_a_stick(error),
                error => error,
            }
        })?
    };
    findings.append(&mut done.findings);
    Ok(done)
}

/// A refusal of the write in the words of this command.
fn notice(error: CommitError) -> AppError {
    in_words_of_a_stick(AppError::from(error))
}

fn in_words_of_a_stick(error: AppError) -> AppError {
    let hint = match error.code {
        "output.changed" => {
            "these files are in the way: copy what you want to keep to the office, take them off the stick, and call the command again"
        }
        "output.room" => "make room on the stick, or take a larger one; nothing was written",
        "output.unwritable" => {
            "release the stick's write protection, or name another folder with --to"
        }
        "output.place" | "output.kind" => "name the folder where the stick is mounted with --to",
        "output.busy" => "wait until the other run has ended, or take another stick",
        _ => return error,
    };
    error.with_hint(hint)
}

/// What will lie on the stick.
struct Planned {
    /// All files but the record.
    files: Vec<Payload>,
    /// The maps with their names on the stick.
    maps: Vec<OnStick>,
}

/// A map of the stick.
struct OnStick {
    /// For people.
    map: crate::report::stick::MapOnStick,
    /// Id of its task.
    task_id: Option<String>,
    /// Cells of its task's grid.
    cells: usize,
    /// Its shapefile's endings.
    shapes: Vec<String>,
}

/// Puts together what the stick gets.
fn planned(offices: &[Office]) -> Result<Checked<Planned>, AppError> {
    let mut findings = Vec::new();
    let maps = named(offices, &mut findings);
    let with_task: Vec<&Office> = offices
        .iter()
        .filter(|office| office.set.is_some())
        .collect();
    let sets: Vec<_> = with_task
        .iter()
        .filter_map(|office| office.set.as_ref().map(|set| set.0.clone()))
        .collect();
    let mut files = Vec::new();
    let mut tasks = Vec::new();
    if !sets.is_empty() {
        let merged = task_set::merged(&sets)
            .map_err(|(place, error)| refused_set(with_task.get(place).copied(), &error))?;
        findings.extend(many(&merged.elements));
        files = merged.files;
        tasks = merged.tasks;
    }
    let mut tasks = tasks.into_iter();
    let mut on_stick = Vec::new();
    for (office, map) in offices.iter().zip(maps) {
        for (ending, bytes) in &office.shapes {
            let path = format!("SHAPES/{}.{ending}", map.name);
            files.push(Payload::new(path, bytes.clone()));
        }
        files.extend(cards(office, &map));
        on_stick.push(OnStick {
            task_id: office
                .set
                .is_some()
                .then(|| tasks.next().and_then(|ids| ids.into_iter().next()))
                .flatten(),
            cells: office
                .set
                .as_ref()
                .and_then(|(_, task)| task.grid.as_ref())
                .map_or(0, |grid| grid.rows * grid.cols),
            shapes: office.shapes.keys().cloned().collect(),
            map,
        });
    }
    let shown: Vec<_> = on_stick.iter().map(|on| on.map.clone()).collect();
    files.push(Payload::new("index.html", index(&shown)));
    Ok(Checked::new(
        Planned {
            files,
            maps: on_stick,
        },
        findings,
    ))
}

/// The maps with their names on the stick, and what of names and formats is worth a word.
fn named(offices: &[Office], findings: &mut Vec<Finding>) -> Vec<crate::report::stick::MapOnStick> {
    let requirement: Vec<_> = offices
        .iter()
        .map(|office| Requirement {
            field: &office.map.field,
            map_id: &office.map.map_id,
            office: (!office.map.office_name.is_empty()).then_some(office.map.office_name.as_str()),
        })
        .collect();
    let names = name::names(&requirement);
    let mut maps = Vec::new();
    let (mut renamed, mut lacking) = (Vec::new(), Vec::new());
    let mut fields: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (office, name) in offices.iter().zip(names) {
        let mut map = office.map.clone();
        if !map.office_name.is_empty() && map.office_name != name {
            renamed.push(format!("{} ({})", name, map.field));
        }
        if map.office_name.is_empty() {
            lacking.push(format!("{} has no shapefile", map.field));
        }
        if office.set.is_none() {
            lacking.push(format!("{} has no task data", map.field));
        }
        let shown = office
            .set
            .as_ref()
            .map_or(&map.field, |(_, task)| &task.field);
        fields
            .entry(shown.clone())
            .or_default()
            .push(map.map_id.clone());
        map.name = name;
        map.cards = office
            .cards
            .keys()
            .map(|card| card_name(&map.name, card))
            .collect();
        maps.push(map);
    }
    if !renamed.is_empty() {
        let text = format!(
            "shapefile names that would be the same were made different: {}; index page and card name them",
            several(&renamed)
        );
        findings.push(Finding::note(codes::STICK_RENAMED, text));
    }
    if !lacking.is_empty() {
        let text = format!(
            "{}: the job does not ask for it, so the terminal must take the other",
            several(&lacking)
        );
        findings.push(Finding::caution(codes::STICK_FORMATS, text));
    }
    for (field, ids) in fields.iter().filter(|(_, ids)| ids.len() > 1) {
        let text = format!(
            "{} maps are of a field that the terminal lists as {field:?}: load by the map id that ends the task's name ({})",
            ids.len(),
            several(ids)
        );
        findings.push(Finding::caution(codes::STICK_SAME_FIELD, text));
    }
    maps
}

/// A list for people: the first few, and how many more.
fn several(names: &[String]) -> String {
    const NAMED: usize = 4;
    let first = names
        .iter()
        .take(NAMED)
        .map(String::as_str)
        .collect::<Vec<_>>()
        .join(", ");
    if names.len() > NAMED {
        format!("{first} and {} more", names.len() - NAMED)
    } else {
        first
    }
}

/// Name of a card on the stick.
fn card_name(name: &str, card: &str) -> String {
    let flat = card.replace('/', "_");
    match flat.strip_prefix("CARD.") {
        Some(ending) => format!("{name}.{ending}"),
        None => format!("{name}_{flat}"),
    }
}

/// The cards of a map, each with its names on the stick.
fn cards(office: &Office, map: &crate::report::stick::MapOnStick) -> Vec<Payload> {
    let on_stick = |name: &str, bytes: &[u8]| {
        if name == "CARD.txt" {
            return [card_head(map).as_bytes(), bytes].concat();
        }
        let page = (name == "CARD.html")
            .then(|| std::str::from_utf8(bytes).ok())
            .flatten();
        match page.and_then(|page| Some((page, page.find("<h1")?))) {
            Some((page, at)) => [&page[..at], card_line(map).as_str(), &page[at..]]
                .concat()
                .into_bytes(),
            None => bytes.to_vec(),
        }
    };
    office
        .cards
        .iter()
        .map(|(name, bytes)| {
            Payload::new(
                format!("CARDS/{}", card_name(&map.name, name)),
                on_stick(name, bytes),
            )
        })
        .collect()
}

fn refused_set(office: Option<&Office>, error: &TaskSetError) -> AppError {
    let refused = AppError::refused("stick.task_data", error.to_string());
    let refused = match office {
        Some(office) => refused.with_fact(
            office.folder.display().to_string(),
            format!("{}, map {}", office.map.field, office.map.map_id),
        ),
        None => refused,
    };
    refused.with_hint(match error {
        TaskSetError::Versions { .. } => {
            "set the same version in output.task_data of all jobs and make the maps again, or use one stick a version"
        }
        _ => "make the map again with haulm map",
    })
}

/// Whether a controller may not take so many elements.
fn many(elements: &BTreeMap<String, usize>) -> Option<Finding> {
    let all: usize = elements.values().sum();
    let (kind, most) = elements.iter().max_by_key(|(_, count)| **count)?;
    (all > MAXIMUM_ELEMENTS || *most > MAXIMUM_OF_A_KIND).then(|| {
        let text = format!(
            "the task data hold {all} elements, {most} of them {kind}: a controller must take {MAXIMUM_ELEMENTS} in all and {MAXIMUM_OF_A_KIND} of a kind; use more sticks"
        );
        Finding::caution(codes::STICK_MANY, text)
    })
}

/// The stick's record.
fn record(planned: &Planned, now: Option<SystemTime>) -> Payload {
    let record = json!({
        (commit::MADE_BY): commit::made_by(),
        "maps": planned.maps.iter().map(map_value).collect::<Vec<_>>(),
        (commit::OUTPUTS): commit::outputs(&planned.files),
        "made_at": now.and_then(|now| Timestamp::try_from(now).ok()).map(|now| now.to_string()),
    });
    let mut bytes = serde_json::to_vec_pretty(&record).unwrap_or_default();
    bytes.push(b'\n');
    Payload::new(STICK_RECORD, bytes)
}

fn map_value(on: &OnStick) -> Value {
    let map = &on.map;
    json!({
        "map_id": map.map_id, "field": map.field, "client": map.client, "farm": map.farm, "crop": map.crop, "product": map.product, "total": map.total, "area": map.area,
        "image_date": map.image_date, "application_date": map.application_date, "task": on.task_id, "task_name": map.task, "cells": on.cells, "name": map.name,
        "shapefile": map.shapefile(), "shapefile_parts": on.shapes, "cards": map.cards,
    })
}

/// The report of a stick that was written, or would be.
fn written(
    request: &StickRequest,
    planned: &Planned,
    done: &CommitReport,
    brought: Option<&Brought>,
    own_disk: bool,
    findings: Vec<Finding>,
) -> Report {
    let count = planned.maps.len();
    let maps = counted(count, "map");
    let place = request.stick.display();
    let bytes: u64 = done.written.iter().map(|file| file.1).sum();
    let tasks = planned
        .maps
        .iter()
        .filter(|on| on.task_id.is_some())
        .count();
    let shapes = planned
        .maps
        .iter()
        .filter(|on| !on.shapes.is_empty())
        .count();
    let mut rows = vec![
        Row::new("tasks", tasks.to_string()).with_note("in one TASKDATA"),
        Row::new("shapefiles", shapes.to_string()).with_note("in SHAPES"),
        Row::new("files", done.written.len().to_string()).with_note(size(bytes)),
    ];
    if !done.removed.is_empty() {
        let verb = if request.dry_run {
            "would go"
        } else {
            "are gone"
        };
        rows.push(
            Row::new("earlier files", done.removed.len().to_string())
                .with_note(format!("of the stick's last maps {verb}")),
        );
    }
    let next = if request.dry_run {
        "Nothing was written.".to_owned()
    } else if own_disk {
        "Every file was read back and is the same by its SHA-256. The stick may be removed: eject it first.".to_owned()
    } else {
        "Every file was read back and is the same by its SHA-256.".to_owned()
    };
    let title = if request.dry_run {
        format!("{maps} would go on the stick {place}")
    } else {
        format!("{maps} on the stick {place}")
    };
    Report {
        title,
        brief: None,
        blocks: vec![
            Block::rows("", rows),
            Block::table("Maps", table(planned)),
            Block::text("", left_out(count).into_iter().chain([next]).collect()),
        ],
        json: json!({
            "stick": place.to_string(), "own_disk": own_disk, "dry_run": request.dry_run, "read_back": !request.dry_run,
            "maps": planned.maps.iter().map(map_value).collect::<Vec<_>>(),
            "written": done.written.iter().map(|(path, bytes)| json!({ "path": path, "bytes": bytes })).collect::<Vec<_>>(),
            "removed": done.removed, "brought_back": brought.map(brought_value),
        }),
        findings,
        files: by_folder(&done.written),
        stopped: false,
    }
}

fn left_out(count: usize) -> Option<String> {
    (count > ROWS).then(|| {
        format!(
            "and {} more: index.html on the stick lists all of them.",
            count - ROWS
        )
    })
}

fn table(planned: &Planned) -> Table {
    let row = |on: &OnStick| {
        vec![
            on.map.map_id.clone(),
            on.map.total.clone(),
            on.map.area.clone(),
            on.map.name.clone(),
            format!("{}, {}", on.map.field, on.map.product),
        ]
    };
    Table {
        columns: vec![
            Column::left("map id"),
            Column::right("total"),
            Column::right("area"),
            Column::left("files"),
            Column::left("field, product"),
        ],
        rows: planned.maps.iter().take(ROWS).map(row).collect(),
    }
}

/// Files by the folder that they lie in, with the size of all in it: hundreds of names help nobody on a screen.
fn by_folder(files: &[(String, u64)]) -> Vec<(String, u64)> {
    let mut folders: BTreeMap<String, (usize, u64)> = BTreeMap::new();
    for (path, bytes) in files {
        let key = path
            .split_once('/')
            .map_or_else(|| path.clone(), |(folder, _)| format!("{folder}/"));
        let entry = folders.entry(key).or_default();
        entry.0 += 1;
        entry.1 += bytes;
    }
    folders
        .into_iter()
        .map(|(name, (count, bytes))| {
            let name = if name.ends_with('/') {
                format!("{name} ({count} files)")
            } else {
                name
            };
            (name, bytes)
        })
        .collect()
}

fn brought_value(brought: &Brought) -> Value {
    let files = brought.files.iter();
    json!({
        "folder": brought.folder.display().to_string(),
        "files": files.map(|(path, bytes)| json!({ "path": path, "bytes": bytes })).collect::<Vec<_>>(),
    })
}

/// The report when no map was named.
fn only_brought(
    request: &StickRequest,
    brought: Option<&Brought>,
    findings: Vec<Finding>,
) -> Report {
    let place = request.stick.display();
    let files = brought.map(|brought| brought.files.clone());
    let title = match &files {
        Some(files) => format!(
            "{} copied from the stick {place}",
            counted(files.len(), "file")
        ),
        None => format!("nothing copied from the stick {place}"),
    };
    Report {
        title,
        brief: None,
        blocks: vec![Block::text("", vec!["The stick is as it was.".to_owned()])],
        json: json!({
            "stick": place.to_string(), "dry_run": request.dry_run, "maps": [], "brought_back": brought.map(brought_value),
        }),
        findings,
        files: files.unwrap_or_default(),
        stopped: false,
    }
}

/// The folder of a stick that is to be read.
fn stick_folder(stick: &Path) -> Result<(), AppError> {
    if stick.is_dir() {
        return Ok(());
    }
    Err(AppError::refused("stick.input", "there is no such stick")
        .with_fact(stick.display().to_string(), "not a folder")
        .with_hint("name the folder where the stick is mounted, the one that holds TASKDATA"))
}
