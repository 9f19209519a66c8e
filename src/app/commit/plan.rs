//! What a commit will change, found out before anything is: files to put, to replace and to take away, and what would be lost by it.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use crate::app::commit::error::{CommitError, step};
use crate::app::commit::hash::{sha256_hex, sha256_of_file};
use crate::app::commit::journal::Change;
use crate::app::commit::place::Place;
use crate::app::commit::record;
use crate::app::commit::record::Listed;
use crate::finding::{Finding, codes};
use crate::format::payload::Payload;

/// Names that a message lists before it says how many more there are.
const NAMED: usize = 5;

/// What a commit will change.
#[derive(Debug)]
pub(crate) struct Plan {
    /// Each file put, replaced or taken away, sorted by path.
    pub(crate) changes: Vec<Change>,
    /// Folders to be made below the output folder, outer first; the empty path is the output folder itself.
    pub(crate) made_folders: Vec<String>,
    /// What the user should know of it.
    pub(crate) findings: Vec<Finding>,
}

/// What the folder holds of an earlier run.
pub(crate) struct Earlier {
    /// From its record; `None` without a record of haulm.
    listed: Option<Vec<Listed>>,
    /// Listed files that were changed since, by path.
    changed: Vec<String>,
    /// Hashes of the listed files that are there, by path.
    hashes: BTreeMap<String, String>,
}

/// Refuses a folder that haulm did not make, and one whose outputs were changed since.
///
/// Needs no knowledge of the new run, so it is asked before computing and again before writing.
pub(crate) fn check_folder(place: &Place, overwrite: bool) -> Result<Earlier, CommitError> {
    let earlier = earlier(place)?;
    if overwrite {
        return Ok(earlier);
    }
    if earlier.listed.is_none() && !place.shared {
        let found = place.content()?;
        if !found.is_empty() {
            let found = found
                .iter()
                .take(NAMED)
                .map(|name| name.to_string_lossy().into_owned())
                .collect();
            return Err(CommitError::Foreign {
                folder: place.folder.clone(),
                found,
            });
        }
    }
    if !earlier.changed.is_empty() {
        return Err(CommitError::Changed {
            folder: place.folder.clone(),
            files: earlier.changed,
        });
    }
    Ok(earlier)
}

/// Compares what is there with what is to be there.
pub(crate) fn plan(place: &Place, files: &[Payload], overwrite: bool) -> Result<Plan, CommitError> {
    let hashes: BTreeMap<&str, String> = files
        .iter()
        .map(|file| (file.path.as_str(), sha256_hex(&file.bytes)))
        .collect();
    check_payloads(place, files, &hashes)?;
    let earlier = check_folder(place, overwrite)?;
    let there = |path: &str| match earlier.hashes.get(path) {
        Some(hash) => Ok(Some(hash.clone())),
        None => hash_at(place, path),
    };
    let ours: BTreeMap<&str, &str> = earlier
        .listed
        .iter()
        .flatten()
        .map(|item| (item.path.as_str(), item.sha256.as_str()))
        .collect();
    let mut changes = BTreeMap::new();
    let mut lost = Vec::new();
    for file in files {
        check_way(place, &file.path)?;
        let old = there(&file.path)?;
        let known = match &old {
            None => true,
            Some(_) if file.path == place.record => earlier.listed.is_some(),
            Some(hash) => ours.get(file.path.as_str()) == Some(&hash.as_str()),
        };
        if !known {
            lost.push(file.path.clone());
        }
        changes.insert(
            file.path.clone(),
            Change {
                path: file.path.clone(),
                new: hashes.get(file.path.as_str()).cloned(),
                old,
            },
        );
    }
    for path in ours.keys().filter(|path| **path != place.record) {
        if changes.contains_key(*path) {
            continue;
        }
        // Something else than a file in its place is no longer our output.
        if place
            .folder
            .join(path)
            .symlink_metadata()
            .is_ok_and(|found| !found.is_file())
        {
            continue;
        }
        if let Some(hash) = there(path)? {
            if ours[path] != hash {
                lost.push((*path).to_owned());
            }
            changes.insert(
                (*path).to_owned(),
                Change {
                    path: (*path).to_owned(),
                    new: None,
                    old: Some(hash),
                },
            );
        }
    }
    if !lost.is_empty() && !overwrite {
        return Err(CommitError::Changed {
            folder: place.folder.clone(),
            files: lost,
        });
    }
    let mut findings = Vec::new();
    if !lost.is_empty() {
        let text = format!(
            "--overwrite: {} in {} were not as haulm had written them and are replaced or removed",
            named(&lost),
            place.folder.display()
        );
        findings.push(Finding::caution(codes::OUTPUT_OVERWRITTEN, text));
    }
    let strangers = strangers(place, &changes)?;
    if !strangers.is_empty() {
        let text = format!(
            "{} in {} are not of this run and were left there: take them away before the folder goes to the machine",
            named(&strangers),
            place.folder.display()
        );
        findings.push(Finding::caution(codes::OUTPUT_STRANGER, text));
    }
    let made_folders = folders_of(files)
        .into_iter()
        .filter(|path| !place.folder.join(path).exists())
        .collect();
    Ok(Plan {
        changes: changes.into_values().collect(),
        made_folders,
        findings,
    })
}

