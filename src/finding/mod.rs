//! What a run noticed. Every uncertainty is a finding that the user sees in terminal, record, page and report alike.

mod code;
pub mod codes;

use std::fmt;

pub use code::{Code, Source};

/// No message echoes more of a value than this. (characters)
const LONGEST_VALUE: usize = 200;

/// A message in which no value, in quotes or in one piece, is longer than 200 characters; paths stay whole, so that they can be found.
pub fn shortened(message: impl Into<String>) -> String {
    let message = message.into();
    if message.len() <= LONGEST_VALUE {
        return message;
    }
    let mut out = String::with_capacity(message.len());
    let mut piece = String::new();
    let (mut quoted, mut escaped) = (false, false);
    for c in message.chars() {
        let ends_quote = quoted && c == '"' && !escaped;
        escaped = quoted && c == '\\' && !escaped;
        if ends_quote {
            piece.push(c);
            add_piece(&mut out, &mut piece);
            quoted = false;
        } else if !quoted && c == '"' {
            add_piece(&mut out, &mut piece);
            piece.push(c);
            quoted = true;
        } else if !quoted && c.is_whitespace() {
            add_piece(&mut out, &mut piece);
            out.push(c);
        } else {
            piece.push(c);
        }
    }
    add_piece(&mut out, &mut piece);
    out
}

/// Moves a piece to the text, cut where it is too long.
fn add_piece(out: &mut String, piece: &mut String) {
    let count = piece.chars().count();
    let path = !piece.starts_with('"') && piece.contains(['/', '\\']) && !piece.contains(',');
    if count > LONGEST_VALUE && !path {
        out.extend(piece.chars().take(LONGEST_VALUE - 30));
        out.push_str("… (");
        out.push_str(&count.to_string());
        out.push_str(" characters)");
        if piece.starts_with('"') {
            out.push('"');
        }
    } else {
        out.push_str(piece);
    }
    piece.clear();
}

/// How much a finding weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Look before you spread.
    Caution,
    /// Nothing is written for the machine until an adviser accepts it by name.
    Stop,
}

impl Severity {
    /// The word of it in files and terminal.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Caution => "caution",
            Self::Stop => "stop",
        }
    }
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// Who went on past a stop, at which figure, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Acceptance {
    /// The finding's figure that was accepted, as the finding printed it: `19 d`. Without it nothing is accepted.
    pub figure: Option<String>,
    /// The reason given.
    pub reason: String,
    /// Who gave it.
    pub by: String,
}

/// One thing noticed: a stable code for scripts, a weight, and a sentence with numbers and units for people.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Stable, dotted, lower case: `image.age`, `reference.place`.
    pub code: Code,
    /// How much it weighs.
    pub severity: Severity,
    /// What, where, with numbers and units, and what to do.
    pub message: String,
    /// The one figure that a stop hangs on, as people write it: `19 d`, `41.0 lb N/ac`. An acceptance holds for it alone.
    pub figure: Option<String>,
    /// Set when the job's `[[accept]]` names the code of a stop, at its figure.
    pub accepted: Option<Acceptance>,
}

/// How far a figure may move before its acceptance is stale. \[share\] Own rule.
const FIGURE_TOLERANCE: f64 = 0.1;

/// Whether two figures say the same: numbers of one unit within a tenth, or the same words.
fn figures_agree(one: &str, other: &str) -> bool {
    let parts = |text: &str| {
        let lower = text.trim().to_lowercase();
        // "mean 41 lb N/ac" is 41 lb N/ac.
        let text = lower.trim_start_matches(|c: char| c.is_alphabetic() || c == ' ');
        let end = text
            .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+')))
            .unwrap_or(text.len());
        let (number, unit) = text.split_at(end);
        let unit: String = unit.split_whitespace().collect();
        number.parse::<f64>().ok().map(|number| (number, unit))
    };
    match (parts(one), parts(other)) {
        (Some((a, unit)), Some((b, other))) => {
            unit == other && (a - b).abs() <= FIGURE_TOLERANCE * a.abs().max(b.abs()) + 1e-9
        }
        _ => one.trim().eq_ignore_ascii_case(other.trim()),
    }
}

