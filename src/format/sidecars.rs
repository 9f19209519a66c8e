//! Files that tell a reader where else to look: virtual rasters, and what lies beside a raster or a layer. Each is read by haulm before GDAL reads it, and may
//! hold what stands on a list; whatever else stands in it is refused by its name. GDAL does not tell capital letters from small ones here, so neither do the lists.
//!
//! # Source
//! GDAL 3.6 documentation, "VRT -- GDAL Virtual Format", "Raster Data Model" (auxiliary metadata), "GML - Geography Markup Language" (class files); the forms of
//! `.tab` and `.ers` headers from memory.

mod text;
mod xml;

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::io::Read as _;
use std::path::{Path, PathBuf};

/// The beginning of a virtual raster.
const VIRTUAL: &[u8] = b"<VRTDataset";
/// So many bytes tell whether a file is one.
const HEAD: u64 = 4096;
/// No file of the kind is longer. (bytes)
const LONGEST: u64 = 64 << 20;
/// Metadata that several rasters of one scene share: the end of their names.
const OF_SCENE: [&str; 3] = ["_mtl.txt", "_mtl.xml", "_mtl.json"];
/// How reduced copies, masks and statistics that are images themselves begin: TIFF in its four forms, and the raster of a hierarchical file.
const IMAGES: [&[u8]; 5] = [b"II*\0", b"MM\0*", b"II+\0", b"MM\0+", b"EHFA_HEADER_TAG"];

/// Whether a file beside another is read with it: its name goes on where the other's ends, or where that one's ending begins.
fn belongs(name: &str, other: &str) -> bool {
    let (name, other) = (name.to_lowercase(), other.to_lowercase());
    let stem = name
        .rsplit_once('.')
        .map_or(name.as_str(), |(stem, _)| stem);
    let goes_on = |start: &str| {
        other
            .strip_prefix(start)
            .is_some_and(|rest| !rest.starts_with(|c: char| c.is_alphanumeric()))
    };
    goes_on(&name)
        || goes_on(stem)
        || OF_SCENE.iter().any(|end| {
            other
                .strip_suffix(end)
                .is_some_and(|scene| !scene.is_empty() && stem.starts_with(scene))
        })
}

/// A name in small letters, and as it stands in the folder.
type Name = (String, OsString);

/// Names in folders, each folder listed once: a mosaic of thousands of tiles asks for the neighbours of every one.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Listings(BTreeMap<PathBuf, Vec<Name>>);

impl Listings {
    /// Names of a folder, sorted by their small letters; none of a folder that cannot be listed.
    fn of(&mut self, folder: &Path) -> &[Name] {
        self.0.entry(folder.to_owned()).or_insert_with(|| {
            let entries = fs_err::read_dir(folder).into_iter().flatten().flatten();
            let mut names: Vec<Name> = entries
                .filter_map(|entry| {
                    let name = entry.file_name();
                    Some((name.to_str()?.to_lowercase(), name))
                })
                .collect();
            names.sort();
            names
        })
    }

    /// Names beside a file that begin with this text in small letters.
    pub(crate) fn beginning(&mut self, path: &Path, start: &str) -> &[Name] {
        let names = self.of(folder_of(path));
        let from = names.partition_point(|(name, _)| name.as_str() < start);
        let count = names[from..].partition_point(|(name, _)| name.starts_with(start));
        &names[from..from + count]
    }

    /// Files that a reader may take for parts of a file, sorted: those whose names begin like its own.
    pub(crate) fn beside(&mut self, path: &Path) -> Vec<PathBuf> {
        let mut found = self.parts(path);
        found.retain(|part| part.is_file());
        found
    }

    /// All that lies beside a file by the name of a part of it, sorted.
    fn parts(&mut self, path: &Path) -> Vec<PathBuf> {
        let Some(name) = path.file_name().and_then(|name| name.to_str()) else {
            return Vec::new();
        };
        let lower = name.to_lowercase();
        let stem = lower
            .rsplit_once('.')
            .map_or(lower.as_str(), |(stem, _)| stem);
        let mut found: Vec<PathBuf> = self
            .beginning(path, stem)
            .iter()
            .filter(|(_, other)| other.to_str().is_some_and(|other| belongs(name, other)))
            .map(|(_, other)| path.with_file_name(other))
            .collect();
        // Metadata of a scene begin like the file, but not with all of its stem.
        for end in OF_SCENE {
            for at in (1..stem.len()).filter(|at| stem.is_char_boundary(*at)) {
                let scene = format!("{}{end}", &stem[..at]);
                let others = self.beginning(path, &scene).iter();
                found.extend(
                    others
                        .filter(|(other, _)| *other == scene)
                        .map(|(_, other)| path.with_file_name(other)),
                );
            }
        }
        found.retain(|other| other != path);
        found.sort();
        found.dedup();
        found
    }

    /// As [`check`], for one of many files.
    ///
    /// # Errors
    /// As [`check`].
    pub(crate) fn check(&mut self, path: &Path) -> Result<(), String> {
        let parts = self.parts(path);
        // A reader would wait for a pipe without end.
        let special = parts.iter().find(|part| {
            fs_err::metadata(part).is_ok_and(|found| !found.is_file() && !found.is_dir())
        });
        if let Some(part) = special {
            return Err(format!("{} beside it is a pipe or device", part.display()));
        }
        one(path, true)?;
        for other in parts.iter().filter(|part| part.is_file()) {
            one(other, false)
                .map_err(|reason| format!("{} beside it: {reason}", other.display()))?;
        }
        Ok(())
    }
}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// The first bytes of a file; empty when it cannot be read.
fn head(path: &Path) -> Vec<u8> {
    let mut start = Vec::new();
    if path.is_file() {
        let _ = fs_err::File::open(path).and_then(|file| file.take(HEAD).read_to_end(&mut start));
    }
    start
}

