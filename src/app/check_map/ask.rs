//! What the user asks: amounts in units of the trade, turned into those of the map.

use geo::MultiPolygon;

use crate::app::check_map::CheckMapRequest;
use crate::app::convert::words;
use crate::app::error::AppError;
use crate::job::problem::Problem;
use crate::job::unit::Measure;
use crate::job::{amount, unit};
use crate::map::faults::Against;
use crate::map::imported::{ImportedMap, Meaning, Quantity};
use crate::units::{Length, Product, RateUnit};

fn refused(option: &'static str, problem: &Problem) -> AppError {
    AppError::refused(problem.code(), format!("{option}: {problem}"))
        .with_hint(problem.hint(option))
}

fn unit_refused(option: &str, text: &str) -> AppError {
    AppError::refused(
        "check.unit",
        format!("{option}: {text:?} is no unit of a rate"),
    )
    .with_fact(option, "kg/ha, L/ha, lb/ac, gal/ac, kg N/ha, lb N/ac")
    .with_hint("write nitrogen as nitrogen: kg N/ha")
}

/// Quantity and unit of unit text.
fn read(option: &str, text: &str) -> Result<(Quantity, RateUnit, f64), AppError> {
    let unit = unit::read(text).map_err(|_| unit_refused(option, text))?;
    let (quantity, base, us) = match unit.measure {
        Measure::NitrogenRate => (Quantity::Nitrogen, RateUnit::KgPerHa, RateUnit::LbPerAc),
        Measure::MassRate => (Quantity::ProductMass, RateUnit::KgPerHa, RateUnit::LbPerAc),
        Measure::VolumeRate => (
            Quantity::ProductVolume,
            RateUnit::LPerHa,
            RateUnit::GalPerAc,
        ),
        _ => return Err(unit_refused(option, text)),
    };
    Ok((quantity, if unit.us { us } else { base }, unit.factor))
}

/// What the user says the rates are.
pub(super) fn meaning(request: &CheckMapRequest) -> Result<Option<Meaning>, AppError> {
    let Some(text) = &request.unit else {
        return Ok(None);
    };
    let (quantity, unit, factor) = read("--unit", text)?;
    let own = per_base(unit);
    if (factor / own - 1.0).abs() > 1e-9 {
        return Err(unit_refused("--unit", text));
    }
    Ok(Some(Meaning {
        quantity,
        unit: Some(unit),
        wording_by: "you".to_owned(),
    }))
}

/// Base units (kg/ha, L/ha) in one of a unit.
const fn per_base(unit: RateUnit) -> f64 {
    match unit {
        RateUnit::KgPerHa | RateUnit::LPerHa => 1.0,
        RateUnit::LbPerAc => crate::units::KG_HA_PER_LB_AC,
        RateUnit::GalPerAc => crate::units::L_HA_PER_GAL_AC,
    }
}

pub(super) fn length(
    option: &'static str,
    text: Option<&String>,
) -> Result<Option<Length>, AppError> {
    text.map(|text| amount::length(text).map_err(|problem| refused(option, &problem)))
        .transpose()
}

/// An amount in the map's own unit; product by mass and volume through the product's density.
fn in_map(
    option: &'static str,
    text: Option<&String>,
    map: &ImportedMap,
    product: Option<&Product>,
) -> Result<Option<f64>, AppError> {
    let Some(text) = text else { return Ok(None) };
    let split = text
        .find(|c: char| !(c.is_ascii_digit() || c == '.' || c == ' '))
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(split);
    let value: f64 = number.trim().parse().map_err(|_| {
        AppError::refused(
            "check.amount",
            format!("{option}: {text:?} is no number with a unit"),
        )
        .with_hint("write it as \"250 kg/ha\" or \"40 gal/ac\"")
    })?;
    let (quantity, _, factor) = read(option, unit)?;
    let Some(own) = map.meaning.unit else {
        return Err(AppError::refused(
            "check.amount",
            format!("{option} cannot be held against the map: nothing says what its rates are"),
        )
        .with_hint("state it with --unit, such as \"kg/ha\""));
    };
    let base = value * factor;
    let same = quantity == map.meaning.quantity || map.meaning.quantity == Quantity::Unknown;
    // By way of nitrogen: kilograms of it in one of a quantity's base unit.
    let nitrogen = |quantity: Quantity| match quantity {
        Quantity::Nitrogen => Some(1.0),
        Quantity::ProductMass => Some(product?.nitrogen()),
        Quantity::ProductVolume => Some(product?.nitrogen() * product?.kg_per_l()?),
        Quantity::Unknown => None,
    };
    let converted = if same {
        Some(base)
    } else {
        nitrogen(quantity)
            .zip(nitrogen(map.meaning.quantity))
            .map(|(from, to)| base * from / to)
    };
    let converted = converted.ok_or_else(|| {
        AppError::refused(
            "check.amount",
            format!(
                "{option} is {}, the map is {}",
                quantity.name(),
                map.meaning.quantity.name()
            ),
        )
        .with_hint(format!(
            "give it in {}, or name the product with --product",
            map.meaning.label()
        ))
    })?;
    Ok(Some(converted / per_base(own)))
}

/// All that the map is held against.
pub(super) fn against(
    request: &CheckMapRequest,
    map: &ImportedMap,
    boundary: Option<MultiPolygon<f64>>,
    exclusions: Vec<MultiPolygon<f64>>,
) -> Result<Against, AppError> {
    let product = match &request.product {
        None => map.product.product.clone(),
        Some(name) => Some(words::product(name, "--product")?),
    };
    let nitrogen_limit = match &request.nitrogen_limit {
        None => None,
        Some(text) => Some(
            amount::nitrogen(text, product.as_ref(), false)
                .map_err(|problem| refused("--nitrogen-limit", &problem))?
                .rate,
        ),
    };
    if nitrogen_limit.is_some()
        && map.meaning.quantity != Quantity::Nitrogen
        && (product.is_none() || map.meaning.unit.is_none())
    {
        let notice = AppError::refused(
            "check.nitrogen_limit",
            "--nitrogen-limit cannot be checked: the nitrogen content of the map's product is unknown",
        );
        return Err(notice
            .with_fact("the map", format!("{}, {}", map.meaning.quantity.name(), map.meaning.label()))
            .with_hint("name the product with --product, and the unit with --unit if the map does not say it"));
    }
    Ok(Against {
        boundary,
        exclusions,
        exclusion_buffer: length("--exclude-buffer", request.exclude_buffer.as_ref())?
            .unwrap_or(Length::ZERO),
        machine_width: length("--machine-width", request.machine_width.as_ref())?,
        minimum: in_map("--least", request.minimum.as_ref(), map, product.as_ref())?,
        maximum: in_map(
            "--greatest",
            request.maximum.as_ref(),
            map,
            product.as_ref(),
        )?,
        nitrogen_limit,
        product,
    })
}
