//! Where the converted map goes: staged beside its place, moved there when it has been read back.

use std::io;
use std::path::{Path, PathBuf};

use crate::app::convert::ConvertRequest;
use crate::app::error::AppError;
use crate::format::Format;
use crate::format::payload::Payload;
use crate::format::shapefile::safe_name;

/// Folder and name of the files.
pub(super) struct Target {
    /// The folder.
    folder: PathBuf,
    /// Name without ending.
    pub(super) name: String,
    /// Whether task data go into one archive.
    pub(super) zipped: bool,
}

impl Target {
    /// By the user's word, else named after the map in the working folder.
    pub(super) fn of(request: &ConvertRequest) -> Result<Self, AppError> {
        let stem = |path: &Path| {
            path.file_stem().map_or_else(
                || "map".to_owned(),
                |stem| stem.to_string_lossy().into_owned(),
            )
        };
        let Some(output) = &request.output else {
            let stem = stem(&request.map);
            let name = if request.to == Format::Shapefile {
                safe_name(&stem, "map")
            } else {
                stem
            };
            return Ok(Self {
                folder: PathBuf::from("."),
                name,
                zipped: false,
            });
        };
        let ending = output
            .extension()
            .map(|ending| ending.to_string_lossy().to_ascii_lowercase());
        let task = request.to == Format::Iso11783;
        if task && ending.as_deref() != Some("zip") {
            return Ok(Self {
                folder: output.clone(),
                name: stem(&request.map),
                zipped: false,
            });
        }
        let known = request.to.ending();
        if ending.as_deref() != Some(known) {
            let due = output.with_extension(known);
            return Err(AppError::misuse(
                "convert.output",
                format!(
                    "a file of the format {} ends in .{known}",
                    request.to.word()
                ),
            )
            .with_fact("--output", output.display().to_string())
            .with_hint(format!("write --output {}", due.display())));
        }
        let parent = output
            .parent()
            .filter(|parent| !parent.as_os_str().is_empty())
            .unwrap_or_else(|| Path::new("."));
        Ok(Self {
            folder: parent.to_owned(),
            name: stem(output),
            zipped: task,
        })
    }

    /// The file that will be written, or the folder of task data.
    pub(super) fn main(&self, to: Format) -> PathBuf {
        let name = if to == Format::Iso11783 && !self.zipped {
            "TASKDATA".to_owned()
        } else {
            format!("{}.{}", self.name, to.ending())
        };
        self.folder.join(name)
    }

    /// Writes the files into a hidden folder within the target folder.
    pub(super) fn stage(&self, files: &[Payload], overwrite: bool) -> Result<Staged, AppError> {
        let made = if self.folder.is_dir() {
            None
        } else {
            Some(self.folder.clone())
        };
        fs_err::create_dir_all(&self.folder).map_err(|error| unwritable(&self.folder, &error))?;
        let hidden = tempfile::Builder::new()
            .prefix(".haulm-convert-")
            .tempdir_in(&self.folder)
            .map_err(|error| unwritable(&self.folder, &error))?;
        for file in files {
            let place = self.folder.join(&file.path);
            if place.exists() && !overwrite {
                return Err(
                    AppError::refused("convert.exists", "a file is there already")
                        .with_fact(place.display().to_string(), "exists")
                        .with_hint(
                            "give another place with --output, or replace it with --overwrite",
                        ),
                );
            }
            let staged = hidden.path().join(&file.path);
            if let Some(parent) = staged.parent() {
                fs_err::create_dir_all(parent).map_err(|error| unwritable(parent, &error))?;
            }
            fs_err::write(&staged, &file.bytes)
                .and_then(|()| fs_err::File::open(&staged)?.sync_all())
                .map_err(|error| unwritable(&staged, &error))?;
        }
        let main = hidden
            .path()
            .join(files.first().map_or("", |file| &file.path));
        let files = files
            .iter()
            .map(|file| (file.path.clone(), file.bytes.len() as u64))
            .collect();
        Ok(Staged {
            hidden,
            folder: self.folder.clone(),
            made,
            files,
            main,
        })
    }
}

/// Files that are written but not yet in place.
pub(super) struct Staged {
    hidden: tempfile::TempDir,
    folder: PathBuf,
    /// The target folder, if it had to be made: it goes when nothing comes of it.
    made: Option<PathBuf>,
    files: Vec<(String, u64)>,
    /// The file to open.
    pub(super) main: PathBuf,
}

impl Staged {
    /// Moves the files into place, one by one; returns path and size of each.
    pub(super) fn commit(mut self, overwrite: bool) -> Result<Vec<(String, u64)>, AppError> {
        let files = std::mem::take(&mut self.files);
        for (path, _) in &files {
            let (from, to) = (self.hidden.path().join(path), self.folder.join(path));
            if let Some(parent) = to.parent() {
                fs_err::create_dir_all(parent).map_err(|error| unwritable(parent, &error))?;
            }
            // Without leave to replace, a file that came meanwhile is left alone.
            let done = if overwrite {
                fs_err::rename(&from, &to)
            } else {
                fs_err::hard_link(&from, &to).or_else(|error| linkless(&error, &from, &to))
            };
            done.map_err(|error| unwritable(&to, &error))?;
        }
        self.made = None;
        Ok(files
            .into_iter()
            .map(|(path, bytes)| (self.folder.join(path).display().to_string(), bytes))
            .collect())
    }
}

/// On a file system that knows no hard links a rename has to do.
fn linkless(error: &io::Error, from: &Path, to: &Path) -> io::Result<()> {
    if error.kind() == io::ErrorKind::AlreadyExists || to.exists() {
        return Err(io::Error::new(
            io::ErrorKind::AlreadyExists,
            "it came while haulm was at work",
        ));
    }
    fs_err::rename(from, to)
}

impl Drop for Staged {
    fn drop(&mut self) {
        if let Some(folder) = self.made.take() {
            // The hidden folder goes first; a folder that somebody else filled meanwhile stays.
            let _ = fs_err::remove_dir_all(self.hidden.path());
            let _ = fs_err::remove_dir(folder);
        }
    }
}

fn unwritable(place: &Path, error: &io::Error) -> AppError {
    AppError::refused("convert.unwritable", "the converted map cannot be written")
        .with_fact(place.display().to_string(), error.to_string())
        .with_hint("check that the folder may be written to and has room")
}
