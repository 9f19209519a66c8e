//! Folders and archives alike: what lies in them, and how GDAL names it.

use std::io::Read;
use std::path::{Path, PathBuf};

use super::error::ProductError;

/// Folders below folders are looked through this deep: products of satellites lie four deep.
const DEEPEST: usize = 6;
/// A product has some hundred files; a folder with more than this is something else.
const MAXIMUM_ENTRIES: usize = 20_000;
/// Metadata of a product; the largest known are a few megabytes.
const MAXIMUM_TEXT: u64 = 64 << 20;

/// How files lie in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Folder,
    Zip,
    Tar,
}

/// A folder, or an archive that GDAL looks into by a virtual path.
#[derive(Clone, Debug)]
pub struct Container {
    path: PathBuf,
    kind: Kind,
    /// Names of files, parts divided by `/`, sorted.
    entries: Vec<String>,
}

fn archive_kind(path: &Path) -> Option<Kind> {
    let ends = |path: &Path, end: &str| {
        path.extension()
            .is_some_and(|own| own.eq_ignore_ascii_case(end))
    };
    if ends(path, "zip") {
        return Some(Kind::Zip);
    }
    let packed = ends(path, "gz")
        && path
            .file_stem()
            .is_some_and(|stem| ends(Path::new(stem), "tar"));
    (packed || ends(path, "tar") || ends(path, "tgz")).then_some(Kind::Tar)
}

impl Container {
    /// Looks into a folder or an archive; `None` for any other file, or none.
    ///
    /// # Errors
    /// [`ProductError::Listing`] when it cannot be looked into.
    pub fn open(path: &Path) -> Result<Option<Self>, ProductError> {
        let kind = if path.is_dir() {
            Kind::Folder
        } else {
            match archive_kind(path).filter(|_| path.is_file()) {
                Some(kind) => kind,
                None => return Ok(None),
            }
        };
        let fail = |reason: String| ProductError::Listing {
            path: path.to_owned(),
            reason,
        };
        let mut entries = Vec::new();
        if kind == Kind::Folder {
            list_folder(path, "", 0, &mut entries).map_err(|error| fail(error.to_string()))?;
        } else {
            let found = gdal::vsi::read_dir(virtual_root(kind, path), true)
                .map_err(|error| fail(error.to_string()))?;
            // Folders of an archive are listed with a slash at their end.
            entries.extend(
                found
                    .iter()
                    .map(|entry| entry.to_string_lossy().replace('\\', "/"))
                    .filter(|entry| !entry.ends_with('/')),
            );
        }
        if entries.len() > MAXIMUM_ENTRIES {
            return Err(fail(format!("it holds more than {MAXIMUM_ENTRIES} files")));
        }
        entries.sort();
        Ok(Some(Self {
            path: path.to_owned(),
            kind,
            entries,
        }))
    }

