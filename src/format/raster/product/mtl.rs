//! The metadata file of a Landsat scene, `_MTL.txt`, `.json` or `.xml`: the same groups of keys and values in three spellings.
//!
//! Groups matter: Level-2 products carry the Level-1 record too, with the same names of keys and other numbers.

/// Metadata of a scene: group, key and value of each entry, in order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Metadata(Vec<(String, String, String)>);

/// Endings, in the order in which one of several files is chosen: they say the same.
pub(super) const ENDINGS: [&str; 3] = ["txt", "json", "xml"];

impl Metadata {
    /// Reads a text; `ending` says in which spelling.
    pub(super) fn read(text: &str, ending: &str) -> Result<Self, String> {
        let mut all = Self::default();
        match ending.to_ascii_lowercase().as_str() {
            "json" => {
                let tree: serde_json::Value =
                    serde_json::from_str(text).map_err(|error| error.to_string())?;
                all.take_json("", &tree);
            }
            "xml" => {
                let document =
                    roxmltree::Document::parse(text).map_err(|error| error.to_string())?;
                for node in document.descendants().filter(|node| {
                    node.is_element() && !node.children().any(|child| child.is_element())
                }) {
                    let group = node
                        .parent_element()
                        .map_or("", |group| group.tag_name().name());
                    all.push(
                        group,
                        node.tag_name().name(),
                        node.text().unwrap_or_default(),
                    );
                }
            }
            _ => all.take_lines(text)?,
        }
        if all.0.is_empty() {
            Err("it holds no keys and values".to_owned())
        } else {
            Ok(all)
        }
    }

    fn push(&mut self, group: &str, key: &str, value: &str) {
        self.0.push((
            group.to_owned(),
            key.to_owned(),
            value.trim().trim_matches('"').to_owned(),
        ));
    }

    fn take_json(&mut self, group: &str, tree: &serde_json::Value) {
        let serde_json::Value::Object(entries) = tree else {
            return;
        };
        for (key, value) in entries {
            match value {
                serde_json::Value::Object(_) => self.take_json(key, value),
                serde_json::Value::String(text) => self.push(group, key, text),
                other => self.push(group, key, &other.to_string()),
            }
        }
    }

    /// `GROUP = NAME`, `KEY = VALUE`, `END_GROUP = NAME`, `END`.
    fn take_lines(&mut self, text: &str) -> Result<(), String> {
        let mut groups: Vec<&str> = Vec::new();
        for (number, line) in text.lines().enumerate() {
            let line =
                line.trim_matches(|c: char| c.is_whitespace() || c == '\u{feff}' || c == '\0');
            if line == "END" {
                break;
            }
            if line.is_empty() {
                continue;
            }
            let (key, value) = line
                .split_once('=')
                .ok_or_else(|| format!("line {} is no key = value: {line:?}", number + 1))?;
            let (key, value) = (key.trim(), value.trim());
            match key {
                "GROUP" => groups.push(value),
                "END_GROUP" => {
                    if groups.pop() != Some(value) {
                        return Err(format!(
                            "line {} ends the group {value}, which is not the open one",
                            number + 1
                        ));
                    }
                }
                _ => self.push(groups.last().copied().unwrap_or_default(), key, value),
            }
        }
        Ok(())
    }

    /// The value of a key in a group.
    pub(super) fn text(&self, group: &str, key: &str) -> Option<&str> {
        self.0
            .iter()
            .find(|(in_group, own, _)| in_group == group && own == key)
            .map(|(_, _, value)| value.as_str())
    }

