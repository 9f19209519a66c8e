//! Strict reading of `GeoJSON` before GDAL sees it: GDAL's own reader takes numbers that are none, passes over what it does not understand, and follows the
//! address of a reference system.
//!
//! # Source
//! RFC 8259 (December 2017): the grammar. RFC 8142 (April 2017): sequences of records, each behind a record separator. `GeoJSON` of 2008, section 3: the member
//! `crs`, by name or by link.

use std::fmt;

use serde::de::{DeserializeSeed, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use serde_json::Value;

use crate::format::systems_text::system;

/// Before each record of a sequence.
const SEPARATOR: u8 = 0x1e;

/// What is wrong with a text.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum JsonFault {
    /// It is no JSON.
    Syntax(String),
    /// It states a reference system that is none.
    System(String),
}

/// The text without a byte order mark.
fn unmarked(text: &[u8]) -> &[u8] {
    text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text)
}

/// Whether a file begins like JSON: GDAL would look further, for text that is a program's.
pub(crate) fn begins_like_json(text: &[u8]) -> bool {
    unmarked(text)
        .iter()
        .find(|byte| !byte.is_ascii_whitespace() && **byte != SEPARATOR)
        .is_some_and(|byte| *byte == b'{')
}

/// Refuses text that is no JSON from end to end, or not a sequence of it, and a member `crs` that is no code and no text of a system.
pub(crate) fn check(text: &[u8]) -> Result<(), JsonFault> {
    let text = unmarked(text);
    if text.iter().find(|byte| !byte.is_ascii_whitespace()) == Some(&SEPARATOR) {
        return text
            .split(|byte| *byte == SEPARATOR)
            .filter(|record| !record.trim_ascii().is_empty())
            .try_for_each(one);
    }
    match one(text) {
        // Lines of one record each are a sequence, too.
        Err(JsonFault::Syntax(reason)) => {
            let mut lines = text
                .split(|byte| *byte == b'\n')
                .filter(|line| !line.trim_ascii().is_empty());
            let first = lines.next().map(one);
            if first != Some(Ok(())) {
                return Err(JsonFault::Syntax(reason));
            }
            lines.try_for_each(one)
        }
        done => done,
    }
}

fn one(text: &[u8]) -> Result<(), JsonFault> {
    let mut stated = Vec::new();
    let mut reader = serde_json::Deserializer::from_slice(text);
    let walk = Walk {
        stated: &mut stated,
        depth: 0,
        columns: false,
    };
    walk.deserialize(&mut reader)
        .and_then(|()| reader.end())
        .map_err(|error| JsonFault::Syntax(format!("it is no valid JSON: {error}")))?;
    let of_whole = stated.iter().find(|(depth, _)| *depth == 0);
    for (depth, value) in &stated {
        named(value)?;
        if *depth > 0 && !value.is_null() && of_whole.is_none_or(|(_, whole)| whole != value) {
            return Err(JsonFault::System(format!("{value}, in one feature alone")));
        }
    }
    Ok(())
}

/// Refuses a member `crs` that names no system by code or text.
fn named(value: &Value) -> Result<(), JsonFault> {
    if value.is_null() {
        return Ok(());
    }
    let refused = || {
        let wording = value.pointer("/properties/name").and_then(Value::as_str);
        JsonFault::System(wording.map_or_else(|| value.to_string(), str::to_owned))
    };
    let kind = value.get("type").and_then(Value::as_str);
    let property = |key: &str| value.get("properties").and_then(|all| all.get(key));
    let text = match kind.map(str::to_ascii_lowercase).as_deref() {
        Some("name") => property("name").and_then(Value::as_str).map(str::to_owned),
        Some("epsg") => property("code").map(|code| {
            let code = code
                .as_str()
                .map_or_else(|| code.to_string(), str::to_owned);
            format!("EPSG:{code}")
        }),
        _ => None,
    };
    match text {
        Some(text) if system(&text).is_ok() => Ok(()),
        _ => Err(refused()),
    }
}

/// Walks through a value, and keeps the members that GDAL may take for a reference system: called so in any letters, at any depth but among the columns.
struct Walk<'a> {
    stated: &'a mut Vec<(usize, Value)>,
    depth: usize,
    columns: bool,
}

