//! `map` of several jobs: one after another, each for itself; what stops or refuses one does not keep the others.

use std::path::{Path, PathBuf};

use crate::app::error::AppError;
use crate::app::job::read_map_job;
use crate::app::jobs::jobs_of;
use crate::app::map::map;
use crate::app::prepare;
use crate::app::progress::Progress;
use crate::app::requests::MapOptions;
use crate::app::rights::Rights;
use crate::finding::{Finding, Severity, by_weight, codes};
use crate::report::brief;
use crate::report::model::{Block, Brief, Column, Report, Row, Table};
use serde_json::{Value, json};

/// Maps that the short answer names one by one, those to see to first.
const NAMED: usize = 14;

/// A job and what came of it.
struct Made {
    job: PathBuf,
    name: String,
    folder: Option<PathBuf>,
    done: Result<Report, AppError>,
}

/// How a job ended, the one to see to first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum State {
    Refused,
    Stopped,
    Done,
}

impl State {
    const fn word(self) -> &'static str {
        match self {
            Self::Refused => "refused",
            Self::Stopped => "stopped",
            Self::Done => "done",
        }
    }
}

impl Made {
    const fn state(&self) -> State {
        match &self.done {
            Err(_) => State::Refused,
            Ok(report) if report.stopped => State::Stopped,
            Ok(_) => State::Done,
        }
    }
    fn map_id(&self) -> Option<&str> {
        self.done.as_ref().ok()?.json["map_id"].as_str()
    }
    /// Findings of a weight.
    fn count(&self, severity: Severity) -> usize {
        self.done.as_ref().map_or(0, |report| {
            report
                .findings
                .iter()
                .filter(|finding| finding.severity == severity)
                .count()
        })
    }
    /// Product, total, mean, range and area; or why there is no map.
    fn figures(&self) -> String {
        match &self.done {
            Err(error) => format!("[{}] {}", error.code, error.headline),
            Ok(report) => {
                let first = report.brief.iter().flat_map(|brief| &brief.rows).next();
                first.map_or_else(String::new, |row| format!("{}, {}", row.label, row.value))
            }
        }
    }
}

/// Makes the maps of job files and of folders of them. One job alone is told in full, as [`map`] does.
///
/// # Errors
/// When a path means no job, two jobs have one output folder, or the run is to stop. What refuses a single job of several is told in its row.
pub fn maps(
    paths: &[PathBuf],
    options: &MapOptions,
    progress: &dyn Progress,
) -> Result<Report, AppError> {
    let jobs = jobs_of(paths)?;
    if let [job] = jobs.as_slice() {
        return map(job, options, progress);
    }
    if let Some(folder) = &options.output {
        return Err(AppError::misuse(
            "map.output",
            format!("--output is one folder, and these are {} jobs", jobs.len()),
        )
        .with_fact("--output", folder.display().to_string())
        .with_hint("leave it out: each job writes to its own output folder"));
    }
    let folders = folders(&jobs)?;
    rights_of(&jobs, options).give_up_others(&options.common)?;
    let mut made = Vec::new();
    for (at, (job, folder)) in jobs.iter().zip(folders).enumerate() {
        progress.message(&format!("{} of {}: {}", at + 1, jobs.len(), job.display()));
        let done = map(job, options, progress);
        if options.common.cancel.signal().is_some() {
            // What is finished stands; the rest was not begun.
            return done;
        }
        let (folder, name) =
            folder.map_or_else(|| (None, stem(job)), |(folder, name)| (Some(folder), name));
        made.push(Made {
            job: job.clone(),
            name,
            folder,
            done,
        });
    }
    Ok(report(paths, &made, options.dry_run))
}

/// What all jobs need together; each is read behind walls of its own.
fn rights_of(jobs: &[PathBuf], options: &MapOptions) -> Rights {
    let nothing = Path::new("");
    jobs.iter().fold(Rights::default(), |rights, job| {
        rights.and(match read_map_job(job) {
            Ok(read) => prepare::rights_of(job, &read.value, &options.common),
            // It is told when its turn comes.
            Err(_) => Rights::of(std::slice::from_ref(job), &[], nothing),
        })
    })
}

fn stem(job: &Path) -> String {
    job.file_stem()
        .map_or_else(String::new, |stem| stem.to_string_lossy().into_owned())
}

/// Output folder and name of each job's field; `None` of a job that cannot be read, which is told when its turn comes.
fn folders(jobs: &[PathBuf]) -> Result<Vec<Option<(PathBuf, String)>>, AppError> {
    let all: Vec<Option<(PathBuf, String)>> = jobs
        .iter()
        .map(|job| {
            let settings = read_map_job(job).ok()?.value;
            Some((settings.output.folder, settings.field.name))
        })
        .collect();
    for (at, one) in all.iter().enumerate() {
        let Some((folder, _)) = one else { continue };
        let same = |other: &&Option<(PathBuf, String)>| {
            other.as_ref().is_some_and(|(other, _)| other == folder)
        };
        if let Some(before) = all.iter().take(at).position(|other| same(&other)) {
            let shown = |at: usize| {
                jobs.get(at)
                    .map_or_else(String::new, |job| job.display().to_string())
            };
            return Err(AppError::refused(
                "map.same_folder",
                "two jobs write to one folder, and the second map would take the first away",
            )
            .with_fact(shown(before), folder.display().to_string())
            .with_fact(shown(at), folder.display().to_string())
            .with_hint("give each its own folder in [output]"));
        }
    }
    Ok(all)
}

