//! The short answer on a terminal: stops, the figures that decide, cautions one line each, what to do next, the folder.

use crate::cli::layout;
use crate::finding::{Finding, Severity};
use crate::report::model::{Brief, Row};

/// Lines that a short answer takes at most, its title among them.
pub(crate) const MAXIMUM_LINES: usize = 30;
/// Findings of a weight that are always told, however little room is left.
const MINIMUM_REPORTED: usize = 3;
/// Lines that one stop may take.
const LINES_OF_STOP: usize = 4;

/// A piece of the answer, styled by the printer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Piece {
    /// A plain line.
    Line(String),
    /// A heading.
    Heading(String),
    /// A finding's weight, and what follows on its line.
    Found(Severity, String),
}

/// The lines below the title.
pub(crate) fn pieces(brief: &Brief, findings: &[Finding], width: usize) -> Vec<Piece> {
    let mut tail = Vec::new();
    if !brief.next.is_empty() {
        tail.push(Piece::Heading("Next".to_owned()));
        for text in &brief.next {
            tail.extend(layout::hang("  ", text, width).into_iter().map(Piece::Line));
        }
    }
    tail.extend(
        brief
            .folder
            .iter()
            .map(|folder| Piece::Line(format!("  Folder: {folder}"))),
    );
    let rows: Vec<Piece> = rows(&brief.rows, width)
        .into_iter()
        .map(Piece::Line)
        .collect();
    let groups = groups(brief.findings.as_deref().unwrap_or(findings));
    let (stops, others): (Vec<&Group<'_>>, Vec<&Group<'_>>) = groups
        .iter()
        .filter(|group| group.first.severity != Severity::Note)
        .partition(|group| group.first.severity == Severity::Stop);
    let notes: usize = groups
        .iter()
        .filter(|group| group.first.severity == Severity::Note)
        .map(|group| group.count)
        .sum();
    // Title, four blank lines, and the line that says what is left out; and the cautions that are told in any case.
    let fixed = 6 + rows.len() + tail.len();
    let kept = others.len().min(MINIMUM_REPORTED);
    let mut room = MAXIMUM_LINES.saturating_sub(fixed + kept);
    let mut out = vec![Piece::Line(String::new())];
    let mut untold = 0;
    let notice = out.len();
    for (k, group) in stops.iter().enumerate() {
        let lines = group.whole(width);
        if k >= MINIMUM_REPORTED && lines.len() > room {
            untold += group.count;
            continue;
        }
        room = room.saturating_sub(lines.len());
        out.extend(lines);
    }
    if out.len() > notice {
        out.push(Piece::Line(String::new()));
    }
    room += kept;
    out.extend(rows);
    let before = out.len();
    for group in &others {
        if out.len() == before {
            out.push(Piece::Line(String::new()));
        }
        if room == 0 && out.len() > before + MINIMUM_REPORTED {
            untold += group.count;
        } else {
            out.push(group.line(width));
            room = room.saturating_sub(1);
        }
    }
    let left = match (untold, notes) {
        (0, 0) => None,
        (0, 1) => Some("1 note: --details".to_owned()),
        (0, notes) => Some(format!("{notes} notes: --details")),
        (untold, notes) => Some(format!("{untold} more and {notes} notes: --details")),
    };
    out.extend(left.map(|left| Piece::Line(format!("  {left}"))));
    if !tail.is_empty() {
        out.push(Piece::Line(String::new()));
        out.extend(tail);
    }
    out
}

/// Findings of one code and weight: the first, and how many.
struct Group<'a> {
    first: &'a Finding,
    count: usize,
}

fn groups(findings: &[Finding]) -> Vec<Group<'_>> {
    let mut groups: Vec<Group<'_>> = Vec::new();
    for finding in findings {
        match groups
            .iter_mut()
            .find(|group| group.first.code == finding.code && group.first.rank() == finding.rank())
        {
            Some(group) => group.count += 1,
            None => groups.push(Group {
                first: finding,
                count: 1,
            }),
        }
    }
    groups
}

impl Group<'_> {
    fn text(&self) -> String {
        let more = if self.count > 1 {
            format!("({} of them) ", self.count)
        } else {
            String::new()
        };
        format!("[{}] {more}", self.first.code)
    }

    /// In full, a few lines at most: a stop is read before anything else.
    fn whole(&self, width: usize) -> Vec<Piece> {
        let accepted = self
            .first
            .accepted
            .as_ref()
            .map_or_else(String::new, |accepted| {
                format!(" (accepted by {}: {})", accepted.by, accepted.reason)
            });
        let text = format!("{}{}{accepted}", self.text(), self.first.message);
        let indent = " ".repeat(INDENT);
        let mut lines = layout::hang(&indent, &text, width);
        if lines.len() > LINES_OF_STOP && self.first.accepted.is_none() {
            lines.truncate(LINES_OF_STOP);
            if let Some(last) = lines.last_mut() {
                last.push_str(" …");
            }
        }
        lines
            .into_iter()
            .enumerate()
            .map(|(at, line)| {
                if at == 0 {
                    Piece::Found(self.first.severity, line.trim_start().to_owned())
                } else {
                    Piece::Line(line)
                }
            })
            .collect()
    }

    /// On one line, cut where a clause ends.
    fn line(&self, width: usize) -> Piece {
        let head = self.text();
        let room = width.saturating_sub(INDENT + layout::width_of(&head));
        Piece::Found(
            self.first.severity,
            format!("{head}{}", cut(&self.first.message, room)),
        )
    }
}

