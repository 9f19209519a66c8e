//! Styles that lie beside a map's file under the same name.

use super::rules::Style;
use super::{StyleError, qml};
use crate::format::payload::Payload;
use crate::format::shapefile::safe_name;
use crate::map::excluded::excluded;
use crate::map::legend;
use crate::map::prescription::Prescription;

/// Style beside the `GeoJSON` file, and beside `FlatGeobuf`.
pub const BESIDE_GEOJSON: &str = "office/prescription.qml";

/// `office/prescription.qml`, beside the `GeoJSON` file.
///
/// # Errors
/// [`StyleError`] when the writer fails.
pub fn geojson(prescription: &Prescription) -> Result<Payload, StyleError> {
    Ok(Payload::new(
        BESIDE_GEOJSON,
        qml::vector(&zones(prescription))?,
    ))
}

/// `machine/NAME.qml`, beside the shapefile; `rates` are the machine's, zone by zone in the job's unit. Ground that gets nothing has a class too.
///
/// # Errors
/// [`StyleError`] when the writer fails.
pub fn shapefile(
    prescription: &Prescription,
    rates: impl IntoIterator<Item = f64>,
) -> Result<Payload, StyleError> {
    let nothing = (!excluded(prescription).0.is_empty()).then_some(0.0);
    let style = Style::rates(
        &legend::machine(prescription, rates.into_iter().chain(nothing)),
        prescription.rate_column(),
        None,
    );
    let name = safe_name(&prescription.field_name, &prescription.map_id);
    Ok(Payload::new(
        format!("machine/{name}.qml"),
        qml::vector(&style)?,
    ))
}

/// `office/nitrogen.qml`, beside the raster.
///
/// # Errors
/// [`StyleError`] when the writer fails.
pub fn geotiff(prescription: &Prescription) -> Result<Payload, StyleError> {
    Ok(Payload::new(
        "office/nitrogen.qml",
        qml::raster(&legend::nitrogen(prescription))?,
    ))
}

/// Zones by what they get: product with a product, else nitrogen.
pub(crate) fn zones(prescription: &Prescription) -> Style {
    let column = if prescription.product.is_some() {
        "product_rate"
    } else {
        "n_kg_ha"
    };
    Style::rates(&legend::zones(prescription), column, Some("state"))
}

/// Cells by what they ask for.
pub(crate) fn cells(prescription: &Prescription) -> Style {
    Style::rates(&legend::cells(prescription), "n_kg_ha", Some("state"))
}
