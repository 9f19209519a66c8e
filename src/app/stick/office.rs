//! What goes on a stick: finished maps in their output folders, found by job or by folder, each looked at before anything is written.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::app::below::below;
use crate::app::commit::{Listed, MADE_BY, RECORD_PATH, STICK_RECORD, sha256_hex, sha256_of_file};
use crate::app::error::AppError;
use crate::app::job::read_map_job;
use crate::app::jobs::{is_job, is_toml};
use crate::app::requests::Common;
use crate::app::rights::Rights;
use crate::app::{commit, prepare};
use crate::finding::{Checked, Finding, codes};
use crate::format::network::lies_there;
use crate::format::task_set::{TaskFacts, TaskSet, tasks_of};
use crate::report::stick::MapOnStick;
use crate::units::Area;

/// Places that one refusal names before it says how many more there are.
const NAMED: usize = 8;

/// A finished map of the office.
#[derive(Clone, Debug)]
pub(super) struct Office {
    /// Its output folder.
    pub(super) folder: PathBuf,
    /// What people read of it; names on the stick are still to be given.
    pub(super) map: MapOnStick,
    /// Its task data, if the job wants any.
    pub(super) set: Option<(TaskSet, TaskFacts)>,
    /// Its shapefile's parts by their ending.
    pub(super) shapes: BTreeMap<String, Vec<u8>>,
    /// Its cards by file name.
    pub(super) cards: BTreeMap<String, Vec<u8>>,
}

/// Why a map cannot go on a stick: its place, and what to do.
type Unready = (String, String);

/// What the user named, before it is opened.
pub(super) enum Source {
    Job(PathBuf),
    Folder(PathBuf),
}

/// The maps that these paths mean: job files, output folders, folders of job files, folders of output folders.
///
/// # Errors
/// When a path means no map.
pub(super) fn sources(paths: &[PathBuf]) -> Result<Vec<Source>, AppError> {
    let mut sources = Vec::new();
    for path in paths {
        sources.extend(sources_of(path)?);
    }
    Ok(sources)
}

/// What a stick needs: the jobs with their inputs, which are compared with what they were, the output folders, and the places that are written to.
pub(super) fn rights_of(sources: &[Source], outputs: &[PathBuf], common: &Common) -> Rights {
    let nothing = Path::new("");
    let mut rights = Rights::of(&[], outputs, nothing);
    for source in sources {
        rights = match source {
            Source::Folder(folder) => rights.with_output(folder),
            // A job that is refused is told when it is opened.
            Source::Job(job) => match read_map_job(job) {
                Ok(read) => rights
                    .with_output(&read.value.output.folder)
                    .and(prepare::rights_of(job, &read.value, common).reading()),
                Err(_) => rights.and(Rights::of(std::slice::from_ref(job), &[], nothing)),
            },
        };
    }
    rights
}

/// Opens all maps. Sorted by field and map id.
///
/// # Errors
/// When maps are missing, older than their inputs, stopped, or changed since: all of them at once.
pub(super) fn offices(sources: Vec<Source>) -> Result<Checked<Vec<Office>>, AppError> {
    let (mut findings, mut unready) = (Vec::new(), Vec::new());
    let mut found: Vec<Office> = Vec::new();
    let mut folders = BTreeSet::new();
    let all = sources.len();
    for source in sources {
        let opened = match source {
            Source::Job(job) => of_job(&job),
            Source::Folder(folder) => open(&folder, None),
        };
        match opened {
            Ok(office) => {
                // The same folder by job and by name is one map, and nothing to speak of.
                let place = fs_err::canonicalize(&office.folder).unwrap_or(office.folder.clone());
                if folders.insert(place) {
                    found.push(office);
                }
            }
            Err(why) => unready.push(why),
        }
    }
    if !unready.is_empty() {
        return Err(refused(all, &unready));
    }
    found.sort_by(|a, b| {
        let key = |office: &Office| (office.map.field.to_lowercase(), office.map.map_id.clone());
        key(a).cmp(&key(b))
    });
    let mut once: Vec<Office> = Vec::new();
    for office in found {
        let Some(same) = once
            .iter()
            .find(|other| other.map.map_id == office.map.map_id)
        else {
            once.push(office);
            continue;
        };
        if same.set.as_ref().map(|set| &set.0) != office.set.as_ref().map(|set| &set.0)
            || same.shapes != office.shapes
        {
            return Err(AppError::refused(
                "stick.map_id",
                format!("two different maps have the map id {}", office.map.map_id),
            )
            .with_fact(same.folder.display().to_string(), same.map.field.clone())
            .with_fact(
                office.folder.display().to_string(),
                office.map.field.clone(),
            )
            .with_hint("take one of them, or put them on two sticks"));
        }
        let text = format!(
            "the map {} of {} was given twice ({} and {}); it stands on the stick once",
            office.map.map_id,
            office.map.field,
            same.folder.display(),
            office.folder.display()
        );
        findings.push(Finding::note(codes::STICK_TWICE, text));
    }
    Ok(Checked::new(once, findings))
}

