//! The few changes that a commit makes on disk, as a seam: tests put a disk here that fails at any step.

use std::io;
use std::io::Write;
use std::path::Path;

/// Every change a commit makes goes through here; reading does not.
pub(crate) trait Disk {
    /// Makes one folder; one that is there already is fine.
    fn make_folder(&self, path: &Path) -> io::Result<()>;
    /// Writes a new file and waits until its content is on the medium.
    fn write_new(&self, path: &Path, bytes: &[u8]) -> io::Result<()>;
    /// Waits until a folder's entries are on the medium.
    fn sync_folder(&self, path: &Path) -> io::Result<()>;
    /// Moves a file within one file system.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;
    /// Removes a file.
    fn remove_file(&self, path: &Path) -> io::Result<()>;
    /// Removes an empty folder.
    fn remove_folder(&self, path: &Path) -> io::Result<()>;
}

#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct FileSystem;

/// A call that a signal interrupted has done nothing: call again.
fn again<T>(mut call: impl FnMut() -> io::Result<T>) -> io::Result<T> {
    loop {
        match call() {
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            done => return done,
        }
    }
}

impl Disk for FileSystem {
    fn make_folder(&self, path: &Path) -> io::Result<()> {
        match again(|| fs_err::create_dir(path)) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists && path.is_dir() => Ok(()),
            done => done,
        }
    }

    fn write_new(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        let mut file = again(|| {
            fs_err::OpenOptions::new()
                .write(true)
                .create_new(true)
                .open(path)
        })?;
        file.write_all(bytes)?;
        again(|| file.sync_all())
    }

    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        let folder = again(|| fs_err::File::open(path))?;
        again(|| folder.sync_all())
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        again(|| fs_err::rename(from, to))
    }

    fn remove_file(&self, path: &Path) -> io::Result<()> {
        again(|| fs_err::remove_file(path))
    }

    fn remove_folder(&self, path: &Path) -> io::Result<()> {
        again(|| fs_err::remove_dir(path))
    }
}

/// Removes a folder of our own and all in it. Links are removed, not followed.
pub(crate) fn remove_tree(disk: &dyn Disk, folder: &Path) -> io::Result<()> {
    let mut entries: Vec<_> = fs_err::read_dir(folder)?.collect::<io::Result<_>>()?;
    entries.sort_by_key(fs_err::DirEntry::file_name);
    for entry in entries {
        if entry.file_type()?.is_dir() {
            remove_tree(disk, &entry.path())?;
        } else {
            disk.remove_file(&entry.path())?;
        }
    }
    disk.remove_folder(folder)
}
