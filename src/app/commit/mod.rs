//! The all-or-nothing write of a run's files.
//!
//! Renames are atomic one by one only. So a run's files are staged in a hidden neighbour of the output folder and synced; a small journal says
//! what moves where; then old files are put aside and new ones moved in, `office/record.json` last; folders are synced, journal and stage
//! removed. Whoever finds a journal finishes the commit or takes it back ([`OutputFolder::claim`] does). Files of the earlier run that the new
//! one does not have (other name, format switched off, machine files of a run that stopped) go in the same way.

mod disk;
mod error;
#[cfg(test)]
mod faults;
mod hash;
mod journal;
mod lock;
mod place;
mod plan;
mod record;
mod recover;
mod refusal;

use std::io;
use std::path::{Path, PathBuf};

use crate::app::cancel::Cancel;
use crate::app::commit::disk::{Disk, FileSystem, remove_tree};
use crate::app::commit::error::step;
use crate::app::commit::journal::{Commit, JOURNAL, Journal, NEW, OLD};
use crate::app::commit::lock::Lock;
use crate::app::commit::place::Place;
use crate::app::commit::plan::Plan;
use crate::finding::{Checked, Finding, codes};
use crate::format::payload::Payload;

pub use crate::app::commit::error::CommitError;
pub use crate::app::commit::hash::{sha256_hex, sha256_of_file};
pub(crate) use crate::app::commit::record::{Listed, listed};
pub use crate::app::commit::record::{
    MADE_BY, OUTPUTS, RECORD_PATH, STICK_RECORD, made_by, of_another_job, outputs,
};
pub(crate) use crate::app::commit::refusal::size;

/// How to write.
#[derive(Clone, Debug, Default)]
pub struct CommitOptions {
    /// Whether content that haulm did not write, or that was changed since, may be replaced.
    pub overwrite: bool,
    /// What may end the run before anything is moved.
    pub cancel: Cancel,
}

/// What a commit did, or would do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CommitReport {
    /// Path below the folder and size of each file written. (bytes)
    pub written: Vec<(String, u64)>,
    /// Files of the earlier run that are no longer there.
    pub removed: Vec<String>,
    /// What the user should know of it.
    pub findings: Vec<Finding>,
}

/// An output folder that this run alone may write to until it is dropped.
#[derive(Debug)]
pub struct OutputFolder {
    place: Place,
    options: CommitOptions,
    // Dropped in this order: the lock file stands in the innermost of the ancestors.
    _lock: Lock,
    ancestors: Ancestors,
}

impl OutputFolder {
    /// Takes the folder for this run, before anything is computed: checks that it can be written to, locks out other runs, completes an
    /// interrupted one (and says so), and refuses content that is not haulm's or was changed since.
    ///
    /// # Errors
    /// As above; see [`CommitError`]. Then nothing was changed, but for an interrupted commit that was completed.
    pub fn claim(folder: &Path, options: CommitOptions) -> Result<Checked<Self>, CommitError> {
        Self::claim_place(Place::of(folder)?, options)
    }

    /// Takes a stick: other content stays on it, what is written is read back before anything is moved, and files in `kept`, which lie in the office as they are
    /// now, may go.
    ///
    /// # Errors
    /// As [`OutputFolder::claim`], but for a folder that haulm did not make.
    pub(crate) fn claim_stick(
        folder: &Path,
        kept: Vec<Listed>,
        options: CommitOptions,
    ) -> Result<Checked<Self>, CommitError> {
        Self::claim_place(Place::of_stick(folder, kept)?, options)
    }

    fn claim_place(place: Place, options: CommitOptions) -> Result<Checked<Self>, CommitError> {
        place.check_writable()?;
        let ancestors = Ancestors::make(&place)?;
        let lock = Lock::take(&place, &options.cancel)?;
        let wording = recover::recover(&FileSystem, &place)?;
        plan::check_folder(&place, options.overwrite)?;
        Ok(Checked::new(
            Self {
                place,
                options,
                _lock: lock,
                ancestors,
            },
            wording.into_iter().collect(),
        ))
    }

