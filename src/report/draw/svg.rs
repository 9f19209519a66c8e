//! A drawing as SVG text. Whatever comes from data is escaped here, once, so that no text can become code.

use std::fmt::Write as _;

use crate::map::palette::{INK, PAPER};
use crate::report::draw::drawing::{Anchor, Drawing, Item, Paint, Rings, Style};
use crate::report::draw::hatch;
use crate::report::draw::hatch::Hatch;
use crate::report::draw::raster::png;

/// Fonts of all figures; the first is embedded in PDF and PNG.
const FONTS: &str = "Noto Sans, Helvetica, Arial, sans-serif";

/// Text as it may stand in XML and HTML, between tags and in quoted attributes.
///
/// Control characters and those that turn the direction of writing become U+FFFD: they mean nothing on paper and can make a line read as something else.
pub(crate) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in plain(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// Text without control characters and without those that turn the direction of writing.
pub(crate) fn plain(text: &str) -> String {
    let hidden = |c: char| {
        c.is_control()
            || matches!(c, '\u{061c}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffc}' | '\u{fffe}' | '\u{ffff}')
    };
    text.chars()
        .map(|c| {
            if matches!(c, '\n' | '\t') {
                ' '
            } else if hidden(c) {
                '\u{fffd}'
            } else {
                c
            }
        })
        .collect()
}

/// A number of the drawing: two decimals at most, no trailing zeros, no minus zero.
pub(crate) fn num(value: f64) -> String {
    let hundredths = libm::round(value * 100.0) as i64;
    let (whole, rest) = (
        hundredths.unsigned_abs() / 100,
        hundredths.unsigned_abs() % 100,
    );
    let sign = if hundredths < 0 { "-" } else { "" };
    match (rest / 10, rest % 10) {
        (0, 0) => format!("{sign}{whole}"),
        (tenths, 0) => format!("{sign}{whole}.{tenths}"),
        _ => format!("{sign}{whole}.{rest:02}"),
    }
}

/// The drawing as it is put into a page: no XML declaration, a title for those who cannot see it.
pub(crate) fn svg(drawing: &Drawing) -> String {
    let (w, h) = (num(drawing.width), num(drawing.height));
    let mut defs = String::new();
    for hatch in Hatch::ALL.into_iter().filter(|hatch| uses(drawing, *hatch)) {
        let _ = write!(
            defs,
            "<pattern id=\"{}-{}\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\">",
            drawing.name,
            hatch.name()
        );
        for item in hatch::tile(hatch) {
            write_item(&mut defs, drawing.name, &item, 0);
        }
        defs.push_str("</pattern>");
    }
    let mut body = String::new();
    for (number, item) in drawing.items.iter().enumerate() {
        if let Item::Clip(x, y, width, height) = item {
            let rect = format!(
                "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
                num(*x),
                num(*y),
                num(*width),
                num(*height)
            );
            let _ = write!(
                defs,
                "<clipPath id=\"{}-clip-{number}\">{rect}</clipPath>",
                drawing.name
            );
        }
        write_item(&mut body, drawing.name, item, number);
    }
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" viewBox=\"0 0 {w} {h}\" width=\"{w}\" height=\"{h}\" role=\"img\" font-family=\"{FONTS}\">\n<title>{}</title>\n<defs>{defs}</defs>\n{body}</svg>\n",
        escaped(&drawing.title)
    )
}

fn uses(drawing: &Drawing, hatch: Hatch) -> bool {
    let is_it = |style: &Style| style.fill == Some(Paint::Hatch(hatch));
    drawing.items.iter().any(|item| matches!(item, Item::Path { style, .. } | Item::Circle { style, .. } if is_it(style)))
}

fn attributes(name: &str, style: &Style, closed: bool) -> String {
    let mut out = match style.fill {
        Some(Paint::Colour(colour)) => format!("fill=\"{}\"", colour.hex()),
        Some(Paint::Veil) => format!("fill=\"{}\" fill-opacity=\"0.85\"", PAPER.hex()),
        Some(Paint::Hatch(hatch)) => format!("fill=\"url(#{name}-{})\"", hatch.name()),
        None => "fill=\"none\"".to_owned(),
    };
    if closed && style.fill.is_some() {
        out.push_str(" fill-rule=\"evenodd\"");
    }
    if let Some(stroke) = style.stroke {
        let _ = write!(
            out,
            " stroke=\"{}\" stroke-width=\"{}\" stroke-linejoin=\"round\"",
            stroke.colour.hex(),
            num(stroke.width)
        );
        if !stroke.dash.is_empty() {
            let _ = write!(
                out,
                " stroke-dasharray=\"{}\"",
                stroke
                    .dash
                    .iter()
                    .map(|part| num(*part))
                    .collect::<Vec<_>>()
                    .join(" ")
            );
        }
    }
    out
}

