//! Job files by the paths that people name: a file, or a folder of them.

use std::path::{Path, PathBuf};

use crate::app::error::AppError;

/// Whether a file is called a job.
pub(crate) fn is_toml(path: &Path) -> bool {
    path.extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("toml"))
}

/// Whether a file of a folder is a job of a map, and not a table of crops or another program's settings. What is no TOML at all counts, so that its fault is told.
pub(crate) fn is_job(path: &Path) -> bool {
    let Ok(text) = fs_err::read_to_string(path) else {
        return true;
    };
    text.parse::<toml::Table>().map_or(true, |table| {
        table.contains_key("field") && table.contains_key("imagery")
    })
}

/// The jobs of a folder, by name.
///
/// # Errors
/// When the folder cannot be listed.
pub(crate) fn jobs_in(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    let mut jobs: Vec<PathBuf> = fs_err::read_dir(folder)?
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| is_toml(path) && is_job(path))
        .collect();
    jobs.sort();
    Ok(jobs)
}

/// Every job that these paths mean, each once, in the order given. A file is a job whatever it is called.
///
/// # Errors
/// When a folder holds no job, or cannot be listed.
pub(crate) fn jobs_of(paths: &[PathBuf]) -> Result<Vec<PathBuf>, AppError> {
    let mut jobs: Vec<PathBuf> = Vec::new();
    for path in paths {
        let found = if path.is_dir() {
            let refused = |text: String| {
                AppError::refused("job.folder", "the folder holds no job file")
                    .with_fact(path.display().to_string(), text)
                    .with_hint("name job files (.toml), or a folder that holds some, as haulm new --all writes it")
            };
            let found = jobs_in(path).map_err(|error| refused(error.to_string()))?;
            if found.is_empty() {
                return Err(refused("no .toml with [field] and [imagery]".to_owned()));
            }
            found
        } else {
            vec![path.clone()]
        };
        for job in found {
            if !jobs.contains(&job) {
                jobs.push(job);
            }
        }
    }
    Ok(jobs)
}