impl Finding {
    /// A note.
    pub fn note(code: Code, message: impl Into<String>) -> Self {
        Self {
            code,
            severity: Severity::Note,
            message: shortened(message),
            figure: None,
            accepted: None,
        }
    }
    /// A caution.
    pub fn caution(code: Code, message: impl Into<String>) -> Self {
        Self {
            code,
            severity: Severity::Caution,
            message: shortened(message),
            figure: None,
            accepted: None,
        }
    }
    /// A stop.
    pub fn stop(code: Code, message: impl Into<String>) -> Self {
        Self {
            code,
            severity: Severity::Stop,
            message: shortened(message),
            figure: None,
            accepted: None,
        }
    }
    /// With the figure that it hangs on.
    #[must_use]
    pub fn with_figure(mut self, figure: impl Into<String>) -> Self {
        self.figure = Some(figure.into());
        self
    }
    /// Whether an acceptance was given for what it says now.
    pub fn is_covered_by(&self, acceptance: &Acceptance) -> bool {
        match (&self.figure, &acceptance.figure) {
            (Some(now), Some(then)) => figures_agree(now, then),
            (None, None) => true,
            _ => false,
        }
    }
    /// Its place among others: open stops first, then accepted ones, cautions, notes.
    pub const fn rank(&self) -> u8 {
        match (self.severity, &self.accepted) {
            (Severity::Stop, None) => 0,
            (Severity::Stop, Some(_)) => 1,
            (Severity::Caution, _) => 2,
            (Severity::Note, _) => 3,
        }
    }
    /// Whether it keeps the machine's files from being written.
    pub const fn stops(&self) -> bool {
        matches!(self.severity, Severity::Stop) && self.accepted.is_none()
    }
}

/// Sorts findings as they stand wherever people or scripts read them: by weight, those of one weight in the order of noticing.
pub fn by_weight(findings: &mut [Finding]) {
    findings.sort_by_key(Finding::rank);
}

/// A value and what was noticed while making it.
#[derive(Clone, Debug)]
#[must_use]
pub struct Checked<T> {
    /// The value.
    pub value: T,
    /// What was noticed, in the order of noticing.
    pub findings: Vec<Finding>,
}

impl<T> Checked<T> {
    /// A value with nothing to say of it.
    pub const fn clean(value: T) -> Self {
        Self {
            value,
            findings: Vec::new(),
        }
    }
    /// A value with findings.
    pub const fn new(value: T, findings: Vec<Finding>) -> Self {
        Self { value, findings }
    }
    /// Moves the findings into `log` and hands the value on.
    pub fn into_log(self, log: &mut Vec<Finding>) -> T {
        log.extend(self.findings);
        self.value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stops_come_first_and_equals_keep_their_order() {
        let mut accepted = Finding::stop(codes::IMAGE_AGE, "accepted");
        accepted.accepted = Some(Acceptance {
            figure: None,
            reason: "cold spell".into(),
            by: "A. Adviser".into(),
        });
        let mut findings = vec![
            Finding::note(codes::FIELD_NAME, "note 1"),
            Finding::caution(codes::REFERENCE_PLACE, "caution 1"),
            accepted,
            Finding::note(codes::PLANE_UTM, "note 2"),
            Finding::stop(codes::IMAGE_UNSEEN, "stop"),
            Finding::caution(codes::IMAGE_COARSE, "caution 2"),
        ];
        by_weight(&mut findings);
        let order: Vec<&str> = findings.iter().map(|f| f.message.as_str()).collect();
        assert_eq!(
            order,
            [
                "stop",
                "accepted",
                "caution 1",
                "caution 2",
                "note 1",
                "note 2"
            ]
        );
    }

    #[test]
    fn an_acceptance_holds_for_one_figure() {
        for (then, now, same) in [
            ("19 d", "19 d", true),
            ("19 d", "20 d", true),
            ("19 d", "22 d", false),
            ("41 lb N/ac", "41.3 lb N/ac", true),
            ("mean 41 lb N/ac", "40.6 lb N/ac", true),
            ("41 lb N/ac", "41 kg N/ha", false),
            ("0.95", "0.93", true),
            ("green", "Green", true),
            ("green", "red", false),
            ("2026-04-12", "2026-04-13", false),
        ] {
            assert_eq!(figures_agree(then, now), same, "{then} {now}");
        }
    }

    #[test]
    fn no_value_is_echoed_at_length() {
        let plain = "the rate \"120 kg\" is no rate";
        assert_eq!(shortened(plain), plain);
        let words = "a sentence of many words ".repeat(20);
        assert_eq!(shortened(words.clone()), words);
        let path = format!("{}/image.tif: there is no such file", "/folder".repeat(60));
        assert_eq!(shortened(path.clone()), path);
        for value in [
            "x".repeat(5000),
            "two words, ".repeat(500),
            "\\\"".repeat(900),
        ] {
            let notice = shortened(format!("it says \"{value}\" there"));
            assert!(notice.chars().count() < 240, "{notice}");
            assert!(
                notice.starts_with("it says \"") && notice.ends_with("\" there"),
                "{notice}"
            );
        }
        let notice = shortened(format!("{} is no number", "9".repeat(1000)));
        assert!(
            notice.chars().count() < 240 && notice.contains("(1000 characters)"),
            "{notice}"
        );
    }
}
