//! Where a run writes: the output folder, and the neighbour that holds lock and stage.

use std::ffi::OsString;
use std::os::unix::fs::MetadataExt;
use std::path::{Component, Path, PathBuf};

use rustix::fs::Access;

use crate::app::commit::error::{CommitError, step};
use crate::app::commit::hash::sha256_hex;
use crate::app::commit::record::{Listed, RECORD_PATH, STICK_RECORD};

/// Names longer than this are replaced by their hash, so that the hidden names stay below the 255 bytes that file systems allow.
const LONGEST_NAME: usize = 180;
/// The smallest piece of disk that is counted with. (bytes)
const BLOCK: u64 = 4096;
/// Folders of a stick.
pub(crate) const STICK_PARTS: &[&str] = &["TASKDATA", "SHAPES", "CARDS"];
/// Bytes that a name may have on the file systems in use (from memory).
const LONGEST_PART: usize = 255;

/// An output folder with links resolved.
#[derive(Clone, Debug)]
pub(crate) struct Place {
    /// The output folder; need not be there yet.
    pub(crate) folder: PathBuf,
    /// Where its record stands, below it.
    pub(crate) record: &'static str,
    /// Parts below it that go to a machine.
    pub(crate) machine: &'static [&'static str],
    /// Whether it may hold what others put there, as a stick does.
    pub(crate) shared: bool,
    /// Files of it that came back otherwise than they were written and lie in the office now: they may be replaced or removed while they are still that.
    pub(crate) kept: Vec<Listed>,
    /// The folders that may hold lock and stage of a run: the parent, then the output folder itself.
    homes: [(PathBuf, String); 2],
}

impl Place {
    /// Resolves links and relative parts.
    pub(crate) fn of(path: &Path) -> Result<Self, CommitError> {
        let bad = || CommitError::NoSuchPlace {
            path: path.to_owned(),
        };
        let absolute = step("find", path, std::path::absolute(path))?;
        // The part that is there is resolved by the system; the rest must be plain names.
        let mut there = absolute.as_path();
        while !there.exists() {
            there = there.parent().ok_or_else(bad)?;
        }
        let rest = absolute.strip_prefix(there).map_err(|_| bad())?;
        if rest
            .components()
            .any(|part| !matches!(part, Component::Normal(_)))
        {
            return Err(bad());
        }
        // A folder that cannot be made must be refused before anything is staged beside it.
        if let Some(part) = rest
            .components()
            .find(|part| part.as_os_str().len() > LONGEST_PART)
        {
            return Err(CommitError::TooLong {
                path: path.to_owned(),
                bytes: part.as_os_str().len(),
            });
        }
        let mut folder = step("find", there, fs_err::canonicalize(there))?;
        if !folder.is_dir() {
            return Err(CommitError::NotAFolder { path: folder });
        }
        if rest.components().next().is_some() {
            folder.push(rest);
        }
        if folder.symlink_metadata().is_ok_and(|found| !found.is_dir()) {
            return Err(CommitError::NotAFolder { path: folder });
        }
        let parent = folder.parent().ok_or_else(bad)?.to_owned();
        let name = folder.file_name().ok_or_else(bad)?;
        let name = match name.to_str() {
            Some(text) if text.len() <= LONGEST_NAME => text.to_owned(),
            _ => sha256_hex(name.as_encoded_bytes())[..16].to_owned(),
        };
        let homes = [
            (parent, format!(".{name}.haulm")),
            (folder.clone(), ".haulm".to_owned()),
        ];
        Ok(Self {
            folder,
            record: RECORD_PATH,
            machine: &["machine"],
            shared: false,
            kept: Vec::new(),
            homes,
        })
    }

    /// A stick, which need not be haulm's alone, with what of it lies in the office.
    pub(crate) fn of_stick(path: &Path, kept: Vec<Listed>) -> Result<Self, CommitError> {
        Ok(Self {
            record: STICK_RECORD,
            machine: STICK_PARTS,
            shared: true,
            kept,
            ..Self::of(path)?
        })
    }

    /// Whether the folder is a disk of its own, as a stick is.
    pub(crate) fn is_own_disk(&self) -> bool {
        let above = self.folder.parent().and_then(|above| above.metadata().ok());
        match (above, self.folder.metadata()) {
            (Some(above), Ok(here)) => above.dev() != here.dev(),
            _ => false,
        }
    }

    /// The folder that holds lock and stage: the parent, unless the output folder is a disk of its own or the parent is not to be written to.
    /// Files move atomically only within one disk.
    fn home(&self) -> &(PathBuf, String) {
        let [parent, own] = &self.homes;
        let (Ok(above), Ok(here)) = (parent.0.metadata(), self.folder.metadata()) else {
            return parent;
        };
        let apart = above.dev() != here.dev();
        if apart || writable(&parent.0).is_err() {
            own
        } else {
            parent
        }
    }

    /// Ancestors of the folder that are not there yet, outermost first.
    pub(crate) fn missing_ancestors(&self) -> Vec<PathBuf> {
        let mut missing: Vec<_> = self
            .folder
            .ancestors()
            .skip(1)
            .take_while(|path| !path.exists())
            .map(Path::to_owned)
            .collect();
        missing.reverse();
        missing
    }