    /// Writes all of the files or none of them, `office/record.json` last.
    ///
    /// The record must carry [`MADE_BY`] and [`OUTPUTS`] with the values of [`made_by`] and [`outputs`]: by them the next run knows the folder.
    ///
    /// # Errors
    /// See [`CommitError`]. The earlier outputs are then as they were, but for `Interrupted`, where the next run completes the commit.
    pub fn commit(mut self, files: &[Payload]) -> Result<CommitReport, CommitError> {
        let mut done = commit_to(&FileSystem, &self.place, files, &self.options);
        if done.is_ok() && self.place.shared {
            // Once more, in its last place.
            if let Err(error) = read_back(&self.place.folder, files) {
                self.ancestors.keep = true;
                done = Err(error);
            }
        }
        self.ancestors.keep = matches!(done, Ok(_) | Err(CommitError::Interrupted { .. }));
        done
    }
}

/// Keeps other runs out of a folder until it is dropped; nothing in it is looked at.
///
/// # Errors
/// When another run has it, or its place cannot be written to.
pub(crate) fn alone(folder: &Path, cancel: &Cancel) -> Result<impl Drop + use<>, CommitError> {
    Lock::take(&Place::of(folder)?, cancel)
}

/// Claims the folder and writes into it at once: see [`OutputFolder`].
///
/// # Errors
/// As [`OutputFolder::claim`] and [`OutputFolder::commit`].
pub fn commit(
    folder: &Path,
    files: &[Payload],
    options: CommitOptions,
) -> Result<CommitReport, CommitError> {
    let mut findings = Vec::new();
    let claimed = OutputFolder::claim(folder, options)?.into_log(&mut findings);
    let mut report = claimed.commit(files)?;
    findings.append(&mut report.findings);
    Ok(CommitReport { findings, ..report })
}

/// Completes or takes back an interrupted commit, if there is one, and says which.
///
/// # Errors
/// When another run holds the folder, or files were changed since the interruption.
pub fn recover(folder: &Path) -> Result<Option<Finding>, CommitError> {
    let place = Place::of(folder)?;
    if place.stages().is_empty() {
        return Ok(None);
    }
    let _lock = Lock::take(&place, &Cancel::new())?;
    recover::recover(&FileSystem, &place)
}

/// Says whether an interrupted commit waits to be completed; changes nothing.
///
/// # Errors
/// When the path can be none of a folder.
pub fn pending(folder: &Path) -> Result<Option<Finding>, CommitError> {
    Ok(recover::pending(&Place::of(folder)?))
}

/// Refuses a folder that cannot be written to, or whose content is not to be replaced; changes nothing.
///
/// # Errors
/// As [`OutputFolder::claim`], but for other runs.
pub fn check_writable(folder: &Path, options: &CommitOptions) -> Result<(), CommitError> {
    let place = Place::of(folder)?;
    place.check_writable()?;
    if recover::pending(&place).is_some() {
        // What is there now is half of two runs; the real run completes it before it looks.
        return Ok(());
    }
    plan::check_folder(&place, options.overwrite).map(drop)
}

/// What a commit would do; changes nothing.
///
/// # Errors
/// As [`OutputFolder::claim`] and [`OutputFolder::commit`], but for other runs and for room on the disk.
pub fn dry_run(
    folder: &Path,
    files: &[Payload],
    options: &CommitOptions,
) -> Result<CommitReport, CommitError> {
    dry_run_at(&Place::of(folder)?, files, options)
}

/// What writing a stick would do; changes nothing.
///
/// # Errors
/// As [`dry_run`], and when there is no room.
pub(crate) fn dry_run_stick(
    folder: &Path,
    kept: Vec<Listed>,
    files: &[Payload],
    options: &CommitOptions,
) -> Result<CommitReport, CommitError> {
    let place = Place::of_stick(folder, kept)?;
    let done = dry_run_at(&place, files, options)?;
    enough_room(&place, files)?;
    Ok(done)
}

/// Whether a folder is a disk of its own, as a stick is.
///
/// # Errors
/// When the path can be none of a folder.
pub(crate) fn is_own_disk(folder: &Path) -> Result<bool, CommitError> {
    Ok(Place::of(folder)?.is_own_disk())
}

