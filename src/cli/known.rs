//! Names that completions offer for products, crops, curves, indices and methods; any other text is taken too, and judged where it is used.

use std::ffi::OsStr;

use clap::builder::{PossibleValue, StringValueParser, TypedValueParser};

use crate::app::api::names;

/// Takes any text, and names what haulm knows.
#[derive(Clone, Copy, Debug)]
pub(crate) struct KnownParser(fn() -> Vec<String>);

impl KnownParser {
    pub(crate) const PRODUCTS: Self = Self(names::products);
    pub(crate) const CROPS: Self = Self(names::crops);
    pub(crate) const CURVES: Self = Self(names::curves);
    pub(crate) const INDICES: Self = Self(names::indices);
    pub(crate) const METHODS: Self = Self(names::methods);
}

/// A name as one word of a shell, which most completions need.
fn one_word(name: &str) -> String {
    name.replace(' ', "-")
}

impl TypedValueParser for KnownParser {
    type Value = String;

    fn parse_ref(
        &self,
        command: &clap::Command,
        argument: Option<&clap::Arg>,
        value: &OsStr,
    ) -> Result<String, clap::Error> {
        let text = StringValueParser::new().parse_ref(command, argument, value)?;
        let meant = (self.0)()
            .into_iter()
            .find(|name| one_word(name).eq_ignore_ascii_case(&text));
        Ok(meant.unwrap_or(text))
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        Some(Box::new(
            (self.0)()
                .into_iter()
                .map(|name| PossibleValue::new(one_word(&name))),
        ))
    }
}
