//! The canopy index of a job: a name of the catalogue, a ready band, or a formula.

mod catalogue;
mod formula;
mod parse;

pub use catalogue::{CatalogueEntry, canonical_band_name, catalogue, find_entry};
pub use formula::{Formula, RowCounts, Scratch};
pub use parse::FormulaError;

use super::naming;
use thiserror::Error;

/// Why a text names no canopy index.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum IndexError {
    /// Neither a name of the catalogue nor a formula.
    #[error("there is no canopy index {name}{}: give a name of the catalogue, \"band N\", or a formula such as (nir - red) / (nir + red)", hint(nearest.as_deref()))]
    UnknownName {
        /// As written.
        name: String,
        /// The nearest name of the catalogue.
        nearest: Option<String>,
    },
    /// `band 0`.
    #[error("bands are counted from 1, so there is no band {number}")]
    BandNumber {
        /// As written.
        number: String,
    },
    /// A formula that cannot be read.
    #[error(transparent)]
    Formula(#[from] FormulaError),
}

fn hint(nearest: Option<&str>) -> String {
    nearest.map_or_else(String::new, |nearest| format!(" (did you mean {nearest}?)"))
}

/// What a value of 0 stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ZeroMeaning {
    /// Ground without canopy: dividing by the index makes sense.
    NoCanopy,
    /// Something else: dividing by the index is refused.
    SomethingElse,
    /// Not known: a formula or a ready band of the user's own.
    NotKnown,
}

/// A canopy index, ready to be computed.
#[derive(Clone, Debug, PartialEq)]
pub struct Index {
    name: String,
    formula: Formula,
    entry: Option<&'static CatalogueEntry>,
    ready_band: Option<usize>,
}

impl Index {
    /// Reads a job's text: a name of the catalogue (case, hyphens and spaces do not matter), `band N`, or a formula.
    ///
    /// A formula keeps its own text as name, even when it equals one of the catalogue: a curve fitted with NDVI asks for the name NDVI.
    ///
    /// # Errors
    /// When the text is a lone word that the catalogue does not know (the nearest name is told), when a band number is not 1 or more, and when a
    /// formula cannot be read.
    ///
    /// # Examples
    /// ```
    /// # use haulm::science::index::Index;
    /// assert_eq!(Index::parse("ndvi")?.name(), "NDVI");
    /// assert_eq!(Index::parse("band 1")?.ready_band(), Some(1));
    /// assert_eq!(Index::parse("(nir - red_edge) / (nir + red_edge)")?.range(), Some((-1.0, 1.0)));
    /// assert!(Index::parse("NVDI").unwrap_err().to_string().contains("did you mean NDVI?"));
    /// # Ok::<(), haulm::science::index::IndexError>(())
    /// ```
    pub fn parse(text: &str) -> Result<Self, IndexError> {
        let text = text.trim();
        if let Some(entry) = find_entry(text) {
            let range = entry.range.map(|[low, high]| (low, high));
            let formula = Formula::parse(&entry.formula)?.with_range(range);
            return Ok(Self {
                name: entry.name.clone(),
                formula,
                entry: Some(entry),
                ready_band: None,
            });
        }
        if let Some(number) = band_number(text) {
            let band = number
                .parse::<usize>()
                .ok()
                .filter(|n| *n > 0)
                .ok_or_else(|| IndexError::BandNumber {
                    number: number.to_owned(),
                })?;
            let name = format!("band {band}");
            return Ok(Self {
                name: name.clone(),
                formula: Formula::ready_band(name),
                entry: None,
                ready_band: Some(band),
            });
        }
        if !text.is_empty()
            && text
                .chars()
                .all(|c| c.is_alphanumeric() || matches!(c, '_' | ' '))
            && text.starts_with(char::is_alphabetic)
        {
            return Err(IndexError::UnknownName {
                name: text.to_owned(),
                nearest: nearest_name(text),
            });
        }
        let formula = Formula::parse(text)?;
        Ok(Self {
            name: formula.text().to_owned(),
            formula,
            entry: None,
            ready_band: None,
        })
    }

