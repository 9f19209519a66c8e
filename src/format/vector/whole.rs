//! Whether the parts of a file of several are all there and as long as they say.
//!
//! # Source
//! dBase III header, from memory: records in bytes 4 to 7, header length 8 to 9, record length 10 to 11. ESRI Shapefile Technical Description (July 1998), from
//! memory: 100 bytes of header, 8 bytes of index a shape. `MapInfo` Interchange Format, from memory: one line of `.mid` for each object behind `Data`.

use std::io::Read as _;
use std::path::{Path, PathBuf};

/// Words that an object of an interchange file begins with.
const OBJECTS: [&str; 12] = [
    "none",
    "point",
    "line",
    "pline",
    "region",
    "arc",
    "text",
    "rect",
    "roundrect",
    "ellipse",
    "multipoint",
    "collection",
];

/// A file beside another, by its ending in small or capital letters.
fn beside(path: &Path, ending: &str) -> Option<PathBuf> {
    [ending.to_owned(), ending.to_uppercase()]
        .iter()
        .map(|ending| path.with_extension(ending))
        .find(|path| path.is_file())
}

fn length(path: &Path) -> u64 {
    fs_err::metadata(path).map_or(0, |found| found.len())
}

/// Records that the header of a table promises, and those that its length has room for.
fn records(head: &[u8], length: u64) -> Option<(u64, u64)> {
    let four = head.get(4..8)?.try_into().ok()?;
    let two = |at: usize| {
        Some(u64::from(u16::from_le_bytes(
            head.get(at..at + 2)?.try_into().ok()?,
        )))
    };
    let (header, record) = (two(8)?, two(10)?);
    let room = length.checked_sub(header)?.checked_div(record)?;
    Some((u64::from(u32::from_le_bytes(four)), room))
}

/// Why a file is not whole, if it is not.
pub(super) fn whole(path: &Path) -> Result<(), String> {
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_ascii_lowercase());
    match ending.as_deref() {
        Some("shp") => shapefile(path),
        Some("mif") => interchange(path),
        _ => Ok(()),
    }
}

fn shapefile(path: &Path) -> Result<(), String> {
    let Some(table) = beside(path, "dbf") else {
        return Ok(());
    };
    let mut head = Vec::new();
    let read = fs_err::File::open(&table).and_then(|file| file.take(32).read_to_end(&mut head));
    let Some((promised, room)) = read.ok().and_then(|_| records(&head, length(&table))) else {
        return Err(format!("the table {} has no sound header", table.display()));
    };
    if promised != room {
        return Err(format!(
            "the header of {} says {promised} records, its length has room for {room}",
            table.display()
        ));
    }
    if let Some(index) = beside(path, "shx") {
        let shapes = length(&index).saturating_sub(100) / 8;
        if shapes != promised {
            return Err(format!(
                "{} counts {shapes} shapes, {} holds {promised} records",
                index.display(),
                table.display()
            ));
        }
    }
    Ok(())
}

fn interchange(path: &Path) -> Result<(), String> {
    let Some(table) = beside(path, "mid") else {
        return Ok(());
    };
    let lines = |path: &Path| {
        fs_err::read(path)
            .map(|bytes| String::from_utf8_lossy(&bytes).into_owned())
            .map_err(|error| error.to_string())
    };
    let text = lines(path)?;
    let shapes = text
        .lines()
        .skip_while(|line| !line.trim().eq_ignore_ascii_case("data"))
        .filter(|line| {
            let word = line.split_whitespace().next().unwrap_or_default();
            OBJECTS.contains(&word.to_ascii_lowercase().as_str())
        })
        .count();
    let rows = lines(&table)?
        .lines()
        .filter(|line| !line.trim().is_empty())
        .count();
    if shapes == rows {
        Ok(())
    } else {
        Err(format!(
            "it holds {shapes} shapes, and {} has {rows} rows",
            table.display()
        ))
    }
}
