//! Inputs that lie on a network: the state in which they were read stands in the record, and a change meanwhile is no map.

use std::path::{Path, PathBuf};

use crate::app::error::AppError;
use crate::app::held::Held;
use crate::app::image_source::shown;
use crate::finding::{Finding, codes};
use crate::format::network::{Stated, lies_there, stated};
use serde_json::{Value, json};

/// What was said of each at the start, or why nothing was.
#[derive(Clone, Debug, Default)]
pub(crate) struct NetworkInputs(Vec<(PathBuf, Result<Stated, String>)>);

impl NetworkInputs {
    /// Asks of those among `paths` that lie on a network; a run over many fields asks once for all of them.
    pub(crate) fn of(paths: &[PathBuf], held: Option<&Held>) -> Self {
        let there = paths.iter().filter(|path| lies_there(path));
        let said = |path: &PathBuf| held.map_or_else(|| stated(path), |held| held.stated(path));
        Self(there.map(|path| (path.clone(), said(path))).collect())
    }

    /// Each with its state in a line, `None` where another would not be told from it.
    pub(crate) fn states(&self) -> impl Iterator<Item = (&Path, Option<String>)> {
        self.0.iter().map(|(path, said)| {
            let said = said.as_ref().ok().filter(|said| said.tells());
            (path.as_path(), said.map(Stated::line))
        })
    }

    /// Refuses the first that is in another state by now.
    ///
    /// # Errors
    /// As above, or when its server no longer answers.
    pub(crate) fn still(&self) -> Result<(), AppError> {
        for (path, before) in &self.0 {
            let Ok(before) = before else { continue };
            let now = stated(path).map_err(|why| {
                AppError::refused(
                    "file.unreachable",
                    "the server of an input does not answer any more",
                )
                .with_fact(path.display().to_string(), why)
                .with_hint("run again when it answers, or keep a copy")
            })?;
            if now != *before {
                return Err(AppError::refused(
                    "file.changed",
                    "an input changed while it was read",
                )
                .with_fact(
                    path.display().to_string(),
                    format!("was {}, and is {}", before.line(), now.line()),
                )
                .with_hint("run again when it no longer changes, or keep a copy"));
            }
        }
        Ok(())
    }

    /// As the record lists them among its inputs.
    pub(crate) fn entries(&self, folder: &Path) -> Vec<Value> {
        let entry = |(path, said): &(PathBuf, Result<Stated, String>)| {
            let said = said.clone().unwrap_or_default();
            json!({ "path": shown(path, folder), "bytes": said.bytes, "etag": said.etag, "last_modified": said.modified })
        };
        self.0.iter().map(entry).collect()
    }

    /// Those of which nobody can tell later what was read.
    pub(crate) fn findings(&self) -> Vec<Finding> {
        let unknown = |(path, said): &(PathBuf, Result<Stated, String>)| {
            let why = match said {
                Ok(said) if said.tells() => return None,
                Ok(_) => "its server names no state of it".to_owned(),
                Err(why) => why.clone(),
            };
            let message = format!(
                "what state of {} was read cannot be said: {why}; keep a copy of it with the map",
                path.display()
            );
            Some(Finding::caution(codes::IMAGE_STATE_UNKNOWN, message))
        };
        self.0.iter().filter_map(unknown).collect()
    }
}
