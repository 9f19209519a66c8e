//! The five answers of the page, out of the record: one line large, some lines small.

use serde::Serialize;
use serde_json::Value;

use crate::job::settings::Output;
use crate::report::counted::counted;
use crate::units::{KG_PER_LB, M2_PER_AC, M2_PER_HA, NRate};

/// One answer.
#[derive(Clone, Debug, PartialEq, Serialize, utoipa::ToSchema)]
pub(crate) struct Answer {
    pub(crate) question: &'static str,
    /// The answer, large: figures and units.
    pub(crate) figure: String,
    /// What goes with it.
    pub(crate) lines: Vec<String>,
    /// `good`, `doubt`, `bad`, `open` or `wait`; never told by colour alone.
    pub(crate) state: &'static str,
    /// The state in a word, for everybody who does not see colours.
    pub(crate) word: &'static str,
}

/// The questions, in their order.
pub(crate) const QUESTIONS: [&str; 5] = [
    "What do we see?",
    "Is it nitrogen?",
    "How much?",
    "How sure?",
    "Off to the machine",
];

/// A number of the record by its path.
fn number(record: &Value, path: &str) -> Option<f64> {
    record.pointer(path).and_then(Value::as_f64)
}

fn word<'a>(record: &'a Value, path: &str) -> &'a str {
    record
        .pointer(path)
        .and_then(Value::as_str)
        .unwrap_or_default()
}

/// Digits in groups of three, by a narrow space.
fn grouped(value: f64) -> String {
    let digits = format!("{:.0}", value.abs());
    let mut out = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at) % 3 == 0 {
            out.push('\u{202f}');
        }
        out.push(digit);
    }
    if value < 0.0 && digits != "0" {
        format!("\u{2212}{out}")
    } else {
        out
    }
}

fn area(output: &Output, m2: f64) -> String {
    if output.us_units {
        format!("{:.1} ac", m2 / M2_PER_AC)
    } else {
        format!("{:.1} ha", m2 / M2_PER_HA)
    }
}

/// `515 kg N`, in the job's unit.
fn nitrogen(output: &Output, kg: f64) -> String {
    if output.us_units {
        format!("{} lb N", grouped(kg / KG_PER_LB))
    } else {
        format!("{} kg N", grouped(kg))
    }
}

/// A rate without its unit, as short as its step lets it be.
fn rate(output: &Output, kg_ha: f64) -> String {
    let value = if output.us_units {
        NRate::kg_per_ha(kg_ha).as_lb_per_ac()
    } else {
        kg_ha
    };
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

fn rate_unit(output: &Output) -> &'static str {
    if output.us_units {
        "lb N/ac"
    } else {
        "kg N/ha"
    }
}

fn percent(share: f64) -> String {
    format!("{:.0} %", 100.0 * share)
}

/// The answers of a decision.
pub(crate) fn answers(record: &Value, output: &Output, drawing: bool) -> Vec<Answer> {
    vec![
        seen(record, output),
        is_nitrogen(record),
        how_much(record, output),
        how_sure(record, output, drawing),
        machine(record, output),
    ]
}

