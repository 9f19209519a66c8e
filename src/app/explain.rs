//! `haulm explain`: what a finding code says, why it matters and what to do, out of the table of codes.

use std::fmt::Write;

use crate::app::error::AppError;
use crate::finding::{Code, Source, codes};
use crate::job::suggest::nearest;
use crate::report::model::{Block, Column, Report, Row, Table};
use serde_json::{Value, json};

/// Explains one code, the codes of a group (the part before the dot), or lists all.
///
/// # Errors
/// When no finding has that code.
pub fn explain(word: Option<&str>) -> Result<Report, AppError> {
    let Some(word) = word else {
        return Ok(listed("Findings", |_| true));
    };
    let plain = word.trim().trim_matches(['[', ']']);
    if let Some(code) = codes::find(plain) {
        return Ok(explained(code));
    }
    if codes::all().any(|code| code.group() == plain) {
        return Ok(listed(&format!("Findings on {plain}"), |code| {
            code.group() == plain
        }));
    }
    let known = codes::all().map(Code::word);
    let hint = nearest(plain, known).map_or_else(
        || "haulm explain lists all codes; an error says in its own message what to do".to_owned(),
        |near| format!("did you mean \"{near}\"?"),
    );
    Err(AppError::misuse(
        "explain.code",
        format!("\"{plain}\" is not the code of a finding"),
    )
    .with_hint(hint))
}

fn listed(title: &str, requirement: impl Fn(Code) -> bool) -> Report {
    let chosen: Vec<Code> = codes::all().filter(|code| requirement(*code)).collect();
    let blocks = codes::GROUPS.iter().filter_map(|group| {
        let rows: Vec<Vec<String>> = group
            .codes
            .iter()
            .filter(|code| chosen.contains(code))
            .map(|code| vec![code.word().to_owned(), code.sentence().to_owned()])
            .collect();
        let columns = vec![Column::left("code"), Column::left("says")];
        (!rows.is_empty()).then(|| Block::table(group.title, Table { columns, rows }))
    });
    Report {
        title: title.to_owned(),
        blocks: blocks.collect(),
        json: as_json(&chosen),
        ..Report::default()
    }
}

fn explained(code: Code) -> Report {
    let facts = vec![
        Row::new("weight", weights(code)),
        Row::new("[[accept]]", acceptance(code)),
    ];
    Report {
        title: code.word().to_owned(),
        blocks: vec![
            Block::text("", vec![code.sentence().to_owned()]),
            Block::rows("", facts),
            Block::text("Why it matters, what to do", vec![code.why().to_owned()]),
        ],
        json: as_json(&[code]),
        ..Report::default()
    }
}

fn weights(code: Code) -> String {
    let words: Vec<&str> = code.weights().iter().map(|weight| weight.word()).collect();
    words.join(" or ")
}

/// Whether a job can go past it, in words.
fn acceptance(code: Code) -> &'static str {
    match (code.may_stop(), code.source()) {
        (false, _) => "not needed: it never stops",
        (true, Source::Job) => "an adviser can accept it in the job, with a reason",
        (true, Source::Map) => "no: correct the map; haulm convert raises it as a caution",
    }
}

fn as_json(chosen: &[Code]) -> Value {
    let rows: Vec<Value> = chosen
        .iter()
        .map(|code| {
            let weights: Vec<&str> = code.weights().iter().map(|weight| weight.word()).collect();
            json!({
                "code": code, "group": code.group(), "weights": weights, "sentence": code.sentence(), "why": code.why(),
                "can_be_accepted": code.can_be_accepted(),
            })
        })
        .collect();
    json!({ "codes": rows })
}

/// The reference page of all findings. (Markdown)
pub fn findings_page() -> String {
    let mut page = String::from(INTRODUCTION);
    for group in codes::GROUPS {
        let _ = write!(page, "\n## {}\n", group.title);
        for code in group.codes {
            let accept = if code.can_be_accepted() {
                "; can be accepted"
            } else {
                ""
            };
            let _ = write!(
                page,
                "\n### `{code}`\n\n*{}{accept}.* **{}** {}\n",
                weights(*code),
                code.sentence(),
                code.why()
            );
        }
    }
    page
}

const INTRODUCTION: &str = "# Findings

What a run noticed, by code. `haulm explain CODE` prints one of them; `haulm explain` lists them. This page is written by `haulm explain --markdown`.

A **note** is worth knowing. A **caution** asks you to look before you apply. A **stop** keeps the machine files from being written. An adviser can go past a stop of a job by name, with a reason, where the row says so:

```toml
[[accept]]
code = \"image.age\"
figure = \"19 d\"
reason = \"cold spell, no growth\"
by = \"A. Adviser\"
```

A stop in the check of a map cannot be accepted: correct the map. `haulm convert` raises it as a caution. Thresholds are named with their source; \"common practice, no source\" and \"own rule\" mean that no publication is known. Labels, local rules and a licensed adviser come before anything said here.
";
