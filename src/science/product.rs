//! Table of fertilisers as bought, kept as data with source and cautions.

use std::sync::LazyLock;

use super::crop::Certainty;
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
    /// How it is handled.
    pub kind: ProductKind,
    /// How far the row may be trusted.
    pub certainty: Certainty,
    /// Where it comes from.
    pub source: String,
    /// What to mind.
    pub cautions: Vec<String>,
}

impl ProductEntry {
    /// As a product to reckon with; `None` only if the table's numbers were impossible.
    pub fn product(&self) -> Option<Product> {
        Product::new(&self.name, self.nitrogen, self.kg_per_l)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    product: Vec<ProductEntry>,
}

// The file is compiled in and a test parses it, so the expectation cannot fail at a user's.
static TABLE: LazyLock<Table> = LazyLock::new(|| toml::from_str(include_str!("products.toml")).expect("products.toml is a valid table"));

/// Every product of the table.
pub fn products() -> &'static [ProductEntry] {
    &TABLE.product
}

/// The product of this name or alias.
///
/// # Errors
/// When the table has none; the nearest name is told.
pub fn find_product(name: &str) -> Result<&'static ProductEntry, UnknownName> {
    naming::find("product", products(), name, |row| std::iter::once(&row.name).chain(&row.aliases).map(String::as_str).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_possible_and_sourced() {
        for row in products() {
            let product = row.product().unwrap();
            assert_eq!(product.is_liquid(), row.kind != ProductKind::Solid, "{}", row.name);
            assert!(!row.source.is_empty() && !row.cautions.is_empty(), "{}", row.name);
            // No fertiliser holds more nitrogen than ammonia: 14.007 / 17.031.
            assert!(product.nitrogen() <= 0.8225);
        }
    }

    #[test]
    fn names_are_found_and_hinted() {
        assert_eq!(find_product("uan-28").unwrap().name, "UAN 28");
        assert_eq!(find_product("Urea").unwrap().nitrogen, 0.46);
        assert_eq!(find_product("46-0-0").unwrap().name, "urea");
        assert_eq!(find_product("uan 29").unwrap_err().nearest.as_deref(), Some("UAN 28"));
        assert_eq!(find_product("amonium nitrate").unwrap_err().nearest.as_deref(), Some("ammonium nitrate"));
    }
}
