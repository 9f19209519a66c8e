//! The folder of a page: its jobs, and how a first one gets there.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use cap_std::fs::Dir;
use jiff::civil::Date;
use serde::Deserialize;
use serde_json::{Value, json};
use utoipa::ToSchema;

use crate::app::api::{NewRequest, new_job};
use crate::app::error::AppError;
use crate::app::job::map_job_in;
use crate::app::prepare::rights_of;
use crate::app::requests::Common;
use crate::app::rights::Rights;
use crate::web::edit;
use crate::web::job::{Job, read, write};
use crate::web::state::Shared;

/// Says that a folder is the page's own.
const MARK: &str = ".haulm-page";
/// The folder that the page makes when it is given none.
const OWN: &str = "haulm-page";
/// Jobs of a folder that are shown.
const MAXIMUM_JOBS: usize = 500;

/// The demo field: job, and files below `field`.
const DEMO: [(&str, &[u8]); 6] = [
    ("demo/job.toml", include_bytes!("../../demo/job.toml")),
    (
        "demo/field/boundary.geojson",
        include_bytes!("../../demo/field/boundary.geojson"),
    ),
    (
        "demo/field/mosaic.tif",
        include_bytes!("../../demo/field/mosaic.tif"),
    ),
    (
        "demo/field/strips.geojson",
        include_bytes!("../../demo/field/strips.geojson"),
    ),
    (
        "demo/field/weather.csv",
        include_bytes!("../../demo/field/weather.csv"),
    ),
    (
        "demo/field/wet_corner.geojson",
        include_bytes!("../../demo/field/wet_corner.geojson"),
    ),
];

/// What is opened.
#[derive(Debug)]
pub(crate) struct Opened {
    pub(crate) root: PathBuf,
    pub(crate) folder: Dir,
    pub(crate) own: bool,
    /// Job files below it.
    pub(crate) jobs: Vec<String>,
}

fn unreadable(path: &Path, error: &dyn std::fmt::Display) -> AppError {
    AppError::refused("page.open", "this cannot be opened")
        .with_fact(path.display().to_string(), error.to_string())
        .with_hint("give a job file (.toml), or a folder of jobs")
}

/// Opens a job file, a folder of jobs, or a folder of the page's own.
pub(crate) fn open(path: Option<&Path>) -> Result<Opened, AppError> {
    let own_path = PathBuf::from(OWN);
    let path = path.unwrap_or(&own_path);
    let failed = |error: &std::io::Error| unreadable(path, error);
    if path.is_file() {
        let root = match path.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
            _ => PathBuf::from("."),
        };
        let name = path
            .file_name()
            .map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_default();
        let (root, folder) = opened(&root).map_err(|error| failed(&error))?;
        return Ok(Opened {
            root,
            folder,
            own: false,
            jobs: vec![name],
        });
    }
    if !path.exists() {
        if path
            .extension()
            .is_some_and(|end| end.eq_ignore_ascii_case("toml"))
        {
            return Err(AppError::refused("page.open", "there is no such job file")
                .with_fact(path.display().to_string(), "does not exist")
                .with_hint("haulm new writes a first job; haulm page without a name begins with an empty page"));
        }
        fs_err::create_dir_all(path).map_err(|error| failed(&error))?;
        fs_err::write(
            path.join(MARK),
            "This folder was made by haulm page, which may write to it.\n",
        )
        .map_err(|error| failed(&error))?;
    }
    let (root, folder) = opened(path).map_err(|error| failed(&error))?;
    let own = folder
        .symlink_metadata(MARK)
        .is_ok_and(|found| found.is_file());
    let jobs = jobs_below(&folder);
    if jobs.is_empty() && !own {
        return Err(AppError::refused("page.open", "the folder holds no job")
            .with_fact(path.display().to_string(), "no .toml file with a [field]")
            .with_hint("haulm new writes a first job there; or give a name that does not exist yet, for an empty page"));
    }
    Ok(Opened {
        root,
        folder,
        own,
        jobs,
    })
}

/// What a page needs: its folder, and what its jobs name elsewhere.
pub(crate) fn rights(opened: &Opened, write: bool, common: &Common) -> Rights {
    let mut rights = Rights::default().with_folder(&opened.root, write);
    for file in &opened.jobs {
        let path = opened.root.join(file);
        let Ok(text) = read(&opened.folder, file) else {
            continue;
        };
        // An unfinished job is shown as far as it goes.
        let settings = map_job_in(text.as_bytes(), &path, common.us_units)
            .ok()
            .or_else(|| map_job_in(edit::sketch(&text)?.as_bytes(), &path, common.us_units).ok());
        if let Some(settings) = settings {
            let of_job = rights_of(&path, &settings.value, common);
            let of_job = if write { of_job } else { of_job.reading() };
            rights = rights
                .and(of_job)
                .with_output(&settings.value.output.folder);
        }
    }
    rights
}

fn opened(root: &Path) -> std::io::Result<(PathBuf, Dir)> {
    let root = fs_err::canonicalize(root)?;
    let folder = Dir::open_ambient_dir(&root, cap_std::ambient_authority())?;
    Ok((root, folder))
}

