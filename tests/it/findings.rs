//! The table of finding codes: complete, true to what is raised, plain, and what `haulm explain`, `[[accept]]` and the reference page are made of.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use haulm::finding::{Code, Severity, Source, codes};
use serde_json::Value;

use crate::job_file::SHORT;
use crate::job_refusals::faults;

fn haulm(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_haulm"))
        .args(arguments)
        .output()
        .unwrap()
}

fn printed(arguments: &[&str]) -> String {
    let output = haulm(arguments);
    assert_eq!(output.status.code(), Some(0), "{arguments:?}");
    assert!(output.stderr.is_empty());
    String::from_utf8(output.stdout).unwrap()
}

fn accepting(code: &str) -> String {
    format!("{SHORT}\n[[accept]]\ncode = \"{code}\"\nreason = \"looked at\"\nby = \"A. Adviser\"\n")
}

#[test]
fn a_code_that_does_not_exist_cannot_be_accepted() {
    for (slip, meant) in [
        ("image.aeg", "image.age"),
        ("image_age", "image.age"),
        ("reference.bellow", "reference.below"),
        ("rate.usuall", "rate.usual"),
    ] {
        let found = faults(&accepting(slip));
        assert_eq!(found.len(), 1, "{slip}: {found:?}");
        assert_eq!(found[0].problem.suggestion(), Some(meant), "{slip}");
        let text = found[0].to_string();
        assert!(text.contains(slip) && text.contains(meant), "{text}");
    }
    let found = faults(&accepting("nonsense"));
    assert!(found[0].hint().contains("image.age"), "{}", found[0].hint());
}

#[test]
fn a_finding_that_never_stops_cannot_be_accepted() {
    for (code, word) in [
        ("reference.place", "caution"),
        ("response.none", "note"),
        ("patch.overlap", "check"),
    ] {
        let found = faults(&accepting(code));
        assert_eq!(found.len(), 1, "{code}: {found:?}");
        let text = found[0].to_string();
        assert!(text.contains(code) && text.contains(word), "{text}");
    }
}

#[test]
fn every_code_that_stops_a_job_can_be_accepted() {
    for code in codes::all().filter(|code| code.can_be_accepted()) {
        let read =
            haulm::app::job::map_job(accepting(code.word()).as_bytes(), Path::new("job.toml"));
        assert!(read.is_ok(), "{code}: {read:?}");
    }
}

/// Source files outside the table, each without its own tests.
fn sources() -> Vec<(PathBuf, String)> {
    fn below(folder: &Path, found: &mut Vec<PathBuf>) {
        let mut entries: Vec<PathBuf> = fs_err::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .collect();
        entries.sort();
        for path in entries {
            if path.is_dir() {
                below(&path, found);
            } else if path.extension().is_some_and(|end| end == "rs") && !path.ends_with("tests.rs")
            {
                found.push(path);
            }
        }
    }
    let mut files = Vec::new();
    below(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("src"),
        &mut files,
    );
    let table = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/finding");
    files
        .into_iter()
        .filter(|path| !path.starts_with(&table))
        .map(|path| {
            let text = fs_err::read_to_string(&path).unwrap();
            let code = text.split("#[cfg(test)]\nmod tests {").next().unwrap();
            (path, code.to_owned())
        })
        .collect()
}

/// The constant of a code: `IMAGE_AGE` of `image.age`.
fn constant(code: Code) -> String {
    code.word().replace('.', "_").to_uppercase()
}

/// Codes named in a text, as a constant (`codes::IMAGE_AGE`), or as a literal where no constant stands yet: where it begins, and the code.
fn named(text: &str) -> Vec<(usize, String)> {
    let constants = text.match_indices("codes::").map(|(at, _)| {
        let name: String = text[at + 7..]
            .chars()
            .take_while(|c| c.is_ascii_uppercase() || c.is_ascii_digit() || *c == '_')
            .collect();
        (at, name)
    });
    let literals = text.match_indices('"').filter_map(|(at, _)| {
        let word = text[at + 1..].split('"').next()?;
        let (group, name) = word.split_once('.')?;
        let plain = |part: &str, more: &[char]| {
            !part.is_empty()
                && part
                    .chars()
                    .all(|c| c.is_ascii_lowercase() || more.contains(&c))
        };
        (plain(group, &[]) && plain(name, &['_', '-']))
            .then(|| (at, word.replace(['.', '-'], "_").to_uppercase()))
    });
    let mut found: Vec<(usize, String)> = constants.chain(literals).collect();
    found.retain(|(_, name)| !name.is_empty());
    found.sort();
    found
}

/// What is raised by name: weight and constant, wherever a finding or a fault of a map is made.
fn raised(text: &str) -> Vec<(usize, Severity, String)> {
    let mut found = Vec::new();
    let names = named(text);
    for kind in ["Finding", "Fault"] {
        for (word, weight) in [
            ("note", Severity::Note),
            ("caution", Severity::Caution),
            ("stop", Severity::Stop),
        ] {
            for (at, call) in text.match_indices(&format!("{kind}::{word}(")) {
                let from = at + call.len();
                let from = from + text[from..].len() - text[from..].trim_start().len();
                if let Some((_, name)) = names.iter().find(|(place, _)| *place == from) {
                    found.push((at, weight, name.clone()));
                }
            }
        }
    }
    found
}