fn path_of(rings: &Rings, closed: bool) -> String {
    let mut data = String::new();
    for ring in rings {
        for (k, (x, y)) in ring.iter().enumerate() {
            let _ = write!(
                data,
                "{}{} {}",
                if k == 0 { "M" } else { "L" },
                num(*x),
                num(*y)
            );
        }
        if closed {
            data.push('Z');
        }
    }
    data
}

fn write_item(out: &mut String, name: &str, item: &Item, number: usize) {
    let _ = match item {
        Item::Path {
            rings,
            closed,
            style,
        } => writeln!(
            out,
            "<path d=\"{}\" {}/>",
            path_of(rings, *closed),
            attributes(name, style, *closed)
        ),
        Item::Circle { at, radius, style } => {
            writeln!(
                out,
                "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" {}/>",
                num(at.0),
                num(at.1),
                num(*radius),
                attributes(name, style, false)
            )
        }
        Item::Text { at, text, style } => {
            let anchor = match style.anchor {
                Anchor::Start => "",
                Anchor::Middle => " text-anchor=\"middle\"",
                Anchor::End => " text-anchor=\"end\"",
            };
            let weight = if style.bold {
                " font-weight=\"bold\""
            } else {
                ""
            };
            let halo = if style.halo {
                format!(
                    " stroke=\"{}\" stroke-width=\"{}\" stroke-linejoin=\"round\" paint-order=\"stroke\"",
                    PAPER.hex(),
                    num(style.size * 0.3)
                )
            } else {
                String::new()
            };
            let (x, y, size, fill) = (num(at.0), num(at.1), num(style.size), INK.hex());
            writeln!(
                out,
                "<text x=\"{x}\" y=\"{y}\" font-size=\"{size}\" fill=\"{fill}\"{anchor}{weight}{halo}>{}</text>",
                escaped(text)
            )
        }
        Item::Image { window, pixels } => {
            let data = png(pixels).map(|bytes| base64(&bytes)).unwrap_or_default();
            let (x, y, w, h) = (num(window.0), num(window.1), num(window.2), num(window.3));
            writeln!(
                out,
                "<image x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" preserveAspectRatio=\"none\" style=\"image-rendering:pixelated\" xlink:href=\"data:image/png;base64,{data}\"/>"
            )
        }
        Item::Clip(..) => writeln!(out, "<g clip-path=\"url(#{name}-clip-{number})\">"),
        Item::Turned(at, degrees) => writeln!(
            out,
            "<g transform=\"translate({} {}) rotate({})\">",
            num(at.0),
            num(at.1),
            num(*degrees)
        ),
        Item::End => writeln!(out, "</g>"),
    };
}

/// Base 64 as RFC 4648 writes it.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let word = three
            .iter()
            .fold(0_u32, |word, byte| (word << 8) | u32::from(*byte))
            << (8 * (3 - three.len()));
        for k in 0..4 {
            let letter = LETTERS[((word >> (18 - 6 * k)) & 63) as usize];
            text.push(if k <= three.len() {
                char::from(letter)
            } else {
                '='
            });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::draw::drawing::TextStyle;

    #[test]
    fn data_cannot_become_code() {
        let mut drawing = Drawing::new("test", 10.0, 10.0);
        drawing.text(
            (1.0, 1.0),
            "</text><script>alert('x')</script>\u{202e}\u{1b}[31m",
            TextStyle::default(),
        );
        drawing.title = "\"><script>".to_owned();
        let text = svg(&drawing);
        assert!(
            !text.contains("<script") && !text.contains('\u{1b}') && !text.contains('\u{202e}'),
            "{text}"
        );
        assert!(
            text.contains(
                "&lt;/text&gt;&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt;\u{fffd}\u{fffd}[31m"
            ),
            "{text}"
        );
    }

    #[test]
    fn numbers_are_short() {
        let shown = [1.0, -0.001, 12.345, 100.0, 0.5, 2.05, -0.25, -7.999, 1e6].map(num);
        assert_eq!(
            shown,
            [
                "1", "0", "12.35", "100", "0.5", "2.05", "-0.25", "-8", "1000000"
            ]
        );
        assert_eq!(
            path_of(&vec![vec![(0.0, 0.0), (1.5, 2.0)]], true),
            "M0 0L1.5 2Z"
        );
    }

    #[test]
    fn base_64_of_the_standard() {
        // Test vectors of RFC 4648, section 10.
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn only_hatches_that_are_used_are_defined() {
        let mut drawing = Drawing::new("test", 10.0, 10.0);
        drawing.rect(0.0, 0.0, 5.0, 5.0, Style::hatched(Hatch::Bare));
        let text = svg(&drawing);
        assert!(
            text.contains("id=\"test-bare\"")
                && text.contains("fill=\"url(#test-bare)\"")
                && !text.contains("test-thin")
        );
    }
}