/// A list for people: the first few, and how many more.
pub(crate) fn named(files: &[String]) -> String {
    let first = files
        .iter()
        .take(NAMED)
        .map(String::as_str)
        .collect::<Vec<_>>()
        .join(", ");
    if files.len() > NAMED {
        format!("{first} and {} more", files.len() - NAMED)
    } else {
        first
    }
}

/// Faults of the caller: paths that leave the folder or collide, a record that does not list the files.
fn check_payloads(
    place: &Place,
    files: &[Payload],
    hashes: &BTreeMap<&str, String>,
) -> Result<(), CommitError> {
    let mut paths = BTreeSet::new();
    let folders = folders_of(files);
    for file in files {
        if !record::is_plain(&file.path)
            || folders.contains(&file.path)
            || !paths.insert(file.path.as_str())
        {
            return Err(CommitError::BadPath {
                path: file.path.clone(),
            });
        }
    }
    let bytes = files
        .iter()
        .find(|file| file.path == place.record)
        .map(|file| file.bytes.as_slice());
    let mut listed = bytes
        .and_then(record::listed)
        .ok_or(CommitError::BadRecord)?;
    listed.sort_by(|a, b| a.path.cmp(&b.path));
    let expected: Vec<_> = hashes
        .iter()
        .filter(|(path, _)| **path != place.record)
        .map(|(path, hash)| Listed {
            path: (*path).to_owned(),
            sha256: hash.clone(),
        })
        .collect();
    if listed == expected {
        Ok(())
    } else {
        Err(CommitError::BadRecord)
    }
}

/// Every folder that the files need, outer first, with the output folder itself as the empty path.
pub(crate) fn folders_of(files: &[Payload]) -> BTreeSet<String> {
    let mut folders = BTreeSet::from([String::new()]);
    for file in files {
        for (end, _) in file.path.match_indices('/') {
            folders.insert(file.path[..end].to_owned());
        }
    }
    folders
}

/// What stands between the output folder and the file must be folders, not links to elsewhere.
fn check_way(place: &Place, path: &str) -> Result<(), CommitError> {
    for (end, _) in path.match_indices('/') {
        let folder = place.folder.join(&path[..end]);
        if folder.symlink_metadata().is_ok_and(|found| !found.is_dir()) {
            return Err(CommitError::NotAFolder { path: folder });
        }
    }
    let file = place.folder.join(path);
    if file.symlink_metadata().is_ok_and(|found| !found.is_file()) {
        Err(CommitError::NotAFile { path: file })
    } else {
        Ok(())
    }
}

fn hash_at(place: &Place, path: &str) -> Result<Option<String>, CommitError> {
    let file = place.folder.join(path);
    if file.is_file() {
        step("read", &file, sha256_of_file(&file)).map(Some)
    } else {
        Ok(None)
    }
}

fn earlier(place: &Place) -> Result<Earlier, CommitError> {
    let mut listed = record::of_folder(&place.folder, place.record);
    if let Some(listed) = &mut listed {
        // What came back and is kept elsewhere may go as it is now.
        for kept in &place.kept {
            listed.retain(|item| item.path != kept.path);
            listed.push(kept.clone());
        }
    }
    let (mut changed, mut hashes) = (Vec::new(), BTreeMap::new());
    for item in listed.iter().flatten() {
        let Some(hash) = hash_at(place, &item.path)? else {
            continue;
        };
        if hash != item.sha256 {
            changed.push(item.path.clone());
        }
        hashes.insert(item.path.clone(), hash);
    }
    Ok(Earlier {
        listed,
        changed,
        hashes,
    })
}

/// Files below `machine/` that will be there after the run and are not of it: somebody could spread them.
fn strangers(
    place: &Place,
    changes: &BTreeMap<String, Change>,
) -> Result<Vec<String>, CommitError> {
    let mut found = Vec::new();
    for part in place.machine {
        walk(&place.folder.join(part), part, &mut found)?;
    }
    found.retain(|path| !changes.contains_key(path));
    found.sort();
    Ok(found)
}

fn walk(folder: &Path, path: &str, found: &mut Vec<String>) -> Result<(), CommitError> {
    if !folder
        .symlink_metadata()
        .is_ok_and(|folder| folder.is_dir())
    {
        return Ok(());
    }
    for entry in step("list", folder, fs_err::read_dir(folder))? {
        let entry = step("list", folder, entry)?;
        let path = format!("{path}/{}", entry.file_name().to_string_lossy());
        if entry.file_type().is_ok_and(|kind| kind.is_dir()) {
            walk(&entry.path(), &path, found)?;
        } else {
            found.push(path);
        }
    }
    Ok(())
}
