//! Names on a stick: short, in capitals, and no two the same; and what FAT32 takes at all.

use std::collections::BTreeSet;

use crate::app::commit::size;
use crate::app::error::AppError;
use crate::format::payload::Payload;
use crate::format::shapefile::{is_device, safe_name};

/// Longest base name of an 8.3 file. (characters)
const LONGEST: usize = 8;
/// Largest file of FAT32: 4 GiB less one byte. (from memory)
const MAXIMUM: u64 = u32::MAX as u64;
/// Longest name of a file, in UTF-16 units. (from memory)
const LONGEST_NAME: usize = 255;
/// Longest path below the root that programs on Windows take, with drive and closing zero taken off. (from memory)
const LONGEST_PATH: usize = 255;

/// A map that needs a name: its field, its map id, and the name of its files in the office.
pub(super) struct Requirement<'a> {
    pub(super) field: &'a str,
    pub(super) map_id: &'a str,
    pub(super) office: Option<&'a str>,
}

/// Names for these maps, in their order.
///
/// The office's name stays where no other map has it. Maps whose names would be the same get the number that ends the field's name, if each has one and no two are
/// the same (`MILLER40`, `MILLER80`), else `_1`, `_2` and so on in their order.
pub(super) fn names(maps: &[Requirement<'_>]) -> Vec<String> {
    let bases: Vec<String> = maps
        .iter()
        .map(|map| match map.office {
            Some(name) if name.len() <= LONGEST => name.to_ascii_uppercase(),
            _ => safe_name(map.field, map.map_id),
        })
        .collect();
    let shared = |base: &String| bases.iter().filter(|other| *other == base).count() > 1;
    let mut taken: BTreeSet<String> = bases.iter().filter(|base| !shared(base)).cloned().collect();
    let mut out = Vec::with_capacity(maps.len());
    for (place, base) in bases.iter().enumerate() {
        if !shared(base) {
            out.push(base.clone());
            continue;
        }
        let group = || {
            bases
                .iter()
                .zip(maps)
                .filter(|(other, _)| *other == base)
                .map(|(_, map)| number_of(map.field))
        };
        let numbers: BTreeSet<&str> = group().flatten().collect();
        let own = number_of(maps[place].field).filter(|_| numbers.len() == group().count());
        let numbered = own
            .map(|number| ending_in(base, number))
            .filter(|name| !taken.contains(name) && !is_device(name));
        let name = numbered.unwrap_or_else(|| {
            (1..=99_999)
                .map(|count: u32| ending_in(base, &format!("_{count}")))
                .find(|name| !taken.contains(name) && !is_device(name))
                .unwrap_or_default()
        });
        taken.insert(name.clone());
        out.push(name);
    }
    out
}

/// The digits that end a field's name, at most four of them.
fn number_of(field: &str) -> Option<&str> {
    let stem = field.trim_end_matches(|c: char| c.is_ascii_digit());
    let digits = &field[stem.len()..];
    (1..=4).contains(&digits.len()).then_some(digits)
}

/// A name cut so that the ending shows: letters, then the ending.
fn ending_in(base: &str, ending: &str) -> String {
    let stem = base.trim_end_matches(|c: char| c.is_ascii_digit());
    let stem = if ending.starts_with('_') || stem.is_empty() {
        base
    } else {
        stem
    };
    let room = LONGEST.saturating_sub(ending.len());
    let cut = stem.get(..room.min(stem.len())).unwrap_or(stem);
    format!("{}{ending}", cut.trim_end_matches('_'))
}

/// Refuses what FAT32 does not take: a file of 4 GiB or more, a name too long or with a forbidden character, two names that differ in letter case alone.
pub(super) fn check_fat(files: &[Payload]) -> Result<(), AppError> {
    let mut seen = BTreeSet::new();
    for file in files {
        let wrong = fat_fault(&file.path, file.bytes.len() as u64).or_else(|| {
            (!seen.insert(file.path.to_ascii_uppercase()))
                .then(|| "another file has this name, letter case aside".to_owned())
        });
        if let Some(wrong) = wrong {
            return Err(
                AppError::refused("stick.fat", "a file does not fit on a stick (FAT32)")
                    .with_fact(file.path.clone(), wrong)
                    .with_hint("give the field a plain name, or cut the map into parts"),
            );
        }
    }
    Ok(())
}

fn fat_fault(path: &str, bytes: u64) -> Option<String> {
    if bytes > MAXIMUM {
        return Some(format!(
            "{}, {bytes} bytes: 4 GiB less one byte is the most",
            size(bytes)
        ));
    }
    if path.encode_utf16().count() > LONGEST_PATH {
        return Some(format!("a path of more than {LONGEST_PATH} characters"));
    }
    path.split('/').find_map(|name| {
        let forbidden = |c: char| c.is_control() || "\"*:<>?\\|".contains(c);
        let stem = name.split('.').next().unwrap_or(name).to_ascii_uppercase();
        if name.encode_utf16().count() > LONGEST_NAME {
            Some(format!("a name of more than {LONGEST_NAME} characters"))
        } else if let Some(c) = name.chars().find(|c| forbidden(*c)) {
            Some(format!(
                "the name {name:?} holds {c:?}, which FAT32 does not take"
            ))
        } else if name.is_empty() || name.ends_with([' ', '.']) {
            Some(format!(
                "the name {name:?} is empty, or ends in a blank or a dot"
            ))
        } else if is_device(&stem) {
            Some(format!("the name {name:?} is kept for a device"))
        } else {
            None
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(fields: &[&str]) -> Vec<String> {
        let bases: Vec<String> = fields
            .iter()
            .map(|field| safe_name(field, "0a1b2c"))
            .collect();
        let requirement: Vec<_> = fields
            .iter()
            .zip(&bases)
            .map(|(field, base)| Requirement {
                field,
                map_id: "0a1b2c",
                office: Some(base),
            })
            .collect();
        names(&requirement)
    }

    #[test]
    fn names_that_clash_end_in_the_fields_number() {
        assert_eq!(
            named(&["Miller North 40", "Miller North 80"]),
            ["MILLER40", "MILLER80"]
        );
        assert_eq!(named(&["Long Ley", "Mill Piece"]), ["LONG_LEY", "MILL_PIE"]);
        // Without a number in each, or with the same, they are counted.
        assert_eq!(
            named(&["Miller North", "Miller North 40", "Miller North"]),
            ["MILLER_1", "MILLER_2", "MILLER_3"]
        );
        assert_eq!(
            named(&["Große Wiese", "Grosse Wiese"]),
            ["GROSSE_1", "GROSSE_2"]
        );
        // A name that another map has already is not taken from it.
        assert_eq!(
            named(&["Miller40", "Miller North 40", "Miller North 80"]),
            ["MILLER40", "MILLER_1", "MILLER80"]
        );
        assert_eq!(named(&["поле", "земля"]), ["F0A1B2_1", "F0A1B2_2"]);
    }

    #[test]
    fn forty_of_one_name_are_forty_names() {
        let fields = vec!["Miller North"; 140];
        let names = named(&fields);
        let apart: BTreeSet<_> = names.iter().collect();
        assert_eq!(apart.len(), 140);
        assert!(names.iter().all(|name| name.len() <= 8), "{names:?}");
    }

    #[test]
    fn fat_takes_no_large_files_and_no_odd_names() {
        // Limits of FAT32, from memory.
        assert_eq!(fat_fault("SHAPES/A.shp", MAXIMUM), None);
        assert!(
            fat_fault("SHAPES/A.shp", MAXIMUM + 1)
                .unwrap()
                .contains("4294967296 bytes")
        );
        for path in [
            "SHAPES/A:B.shp",
            "CARDS/a?",
            "x.",
            "CON.txt",
            "a\u{7}b",
            "lpt1.txt",
        ] {
            assert!(fat_fault(path, 1).is_some(), "{path}");
        }
        assert!(fat_fault(&"x".repeat(256), 1).is_some());
        let twice = ["A.txt", "a.TXT"].map(|path| Payload::new(path, Vec::new()));
        assert!(check_fat(&twice).is_err());
    }
}