#[test]
fn what_is_raised_is_found_however_it_is_written() {
    let text = "Finding::note(\"a.b\", x); Fault::stop(\n    codes::C_D,\n y); Finding::caution(told, z); Finding::stop(\"e.f-g\", w)";
    let found: Vec<(Severity, String)> = raised(text)
        .into_iter()
        .map(|(_, weight, name)| (weight, name))
        .collect();
    let requirement = [
        (Severity::Note, "A_B"),
        (Severity::Stop, "E_F_G"),
        (Severity::Stop, "C_D"),
    ]
    .map(|(weight, name)| (weight, name.to_owned()));
    assert_eq!(found, requirement);
}

#[test]
fn every_code_that_is_raised_stands_in_the_table_with_its_weight() {
    let table: BTreeMap<String, Code> = codes::all().map(|code| (constant(code), code)).collect();
    let (mut wrong, mut seen) = (Vec::new(), 0);
    for (path, text) in sources() {
        for (at, weight, name) in raised(&text) {
            seen += 1;
            let line = text[..at].matches('\n').count() + 1;
            let place = format!("{}:{line}: {name}", path.display());
            match table.get(&name) {
                None => wrong.push(format!("{place} stands in no row")),
                Some(code) if !code.weights().contains(&weight) => {
                    wrong.push(format!("{place} has no weight {weight}"));
                }
                Some(_) => {}
            }
        }
    }
    assert!(seen > 250, "only {seen} places found");
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn every_row_of_the_table_is_raised() {
    let used: BTreeSet<String> = sources()
        .iter()
        .flat_map(|(_, text)| named(text))
        .map(|(_, name)| name)
        .collect();
    let idle: Vec<&str> = codes::all()
        .filter(|code| !used.contains(&constant(*code)))
        .map(Code::word)
        .collect();
    assert!(idle.is_empty(), "raised nowhere: {idle:?}");
}

#[test]
fn a_code_stands_as_a_literal_in_the_table_alone() {
    // Keys of a job, columns of its record and refusals may have the word of a finding.
    let shared = [
        "boundary.several",
        "convert.meaning",
        "convert.nitrogen",
        "field.name",
        "image.negative",
        "image.product",
        "machine.cell_length",
        "machine.heading",
        "machine.headland",
        "output.format",
        "output.interrupted",
        "points.time",
        "points.variogram",
        "prices.application",
        "product.density",
        "rate.usual",
        "reference.inset",
        "reference.readings",
        "reference.strips",
        "response.curve",
        "response.economic",
        "season.planted",
        "weather.station",
    ];
    let table: BTreeSet<&str> = codes::all().map(Code::word).collect();
    let mut wrong = Vec::new();
    for (path, text) in sources() {
        for (at, _) in text.match_indices('"') {
            let word = text[at + 1..].split('"').next().unwrap_or_default();
            if table.contains(word) && !shared.contains(&word) {
                let line = text[..at].matches('\n').count() + 1;
                wrong.push(format!("{}:{line}: {word}", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn words_are_unique_and_well_formed() {
    let mut seen = BTreeSet::new();
    for code in codes::all() {
        assert!(seen.insert(code.word()), "{code} stands twice");
        let (group, name) = code.word().split_once('.').unwrap();
        assert!(group.chars().all(|c| c.is_ascii_lowercase()), "{code}");
        assert!(
            name.chars().all(|c| c.is_ascii_lowercase() || c == '_') && !name.starts_with('_'),
            "{code}"
        );
        assert!(
            code.weights().is_sorted() && !code.weights().is_empty(),
            "{code}"
        );
        assert_eq!(codes::find(code.word()), Some(code));
    }
    assert!(seen.len() > 200, "only {}", seen.len());
}

/// Words that texts for people do not use, since the trade has better ones.
const UNWANTED: &[&str] = &[
    "doubt",
    "doubts",
    "told",
    "foretell",
    "foretells",
    "carried",
    "mend",
    "mended",
    "unseen",
    "thin",
    "least",
    "greatest",
    "largest",
    "smallest",
    "hair",
    "crumb",
    "crumbs",
    "slit",
    "held",
];

/// Turns of phrase that stand for a word of the trade.
const UNWANTED_PHRASES: &[&str] = &[
    "prescription map",
    "nobody says",
    "not stated",
    "hangs together",
    "ground beside it",
    "put on",
    "growing degrees",
    "by the interval",
    "eight times in ten",
    "no response can be",
    "at the bounds",
];

#[test]
fn texts_are_short_and_in_the_words_of_the_trade() {
    let mut wrong = Vec::new();
    for code in codes::all() {
        let (sentence, why) = (code.sentence(), code.why());
        if sentence.chars().count() > 120 || !sentence.ends_with('.') {
            wrong.push(format!("{code}: sentence of {}", sentence.chars().count()));
        }
        if sentence.trim_end_matches('.').contains(". ") {
            wrong.push(format!("{code}: more than one sentence"));
        }
        if why.chars().count() > 900 || why.chars().count() < 40 || !why.ends_with('.') {
            wrong.push(format!("{code}: paragraph of {}", why.chars().count()));
        }
        let both = format!("{sentence} {why}")
            .to_lowercase()
            .replace("at least", "");
        for word in both.split(|c: char| !c.is_alphanumeric() && c != '.' && c != '_') {
            // Keys and codes keep their names.
            if UNWANTED.contains(&word.trim_matches('.')) {
                wrong.push(format!("{code}: \"{word}\""));
            }
        }
        for phrase in UNWANTED_PHRASES {
            if both.contains(phrase) {
                wrong.push(format!("{code}: \"{phrase}\""));
            }
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn a_code_is_explained_with_its_weights_and_what_to_do() {
    for code in codes::all() {
        let squeezed = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        let report = haulm::app::api::explain(Some(code.word())).unwrap();
        assert_eq!(report.title, code.word());
        if code == codes::IMAGE_AGE || code == codes::PATCH_NECK {
            let text = squeezed(&printed(&["explain", code.word()]));
            assert!(
                text.contains(code.sentence()) && text.contains(code.why()),
                "{text}"
            );
        }
    }
    let stop = printed(&["explain", "image.age"]);
    assert!(
        stop.contains("stop") && stop.contains("an adviser can accept it"),
        "{stop}"
    );
    let neck = printed(&["explain", "patch.neck"]);
    assert!(
        neck.contains("note or caution") && neck.contains("never stops"),
        "{neck}"
    );
    let overlap = printed(&["explain", "patch.overlap"]);
    assert!(overlap.contains("correct the map"), "{overlap}");
}

#[test]
fn the_list_names_every_code_once_and_its_json_all_that_is_known() {
    let text = printed(&["explain"]);
    for group in codes::GROUPS {
        assert!(text.contains(group.title));
    }
    let lines: Vec<&str> = text
        .lines()
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    for code in codes::all() {
        assert_eq!(
            lines.iter().filter(|word| **word == code.word()).count(),
            1,
            "{code}"
        );
    }
    assert!(text.lines().all(|line| line.chars().count() <= 80));

    let value: Value = serde_json::from_str(&printed(&["explain", "--json"])).unwrap();
    let rows = value["result"]["codes"].as_array().unwrap();
    assert_eq!(rows.len(), codes::all().count());
    for (row, code) in rows.iter().zip(codes::all()) {
        assert_eq!(row["code"], code.word());
        assert_eq!(row["sentence"], code.sentence());
        assert_eq!(row["why"], code.why());
        assert_eq!(row["can_be_accepted"], code.can_be_accepted());
        assert_eq!(
            row["weights"].as_array().unwrap().len(),
            code.weights().len()
        );
    }

    let group: Value = serde_json::from_str(&printed(&["explain", "ramp", "--json"])).unwrap();
    let rows = group["result"]["codes"].as_array().unwrap();
    assert!(rows.len() > 5 && rows.iter().all(|row| row["group"] == "ramp"));
}

#[test]
fn an_unknown_code_is_answered_with_the_nearest() {
    for (slip, meant) in [
        ("image.aeg", "image.age"),
        ("reference_place", "reference.place"),
        ("[respons.none]", "response.none"),
        ("ring.crosse", "ring.crosses"),
    ] {
        let output = haulm(&["explain", slip]);
        let text = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{slip}");
        assert!(
            text.contains("explain.code") && text.contains(&format!("\"{meant}\"")),
            "{text}"
        );
    }
    let text = String::from_utf8(haulm(&["explain", "xyz"]).stderr).unwrap();
    assert!(text.contains("haulm explain"), "{text}");
}

#[test]
fn completions_know_every_code() {
    for shell in ["bash", "zsh", "fish"] {
        let text = printed(&["completions", shell]);
        for code in codes::all() {
            assert!(text.contains(code.word()), "{shell}: {code}");
        }
        assert!(shell != "fish" || text.contains("-n \"__fish_haulm_using_subcommand map\""));
    }
    let help = printed(&["explain", "--help"]);
    assert!(help.lines().count() < 70, "{help}");
}

#[test]
fn the_reference_page_is_the_table() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/reference/findings.md");
    let kept = fs_err::read_to_string(&path).unwrap();
    assert!(
        kept == printed(&["explain", "--markdown"]),
        "renew it: cargo run -- explain --markdown > docs/reference/findings.md"
    );
    for code in codes::all() {
        assert_eq!(
            kept.matches(&format!("### `{code}`\n")).count(),
            1,
            "{code}"
        );
    }
}

#[test]
fn codes_of_a_checked_map_and_of_a_job_are_told_apart() {
    assert_eq!(codes::RING_CROSSES.source(), Source::Map);
    assert!(codes::RING_CROSSES.may_stop() && !codes::RING_CROSSES.can_be_accepted());
    assert_eq!(codes::IMAGE_AGE.source(), Source::Job);
    assert_eq!(
        format!("{:>12}|{:?}", codes::IMAGE_AGE, codes::IMAGE_AGE),
        "   image.age|\"image.age\""
    );
}
