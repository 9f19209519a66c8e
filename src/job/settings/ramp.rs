//! One flat rate from a nitrogen ramp: what the job says of it.

use crate::finding::Acceptance;
use crate::job::settings::{
    Application, FieldSettings, Imagery, ProductFacts, RateRules, VectorSource,
};
use crate::science::response_curve::{PlateauShape, Point};
use crate::units::{Length, NRate, Product, RateUnit};
use jiff::civil::Date;

/// A job of one flat rate from a ramp, resolved.
#[derive(Clone, Debug)]
pub struct RampSettings {
    /// `field.name`, if given.
    pub name: Option<String>,
    /// `reference.ramp`: its readings; none yet when they are to be measured on an image.
    pub readings: Vec<Point>,
    /// Where the steps are to be measured, when `reference.ramp` names polygons.
    pub image: Option<Box<RampImage>>,
    /// `reference.ramp_index`, else `imagery.index`, if either is given.
    pub index: Option<String>,
    /// `reference.ramp_model`.
    pub model: PlateauShape,
    /// `rate.applied_before`: what the field beside the ramp got so far, counted as the ramp's rates are; `None` when not given.
    pub applied: Option<NRate>,
    /// `response.applied_since_sensing`.
    pub applied_since_sensing: NRate,
    /// Sensing date.
    pub sensed: Option<Date>,
    /// `[rate]`.
    pub rate: RateRules,
    /// `[product]`.
    pub product: Option<Product>,
    /// What more is known of it.
    pub product_facts: ProductFacts,
    /// `[application]`.
    pub application: Application,
    /// `[[accept]]`: code and who accepted it.
    pub accept: Vec<(String, Acceptance)>,
    /// Unit that the product (or, without one, nitrogen) is shown in.
    pub unit: RateUnit,
    /// Whether people's numbers are in US units.
    pub us_units: bool,
}

/// A ramp on an image, as the job states it.
#[derive(Clone, Debug)]
pub struct RampImage {
    /// `[field]`.
    pub field: FieldSettings,
    /// `[imagery]`.
    pub imagery: Imagery,
    /// `reference.ramp`: the steps' polygons.
    pub steps: VectorSource,
    /// `reference.ramp.rate`: the column of their rates.
    pub column: String,
    /// What one unit of that column is. \[kg N/ha\]
    pub unit: NRate,
    /// `reference.inset`: how far steps are shrunk.
    pub inset: Length,
}
