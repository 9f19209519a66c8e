//! What tells that a file is still the one that it was.

use std::path::Path;
use std::time::SystemTime;

/// Size, times and number of a file, as its file system keeps them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Stamp {
    bytes: u64,
    modified: Option<SystemTime>,
    /// Number of its file system, of itself, and the time at which anything of it changed last, which nobody can set back.
    #[cfg(unix)]
    own: (u64, u64, i64, i64),
}

impl Stamp {
    /// Of a file, links followed; `None` when there is none.
    pub(crate) fn of(path: &Path) -> Option<Self> {
        let found = fs_err::metadata(path).ok()?;
        Some(Self {
            bytes: found.len(),
            modified: found.modified().ok(),
            #[cfg(unix)]
            own: {
                use std::os::unix::fs::MetadataExt as _;
                (found.dev(), found.ino(), found.ctime(), found.ctime_nsec())
            },
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn another_file_and_other_bytes_are_told() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a");
        assert_eq!(Stamp::of(&path), None);
        fs_err::write(&path, "one").unwrap();
        let first = Stamp::of(&path);
        assert!(first.is_some() && first == Stamp::of(&path));
        fs_err::write(&path, "more").unwrap();
        assert_ne!(first, Stamp::of(&path));
        let second = Stamp::of(&path);
        // Another file of the same bytes in its place.
        fs_err::write(folder.path().join("b"), "more").unwrap();
        fs_err::rename(folder.path().join("b"), &path).unwrap();
        #[cfg(unix)]
        assert_ne!(second, Stamp::of(&path));
    }
}
