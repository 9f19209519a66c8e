//! Inputs that somebody changes while they are read: no map is made of half of one and half of another.

use std::path::{Path, PathBuf};

use crate::app::commit::sha256_of_file;
use crate::app::error::AppError;
use crate::format::stamp::Stamp;

/// Files up to this are hashed at both ends; of larger ones the file system tells, and the record has the hash of what was read. (bytes)
const SMALL: u64 = 4 << 20;

/// How a file was: its stamp, and of a small one its hash.
#[derive(Debug, PartialEq)]
struct Held {
    stamp: Option<Stamp>,
    sha256: Option<String>,
}

impl Held {
    fn of(path: &Path) -> Self {
        let small =
            fs_err::metadata(path).is_ok_and(|found| found.is_file() && found.len() <= SMALL);
        Self {
            stamp: Stamp::of(path),
            sha256: small.then(|| sha256_of_file(path).ok()).flatten(),
        }
    }
}

/// Inputs as they were before they were read.
#[derive(Debug, Default)]
pub(crate) struct Unchanged(Vec<(PathBuf, Held)>);

impl Unchanged {
    /// Keeps how files are now, those that are not kept yet. Of a folder nothing is kept.
    pub(crate) fn keep<'a>(&mut self, paths: impl IntoIterator<Item = &'a PathBuf>) {
        for path in paths {
            if path.is_file() && !self.0.iter().any(|(known, _)| known == path) {
                self.0.push((path.clone(), Held::of(path)));
            }
        }
    }

    /// Refuses the first file that is no longer what it was.
    ///
    /// # Errors
    /// Size, time, number or hash of a file have changed.
    pub(crate) fn still(&self) -> Result<(), AppError> {
        let changed = self.0.iter().find(|(path, held)| Held::of(path) != *held);
        changed.map_or(Ok(()), |(path, _)| {
            Err(
                AppError::refused("file.changed", "an input changed while it was read")
                    .with_fact(
                        path.display().to_string(),
                        "is not what it was at the start",
                    )
                    .with_hint("let the program that writes it finish, and run again"),
            )
        })
    }
}
