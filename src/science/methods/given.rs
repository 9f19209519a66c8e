//! What a method reads its parameters from.

use crate::key::{Key, Typed, Word};
use crate::science::methods::{Method, MethodError};
use crate::units::NRate;

/// `[response]`, or a table within it. What is missing, outside its bounds or of another kind is told there and read as nothing.
pub trait Given {
    /// Whether a key stands there.
    fn has(&self, key: &Key) -> bool;
    /// A number within the bounds of its row, or the row's default.
    fn number(&mut self, key: &Typed<f64>) -> Option<f64>;
    /// A nitrogen amount within the bounds of its row.
    fn nitrogen(&mut self, key: &Typed<NRate>) -> Option<NRate>;
    /// `true` or `false`, or the row's default.
    fn flag(&mut self, key: &Typed<bool>) -> bool;
    /// Text.
    fn text(&mut self, key: &Typed<String>) -> Option<String>;
    /// The place of a word among those of its row.
    fn word(&mut self, key: &Key) -> Option<usize>;
    /// A table within, read to its end; whether it stands there.
    fn table(&mut self, key: &Key, read: &mut dyn FnMut(&mut dyn Given)) -> bool;
    /// Each table of a list, read to its end.
    fn tables(&mut self, key: &Key, read: &mut dyn FnMut(&mut dyn Given));
    /// Says that a key is missing where it is.
    fn require(&mut self, key: &Key);
    /// Refuses a key that does not go together with others, `with`.
    fn refuse_beside(&mut self, key: &Key, with: &[&Key]);
    /// Refuses a key by what the method says of its value.
    fn refuse(&mut self, key: &Key, error: &MethodError);
    /// The economic optimum of the season, when the job asks for it.
    fn economic(&self) -> Economic;
    /// Nitrogen of this season before sensing.
    fn applied_before(&self) -> NRate;
}

/// The economic optimum of the season.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Economic {
    /// The job does not ask for it.
    NotAsked,
    /// It asks, and it cannot be had, which is told then.
    Missing,
    /// It is this.
    Optimum(NRate),
}

/// A choice by its words.
pub(super) fn choice<T: Word>(given: &mut dyn Given, key: &Typed<T>) -> Option<T> {
    let at = given.word(key)?;
    T::ALL.get(at).copied()
}

/// A method as read, and where the user's own numbers come from when they take the place of published ones.
#[derive(Clone, Debug)]
pub struct Read {
    /// The method.
    pub method: Method,
    /// Source of the user's own numbers.
    pub source: Option<String>,
}

/// The method, if its parameters hold together; else `key` is refused.
pub(super) fn checked(given: &mut dyn Given, key: &Key, method: Method) -> Option<Read> {
    match method.check() {
        Ok(()) => Some(Read {
            method,
            source: None,
        }),
        Err(error) => {
            given.refuse(key, &error);
            None
        }
    }
}
