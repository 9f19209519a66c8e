//! All that the command prints: results on standard output, everything else on standard error.

use std::ffi::OsString;
use std::io;
use std::io::{IsTerminal, Write};

use anstream::{AutoStream, ColorChoice};
use anstyle::{AnsiColor, Style};
use serde_json::{Value, json};

use crate::app::commit::size;
use crate::app::error::AppError;
use crate::cli::brief::{INDENT, Piece, pieces};
use crate::cli::progress::Show;
use crate::cli::{args, layout};
use crate::finding::{Finding, Severity};
use crate::report::model::{Body, Brief, Report};

/// Columns when nobody says how wide the terminal is.
const WIDTH: usize = 80;
/// Lines longer than this are hard to read on however wide a terminal.
const MAXIMUM_WIDTH: usize = 120;

const HEADING: Style = Style::new().bold();
const DIM: Style = Style::new().dimmed();
const ERROR: Style = AnsiColor::Red.on_default().bold();
const CAUTION: Style = AnsiColor::Yellow.on_default().bold();
const NOTE: Style = AnsiColor::Cyan.on_default();
const HINT: Style = AnsiColor::Green.on_default();

/// Prints for people or scripts, with colour or without.
#[derive(Debug)]
pub(crate) struct Printer {
    json: bool,
    details: bool,
    choice: ColorChoice,
}

impl Printer {
    /// As the arguments say, read before they are parsed so that a refusal of them is printed in the same way.
    pub(crate) fn of(arguments: &[OsString]) -> Self {
        let mut printer = Self {
            json: false,
            details: false,
            choice: ColorChoice::Auto,
        };
        // A terminal that says it is dumb stays plain, on a build server too, where the library would colour it.
        if std::env::var_os("TERM").is_some_and(|kind| kind == "dumb") {
            printer.choice = ColorChoice::Never;
        }
        let mut colour_next = false;
        // A file name that is no UTF-8 is none of these options, and hides none that comes after it.
        for argument in arguments
            .iter()
            .skip(1)
            .map(|argument| argument.to_str().unwrap_or_default())
            .take_while(|text| *text != "--")
        {
            let colour = if std::mem::take(&mut colour_next) {
                Some(argument)
            } else {
                argument.strip_prefix("--color=")
            };
            match (argument, colour) {
                (_, Some("always")) => printer.choice = ColorChoice::Always,
                (_, Some("never")) => printer.choice = ColorChoice::Never,
                ("--json", None) => printer.json = true,
                ("--details", None) => printer.details = true,
                ("--color", None) => colour_next = true,
                _ => {}
            }
        }
        printer
    }

    /// The choice for help and refusals of arguments.
    pub(crate) const fn colour(&self) -> clap::ColorChoice {
        match self.choice {
            ColorChoice::Always | ColorChoice::AlwaysAnsi => clap::ColorChoice::Always,
            ColorChoice::Never => clap::ColorChoice::Never,
            ColorChoice::Auto => clap::ColorChoice::Auto,
        }
    }

    /// Whether standard error is coloured.
    pub(crate) fn colours_errors(&self) -> bool {
        match self.choice {
            ColorChoice::Always | ColorChoice::AlwaysAnsi => true,
            ColorChoice::Never => false,
            ColorChoice::Auto => !matches!(AutoStream::choice(&io::stderr()), ColorChoice::Never),
        }
    }

    /// How progress is shown: a bar needs a terminal that takes cursor codes, from a user who did not switch them off.
    pub(crate) fn meter(&self, quiet: bool) -> Show {
        if quiet {
            Show::Nothing
        } else if io::stderr().is_terminal()
            && self.choice != ColorChoice::Never
            && self.colours_errors()
        {
            Show::Bar
        } else {
            Show::Lines
        }
    }

