//! Crops, yield curves and products by name, from the shipped tables in the shape that the settings take.

use crate::job::settings::{Crop, YieldCurve};
use crate::science::crop::{CropEntry, CropTables, CurveEntry};
use crate::science::naming::UnknownName;
use crate::science::{crop, index, product};
use crate::units::Product;

/// A curve of the table and the crop that it was fitted for.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct NamedCurve {
    pub(crate) name: String,
    pub(crate) crop: String,
    pub(crate) curve: YieldCurve,
}

/// The crop of this name or alias: the user's own before a shipped one.
pub(crate) fn find_crop(name: &str, own: &CropTables) -> Result<Crop, UnknownName> {
    own.find_crop(name)
        .map_or_else(|| crop::find_crop(name), Ok)
        .map(crop_of)
}

fn crop_of(entry: &CropEntry) -> Crop {
    Crop {
        name: entry.name.clone(),
        base_c: entry.base_celsius(),
        base: entry.base_temperature(),
        grain_nitrogen: entry.grain_nitrogen,
        lb_per_bu: Some(entry.lb_per_bu),
        grain_moisture: entry.grain_moisture,
        window_days: entry.window_days,
        stand_cv: entry.stand_cv,
        source: format!("{} ({})", entry.source, entry.certainty.label()),
    }
}

/// The names of all crops.
pub(crate) fn crop_names() -> Vec<String> {
    crop::crops()
        .iter()
        .map(|entry| entry.name.clone())
        .collect()
}

/// The yield curve of this name: the user's own before a shipped one.
pub(crate) fn find_curve(name: &str, own: &CropTables) -> Result<NamedCurve, UnknownName> {
    own.find_curve(name)
        .map_or_else(|| crop::find_curve(name), Ok)
        .map(curve_of)
}

fn curve_of(entry: &CurveEntry) -> NamedCurve {
    let numbers = entry.curve();
    NamedCurve {
        name: entry.name.clone(),
        crop: entry.crop.clone(),
        curve: YieldCurve {
            a: numbers.a,
            b: numbers.b,
            index: entry.index.clone(),
            region: entry.region.clone(),
            sensor: entry.sensor.clone(),
            source: format!("{} ({})", entry.source, entry.certainty.label()),
        },
    }
}

/// Names of the shipped yield curves, as `response.yield_curve` takes them.
pub fn curve_names() -> Vec<String> {
    crop::curves()
        .iter()
        .map(|entry| entry.name.clone())
        .collect()
}

/// The product of this name or alias.
pub(crate) fn find_product(name: &str) -> Result<Product, UnknownName> {
    let unknown = || UnknownName {
        kind: "product",
        name: name.to_owned(),
        nearest: None,
        known: product_names().join("; "),
    };
    product::find_product(name)?.product().ok_or_else(unknown)
}

/// The names of all products.
pub(crate) fn product_names() -> Vec<String> {
    product::products()
        .iter()
        .map(|entry| entry.name.clone())
        .collect()
}

/// The catalogue's own spelling of an index name; other text as it stands.
pub(crate) fn index_name(name: &str) -> String {
    index::find_entry(name).map_or_else(|| name.to_owned(), |entry| entry.name.clone())
}
