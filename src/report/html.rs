//! A document as one HTML file: no script, nothing from elsewhere, readable on a phone, in the dark, and on paper.

use std::fmt::Write as _;

use crate::report::card::is_unit_after_number;
use crate::report::document::{Block, Document, Figure, Table};
use crate::report::draw::svg::{escaped, svg};
use crate::report::text::Text;

/// How it looks. Colours are tested for contrast; drawings stand on white in the dark too.
const STYLE: &str = include_str!("html.css");

/// The whole file.
pub(crate) fn html(document: &Document, text: &Text) -> Vec<u8> {
    let mut out = String::new();
    let paper = if document.letter { "letter" } else { "A4" };
    let title = escaped(&document.title);
    let _ = write!(
        out,
        "<!DOCTYPE html>\n<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; img-src data:\">\n<meta name=\"description\" content=\"{}\">\n<title>{title}</title>\n<style>\n@page {{ size: {paper}; margin: 14mm; }}\n{STYLE}</style>\n</head>\n<body>\n<header>\n<h1>{title}</h1>\n<p>{}</p>\n",
        document.language,
        escaped(&document.subject),
        escaped(&document.subject)
    );
    if let Some(warning) = &document.warning {
        let _ = writeln!(
            out,
            "<p class=\"warning\"><strong>{}</strong></p>",
            escaped(warning)
        );
    }
    if document.parts.len() > 1 {
        let _ = writeln!(
            out,
            "<nav aria-label=\"{}\">\n<ul>",
            escaped(&text.say("page-contents"))
        );
        for part in &document.parts {
            let _ = writeln!(
                out,
                "<li><a href=\"#{}\">{}</a></li>",
                part.id,
                escaped(&part.heading)
            );
        }
        out.push_str("</ul>\n</nav>\n");
    }
    out.push_str("</header>\n<main>\n");
    for part in &document.parts {
        let (id, heading) = (part.id, escaped(&part.heading));
        let _ = writeln!(
            out,
            "<section id=\"{id}\" aria-labelledby=\"{id}-heading\">\n<h2 id=\"{id}-heading\">{heading}</h2>"
        );
        if let Some(warning) = &document.warning {
            let _ = writeln!(
                out,
                "<p class=\"warning print-only\" aria-hidden=\"true\">{}</p>",
                escaped(warning)
            );
        }
        for block in &part.blocks {
            write_block(&mut out, block);
        }
        out.push_str("</section>\n");
    }
    let _ = write!(
        out,
        "</main>\n<footer><p>{}</p></footer>\n</body>\n</html>\n",
        escaped(&document.foot)
    );
    out.into_bytes()
}

fn write_block(out: &mut String, block: &Block) {
    let _ = match block {
        Block::Heading(heading) => writeln!(out, "<h3>{}</h3>", glued(heading)),
        Block::Lead(words) => writeln!(out, "<p class=\"lead\">{}</p>", glued(words)),
        Block::Text(words) => writeln!(out, "<p>{}</p>", glued(words)),
        Block::Small(words) => writeln!(out, "<p class=\"small\">{}</p>", glued(words)),
        Block::Code(words) => writeln!(
            out,
            "<pre tabindex=\"0\"><code>{}</code></pre>",
            escaped(words)
        ),
        Block::Facts(facts) => {
            out.push_str("<dl class=\"facts\">\n");
            for fact in facts {
                let note = if fact.note.is_empty() {
                    String::new()
                } else {
                    format!(" <span class=\"note\">{}</span>", glued(&fact.note))
                };
                let _ = writeln!(
                    out,
                    "<div><dt>{}</dt><dd><b>{}</b>{note}</dd></div>",
                    glued(&fact.label),
                    glued(&fact.value)
                );
            }
            writeln!(out, "</dl>")
        }
        Block::Big(facts) => {
            out.push_str("<dl class=\"big\">\n");
            for fact in facts {
                let _ = writeln!(
                    out,
                    "<div><dt>{}</dt><dd><b>{}</b> <span class=\"note\">{}</span></dd></div>",
                    glued(&fact.label),
                    glued(&fact.value),
                    glued(&fact.note)
                );
            }
            writeln!(out, "</dl>")
        }
        Block::Table(table) => write_table(out, table),
        Block::Figure(figure) => write_figure(out, figure),
        Block::List(items) => write_list(out, "", items),
        Block::Blanks(lines) => write_list(out, " class=\"blanks\"", lines),
        Block::Signatures(lines) => write_list(out, " class=\"signatures\"", lines),
        Block::Findings(list) => {
            out.push_str("<ul class=\"findings\">\n");
            for one in list {
                let code = if one.code.is_empty() {
                    String::new()
                } else {
                    format!(" <code>{}</code>", escaped(&one.code))
                };
                let _ = writeln!(
                    out,
                    "<li class=\"{}\"><b>{}</b> {}{code}</li>",
                    one.severity.word(),
                    escaped(&one.word),
                    glued(&one.message)
                );
            }
            writeln!(out, "</ul>")
        }
        Block::Checks(checks) => {
            out.push_str("<ul class=\"checks\">\n");
            for check in checks {
                let (mark, value) = match &check.value {
                    Some(value) => ("☑", escaped(value)),
                    None => ("☐", "<span class=\"blank\"></span>".to_owned()),
                };
                let _ = writeln!(
                    out,
                    "<li><span aria-hidden=\"true\">{mark}</span> <b>{}</b> {value}</li>",
                    escaped(&check.label)
                );
            }
            writeln!(out, "</ul>")
        }
        Block::Beside(left, right) => {
            out.push_str("<div class=\"beside\">\n<div>\n");
            for block in left {
                write_block(out, block);
            }
            out.push_str("</div>\n<div>\n");
            for block in right {
                write_block(out, block);
            }
            writeln!(out, "</div>\n</div>")
        }
    };
}