/// Whether GDAL will take a file for a virtual raster: by what stands at its beginning, whatever its name.
pub(crate) fn is_virtual(path: &Path) -> bool {
    head(path)
        .windows(VIRTUAL.len())
        .any(|bytes| bytes.eq_ignore_ascii_case(VIRTUAL))
}

/// Why a file, or one beside it, may not be read: what stands there that is on no list.
///
/// # Errors
/// As above, with the file's name unless it is the file itself.
pub(crate) fn check(path: &Path) -> Result<(), String> {
    Listings::default().check(path)
}

fn one(path: &Path, is_main: bool) -> Result<(), String> {
    let name = path
        .file_name()
        .map(|name| name.to_string_lossy().to_lowercase())
        .unwrap_or_default();
    let end = name.rsplit('.').next().unwrap_or_default();
    if is_main && is_virtual(path) {
        return xml::check(&whole(path)?, &xml::VIRTUAL);
    }
    match end {
        _ if name.ends_with(".aux.xml") => xml::check(&whole(path)?, &xml::AUXILIARY),
        "gfs" => xml::check(&whole(path)?, &xml::CLASSES),
        "xsd" => xml::schema(&whole(path)?),
        "gml" => text::layer_of_markup(&String::from_utf8_lossy(&head(path))),
        "tab" => text::table(&whole(path)?),
        "ers" => text::header(&whole(path)?),
        "ovr" | "msk" | "rrd" => image(path),
        "aux" if !is_main => image(path),
        "wld" => text::world(&whole(path)?),
        _ if !is_main && end.len() >= 3 && end.len() <= 5 && end.ends_with('w') => {
            text::world(&whole(path)?)
        }
        _ => Ok(()),
    }
}

/// EPSG code of the system that a raw image's header names in words of its own.
pub(crate) fn system_of_header(path: &Path) -> Option<u32> {
    text::system_of_header(&whole(path).ok()?)
}

/// Refuses what is opened as an image by any driver and is none of the plain ones; an empty file is none at all.
fn image(path: &Path) -> Result<(), String> {
    let start = head(path);
    if start.is_empty() || IMAGES.iter().any(|known| start.starts_with(known)) {
        Ok(())
    } else {
        Err("it is no TIFF: a reduced copy or mask of another kind is not read".to_owned())
    }
}

/// The text of a file that is short by its nature.
fn whole(path: &Path) -> Result<String, String> {
    let length = fs_err::metadata(path).map_or(0, |found| found.len());
    if length > LONGEST {
        return Err(format!(
            "it has {} MiB; no file of its kind has more than {}",
            length >> 20,
            LONGEST >> 20
        ));
    }
    let bytes = fs_err::read(path).map_err(|error| error.to_string())?;
    // Letters beyond ASCII only stand in names and remarks.
    Ok(match String::from_utf8(bytes) {
        Ok(text) => text,
        Err(error) => error
            .into_bytes()
            .iter()
            .map(|byte| char::from(*byte))
            .collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_belongs_to_a_file_is_told_by_its_name() {
        for other in [
            "a.tif",
            "a.tif.aux.xml",
            "A.TFW",
            "a.tif.ovr",
            "a_metadata.xml",
            "a",
        ] {
            assert!(belongs("a.tif", other), "{other}");
        }
        for other in ["apple.txt", "b.tif", "a2.tif", ".ssh", "id_rsa"] {
            assert!(!belongs("a.tif", other), "{other}");
        }
        assert!(belongs("LC08_X_B4.TIF", "LC08_X_MTL.txt"));
        assert!(!belongs("LC08_X_B4.TIF", "LC08_Y_MTL.txt"));
    }

    #[test]
    fn a_file_beside_is_refused_by_name() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs_err::write(at("a.tif"), "").unwrap();
        assert_eq!(check(&at("a.tif")), Ok(()));
        for (name, text, word) in [
            (
                "a.tif.aux.xml",
                "<PAMDataset><Metadata domain=\"OVERVIEWS\"/></PAMDataset>",
                "OVERVIEWS",
            ),
            ("a.tif.ovr", "<VRTDataset/>", "no TIFF"),
            ("a.tif.msk", "<vrtdataset/>", "no TIFF"),
            ("a.tfw", "1 0 0 -1 5", "5 numbers"),
            ("a.tab", "!table\nOpen Table \"/etc/b.tab\"\n", "open table"),
        ] {
            fs_err::write(at(name), text).unwrap();
            let wording = check(&at("a.tif")).unwrap_err();
            assert!(
                wording.contains(name) && wording.contains(word),
                "{wording}"
            );
            fs_err::remove_file(at(name)).unwrap();
        }
        for (name, text) in [
            ("a.tif.ovr", ""),
            ("a.tif.msk", "II*\0"),
            ("a.tfw", "10\r\n0\r\n0\r\n-10\r\n500005\r\n5400005\r\n"),
            ("a.tif.aux.xml", "<PAMDataset/>"),
        ] {
            fs_err::write(at(name), text).unwrap();
            assert_eq!(check(&at("a.tif")), Ok(()), "{name}");
        }
    }
}
