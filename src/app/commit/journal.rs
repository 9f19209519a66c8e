//! The journal of a commit: what moves where, so that whoever comes next can finish it or take it back.
//!
//! A stage holds `new/` (files not yet in place), `old/` (files already put aside) and `journal.json`. Where a file stands tells how far the
//! commit came, so every step can be repeated. While the journal is there, stage and folder together hold all of the old and all of the new.

use std::collections::BTreeSet;
use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::app::commit::disk::{Disk, remove_tree};
use crate::app::commit::error::{CommitError, step};
use crate::app::commit::hash::sha256_of_file;
use crate::app::commit::record::is_record;

/// Name of the journal in a stage.
pub(crate) const JOURNAL: &str = "journal.json";
/// Folder of a stage with files not yet in place.
pub(crate) const NEW: &str = "new";
/// Folder of a stage with files put aside.
pub(crate) const OLD: &str = "old";

/// One file that a commit puts, replaces or takes away.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Change {
    /// Below the output folder.
    pub(crate) path: String,
    /// SHA-256 of what will be there.
    pub(crate) new: Option<String>,
    /// SHA-256 of what is there before.
    pub(crate) old: Option<String>,
}

/// All changes of a commit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Journal {
    /// Layout of this file.
    pub(crate) version: u32,
    /// Sorted by path.
    pub(crate) changes: Vec<Change>,
    /// Folders that the commit makes, outer first; the empty path is the output folder.
    pub(crate) made_folders: Vec<String>,
}

/// A journalled commit: its stage and its output folder.
pub(crate) struct Commit<'a> {
    /// The changes.
    pub(crate) journal: &'a Journal,
    pub(crate) stage: &'a Path,
    /// The output folder.
    pub(crate) folder: &'a Path,
    /// What to change it by.
    pub(crate) disk: &'a dyn Disk,
}

