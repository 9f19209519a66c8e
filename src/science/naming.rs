//! How a name of a table is found, and which one was probably meant.

use thiserror::Error;

/// A name that a table does not know.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("there is no {kind} {name}{}; known are: {known}", nearest.as_deref().map_or_else(String::new, |nearest| format!(" (did you mean {nearest}?)")))]
pub struct UnknownName {
    /// What was looked for: crop, yield curve, product.
    pub kind: &'static str,
    /// As written.
    pub name: String,
    /// The nearest name of the table.
    pub nearest: Option<String>,
    /// Every name of the table.
    pub known: String,
}

/// What two spellings of one name have in common: letters without case, hyphens, underscores, commas and spaces.
pub(super) fn key_of(name: &str) -> String {
    name.chars()
        .filter(|c| !matches!(c, '-' | '_' | ' ' | ','))
        .flat_map(char::to_lowercase)
        .collect()
}

/// The row whose name or alias is `name`; `names_of` tells a row's names, the chief one first.
pub(super) fn find<'a, T>(
    kind: &'static str,
    rows: &'a [T],
    name: &str,
    names_of: impl Fn(&'a T) -> Vec<&'a str>,
) -> Result<&'a T, UnknownName> {
    let key = key_of(name);
    rows.iter()
        .find(|row| names_of(row).iter().any(|own| key_of(own) == key))
        .ok_or_else(|| {
            let chief = |row: &'a T| {
                names_of(row)
                    .first()
                    .map_or_else(String::new, |name| (*name).to_owned())
            };
            UnknownName {
                kind,
                name: name.to_owned(),
                nearest: nearest(
                    name,
                    rows.iter().flat_map(|row| {
                        names_of(row).into_iter().map(move |own| (own, chief(row)))
                    }),
                ),
                known: rows.iter().map(chief).collect::<Vec<_>>().join("; "),
            }
        })
}

/// The second of the pair whose first is most like `name`; at most a third of the letters may differ, or two of a short name.
pub(super) fn nearest<'a>(
    name: &str,
    known: impl Iterator<Item = (&'a str, String)>,
) -> Option<String> {
    let key = key_of(name);
    let most = (key.chars().count() / 3).max(2);
    let mut best: Option<(usize, String)> = None;
    for (spelling, meant) in known {
        let distance = strsim::damerau_levenshtein(&key, &key_of(spelling));
        if distance <= most && best.as_ref().is_none_or(|(minimum, _)| distance < *minimum) {
            best = Some((distance, meant));
        }
    }
    best.map(|(_, meant)| meant)
}