    /// Its path.
    pub fn path(&self) -> &Path {
        &self.path
    }
    /// Names of its files, parts divided by `/`, sorted.
    pub fn entries(&self) -> &[String] {
        &self.entries
    }
    /// Whether it is one file.
    pub fn is_archive(&self) -> bool {
        self.kind != Kind::Folder
    }
    /// The path by which GDAL opens an entry.
    pub fn inside(&self, entry: &str) -> PathBuf {
        match self.kind {
            Kind::Folder => self.path.join(entry),
            kind => PathBuf::from(format!("{}/{entry}", virtual_root(kind, &self.path))),
        }
    }
    /// The text of an entry.
    ///
    /// # Errors
    /// [`ProductError::Text`] when it cannot be read, is no text, or is longer than any metadata.
    pub fn text(&self, entry: &str) -> Result<String, ProductError> {
        let fail = |reason: String| ProductError::Text {
            path: self.path.clone(),
            entry: entry.to_owned(),
            reason,
        };
        if self.kind == Kind::Folder {
            return fs_err::read_to_string(self.path.join(entry))
                .map_err(|error| fail(error.to_string()));
        }
        let file = fs_err::File::open(&self.path).map_err(|error| fail(error.to_string()))?;
        if self.kind == Kind::Zip {
            let mut archive =
                zip::ZipArchive::new(file).map_err(|error| fail(error.to_string()))?;
            return text_of(
                archive
                    .by_name(entry)
                    .map_err(|error| fail(error.to_string()))?,
            )
            .map_err(fail);
        }
        let packed = !self
            .path
            .extension()
            .is_some_and(|end| end.eq_ignore_ascii_case("tar"));
        let bytes: Box<dyn Read> = if packed {
            Box::new(flate2::read::MultiGzDecoder::new(file))
        } else {
            Box::new(file)
        };
        let mut archive = tar::Archive::new(bytes);
        for part in archive.entries().map_err(|error| fail(error.to_string()))? {
            let part = part.map_err(|error| fail(error.to_string()))?;
            // A tape archive may write `./name`, and GDAL lists `name`.
            let own = part
                .path()
                .map(|own| own.to_string_lossy().trim_start_matches("./").to_owned())
                .unwrap_or_default();
            if own == entry.trim_start_matches("./") {
                return text_of(part).map_err(fail);
            }
        }
        Err(fail("it is listed, but not found".to_owned()))
    }
}

/// An archive says of itself how large its texts are, and may lie.
fn text_of(part: impl Read) -> Result<String, String> {
    let mut text = String::new();
    let read = part
        .take(MAXIMUM_TEXT + 1)
        .read_to_string(&mut text)
        .map_err(|error| error.to_string())?;
    if read as u64 > MAXIMUM_TEXT {
        Err(format!("it is longer than {MAXIMUM_TEXT} bytes"))
    } else {
        Ok(text)
    }
}

/// The folder that GDAL sees in an archive. Braces: the name of the archive need not end in any special way.
fn virtual_root(kind: Kind, path: &Path) -> String {
    let way = if kind == Kind::Zip {
        "vsizip"
    } else {
        "vsitar"
    };
    format!("/{way}/{{{}}}", path.display())
}

fn list_folder(
    folder: &Path,
    before: &str,
    depth: usize,
    entries: &mut Vec<String>,
) -> std::io::Result<()> {
    for entry in fs_err::read_dir(folder)? {
        let entry = entry?;
        let name = format!("{before}{}", entry.file_name().to_string_lossy());
        if entry.path().is_dir() {
            if depth < DEEPEST {
                list_folder(&entry.path(), &format!("{name}/"), depth + 1, entries)?;
            }
        } else {
            entries.push(name);
        }
        if entries.len() > MAXIMUM_ENTRIES {
            break;
        }
    }
    Ok(())
}

/// A path that leads into an archive (`flight.zip/mosaic.tif`), as GDAL names it; any other path as it is.
pub fn into_archive(path: &Path) -> PathBuf {
    if path.exists() {
        return path.to_owned();
    }
    for ancestor in path.ancestors().skip(1) {
        let Some(kind) = archive_kind(ancestor) else {
            continue;
        };
        if let Ok(entry) = path.strip_prefix(ancestor)
            && ancestor.is_file()
        {
            let entry: Vec<String> = entry
                .iter()
                .map(|part| part.to_string_lossy().into_owned())
                .collect();
            return PathBuf::from(format!(
                "{}/{}",
                virtual_root(kind, ancestor),
                entry.join("/")
            ));
        }
    }
    path.to_owned()
}

/// Archive and entry of a path that [`Container::inside`] or [`into_archive`] made.
pub fn out_of_archive(path: &Path) -> Option<(PathBuf, String)> {
    let text = path.to_str()?;
    let rest = text
        .strip_prefix("/vsizip/{")
        .or_else(|| text.strip_prefix("/vsitar/{"))?;
    let (archive, entry) = rest.split_once("}/")?;
    Some((PathBuf::from(archive), entry.to_owned()))
}
