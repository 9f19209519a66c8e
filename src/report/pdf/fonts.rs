//! The two fonts of the paper, and how wide text is in them.
//!
//! Noto Sans, SIL Open Font License 1.1, cut down to Latin, Greek, Cyrillic and the signs of the trade; the licence lies beside the files.

use krilla::text::Font;
use ttf_parser::Face;

use crate::report::draw::svg::plain;

/// Regular weight.
pub(crate) const REGULAR: &[u8] = include_bytes!("../fonts/NotoSans-Regular.ttf");
/// Bold weight.
pub(crate) const BOLD: &[u8] = include_bytes!("../fonts/NotoSans-Bold.ttf");

/// A font that text is set in.
pub(super) struct Type {
    face: Face<'static>,
    /// For painting.
    pub(super) font: Font,
}

impl Type {
    fn new(bytes: &'static [u8]) -> Option<Self> {
        Some(Self { face: Face::parse(bytes, 0).ok()?, font: Font::new(bytes.to_vec().into(), 0)? })
    }
    fn advance(&self, c: char) -> f64 {
        let glyph = self.face.glyph_index(c).and_then(|glyph| self.face.glyph_hor_advance(glyph));
        f64::from(glyph.unwrap_or(0)) / f64::from(self.face.units_per_em())
    }
    /// Width of text. \[same unit as `size`\]
    pub(super) fn width(&self, text: &str, size: f64) -> f64 {
        text.chars().map(|c| self.advance(c)).sum::<f64>() * size
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
        Some(Self { regular: Type::new(REGULAR)?, bold: Type::new(BOLD)? })
    }
    /// One of them.
    pub(super) const fn of(&self, bold: bool) -> &Type {
        if bold { &self.bold } else { &self.regular }
    }
    /// Text as the fonts can show it: a sign that they lack becomes a question mark.
    pub(super) fn shown(&self, text: &str) -> String {
        let has = |c: char| self.regular.face.glyph_index(c).is_some() && self.bold.face.glyph_index(c).is_some();
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
        let lacking: Vec<char> = signs.chars().filter(|c| fonts.shown(&c.to_string()) == "?").collect();
        assert!(lacking.is_empty(), "{lacking:?}");
        assert_eq!(fonts.shown("田\u{202e}a"), "?\u{fffd}a");
        let english = include_str!("../text/en.ftl");
        let lacking: Vec<char> = english.chars().filter(|c| *c != '?' && !c.is_control() && fonts.shown(&c.to_string()) == "?").collect();
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