    /// The lock file of runs into this folder.
    pub(crate) fn lock(&self) -> PathBuf {
        let (home, prefix) = self.home();
        home.join(format!("{prefix}-lock"))
    }

    /// The stage of the run that has the lock.
    pub(crate) fn stage(&self) -> PathBuf {
        let (home, prefix) = self.home();
        home.join(format!("{prefix}-stage"))
    }

    /// Stages that an earlier run left. They are looked for by name: of the thousands of folders beside one field's in a season none is listed.
    pub(crate) fn stages(&self) -> Vec<PathBuf> {
        self.homes
            .iter()
            .map(|(home, prefix)| home.join(format!("{prefix}-stage")))
            .filter(|stage| stage.symlink_metadata().is_ok())
            .collect()
    }

    /// What stands in the output folder, besides lock and stage of our own; names sorted.
    pub(crate) fn content(&self) -> Result<Vec<OsString>, CommitError> {
        if !self.folder.exists() {
            return Ok(Vec::new());
        }
        let mut names = Vec::new();
        for entry in step("list", &self.folder, fs_err::read_dir(&self.folder))? {
            let name = step("list", &self.folder, entry)?.file_name();
            if name != ".haulm-lock" && name != ".haulm-stage" {
                names.push(name);
            }
        }
        names.sort();
        Ok(names)
    }

    /// Refuses a place where nothing can be written: the folder with its parts, or the nearest folder above it that is there.
    ///
    /// Asks for permission only; whether there is room is seen when the size is known. Nothing is changed.
    pub(crate) fn check_writable(&self) -> Result<(), CommitError> {
        let Some(nearest) = self.folder.ancestors().find(|path| path.exists()) else {
            return Err(CommitError::NoSuchPlace {
                path: self.folder.clone(),
            });
        };
        let own = if nearest == self.folder {
            self.home().0.clone()
        } else {
            nearest.to_owned()
        };
        let parts = self
            .machine
            .iter()
            .chain(&["office"])
            .map(|part| self.folder.join(part))
            .collect::<Vec<_>>();
        for path in [own.as_path(), nearest]
            .into_iter()
            .chain(parts.iter().map(PathBuf::as_path))
        {
            if path.is_dir() {
                writable(path).map_err(|source| CommitError::NotWritable {
                    path: path.to_owned(),
                    source,
                })?;
            }
        }
        Ok(())
    }

    /// Space that a file takes on the disk comes in pieces of this size. (bytes)
    pub(crate) fn block(&self) -> u64 {
        let nearest = self.folder.ancestors().find(|path| path.exists());
        let disk = nearest.and_then(|path| rustix::fs::statvfs(path).ok());
        disk.map_or(BLOCK, |disk| disk.f_frsize.max(BLOCK))
    }

    /// Bytes that this user may still write on the disk of the outputs.
    pub(crate) fn free(&self) -> Option<u64> {
        let nearest = self.folder.ancestors().find(|path| path.exists())?;
        let disk = rustix::fs::statvfs(nearest).ok()?;
        Some(disk.f_bavail.saturating_mul(disk.f_frsize))
    }
}

fn writable(path: &Path) -> std::io::Result<()> {
    rustix::fs::access(path, Access::WRITE_OK | Access::EXEC_OK).map_err(Into::into)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hidden_names_stay_short_and_apart() {
        let scratch = tempfile::tempdir().unwrap();
        let long = "x".repeat(250);
        let place = Place::of(&scratch.path().join(&long)).unwrap();
        assert!(place.stage().file_name().unwrap().len() < 64);
        // A stage of the folder `a.haulm-stage` is not one of the folder `a`.
        fs_err::create_dir(scratch.path().join(".a.haulm-stage.haulm-stage")).unwrap();
        let place = Place::of(&scratch.path().join("a")).unwrap();
        assert!(place.stages().is_empty());
        fs_err::create_dir(scratch.path().join(".a.haulm-stage")).unwrap();
        assert!(place.stages()[0].ends_with(".a.haulm-stage"));
    }

    #[test]
    fn odd_places_are_refused() {
        let scratch = tempfile::tempdir().unwrap();
        assert!(matches!(
            Place::of(Path::new("/")),
            Err(CommitError::NoSuchPlace { .. })
        ));
        assert!(matches!(
            Place::of(&scratch.path().join("none/../out")),
            Err(CommitError::NoSuchPlace { .. })
        ));
        let file = scratch.path().join("file");
        fs_err::write(&file, "x").unwrap();
        assert!(matches!(
            Place::of(&file),
            Err(CommitError::NotAFolder { .. })
        ));
        assert!(matches!(
            Place::of(&file.join("out")),
            Err(CommitError::NotAFolder { .. })
        ));
        assert!(matches!(
            Place::of(&scratch.path().join("x".repeat(256))),
            Err(CommitError::TooLong { bytes: 256, .. })
        ));
        assert!(Place::of(&scratch.path().join("x".repeat(255)).join("out")).is_ok());
        // "." and a trailing ".." of folders that are there are fine.
        let place = Place::of(&scratch.path().join(".")).unwrap();
        assert_eq!(place.folder, scratch.path().canonicalize().unwrap());
    }
}