    /// Prints a result.
    ///
    /// # Errors
    /// When standard output cannot be written to; a pipe whose reader has gone is one of the reasons.
    pub(crate) fn report(&self, command: &str, report: &Report) -> io::Result<()> {
        if self.json {
            self.text(&pretty(&as_json(command, report)))?;
        } else {
            let text = match &report.brief {
                Some(brief) if !self.details => rendered_brief(report, brief, width()),
                _ => rendered(report, width()),
            };
            self.text(&text)?;
        }
        if report.stopped {
            let mut codes: Vec<_> = report
                .findings
                .iter()
                .filter(|finding| finding.stops())
                .map(|finding| finding.code.word())
                .collect();
            codes.dedup();
            // The check of a map: its faults are not a job's to accept.
            let map = report.json.get("faults").is_some();
            let stick = report.json.get("stick").is_some();
            let several = report.json.get("jobs").is_some();
            let what = if stick {
                "the stick is not fit for a machine"
            } else if map {
                "the map is not fit for a machine"
            } else if several {
                "not every job has a map for the machine"
            } else {
                "nothing for the machine"
            };
            let text = format!("{ERROR}stopped[{}]{ERROR:#}: {what}\n", codes.join(", "));
            let hint = if stick {
                "write it again with haulm stick, and find out who changed it".to_owned()
            } else if map {
                "fix it where it was made, or try --repair; --faults writes a layer to look at"
                    .to_owned()
            } else if several {
                "see to each by itself: haulm check JOB".to_owned()
            } else {
                let figure = report
                    .findings
                    .iter()
                    .find(|finding| finding.stops())
                    .and_then(|finding| finding.figure.as_ref());
                let figure =
                    figure.map_or_else(String::new, |figure| format!(", figure = {figure:?}"));
                format!(
                    "see to the finding, or accept it by name in the job: [[accept]] code = {:?}{figure}, reason, by",
                    codes.first().copied().unwrap_or_default()
                )
            };
            self.on_errors(&format!("{text}\n{HINT}hint{HINT:#}: {hint}\n"));
        }
        Ok(())
    }

    /// Whether results are printed for scripts.
    pub(crate) const fn is_json(&self) -> bool {
        self.json
    }

    /// As [`Printer::report`], for a command that has printed a line of JSON for each of its results: one line more.
    ///
    /// # Errors
    /// As [`Printer::report`].
    pub(crate) fn batch(&self, command: &str, report: &Report) -> io::Result<()> {
        if self.json {
            self.text(&format!("{}\n", as_json(command, report)))
        } else {
            self.report(command, report)
        }
    }

    /// Prints a refusal: for people on standard error and, if asked for, as JSON on standard output.
    ///
    /// # Errors
    /// As [`Printer::report`].
    pub(crate) fn error(&self, command: &str, error: &AppError) -> io::Result<()> {
        self.say_error(error);
        if self.json {
            self.text(&pretty(
                &json!({ "command": command, "status": "refused", "error": error.to_json() }),
            ))
        } else {
            Ok(())
        }
    }

    /// Prints a refusal for people only.
    pub(crate) fn say_error(&self, error: &AppError) {
        self.on_errors(&rendered_error(error, width()));
    }

    /// Prints what the argument parser has to say, and returns the exit status: 0 for help and version, 2 for misuse.
    pub(crate) fn usage(&self, error: clap::Error) -> u8 {
        let error = args::with_suggestion(error);
        let asked_for = !error.use_stderr();
        let printed = error.print();
        if asked_for {
            return match printed {
                Err(error) if error.kind() != io::ErrorKind::BrokenPipe => 1,
                _ => 0,
            };
        }
        if self.json {
            let text = error.render().to_string();
            let headline = text
                .lines()
                .next()
                .unwrap_or_default()
                .trim_start_matches("error: ");
            let notice = AppError::misuse("usage", headline).with_hint("see --help");
            // Standard error has told it already, and the exit status says it again.
            let _ = self.text(&pretty(
                &json!({ "command": Value::Null, "status": "refused", "error": notice.to_json() }),
            ));
        }
        2
    }

