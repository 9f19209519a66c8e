//! What lies on a stick before anything is written to it: nothing, haulm's own maps, work that a machine brought back, or task data of others.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use crate::app::commit;
use crate::app::commit::{Listed, STICK_RECORD, sha256_of_file, size};
use crate::app::error::AppError;
use crate::report::counted::counted;

/// Folder of task data, by the standard in capitals.
pub(super) const TASKDATA: &str = "TASKDATA";
/// Its main file.
const MAIN: &str = "TASKDATA/TASKDATA.XML";
/// Files that one refusal names before it says how many more there are.
const NAMED: usize = 6;

/// What came back, or was changed, since haulm wrote the stick.
#[derive(Clone, Debug, Default)]
pub(super) struct Returned {
    /// Each file with its hash as it is now.
    pub(super) files: Vec<Listed>,
    /// What to say of each.
    facts: Vec<(String, String)>,
}

/// Looks at a stick, or at the place where one will be.
///
/// # Errors
/// When its task data are not haulm's, or it cannot be read.
pub(super) fn look(stick: &Path) -> Result<Returned, AppError> {
    if !stick.exists() {
        return Ok(Returned::default());
    }
    let unreadable = |path: &Path, error: &std::io::Error| {
        AppError::refused("stick.unreadable", "the stick cannot be read")
            .with_fact(path.display().to_string(), error.to_string())
            .with_hint("try another port or another stick")
    };
    let listed = fs_err::read(stick.join(STICK_RECORD))
        .ok()
        .and_then(|bytes| commit::listed(&bytes));
    let folders = task_folders(stick).map_err(|error| unreadable(stick, &error))?;
    let mut there = BTreeMap::new();
    for folder in &folders {
        walk(stick, folder, &mut there).map_err(|error| unreadable(folder, &error))?;
    }
    let ours = listed
        .as_ref()
        .is_some_and(|listed| listed.iter().any(|item| item.path == MAIN));
    if !there.is_empty() && !ours {
        return Err(foreign(stick, &folders, &there));
    }
    let listed = listed.unwrap_or_default();
    for item in &listed {
        let path = stick.join(&item.path);
        if path.is_file() && !there.contains_key(&item.path) {
            there.insert(item.path.clone(), path);
        }
    }
    let mut returned = Returned::default();
    for (name, path) in there {
        let sha256 = sha256_of_file(&path).map_err(|error| unreadable(&path, &error))?;
        let known = listed.iter().find(|item| item.path == name);
        if known.is_some_and(|item| item.sha256 == sha256) {
            continue;
        }
        let bytes = fs_err::metadata(&path).map_or(0, |data| data.len());
        let what = if known.is_some() {
            "changed since haulm wrote it"
        } else {
            "new on the stick"
        };
        returned
            .facts
            .push((name.clone(), format!("{what}, {}", size(bytes))));
        returned.files.push(Listed { path: name, sha256 });
    }
    Ok(returned)
}

/// Folders of task data at the root, however their letters are cased.
fn task_folders(stick: &Path) -> std::io::Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    for entry in fs_err::read_dir(stick)? {
        let entry = entry?;
        if entry
            .file_name()
            .to_string_lossy()
            .eq_ignore_ascii_case(TASKDATA)
        {
            found.push(entry.path());
        }
    }
    found.sort();
    Ok(found)
}

/// Files below a folder (or the file itself), by their path on the stick.
fn walk(stick: &Path, path: &Path, found: &mut BTreeMap<String, PathBuf>) -> std::io::Result<()> {
    // A link is no file of a stick; it is not followed, and counts as something there.
    if path.symlink_metadata()?.is_dir() {
        for entry in fs_err::read_dir(path)? {
            walk(stick, &entry?.path(), found)?;
        }
    } else {
        let below = path.strip_prefix(stick).unwrap_or(path);
        let parts: Vec<_> = below
            .iter()
            .map(|part| part.to_string_lossy().into_owned())
            .collect();
        found.insert(parts.join("/"), path.to_owned());
    }
    Ok(())
}

fn foreign(stick: &Path, folders: &[PathBuf], there: &BTreeMap<String, PathBuf>) -> AppError {
    let logs = there.keys().filter(|name| is_log(name)).count();
    let held = if logs == 0 {
        counted(there.len(), "file")
    } else {
        let files = counted(there.len(), "file");
        format!("{files}, {logs} of them logs of work")
    };
    let mut error = AppError::refused(
        "stick.foreign",
        "the stick holds task data that haulm did not put there",
    );
    for folder in folders {
        error = error.with_fact(folder.display().to_string(), held.clone());
    }
    error
        .with_fact(stick.display().to_string(), "nothing was changed")
        .with_hint("copy that folder to the office, then move it off the stick and call the command again; or take another stick")
}

/// Whether a file is a log of work done, by its name.
pub(super) fn is_log(path: &str) -> bool {
    path.rsplit('/')
        .next()
        .is_some_and(|name| name.to_ascii_uppercase().starts_with("TLG"))
}

impl Returned {
    /// Whether nothing came back.
    pub(super) fn is_empty(&self) -> bool {
        self.files.is_empty()
    }