/// Columns before the text of a finding.
pub(crate) const INDENT: usize = 11;

/// As much of a text as fits, ended at a clause where that keeps most of it, else at a word.
fn cut(text: &str, room: usize) -> String {
    let clean = text.split_whitespace().collect::<Vec<_>>().join(" ");
    if layout::width_of(&clean) <= room {
        return clean;
    }
    let room = room.saturating_sub(2).max(20);
    let fits = |end: usize| {
        clean
            .get(..end)
            .filter(|part| layout::width_of(part) <= room)
    };
    let clause = clean
        .match_indices([';', ':'])
        .filter(|(at, _)| {
            clean
                .get(at + 1..)
                .is_some_and(|rest| rest.starts_with(' '))
        })
        .filter_map(|(at, _)| fits(at))
        .next_back()
        .filter(|part| 2 * layout::width_of(part) > room);
    let word = || {
        clean
            .match_indices(' ')
            .filter_map(|(at, _)| fits(at))
            .next_back()
    };
    match clause.or_else(word) {
        Some(part) => format!("{part} …"),
        None => clean.chars().take(room).chain(" …".chars()).collect(),
    }
}

/// Label and value; a note follows on the same line, and what is too long is wrapped below the value.
fn rows(rows: &[Row], width: usize) -> Vec<String> {
    let label = rows
        .iter()
        .map(|row| layout::width_of(&row.label))
        .max()
        .unwrap_or(0);
    let mut lines = Vec::new();
    for row in rows {
        let gap = " ".repeat(label - layout::width_of(&row.label));
        let head = format!("  {}{gap}  ", row.label);
        let text = if row.note.is_empty() {
            row.value.clone()
        } else {
            format!("{} ({})", row.value, row.note)
        };
        lines.extend(layout::hang(&head, &text, width));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finding::codes;

    fn brief() -> Brief {
        Brief {
            rows: vec![
                Row::new("nitrogen", "515 kg N"),
                Row::new("map id", "abc123"),
            ],
            next: vec!["Load machine/TASKDATA.".to_owned()],
            folder: Some("out".to_owned()),
            findings: None,
        }
    }

    fn columns(pieces: &[Piece]) -> Vec<usize> {
        let wide = |piece: &Piece| match piece {
            Piece::Line(text) | Piece::Heading(text) => layout::width_of(text),
            Piece::Found(_, text) => INDENT + layout::width_of(text),
        };
        pieces.iter().map(wide).collect()
    }

    #[test]
    fn stops_stand_above_the_figures_and_cautions_below() {
        let findings = [
            Finding::stop(codes::IMAGE_UNSEEN, "no image"),
            Finding::caution(codes::IMAGE_COARSE, "coarse"),
            Finding::note(codes::PLANE_UTM, "noted"),
        ];
        let pieces = pieces(&brief(), &findings, 80);
        let at = |requirement: &str| {
            let found = |piece: &Piece| match piece {
                Piece::Line(text) | Piece::Heading(text) | Piece::Found(_, text) => {
                    text.contains(requirement)
                }
            };
            pieces.iter().position(found).unwrap()
        };
        let order = [
            "no image",
            "515 kg N",
            "abc123",
            "coarse",
            "1 note",
            "Next",
            "Folder: out",
        ];
        assert!(order.map(at).is_sorted(), "{pieces:#?}");
    }

    #[test]
    fn thirty_lines_of_eighty_columns_hold_any_number_of_findings() {
        let long = "the strip lies on better or poorer crop than the field: look at the place before you apply anything there, for what it shows may be the ground";
        let words: Vec<_> = codes::all().collect();
        for (stops, cautions) in [(0, 0), (1, 40), (12, 40), (0, 3), (3, 0)] {
            let findings: Vec<Finding> = words
                .iter()
                .take(stops)
                .map(|code| Finding::stop(*code, long))
                .chain(
                    words
                        .iter()
                        .take(cautions)
                        .map(|code| Finding::caution(*code, long)),
                )
                .collect();
            let pieces = pieces(&brief(), &findings, 80);
            assert!(
                pieces.len() < MAXIMUM_LINES,
                "{stops} {cautions}: {pieces:#?}"
            );
            assert!(
                columns(&pieces).iter().all(|wide| *wide <= 80),
                "{pieces:#?}"
            );
        }
    }

    #[test]
    fn a_caution_is_cut_where_a_clause_or_a_word_ends() {
        assert_eq!(cut("short: whole", 40), "short: whole");
        assert_eq!(
            cut(
                "the image is coarse for zones of this field: most pixels mix",
                50
            ),
            "the image is coarse for zones of this field …"
        );
        assert_eq!(
            cut("one two three four five six seven", 24),
            "one two three four …"
        );
    }
}