fn refused(all: usize, unready: &[Unready]) -> AppError {
    let headline = format!(
        "{} of {all} {} not ready for a stick; nothing was written",
        unready.len(),
        if all == 1 { "map is" } else { "maps are" }
    );
    let mut error = AppError::refused("stick.unready", headline);
    for (place, text) in unready.iter().take(NAMED) {
        error = error.with_fact(place.clone(), text.clone());
    }
    if unready.len() > NAMED {
        error = error.with_fact("and", format!("{} more", unready.len() - NAMED));
    }
    error
        .with_hint("see to these maps first, each with haulm map JOB; then call this command again")
}

/// What a path means.
fn sources_of(path: &Path) -> Result<Vec<Source>, AppError> {
    let shown = path.display().to_string();
    let refused = |what: &str| {
        AppError::refused("stick.input", what.to_owned())
            .with_fact(shown.clone(), "neither a job file nor a folder of finished maps")
            .with_hint("name job files (.toml), output folders of haulm map, or a folder that holds either")
    };
    let Ok(data) = fs_err::metadata(path) else {
        return Err(refused("there is no such file or folder"));
    };
    if !data.is_dir() {
        return if is_toml(path) {
            Ok(vec![Source::Job(path.to_owned())])
        } else {
            Err(refused("this is no job file"))
        };
    }
    if path.join(RECORD_PATH).is_file() {
        return Ok(vec![Source::Folder(path.to_owned())]);
    }
    if path.join(STICK_RECORD).is_file() {
        return Err(refused("this is a stick, not a folder of the office"));
    }
    let listed = fs_err::read_dir(path).map_err(|error| {
        refused("the folder cannot be listed").with_fact(shown.clone(), error.to_string())
    })?;
    let mut entries: Vec<PathBuf> = listed
        .filter_map(|entry| Some(entry.ok()?.path()))
        .collect();
    entries.sort();
    let jobs: Vec<Source> = entries
        .iter()
        .filter(|entry| is_toml(entry) && is_job(entry))
        .map(|entry| Source::Job(entry.clone()))
        .collect();
    if !jobs.is_empty() {
        return Ok(jobs);
    }
    let folders: Vec<Source> = entries
        .into_iter()
        .filter(|entry| entry.join(RECORD_PATH).is_file())
        .map(Source::Folder)
        .collect();
    if folders.is_empty() {
        Err(refused("the folder holds no job file and no finished map"))
    } else {
        Ok(folders)
    }
}

/// The finished map of a job, if it is not older than its inputs.
fn of_job(job: &Path) -> Result<Office, Unready> {
    let unready = |text: String| (job.display().to_string(), text);
    let settings = read_map_job(job)
        .map_err(|error| unready(format!("the job is refused ({error}): see haulm map")))?
        .value;
    let folder = settings.output.folder;
    if !folder.join(RECORD_PATH).is_file() {
        return Err(unready(format!(
            "no finished map in {}: run haulm map {}",
            folder.display(),
            job.display()
        )));
    }
    open(&folder, Some(job))
}

