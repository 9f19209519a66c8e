//! Images that many fields share: what they say of themselves is asked once, and their blocks are decoded once.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use super::blocks::{Blocks, Wanted, close};
use super::error::RasterFileError;
use super::open::{RasterFacts, facts};

/// Opened images, shared by all threads of a run.
#[derive(Debug, Default)]
pub struct Shelf {
    facts: Mutex<BTreeMap<PathBuf, RasterFacts>>,
    blocks: Blocks,
}

impl Shelf {
    /// With room for decoded pixels. \[B\]
    pub fn with_room(bytes: usize) -> Self {
        Self {
            facts: Mutex::default(),
            blocks: Blocks::with_room(bytes),
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

    /// Values of a window, as [`Blocks::read`] has them.
    pub(super) fn read(
        &self,
        file: &Path,
        bands: &[usize],
        window: ((i64, i64), (usize, usize)),
        wanted: &mut [Wanted<'_>],
    ) -> Result<(), String> {
        self.blocks.read(file, bands, window, wanted)
    }

    /// As [`facts`], asked once a file.
    ///
    /// # Errors
    /// As [`facts`]; a refusal is asked for again.
    pub fn facts(&self, path: &Path, jail: &Path) -> Result<RasterFacts, RasterFileError> {
        let known = self.facts.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = known.get(path) {
            return Ok(known.clone());
        }
        drop(known);
        let found = facts(path, jail)?;
        self.facts
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .insert(path.to_owned(), found.clone());
        Ok(found)
    }
}
