//! GPX 1.1: waypoints for a phone or a handheld receiver.
//!
//! # Source
//! GPX 1.1 schema of 2004 (element names and order from memory; the schema itself checks them in `tests/interop` where it can be had).

use std::fmt::Write as _;

use crate::format::payload::Payload;
use jiff::Timestamp;

/// A place with a name and what to do there.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Waypoint {
    /// Longitude on WGS 84. \[°\]
    pub longitude: f64,
    /// Latitude on WGS 84. \[°\]
    pub latitude: f64,
    /// Short name, as a receiver shows it.
    pub name: String,
    /// What to look for.
    pub description: String,
}

/// Text as XML holds it; characters that XML 1.0 cannot hold become U+FFFD.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c if c.is_control()
                || matches!(c, '\u{fffe}' | '\u{ffff}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}') =>
            {
                out.push('\u{fffd}');
            }
            c => out.push(c),
        }
    }
    out
}

/// The file. `instant` stands as its time, so that the same input gives the same bytes.
pub(crate) fn write(path: &str, title: &str, points: &[Waypoint], instant: Timestamp) -> Payload {
    let mut out = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<gpx version=\"1.1\" creator=\"haulm\" xmlns=\"http://www.topografix.com/GPX/1/1\">\n",
    );
    let _ = writeln!(
        out,
        "  <metadata>\n    <name>{}</name>\n    <time>{instant}</time>\n  </metadata>",
        escaped(title)
    );
    for point in points {
        let _ = writeln!(
            out,
            "  <wpt lat=\"{:.7}\" lon=\"{:.7}\">\n    <name>{}</name>\n    <desc>{}</desc>\n  </wpt>",
            point.latitude,
            point.longitude,
            escaped(&point.name),
            escaped(&point.description)
        );
    }
    out.push_str("</gpx>\n");
    Payload::new(path, out.into_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_come_back_by_an_xml_reader() {
        let point = Waypoint {
            longitude: 14.25,
            latitude: -49.5,
            name: "S1 <a>".to_owned(),
            description: "look & see\u{1b}".to_owned(),
        };
        let file = write(
            "office/scouting.gpx",
            "Long \"Ley\"",
            &[point],
            Timestamp::UNIX_EPOCH,
        );
        let text = String::from_utf8(file.bytes).unwrap();
        let mut reader = quick_xml::Reader::from_str(&text);
        let (mut names, mut place) = (Vec::new(), String::new());
        loop {
            match reader.read_event().unwrap() {
                quick_xml::events::Event::Start(tag) => {
                    names.push(tag.name().as_ref().to_owned());
                    if tag.name().as_ref() == "wpt" {
                        place = tag
                            .attributes()
                            .map(|a| a.unwrap().value.to_string())
                            .collect::<Vec<_>>()
                            .join(" ");
                    }
                }
                quick_xml::events::Event::Eof => break,
                _ => {}
            }
        }
        assert_eq!(
            names,
            ["gpx", "metadata", "name", "time", "wpt", "name", "desc"]
        );
        assert_eq!(place, "-49.5000000 14.2500000");
        assert!(
            text.contains("S1 &lt;a&gt;")
                && text.contains("look &amp; see\u{fffd}")
                && text.contains("1970-01-01T00:00:00Z")
        );
    }
}
