//! The known word nearest to a mistyped one.

use strsim::{damerau_levenshtein, jaro_winkler};

/// Nobody mistypes more than this, and the likeness of long words takes long to find. (bytes) The longest name in use has some 40.
const LONGEST: usize = 100;

/// The candidate nearest to `word`, if one is near enough to be what was meant.
///
/// Case, blanks, hyphens and underscores do not count. A word that holds all parts of a candidate, or the other way round (`width` and
/// `working_width`), is near as well. Ties go to the earlier candidate.
pub(crate) fn nearest<'a>(
    word: &str,
    candidates: impl IntoIterator<Item = &'a str>,
) -> Option<&'a str> {
    if word.len() > LONGEST {
        return None;
    }
    let mut best: Option<(f64, &str)> = None;
    for candidate in candidates {
        let score = nearness(word, candidate);
        if score > best.map_or(0.0, |(score, _)| score) {
            best = Some((score, candidate));
        }
    }
    best.filter(|(score, _)| *score >= 0.62)
        .map(|(_, candidate)| candidate)
}

/// How near a word is to a candidate, 0 … 1.
pub(crate) fn nearness(word: &str, candidate: &str) -> f64 {
    if word.len() > LONGEST {
        return 0.0;
    }
    let (plain, folded) = (fold(word), fold(candidate));
    // Another word for it counts a little less than the word itself.
    called_otherwise(&plain)
        .map(|other| 0.95 * likeness(&other, &folded))
        .fold(likeness(&plain, &folded), f64::max)
}

/// Likeness of two folded words, 0 … 1.
fn likeness(a: &str, b: &str) -> f64 {
    let (joined_a, joined_b) = (a.replace(' ', ""), b.replace(' ', ""));
    if joined_a == joined_b {
        return 1.0;
    }
    let longest = joined_a
        .chars()
        .count()
        .max(joined_b.chars().count())
        .max(1) as f64;
    let edits = 1.0 - damerau_levenshtein(&joined_a, &joined_b) as f64 / longest;
    let (parts_a, parts_b): (Vec<&str>, Vec<&str>) =
        (a.split(' ').collect(), b.split(' ').collect());
    // One side's words all begin (or are begun by) words of the other: `max rate` and `maximum`, `width` and `working width`.
    let covers = |few: &[&str], many: &[&str]| {
        few.iter().all(|x| {
            x.len() >= 3
                && many.iter().any(|y| {
                    y.starts_with(x)
                        || (y.len() >= 3 && x.starts_with(y))
                        || jaro_winkler(x, y) > 0.92
                })
        })
    };
    let held = if covers(&parts_a, &parts_b) || covers(&parts_b, &parts_a) {
        0.70 + 0.1 * edits
    } else {
        0.0
    };
    let alike = if longest >= 4.0 && jaro_winkler(&joined_a, &joined_b) > 0.88 {
        0.66 + 0.1 * edits
    } else {
        0.0
    };
    edits.max(held).max(alike)
}

/// Words that mean the same to people who type a key from memory.
const SYNONYMS: &[(&str, &str)] = &[
    ("min", "minimum"),
    ("least", "minimum"),
    ("smallest", "minimum"),
    ("max", "maximum"),
    ("greatest", "maximum"),
    ("largest", "maximum"),
    ("min", "least"),
    ("max", "greatest"),
    ("every", "each"),
];

/// The word with one of its parts said in another way.
fn called_otherwise(plain: &str) -> impl Iterator<Item = String> {
    SYNONYMS.iter().filter_map(move |(one, other)| {
        let swapped: Vec<&str> = plain
            .split(' ')
            .map(|part| if part == *one { other } else { part })
            .collect();
        Some(swapped.join(" ")).filter(|text| text != plain)
    })
}

fn fold(word: &str) -> String {
    let spaced: String = word
        .chars()
        .map(|c| {
            if c == '-' || c == '_' || c.is_whitespace() {
                ' '
            } else {
                c
            }
        })
        .collect();
    spaced
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
        .to_lowercase()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn far_words_get_nothing() {
        assert_eq!(nearest("colour", ["maximum", "minimum", "step"]), None);
        assert_eq!(nearest("", ["m"]), None);
        assert_eq!(nearest("x", []), None);
    }

    #[test]
    fn near_words_are_found() {
        assert_eq!(nearest("maximun", ["minimum", "maximum"]), Some("maximum"));
        assert_eq!(
            nearest("Working-Width", ["working_width"]),
            Some("working_width")
        );
        assert_eq!(
            nearest("width", ["heading", "working_width"]),
            Some("working_width")
        );
    }
}
