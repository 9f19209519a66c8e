//! Why a run's files could not be written.

use std::io;
use std::path::PathBuf;

/// Why a run's files could not be written. In every case but `Interrupted` the earlier outputs stand as they were.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CommitError {
    /// The folder's path cannot be one of outputs: the root, or with `..` below a folder that is not there.
    #[error("{} cannot be an output folder", path.display())]
    NoSuchPlace {
        /// As given.
        path: PathBuf,
    },
    /// A name that no file system takes.
    #[error("{} cannot be an output folder: a name of {bytes} bytes is longer than the 255 that disks take", path.display())]
    TooLong {
        /// As given.
        path: PathBuf,
        /// Length of the name. (bytes)
        bytes: usize,
    },
    /// A path that must be a folder is something else.
    #[error("{} is not a folder", path.display())]
    NotAFolder {
        /// The path.
        path: PathBuf,
    },
    /// A folder stands where a file must go.
    #[error("{} is a folder where an output file must go", path.display())]
    NotAFile {
        /// The path.
        path: PathBuf,
    },
    /// The folder has content that haulm did not write.
    #[error("haulm did not make the folder {}", folder.display())]
    Foreign {
        /// The folder.
        folder: PathBuf,
        /// Some of what is in it, at most five names.
        found: Vec<String>,
    },
    /// Outputs of the earlier run were changed since, or files of others stand where outputs go.
    #[error("{} of the output folder {} would be lost", count_of(files.len()), folder.display())]
    Changed {
        /// The folder.
        folder: PathBuf,
        /// Path of each below the folder.
        files: Vec<String>,
    },
    /// Another run is writing to the folder.
    #[error("another run is writing to {}", folder.display())]
    Busy {
        /// The folder.
        folder: PathBuf,
        /// The other run's process, when its lock says so.
        process: Option<u32>,
    },
    /// The place lets nothing be written.
    #[error("{} cannot be written to", path.display())]
    NotWritable {
        /// The folder.
        path: PathBuf,
        /// The system's reason.
        #[source]
        source: io::Error,
    },
    /// The disk has no room.
    #[error("no room for the outputs on the disk of {}", path.display())]
    NoRoom {
        /// The folder.
        path: PathBuf,
        /// What the outputs need. (bytes)
        needed: u64,
        /// What is free. (bytes)
        free: Option<u64>,
    },
    /// A step failed.
    #[error("could not {action} {}", path.display())]
    Step {
        /// What was done: `write`, `move`, `read`, ...
        action: &'static str,
        /// On what.
        path: PathBuf,
        /// The system's reason.
        #[source]
        source: io::Error,
    },
    /// The medium gives back something else than was written to it.
    #[error("{} does not read back as it was written", path.display())]
    ReadBack {
        /// The file.
        path: PathBuf,
        /// SHA-256 of what was written.
        written: String,
        /// SHA-256 of what was read.
        found: String,
    },
    /// A step failed and the way back did too: the next run completes it.
    #[error("writing to {} was interrupted half way", folder.display())]
    Interrupted {
        /// The output folder.
        folder: PathBuf,
        /// Where the missing files are.
        stage: PathBuf,
        /// What failed first.
        #[source]
        source: Box<CommitError>,
    },
    /// An interrupted commit cannot be completed because files were changed since.
    #[error("an earlier run was interrupted while writing {}, and files were changed since", folder.display())]
    Tangled {
        /// The output folder.
        folder: PathBuf,
        /// Where the run's own files are.
        stage: PathBuf,
        /// What is neither the old nor the new file, below the folder.
        files: Vec<String>,
    },
    /// The journal of an interrupted commit cannot be read.
    #[error("the journal {} cannot be read", path.display())]
    BadJournal {
        /// The journal.
        path: PathBuf,
        /// What is wrong with it.
        #[source]
        source: serde_json::Error,
    },
    /// The run was asked to end before anything was moved.
    #[error("ended before anything was written")]
    Cancelled,
    /// A fault of the caller: a path that leaves the folder, stands twice, or is both file and folder.
    #[error("{path:?} cannot be the path of an output")]
    BadPath {
        /// As given.
        path: String,
    },
    /// A fault of the caller: the record does not list the run's other files.
    #[error("the record does not list the outputs as they are")]
    BadRecord,
}

fn count_of(files: usize) -> String {
    if files == 1 {
        "1 file".to_owned()
    } else {
        format!("{files} files")
    }
}

/// Names the step that failed.
pub(crate) fn step<T>(
    action: &'static str,
    path: &std::path::Path,
    done: io::Result<T>,
) -> Result<T, CommitError> {
    done.map_err(|source| CommitError::Step {
        action,
        path: path.to_owned(),
        source,
    })
}
