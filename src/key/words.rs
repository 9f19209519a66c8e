//! Choices: types with one word a value, as jobs and records have it.

/// A choice with one word a value.
pub trait Word: Copy + 'static {
    /// Every value.
    const ALL: &'static [Self];
    /// Their words, in the same order.
    const WORDS: &'static [&'static str];

    /// The value of a word; case does not count.
    fn of_word(text: &str) -> Option<Self> {
        let at = Self::WORDS
            .iter()
            .position(|word| word.eq_ignore_ascii_case(text.trim()))?;
        Self::ALL.get(at).copied()
    }
}

/// A choice and its words, each said once: `enum` makes the type, `for` takes one that has a method for its word.
macro_rules! words {
    (
        $(#[$meta:meta])*
        $visible:vis enum $type:ident { $($(#[$inner:meta])* $value:ident = $word:literal,)* }
    ) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        $visible enum $type { $($(#[$inner])* $value,)* }

        impl $type {
            /// Its word in jobs and records.
            $visible const fn word(self) -> &'static str {
                match self { $(Self::$value => $word,)* }
            }
        }

        $crate::key::words!(for $type by word { $($value,)* });
    };
    (for $type:ident by $method:ident { $($value:ident,)* }) => {
        impl $crate::key::Word for $type {
            const ALL: &'static [Self] = &[$(Self::$value,)*];
            const WORDS: &'static [&'static str] = &[$(Self::$value.$method(),)*];
        }
    };
}
pub(crate) use words;