/// Job files of a folder and of the folders in it.
fn jobs_below(folder: &Dir) -> Vec<String> {
    let mut found = Vec::new();
    let mut look = |under: &str| {
        let Ok(entries) = folder.read_dir(if under.is_empty() { "." } else { under }) else {
            return Vec::new();
        };
        let mut folders = Vec::new();
        for entry in entries.flatten() {
            let Ok(name) = entry.file_name().into_string() else {
                continue;
            };
            let path = if under.is_empty() {
                name.clone()
            } else {
                format!("{under}/{name}")
            };
            let Ok(kind) = entry.file_type() else {
                continue;
            };
            if kind.is_dir() && !name.starts_with('.') {
                folders.push(path);
            } else if kind.is_file()
                && name.to_ascii_lowercase().ends_with(".toml")
                && read(folder, &path).is_ok_and(|text| is_job(&text))
                && found.len() < MAXIMUM_JOBS
            {
                found.push(path);
            }
        }
        folders
    };
    for under in look("") {
        look(&under);
    }
    found.sort();
    found
}

fn is_job(text: &str) -> bool {
    edit::document(text).is_ok_and(|document| {
        document
            .get("field")
            .is_some_and(toml_edit::Item::is_table_like)
    })
}

/// The jobs as a list: file, name, date, and what is known of those that were opened.
pub(crate) fn listed(shared: &Shared) -> Vec<Value> {
    shared
        .jobs()
        .iter()
        .map(|job| {
            let tree = read(shared.folder(), &job.file)
                .ok()
                .and_then(|text| edit::document(&text).ok())
                .map_or(Value::Null, |document| edit::tree(document.as_item()));
            json!({
                "id": job.id, "file": job.file, "name": tree.pointer("/field/name"), "date": tree.pointer("/imagery/date"),
                "opened": job.now().is_some(),
            })
        })
        .collect()
}

/// How a first job begins.
#[derive(Clone, Debug, Deserialize, ToSchema)]
pub(crate) struct Start {
    /// Whether to begin with the demo field.
    #[serde(default)]
    demo: bool,
    /// Names that `files` gave.
    image: Option<String>,
    boundary: Option<String>,
    strips: Option<String>,
    weather: Option<String>,
    /// Name of the field.
    name: Option<String>,
    /// Day of the image, as 2026-04-14.
    date: Option<String>,
    planted: Option<String>,
}

/// Writes a first job, or the demo, into the page's own folder.
pub(crate) fn start(shared: &Shared, asked: &Start) -> Result<Arc<Job>, AppError> {
    let folder = shared.folder();
    if asked.demo {
        let failed = |error: &std::io::Error| unreadable(Path::new("demo"), error);
        folder
            .create_dir_all("demo/field")
            .map_err(|error| failed(&error))?;
        // The job comes last; one that was changed already stays.
        for (file, bytes) in DEMO.iter().rev() {
            if folder.symlink_metadata(file).is_err() {
                write(folder, file, bytes)?;
            }
        }
        return Ok(shared.add_job("demo/job.toml"));
    }
    let known = |file: &Option<String>, what: &str| -> Result<Option<PathBuf>, AppError> {
        let Some(file) = file else { return Ok(None) };
        let ours =
            file.starts_with("inputs/") && folder.metadata(file).is_ok_and(|found| found.is_file());
        if ours {
            Ok(Some(shared.root().join(file)))
        } else {
            Err(AppError::refused(
                "page.start",
                format!("the {what} is not in the page's folder"),
            ))
        }
    };
    let need = |file: Option<PathBuf>, what: &str| {
        file.ok_or_else(|| AppError::refused("page.start", format!("a field needs {what}")))
    };
    let date = |text: &Option<String>| -> Result<Option<Date>, AppError> {
        text.as_deref()
            .filter(|text| !text.is_empty())
            .map(|text| {
                text.parse().map_err(|_error| {
                    AppError::refused("page.start", "this is no date")
                        .with_fact("date", text)
                        .with_hint("write it as 2026-04-14")
                })
            })
            .transpose()
    };
    let file = (1..=10_000)
        .map(|n| {
            if n == 1 {
                "job.toml".to_owned()
            } else {
                format!("job_{n}.toml")
            }
        })
        .find(|file| folder.symlink_metadata(file).is_err())
        .unwrap_or_default();
    let request = NewRequest {
        boundary: need(known(&asked.boundary, "boundary")?, "a boundary")?,
        raster: need(known(&asked.image, "image")?, "an image")?,
        strips: known(&asked.strips, "file of strips")?,
        weather: known(&asked.weather, "weather record")?,
        job: shared.root().join(&file),
        name: asked.name.clone().filter(|name| !name.trim().is_empty()),
        date: date(&asked.date)?,
        planted: date(&asked.planted)?,
        common: shared.common().clone(),
        ..NewRequest::default()
    };
    new_job(&request)?;
    Ok(shared.add_job(&file))
}
