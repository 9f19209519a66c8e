//! Texts for users say things in the words of the trade: private idiom of the project's beginning stays out.

use std::path::{Path, PathBuf};

use regex::Regex;

use crate::field::Field;

/// What was said once, and what is said instead (docs/nomenclature.md).
const WORDS: [(&str, &str); 20] = [
    (r"\bdoubts?\b", "uncertainty"),
    (r"eight times in ten", "80 % range"),
    (r"by the interval\b", "at the 95 % limits"),
    (
        r"bounds of the response index",
        "95 % limits of the response index",
    ),
    (
        r"\bcarried (into|out|over|outwards|beyond)\b",
        "imported, exported, reprojected, converted",
    ),
    (r"\bhair\b", "slightly, or the tolerance as a number"),
    (r"\bcrumbs?\b", "the tolerance as a number"),
    (r"\bslits?\b", "gap"),
    (r"\bheld to\b", "limited to"),
    (r"\bforetells?\b", "predicts"),
    (r"hangs? together", "is connected"),
    (r"growing degrees\b", "growing degree days"),
    (r"plain crop", "no image, bare soil, poor stand"),
    (r"\bmend(s|ed|ing)?\b", "repair, correct"),
    (r"trusted are", "acceptable range"),
    (r"papers say", "see the camera's manual"),
    (r"nobody says", "unknown"),
    (r"\bzone maps?\b", "prescription map"),
    (
        r"no response can be told",
        "response index not significantly above 1",
    ),
    (r"\bpaleness\b", "index deficit"),
];

fn files(folder: &Path, endings: &[&str], found: &mut Vec<PathBuf>) {
    for entry in fs_err::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files(&path, endings, found);
        } else if path
            .extension()
            .is_some_and(|ending| endings.iter().any(|known| ending == *known))
        {
            found.push(path);
        }
    }
}

/// Lines of a file that people read: all of a text, of source those with a string and no comment.
fn lines(path: &Path) -> Vec<(usize, String)> {
    let text = fs_err::read_to_string(path).unwrap();
    let is_source = path.extension().is_some_and(|ending| ending == "rs");
    // Tests within a file come last, and quote what they like.
    let end = text.find("#[cfg(test)]").unwrap_or(text.len());
    let text = if is_source { &text[..end] } else { &text };
    (1..)
        .zip(text.lines())
        .filter(|(_, line)| {
            let line = line.trim_start();
            !is_source || line.contains('"') && line.contains(' ') && !line.starts_with("//")
        })
        .map(|(number, line)| (number, line.to_owned()))
        .collect()
}

/// Where a text says what it should not.
fn found(place: &str, number: usize, line: &str, rules: &[(Regex, &str)]) -> Vec<String> {
    rules
        .iter()
        .filter(|(rule, _)| rule.is_match(line))
        .map(|(rule, instead)| {
            format!(
                "{place}:{number}: {rule} (say: {instead}) in: {}",
                line.trim()
            )
        })
        .collect()
}

fn rules() -> Vec<(Regex, &'static str)> {
    WORDS
        .iter()
        .map(|(rule, instead)| (Regex::new(&format!("(?i){rule}")).unwrap(), *instead))
        .collect()
}

#[test]
fn texts_for_users_are_in_the_words_of_the_trade() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut all = vec![
        root.join("README.md"),
        root.join("docs/nomenclature.md"),
        root.join("demo/job.toml"),
        root.join("src/report/text/en.ftl"),
    ];
    for folder in ["docs/guide", "docs/concepts", "docs/reference"] {
        files(&root.join(folder), &["md"], &mut all);
    }
    files(&root.join("src"), &["rs"], &mut all);
    let rules = rules();
    let mut wrong = Vec::new();
    for path in all {
        // States of an answer on the page, which no one reads.
        if path.ends_with("web/answers.rs") {
            continue;
        }
        let place = path.strip_prefix(root).unwrap().display().to_string();
        for (number, line) in lines(&path) {
            // A function's name beside a string of its own.
            let line = if path.starts_with(root.join("src")) && !place.contains("text/") {
                line.split_once('"').map_or("", |(_, text)| text).to_owned()
            } else {
                line
            };
            wrong.extend(found(&place, number, &line, &rules));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn help_is_in_the_words_of_the_trade() {
    let field = Field::new();
    let rules = rules();
    let whole = field.command(&["--help"]).out;
    let commands: Vec<&str> = whole
        .lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter_map(|line| line.split_whitespace().next())
        .filter(|word| word.chars().all(|c| c.is_ascii_lowercase() || c == '-'))
        .collect();
    assert!(commands.len() > 12, "{whole}");
    let mut wrong = Vec::new();
    for command in commands {
        let wording = field.command(&["help", command]);
        for (number, line) in (1..).zip(wording.out.lines()) {
            wrong.extend(found(command, number, line, &rules));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
