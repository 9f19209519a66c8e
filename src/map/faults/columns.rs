//! Names of columns that controllers cut or confuse. Shapefile names hold 10 bytes (dBase); ASCII without blanks: common practice, no source.

use crate::finding::codes;
use crate::map::faults::fault::Fault;
use crate::map::imported::{ImportedMap, MapKind, Place};

/// Longest name in a shapefile's table. (bytes)
const LONGEST: usize = 10;

fn cut(name: &str) -> String {
    let mut end = LONGEST.min(name.len());
    while !name.is_char_boundary(end) {
        end -= 1;
    }
    name[..end].to_ascii_uppercase()
}

pub(super) fn check(map: &ImportedMap, faults: &mut Vec<Fault>) {
    for (k, name) in map.columns.iter().enumerate() {
        let place = Place::named(format!("column {name}"));
        let rate = map.rate_column.as_ref() == Some(name);
        if let Some(twin) = map.columns[..k]
            .iter()
            .find(|other| cut(other) == cut(name))
        {
            let message = format!(
                "{twin:?} and {name:?} are one name, {:?}, to a controller that cuts names to {LONGEST} letters in capitals",
                cut(name)
            );
            faults.push(Fault::caution(codes::COLUMN_TWINS, place.clone(), message));
        }
        let odd = name.is_empty()
            || !name.is_ascii()
            || name.contains(' ')
            || name.starts_with(|c: char| c.is_ascii_digit());
        if odd {
            faults.push(Fault::note(
                codes::COLUMN_LETTERS,
                place.clone(),
                format!(
                    "the name {name:?} has blanks, or letters beyond ASCII, or begins with a digit"
                ),
            ));
        }
        if map.kind == MapKind::Shapefile && name.len() >= LONGEST && rate {
            let message = format!(
                "the rate's column {name:?} fills all {LONGEST} letters, so it may have been cut: unit or substance may be lost from it"
            );
            faults.push(Fault::caution(codes::COLUMN_CUT, place, message));
        } else if map.kind != MapKind::Shapefile && name.len() > LONGEST && rate {
            let message = format!(
                "the rate's column {name:?} becomes {:?} in a shapefile",
                cut(name)
            );
            faults.push(Fault::note(codes::COLUMN_CUT, place, message));
        }
    }
}
