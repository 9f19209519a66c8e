//! Crops, yield curves and products by name, in the shape that the settings take.

use crate::pipeline::settings::Crop;
use crate::pipeline::settings::YieldCurve;
use crate::science::growing_days::BaseTemperature;
use crate::units::Product;
use crate::units::Yield;

/// A curve of the table and the crop that it was fitted for.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct NamedCurve {
    pub(crate) name: String,
    pub(crate) crop: String,
    pub(crate) curve: YieldCurve,
}

fn crops() -> Vec<Crop> {
    vec![Crop {
        name: "winter wheat".to_owned(),
        base_c: 4.4,
        base: BaseTemperature::celsius(4.4),
        grain_nitrogen: 0.0239,
        lb_per_bu: Some(60.0),
        window_days: Some((87.0, 112.0)),
        stand_cv: 0.40,
        source: "common practice".to_owned(),
    }]
}

fn curves() -> Vec<NamedCurve> {
    vec![NamedCurve {
        name: "winter wheat, common practice".to_owned(),
        crop: "winter wheat".to_owned(),
        curve: YieldCurve { a: Yield::kg_per_ha(590.0), b: 258.2, index: "NDVI".to_owned(), region: None, sensor: None, source: "common practice".to_owned() },
    }]
}

fn products() -> Vec<Product> {
    [("urea", 0.46, None), ("UAN 28", 0.28, Some(1.28))].into_iter().filter_map(|(name, n, d)| Product::new(name, n, d)).collect()
}

fn same(a: &str, b: &str) -> bool {
    a.eq_ignore_ascii_case(b)
}

pub(crate) fn find_crop(name: &str) -> Option<Crop> {
    crops().into_iter().find(|crop| same(&crop.name, name))
}
pub(crate) fn crop_names() -> Vec<String> {
    crops().into_iter().map(|crop| crop.name).collect()
}
pub(crate) fn find_curve(name: &str) -> Option<NamedCurve> {
    curves().into_iter().find(|curve| same(&curve.name, name))
}
pub(crate) fn curve_names() -> Vec<String> {
    curves().into_iter().map(|curve| curve.name).collect()
}
pub(crate) fn find_product(name: &str) -> Option<Product> {
    products().into_iter().find(|product| same(product.name(), name))
}
pub(crate) fn product_names() -> Vec<String> {
    products().iter().map(|product| product.name().to_owned()).collect()
}
