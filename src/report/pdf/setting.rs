//! Setting text: runs of different looks broken into lines.

use super::fonts::Fonts;
use crate::map::palette::Colour;

/// How a run of text looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Look {
    /// Size. \[pt\]
    pub(super) size: f64,
    /// Whether it is bold.
    pub(super) bold: bool,
    /// Its colour.
    pub(super) colour: Colour,
}

/// Text of one look.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Run {
    /// The text.
    pub(super) text: String,
    /// Its look.
    pub(super) look: Look,
}

/// Text of one look at its place in a line.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Span {
    /// From the line's left end. \[pt\]
    pub(super) x: f64,
    /// The text.
    pub(super) text: String,
    /// Its look.
    pub(super) look: Look,
}

/// One line.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Line {
    /// What stands in it.
    pub(super) spans: Vec<Span>,
    /// How wide it is. \[pt\]
    pub(super) width: f64,
    /// Largest size in it. \[pt\]
    pub(super) size: f64,
}

impl Line {
    /// Space that it takes from the line before. \[pt\]
    pub(super) fn height(&self) -> f64 {
        self.size * 1.32
    }
}

/// A word and whether a space stands before it.
struct Word<'a> {
    text: &'a str,
    spaced: bool,
    look: Look,
}

/// Breaks runs into lines of at most this width; a word that is wider than a line is broken where it must be.
pub(super) fn lines(fonts: &Fonts, runs: &[Run], width: f64) -> Vec<Line> {
    let shown: Vec<Run> = runs
        .iter()
        .map(|run| Run {
            text: fonts.shown(&run.text),
            look: run.look,
        })
        .collect();
    let mut words = Vec::new();
    for run in &shown {
        for (k, text) in run.text.split(' ').enumerate() {
            words.push(Word {
                text,
                spaced: k > 0,
                look: run.look,
            });
        }
    }
    let mut setter = Setter {
        fonts,
        width,
        lines: Vec::new(),
        line: Line::default(),
    };
    for word in words {
        setter.word(&word);
    }
    let last = setter.line;
    setter.lines.push(last);
    setter.lines
}

struct Setter<'a> {
    fonts: &'a Fonts,
    width: f64,
    lines: Vec<Line>,
    line: Line,
}

impl Setter<'_> {
    fn put(&mut self, text: &str, look: Look) {
        self.line.size = self.line.size.max(look.size);
        let width = self.fonts.of(look.bold).width(text, look.size);
        match self.line.spans.last_mut() {
            Some(span) if span.look == look => span.text.push_str(text),
            _ => self.line.spans.push(Span {
                x: self.line.width,
                text: text.to_owned(),
                look,
            }),
        }
        self.line.width += width;
    }
    fn next_line(&mut self, look: Look) {
        let fresh = Line {
            size: look.size,
            ..Line::default()
        };
        self.lines.push(std::mem::replace(&mut self.line, fresh));
    }
    fn word(&mut self, word: &Word<'_>) {
        let face = self.fonts.of(word.look.bold);
        let space = if word.spaced && !self.line.spans.is_empty() {
            face.width(" ", word.look.size)
        } else {
            0.0
        };
        let width = face.width(word.text, word.look.size);
        if self.line.width + space + width <= self.width + 1e-6 {
            if space > 0.0 {
                self.put(" ", word.look);
            }
            self.put(word.text, word.look);
            return;
        }
        if word.spaced && !self.line.spans.is_empty() && width <= self.width {
            self.next_line(word.look);
            self.put(word.text, word.look);
            return;
        }
        // Wider than a line, or glued to what stands before: broken between letters.
        if word.spaced && !self.line.spans.is_empty() {
            self.next_line(word.look);
        }
        for c in word.text.chars() {
            let letter = c.to_string();
            if self.line.width + face.width(&letter, word.look.size) > self.width
                && self.line.width > 0.0
            {
                self.next_line(word.look);
            }
            self.put(&letter, word.look);
        }
    }
}

/// Widths of the widest line and of the widest word of a text. \[pt\]
pub(super) fn natural_and_minimum(fonts: &Fonts, text: &str, look: Look) -> (f64, f64) {
    let text = fonts.shown(text);
    let face = fonts.of(look.bold);
    let minimum = text
        .split(' ')
        .map(|word| face.width(word, look.size))
        .fold(0.0, f64::max);
    (face.width(&text, look.size), minimum)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::palette::INK;

    const LOOK: Look = Look {
        size: 10.0,
        bold: false,
        colour: INK,
    };

    fn texts(text: &str, width: f64) -> Vec<String> {
        let fonts = Fonts::load().unwrap();
        let found = lines(
            &fonts,
            &[Run {
                text: text.to_owned(),
                look: LOOK,
            }],
            width,
        );
        for line in &found {
            assert!(line.width <= width + 1e-6, "{line:?}");
        }
        found
            .into_iter()
            .map(|line| {
                line.spans
                    .into_iter()
                    .map(|span| span.text)
                    .collect::<String>()
            })
            .collect()
    }

    #[test]
    fn words_stay_whole_where_they_can() {
        assert_eq!(texts("one two three", 45.0), ["one two", "three"]);
        assert_eq!(texts("", 45.0), [""]);
        let broken = texts("0123456789abcdef0123456789abcdef", 60.0);
        assert!(broken.len() > 2);
        assert_eq!(broken.concat(), "0123456789abcdef0123456789abcdef");
    }

    #[test]
    fn looks_meet_in_one_line() {
        let fonts = Fonts::load().unwrap();
        let bold = Look { bold: true, ..LOOK };
        let found = lines(
            &fonts,
            &[
                Run {
                    text: "Note:".to_owned(),
                    look: bold,
                },
                Run {
                    text: " all is well".to_owned(),
                    look: LOOK,
                },
            ],
            200.0,
        );
        assert_eq!(found.len(), 1);
        assert_eq!(
            found[0]
                .spans
                .iter()
                .map(|span| span.text.as_str())
                .collect::<Vec<_>>(),
            ["Note:", " all is well"]
        );
        assert!((found[0].spans[1].x - fonts.of(true).width("Note:", 10.0)).abs() < 1e-9);
    }
}
