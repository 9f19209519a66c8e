//! The two fonts of the paper, and how wide text is in them.
//!
//! Noto Sans, SIL Open Font License 1.1, cut down to Latin, Greek, Cyrillic and the signs of the trade; the licence lies beside the files.

use std::collections::BTreeMap;

use krilla::text::{Font, GlyphId, KrillaGlyph};
use ttf_parser::Face;

use crate::report::draw::svg::plain;

/// Regular weight.
pub(crate) const REGULAR: &[u8] = include_bytes!("../fonts/NotoSans-Regular.ttf");
/// Bold weight.
pub(crate) const BOLD: &[u8] = include_bytes!("../fonts/NotoSans-Bold.ttf");

/// A letter's drawing and how far it moves the pen, in parts of the font's size.
#[derive(Clone, Copy)]
struct Letter {
    glyph: GlyphId,
    advance: f64,
}

/// A font that text is set in, letter by letter: the scripts that it holds need no joining, and what is measured is what is painted.
pub(super) struct Type {
    letters: BTreeMap<char, Letter>,
    font: Font,
}

impl Type {
    fn new(bytes: &'static [u8]) -> Option<Self> {
        let face = Face::parse(bytes, 0).ok()?;
        let mut letters = BTreeMap::new();
        for table in face
            .tables()
            .cmap?
            .subtables
            .into_iter()
            .filter(ttf_parser::cmap::Subtable::is_unicode)
        {
            table.codepoints(|code| {
                let found = char::from_u32(code).and_then(|c| Some((c, table.glyph_index(code)?)));
                if let Some((c, glyph)) = found {
                    let advance = f64::from(face.glyph_hor_advance(glyph).unwrap_or(0))
                        / f64::from(face.units_per_em());
                    letters.entry(c).or_insert(Letter {
                        glyph: GlyphId::new(u32::from(glyph.0)),
                        advance,
                    });
                }
            });
        }
        Some(Self {
            letters,
            font: Font::new(bytes.to_vec().into(), 0)?,
        })
    }
    /// Width of text. \[same unit as `size`\]
    pub(super) fn width(&self, text: &str, size: f64) -> f64 {
        text.chars()
            .filter_map(|c| self.letters.get(&c))
            .map(|letter| letter.advance)
            .sum::<f64>()
            * size
    }
    /// Text as letters side by side, for painting.
    pub(super) fn letters(&self, text: &str) -> Vec<KrillaGlyph> {
        let letter = |(at, c): (usize, char)| {
            let letter = self.letters.get(&c)?;
            Some(KrillaGlyph::new(
                letter.glyph,
                letter.advance as f32,
                0.0,
                0.0,
                0.0,
                at..at + c.len_utf8(),
                None,
            ))
        };
        text.char_indices().filter_map(letter).collect()
    }
    /// For painting.
    pub(super) fn font(&self) -> Font {
        self.font.clone()
    }
}

/// The fonts.
pub(super) struct Fonts {
    regular: Type,
    bold: Type,
}

impl Fonts {
    /// Both; `None` only if the files in the program were spoilt.
    pub(super) fn load() -> Option<Self> {
        Some(Self {
            regular: Type::new(REGULAR)?,
            bold: Type::new(BOLD)?,
        })
    }
    /// One of them.
    pub(super) const fn of(&self, bold: bool) -> &Type {
        if bold { &self.bold } else { &self.regular }
    }
    /// Text as the fonts can show it: a sign that they lack becomes a question mark.
    pub(super) fn shown(&self, text: &str) -> String {
        let has =
            |c: char| self.regular.letters.contains_key(&c) && self.bold.letters.contains_key(&c);
        let mut out = String::with_capacity(text.len());
        for c in plain(text).chars() {
            match c {
                c if has(c) => out.push(c),
                '−' => out.push('–'),
                '→' => out.push_str("->"),
                '←' => out.push_str("<-"),
                '≤' => out.push_str("<="),
                '≥' => out.push_str(">="),
                '√' => out.push_str("root of "),
                '∑' => out.push('Σ'),
                '⌊' | '⌈' => out.push('['),
                '⌋' | '⌉' => out.push(']'),
                _ => out.push('?'),
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signs_that_the_paper_uses_are_there() {
        let fonts = Fonts::load().unwrap();
        let signs = "−–…·×°²±≤≥µ€£$ÄßéłŐçñДмΩ“”’•→√∑";
        let lacking: Vec<char> = signs
            .chars()
            .filter(|c| fonts.shown(&c.to_string()) == "?")
            .collect();
        assert!(lacking.is_empty(), "{lacking:?}");
        assert_eq!(fonts.shown("田\u{202e}a"), "?\u{fffd}a");
        let english = include_str!("../text/en.ftl");
        let lacking: Vec<char> = english
            .chars()
            .filter(|c| *c != '?' && !c.is_control() && fonts.shown(&c.to_string()) == "?")
            .collect();
        assert!(lacking.is_empty(), "{lacking:?}");
    }

    #[test]
    fn digits_are_equally_wide() {
        let fonts = Fonts::load().unwrap();
        let width = |text: &str| fonts.of(false).width(text, 10.0);
        assert!(('0'..='9').all(|c| (width(&c.to_string()) - width("0")).abs() < 1e-9));
        assert!(fonts.of(true).width("m", 10.0) > width("m"));
    }
}