fn report(paths: &[PathBuf], made: &[Made], dry_run: bool) -> Report {
    let count = |state: State| made.iter().filter(|one| one.state() == state).count();
    let (done, stopped, refused) = (
        count(State::Done),
        count(State::Stopped),
        count(State::Refused),
    );
    let mut order: Vec<&Made> = made.iter().collect();
    order.sort_by_key(|one| one.state());
    let mut rows: Vec<Row> = order
        .iter()
        .take(NAMED)
        .map(|one| Row::new(one.name.clone(), row_text(one)))
        .collect();
    if made.len() > NAMED {
        let rest = made.len() - NAMED;
        rows.push(Row::new("…", format!("and {rest} more: --details")));
    }
    rows.push(Row::new(
        "result",
        format!("{done} done, {stopped} stopped, {refused} refused"),
    ));
    let mut findings = findings(made);
    by_weight(&mut findings);
    let named: Vec<String> = paths
        .iter()
        .map(|path| path.display().to_string())
        .collect();
    let next = if dry_run {
        vec![format!(
            "Nothing was written; write them: haulm map {}",
            named.join(" ")
        )]
    } else if stopped + refused > 0 {
        vec![
            "See to the jobs that are refused or stopped, each with haulm check JOB; the other maps stand."
                .to_owned(),
        ]
    } else {
        vec![
            format!(
                "One stick for all: haulm stick {} --to STICK",
                named.join(" ")
            ),
            brief::LABEL.to_owned(),
        ]
    };
    Report {
        title: format!("{} jobs: {done} maps", made.len()),
        brief: Some(Brief {
            rows,
            next,
            ..Brief::default()
        }),
        blocks: vec![Block::table("Maps", table(&order))],
        json: json!({ "jobs": made.iter().map(value).collect::<Vec<_>>() }),
        findings,
        files: made.iter().flat_map(files).collect(),
        stopped: stopped + refused > 0,
    }
}

fn row_text(one: &Made) -> String {
    match one.state() {
        State::Refused => format!("REFUSED {}", one.figures()),
        State::Stopped => format!("NOT FOR USE; {}", one.figures()),
        State::Done => one.figures(),
    }
}

fn table(made: &[&Made]) -> Table {
    let row = |one: &&Made| {
        vec![
            one.map_id().unwrap_or("").to_owned(),
            one.state().word().to_owned(),
            one.count(Severity::Caution).to_string(),
            one.name.clone(),
            one.figures(),
        ]
    };
    Table {
        columns: vec![
            Column::left("map id"),
            Column::left("state"),
            Column::right("cautions"),
            Column::left("field"),
            Column::left("map"),
        ],
        rows: made.iter().map(row).collect(),
    }
}

/// What stops and what asks for a look, each with its field. Notes stand in the report of each map.
fn findings(made: &[Made]) -> Vec<Finding> {
    let mut all = Vec::new();
    for one in made {
        match &one.done {
            Ok(report) => {
                let heavy = report
                    .findings
                    .iter()
                    .filter(|finding| finding.severity != Severity::Note);
                all.extend(heavy.map(|finding| Finding {
                    message: format!("{}: {}", one.name, finding.message),
                    ..finding.clone()
                }));
            }
            Err(error) => all.push(Finding::stop(
                codes::MAPS_REFUSED,
                format!(
                    "{}: refused, {} ({}); see haulm check {}",
                    one.name,
                    error.headline,
                    error.code,
                    one.job.display()
                ),
            )),
        }
    }
    all
}

fn files(one: &Made) -> Vec<(String, u64)> {
    let (Ok(report), Some(folder)) = (&one.done, &one.folder) else {
        return Vec::new();
    };
    let below = |(path, bytes): &(String, u64)| (folder.join(path).display().to_string(), *bytes);
    report.files.iter().map(below).collect()
}

fn value(one: &Made) -> Value {
    let mut value = json!({
        "job": one.job.display().to_string(), "field": one.name, "status": one.state().word(),
        "folder": one.folder.as_ref().map(|folder| folder.display().to_string()),
        "map_id": one.map_id(), "stops": one.count(Severity::Stop), "cautions": one.count(Severity::Caution), "notes": one.count(Severity::Note),
    });
    if let Some(map) = value.as_object_mut() {
        match &one.done {
            Ok(report) => {
                map.insert("totals".to_owned(), report.json["totals"].clone());
            }
            Err(error) => {
                map.insert("error".to_owned(), error.to_json());
            }
        }
    }
    value
}
