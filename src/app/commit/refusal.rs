//! How a failed commit is told.

use std::path::Path;

use crate::app::commit::error::CommitError;
use crate::app::commit::plan::named;
use crate::app::error::{AppError, Kind};

const UNTOUCHED: &str = "earlier outputs are as they were";

impl CommitError {
    /// Stable code for scripts.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::NoSuchPlace { .. } | Self::TooLong { .. } => "output.place",
            Self::NotAFolder { .. } | Self::NotAFile { .. } => "output.kind",
            Self::Foreign { .. } => "output.foreign",
            Self::Changed { .. } => "output.changed",
            Self::Busy { .. } => "output.busy",
            Self::NotWritable { .. } => "output.unwritable",
            Self::NoRoom { .. } => "output.room",
            Self::Step { .. } => "output.write",
            Self::ReadBack { .. } => "output.read_back",
            Self::Interrupted { .. } => "output.interrupted",
            Self::Tangled { .. } => "output.tangled",
            Self::BadJournal { .. } => "output.journal",
            Self::Cancelled => "cancelled",
            Self::BadPath { .. } | Self::BadRecord => "output.internal",
        }
    }
}

impl From<CommitError> for AppError {
    fn from(error: CommitError) -> Self {
        let notice = Self::refused(error.code(), error.to_string()).with_causes(&error);
        match &error {
            CommitError::NoSuchPlace { path } => notice.with_fact(shown(path), "not a place for a folder").with_hint("name a folder, for example --output out"),
            CommitError::TooLong { path, .. } => notice.with_fact(shown(path), UNTOUCHED).with_hint("choose a shorter name with --output"),
            CommitError::NotAFolder { path } => {
                notice.with_fact(shown(path), "a file or a link, where a folder is needed").with_hint("choose another folder, or move that one away")
            }
            CommitError::NotAFile { path } => notice
                .with_fact(shown(path), "a folder or a link, where a file is to be written")
                .with_hint("move it away, or choose another folder with --output"),
            CommitError::Foreign { folder, found } => notice
                .with_fact(shown(folder), format!("holds {}, and no office/record.json of haulm", named(found)))
                .with_hint("choose an empty folder with --output, or give --overwrite to write among what is there"),
            CommitError::Changed { folder, files } => {
                let notice = files.iter().fold(notice, |notice, file| notice.with_fact(shown(&folder.join(file)), "not as haulm wrote it"));
                notice.with_hint("move what you want to keep out of the folder, choose another with --output, or give --overwrite")
            }
            CommitError::Busy { folder, process } => {
                let holder = process.map_or_else(|| "by a process that has not said its number yet".to_owned(), |number| format!("by process {number}"));
                Self { kind: Kind::Busy, ..notice }.with_fact(shown(folder), format!("in use {holder}")).with_hint("wait until it has ended, or choose another folder with --output")
            }
            CommitError::NotWritable { path, .. } => {
                notice.with_fact(shown(path), UNTOUCHED).with_hint("choose a folder of your own with --output, or have the permission changed")
            }
            CommitError::NoRoom { path, needed, free } => {
                let room = free.map_or_else(|| "what is free is not known".to_owned(), |free| format!("{} free", size(free)));
                // Room for bytes and yet none left: the disk's table of files is full, or a quota is.
                let what = if free.is_some_and(|free| free > *needed) { ": the disk takes no more files, or a quota is used up" } else { "" };
                notice.with_fact(shown(path), format!("{} needed, {room}{what}; {UNTOUCHED}", size(*needed)))
                    .with_hint("make room, choose another disk with --output, or switch off formats in [output]")
            }
            CommitError::Step { path, .. } => notice.with_fact(shown(path), UNTOUCHED).with_hint("see to the cause and run the command again"),
            CommitError::ReadBack { path, written, found } => notice
                .with_fact(shown(path), format!("SHA-256 {}… was written, {}… was read", &written[..12.min(written.len())], &found[..12.min(found.len())]))
                .with_hint("the medium is damaged: do not use it, take another"),
            CommitError::Interrupted { folder, stage, .. } => notice
                .with_fact(shown(folder), "old and new files side by side: NOT FOR USE")
                .with_fact(shown(stage), "holds the others; leave it there")
                .with_hint("see to the cause and run the command again: it completes what is half done"),
            CommitError::Tangled { folder, stage, files } => {
                let notice = files.iter().fold(notice, |notice, file| notice.with_fact(shown(&folder.join(file)), "neither the old nor the new file"));
                notice.with_fact(shown(stage), "holds the run's own files")
                    .with_hint("move the changed files out of the folder and run the command again; if files are missing, remove both folders")
            }
            CommitError::BadJournal { path, .. } => {
                notice.with_fact(shown(path), "not a journal of haulm").with_hint("move its folder and the output folder away, and run the command again")
            }
            CommitError::Cancelled => notice.with_fact("output", UNTOUCHED),
            CommitError::BadPath { .. } | CommitError::BadRecord => {
                let notice = Self { kind: Kind::Fault, ..notice };
                notice.with_fact("haulm", env!("CARGO_PKG_VERSION")).with_hint("this is a fault in haulm: please report it with the job file")
            }
        }
    }
}

impl AppError {
    /// A commit's failure, where the flag of `cancel` says which signal ended the run.
    pub fn of_commit(error: CommitError, cancel: &crate::app::cancel::Cancel) -> Self {
        match (&error, cancel.signal()) {
            (CommitError::Cancelled, Some(signal)) => Self::cancelled(signal),
            _ => error.into(),
        }
    }
}

fn shown(path: &Path) -> String {
    path.display().to_string()
}

/// A size for people: three digits and a binary unit.
pub(crate) fn size(bytes: u64) -> String {
    let mut value = bytes as f64;
    for unit in ["B", "KiB", "MiB", "GiB"] {
        if value < 1000.0 {
            return if unit == "B" || value >= 100.0 {
                format!("{value:.0} {unit}")
            } else {
                format!("{value:.1} {unit}")
            };
        }
        value /= 1024.0;
    }
    format!("{value:.1} TiB")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io;
    use std::path::PathBuf;

    #[test]
    fn sizes_have_three_digits() {
        assert_eq!(
            [0, 999, 1000, 4096, 1 << 20, 5 << 40].map(size),
            ["0 B", "999 B", "1.0 KiB", "4.0 KiB", "1.0 MiB", "5.0 TiB"]
        );
    }

    #[test]
    fn a_full_disk_is_told_with_numbers() {
        let notice = AppError::from(CommitError::NoRoom {
            path: PathBuf::from("out"),
            needed: 5 << 20,
            free: Some(1 << 20),
        });
        assert_eq!(notice.exit_status(), 1);
        assert!(
            notice.facts[0]
                .text
                .starts_with("5.0 MiB needed, 1.0 MiB free"),
            "{notice:?}"
        );
        assert!(notice.hint.is_some());
    }

    #[test]
    fn causes_are_told_and_the_headline_is_not_repeated() {
        let source = io::Error::from(io::ErrorKind::PermissionDenied);
        let reason = source.to_string();
        let notice = AppError::from(CommitError::NotWritable {
            path: PathBuf::from("out"),
            source,
        });
        assert_eq!(notice.causes, [reason]);
        let error: &dyn std::error::Error = &notice;
        assert!(error.source().is_none());
    }

    #[test]
    fn our_own_faults_are_told_as_such() {
        assert_eq!(AppError::from(CommitError::BadRecord).exit_status(), 2);
    }
}