    /// The number of a key in a group; what is there and is no number is an error.
    pub(super) fn number(&self, group: &str, key: &str) -> Result<Option<f64>, String> {
        let Some(text) = self.text(group, key) else {
            return Ok(None);
        };
        let number: Option<f64> = text.parse().ok().filter(|number: &f64| number.is_finite());
        number
            .map(Some)
            .ok_or_else(|| format!("{key} of {group} is no number: {text:?}"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "GROUP = LANDSAT_METADATA_FILE\n  GROUP = PRODUCT_CONTENTS\n    COLLECTION_NUMBER = 02\n  END_GROUP = PRODUCT_CONTENTS\n  GROUP = LEVEL2_SURFACE_REFLECTANCE_PARAMETERS\n    REFLECTANCE_MULT_BAND_4 = 2.75e-05\n  END_GROUP = LEVEL2_SURFACE_REFLECTANCE_PARAMETERS\n  GROUP = LEVEL1_RADIOMETRIC_RESCALING\n    REFLECTANCE_MULT_BAND_4 = 2.0000E-05\n    NAME = \"a = b\"\n  END_GROUP = LEVEL1_RADIOMETRIC_RESCALING\nEND_GROUP = LANDSAT_METADATA_FILE\nEND\n\0\0";
    const JSON: &str = r#"{"LANDSAT_METADATA_FILE": {"PRODUCT_CONTENTS": {"COLLECTION_NUMBER": "02"}, "LEVEL2_SURFACE_REFLECTANCE_PARAMETERS": {"REFLECTANCE_MULT_BAND_4": "2.75e-05"}, "LEVEL1_RADIOMETRIC_RESCALING": {"REFLECTANCE_MULT_BAND_4": 2.0e-05, "NAME": "a = b"}}}"#;
    const XML: &str = "<?xml version=\"1.0\"?><LANDSAT_METADATA_FILE><PRODUCT_CONTENTS><COLLECTION_NUMBER>02</COLLECTION_NUMBER></PRODUCT_CONTENTS><LEVEL2_SURFACE_REFLECTANCE_PARAMETERS><REFLECTANCE_MULT_BAND_4>2.75e-05</REFLECTANCE_MULT_BAND_4></LEVEL2_SURFACE_REFLECTANCE_PARAMETERS><LEVEL1_RADIOMETRIC_RESCALING><REFLECTANCE_MULT_BAND_4>2.0000E-05</REFLECTANCE_MULT_BAND_4><NAME>a = b</NAME></LEVEL1_RADIOMETRIC_RESCALING></LANDSAT_METADATA_FILE>";

    #[test]
    fn three_spellings_say_the_same_and_groups_tell_keys_apart() {
        for (text, ending) in [(TEXT, "txt"), (JSON, "json"), (XML, "XML")] {
            let read = Metadata::read(text, ending).unwrap();
            assert_eq!(
                read.text("PRODUCT_CONTENTS", "COLLECTION_NUMBER"),
                Some("02"),
                "{ending}"
            );
            assert_eq!(
                read.number(
                    "LEVEL2_SURFACE_REFLECTANCE_PARAMETERS",
                    "REFLECTANCE_MULT_BAND_4"
                ),
                Ok(Some(0.000_027_5)),
                "{ending}"
            );
            assert_eq!(
                read.number("LEVEL1_RADIOMETRIC_RESCALING", "REFLECTANCE_MULT_BAND_4"),
                Ok(Some(0.000_02)),
                "{ending}"
            );
            assert_eq!(
                read.text("LEVEL1_RADIOMETRIC_RESCALING", "NAME"),
                Some("a = b"),
                "{ending}"
            );
            assert_eq!(
                read.number("PRODUCT_CONTENTS", "REFLECTANCE_MULT_BAND_4"),
                Ok(None),
                "{ending}"
            );
            assert!(
                read.number("LEVEL1_RADIOMETRIC_RESCALING", "NAME")
                    .unwrap_err()
                    .contains("a = b"),
                "{ending}"
            );
        }
    }

    #[test]
    fn what_is_no_metadata_is_an_error() {
        for (text, ending) in [
            ("", "txt"),
            ("just words", "txt"),
            ("GROUP = A\nEND_GROUP = B\n", "txt"),
            ("{", "json"),
            ("[]", "json"),
            ("<a><b></a>", "xml"),
            (
                "<!DOCTYPE a [<!ENTITY x SYSTEM \"file:///etc/hostname\">]><a><b>&x;</b></a>",
                "xml",
            ),
        ] {
            assert!(Metadata::read(text, ending).is_err(), "{text:?}");
        }
    }

    proptest::proptest! {
        #[test]
        fn cut_or_torn_texts_never_panic(cut in 0_usize..600, torn in 0_usize..600, put in proptest::num::u8::ANY) {
            for (text, ending) in [(TEXT, "txt"), (JSON, "json"), (XML, "xml")] {
                let mut bytes = text.as_bytes().to_vec();
                if let Some(byte) = bytes.get_mut(torn) {
                    *byte = put;
                }
                bytes.truncate(bytes.len().saturating_sub(cut));
                let _ = Metadata::read(&String::from_utf8_lossy(&bytes), ending);
            }
        }
    }
}
