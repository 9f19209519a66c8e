//! Every finding code: one row gives the constant, the word, the weights, what it says, and why it matters.
//!
//! A new finding is a row here and the place that raises it. Everything else reads the table: `haulm explain`, the reference page, completions,
//! `[[accept]]`.

use crate::finding::code::Code;

/// Makes the constants of a group, and the group itself.
macro_rules! codes {
    (
        $title:literal, $source:ident;
        $($name:ident $word:literal [$($weight:ident),+] $sentence:literal $why:literal;)+
    ) => {
        $(
            #[doc = concat!("`", $word, "`: ", $sentence)]
            pub const $name: $crate::finding::code::Code = $crate::finding::code::Code(&$crate::finding::code::Entry {
                word: $word,
                source: $crate::finding::code::Source::$source,
                weights: &[$($crate::finding::Severity::$weight),+],
                sentence: $sentence,
                why: $why,
            });
        )+
        /// The codes of this file, in the order of the table.
        pub(super) const GROUP: $crate::finding::codes::Group = $crate::finding::codes::Group {
            title: $title,
            codes: &[$($name),+],
        };
    };
}

mod convert;
mod field;
mod image;
mod machine;
mod map_file;
mod map_rate;
mod map_shape;
mod map_task;
mod money;
mod output;
mod points;
mod product;
mod ramp;
mod rate;
mod reference;
mod response;
mod season;
mod several;
mod stick;
mod uncertainty;
mod zones;

pub use convert::*;
pub use field::*;
pub use image::*;
pub use machine::*;
pub use map_file::*;
pub use map_rate::*;
pub use map_shape::*;
pub use map_task::*;
pub use money::*;
pub use output::*;
pub use points::*;
pub use product::*;
pub use ramp::*;
pub use rate::*;
pub use reference::*;
pub use response::*;
pub use season::*;
pub use several::*;
pub use stick::*;
pub use uncertainty::*;
pub use zones::*;

/// Codes that belong together.
#[derive(Clone, Copy, Debug)]
pub struct Group {
    /// What they are about.
    pub title: &'static str,
    /// The codes, in the order of the table.
    pub codes: &'static [Code],
}

/// The table: groups in the order of a run, then those of a map that is checked or converted.
pub const GROUPS: &[Group] = &[
    field::GROUP,
    image::GROUP,
    points::GROUP,
    reference::GROUP,
    ramp::GROUP,
    season::GROUP,
    response::GROUP,
    rate::GROUP,
    zones::GROUP,
    machine::GROUP,
    product::GROUP,
    money::GROUP,
    uncertainty::GROUP,
    output::GROUP,
    convert::GROUP,
    map_file::GROUP,
    map_shape::GROUP,
    map_rate::GROUP,
    map_task::GROUP,
    several::GROUP,
    stick::GROUP,
];

/// Every code, in the order of the table.
pub fn all() -> impl Iterator<Item = Code> {
    GROUPS.iter().flat_map(|group| group.codes.iter().copied())
}

/// The code of this word.
pub fn find(word: &str) -> Option<Code> {
    all().find(|code| code.word() == word)
}