fn dry_run_at(
    place: &Place,
    files: &[Payload],
    options: &CommitOptions,
) -> Result<CommitReport, CommitError> {
    place.check_writable()?;
    let pending = recover::pending(place);
    let overwrite = options.overwrite || pending.is_some();
    let plan = plan::plan(place, files, overwrite)?;
    let mut report = report(&plan, files);
    report.findings.splice(0..0, pending);
    Ok(report)
}

fn report(plan: &Plan, files: &[Payload]) -> CommitReport {
    let mut written: Vec<_> = files
        .iter()
        .map(|file| (file.path.clone(), file.bytes.len() as u64))
        .collect();
    written.sort();
    let removed = plan
        .changes
        .iter()
        .filter(|change| change.new.is_none())
        .map(|change| change.path.clone())
        .collect();
    CommitReport {
        written,
        removed,
        findings: plan.findings.clone(),
    }
}

/// The room that the files need on disk, in blocks of this size; the entry of each takes one more. (bytes)
fn room_for(files: &[Payload], block: u64) -> u64 {
    files
        .iter()
        .map(|file| (file.bytes.len() as u64).div_ceil(block) * block + block)
        .sum()
}

/// The room that the files need, or that it is not there. (bytes)
fn enough_room(place: &Place, files: &[Payload]) -> Result<u64, CommitError> {
    let needed = room_for(files, place.block());
    let free = place.free();
    if free.is_some_and(|free| free < needed) {
        return Err(CommitError::NoRoom {
            path: place.folder.clone(),
            needed,
            free,
        });
    }
    Ok(needed)
}

fn commit_to(
    disk: &dyn Disk,
    place: &Place,
    files: &[Payload],
    options: &CommitOptions,
) -> Result<CommitReport, CommitError> {
    let plan = plan::plan(place, files, options.overwrite)?;
    let mut report = report(&plan, files);
    let needed = enough_room(place, files)?;
    let stage = place.stage();
    let leftover = options.cancel.leftover(&stage);
    let journal = Journal {
        version: 1,
        changes: plan.changes,
        made_folders: plan.made_folders,
    };
    let commit = Commit {
        journal: &journal,
        stage: &stage,
        folder: &place.folder,
        disk,
    };
    let staged = stage_files(&commit, files, &options.cancel).and_then(|()| {
        // A stick is cheap and goes far: what is on it is read before anything is moved.
        if place.shared {
            read_back(&stage.join(NEW), files)
        } else {
            Ok(())
        }
    });
    if let Err(error) = staged {
        let _ = remove_tree(disk, &stage);
        return Err(with_room(error, place, needed));
    }
    // From here on the run is finished or taken back, but not ended in between.
    let hold = options.cancel.hold();
    if options.cancel.signal().is_some() {
        let _ = remove_tree(disk, &stage);
        return Err(CommitError::Cancelled);
    }
    drop(leftover);
    if let Err(error) = write_journal(&commit) {
        // Nothing was moved yet. A journal that is there in spite of the error goes first.
        let _ = disk.remove_file(&stage.join(JOURNAL));
        let _ = remove_tree(disk, &stage);
        return Err(with_room(error, place, needed));
    }
    if let Err(error) = commit.forward() {
        let back = commit
            .backward()
            .and_then(|()| step("remove", &stage, commit.close()));
        return Err(match back {
            Ok(()) => with_room(error, place, needed),
            Err(_) if !stage.join(JOURNAL).exists() => error,
            Err(_) => CommitError::Interrupted {
                folder: place.folder.clone(),
                stage,
                source: Box::new(error),
            },
        });
    }
    if let Err(error) = commit.close() {
        let text = format!(
            "all files are written, but the stage {} could not be removed ({error}): the next run removes it",
            stage.display()
        );
        report
            .findings
            .push(Finding::note(codes::OUTPUT_STAGE, text));
    }
    drop(hold);
    Ok(report)
}

