//! Everything that a run was told, resolved: no option left open, every amount a quantity. `pipeline` sees nothing else of the job.
//!
//! One file a section.

mod field;
mod imagery;
mod machine;
mod office;
pub mod points;
pub mod ramp;
mod rate;
mod reference;
mod response;
mod season;
mod zones;

use crate::finding::Acceptance;
use crate::units::{Product, RateUnit};

pub use field::{Exclusion, FieldSettings, VectorSource};
pub use imagery::{BareBelow, ImageSource, Imagery, Mask, MaskRule, PointSpread};
pub use machine::{Capacity, DriveArea, FirstPass, Heading, Headland, LookAhead, Machine};
pub use office::{Application, Format, Output, Prices, UncertaintySettings};
pub use rate::{ProductFacts, RateRules, StateRate};
pub use reference::{Reading, ReferenceLevel, ReferenceSettings, ReferenceSource, StripsUse};
pub use response::{
    EconomicOptimum, Fitted, MaximumRatio, MethodSettings, NitrogenShare, Response, YieldCurve,
    YieldSettings,
};
pub use season::{Crop, GrowingDays, MissingDayRule, Season};
pub use zones::{ClassBreaks, ZoneRules, ZonesBy};

/// One field, one decision.
#[derive(Clone, Debug)]
pub struct Settings {
    /// `[field]`.
    pub field: FieldSettings,
    /// `[imagery]`; absent when only hand readings are given.
    pub imagery: Option<Imagery>,
    /// `[reference]`.
    pub reference: ReferenceSettings,
    /// `[season]` with the crop's own constants.
    pub season: Season,
    /// `[response]`.
    pub response: Response,
    /// `[rate]`.
    pub rate: RateRules,
    /// `[product]`.
    pub product: Option<Product>,
    /// What more is known of it.
    pub product_facts: ProductFacts,
    /// `[machine]`.
    pub machine: Machine,
    /// `[zones]`.
    pub zones: ZoneRules,
    /// `[prices]`.
    pub prices: Option<Prices>,
    /// `[uncertainty]`.
    pub uncertainty: UncertaintySettings,
    /// `[application]`.
    pub application: Application,
    /// `[[accept]]`: code and who accepted it.
    pub accept: Vec<(String, Acceptance)>,
    /// `[output]`.
    pub output: Output,
}

/// One flat rate from averaged hand readings: no image, no ground, no machine.
#[derive(Clone, Debug)]
pub struct RateSettings {
    /// `field.name`, if given.
    pub name: Option<String>,
    /// `field.region`, if given.
    pub region: Option<String>,
    /// `imagery.sensor`, if given: the kind that the readings were taken with.
    pub sensor: Option<String>,
    /// `reference.readings`; at least one pair.
    pub readings: Vec<Reading>,
    /// `[season]` with the crop's own constants.
    pub season: Season,
    /// `[response]`.
    pub response: Response,
    /// `[rate]`.
    pub rate: RateRules,
    /// `[product]`.
    pub product: Option<Product>,
    /// What more is known of it.
    pub product_facts: ProductFacts,
    /// `[prices]`.
    pub prices: Option<Prices>,
    /// `[application]`.
    pub application: Application,
    /// `[[accept]]`: code and who accepted it.
    pub accept: Vec<(String, Acceptance)>,
    /// Unit that the product (or, without one, nitrogen) is shown in.
    pub unit: RateUnit,
    /// Whether people's numbers are in US units.
    pub us_units: bool,
}
