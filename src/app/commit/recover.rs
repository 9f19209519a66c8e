//! What an interrupted run left: finished or taken back before the next one begins.

use std::path::Path;

use crate::app::commit::disk::{Disk, remove_tree};
use crate::app::commit::error::{CommitError, step};
use crate::app::commit::journal::{Commit, JOURNAL, Journal};
use crate::app::commit::place::Place;
use crate::finding::{Finding, codes};

/// Whether an interrupted run waits to be finished.
pub(crate) fn pending(place: &Place) -> Option<Finding> {
    let stages = place.stages();
    let journalled = stages.iter().any(|stage| stage.join(JOURNAL).exists());
    let text = format!(
        "a run was interrupted while writing {}: the next run completes it",
        place.folder.display()
    );
    journalled.then(|| Finding::caution(codes::OUTPUT_INTERRUPTED, text))
}

/// Finishes or takes back what interrupted runs left. The caller holds the lock.
pub(crate) fn recover(disk: &dyn Disk, place: &Place) -> Result<Option<Finding>, CommitError> {
    let mut wording = None;
    for stage in place.stages() {
        let path = stage.join(JOURNAL);
        if !path.exists() {
            // Without a journal nothing in the folder was touched yet, or all of it is done.
            step("remove", &stage, remove_tree(disk, &stage))?;
            wording = wording.or_else(|| {
                Some(note(format!(
                    "an earlier run into {} ended before it wrote: its stage is removed",
                    place.folder.display()
                )))
            });
            continue;
        }
        let journal = step("read", &path, fs_err::read(&path))?;
        let journal: Journal = serde_json::from_slice(&journal)
            .map_err(|source| CommitError::BadJournal { path, source })?;
        wording = Some(replay(disk, place, &stage, &journal)?);
    }
    Ok(wording)
}

fn replay(
    disk: &dyn Disk,
    place: &Place,
    stage: &Path,
    journal: &Journal,
) -> Result<Finding, CommitError> {
    let commit = Commit {
        journal,
        stage,
        folder: &place.folder,
        disk,
    };
    let survey = commit.survey()?;
    let tangled = || CommitError::Tangled {
        folder: place.folder.clone(),
        stage: stage.to_owned(),
        files: survey.strange.clone(),
    };
    let interrupted = |source: CommitError| CommitError::Interrupted {
        folder: place.folder.clone(),
        stage: stage.to_owned(),
        source: Box::new(source),
    };
    let folder = place.folder.display();
    let forward = if survey.forward {
        Some(commit.forward())
    } else {
        None
    };
    let wording = match forward {
        Some(Ok(())) => format!(
            "an earlier run was interrupted while writing {folder}: its map is now complete there"
        ),
        Some(Err(first)) if survey.backward => {
            commit.backward().map_err(|_| interrupted(first))?;
            format!(
                "an earlier run was interrupted while writing {folder}: the outputs before it are put back"
            )
        }
        Some(Err(first)) => return Err(interrupted(first)),
        None if survey.backward => {
            commit.backward().map_err(interrupted)?;
            format!(
                "an earlier run was interrupted while writing {folder}: the outputs before it are put back"
            )
        }
        None => return Err(tangled()),
    };
    step("remove", stage, commit.close())?;
    Ok(note(wording))
}

fn note(text: String) -> Finding {
    Finding::note(codes::OUTPUT_INTERRUPTED, text)
}