/// Opens an output folder; with its job, its inputs are compared with what they were.
fn open(folder: &Path, job: Option<&Path>) -> Result<Office, Unready> {
    let place = job.unwrap_or(folder).display().to_string();
    let again = job.map_or_else(
        || "make the map again with haulm map".to_owned(),
        |job| format!("run haulm map {}", job.display()),
    );
    let unready = |text: String| (place.clone(), text);
    match commit::pending(folder) {
        Ok(None) => {}
        Ok(Some(_)) => {
            return Err(unready(format!(
                "an interrupted run is not completed: {again}"
            )));
        }
        Err(error) => return Err(unready(error.to_string())),
    }
    let path = folder.join(RECORD_PATH);
    let bytes = fs_err::read(&path).map_err(|error| unready(error.to_string()))?;
    let listed = commit::listed(&bytes);
    let record = serde_json::from_slice::<Value>(&bytes).ok();
    let (Some(listed), Some(record)) = (listed, record) else {
        return Err(unready(format!(
            "{} is no record of haulm (its {MADE_BY} or its list of outputs is missing): {again}",
            path.display()
        )));
    };
    if record["not_for_use"] != Value::Bool(false) {
        return Err(unready(format!(
            "the map is stopped (NOT FOR USE), so there is nothing for the machine: see its findings, then {again}"
        )));
    }
    if let Some(job) = job {
        still(job, &record).map_err(|text| unready(format!("{text}: {again}")))?;
    }
    let files =
        machine_files(folder, &listed).map_err(|text| unready(format!("{text}: {again}")))?;
    sorted(folder, &record, files).map_err(|text| unready(format!("{text}: {again}")))
}

/// Whether the inputs of a job are what they were when the map was made.
fn still(job: &Path, record: &Value) -> Result<(), String> {
    let home = job.parent().unwrap_or_else(|| Path::new(""));
    let inputs = record["inputs"].as_array().cloned().unwrap_or_default();
    let own = below(job, home);
    if !inputs.iter().any(|input| input["path"] == own.as_str()) {
        return Err(format!(
            "the map there was made by another job, not by {own}"
        ));
    }
    for input in &inputs {
        let path = input["path"].as_str();
        // No network is asked for a stick: in what state it was read stands in the record.
        if path.is_some_and(|path| lies_there(Path::new(path))) {
            continue;
        }
        let (Some(path), Some(bytes), Some(sha256)) =
            (path, input["bytes"].as_u64(), input["sha256"].as_str())
        else {
            return Err("the record does not list its inputs".to_owned());
        };
        let file = home.join(path);
        // Most changes show in the size, and a mosaic is long to hash.
        let Ok(data) = fs_err::metadata(&file) else {
            return Err(format!("the map's input {path} is no longer there"));
        };
        if data.len() != bytes || !sha256_of_file(&file).is_ok_and(|found| found == sha256) {
            return Err(format!("the map is older than its input {path}"));
        }
    }
    Ok(())
}

/// The files for machines, by path below `machine/`, each as its record says.
fn machine_files(folder: &Path, listed: &[Listed]) -> Result<BTreeMap<String, Vec<u8>>, String> {
    let mut files = BTreeMap::new();
    for item in listed {
        let Some(name) = item.path.strip_prefix("machine/") else {
            continue;
        };
        let bytes = fs_err::read(folder.join(&item.path)).map_err(|error| error.to_string())?;
        if sha256_hex(&bytes) != item.sha256 {
            return Err(format!("{} is not as haulm wrote it", item.path));
        }
        files.insert(name.to_owned(), bytes);
    }
    if files.is_empty() {
        return Err("the map has no files for a machine".to_owned());
    }
    Ok(files)
}