/// Writes every file to the stage and makes its folders, old ones too.
fn stage_files(commit: &Commit<'_>, files: &[Payload], cancel: &Cancel) -> Result<(), CommitError> {
    let make = |path: &Path| step("make", path, commit.disk.make_folder(path));
    make(commit.stage).map_err(|error| match error {
        CommitError::Step { path, source, .. } if source.kind() != io::ErrorKind::StorageFull => {
            CommitError::NotWritable { path, source }
        }
        other => other,
    })?;
    let mut folders = Vec::new();
    for (part, paths) in [
        (
            NEW,
            commit
                .journal
                .changes
                .iter()
                .filter(|change| change.new.is_some())
                .map(|change| change.path.as_str())
                .collect::<Vec<_>>(),
        ),
        (
            OLD,
            commit
                .journal
                .changes
                .iter()
                .filter(|change| change.old.is_some())
                .map(|change| change.path.as_str())
                .collect(),
        ),
    ] {
        folders.push(commit.stage.join(part));
        for path in paths {
            folders.extend(
                path.match_indices('/')
                    .map(|(end, _)| commit.stage.join(part).join(&path[..end])),
            );
        }
    }
    folders.sort();
    folders.dedup();
    for folder in &folders {
        make(folder)?;
    }
    for file in files {
        if cancel.signal().is_some() {
            return Err(CommitError::Cancelled);
        }
        let path = commit.stage.join(NEW).join(&file.path);
        step("write", &path, commit.disk.write_new(&path, &file.bytes))?;
    }
    for folder in folders.iter().rev() {
        step("sync", folder, commit.disk.sync_folder(folder))?;
    }
    Ok(())
}

/// Reads every file from the medium and compares it with what was to be written.
fn read_back(folder: &Path, files: &[Payload]) -> Result<(), CommitError> {
    for file in files {
        let path = folder.join(&file.path);
        step("open", &path, forget(&path))?;
        let found = step("read", &path, sha256_of_file(&path))?;
        let written = sha256_hex(&file.bytes);
        if found != written {
            return Err(CommitError::ReadBack {
                path,
                written,
                found,
            });
        }
    }
    Ok(())
}

/// Asks the system to drop what it remembers of a file, so that the next look at it comes from the medium.
#[cfg(target_os = "linux")]
fn forget(path: &Path) -> io::Result<()> {
    let file = fs_err::File::open(path)?;
    // A file system that cannot is read as it is.
    let _ = rustix::fs::fadvise(file.file(), 0, None, rustix::fs::Advice::DontNeed);
    Ok(())
}

/// Elsewhere the file is read as the system has it.
#[cfg(not(target_os = "linux"))]
fn forget(_: &Path) -> io::Result<()> {
    Ok(())
}

fn write_journal(commit: &Commit<'_>) -> Result<(), CommitError> {
    let path = commit.stage.join(JOURNAL);
    let text =
        serde_json::to_vec_pretty(commit.journal).map_err(|source| CommitError::BadJournal {
            path: path.clone(),
            source,
        })?;
    let draft = commit.stage.join("journal.draft");
    step("write", &draft, commit.disk.write_new(&draft, &text))?;
    step("move", &draft, commit.disk.rename(&draft, &path))?;
    step("sync", commit.stage, commit.disk.sync_folder(commit.stage))?;
    let home = commit.stage.parent().unwrap_or(commit.stage);
    step("sync", home, commit.disk.sync_folder(home))
}

/// A full disk is told with what is needed and what is free.
fn with_room(error: CommitError, place: &Place, needed: u64) -> CommitError {
    match error {
        CommitError::Step { source, .. }
            if matches!(
                source.kind(),
                io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded
            ) =>
        {
            CommitError::NoRoom {
                path: place.folder.clone(),
                needed,
                free: place.free(),
            }
        }
        other => other,
    }
}

/// Folders above the output folder that were made for it; they go again when nothing was written.
#[derive(Debug)]
struct Ancestors {
    made: Vec<PathBuf>,
    keep: bool,
}

impl Ancestors {
    fn make(place: &Place) -> Result<Self, CommitError> {
        let mut ancestors = Self {
            made: Vec::new(),
            keep: false,
        };
        for path in place.missing_ancestors() {
            FileSystem
                .make_folder(&path)
                .map_err(|source| CommitError::NotWritable {
                    path: path.clone(),
                    source,
                })?;
            ancestors.made.push(path);
        }
        Ok(ancestors)
    }
}

impl Drop for Ancestors {
    fn drop(&mut self) {
        if !self.keep {
            for path in self.made.iter().rev() {
                let _ = fs_err::remove_dir(path);
            }
        }
    }
}
