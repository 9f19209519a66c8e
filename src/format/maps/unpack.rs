//! Archives of others, opened with limits, and XML of others, read without entities.

use std::collections::BTreeMap;
use std::io::{Cursor, Read};
use std::path::Path;

use crate::format::bounds;
use crate::format::maps::MapError;

/// More entries than this are not opened.
const ENTRIES: usize = 10_000;
/// All entries together may unpack to this much; maps for machines have a few MiB. (bytes)
const UNPACKED: u64 = 256 << 20;
/// An entry may unpack to so many times its packed size ...
const RATIO: u64 = 200;
/// ... once it is larger than this: a small grid of one rate packs better than any honest ratio. (bytes)
const SMALL: u64 = 16 << 20;

/// Files of an archive by their path in it, those that `is_wanted` by their last name; the others are not unpacked.
pub(in crate::format) fn unzipped(
    path: &Path,
    bytes: &[u8],
    is_wanted: impl Fn(&str) -> bool,
) -> Result<BTreeMap<String, Vec<u8>>, MapError> {
    let refused = |reason: String| MapError::Archive {
        path: path.to_owned(),
        reason,
    };
    let mut archive =
        zip::ZipArchive::new(Cursor::new(bytes)).map_err(|error| refused(error.to_string()))?;
    if archive.len() > ENTRIES {
        return Err(refused(format!(
            "it has {} entries, at most {ENTRIES} are opened",
            archive.len()
        )));
    }
    let mut files = BTreeMap::new();
    let mut left = UNPACKED;
    for k in 0..archive.len() {
        let entry = archive
            .by_index(k)
            .map_err(|error| refused(error.to_string()))?;
        if entry.is_dir() {
            continue;
        }
        let name = entry
            .name()
            .map_err(|error| refused(error.to_string()))?
            .into_owned();
        let strays = name.starts_with('/')
            || name.contains('\\')
            || name.contains(':')
            || name.split('/').any(|step| step == "..");
        if strays {
            return Err(refused(format!("its entry {name:?} points out of it")));
        }
        if !is_wanted(name.rsplit('/').next().unwrap_or_default()) {
            continue;
        }
        // What the archive says of a size is not believed: reading stops at the limit itself.
        let most = left.min((entry.compressed_size().saturating_mul(RATIO)).max(SMALL));
        let mut content = Vec::new();
        entry
            .take(most + 1)
            .read_to_end(&mut content)
            .map_err(|error| refused(format!("its entry {name:?} cannot be unpacked: {error}")))?;
        if content.len() as u64 > most {
            return Err(refused(format!(
                "its entry {name:?} unpacks to more than {most} bytes (1 : {RATIO}, or 256 MiB in all)"
            )));
        }
        left -= content.len() as u64;
        if files.insert(name.clone(), content).is_some() {
            return Err(refused(format!("it holds {name:?} twice")));
        }
    }
    Ok(files)
}

/// Text of an XML file: UTF-8, with or without a byte order mark; the flag says whether one was there.
pub(in crate::format) fn xml_text<'a>(
    path: &Path,
    bytes: &'a [u8],
) -> Result<(&'a str, bool), MapError> {
    let plain = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let text = std::str::from_utf8(plain).map_err(|error| MapError::Unreadable {
        path: path.to_owned(),
        reason: format!("it is no UTF-8: {error}"),
    })?;
    Ok((text, plain.len() < bytes.len()))
}

/// The tree of an XML text. Document types, and entities with them, are refused; nothing outside the text is read.
pub(in crate::format) fn xml_tree<'a>(
    path: &Path,
    text: &'a str,
) -> Result<roxmltree::Document<'a>, MapError> {
    bounds::markup(text).map_err(|reason| MapError::Unreadable {
        path: path.to_owned(),
        reason,
    })?;
    let options = roxmltree::ParsingOptions {
        allow_dtd: false,
        ..roxmltree::ParsingOptions::default()
    };
    roxmltree::Document::parse_with_options(text, options).map_err(|error| MapError::Unreadable {
        path: path.to_owned(),
        reason: error.to_string(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write as _;
    use zip::write::{SimpleFileOptions, ZipWriter};

    #[test]
    fn what_nobody_reads_is_not_unpacked() {
        let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
        for (name, size) in [("SET/MAIN.XML", 10), ("SET/LOG.BIN", SMALL as usize + 1)] {
            archive
                .start_file(name, SimpleFileOptions::default())
                .unwrap();
            archive.write_all(&vec![b' '; size]).unwrap();
        }
        let bytes = archive.finish().unwrap().into_inner();
        let path = Path::new("set.zip");
        let wording = unzipped(path, &bytes, |_| true).unwrap_err().to_string();
        assert!(wording.contains("SET/LOG.BIN"), "{wording}");
        let files = unzipped(path, &bytes, |name| name != "LOG.BIN").unwrap();
        assert_eq!(files.keys().collect::<Vec<_>>(), ["SET/MAIN.XML"]);
    }
}
