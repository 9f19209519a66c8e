//! Words of the command line: measures, products, lengths; and refusals in the user's words.

use std::path::Path;

use crate::app::error::AppError;
use crate::job::amount;
use crate::job::tables::find_product;
use crate::units::Product;
use crate::zones::plain::{Measure, MeasureError, PlainError};

/// A measure by its word.
pub(super) fn measure(word: &str, option: &str) -> Result<Measure, AppError> {
    Measure::named(word).ok_or_else(|| {
        AppError::misuse(
            "convert.unit",
            format!("{option}: {word:?} is no unit of rates"),
        )
        .with_fact("known", Measure::ALL.join(", "))
        .with_hint("nitrogen is written as nitrogen: \"kg N/ha\"; product as product: \"kg/ha\"")
    })
}

/// A product of the table, or one described: `NAME: 28 % N, 1.28 kg/L`.
pub(super) fn product(text: &str, option: &str) -> Result<Product, AppError> {
    let Some((name, described)) = text.split_once(':') else {
        return find_product(text).map_err(|unknown| {
            let refused = AppError::refused("convert.product", format!("{option}: {unknown}"))
                .with_fact("known", unknown.known.clone());
            refused.with_hint(
                "take a name of haulm products, or describe your own: \"NAME: 28 % N, 1.28 kg/L\"",
            )
        });
    };
    let refused = |what: String| {
        AppError::refused("convert.product", format!("{option}: {what}"))
            .with_fact(option, text)
            .with_hint("write it as \"NAME: 28 % N, 1.28 kg/L\"; the density for liquids only")
    };
    let (mut nitrogen, mut density) = (None, None);
    for part in described.split(',') {
        let (number, unit) = part.trim().split_at(
            part.trim()
                .find(|c: char| !(c.is_ascii_digit() || c == '.'))
                .unwrap_or(part.trim().len()),
        );
        let number: f64 = number
            .parse()
            .map_err(|_| refused(format!("{part:?} begins with no number")))?;
        match unit.split_whitespace().collect::<String>().as_str() {
            "%N" => nitrogen = Some(number / 100.0),
            "kg/L" | "kg/l" => density = Some(number),
            _ => {
                return Err(refused(format!(
                    "{part:?} is neither nitrogen in % N nor a density in kg/L"
                )));
            }
        }
    }
    let nitrogen = nitrogen.ok_or_else(|| refused("its nitrogen is not given".to_owned()))?;
    Product::new(name.trim(), nitrogen, density).ok_or_else(|| {
        refused(
            "nitrogen must lie above 0 and up to 100 %, a density within 0.3 and 3 kg/L".to_owned(),
        )
    })
}

/// Side of a cell or pixel. \[m\]
pub(super) fn cell(text: &str) -> Result<f64, AppError> {
    let length = amount::length(text).map_err(|problem| {
        AppError::misuse("convert.cell", format!("--cell: {problem}"))
            .with_hint("write it with its unit: --cell \"10 m\"")
    })?;
    if !(0.1..=1_000.0).contains(&length.get()) {
        return Err(AppError::misuse(
            "convert.cell",
            format!("--cell: {} m is no side of a cell", length.get()),
        )
        .with_hint("give 0.1 m to 1000 m"));
    }
    Ok(length.get())
}

/// Why the map cannot be carried over, with what to do.
pub(super) fn refused(error: &PlainError, map: &Path) -> AppError {
    let (code, hint) = match error {
        PlainError::System { .. } => (
            "convert.system",
            "add the .prj file, or export the map again with its reference system",
        ),
        PlainError::Meaning { .. } => (
            "convert.meaning",
            "say it: --rates-in \"kg/ha\" for product, --rates-in \"kg N/ha\" for nitrogen",
        ),
        PlainError::Measure(MeasureError::Product { .. }) => (
            "convert.product",
            "name the product: --product \"UAN 28\", or --product \"NAME: 28 % N, 1.28 kg/L\"",
        ),
        PlainError::Measure(MeasureError::Density { .. }) => (
            "convert.density",
            "name a liquid with its density: --from-product or --product \"NAME: 28 % N, 1.28 kg/L\"",
        ),
        PlainError::Measure(_) => (
            "convert.nitrogen",
            "say what product the map holds: --from-product \"UAN 28\"",
        ),
        PlainError::Fault { .. } | PlainError::Outline { .. } => (
            "convert.fault",
            "see every fault with haulm check MAP, mend what can be mended with --repair, and convert the mended copy",
        ),
        PlainError::Rates { .. } => (
            "convert.rates",
            "a rate that is missing is not 0: give those records a rate, or take them out of the map",
        ),
        _ => ("convert.map", "look at the map with haulm check MAP"),
    };
    AppError::refused(code, error.to_string())
        .with_fact(map.display().to_string(), "the map to convert")
        .with_causes(error)
        .with_hint(hint)
}
