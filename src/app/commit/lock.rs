//! One run at a time into one folder.

use std::fs::TryLockError;
use std::io::{Read, Seek, Write};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

use crate::app::cancel::{Cancel, Leftover};
use crate::app::commit::error::{CommitError, step};
use crate::app::commit::place::Place;

/// Held while a run computes and writes. The system drops the lock when the process ends in whatever way, so a file left by a killed run
/// locks nobody out; the process id in it is for the message only.
#[derive(Debug)]
pub(crate) struct Lock {
    path: PathBuf,
    _file: fs_err::File,
    _leftover: Leftover,
}

impl Lock {
    /// Takes the lock of the folder, or says who has it.
    pub(crate) fn take(place: &Place, cancel: &Cancel) -> Result<Self, CommitError> {
        let path = place.lock();
        loop {
            let opened = fs_err::OpenOptions::new()
                .read(true)
                .write(true)
                .create(true)
                .truncate(false)
                .open(&path);
            let mut file = opened.map_err(|source| CommitError::NotWritable {
                path: path.parent().unwrap_or(&path).to_owned(),
                source,
            })?;
            match file.file().try_lock() {
                Ok(()) => {}
                Err(TryLockError::WouldBlock) => {
                    let mut text = String::new();
                    // A lock whose holder has not written its number yet is as good as one with a number.
                    let _ = file.read_to_string(&mut text);
                    return Err(CommitError::Busy {
                        folder: place.folder.clone(),
                        process: text.trim().parse().ok(),
                    });
                }
                Err(TryLockError::Error(source)) => {
                    return Err(CommitError::Step {
                        action: "lock",
                        path,
                        source,
                    });
                }
            }
            // The last holder may have removed the file between our opening and our locking it.
            if !same_file(&path, &file) {
                continue;
            }
            step("write", &path, file.file().set_len(0))?;
            step("write", &path, file.rewind())?;
            step("write", &path, writeln!(file, "{}", std::process::id()))?;
            let leftover = cancel.leftover(&path);
            return Ok(Self {
                path,
                _file: file,
                _leftover: leftover,
            });
        }
    }
}

impl Drop for Lock {
    fn drop(&mut self) {
        // Removed while held; a file that stays is taken over by the next run.
        let _ = fs_err::remove_file(&self.path);
    }
}

fn same_file(path: &Path, file: &fs_err::File) -> bool {
    match (fs_err::metadata(path), file.metadata()) {
        (Ok(at_path), Ok(opened)) => at_path.ino() == opened.ino() && at_path.dev() == opened.dev(),
        _ => false,
    }
}
