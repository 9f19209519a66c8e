//! Everything that a run was told, resolved: no option left open, every amount a quantity. `pipeline` sees nothing else of the job.
//!
//! Each section's settings stand beside what reads them and what the record says of them, in `job::sections`.

use crate::finding::Acceptance;
use crate::units::{Product, RateUnit};

pub use crate::job::ramp;
pub use crate::job::sections::crop::{Crop, GrowingDays, MissingDayRule, Season};
pub use crate::job::sections::economic::EconomicOptimum;
pub use crate::job::sections::ground::{
    Exclusion, FieldSettings, Reading, ReferenceLevel, ReferenceSettings, ReferenceSource,
    StripsUse, VectorSource,
};
pub use crate::job::sections::image::{
    BareBelow, ImageSource, Imagery, Mask, MaskRule, PointSpread,
};
pub use crate::job::sections::machine::{
    DriveArea, FirstPass, Heading, Headland, LookAhead, Machine,
};
pub use crate::job::sections::method::{Fitted, MethodSettings, Response};
pub use crate::job::sections::money::Prices;
pub use crate::job::sections::output::{Application, Filed, Format, Output, ReportSettings};
pub use crate::job::sections::points;
pub use crate::job::sections::rate::{ProductFacts, RateRules, StateRate};
pub use crate::job::sections::rate_set::{SetRate, SetTo};
pub use crate::job::sections::share::NitrogenShare;
pub use crate::job::sections::uncertainty::UncertaintySettings;
pub use crate::job::sections::yields::{MaximumRatio, YieldCurve, YieldSettings};
pub use crate::job::sections::zones::{ClassBreaks, ZoneRules, ZonesBy};
pub use crate::units::Capacity;

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
    /// `[record]`.
    pub filed: Filed,
    /// `[report]`.
    pub report: ReportSettings,
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