    /// The refusal to write over it.
    pub(super) fn refusal(&self, stick: &Path) -> AppError {
        let logs = self.files.iter().filter(|file| is_log(&file.path)).count();
        let headline = if logs == 0 {
            "the stick was changed since haulm wrote it, and that is not in the office yet"
        } else {
            "the stick came back with logs of work that are not in the office yet"
        };
        let mut error = AppError::refused("stick.came_back", headline);
        for (name, text) in self.facts.iter().take(NAMED) {
            error = error.with_fact(name.clone(), text.clone());
        }
        if self.facts.len() > NAMED {
            error = error.with_fact("and", format!("{} more files", self.facts.len() - NAMED));
        }
        error
            .with_fact(stick.display().to_string(), "nothing was changed")
            .with_hint("give --bring-back FOLDER as well: it copies what came back to that folder of the office, compares every file, and only then writes")
    }
}

/// What was copied to the office.
#[derive(Clone, Debug)]
pub(super) struct Brought {
    /// Where it lies.
    pub(super) folder: PathBuf,
    /// Path below it and size of each file. (bytes)
    pub(super) files: Vec<(String, u64)>,
}

/// Copies what came back, the whole of the task data and the stick's record with it, and compares every copy with the stick by its hash.
///
/// # Errors
/// When the folder is on the stick, holds other files of the same names, or takes no more, or when a copy is not what lies on the stick.
pub(super) fn bring_back(
    stick: &Path,
    returned: &Returned,
    folder: &Path,
) -> Result<Brought, AppError> {
    let refused = |headline: &str| AppError::refused("stick.bring_back", headline.to_owned());
    let failed = |path: &Path, error: &std::io::Error| {
        refused("what came back could not be copied; the stick is as it was")
            .with_fact(path.display().to_string(), error.to_string())
            .with_hint("make room, or name another folder with --bring-back")
    };
    let home = fs_err::canonicalize(stick).map_err(|error| failed(stick, &error))?;
    // Known before a folder is made: the nearest one above it that is there says where it will lie.
    let absolute = std::path::absolute(folder).map_err(|error| failed(folder, &error))?;
    let near = absolute.ancestors().find(|path| path.exists());
    let near = near.and_then(|near| fs_err::canonicalize(near).ok());
    if near.is_some_and(|near| near.starts_with(&home)) {
        return Err(refused("the copies would lie on the stick itself")
            .with_fact(folder.display().to_string(), "a folder of the stick")
            .with_hint("name a folder of the office with --bring-back"));
    }
    fs_err::create_dir_all(folder).map_err(|error| failed(folder, &error))?;
    let target = fs_err::canonicalize(folder).map_err(|error| failed(folder, &error))?;
    let mut paths = BTreeMap::new();
    for task in task_folders(stick).map_err(|error| failed(stick, &error))? {
        walk(stick, &task, &mut paths).map_err(|error| failed(&task, &error))?;
    }
    for name in returned
        .files
        .iter()
        .map(|file| file.path.as_str())
        .chain([STICK_RECORD])
    {
        paths.insert(name.to_owned(), stick.join(name));
    }
    let mut files = Vec::new();
    for (name, from) in &paths {
        let to = target.join(name);
        let sha256 = sha256_of_file(from).map_err(|error| failed(from, &error))?;
        if to.symlink_metadata().is_ok() {
            if sha256_of_file(&to).is_ok_and(|found| found == sha256) {
                files.push((
                    name.clone(),
                    fs_err::metadata(&to).map_or(0, |data| data.len()),
                ));
                continue;
            }
            return Err(refused("the folder holds another file of this name")
                .with_fact(to.display().to_string(), "stays as it is; the stick is as it was")
                .with_hint("name an empty folder with --bring-back, one for each time that the stick comes back"));
        }
        let bytes = copied(from, &to).map_err(|error| failed(&to, &error))?;
        let found = sha256_of_file(&to).map_err(|error| failed(&to, &error))?;
        let still = sha256_of_file(from).map_err(|error| failed(from, &error))?;
        if found != sha256 || still != sha256 {
            return Err(refused("a copy is not what lies on the stick; the stick is as it was")
                .with_fact(to.display().to_string(), "differs by its SHA-256")
                .with_hint("call the command again; if it stays so, the stick or the disk is damaged: take the folder off the stick by other means first"));
        }
        files.push((name.clone(), bytes));
    }
    Ok(Brought {
        folder: folder.to_owned(),
        files,
    })
}

/// Copies one file beside its place, waits until it is on the medium, and moves it there.
fn copied(from: &Path, to: &Path) -> std::io::Result<u64> {
    let folder = to.parent().unwrap_or(to);
    fs_err::create_dir_all(folder)?;
    let mut draft = tempfile::NamedTempFile::new_in(folder)?;
    let mut source = fs_err::File::open(from)?;
    let bytes = std::io::copy(&mut source, &mut draft)?;
    draft.flush()?;
    draft.as_file().sync_all()?;
    draft.persist_noclobber(to).map_err(|error| error.error)?;
    fs_err::File::open(folder)?.sync_all()?;
    Ok(bytes)
}
