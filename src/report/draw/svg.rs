//! A writer of SVG text. Whatever comes from data is escaped here, once, so that no text can become code.

use std::fmt::Write as _;

/// Fonts of all figures; the first is embedded in PDF and PNG.
pub const FONTS: &str = "Noto Sans, Helvetica, Arial, sans-serif";
/// Ink of text and lines.
pub const INK: &str = "#1a1a1a";

/// Text as it may stand in XML and HTML, between tags and in quoted attributes.
///
/// Control characters and those that turn the direction of writing become U+FFFD: they mean nothing on paper and can make a line read as something else.
pub fn escaped(text: &str) -> String {
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
pub fn plain(text: &str) -> String {
    let hidden = |c: char| {
        c.is_control() || matches!(c, '\u{061c}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffc}')
    };
    text.chars().map(|c| if c == '\n' || c == '\t' { ' ' } else if hidden(c) { '\u{fffd}' } else { c }).collect()
}

/// A number of the drawing: two decimals at most, no trailing zeros, no minus zero.
pub fn num(value: f64) -> String {
    let mut text = format!("{value:.2}");
    if text.contains('.') {
        let kept = text.trim_end_matches('0').trim_end_matches('.').len();
        text.truncate(kept);
    }
    if text == "-0" { "0".to_owned() } else { text }
}

/// Where text begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// At the point.
    Start,
    /// Around the point.
    Middle,
    /// Ends at the point.
    End,
}

/// How text looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TextStyle<'a> {
    /// Size in drawing units.
    pub size: f64,
    /// Where it begins.
    pub anchor: Anchor,
    /// Whether it is bold.
    pub bold: bool,
    /// Its colour.
    pub fill: &'a str,
    /// A halo of this colour, so that it can be read on any ground.
    pub halo: Option<&'a str>,
    /// Turned by this many degrees, clockwise.
    pub turn: f64,
}

impl Default for TextStyle<'_> {
    fn default() -> Self {
        Self { size: 11.0, anchor: Anchor::Start, bold: false, fill: INK, halo: None, turn: 0.0 }
    }
}

/// A drawing that grows by elements.
#[derive(Clone, Debug, Default)]
pub struct Svg {
    width: f64,
    height: f64,
    defs: String,
    body: String,
}

impl Svg {
    /// An empty white drawing of this size, in drawing units (a quarter of a millimetre on paper at full width).
    pub fn new(width: f64, height: f64) -> Self {
        let mut svg = Self { width, height, ..Self::default() };
        svg.rect(0.0, 0.0, width, height, "fill=\"#fff\"");
        svg
    }
    /// Its width.
    pub const fn width(&self) -> f64 {
        self.width
    }
    /// Its height.
    pub const fn height(&self) -> f64 {
        self.height
    }
    /// Adds to the definitions: patterns, clips.
    pub fn define(&mut self, text: &str) {
        self.defs.push_str(text);
    }
    /// Adds an element that is already SVG.
    pub fn raw(&mut self, text: &str) {
        self.body.push_str(text);
        self.body.push('\n');
    }
    /// A rectangle with these attributes.
    pub fn rect(&mut self, x: f64, y: f64, width: f64, height: f64, attributes: &str) {
        let _ = writeln!(self.body, "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" {attributes}/>", num(x), num(y), num(width), num(height));
    }
    /// A straight line.
    pub fn line(&mut self, a: (f64, f64), b: (f64, f64), attributes: &str) {
        let _ = writeln!(self.body, "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" {attributes}/>", num(a.0), num(a.1), num(b.0), num(b.1));
    }
    /// A circle.
    pub fn circle(&mut self, at: (f64, f64), radius: f64, attributes: &str) {
        let _ = writeln!(self.body, "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" {attributes}/>", num(at.0), num(at.1), num(radius));
    }
    /// A path.
    pub fn path(&mut self, data: &str, attributes: &str) {
        if !data.is_empty() {
            let _ = writeln!(self.body, "<path d=\"{data}\" {attributes}/>");
        }
    }
    /// A line of text; `text` may come from data.
    pub fn text(&mut self, at: (f64, f64), text: &str, style: &TextStyle<'_>) {
        let anchor = match style.anchor {
            Anchor::Start => "",
            Anchor::Middle => " text-anchor=\"middle\"",
            Anchor::End => " text-anchor=\"end\"",
        };
        let weight = if style.bold { " font-weight=\"bold\"" } else { "" };
        let halo = style
            .halo
            .map_or_else(String::new, |colour| format!(" stroke=\"{colour}\" stroke-width=\"{}\" stroke-linejoin=\"round\" paint-order=\"stroke\"", num(style.size * 0.3)));
        let turn = if style.turn == 0.0 { String::new() } else { format!(" transform=\"rotate({} {} {})\"", num(style.turn), num(at.0), num(at.1)) };
        let (x, y, size, fill) = (num(at.0), num(at.1), num(style.size), style.fill);
        let _ = writeln!(self.body, "<text x=\"{x}\" y=\"{y}\" font-size=\"{size}\" fill=\"{fill}\"{anchor}{weight}{halo}{turn}>{}</text>", escaped(text));
    }
    /// The whole drawing as it is put into a page: no XML declaration, a title for those who cannot see it. `id` keeps patterns of several drawings apart.
    pub fn finish(&self, title: &str) -> String {
        let (w, h) = (num(self.width), num(self.height));
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" viewBox=\"0 0 {w} {h}\" width=\"{w}\" height=\"{h}\" role=\"img\" font-family=\"{FONTS}\">\n<title>{}</title>\n<defs>{}</defs>\n{}</svg>\n",
            escaped(title),
            self.defs,
            self.body
        )
    }
}

/// Path data of a chain of points.
pub fn path_of(points: impl IntoIterator<Item = (f64, f64)>, closed: bool) -> String {
    let mut data = String::new();
    for (k, (x, y)) in points.into_iter().enumerate() {
        let _ = write!(data, "{}{} {}", if k == 0 { "M" } else { "L" }, num(x), num(y));
    }
    if closed && !data.is_empty() {
        data.push('Z');
    }
    data
}

/// Width that a text takes, roughly: enough to keep labels apart, never to cut them.
pub fn rough_width(text: &str, size: f64) -> f64 {
    text.chars().map(|c| if matches!(c, 'i' | 'l' | '.' | ',' | ':' | '/' | ' ' | '|' | 'j' | 't' | 'f' | 'r' | '(' | ')') { 0.33 } else if c.is_uppercase() || c == 'm' || c == 'w' { 0.72 } else { 0.57 }).sum::<f64>() * size
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn data_cannot_become_code() {
        let mut svg = Svg::new(10.0, 10.0);
        svg.text((1.0, 1.0), "</text><script>alert('x')</script>\u{202e}\u{1b}[31m", &TextStyle::default());
        let text = svg.finish("\"><script>");
        assert!(!text.contains("<script") && !text.contains('\u{1b}') && !text.contains('\u{202e}'), "{text}");
        assert!(text.contains("&lt;/text&gt;&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt;\u{fffd}\u{fffd}[31m"), "{text}");
    }

    #[test]
    fn numbers_are_short() {
        assert_eq!([num(1.0), num(-0.001), num(12.345), num(100.0), num(0.5)], ["1", "0", "12.35", "100", "0.5"]);
        assert_eq!(path_of([(0.0, 0.0), (1.5, 2.0)], true), "M0 0L1.5 2Z");
    }
}