    /// Prints a text on standard output.
    ///
    /// # Errors
    /// As [`Printer::report`].
    pub(crate) fn text(&self, text: &str) -> io::Result<()> {
        let mut out = AutoStream::new(io::stdout().lock(), self.choice);
        out.write_all(text.as_bytes())?;
        out.flush()
    }

    fn on_errors(&self, text: &str) {
        // With standard error gone there is nobody left to tell.
        let _ = AutoStream::new(io::stderr().lock(), self.choice).write_all(text.as_bytes());
    }
}

/// Prints a plain line on standard error.
pub(crate) fn say(text: &str) {
    let _ = writeln!(io::stderr(), "{}", clean(text));
}

/// Takes out what a terminal would obey instead of show: names come from files of others.
pub(crate) fn clean(text: &str) -> String {
    let obeyed = |c: char| {
        c.is_control()
            || matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    text.chars()
        .map(|c| {
            if c == '\n' || c == '\t' {
                ' '
            } else if obeyed(c) {
                '\u{fffd}'
            } else {
                c
            }
        })
        .collect()
}

fn width() -> usize {
    terminal_size::terminal_size_of(io::stdout()).map_or(WIDTH, |(width, _)| {
        usize::from(width.0).clamp(40, MAXIMUM_WIDTH)
    })
}

fn pretty(value: &Value) -> String {
    format!("{value:#}\n")
}

/// The document of `--json`: the same frame round every command's own result.
fn as_json(command: &str, report: &Report) -> Value {
    let findings: Vec<_> = report.findings.iter().map(finding_as_json).collect();
    let files: Vec<_> = report
        .files
        .iter()
        .map(|(path, bytes)| json!({ "path": path, "bytes": bytes }))
        .collect();
    let status = if report.stopped { "stopped" } else { "done" };
    json!({ "command": command, "status": status, "findings": findings, "files": files, "result": report.json })
}

fn finding_as_json(finding: &Finding) -> Value {
    let accepted = finding
        .accepted
        .as_ref()
        .map(|accepted| json!({ "reason": accepted.reason, "by": accepted.by }));
    json!({ "code": finding.code, "severity": finding.severity.word(), "message": finding.message, "figure": finding.figure, "accepted": accepted })
}

fn rendered_brief(report: &Report, brief: &Brief, width: usize) -> String {
    let title = format!("{HEADING}{}{HEADING:#}\n", clean(&report.title));
    let line = |piece: &Piece| match piece {
        Piece::Line(text) => format!("{}\n", clean(text).trim_end()),
        Piece::Heading(text) => format!("{HEADING}{}{HEADING:#}\n", clean(text)),
        Piece::Found(severity, text) => {
            let (style, word) = (style_of(*severity), severity.word());
            format!(
                "  {style}{word}{style:#}{:gap$}{}\n",
                "",
                clean(text),
                gap = INDENT - 2 - word.len()
            )
        }
    };
    let pieces = pieces(brief, &report.findings, width);
    pieces
        .iter()
        .map(line)
        .fold(title, |text, line| text + &line)
}

const fn style_of(severity: Severity) -> Style {
    match severity {
        Severity::Stop => ERROR,
        Severity::Caution => CAUTION,
        Severity::Note => NOTE,
    }
}

fn rendered(report: &Report, width: usize) -> String {
    let mut parts = Vec::new();
    if !report.title.is_empty() {
        parts.push(format!("{HEADING}{}{HEADING:#}\n", clean(&report.title)));
    }
    for block in &report.blocks {
        let heading = if block.heading.is_empty() {
            String::new()
        } else {
            format!("{HEADING}{}{HEADING:#}\n", clean(&block.heading))
        };
        let body = match &block.body {
            Body::Rows(rows) => lines(&layout::rows(rows, width)),
            Body::Table(table) => {
                let (heading, rows) = layout::table(table, width);
                format!("{DIM}{}{DIM:#}\n{}", clean(&heading), lines(&rows))
            }
            Body::Text(paragraphs) => paragraphs
                .iter()
                .map(|text| lines(&layout::hang("  ", text, width)))
                .collect(),
            Body::Lines(text) => lines(text),
        };
        parts.push(format!("{heading}{body}"));
    }
    if !report.findings.is_empty() {
        let notice: String = report
            .findings
            .iter()
            .map(|finding| rendered_finding(finding, width))
            .collect();
        parts.push(format!("{HEADING}Findings{HEADING:#}\n{notice}"));
    }
    if !report.files.is_empty() {
        let sizes: Vec<_> = report.files.iter().map(|(_, bytes)| size(*bytes)).collect();
        let widest = sizes
            .iter()
            .map(|text| layout::width_of(text))
            .max()
            .unwrap_or(0);
        let notice: Vec<_> = report
            .files
            .iter()
            .zip(&sizes)
            .map(|((path, _), size)| format!("  {size:>widest$}  {path}"))
            .collect();
        parts.push(format!("{HEADING}Files{HEADING:#}\n{}", lines(&notice)));
    }
    parts.join("\n")
}

fn rendered_finding(finding: &Finding, width: usize) -> String {
    let style = style_of(finding.severity);
    let word = finding.severity.word();
    let accepted = finding
        .accepted
        .as_ref()
        .map_or_else(String::new, |accepted| {
            format!(" (accepted by {}: {})", accepted.by, accepted.reason)
        });
    let text = layout::hang(
        "           ",
        &format!("[{}] {}{accepted}", finding.code, finding.message),
        width,
    );
    // The word takes the place of the first line's indent, coloured after the widths are settled.
    let first = clean(text.first().map_or("", |line| line.trim_start()));
    format!(
        "  {style}{word}{style:#}{:gap$}{first}\n{}",
        "",
        lines(text.get(1..).unwrap_or_default()),
        gap = 9 - word.len()
    )
}

fn rendered_error(error: &AppError, width: usize) -> String {
    let mut text = format!(
        "{ERROR}error[{}]{ERROR:#}: {}\n",
        error.code,
        clean(&error.headline)
    );
    let place = error
        .facts
        .iter()
        .map(|fact| layout::width_of(&fact.place))
        .filter(|&long| long <= width / 2)
        .max()
        .unwrap_or(0);
    for fact in &error.facts {
        text.push_str(&lines(&layout::hang(
            &format!("  {:place$}  ", fact.place),
            &fact.text,
            width,
        )));
    }
    for cause in &error.causes {
        text.push_str(&lines(&layout::hang("  because: ", cause, width)));
    }
    let Some(hint) = &error.hint else { return text };
    let notice = layout::hang("      ", hint, width);
    let first = clean(notice.first().map_or("", |line| line.trim_start()));
    format!(
        "{text}\n{HINT}hint{HINT:#}: {first}\n{}",
        lines(notice.get(1..).unwrap_or_default())
    )
}

fn lines(lines: &[String]) -> String {
    lines.iter().fold(String::new(), |text, line| {
        text + clean(line).as_str() + "\n"
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finding::{Acceptance, codes};
    use crate::report::model::{Block, Row};

    fn report() -> Report {
        let mut accepted = Finding::stop(
            codes::IMAGE_AGE,
            "the image is 20 days old at the application date, 14 are allowed",
        );
        accepted.accepted = Some(Acceptance {
            figure: None,
            reason: "cold spell".into(),
            by: "A. Adviser".into(),
        });
        Report {
            title: "Long Ley".into(),
            brief: None,
            blocks: vec![Block::rows(
                "Reference",
                vec![Row::new("response index", "1.33").with_note("1.29 to 1.38")],
            )],
            json: json!({ "map_id": "abc123" }),
            findings: vec![
                accepted,
                Finding::caution(
                    codes::REFERENCE_PLACE,
                    "the strip lies on better crop than the field: 1.08, look at the place before you spread anything there",
                ),
            ],
            files: vec![("office/record.json".into(), 2048)],
            stopped: false,
        }
    }

    fn plain(text: &str) -> String {
        anstream::adapter::strip_str(text).to_string()
    }

    #[test]
    fn a_report_reads_without_colour() {
        let text = plain(&rendered(&report(), 60));
        let expected = "\
Long Ley

Reference
  response index  1.33  1.29 to 1.38

Findings
  stop     [image.age] the image is 20 days old at the
           application date, 14 are allowed (accepted by A.
           Adviser: cold spell)
  caution  [reference.place] the strip lies on better crop
           than the field: 1.08, look at the place before
           you spread anything there

Files
  2.0 KiB  office/record.json
";
        assert_eq!(text, expected);
    }

    #[test]
    fn a_refusal_has_code_place_numbers_and_hint() {
        let error = AppError::refused(
            "reference.outside",
            "reference strip lies outside the index raster",
        )
        .with_fact("strip.geojson", "x 412310 to 412330 m")
        .with_fact("index.tif", "x 418000 to 419200 m")
        .with_hint("check that both files show the same field");
        let expected = "\
error[reference.outside]: reference strip lies outside the index raster
  strip.geojson  x 412310 to 412330 m
  index.tif      x 418000 to 419200 m

hint: check that both files show the same field
";
        assert_eq!(plain(&rendered_error(&error, 80)), expected);
    }

    #[test]
    fn names_cannot_command_the_terminal() {
        let evil = "a\u{1b}[2Jb\u{202e}c\r\u{7}d";
        let mut notice = report();
        notice.title = evil.into();
        notice.blocks[0].heading = evil.into();
        notice.blocks.push(Block::text("", vec![evil.into()]));
        notice.blocks.push(Block {
            heading: String::new(),
            body: Body::Lines(vec![evil.into()]),
        });
        notice.findings.push(Finding::note(codes::FIELD_NAME, evil));
        notice.files.push((evil.into(), 1));
        // Our own codes go first, longer before shorter; what is left would be the name's.
        let ours = [ERROR, CAUTION, NOTE, HEADING]
            .iter()
            .flat_map(|style| [style.to_string(), format!("{style:#}")]);
        let text = ours.fold(rendered(&notice, 80), |text, code| text.replace(&code, ""));
        assert!(
            !text.contains(['\u{1b}', '\u{202e}', '\r', '\u{7}']),
            "{text:?}"
        );
        let error = AppError::refused("x", evil)
            .with_fact(evil, evil)
            .with_hint(evil);
        assert!(
            !plain(&rendered_error(&error, 80)).contains(['\u{1b}', '\u{202e}', '\r', '\u{7}'])
        );
    }

    #[test]
    fn scripts_get_one_frame() {
        let value = as_json("map", &report());
        assert_eq!(value["status"], "done");
        assert_eq!(value["result"]["map_id"], "abc123");
        assert_eq!(value["findings"][0]["accepted"]["by"], "A. Adviser");
        assert_eq!(
            value["files"][0],
            json!({ "path": "office/record.json", "bytes": 2048 })
        );
        let stopped = Report {
            stopped: true,
            ..report()
        };
        assert_eq!(as_json("map", &stopped)["status"], "stopped");
    }

    #[test]
    fn options_are_seen_before_parsing() {
        let of = |arguments: &[&str]| {
            Printer::of(&arguments.iter().map(OsString::from).collect::<Vec<_>>())
        };
        assert!(of(&["haulm", "map", "--json", "x"]).json);
        assert!(!of(&["haulm", "map", "--", "--json"]).json);
        assert_eq!(
            of(&["haulm", "--color", "never"]).choice,
            ColorChoice::Never
        );
        assert_eq!(
            of(&["haulm", "--color=always", "map"]).choice,
            ColorChoice::Always
        );
    }
}
