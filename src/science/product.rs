//! Table of fertilisers as bought, kept as data with source and cautions.

use std::sync::LazyLock;

use super::certainty::Certainty;
use super::naming;
use super::naming::UnknownName;
use crate::units::Product;
use serde::Deserialize;

/// How a product is handled.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
pub enum ProductKind {
    /// Grains or prills.
    #[serde(rename = "solid")]
    Solid,
    /// Sprayed or dribbled.
    #[serde(rename = "liquid")]
    Liquid,
    /// Injected from a pressure tank.
    #[serde(rename = "liquid under pressure")]
    LiquidUnderPressure,
}

/// What a caution is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
pub enum Concern {
    /// What it must not meet.
    #[serde(rename = "mixing")]
    Mixing,
    /// Burnt leaves.
    #[serde(rename = "leaves")]
    Leaves,
    /// Nitrogen lost to the air.
    #[serde(rename = "loss")]
    Loss,
    /// Harm to people.
    #[serde(rename = "safety")]
    Safety,
    /// Storing, metering, spreading.
    #[serde(rename = "handling")]
    Handling,
}

/// One thing to mind: never law, never complete.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Caution {
    /// What it is about.
    pub about: Concern,
    /// The sentence, without a full stop.
    pub text: String,
}

/// One product.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProductEntry {
    /// Name.
    pub name: String,
    /// Other names.
    pub aliases: Vec<String>,
    /// Share of its mass that is nitrogen. \[0..1\]
    pub nitrogen: f64,
    /// Density of a liquid. \[kg/L\]
    #[serde(default)]
    pub kg_per_l: Option<f64>,
    /// Temperature at which it has that density. \[°C\]
    #[serde(default)]
    pub density_at_c: Option<f64>,
    /// How much a degree Celsius more changes the density, where that is known. \[kg/L/°C\]
    #[serde(default)]
    pub change_per_c: Option<f64>,
    /// Loose bulk density of a solid, least and greatest. \[kg/m³\]
    #[serde(default)]
    pub bulk_kg_m3: Option<(f64, f64)>,
    /// Temperature at or below which salts fall out of a liquid. \[°C\]
    #[serde(default)]
    pub salt_out_c: Option<f64>,
    /// How it is handled.
    pub kind: ProductKind,
    /// How far the row may be trusted.
    pub certainty: Certainty,
    /// Where it comes from.
    pub source: String,
    /// What to mind.
    pub cautions: Vec<Caution>,
}

impl ProductEntry {
    /// As a product to reckon with; `None` only if the table's numbers were impossible.
    pub fn product(&self) -> Option<Product> {
        Product::new(&self.name, self.nitrogen, self.kg_per_l)
    }

    /// Density of a liquid at a temperature \[°C\]: `ρ + k · (T − T_stated)`. \[kg/L\]
    ///
    /// A straight line through few points: good to about 0.4 % between -7 and 27 °C for UAN, to 1 % between -33 and 25 °C for anhydrous ammonia. `None` for a
    /// solid and where the change is not known.
    pub fn density_at(&self, celsius: f64) -> Option<f64> {
        Some(self.kg_per_l? + self.change_per_c? * (celsius - self.density_at_c?))
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    product: Vec<ProductEntry>,
}

// The file is compiled in and a test parses it, so the expectation cannot fail at a user's.
static TABLE: LazyLock<Table> = LazyLock::new(|| {
    toml::from_str(include_str!("products.toml")).expect("products.toml is a valid table")
});

/// Every product of the table.
pub fn products() -> &'static [ProductEntry] {
    &TABLE.product
}

/// The product of this name or alias.
///
/// # Errors
/// When the table has none; the nearest name is told.
pub fn find_product(name: &str) -> Result<&'static ProductEntry, UnknownName> {
    naming::find("product", products(), name, |row| {
        std::iter::once(&row.name)
            .chain(&row.aliases)
            .map(String::as_str)
            .collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_possible_and_sourced() {
        for row in products() {
            let product = row.product().unwrap();
            assert_eq!(
                product.is_liquid(),
                row.kind != ProductKind::Solid,
                "{}",
                row.name
            );
            assert!(
                !row.source.is_empty() && !row.cautions.is_empty(),
                "{}",
                row.name
            );
            assert_eq!(
                (row.kg_per_l.is_some(), row.bulk_kg_m3.is_some()),
                (row.density_at_c.is_some(), row.kind == ProductKind::Solid),
                "{}",
                row.name
            );
            assert!(
                row.change_per_c.is_none_or(|change| change < 0.0)
                    && row.bulk_kg_m3.is_none_or(|(low, high)| low < high),
                "{}",
                row.name
            );
            // No fertiliser holds more nitrogen than ammonia: 14.007 / 17.031.
            assert!(product.nitrogen() <= 0.8225);
        }
    }

    #[test]
    fn names_are_found_and_hinted() {
        assert_eq!(find_product("uan-28").unwrap().name, "UAN 28");
        assert_eq!(find_product("Urea").unwrap().nitrogen, 0.46);
        assert_eq!(find_product("46-0-0").unwrap().name, "urea");
        assert_eq!(
            find_product("uan 29").unwrap_err().nearest.as_deref(),
            Some("UAN 28")
        );
        assert_eq!(
            find_product("amonium nitrate")
                .unwrap_err()
                .nearest
                .as_deref(),
            Some("ammonium nitrate")
        );
    }
}
