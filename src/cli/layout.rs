//! Text laid out for a terminal of some width. Knows no colour: headings and words are styled by the printer.

use crate::report::model::{Align, Row, Table};

/// Space between columns.
const GAP: usize = 2;
/// A wrapped column is not squeezed below this, however narrow the terminal.
const NARROWEST: usize = 20;
/// A label longer than this takes a line of its own.
const LONGEST_LABEL: usize = 34;
/// A value longer than this does not push the notes of its neighbours aside.
const LONGEST_VALUE: usize = 26;

/// Columns that a text takes. One a character: our own texts hold no wide ones, and names of fields that do only lean a little.
pub(crate) fn width_of(text: &str) -> usize {
    text.chars().count()
}

/// Breaks a text between words so that no line is wider than `width`, single words excepted.
pub(crate) fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    let mut used = 0;
    for word in text.split_whitespace() {
        let long = width_of(word);
        if used > 0 && used + 1 + long > width {
            lines.push(String::new());
            used = 0;
        }
        if let Some(line) = lines.last_mut() {
            if used > 0 {
                line.push(' ');
                used += 1;
            }
            line.push_str(word);
            used += long;
        }
    }
    lines
}

/// Prefixes the first line with `first` and the others with spaces as wide.
pub(crate) fn hang(first: &str, text: &str, width: usize) -> Vec<String> {
    let indent = width_of(first);
    let lines = wrap(text, width.saturating_sub(indent).max(NARROWEST));
    lines
        .into_iter()
        .enumerate()
        .map(|(at, line)| {
            if at == 0 {
                format!("{first}{line}")
            } else {
                format!("{:indent$}{line}", "")
            }
        })
        .collect()
}

/// Label, value and note below each other; a note that does not fit is wrapped below itself.
pub(crate) fn rows(rows: &[Row], width: usize) -> Vec<String> {
    let widest = |of: fn(&Row) -> &String, limit: usize| {
        rows.iter()
            .map(|row| width_of(of(row)))
            .filter(|&long| long <= limit)
            .max()
            .unwrap_or(0)
    };
    let label = widest(|row| &row.label, LONGEST_LABEL);
    let value = widest(|row| &row.value, LONGEST_VALUE);
    let mut lines = Vec::new();
    for row in rows {
        let mut head = format!("  {}", pad(&row.label, label, Align::Left));
        if width_of(&row.label) > label {
            lines.push(std::mem::take(&mut head));
            head = format!("  {:label$}", "");
        }
        head.push_str("  ");
        if row.note.is_empty() {
            lines.extend(hang(&head, &row.value, width));
        } else if width_of(&row.value) > value || width_of(&head) + value + GAP + NARROWEST > width
        {
            lines.extend(hang(&head, &row.value, width));
            lines.extend(hang(&" ".repeat(width_of(&head)), &row.note, width));
        } else {
            lines.extend(hang(
                &format!("{head}{}  ", pad(&row.value, value, Align::Left)),
                &row.note,
                width,
            ));
        }
    }
    trim(lines)
}

/// A table with its headings; the last column is wrapped when the table is too wide.
pub(crate) fn table(table: &Table, width: usize) -> (String, Vec<String>) {
    let widths: Vec<usize> = table
        .columns
        .iter()
        .enumerate()
        .map(|(at, column)| {
            table
                .rows
                .iter()
                .filter_map(|row| row.get(at))
                .map(|cell| width_of(cell))
                .chain([width_of(&column.heading)])
                .max()
                .unwrap_or(0)
        })
        .collect();
    let line = |cells: &[String]| {
        let mut head = String::new();
        let last = widths.len().saturating_sub(1);
        for (at, (cell, column)) in cells.iter().zip(&table.columns).enumerate() {
            head.push_str("  ");
            if at == last && column.align == Align::Left {
                return hang(&head, cell, width);
            }
            head.push_str(&pad(cell, widths[at], column.align));
        }
        vec![head]
    };
    let headings: Vec<_> = table
        .columns
        .iter()
        .map(|column| column.heading.clone())
        .collect();
    let heading = line(&headings).join("\n").trim_end().to_owned();
    (
        heading,
        trim(table.rows.iter().flat_map(|cells| line(cells)).collect()),
    )
}

fn pad(text: &str, width: usize, align: Align) -> String {
    let space = " ".repeat(width.saturating_sub(width_of(text)));
    match align {
        Align::Left => format!("{text}{space}"),
        Align::Right => format!("{space}{text}"),
    }
}

fn trim(lines: Vec<String>) -> Vec<String> {
    lines
        .into_iter()
        .map(|line| line.trim_end().to_owned())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::model::Column;

    #[test]
    fn words_are_wrapped_and_none_is_lost() {
        let text = "the strip lies on better crop than the field";
        let lines = wrap(text, 16);
        assert_eq!(
            lines,
            ["the strip lies", "on better crop", "than the field"]
        );
        assert_eq!(wrap("", 10), [""]);
        assert_eq!(
            wrap("a-word-longer-than-the-line b", 5),
            ["a-word-longer-than-the-line", "b"]
        );
    }

    #[test]
    fn columns_stand_below_each_other() {
        let given = [
            Row::new("response index", "1.33").with_note("1.29 to 1.38"),
            Row::new("area", "18.42 ha"),
        ];
        assert_eq!(
            rows(&given, 80),
            [
                "  response index  1.33      1.29 to 1.38",
                "  area            18.42 ha"
            ]
        );
    }

    #[test]
    fn notes_keep_within_the_width() {
        let note = "the strip lies on better or poorer crop than the field, look at the place before you spread";
        let given = [
            Row::new("place of the strip", "1.08").with_note(note),
            Row::new("a".repeat(50), "1").with_note(note),
        ];
        let lines = rows(&given, 60);
        assert!(lines.iter().all(|line| width_of(line) <= 60), "{lines:#?}");
        assert_eq!(lines.join(" ").matches("before").count(), 2);
    }

    #[test]
    fn numbers_lean_right_and_the_last_column_wraps() {
        let given = Table {
            columns: vec![
                Column::left("crop"),
                Column::right("base °C"),
                Column::left("source"),
            ],
            rows: vec![
                vec![
                    "wheat".into(),
                    "4.4".into(),
                    "a source with a name that is too long for this".into(),
                ],
                vec!["maize".into(), "10".into(), "short".into()],
            ],
        };
        let (heading, lines) = table(&given, 42);
        assert_eq!(heading, "  crop   base °C  source");
        assert_eq!(lines[0], "  wheat      4.4  a source with a name");
        assert_eq!(lines.last().unwrap(), "  maize       10  short");
        assert!(lines.iter().all(|line| width_of(line) <= 42));
    }
}
