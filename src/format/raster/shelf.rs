//! Images that many fields share: what they say of themselves is asked once, and their blocks are decoded once.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

use super::blocks::{Blocks, Requirement, close};
use super::error::RasterFileError;
use super::open::{RasterFacts, facts};
use super::staged;

/// Where an image is read from: itself, or its copy once that is made.
type Place = Arc<OnceLock<PathBuf>>;

/// Opened images, shared by all threads of a run.
#[derive(Debug, Default)]
pub struct Shelf {
    facts: Mutex<BTreeMap<PathBuf, RasterFacts>>,
    blocks: Blocks,
    /// Folder for copies of images that are slow to decode; `None` makes none.
    copies: Option<PathBuf>,
    names: Mutex<BTreeMap<PathBuf, String>>,
    places: Mutex<BTreeMap<PathBuf, Place>>,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Shelf {
    /// With room for decoded pixels \[B\], and a folder for copies of images that are slow to decode.
    pub fn new(room: usize, copies: Option<PathBuf>) -> Self {
        Self {
            blocks: Blocks::with_room(room),
            copies,
            ..Self::default()
        }
    }

    /// Blocks that were decoded, and how many different ones.
    pub fn decoded(&self) -> (u64, u64) {
        self.blocks.counts()
    }

    /// Lets go of what this thread has open.
    pub fn close(&self) {
        close();
    }

    /// Says by which hash a file is known: its copy is named so.
    pub fn name(&self, file: &Path, sha256: &str) {
        lock(&self.names).insert(file.to_owned(), sha256.to_owned());
    }

    /// Where an image is read from. The first to ask makes the copy, others wait for it; where none can be made, the image itself serves.
    fn place(&self, file: &Path) -> PathBuf {
        let Some(copies) = &self.copies else {
            return file.to_owned();
        };
        let place = Arc::clone(lock(&self.places).entry(file.to_owned()).or_default());
        place
            .get_or_init(|| {
                let slow = lock(&self.facts)
                    .get(file)
                    .is_some_and(|facts| facts.driver == staged::DRIVER);
                let name = lock(&self.names).get(file).cloned();
                let copy = name.filter(|_| slow).map(|name| copies.join(name + ".tif"));
                copy.filter(|copy| staged::stage(file, copy).is_ok())
                    .unwrap_or_else(|| file.to_owned())
            })
            .clone()
    }

    /// Values of a window, as [`Blocks::read`] has them.
    pub(super) fn read(
        &self,
        file: &Path,
        bands: &[usize],
        window: ((i64, i64), (usize, usize)),
        requirement: &mut [Requirement<'_>],
    ) -> Result<(), String> {
        self.blocks
            .read(&self.place(file), bands, window, requirement)
    }

    /// As [`facts`], asked once a file.
    ///
    /// # Errors
    /// As [`facts`]; a refusal is asked for again.
    pub fn facts(&self, path: &Path, jail: &Path) -> Result<RasterFacts, RasterFileError> {
        if let Some(known) = lock(&self.facts).get(path) {
            return Ok(known.clone());
        }
        let found = facts(path, jail)?;
        lock(&self.facts).insert(path.to_owned(), found.clone());
        Ok(found)
    }
}
