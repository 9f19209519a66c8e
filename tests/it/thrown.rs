//! Bytes thrown at every parser of haulm's own: valid files, mutated by a seeded generator, at the parser's own door. No panic, whatever comes. `tests/fuzz` does
//! the same with the eye on the code that is reached.
//!
//! `HAULM_INPUTS` says how many inputs each parser gets (400), `HAULM_SEED` with which seed they begin (1), `HAULM_CORPUS` names a folder whose files are thrown
//! as well and mutated with the rest. What made a parser panic is kept below the system's temporary folder, named in the failure.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;

use crate::doors::{Door, LAYERS, MAPS, RASTERS, REQUESTS, TEXTS, door};
use crate::field::Field;

/// A generator of numbers without pattern that says the same everywhere (`SplitMix64`, Steele, Lea and Flood 2014; constants from memory).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    fn below(&mut self, end: usize) -> usize {
        (self.next() % end.max(1) as u64) as usize
    }
}

/// Pieces that mean something to one parser or another.
const PIECES: [&[u8]; 30] = [
    b"",
    b"\0",
    b"\xff\xff\xff\xff",
    b"\x7f\xff\xff\xff",
    b"-1",
    b"0",
    b"1e999",
    b"NaN",
    b"99999999999999999999",
    b"-0.0",
    b"\"",
    b"'",
    b"<",
    b"</",
    b"/>",
    b"<!--",
    b"<![CDATA[",
    b"&#0;",
    b"&amp;",
    b"{",
    b"[[",
    b"]",
    b",",
    b";",
    b"\r\n",
    b"=",
    b"\xc3",
    b"\xef\xbb\xbf",
    b"(((((((((",
    b"9999-12-31",
];

fn mutated(dice: &mut Dice, seeds: &[Vec<u8>]) -> Vec<u8> {
    let mut bytes = seeds[dice.below(seeds.len())].clone();
    for _ in 0..=dice.below(4) {
        let at = dice.below(bytes.len() + 1);
        let until = (at + dice.below(40)).min(bytes.len());
        match dice.below(8) {
            0 if !bytes.is_empty() => {
                let at = at.min(bytes.len() - 1);
                bytes[at] ^= 1 << dice.below(8);
            }
            1 if !bytes.is_empty() => {
                let at = at.min(bytes.len() - 1);
                bytes[at] = dice.next() as u8;
            }
            2 => bytes.truncate(at),
            3 => drop(bytes.drain(at..until)),
            4 => {
                let piece = bytes[at..until].to_vec();
                for _ in 0..=dice.below(20) {
                    bytes.splice(at..at, piece.iter().copied());
                }
            }
            5 => {
                let other = &seeds[dice.below(seeds.len())];
                let from = dice.below(other.len() + 1);
                let to = (from + dice.below(200)).min(other.len());
                bytes.splice(at..until, other[from..to].iter().copied());
            }
            _ => {
                let piece = PIECES[dice.below(PIECES.len())];
                bytes.splice(at..at, piece.iter().copied());
            }
        }
    }
    bytes
}

fn asked(name: &str, usual: u64) -> u64 {
    std::env::var(name)
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(usual)
}

/// Files of a folder of the system's, if one is named, with one of these endings.
fn corpus(endings: &[&str]) -> Vec<Vec<u8>> {
    let Some(folder) = std::env::var_os("HAULM_CORPUS") else {
        return Vec::new();
    };
    let mut found = Vec::new();
    let mut folders = vec![PathBuf::from(folder)];
    while let Some(folder) = folders.pop() {
        let mut entries: Vec<PathBuf> = fs_err::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .collect();
        entries.sort();
        for path in entries {
            if path.is_dir() {
                folders.push(path);
            } else if path
                .extension()
                .and_then(|end| end.to_str())
                .is_some_and(|end| endings.contains(&end))
            {
                found.push(fs_err::read(path).unwrap());
            }
        }
    }
    found
}

