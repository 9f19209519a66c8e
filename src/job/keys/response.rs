//! `[response]`: the method that sets rates, and what holds for every method. Keys of one method stand beside its formula, in `science::methods`.

use std::sync::LazyLock;

use crate::key::{Any, Key, Kind, Table, Word, key, keys, nitrogen, words};
use crate::science::methods::METHODS;
use crate::units::NRate;

words! {
    /// `response.nitrogen_share`, where it is no number.
    pub(crate) enum Measured {
        /// What the strip shows.
        Measured = "measured",
    }
}

words! {
    /// `response.maximum_ratio`, where it is no number.
    pub(crate) enum Seen {
        /// The most that the strip itself showed.
        Seen = "seen",
    }
}

keys! {
    RESPONSE: ResponseKeys = "response", "[response]", "The method that turns index into nitrogen rate, and its parameters; each method has its own keys.",
    {
        method: String = key(
            Kind::NameOf("haulm methods"),
            "method",
            "\"yield response\"",
            "Method that sets the rate.",
        )
        .or("\"yield response\""),
        nitrogen_share: Any = key(
            Kind::Or(&[Kind::Share, Kind::Words(Measured::WORDS)]),
            "nitrogen share",
            "1.0",
            "Share of the index deficit that counts as lack of nitrogen; \"measured\" is the share that the strips show.",
        )
        .within(
            "0",
            "1",
            "1 compares each cell with the strip, 0 gives every cell the field's response index",
        )
        .or("1.0"),
        maximum_ratio: Any = key(
            Kind::Or(&[Kind::Number, Kind::Words(Seen::WORDS)]),
            "maximum ratio",
            "2.0",
            "Highest response index that counts; \"seen\" is the highest that the strip showed.",
        )
        .within(
            "1",
            "3",
            "at 1 no cell would ever get more than the minimum, and no crop that lives lacks nitrogen threefold",
        )
        .or_else("2.0, less where the strip is doubtful").option("--maximum-ratio"),
        applied_since_sensing: NRate = nitrogen(
            "the nitrogen since sensing",
            "\"0 kg N/ha\"",
            "Nitrogen that was applied after sensing; it is taken off every rate.",
        )
        .or("\"0 kg N/ha\"").option("--applied-since-sensing"),
    }
}

/// Keys of every method and, after them, those of each, a row that several share once.
static ROWS: LazyLock<Vec<Key>> = LazyLock::new(|| {
    let mut own: Vec<(Key, Vec<&'static str>)> = Vec::new();
    for method in METHODS {
        for key in method.keys {
            match own.iter_mut().find(|(known, _)| known == key) {
                Some((_, of)) => of.push(method.name),
                None => own.push((*key, vec![method.name])),
            }
        }
    }
    let general = ResponseKeys::TABLE.keys.iter().copied();
    general
        .chain(own.into_iter().map(|(key, of)| Key {
            of: of.leak(),
            ..key
        }))
        .collect()
});

/// The section with the keys of every method.
pub(super) fn table() -> Table {
    Table {
        keys: ROWS.as_slice(),
        ..ResponseKeys::TABLE
    }
}

/// Tables within it: each method's own, and the response curve of the economic optimum.
pub(super) fn inner() -> impl Iterator<Item = Table> {
    METHODS
        .iter()
        .flat_map(|method| method.tables)
        .copied()
        .chain([crate::science::methods::shared::CurveKeys::TABLE])
}
