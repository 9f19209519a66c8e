//! Words of the command line: measures, products, lengths; and refusals in the user's words.

use std::path::Path;

use crate::app::error::AppError;
use crate::job::amount;
use crate::job::tables::find_product;
use crate::map::plain::{Measure, MeasureError, PlainError};
use crate::units::Product;

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
pub(crate) fn product(text: &str, option: &str) -> Result<Product, AppError> {
    let Some((name, described)) = text.split_once(':') else {
        return find_product(text).map_err(|unknown| {
            let refused = AppError::refused("product.unknown", format!("{option}: {unknown}"))
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

/// An amount in the map's own measure; nitrogen and product are turned into each other where the product is known.
pub(super) fn amount_in(
    text: &str,
    option: &str,
    measure: Measure,
    product: Option<&Product>,
) -> Result<f64, AppError> {
    let refused = |what: String| {
        AppError::misuse("convert.amount", format!("{option}: {what}"))
            .with_fact(option, text)
            .with_hint(format!(
                "write it with its unit, such as \"100 {}\"",
                measure.label()
            ))
    };
    let text = text.trim();
    let split = text
        .find(|c: char| !(c.is_ascii_digit() || c == '.'))
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(split);
    let value: f64 = number
        .parse()
        .map_err(|_| refused("no number with a unit".to_owned()))?;
    let own = Measure::named(unit.trim())
        .ok_or_else(|| refused(format!("{:?} is no unit of rates", unit.trim())))?;
    let factor = own
        .factor(measure, product, product)
        .map_err(|error| refused(error.to_string()))?;
    Ok(value * factor)
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
            "say it: --unit \"kg/ha\" for product, --unit \"kg N/ha\" for nitrogen",
        ),
        PlainError::Measure(MeasureError::Product { .. }) => (
            "convert.product",
            "name the product: --to-product \"UAN 28\", or --to-product \"NAME: 28 % N, 1.28 kg/L\"",
        ),
        PlainError::Measure(MeasureError::Density { .. }) => (
            "convert.density",
            "name a liquid with its density: --product or --to-product \"NAME: 28 % N, 1.28 kg/L\"",
        ),
        PlainError::Measure(_) => (
            "convert.nitrogen",
            "say what product the map holds: --product \"UAN 28\"",
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