/// The files by what they are, and what the record says of the map.
fn sorted(
    folder: &Path,
    record: &Value,
    files: BTreeMap<String, Vec<u8>>,
) -> Result<Office, String> {
    let mut office = Office {
        folder: folder.to_owned(),
        map: of_record(record)?,
        set: None,
        shapes: BTreeMap::new(),
        cards: BTreeMap::new(),
    };
    let stem = files
        .keys()
        .find_map(|name| name.strip_suffix(".shp"))
        .map(str::to_owned);
    let mut set = TaskSet::default();
    for (name, bytes) in files {
        let shape = stem
            .as_ref()
            .and_then(|stem| name.strip_prefix(&format!("{stem}.")));
        if name == "TASKDATA/TASKDATA.XML" {
            set.main = bytes;
        } else if let Some(name) = name.strip_prefix("TASKDATA/") {
            set.files.insert(name.to_owned(), bytes);
        } else if let Some(ending) = shape {
            office.shapes.insert(ending.to_owned(), bytes);
        } else {
            office.cards.insert(name, bytes);
        }
    }
    office.map.office_name = stem.unwrap_or_default();
    if !set.main.is_empty() {
        let mut tasks = tasks_of(&set).map_err(|error| error.to_string())?;
        let (Some(task), true) = (tasks.pop(), tasks.is_empty()) else {
            return Err("its task data hold more or less than one task".to_owned());
        };
        if !is_of(&task, &office.map.map_id) {
            return Err(format!(
                "its task {:?} does not end in the map id {}",
                task.name, office.map.map_id
            ));
        }
        office.map.task.clone_from(&task.name);
        office.map.client.clone_from(&task.client);
        office.map.farm.clone_from(&task.farm);
        office.set = Some((set, task));
    }
    Ok(office)
}

/// Whether a task is that of a map.
pub(super) fn is_of(task: &TaskFacts, map_id: &str) -> bool {
    task.name
        .strip_suffix(map_id)
        .is_some_and(|rest| rest.is_empty() || rest.ends_with(' '))
}

/// What a record says of its map, in the units of its job.
fn of_record(record: &Value) -> Result<MapOnStick, String> {
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let number = |value: &Value, what: &str| {
        value
            .as_f64()
            .filter(|number| number.is_finite())
            .ok_or_else(|| format!("the record does not say {what}"))
    };
    let (settings, totals) = (&record["settings"], &record["totals"]);
    let us = settings["output"]["us_units"] == Value::Bool(true)
        || settings["output"]["unit"]
            .as_str()
            .is_some_and(|unit| unit.ends_with("/ac"));
    let area = Area::m2(number(&record["field"]["area_m2"], "the area")?);
    let (area, area_unit) = if us {
        (area.as_ac(), "ac")
    } else {
        (area.as_ha(), "ha")
    };
    let (product, total) = if let Some(product) = settings["product"]["name"].as_str() {
        let unit = text(&totals["product_unit"]);
        let total = number(&totals["product"], "the total")?;
        (product.to_owned(), format!("{} {unit}", rounded(total)))
    } else {
        let kg = number(&totals["n_kg"], "the nitrogen")?;
        let total = if us {
            format!("{} lb N", rounded(kg / crate::units::KG_PER_LB))
        } else {
            format!("{} kg N", rounded(kg))
        };
        ("nitrogen, no product".to_owned(), total)
    };
    let map_id = text(&record["map_id"]);
    if map_id.is_empty() {
        return Err("the record has no map id".to_owned());
    }
    Ok(MapOnStick {
        field: text(&record["field"]["name"]),
        crop: text(&settings["season"]["crop"]["name"]),
        product,
        total,
        area: format!("{area:.2} {area_unit}"),
        image_date: text(&settings["imagery"]["date"]),
        application_date: text(&settings["application"]["date"]),
        map_id,
        ..MapOnStick::default()
    })
}

/// A total for people: whole from a hundred on.
fn rounded(value: f64) -> String {
    if value < 100.0 {
        format!("{value:.1}")
    } else {
        format!("{value:.0}")
    }
}
