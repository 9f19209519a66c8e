//! Why nothing can be told of a map.

use std::path::PathBuf;

use crate::format::extent::shown;

/// Why a map could not be read at all.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MapError {
    /// There is no such file.
    #[error("{}: there is no such file or folder", path.display())]
    Missing {
        /// The file.
        path: PathBuf,
    },
    /// It is too large.
    #[error("{}: it holds {bytes} bytes; maps of up to 2 GiB are read", path.display())]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Its size.
        bytes: u64,
    },
    /// Its ending says nothing.
    #[error("{}: the ending {ending:?} is none of a prescription map", path.display())]
    Ending {
        /// The file.
        path: PathBuf,
        /// Its ending.
        ending: String,
    },
    /// It is damaged.
    #[error("{}: it cannot be read: {reason}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        reason: String,
    },
    /// It has several layers, or not the one asked for.
    #[error("{}: {problem}; it has the layers {}", path.display(), layers.join(", "))]
    Layer {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        problem: String,
        /// Its layers.
        layers: Vec<String>,
    },
    /// Task data have no such task, or several of the name.
    #[error("{}: {count} tasks are called {requirement:?}; it has {}", path.display(), tasks.join(", "))]
    Task {
        /// The file.
        path: PathBuf,
        /// The task that was asked for.
        requirement: String,
        /// How many are called so.
        count: usize,
        /// All tasks, by id and name.
        tasks: Vec<String>,
    },
    /// An archive that is no honest one.
    #[error("{}: the archive is not opened: {reason}", path.display())]
    Archive {
        /// The file.
        path: PathBuf,
        /// Why.
        reason: String,
    },
    /// A repaired map or a layer of faults could not be written.
    #[error("the table could not be written: {reason}")]
    Write {
        /// What GDAL said.
        reason: String,
    },
    /// A vertex lies where no place of its system can be.
    #[error("{}: {place}, vertex {vertex} ({}, {}) {problem}", path.display(), shown(*x), shown(*y))]
    Place {
        /// The file.
        path: PathBuf,
        /// The feature, record or corner.
        place: String,
        /// The vertex's number in it, from 1, ring after ring.
        vertex: usize,
        /// Its first coordinate.
        x: f64,
        /// Its second coordinate.
        y: f64,
        /// Why no place can be there.
        problem: String,
    },
    /// It changed while it was read.
    #[error("{}: it changed while it was read", path.display())]
    Changed {
        /// The file.
        path: PathBuf,
    },
}