fn write_list(out: &mut String, class: &str, items: &[String]) -> std::fmt::Result {
    writeln!(out, "<ul{class}>")?;
    for item in items {
        writeln!(out, "<li>{}</li>", glued(item))?;
    }
    writeln!(out, "</ul>")
}

fn write_table(out: &mut String, table: &Table) -> std::fmt::Result {
    // A wide table scrolls in its own box, by keyboard too; the page never scrolls sideways.
    writeln!(
        out,
        "<div class=\"scroll\" role=\"region\" tabindex=\"0\" aria-label=\"{}\">\n<table>\n<caption>{}</caption>",
        escaped(&table.caption),
        escaped(&table.caption)
    )?;
    out.push_str("<thead><tr>");
    for (heading, number) in &table.columns {
        write!(
            out,
            "<th scope=\"col\"{}>{}</th>",
            if *number { " class=\"number\"" } else { "" },
            glued(heading)
        )?;
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    for (k, row) in table.rows.iter().enumerate() {
        let sum = if table.summed && k + 1 == table.rows.len() {
            " class=\"sum\""
        } else {
            ""
        };
        write!(out, "<tr{sum}>")?;
        for (k, (cell, (_, number))) in row.iter().zip(&table.columns).enumerate() {
            let class = if *number { " class=\"number\"" } else { "" };
            if k == 0 {
                write!(out, "<th scope=\"row\"{class}>{}</th>", cell_html(cell))?;
            } else {
                write!(out, "<td{class}>{}</td>", cell_html(cell))?;
            }
        }
        out.push_str("</tr>\n");
    }
    writeln!(out, "</tbody>\n</table>\n</div>")
}

/// A cell; a place written as RFC 5870 does becomes a link that a phone opens.
fn cell_html(cell: &str) -> String {
    let is_place = cell.strip_prefix("geo:").is_some_and(|rest| {
        !rest.is_empty()
            && rest
                .chars()
                .all(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | '-'))
    });
    if is_place {
        let place = cell[4..].replacen(',', ", ", 1);
        format!("<a href=\"{cell}\">{place}</a>")
    } else {
        glued(cell)
    }
}

/// Text as it may stand in HTML, with units held to their numbers by a space that does not break, and dates in one piece.
fn glued(text: &str) -> String {
    let text = escaped(text);
    let mut out = String::with_capacity(text.len());
    let mut rest = 0;
    for (at, c) in text.char_indices() {
        if at < rest {
            continue;
        }
        if c == ' ' && is_unit_after_number(&text[..at], &text[at + 1..]) {
            out.push('\u{a0}');
        } else if is_date(&text.as_bytes()[at..]) {
            let _ = write!(out, "<span class=\"date\">{}</span>", &text[at..at + DATE]);
            rest = at + DATE;
        } else {
            out.push(c);
        }
    }
    out
}

/// Length of a date.
const DATE: usize = 10;

/// Whether a text begins with a date: `2026-04-14`.
fn is_date(text: &[u8]) -> bool {
    text.get(..DATE).is_some_and(|date| {
        date.iter().enumerate().all(|(k, byte)| match k {
            4 | 7 => *byte == b'-',
            _ => byte.is_ascii_digit(),
        })
    }) && !text.get(DATE).is_some_and(u8::is_ascii_digit)
}

fn write_figure(out: &mut String, figure: &Figure) -> std::fmt::Result {
    let width = if figure.width < 1.0 {
        format!(" style=\"max-width:{:.0}%\"", 100.0 * figure.width)
    } else {
        String::new()
    };
    // The drawing is our own, and every word from data in it was escaped when it was drawn.
    let drawing = svg(&figure.drawing);
    match &figure.phone {
        Some(phone) => writeln!(
            out,
            "<figure{width}>\n<div class=\"page\">{drawing}</div>\n<div class=\"phone\">{}</div>",
            svg(phone)
        )?,
        None => writeln!(out, "<figure{width}>\n{drawing}")?,
    }
    if !figure.caption.is_empty() {
        writeln!(out, "<figcaption>{}</figcaption>", glued(&figure.caption))?;
    }
    writeln!(out, "</figure>")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_keep_their_units() {
        assert_eq!(
            glued("1439.3 L of UAN 28 (64.7 kg N/ha), 95 % limits, at 12.0 m <b>"),
            "1439.3\u{a0}L of UAN 28 (64.7\u{a0}kg\u{a0}N/ha), 95\u{a0}% limits, at 12.0\u{a0}m &lt;b&gt;"
        );
        assert_eq!(glued("zone 3 later"), "zone 3 later");
        assert_eq!(
            glued("of 2026-04-14, \u{e9}"),
            "of <span class=\"date\">2026-04-14</span>, \u{e9}"
        );
    }
}
