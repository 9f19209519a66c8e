//! Keys and what they were resolved to, as the record has them.

use crate::key::Key;
use serde_json::{Map, Value, json};

/// Names and values, each name with its unit.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Record(Map<String, Value>);

impl Record {
    /// Nothing yet.
    pub fn new() -> Self {
        Self::default()
    }
    /// A value under the name that its key has in records.
    #[must_use]
    pub fn put(mut self, key: &Key, value: impl Into<Value>) -> Self {
        self.0.insert(key.in_record(), value.into());
        self
    }
    /// A table of values under a key.
    #[must_use]
    pub fn table(mut self, key: &Key, values: Self) -> Self {
        self.0.insert(key.name.to_owned(), values.value());
        self
    }
    /// A value that no key of the job stands for.
    #[must_use]
    pub fn add(mut self, name: &str, value: impl Into<Value>) -> Self {
        self.0.insert(name.to_owned(), value.into());
        self
    }
    /// As JSON; nothing where there are none.
    pub fn value(self) -> Value {
        if self.0.is_empty() {
            Value::Null
        } else {
            json!(self.0)
        }
    }
}
