//! A map reduced to what every format can say: valid outlines, one rate each, one unit; and the grid it came as, if it came as one.
//!
//! [`of_imported`] makes it of anybody's map and says what it had to leave behind.

mod convert;
mod grid;
mod measure;

#[cfg(test)]
pub(crate) use convert::of_prescription;
pub use convert::{Converted, RateMapError, Requirements, of_imported};
pub use grid::zones_of_grid;
pub use measure::{Measure, MeasureError};

use crate::map::imported::{Quantity, RateLattice, StatedFallbacks};
use crate::space::crs::Crs;
use crate::units::{NRate, Product, half_up_to_hundredth};
use geo::{GeodesicArea, MultiPolygon};

/// Ground and what it gets.
#[derive(Clone, Debug, PartialEq)]
pub struct RateZone {
    /// Number, from 1.
    pub zone: u32,
    /// Rate in the map's measure, as exact as the source had it.
    pub rate: f64,
    /// Valid outline in the map's system.
    pub outline: MultiPolygon<f64>,
    /// Area on the ellipsoid. \[m²\]
    pub area_m2: f64,
    /// Nitrogen that the source states beside the product. \[kg N/ha\]
    pub stated_n: Option<f64>,
}

/// A map that any format can hold.
#[derive(Clone, Debug, PartialEq)]
pub struct RateMap {
    /// Name of the field or map.
    pub name: String,
    /// Reference system of all coordinates, x before y.
    pub system: Crs,
    /// What rates mean.
    pub measure: Measure,
    /// Product, when its nitrogen is known.
    pub product: Option<Product>,
    /// Product as it is called, if it is.
    pub product_name: Option<String>,
    /// Crop, if it is known.
    pub crop: Option<String>,
    /// Zones in order.
    pub zones: Vec<RateZone>,
    /// The grid that the zones were made of, rates in the map's measure.
    pub lattice: Option<RateLattice>,
    /// The field's boundary.
    pub boundary: Option<MultiPolygon<f64>>,
    /// Rates that a terminal falls back to, in the map's measure.
    pub fallbacks: StatedFallbacks,
}

/// Size of a map, for people who compare.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tally {
    /// How many zones.
    pub zones: usize,
    /// Area on the ellipsoid. \[m²\]
    pub area_m2: f64,
    /// Sum of rate × area, in the measure's total unit.
    pub total: f64,
    /// Least rate.
    pub minimum: f64,
    /// Greatest rate.
    pub maximum: f64,
}

impl RateMap {
    /// Size of the map.
    pub fn tally(&self) -> Tally {
        let rates = || self.zones.iter().map(|zone| zone.rate);
        Tally {
            zones: self.zones.len(),
            area_m2: self.zones.iter().map(|zone| zone.area_m2).sum(),
            total: self
                .zones
                .iter()
                .map(|zone| zone.rate * self.measure.areas_of(zone.area_m2))
                .sum(),
            minimum: rates().fold(f64::INFINITY, f64::min),
            maximum: rates().fold(f64::NEG_INFINITY, f64::max),
        }
    }

    /// What stands in the columns `product_rate` and `product_unit`: nothing for a map of nitrogen.
    pub fn product_rate(&self, zone: &RateZone) -> Option<f64> {
        (self.measure.quantity != Quantity::Nitrogen).then(|| half_up_to_hundredth(zone.rate))
    }

    /// What stands in the column `n_kg_ha`: worked out from the product, else what the source states, else nothing. \[kg N/ha\]
    pub fn nitrogen(&self, zone: &RateZone) -> Option<f64> {
        self.measure
            .to_nitrogen(zone.rate, self.product.as_ref())
            .map(NRate::get)
            .or(zone.stated_n)
    }

    /// Product as a terminal shows it.
    pub fn product_shown(&self) -> &str {
        match (&self.product_name, self.measure.quantity) {
            (Some(name), _) => name,
            (None, Quantity::Nitrogen) => "Nitrogen as N",
            (None, _) => "Product",
        }
    }
}

/// Area of a shape in longitude and latitude on WGS 84. \[m²\]
pub fn area_on_ellipsoid(outline: &MultiPolygon<f64>) -> f64 {
    outline.geodesic_area_signed().abs()
}