impl Commit<'_> {
    fn new_of(&self, path: &str) -> PathBuf {
        self.stage.join(NEW).join(path)
    }
    fn old_of(&self, path: &str) -> PathBuf {
        self.stage.join(OLD).join(path)
    }
    fn place_of(&self, path: &str) -> PathBuf {
        if path.is_empty() {
            self.folder.to_owned()
        } else {
            self.folder.join(path)
        }
    }
    fn rename(&self, from: &Path, to: &Path) -> Result<(), CommitError> {
        step("move", from, self.disk.rename(from, to))
    }

    /// Brings every change about, the record last.
    ///
    /// The old record goes first: a folder without a record is visibly not finished.
    pub(crate) fn forward(&self) -> Result<(), CommitError> {
        for folder in &self.journal.made_folders {
            let folder = self.place_of(folder);
            step("make", &folder, self.disk.make_folder(&folder))?;
        }
        let (record, others): (Vec<_>, Vec<_>) = self
            .journal
            .changes
            .iter()
            .partition(|change| is_record(&change.path));
        for change in &record {
            self.put_aside(change)?;
        }
        for change in others.iter().chain(&record) {
            self.put_aside(change)?;
            let new = self.new_of(&change.path);
            if change.new.is_some() && there(&new) {
                self.rename(&new, &self.place_of(&change.path))?;
            }
        }
        self.remove_emptied()?;
        self.sync()
    }

    fn put_aside(&self, change: &Change) -> Result<(), CommitError> {
        let place = self.place_of(&change.path);
        let old = self.old_of(&change.path);
        let due = change.new.is_none() || there(&self.new_of(&change.path));
        if due && !there(&old) && there(&place) {
            self.rename(&place, &old)
        } else {
            Ok(())
        }
    }

    /// Takes every change back.
    pub(crate) fn backward(&self) -> Result<(), CommitError> {
        let (record, others): (Vec<_>, Vec<_>) = self
            .journal
            .changes
            .iter()
            .partition(|change| is_record(&change.path));
        // The new record goes first, the old one comes last: as in `forward`, no record stands by files that are not its own.
        for change in record.iter().chain(&others) {
            let (place, new) = (self.place_of(&change.path), self.new_of(&change.path));
            // What stands in the place is the new file only once the old one, if there was one, is put aside.
            let moved_in = change.old.is_none() || there(&self.old_of(&change.path));
            if change.new.is_some() && moved_in && !there(&new) && there(&place) {
                self.rename(&place, &new)?;
            }
        }
        for change in others.iter().chain(&record) {
            let (place, old) = (self.place_of(&change.path), self.old_of(&change.path));
            if there(&old) {
                self.make_way_to(&change.path)?;
                self.rename(&old, &place)?;
            }
        }
        for folder in self.journal.made_folders.iter().rev() {
            self.remove_if_empty(&self.place_of(folder))?;
        }
        self.sync()
    }

    fn make_way_to(&self, path: &str) -> Result<(), CommitError> {
        for (end, _) in path.match_indices('/') {
            let folder = self.place_of(&path[..end]);
            if !folder.is_dir() {
                step("make", &folder, self.disk.make_folder(&folder))?;
            }
        }
        Ok(())
    }

    /// Removes folders that only held files taken away.
    fn remove_emptied(&self) -> Result<(), CommitError> {
        let taken = self
            .journal
            .changes
            .iter()
            .filter(|change| change.new.is_none());
        let folders: BTreeSet<&str> = taken
            .flat_map(|change| {
                change
                    .path
                    .match_indices('/')
                    .map(|(end, _)| &change.path[..end])
            })
            .collect();
        for folder in folders.iter().rev() {
            self.remove_if_empty(&self.place_of(folder))?;
        }
        Ok(())
    }

    /// Not empty means that somebody else put something there: then it stays.
    fn remove_if_empty(&self, folder: &Path) -> Result<(), CommitError> {
        match self.disk.remove_folder(folder) {
            Err(error)
                if matches!(
                    error.kind(),
                    io::ErrorKind::DirectoryNotEmpty | io::ErrorKind::NotFound
                ) =>
            {
                Ok(())
            }
            done => step("remove", folder, done),
        }
    }

    /// Waits until every touched folder is on the medium.
    fn sync(&self) -> Result<(), CommitError> {
        let mut folders = BTreeSet::from([self.folder.to_owned()]);
        folders.extend(self.folder.parent().map(Path::to_owned));
        for change in &self.journal.changes {
            folders.extend(
                change
                    .path
                    .match_indices('/')
                    .map(|(end, _)| self.folder.join(&change.path[..end])),
            );
        }
        for folder in folders.iter().filter(|folder| folder.is_dir()) {
            step("sync", folder, self.disk.sync_folder(folder))?;
        }
        Ok(())
    }

    /// Drops the journal, then the stage: from here on the commit is over.
    pub(crate) fn close(&self) -> io::Result<()> {
        self.disk.remove_file(&self.stage.join(JOURNAL))?;
        self.disk.sync_folder(self.stage)?;
        remove_tree(self.disk, self.stage)
    }

    /// Which of the two ends can be reached from what is on disk now, and which files are neither old nor new.
    ///
    /// Reads every file's hash: between the interruption and now anything may have happened.
    pub(crate) fn survey(&self) -> Result<Survey, CommitError> {
        let mut survey = Survey {
            forward: true,
            backward: true,
            strange: Vec::new(),
        };
        for change in &self.journal.changes {
            let place = hash(&self.place_of(&change.path))?;
            let new = hash(&self.new_of(&change.path))?;
            let old = hash(&self.old_of(&change.path))?;
            let strange = place.is_some() && place != change.new && place != change.old;
            if strange {
                survey.strange.push(change.path.clone());
            }
            let new_is_there =
                change.new.is_none() || new == change.new || (new.is_none() && place == change.new);
            let old_is_there =
                change.old.is_none() || old == change.old || (old.is_none() && place == change.old);
            survey.forward &= new_is_there && !strange;
            survey.backward &= old_is_there && !strange;
        }
        Ok(survey)
    }
}

/// See [`Commit::survey`].
#[derive(Debug)]
pub(crate) struct Survey {
    /// All of the new is there.
    pub(crate) forward: bool,
    /// All of the old is there.
    pub(crate) backward: bool,
    /// Neither old nor new.
    pub(crate) strange: Vec<String>,
}

fn there(path: &Path) -> bool {
    path.symlink_metadata().is_ok()
}

fn hash(path: &Path) -> Result<Option<String>, CommitError> {
    if path.is_file() {
        step("read", path, sha256_of_file(path)).map(Some)
    } else {
        Ok(None)
    }
}