impl<'de> DeserializeSeed<'de> for Walk<'_> {
    type Value = ();
    fn deserialize<D: Deserializer<'de>>(self, reader: D) -> Result<(), D::Error> {
        reader.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Walk<'_> {
    type Value = ();
    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }
    fn visit_bool<E: Error>(self, _: bool) -> Result<(), E> {
        Ok(())
    }
    fn visit_i64<E: Error>(self, _: i64) -> Result<(), E> {
        Ok(())
    }
    fn visit_u64<E: Error>(self, _: u64) -> Result<(), E> {
        Ok(())
    }
    fn visit_f64<E: Error>(self, _: f64) -> Result<(), E> {
        Ok(())
    }
    fn visit_str<E: Error>(self, _: &str) -> Result<(), E> {
        Ok(())
    }
    fn visit_unit<E: Error>(self) -> Result<(), E> {
        Ok(())
    }
    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<(), A::Error> {
        while items
            .next_element_seed(Walk {
                stated: &mut *self.stated,
                depth: self.depth + 1,
                columns: self.columns,
            })?
            .is_some()
        {}
        Ok(())
    }
    fn visit_map<A: MapAccess<'de>>(self, mut members: A) -> Result<(), A::Error> {
        while let Some(name) = members.next_key::<String>()? {
            if name.eq_ignore_ascii_case("crs") && !self.columns {
                self.stated.push((self.depth, members.next_value()?));
                continue;
            }
            members.next_value_seed(Walk {
                stated: &mut *self.stated,
                depth: self.depth + 1,
                columns: self.columns || name.eq_ignore_ascii_case("properties"),
            })?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn syntax(text: &str) -> bool {
        matches!(check(text.as_bytes()), Err(JsonFault::Syntax(_)))
    }

    #[test]
    fn numbers_that_are_none_and_what_is_no_json() {
        for text in [
            r#"{"a":15.579.363376}"#,
            r#"{"a":[15.5 48.1]}"#,
            r#"{"a":NaN}"#,
            r#"{"a":Infinity}"#,
            r#"{"a":01}"#,
            r#"{"a":1.}"#,
            r#"{"a":.5}"#,
            r#"{"a":+1}"#,
            r#"{"a":0x1f}"#,
            r#"{"a":1e999}"#,
            r#"{"a":1,}"#,
            r#"{"a":1} trailing"#,
            r#"{"a":1"#,
            r"{'a':1}",
            "{\"a\":1} /* why not */",
            "",
        ] {
            assert!(syntax(text), "{text}");
        }
        assert_eq!(
            check(b"\xef\xbb\xbf {\"a\":[1.5e-3,-0.0,\"\\u00e4\",null,true]}\r\n"),
            Ok(())
        );
    }

    #[test]
    fn sequences_are_read_record_by_record() {
        assert_eq!(check(b"{\"a\":1}\n{\"b\":2}\n\n"), Ok(()));
        assert_eq!(check(b"\x1e{\"a\":1}\n\x1e{\"b\":\n2}\n"), Ok(()));
        assert!(syntax("{\"a\":1}\n{\"b\":1.2.3}\n") && syntax("{\"a\":1}{\"b\":2}"));
    }

    #[test]
    fn a_system_is_a_code_or_a_text() {
        let of = |crs: &str| check(format!("{{\"crs\":{crs},\"features\":[]}}").as_bytes());
        for good in [
            "null",
            r#"{"type":"name","properties":{"name":"urn:ogc:def:crs:OGC:1.3:CRS84"}}"#,
            r#"{"type":"Name","properties":{"name":"EPSG:32633"}}"#,
            r#"{"type":"EPSG","properties":{"code":32633}}"#,
        ] {
            assert_eq!(of(good), Ok(()), "{good}");
        }
        for bad in [
            "1",
            "{}",
            r#"{"type":"link","properties":{"href":"http://host.invalid/a"}}"#,
            r#"{"type":"name","properties":{"name":"http://host.invalid/a"}}"#,
            r#"{"type":"name","properties":{"name":"EPSG:999999"}}"#,
        ] {
            assert!(matches!(of(bad), Err(JsonFault::System(_))), "{bad}");
        }
        // A column may be called so; a geometry has none of its own.
        assert_eq!(
            check(br#"{"properties":{"crs":"any","deep":{"CRS":1}}}"#),
            Ok(())
        );
        let own = r#"{"type":"name","properties":{"name":"EPSG:32633"}}"#;
        let text = format!("{{\"geometry\":{{\"Crs\":{own}}}}}");
        assert!(matches!(check(text.as_bytes()), Err(JsonFault::System(_))));
        let text = format!("{{\"crs\":{own},\"geometry\":{{\"crs\":{own}}}}}");
        assert_eq!(check(text.as_bytes()), Ok(()));
    }
}