    /// Name of the catalogue, `band N`, or the formula's text.
    pub fn name(&self) -> &str {
        &self.name
    }
    /// Canonical names of the bands that it needs, in slot order; for a ready band `band N`.
    pub fn bands(&self) -> &[String] {
        self.formula.bands()
    }
    /// Its formula.
    pub const fn formula(&self) -> &Formula {
        &self.formula
    }
    /// Its entry of the catalogue, if it has one.
    pub const fn entry(&self) -> Option<&'static CatalogueEntry> {
        self.entry
    }
    /// The number, from 1, of a band that holds the index ready.
    pub const fn ready_band(&self) -> Option<usize> {
        self.ready_band
    }
    /// Least and greatest value that it can take, when that is known.
    pub const fn range(&self) -> Option<(f64, f64)> {
        self.formula.range()
    }
    /// Whether any common multiple of reflectance gives the same value; `None` when that is not known.
    pub fn scale_free(&self) -> Option<bool> {
        self.entry
            .map(|entry| entry.scale_free)
            .or_else(|| self.formula.is_normalised_difference().then_some(true))
    }
    /// Whether a number added to every band changes nothing; `None` when that is not known.
    pub fn offset_free(&self) -> Option<bool> {
        self.entry
            .map(|entry| entry.offset_free)
            .or_else(|| self.formula.is_normalised_difference().then_some(false))
    }
    /// What a value of 0 stands for.
    pub fn zero_meaning(&self) -> ZeroMeaning {
        match self.entry {
            Some(entry) if entry.zero_means_no_canopy => ZeroMeaning::NoCanopy,
            Some(_) => ZeroMeaning::SomethingElse,
            None => ZeroMeaning::NotKnown,
        }
    }
    /// Index below which ground counts as bare by default; `None` is off.
    pub fn bare_below(&self) -> Option<f64> {
        self.entry.and_then(|entry| entry.bare_below)
    }
    /// Evaluates one row; see [`Formula::evaluate_row`].
    pub fn evaluate_row(
        &self,
        bands: &[&[f64]],
        scratch: &mut Scratch,
        out: &mut [f64],
    ) -> RowCounts {
        self.formula.evaluate_row(bands, scratch, out)
    }
}

/// The number of `band N`, as written.
fn band_number(text: &str) -> Option<&str> {
    let (word, number) = text.split_at_checked(4)?;
    let number = number.trim();
    (word.eq_ignore_ascii_case("band")
        && !number.is_empty()
        && number.chars().all(|c| c.is_ascii_digit()))
    .then_some(number)
}

