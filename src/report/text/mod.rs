//! Every word of the paper in one place, by name. English is shipped; another language is another file of the same names.

use fluent_bundle::{FluentArgs, FluentBundle, FluentResource, FluentValue};

/// The English words.
const ENGLISH: &str = include_str!("en.ftl");

/// Words of one language.
pub(crate) struct Text {
    bundle: FluentBundle<FluentResource>,
}

impl std::fmt::Debug for Text {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Text(en)")
    }
}

impl Text {
    pub(crate) fn english() -> Self {
        let mut bundle = FluentBundle::new(vec!["en".parse().unwrap_or_default()]);
        // Marks around every value would stand in the way of searching; values lose characters that turn the direction of writing where they are printed.
        bundle.set_use_isolating(false);
        // A fault in the file leaves out the words that it spoils; a test reads all of them.
        let resource =
            FluentResource::try_new(ENGLISH.to_owned()).unwrap_or_else(|(resource, _)| resource);
        let _ = bundle.add_resource(resource);
        Self { bundle }
    }

    /// Language of the words, as RFC 5646 writes it.
    pub(crate) const LANGUAGE: &'static str = "en";

    /// The words of this name.
    pub(crate) fn say(&self, name: &str) -> String {
        self.with(name, &[])
    }

    /// The words of this name with values put in. Numbers are formatted by whoever calls.
    pub(crate) fn with(&self, name: &str, values: &[(&str, &str)]) -> String {
        let Some(pattern) = self
            .bundle
            .get_message(name)
            .and_then(|message| message.value())
        else {
            return format!("[{name}]");
        };
        let mut args = FluentArgs::new();
        for (key, value) in values {
            args.set(*key, FluentValue::from(*value));
        }
        let mut errors = Vec::new();
        self.bundle
            .format_pattern(pattern, Some(&args), &mut errors)
            .into_owned()
    }

    /// Whether there are words of this name.
    #[cfg(test)]
    pub(crate) fn knows(&self, name: &str) -> bool {
        self.bundle.has_message(name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    fn sources(folder: &Path, found: &mut Vec<(String, String)>) {
        for entry in fs_err::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                sources(&path, found);
            } else if path.extension().is_some_and(|end| end == "rs") {
                found.push((
                    path.display().to_string(),
                    fs_err::read_to_string(&path).unwrap(),
                ));
            }
        }
    }

    fn names() -> Vec<&'static str> {
        ENGLISH
            .lines()
            .filter(|line| !line.starts_with([' ', '#', '}']))
            .filter_map(|line| line.split_once(" =").map(|(name, _)| name))
            .collect()
    }

    #[test]
    fn the_file_has_no_fault() {
        assert!(FluentResource::try_new(ENGLISH.to_owned()).is_ok());
        let mut once = names();
        once.sort_unstable();
        once.dedup();
        assert_eq!(once.len(), names().len(), "a name stands twice");
    }

    /// Every name that the sources ask for has words, and every word is asked for.
    #[test]
    fn names_and_words_match() {
        let mut files = Vec::new();
        for folder in ["src/report", "src/app"] {
            sources(
                &Path::new(env!("CARGO_MANIFEST_DIR")).join(folder),
                &mut files,
            );
        }
        let unused: Vec<&str> = names()
            .into_iter()
            .filter(|name| {
                !files
                    .iter()
                    .any(|(_, text)| text.contains(&format!("\"{name}\"")))
            })
            .collect();
        assert!(unused.is_empty(), "nobody asks for {unused:?}");
        let text = Text::english();
        for (file, source) in files
            .iter()
            .filter(|(file, _)| !file.ends_with("text/mod.rs"))
        {
            for call in ["text.say(\"", "text.with(\"", "say(\""] {
                for part in source.split(call).skip(1) {
                    let name = part.split('"').next().unwrap();
                    assert!(text.knows(name), "{file} asks for {name:?}");
                }
            }
        }
    }

    #[test]
    fn values_are_put_in() {
        let text = Text::english();
        assert_eq!(text.with("map-strip", &[("number", "2")]), "S2");
        assert_eq!(text.say("no such name"), "[no such name]");
    }
}