/// The answers of a job that is not finished: what is missing, and the field's area \[m²\] where it can be looked at.
pub(crate) fn unfinished(missing: &[Vec<String>; 5], area_m2: Option<f64>) -> Vec<Answer> {
    let all: usize = missing.iter().map(Vec::len).sum();
    let of = |(k, (question, missing)): (usize, (&&'static str, &Vec<String>))| {
        let figure = match (missing.len(), k, area_m2) {
            (0, 0, Some(m2)) => format!("{:.1} ha", m2 / M2_PER_HA),
            (0, ..) => "–".to_owned(),
            (1, ..) => "1 entry is missing".to_owned(),
            (count, ..) => format!("{count} entries are missing"),
        };
        let lines = match (missing.is_empty(), all) {
            (false, _) => missing.clone(),
            (true, 0) => Vec::new(),
            (true, 1) => vec!["waits for 1 entry".to_owned()],
            (true, count) => vec![format!("waits for {count} entries")],
        };
        Answer {
            question,
            figure,
            lines,
            state: if missing.is_empty() { "wait" } else { "open" },
            word: if missing.is_empty() { "waits" } else { "open" },
        }
    };
    QUESTIONS.iter().zip(missing).enumerate().map(of).collect()
}

fn seen(record: &Value, output: &Output) -> Answer {
    let field = number(record, "/field/area_m2").unwrap_or_default();
    let unseen = number(record, "/totals/unseen_share").unwrap_or_default();
    let date = word(record, "/settings/imagery/date");
    let index = word(record, "/image/index");
    let mut lines = vec![format!(
        "{} of the field seen on {date}; mean {index} {:.2}",
        percent(1.0 - unseen),
        number(record, "/image/mean_index").unwrap_or(f64::NAN)
    )];
    let parts: Vec<String> = [
        ("bare soil", "/totals/bare_share"),
        ("poor stand", "/totals/thin_share"),
        ("no image", "/totals/unseen_share"),
    ]
    .iter()
    .filter_map(|(name, path)| {
        let share = number(record, path)?;
        (share >= 0.0005).then(|| format!("{name} {:.1} %", 100.0 * share))
    })
    .collect();
    if !parts.is_empty() {
        lines.push(parts.join(", "));
    }
    let good = unseen < 0.1;
    Answer {
        question: QUESTIONS[0],
        figure: area(output, field),
        lines,
        state: if good { "good" } else { "doubt" },
        word: if good { "seen" } else { "in part" },
    }
}

fn is_nitrogen(record: &Value) -> Answer {
    let ratio = number(record, "/reference/ratio");
    let answer = word(record, "/reference/answer");
    let mut lines = Vec::new();
    if let (Some(low), Some(high)) = (
        number(record, "/reference/ratio_low"),
        number(record, "/reference/ratio_high"),
    ) {
        lines.push(match number(record, "/reference/placebo/places") {
            Some(places) => {
                format!("response index, 95 % {low:.2} to {high:.2}; {places:.0} placebo strips")
            }
            None => format!("response index, 95 % {low:.2} to {high:.2}"),
        });
    } else if ratio.is_some() {
        lines.push("response index without an interval".to_owned());
    }
    if let Some(share) = number(record, "/reference/nitrogen_share/share") {
        lines.push(format!(
            "{} of the index deficit is nitrogen",
            percent(share)
        ));
    }
    let (wording, state, word) = match answer {
        "responds" => ("Yes", "good", "responds"),
        "doubtful" => ("Doubtful", "doubt", "doubtful"),
        "none" | "no response" => {
            lines.push("look again in 10 to 14 days".to_owned());
            ("No", "bad", "no response")
        }
        _ => ("Not known", "doubt", "not known"),
    };
    Answer {
        question: QUESTIONS[1],
        figure: ratio.map_or_else(
            || wording.to_owned(),
            |ratio| format!("{wording}: {ratio:.2}"),
        ),
        lines,
        state,
        word,
    }
}

fn how_much(record: &Value, output: &Output) -> Answer {
    let total = number(record, "/totals/n_kg").unwrap_or_default();
    let mean = number(record, "/totals/mean_n_kg_ha").unwrap_or_default();
    let mut lines = Vec::new();
    let range = (
        number(record, "/page/minimum_n_kg_ha"),
        number(record, "/page/maximum_n_kg_ha"),
    );
    if let (Some(low), Some(high)) = range {
        lines.push(format!(
            "{} to {} {}, mean {}",
            rate(output, low),
            rate(output, high),
            rate_unit(output),
            rate(output, mean)
        ));
    }
    if let Some(gain) = number(record, "/money/expected/gain_over_best_flat")
        .or_else(|| number(record, "/money/gain_over_flat"))
    {
        let currency = word(record, "/money/currency");
        let expected = record
            .pointer("/money/expected/gain_over_best_flat")
            .is_some_and(Value::is_number);
        lines.push(format!(
            "{}{} {currency} over {} ({})",
            if gain >= 0.0 { "+" } else { "" },
            grouped(gain),
            if expected {
                "the best flat rate"
            } else {
                "a flat rate"
            },
            if expected { "expected" } else { "at most" },
        ));
    }
    Answer {
        question: QUESTIONS[2],
        figure: nitrogen(output, total),
        lines,
        state: "good",
        word: "decided",
    }
}

fn how_sure(record: &Value, output: &Output, drawing: bool) -> Answer {
    let drawn = |end: &str| number(record, &format!("/uncertainty/drawn/{end}"));
    let (cautions, stops) = severities(record);
    let mut lines = Vec::new();
    let figure = match (drawn("n_kg_p10"), drawn("n_kg_p90")) {
        (Some(low), Some(high)) => {
            let unit = nitrogen(output, high);
            let low = nitrogen(output, low);
            let low = low.split(' ').next().unwrap_or_default().to_owned();
            if let Some(widest) = record
                .pointer("/uncertainty/drawn/alone/0/uncertainty")
                .and_then(Value::as_str)
            {
                let share =
                    number(record, "/uncertainty/drawn/alone/0/variance_share").unwrap_or_default();
                lines.push(format!(
                    "80 % range (P10 to P90); {} of it by the {widest}",
                    percent(share)
                ));
            } else {
                lines.push("80 % range (P10 to P90)".to_owned());
            }
            format!("{low} to {unit}")
        }
        _ if drawing => "being drawn …".to_owned(),
        _ => "not drawn".to_owned(),
    };
    lines.push(match (stops, cautions) {
        (0, 0) => "nothing to look at first".to_owned(),
        (0, some) => format!("{} to look at first", counted(some, "caution")),
        (some, _) => format!(
            "{}, {}",
            counted(some, "stop"),
            counted(cautions, "caution")
        ),
    });
    Answer {
        question: QUESTIONS[3],
        figure,
        lines,
        state: if stops > 0 {
            "bad"
        } else if cautions > 0 {
            "doubt"
        } else {
            "good"
        },
        word: if stops > 0 {
            "stop"
        } else if cautions > 0 {
            "cautions"
        } else {
            "clear"
        },
    }
}

/// How many cautions, and how many stops that nobody accepted.
fn severities(record: &Value) -> (usize, usize) {
    let all = record
        .get("findings")
        .and_then(Value::as_array)
        .map_or(&[][..], Vec::as_slice);
    let count = |severity: &str| {
        all.iter()
            .filter(|finding| {
                finding["severity"] == severity
                    && finding.get("accepted").is_none_or(Value::is_null)
            })
            .count()
    };
    (count("caution"), count("stop"))
}

fn machine(record: &Value, output: &Output) -> Answer {
    let zones = number(record, "/totals/zones").unwrap_or_default();
    let (_, stops) = severities(record);
    let product = word(record, "/settings/product/name");
    let figure = match number(record, "/totals/product") {
        Some(total) => format!(
            "{} {} {product}",
            grouped(total),
            word(record, "/totals/product_unit")
        ),
        None => nitrogen(output, number(record, "/totals/n_kg").unwrap_or_default()),
    };
    let mut lines = vec![format!(
        "{} zone{}, heading {:.0}°",
        grouped(zones),
        if zones == 1.0 { "" } else { "s" },
        number(record, "/field/heading_true_deg").unwrap_or_default()
    )];
    if stops > 0 {
        lines.push("locked: a finding stops the map; see question 4".to_owned());
    }
    Answer {
        question: QUESTIONS[4],
        figure: figure.trim_end().to_owned(),
        lines,
        state: if stops > 0 { "bad" } else { "good" },
        word: if stops > 0 { "locked" } else { "ready" },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_grouped_and_short() {
        assert_eq!(grouped(1_438.9), "1\u{202f}439");
        assert_eq!(grouped(1_234_567.0), "1\u{202f}234\u{202f}567");
        assert_eq!(grouped(515.0), "515");
        assert_eq!(grouped(-0.2), "0");
        assert_eq!(grouped(-1_000.0), "\u{2212}1\u{202f}000");
    }
}