/// The catalogue's name that is most like a misspelt one.
fn nearest_name(name: &str) -> Option<String> {
    let known = catalogue::catalogue()
        .iter()
        .flat_map(|entry| catalogue::names_of(entry).map(|own| (own, entry.name.clone())));
    naming::nearest(name, known)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value(index: &Index, band: impl Fn(&str) -> f64) -> f64 {
        let rows: Vec<[f64; 1]> = index.bands().iter().map(|name| [band(name)]).collect();
        let rows: Vec<&[f64]> = rows.iter().map(<[f64; 1]>::as_slice).collect();
        let mut out = [0.0];
        index.evaluate_row(&rows, &mut Scratch::default(), &mut out);
        out[0]
    }

    fn leaf(name: &str) -> f64 {
        match name {
            "blue" => 0.04,
            "green" => 0.08,
            "red" => 0.05,
            "red_edge" => 0.12,
            "red_edge_2" => 0.30,
            "red_edge_3" => 0.40,
            "nir" => 0.45,
            "nir_2" => 0.46,
            other => panic!("no value for band {other}"),
        }
    }

    #[test]
    fn flags_of_the_catalogue_hold() {
        for entry in catalogue() {
            let index = Index::parse(&entry.name).unwrap();
            let plain = value(&index, leaf);
            let scaled = value(&index, |name| 1.7 * leaf(name));
            let moved = value(&index, |name| 0.013 + leaf(name));
            let same = |other: f64| (other - plain).abs() < 1e-9 * plain.abs().max(1.0);
            assert_eq!(same(scaled), entry.scale_free, "{} scale", entry.name);
            assert_eq!(same(moved), entry.offset_free, "{} offset", entry.name);
            assert!(
                entry
                    .range
                    .is_none_or(|[low, high]| (low..=high).contains(&plain)),
                "{}",
                entry.name
            );
        }
    }

    #[test]
    fn a_formula_keeps_its_own_name() {
        let own = Index::parse("(nir-red)  /  (nir + red)").unwrap();
        assert_eq!(own.name(), "(nir-red) / (nir + red)");
        assert_eq!(
            (own.range(), own.scale_free(), own.bare_below()),
            (Some((-1.0, 1.0)), Some(true), None)
        );
        assert_eq!(own.zero_meaning(), ZeroMeaning::NotKnown);
        let named = Index::parse("n-d-v-i").unwrap();
        assert_eq!(
            (named.name(), named.bare_below(), named.zero_meaning()),
            ("NDVI", Some(0.25), ZeroMeaning::NoCanopy)
        );
    }

    #[test]
    fn ready_bands() {
        assert_eq!(Index::parse("Band 12").unwrap().ready_band(), Some(12));
        assert_eq!(Index::parse("band1").unwrap().name(), "band 1");
        assert_eq!(
            Index::parse("band 0"),
            Err(IndexError::BandNumber {
                number: "0".to_owned()
            })
        );
        assert_eq!(value(&Index::parse("band 3").unwrap(), |_| 0.61), 0.61);
    }

    #[test]
    fn misspelt_names_get_a_hint() {
        for (written, nearest) in [
            ("NVDI", "NDVI"),
            ("ndre 1", "NDRE"),
            ("cigren", "CIgreen"),
            ("ossavi", "OSAVI"),
            ("ci rededg", "CIrededge"),
        ] {
            let Err(IndexError::UnknownName {
                nearest: Some(found),
                ..
            }) = Index::parse(written)
            else {
                panic!("{written}")
            };
            assert_eq!(found, nearest, "{written}");
        }
        assert_eq!(
            Index::parse("temperature"),
            Err(IndexError::UnknownName {
                name: "temperature".to_owned(),
                nearest: None
            })
        );
    }

    /// Not a check but a measurement: `cargo test --release --lib nanoseconds -- --ignored --nocapture`.
    #[test]
    #[ignore = "measures speed"]
    #[expect(clippy::print_stderr, reason = "prints what it measured")]
    fn nanoseconds_per_pixel() {
        for (name, nodata) in [("NDVI", 0), ("NDVI", 2), ("MCARI2", 0)] {
            let index = Index::parse(name).unwrap();
            let row: Vec<f64> = (0..12_000)
                .map(|i| {
                    if nodata > 0 && i % nodata == 0 {
                        f64::NAN
                    } else {
                        0.1 + f64::from(i % 100) * 0.001
                    }
                })
                .collect();
            let rows: Vec<&[f64]> = index.bands().iter().map(|_| row.as_slice()).collect();
            let (mut out, mut scratch) = (vec![0.0; row.len()], Scratch::default());
            let start = std::time::Instant::now();
            let mut counts = RowCounts::default();
            for _ in 0..2_000 {
                counts += index.evaluate_row(&rows, &mut scratch, &mut out);
            }
            eprintln!(
                "{name}: {:.2} ns a pixel, {counts:?}",
                start.elapsed().as_nanos() as f64 / (2_000.0 * row.len() as f64)
            );
        }
    }
}
