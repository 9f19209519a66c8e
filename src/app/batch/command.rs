//! `haulm batch`: a farm from its file to its index page.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};

use crate::app::batch::collect::{Collected, replace};
use crate::app::batch::farm::{Farm, Making};
use crate::app::batch::row::{FieldRow, FieldState};
use crate::app::batch::run::{BatchOptions, Ran};
use crate::app::error::AppError;
use crate::app::progress::Progress;
use crate::app::requests::Common;
use crate::report::model::{Block, Brief, Column, Report, Row, Table};
use serde_json::json;

/// Fields without a map that are listed; the index page lists all.
const LISTED: usize = 12;

/// What `haulm batch` is asked for.
#[derive(Clone, Debug, Default)]
pub struct BatchRequest {
    /// The farm file.
    pub farm: PathBuf,
    /// Whether work that is done is done again.
    pub redo: bool,
    /// Which part of the fields this process makes: number from 1, and how many.
    pub shard: Option<(usize, usize)>,
    /// Where to put the maps for the machine.
    pub stick: Option<PathBuf>,
    /// Maps, or the tables alone.
    pub making: Making,
    /// Whether to write each field's job file beside the farm file, and make nothing.
    pub write_jobs: bool,
    /// What every command may be told.
    pub common: Common,
}

/// What `haulm batch` leaves.
#[derive(Clone, Debug)]
pub struct Batch {
    /// For people and scripts.
    pub report: Report,
    /// Whether another run had the folder of a field.
    pub busy: bool,
}

/// Makes every field that is due and puts all rows together; `each` hears of each field, with why it was made, or `None` where its work was done before.
///
/// # Errors
/// What is wrong with the farm as a whole, farm files that cannot be written, and a run that was asked to end.
pub fn batch(
    request: &BatchRequest,
    progress: &dyn Progress,
    each: &(dyn Fn(&FieldRow, Option<&str>) + Sync),
) -> Result<Batch, AppError> {
    progress.start("reading the farm", 0);
    let farm = Farm::read(&request.farm, request.making, &request.common)?;
    if request.write_jobs {
        return written_jobs(&farm);
    }
    let options = BatchOptions {
        redo: request.redo,
        shard: request.shard,
    };
    let whys: Mutex<BTreeMap<String, usize>> = Mutex::new(BTreeMap::new());
    let heard = |row: &FieldRow, why: Option<&str>| {
        if let Some(why) = why {
            let mut whys = whys.lock().unwrap_or_else(PoisonError::into_inner);
            *whys.entry(why.to_owned()).or_default() += 1;
        }
        each(row, why);
    };
    let ran = farm.run(&options, progress, &heard)?;
    progress.start("putting the fields together", 0);
    let whys = whys.into_inner().unwrap_or_else(PoisonError::into_inner);
    // Of several parts the last to end finds all rows; each writes what is there by then.
    let collected = farm.collect(request.stick.as_deref())?;
    Ok(Batch {
        report: report(&farm, request, &ran, &whys, collected),
        busy: ran.states.contains_key(FieldState::Busy.word()),
    })
}

fn written_jobs(farm: &Farm) -> Result<Batch, AppError> {
    let mut files = Vec::new();
    for at in 0..farm.fields().len() {
        let (path, text) = (farm.job_path(at), farm.job(at));
        let there = fs_err::read(&path).ok();
        if there.as_ref().is_some_and(|there| there != text.as_bytes()) {
            return Err(AppError::refused(
                "output.changed",
                "a job file is there already, and is another",
            )
            .with_fact(path.display().to_string(), "would be replaced")
            .with_hint("move it away"));
        }
        replace(&path, text.as_bytes()).map_err(|error| {
            AppError::refused("output.write", "a job file cannot be written")
                .with_fact(path.display().to_string(), error.to_string())
        })?;
        let size = text.len() as u64;
        files.push((path.display().to_string(), size));
    }
    let report = Report {
        title: format!("{}: {} job files", farm.name(), files.len()),
        json: json!({ "jobs": files.iter().map(|(path, _)| path).collect::<Vec<_>>() }),
        files,
        ..Report::default()
    };
    Ok(Batch {
        report,
        busy: false,
    })
}

