//! The catalogue of canopy indices, kept as data, and the names of bands.

use std::sync::LazyLock;

use crate::science::naming::key_of;
use serde::Deserialize;

/// One index of the catalogue.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CatalogueEntry {
    /// Short name, as written in the trade.
    pub name: String,
    /// What the short name stands for.
    pub title: String,
    /// Other names of it.
    pub aliases: Vec<String>,
    /// Its formula, bands by canonical name.
    pub formula: String,
    /// Least and greatest value that it can take, where the formula bounds it.
    #[serde(default)]
    pub range: Option<[f64; 2]>,
    /// Whether any common multiple of reflectance gives the same value.
    pub scale_free: bool,
    /// Whether a number added to every band changes nothing.
    pub offset_free: bool,
    /// Whether 0 stands for ground without canopy, so that dividing by it makes sense.
    pub zero_means_no_canopy: bool,
    /// Index below which ground counts as bare by default; `None` is off.
    #[serde(default)]
    pub bare_below: Option<f64>,
    /// Paper.
    pub source: String,
    /// Weak point.
    pub note: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CatalogueFile {
    index: Vec<CatalogueEntry>,
}

// The file is compiled in and every test parses it, so the expectation cannot fail at a user's.
static CATALOGUE: LazyLock<Vec<CatalogueEntry>> = LazyLock::new(|| {
    toml::from_str::<CatalogueFile>(include_str!("catalogue.toml"))
        .expect("catalogue.toml is a valid catalogue")
        .index
});

/// Every index of the catalogue, in the order in which it is listed.
pub fn catalogue() -> &'static [CatalogueEntry] {
    &CATALOGUE
}

/// The entry of this name or alias; case, hyphens, underscores and spaces do not matter.
pub fn find_entry(name: &str) -> Option<&'static CatalogueEntry> {
    let key = key_of(name);
    catalogue()
        .iter()
        .find(|entry| names_of(entry).any(|own| key_of(own) == key))
}

/// Name and aliases of an entry.
pub(super) fn names_of(entry: &CatalogueEntry) -> impl Iterator<Item = &str> {
    std::iter::once(entry.name.as_str()).chain(entry.aliases.iter().map(String::as_str))
}

/// Canonical names of bands and the spellings that stand for them, without case, hyphens, underscores and spaces.
///
/// Centres in nanometres, from memory: blue 490, green 560, red 665, red edge 705, 740 and 783, near infrared 840, narrow near infrared 865.
/// Band numbers of satellites are left out on purpose: number 5 is red edge on one and near infrared on another.
const BANDS: [(&str, &[&str]); 8] = [
    ("blue", &["blue", "b", "blu"]),
    ("green", &["green", "g", "grn"]),
    ("red", &["red", "r"]),
    (
        "red_edge",
        &[
            "rededge",
            "re",
            "re1",
            "rededge1",
            "rededge705",
            "rededge717",
            "edge",
            "vre1",
            "vre",
        ],
    ),
    ("red_edge_2", &["rededge2", "re2", "rededge740", "vre2"]),
    ("red_edge_3", &["rededge3", "re3", "rededge783", "vre3"]),
    (
        "nir",
        &["nir", "n", "nir1", "nearinfrared", "nearir", "nir840"],
    ),
    (
        "nir_2",
        &["nir2", "n2", "narrownir", "nirnarrow", "nir865", "nir8a"],
    ),
];

/// The one name of a band, whatever its spelling: `RedEdge`, `red-edge`, `RE` and `re1` are `red_edge`.
///
/// A name that is none of the usual ones is kept, in lower case with `_` for spaces and hyphens, so that a job may use bands of its own.
pub fn canonical_band_name(name: &str) -> String {
    let name = name.trim();
    let key = key_of(name);
    BANDS
        .iter()
        .find(|(_, spellings)| spellings.contains(&key.as_str()))
        .map_or_else(
            || {
                name.to_lowercase()
                    .chars()
                    .map(|c| if matches!(c, ' ' | '-') { '_' } else { c })
                    .collect()
            },
            |(canonical, _)| (*canonical).to_owned(),
        )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spellings_of_bands() {
        for (written, canonical) in [
            ("NIR", "nir"),
            ("near-infrared", "nir"),
            ("Near Infrared", "nir"),
            ("RedEdge", "red_edge"),
            ("red edge", "red_edge"),
            ("RE", "red_edge"),
            ("re_2", "red_edge_2"),
            ("Red-Edge-740", "red_edge_2"),
            ("R", "red"),
            (" green ", "green"),
            ("NIR2", "nir_2"),
            ("Short wave-1", "short_wave_1"),
        ] {
            assert_eq!(canonical_band_name(written), canonical, "{written}");
        }
    }

    #[test]
    fn canonical_names_are_their_own() {
        for (canonical, _) in BANDS {
            assert_eq!(canonical_band_name(canonical), canonical);
        }
    }

    #[test]
    fn names_are_told_apart() {
        let mut keys: Vec<String> = catalogue()
            .iter()
            .flat_map(|entry| names_of(entry).map(key_of).collect::<Vec<_>>())
            .collect();
        keys.sort();
        let all = keys.len();
        keys.dedup();
        assert_eq!(keys.len(), all);
        assert_eq!(find_entry("ci-red-edge").unwrap().name, "CIrededge");
        assert_eq!(find_entry("tcari/osavi").unwrap().name, "TCARI/OSAVI");
        assert!(find_entry("NDVX").is_none());
    }

    #[test]
    fn only_ndvi_has_a_limit_for_bare_ground() {
        let with: Vec<_> = catalogue()
            .iter()
            .filter_map(|entry| entry.bare_below.map(|limit| (entry.name.as_str(), limit)))
            .collect();
        assert_eq!(with, [("NDVI", 0.25)]);
    }
}