/// Throws seeds and their mutations at a door.
fn throw(name: &str, door: &Door) {
    let taken = door.seeds.iter().filter(|seed| (door.parse)(seed)).count();
    assert!(
        taken > 0,
        "{name}: no seed is valid, so that no mutation gets far"
    );
    let mut seeds = door.seeds.clone();
    seeds.extend(corpus(door.endings));
    let mut dice = Dice(asked("HAULM_SEED", 1));
    let inputs = asked("HAULM_INPUTS", 400);
    let mut refused = 0;
    let whole = seeds.clone();
    let mutations = std::iter::repeat_with(|| mutated(&mut dice, &seeds)).take(inputs as usize);
    for bytes in whole.into_iter().chain(mutations) {
        let Ok(taken) = catch_unwind(AssertUnwindSafe(|| (door.parse)(&bytes))) else {
            let kept = std::env::temp_dir().join(format!("haulm-thrown-{name}"));
            fs_err::write(&kept, &bytes).unwrap();
            panic!("{name} panicked; the input is {}", kept.display());
        };
        refused += u32::from(!taken);
    }
    assert!(
        refused > 0 || door.takes_all,
        "{name}: nothing was refused, so the mutations are too tame to tell anything"
    );
}

/// Throws at each of these doors.
fn throw_all(names: &[&str]) {
    let mapped = std::cell::OnceCell::new();
    let map = || mapped.get_or_init(Field::mapped).path("out");
    for name in names {
        let scratch = tempfile::tempdir().unwrap();
        let made = door(name, scratch.path(), &map);
        let whole = made.seeds.first().cloned().unwrap();
        throw(name, &made);
        // The files of the map serve the next door.
        let _ = (made.parse)(&whole);
    }
}

#[test]
fn texts() {
    throw_all(&TEXTS);
}

#[test]
fn layers_of_vectors() {
    throw_all(&LAYERS);
}

#[test]
fn virtual_rasters_and_what_lies_beside_rasters() {
    throw_all(&RASTERS);
}

#[test]
fn maps_of_others() {
    throw_all(&MAPS);
}

#[test]
fn requests() {
    throw_all(&REQUESTS);
}

/// The validity suites of JTS (github.com/locationtech/jts, `testxml`, commit 07833d3), which `HAULM_CORPUS` points to: every polygon of theirs with a verdict.
#[test]
#[ignore = "needs a collection that is not kept here: HAULM_CORPUS names its folder"]
fn validity_as_another_library_sees_it() {
    use haulm::space::connected::inside_is_connected;
    use haulm::space::valid::is_valid;

    let (mut alike, mut others) = (0_u32, Vec::new());
    for bytes in corpus(&["xml"]) {
        let Ok(text) = String::from_utf8(bytes) else {
            continue;
        };
        let Ok(tree) = roxmltree::Document::parse(&text) else {
            continue;
        };
        for case in tree.descendants().filter(|node| node.has_tag_name("case")) {
            let child = |name: &str| case.children().find(|node| node.has_tag_name(name));
            let verdict = case
                .descendants()
                .find(|node| node.has_tag_name("op") && node.attribute("name") == Some("isValid"));
            let (Some(shape), Some(verdict)) = (child("a"), verdict) else {
                continue;
            };
            let Some(Ok(shape)) = shape.text().map(gdal::vector::Geometry::from_wkt) else {
                continue;
            };
            let polygons = match shape.to_geo() {
                Ok(geo::Geometry::Polygon(polygon)) => geo::MultiPolygon::new(vec![polygon]),
                Ok(geo::Geometry::MultiPolygon(polygons)) => polygons,
                _ => continue,
            };
            let due = verdict.text().unwrap_or_default().trim() == "true";
            let own = is_valid(&polygons) && polygons.iter().all(inside_is_connected);
            if own == due {
                alike += 1;
            } else {
                others.push(format!("due {due}: {polygons:?}"));
            }
        }
    }
    eprintln!("{alike} alike, {} not", others.len());
    for other in &others {
        eprintln!("{}", other.chars().take(300).collect::<String>());
    }
    assert!(alike > 300, "{alike} polygons with a verdict");
    assert!(others.is_empty(), "{} not alike", others.len());
}