fn report(
    farm: &Farm,
    request: &BatchRequest,
    ran: &Ran,
    whys: &BTreeMap<String, usize>,
    collected: Collected,
) -> Report {
    let count = |state| collected.count(state);
    let (done, stopped) = (count(FieldState::Done), count(FieldState::Stopped));
    let (refused, crashed) = (count(FieldState::Refused), count(FieldState::Crashed));
    let waiting = count(FieldState::Cancelled);
    let busy = ran
        .states
        .get(FieldState::Busy.word())
        .copied()
        .unwrap_or(0);
    let sum = |of: fn(&FieldRow) -> Option<f64>| -> f64 {
        let rows = collected
            .rows
            .iter()
            .filter(|row| row.state == FieldState::Done);
        rows.filter_map(of).sum()
    };
    let us = collected.rows.iter().any(|row| row.us_units);
    let (area, n_kg) = (sum(|row| row.area_ha), sum(|row| row.n_kg));
    let (total, ground) = if us {
        (
            format!("{:.0} lb N", crate::units::NMass::kg(n_kg).as_lb()),
            format!("{:.1} ac", crate::units::Area::ha(area).as_ac()),
        )
    } else {
        (format!("{n_kg:.0} kg N"), format!("{area:.1} ha"))
    };
    let mut rows = vec![
        Row::new(
            match request.making {
                Making::Maps => "Maps written",
                Making::Tables => "Fields with rates",
            },
            format!("{done} of {}", collected.rows.len()),
        )
        .with_note(format!(
            "made now {}, done before {}",
            ran.made, ran.skipped
        )),
    ];
    for (label, count, note) in [
        (
            "Stopped",
            stopped,
            "a finding stops the map; the report says which",
        ),
        ("Refused", refused, "see below and the index page"),
        ("Failed in haulm", crashed, "please report these"),
        (
            "At another run",
            busy,
            "another run has their folders: the same command again when it has ended",
        ),
        ("Waiting", waiting, "not made yet"),
    ] {
        if count > 0 {
            rows.push(Row::new(label, count.to_string()).with_note(note));
        }
    }
    rows.push(Row::new("Nitrogen", total).with_note(format!("on {ground}")));
    let mut next = vec![
        format!("Look at the index page: {}", collected.index.display()),
        crate::report::brief::LABEL.to_owned(),
    ];
    if done > 0 && request.stick.is_none() {
        let farm = request.farm.display();
        next.insert(
            1,
            match request.making {
                Making::Maps => {
                    format!("Put the maps on a stick: haulm batch {farm} --stick FOLDER")
                }
                Making::Tables => {
                    format!("Nothing here goes to a machine. Make the maps: haulm batch {farm}")
                }
            },
        );
    }
    let mut blocks = vec![Block::rows("Fields", rows.clone())];
    blocks.extend(why_block(whys));
    blocks.extend(without_map(&collected));
    for line in whys.iter().filter(|(why, _)| why.as_str() != NEW).take(4) {
        rows.push(Row::new("Made again", line.1.to_string()).with_note(line.0.clone()));
    }
    for row in collected
        .rows
        .iter()
        .filter(|row| needs_a_look(row))
        .take(LISTED)
    {
        let reason = row.reason.clone().unwrap_or_else(|| stops_of(row));
        rows.push(Row::new(row.field.clone(), row.state.word()).with_note(reason));
    }
    let json = json!({
        "farm": farm.name(), "fields": collected.rows.len(), "done": done, "stopped": stopped, "refused": refused, "crashed": crashed, "busy": busy, "waiting": waiting,
        "made": ran.made, "skipped": ran.skipped, "why": whys, "blocks_decoded": ran.blocks.0, "blocks": ran.blocks.1,
        "n_kg": n_kg, "area_ha": area, "index": collected.index.display().to_string(),
    });
    let mut findings = Vec::new();
    if let Some(stick) = collected.stick {
        findings = stick.findings;
        blocks.extend(stick.blocks);
    }
    Report {
        title: format!("{}: {} fields", farm.name(), collected.rows.len()),
        brief: Some(Brief {
            rows,
            next,
            folder: Some(farm.output().display().to_string()),
            ..Brief::default()
        }),
        blocks,
        json,
        findings,
        files: Vec::new(),
        stopped: false,
    }
}

/// Why a field without a row is made.
pub(super) const NEW: &str = "not made yet";

fn needs_a_look(row: &FieldRow) -> bool {
    !matches!(row.state, FieldState::Done | FieldState::Cancelled)
}

fn stops_of(row: &FieldRow) -> String {
    let stops = row
        .findings
        .iter()
        .filter(|one| one.severity == "stop" && !one.accepted);
    stops
        .map(|one| one.code.clone())
        .collect::<Vec<_>>()
        .join(", ")
}

fn why_block(whys: &BTreeMap<String, usize>) -> Option<Block> {
    let rows: Vec<Vec<String>> = whys
        .iter()
        .map(|(why, count)| vec![count.to_string(), why.clone()])
        .collect();
    (!rows.is_empty()).then(|| {
        Block::table(
            "Made now, and why",
            Table {
                columns: vec![Column::right("fields"), Column::left("why")],
                rows,
            },
        )
    })
}

fn without_map(collected: &Collected) -> Option<Block> {
    let rows: Vec<Vec<String>> = collected
        .rows
        .iter()
        .filter(|row| needs_a_look(row))
        .map(|row| {
            let reason = row.reason.clone().unwrap_or_else(|| stops_of(row));
            vec![row.field.clone(), row.state.word().to_owned(), reason]
        })
        .collect();
    (!rows.is_empty()).then(|| {
        Block::table(
            "Without a map",
            Table {
                columns: vec![
                    Column::left("field"),
                    Column::left("state"),
                    Column::left("why"),
                ],
                rows,
            },
        )
    })
}
