//! Everything that a run was told, resolved: no option left open, every amount a quantity. `pipeline` sees nothing else of the job.

pub mod points;

use std::path::PathBuf;

use crate::finding::Acceptance;
use crate::map::task_options::{GridRates, TaskOptions};
use crate::science::degree_days::GrowingRule;
use crate::science::growing_days::BaseTemperature;
use crate::science::methods::{Method, about};
use crate::science::reference::SpreadFit;
use crate::science::response_curve::ResponseCurve;
use crate::science::yield_response as science;
use crate::science::yield_response::YieldResponse;
use crate::units::{
    Area, KG_PER_LB, Length, M2_PER_AC, M2_PER_HA, NRate, Product, ProductRate, RateUnit, Seconds,
    Speed, Yield,
};
use jiff::civil::Date;

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

/// A vector file, a layer of it and an attribute filter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VectorSource {
    /// The file.
    pub path: PathBuf,
    /// The layer; the only one, or the first, when not given.
    pub layer: Option<String>,
    /// Attribute filter in the driver's SQL dialect.
    pub filter: Option<String>,
    /// Whether several features are joined into one.
    pub merge: bool,
}

/// `[field]`.
#[derive(Clone, Debug)]
pub struct FieldSettings {
    /// Name on paper, task and terminal.
    pub name: String,
    /// Region, in the user's words; compared with that of the method's numbers.
    pub region: Option<String>,
    /// Where the boundary stands.
    pub boundary: VectorSource,
    /// Working plane asked for, as the user wrote it.
    pub crs: Option<String>,
    /// Whether strips are mapped like the rest (`true`) or get no rate.
    pub map_strips: bool,
    /// Ground that gets nothing.
    pub exclusions: Vec<Exclusion>,
    /// Hard edges: overrun stops there.
    pub edges: Vec<VectorSource>,
}

/// `[[field.exclude]]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Exclusion {
    /// Where the polygons stand.
    pub source: VectorSource,
    /// How far they are grown.
    pub buffer: Length,
    /// Why, in the user's words.
    pub reason: Option<String>,
}

/// `[imagery]`.
#[derive(Clone, Debug)]
pub struct Imagery {
    /// One file, or one a band.
    pub source: ImageSource,
    /// Sensing date.
    pub date: Date,
    /// Catalogue name, `band N`, or formula, as written.
    pub index: String,
    /// Band numbers (from 1) by band name; only for one file.
    pub bands: Vec<(String, usize)>,
    /// Overrides the file's own scale.
    pub scale: Option<f64>,
    /// Overrides the file's own offset.
    pub offset: Option<f64>,
    /// The stored number that stands for no data; overrides the file's own.
    pub nodata: Option<f64>,
    /// Index below which ground counts as bare; `None` is off, and absent means the catalogue's own.
    pub bare_below: BareBelow,
    /// Share of a pixel that must lie in the field.
    pub pixel_inside: f64,
    /// Share of a cell that must be seen.
    pub minimum_seen: f64,
    /// The sensor's blur beyond the pixel itself.
    pub point_spread: PointSpread,
    /// Class or bit mask.
    pub mask: Option<Mask>,
    /// Kind of sensor, in the words of `haulm crops`; compared with that of the method's numbers.
    pub sensor: Option<String>,
}

/// `imagery.point_spread`: full width at half maximum of the sensor's blur beyond the pixel. \[pixels\]
#[derive(Clone, Debug, PartialEq)]
pub enum PointSpread {
    /// As stated.
    Given(f64),
    /// The published figure of a sensor: its name, the width.
    Sensor(String, f64),
    /// Fitted from the pixels of coarse strips.
    Fit,
}

impl PointSpread {
    /// Whether any blur is reckoned with.
    pub fn is_any(&self) -> bool {
        *self != Self::Given(0.0)
    }
    /// The width that coarse strips are solved with: as given, or as fitted (none where it could not be). \[pixels\]
    pub fn width(&self, fitted: Option<&SpreadFit>) -> f64 {
        match self {
            Self::Given(width) | Self::Sensor(_, width) => *width,
            Self::Fit => fitted.map_or(0.0, |fit| fit.full_width),
        }
    }
}

/// `imagery.path`.
#[derive(Clone, Debug, PartialEq)]
pub enum ImageSource {
    /// One raster with all bands.
    One(PathBuf),
    /// One raster a band, by band name.
    PerBand(Vec<(String, PathBuf)>),
    /// Single readings: `[points]` instead of an image.
    Points(Box<crate::job::settings::points::Points>),
}

/// `imagery.bare_below`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BareBelow {
    /// The catalogue's default for the index (NDVI 0.25; others off).
    OfIndex,
    /// As given.
    Value(f64),
}

/// `imagery.mask`.
#[derive(Clone, Debug, PartialEq)]
pub struct Mask {
    /// The class raster; absent means the first mask of the satellite product that the image is.
    pub path: Option<PathBuf>,
    /// The band that holds it, from 1.
    pub band: usize,
    /// What makes a pixel usable.
    pub rule: MaskRule,
    /// How far unusable classes are grown, between pixel centres.
    pub grow: Length,
    /// Further masks: a pixel must be usable by each of them.
    pub and: Vec<Mask>,
}

/// Which mask values are usable.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum MaskRule {
    /// Classes that are kept; all else is dropped.
    Keep(Vec<i64>),
    /// Bits of which none may be set.
    Bits(Vec<u8>),
}

/// `[reference]`.
#[derive(Clone, Debug)]
pub struct ReferenceSettings {
    /// Where the reference comes from.
    pub source: ReferenceSource,
    /// How far strips are shrunk (fine pixels).
    pub inset: Length,
    /// Ground between strip and comparison swath.
    pub gap: Length,
    /// Segments a strip is cut into.
    pub segments: usize,
    /// MADs beyond which a segment is dropped; 0 keeps every one.
    pub drop: f64,
    /// Which strips count where.
    pub strips_use: StripsUse,
    /// Where the level of the reference index comes from.
    pub level: ReferenceLevel,
}

/// `reference.level`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ReferenceLevel {
    /// The strip's own index.
    #[default]
    Strip,
    /// Half of it from the strip, half from its response index times the field's mean index.
    Balanced,
}

/// `reference.strips_use`, or `reference.zones`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StripsUse {
    /// All strips everywhere, weighted by area.
    Pooled,
    /// Each cell takes the strip nearest to its centroid.
    Nearest,
    /// Each cell takes all strips, weighted by the inverse square of their distance from its centroid.
    InverseDistance,
    /// Each zone of a layer takes the strips inside it.
    Zones {
        /// The layer.
        source: VectorSource,
        /// Whether a zone without a strip takes the pooled reference instead of being refused.
        pooled_without: bool,
    },
}

/// `[uncertainty]`: how the band of field, zones and cells is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UncertaintySettings {
    /// Draws; 0 for none.
    pub draws: u32,
    /// What they begin with.
    pub seed: u64,
    /// Half of the range of use efficiency over its middle.
    pub use_efficiency_spread: f64,
    /// Standard deviation of the reference index by the strip's place, as a share; as placebo strips show it when not given.
    pub place_spread: Option<f64>,
}

/// Where the reference comes from.
#[derive(Clone, Debug, PartialEq)]
pub enum ReferenceSource {
    /// Strips on the image.
    Strips(VectorSource),
    /// Averaged hand readings (strip, beside).
    Readings(Vec<Reading>),
    /// A percentile of canopy cells, 0 … 100.
    Percentile(f64),
}

/// One pair of averaged hand readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// In the strip.
    pub strip: f64,
    /// Beside it.
    pub beside: f64,
}

/// `[season]`, with the crop's row of the table.
#[derive(Clone, Debug, PartialEq)]
pub struct Season {
    /// The crop.
    pub crop: Crop,
    /// `season.crops`: a table of crops and curves of the user's own.
    pub crops: Option<PathBuf>,
    /// Planting date.
    pub planted: Option<Date>,
    /// Where growing days come from.
    pub growing_days: GrowingDays,
    /// How a day's growing degrees are reckoned.
    pub rule: GrowingRule,
    /// What is done about days that the record lacks.
    pub missing_days: MissingDayRule,
    /// Whether the sensing day counts.
    pub count_sensing_day: bool,
    /// Sensing date (imagery's, or its own with hand readings).
    pub sensed: Option<Date>,
}

/// Where growing days come from.
#[derive(Clone, Debug, PartialEq)]
pub enum GrowingDays {
    /// Stated by the user.
    Given(f64),
    /// Counted from a daily record.
    Weather(PathBuf),
    /// Counted from the record of the nearest station of a list, or of a named one.
    Stations {
        /// The list.
        list: PathBuf,
        /// The name of the station to take, if not the nearest.
        station: Option<String>,
    },
    /// Not known, and the method needs none.
    NotStated,
}

/// `season.missing_days`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MissingDayRule {
    /// The job is refused.
    Refuse,
    /// They are taken from the next nearest station of the list.
    NextStation,
    /// They count as no growing days, and the range that this leaves is told.
    LeaveOut,
}

/// A crop's constants.
#[derive(Clone, Debug, PartialEq)]
pub struct Crop {
    /// Name.
    pub name: String,
    /// Base temperature of growth. \[°C\] For showing; growing days are compared with `base`.
    pub base_c: f64,
    /// Base temperature of growth in the unit in which it was stated.
    pub base: BaseTemperature,
    /// Grain nitrogen as a share of grain mass, where a figure is confirmed; `response.grain_nitrogen` is what is used.
    pub grain_nitrogen: Option<f64>,
    /// Pounds in a bushel.
    pub lb_per_bu: Option<f64>,
    /// Water in grain at market moisture, share of grain mass; yields and grain nitrogen are stated at it.
    pub grain_moisture: Option<f64>,
    /// Growing days between which the curve is trusted.
    pub window_days: Option<(f64, f64)>,
    /// Largest CV of the comparison swath that still counts as a uniform stand. \[share\]
    pub stand_cv: f64,
    /// Source and certainty.
    pub source: String,
}

/// `[response]`: the method that sets rates, and what holds for every method.
#[derive(Clone, Debug)]
pub struct Response {
    /// The method with its own parameters.
    pub method: MethodSettings,
    /// How much of a cell's paleness counts as nitrogen.
    pub nitrogen_share: NitrogenShare,
    /// The greatest response index that counts.
    pub maximum_ratio: MaximumRatio,
    /// Nitrogen that went on after sensing.
    pub applied_since_sensing: NRate,
    /// Standard deviation of the method's curve, as a share, when stated.
    pub curve_spread: Option<f64>,
    /// The economic optimum, when the job asks for it.
    pub economic: Option<EconomicOptimum>,
}

/// `response.economic`: the rate that pays best on the job's own response curve.
#[derive(Clone, Debug, PartialEq)]
pub struct EconomicOptimum {
    /// Grain \[kg/ha\] as a function of the season's nitrogen \[kg N/ha\].
    pub curve: ResponseCurve,
    /// Where the curve comes from.
    pub source: String,
    /// Price of a kg of nitrogen over that of a kg of grain.
    pub price_ratio: f64,
    /// The season's nitrogen that pays best.
    pub optimum: NRate,
    /// Greatest rate of the trial, when stated.
    pub maximum_rate: Option<NRate>,
}

/// The method of a job.
#[derive(Clone, Debug)]
pub enum MethodSettings {
    /// Yield in reach without and with nitrogen; it still wants growing days and reference.
    YieldResponse(YieldSettings),
    /// Any other: its parameters are complete.
    Other {
        /// The method.
        method: Method,
        /// What its numbers were made for.
        fitted: Fitted,
    },
}

/// What a method's numbers were made for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fitted {
    /// Canopy index, where the numbers hold for one.
    pub index: Option<String>,
    /// Region, when it is stated.
    pub region: Option<String>,
    /// Kind of sensor, when it is stated.
    pub sensor: Option<String>,
    /// Source and certainty.
    pub source: String,
    /// Whether the formula is from memory and was not compared with its paper.
    pub from_memory: bool,
}

/// `[response]` of the yield-response method.
#[derive(Clone, Debug)]
pub struct YieldSettings {
    /// What the site can never exceed.
    pub maximum_yield: Yield,
    /// Yield curve.
    pub curve: YieldCurve,
    /// Linear adjustment of the response index: slope, intercept.
    pub ratio_adjustment: Option<(f64, f64)>,
    /// Response indices up to 1 + this count as 1.
    pub dead_band: f64,
    /// Grain nitrogen, share of grain mass.
    pub grain_nitrogen: f64,
    /// Share of applied nitrogen that reaches the grain.
    pub use_efficiency: f64,
}

impl Response {
    /// The method's name in jobs and records.
    pub const fn name(&self) -> &'static str {
        match &self.method {
            MethodSettings::YieldResponse(_) => about::YIELD_RESPONSE,
            MethodSettings::Other { method, .. } => method.name(),
        }
    }
    /// Settings of the yield-response method; `None` with any other: it foretells no yield.
    pub const fn yields(&self) -> Option<&YieldSettings> {
        match &self.method {
            MethodSettings::YieldResponse(yields) => Some(yields),
            MethodSettings::Other { .. } => None,
        }
    }
    /// The index that the method's numbers hold for.
    pub fn index(&self) -> Option<&str> {
        match &self.method {
            MethodSettings::YieldResponse(yields) => Some(&yields.curve.index),
            MethodSettings::Other { fitted, .. } => fitted.index.as_deref(),
        }
    }
    /// What the method's numbers were made for.
    pub fn fitted(&self) -> Fitted {
        match &self.method {
            MethodSettings::YieldResponse(yields) => Fitted {
                index: Some(yields.curve.index.clone()),
                region: yields.curve.region.clone(),
                sensor: yields.curve.sensor.clone(),
                source: yields.curve.source.clone(),
                from_memory: false,
            },
            MethodSettings::Other { fitted, .. } => fitted.clone(),
        }
    }
    /// The method, once growing days are known.
    pub fn method(&self, growing_days: f64) -> Method {
        match &self.method {
            MethodSettings::YieldResponse(yields) => Method::YieldResponse(YieldResponse {
                curve: science::YieldCurve {
                    a: yields.curve.a,
                    b: yields.curve.b,
                },
                growing_days,
                maximum_yield: yields.maximum_yield,
                ratio_adjustment: yields.ratio_adjustment,
                dead_band: yields.dead_band,
                grain_nitrogen: yields.grain_nitrogen,
                use_efficiency: yields.use_efficiency,
            }),
            MethodSettings::Other { method, .. } => method.clone(),
        }
    }
}

/// `YP0 = a · exp(b · I / D)`.
#[derive(Clone, Debug, PartialEq)]
pub struct YieldCurve {
    /// Yield at index 0.
    pub a: Yield,
    /// Exponent. \[d\]
    pub b: f64,
    /// Index it was fitted with.
    pub index: String,
    /// Region it was fitted in, when it says so.
    pub region: Option<String>,
    /// Sensor kind, when it says so.
    pub sensor: Option<String>,
    /// Source and certainty.
    pub source: String,
}

/// `response.nitrogen_share`: how much of a cell's paleness counts as nitrogen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NitrogenShare {
    /// 1: each cell against the strip; 0: the field's response index for every cell; or between.
    Stated(f64),
    /// What the strip and other places of the field show.
    Measured,
}

/// `response.maximum_ratio`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MaximumRatio {
    /// Not stated: 2, or less where the strip's answer is doubtful or none.
    ByAnswer,
    /// A number above 1.
    Value(f64),
    /// The most that the strip itself showed.
    Seen,
}

/// `[rate]`.
#[derive(Clone, Debug)]
pub struct RateRules {
    /// Least rate of a canopy cell.
    pub minimum: NRate,
    /// Greatest rate: as written, or what the season's limit leaves if that is less.
    pub maximum: NRate,
    /// Greatest rate as written.
    pub maximum_written: NRate,
    /// Limit of the season's total nitrogen, if there is one.
    pub season_limit: Option<NRate>,
    /// Nitrogen that the crop got this season before sensing.
    pub applied_before: NRate,
    /// Rates are multiples of it.
    pub step: NRate,
    /// Largest step from cell to cell along the drive, if there is one.
    pub maximum_step: Option<NRate>,
    /// The grower's flat rate, for comparison.
    pub usual: Option<NRate>,
    /// Whether that is the rate of this very pass.
    pub usual_is_this_pass: bool,
    /// Rule for thin cells.
    pub thin: StateRate,
    /// Rule for unseen cells.
    pub unseen: StateRate,
    /// Rule for bare cells.
    pub bare: StateRate,
}

/// What a state of ground gets.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum StateRate {
    /// Its own computed rate.
    Own,
    /// The field rate (for thin cells: at most).
    FieldRate,
    /// As written, not rounded.
    Amount(NRate),
}

/// What is known of the product besides its nitrogen and its working density.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ProductFacts {
    /// Name of its row in the shipped table; `None` for a product of the job's own.
    pub shipped: Option<String>,
    /// Working temperature, when given. \[°C\]
    pub temperature_c: Option<f64>,
    /// Loose bulk density of a solid, least and greatest. \[kg/m³\]
    pub bulk_kg_m3: Option<(f64, f64)>,
}

pub use crate::units::Capacity;

/// `[machine]`.
#[derive(Clone, Debug)]
pub struct Machine {
    /// Working width.
    pub working_width: Length,
    /// Sections of equal width that take a rate of their own; a cell is as wide as one.
    pub sections: u32,
    /// The headland, when it has a rule of its own.
    pub headland: Option<Headland>,
    /// Driving direction.
    pub heading: Heading,
    /// Parts of the field that are driven their own way, in the job's order.
    pub areas: Vec<DriveArea>,
    /// By how much machine files look ahead, when they do.
    pub look_ahead: Option<LookAhead>,
    /// Cell length along the drive.
    pub cell_length: Length,
    /// Driving speed, when given.
    pub speed: Option<Speed>,
    /// Delay before the rate begins to change.
    pub delay: Option<Seconds>,
    /// Time that the change takes.
    pub transition: Option<Seconds>,
    /// How far rates are carried beyond the field in machine files.
    pub overrun: Length,
    /// Least product rate that the machine holds.
    pub minimum_rate: Option<ProductRate>,
    /// Greatest product rate.
    pub maximum_rate: Option<ProductRate>,
    /// What its tank or hopper holds, when given.
    pub capacity: Option<Capacity>,
    /// What cells of a task's grid hold.
    pub grid: GridRates,
    /// Rate on start.
    pub on_start: StateRate,
    /// Rate when position is lost; `Own` when the job does not say: the field rate, or 0 as soon as the field has an exclusion or a hole.
    pub position_lost: StateRate,
    /// Rate outside the field.
    pub outside: StateRate,
}

impl Machine {
    /// Width of a cell: of one section.
    pub fn cell_width(&self) -> Length {
        self.working_width * (1.0 / f64::from(self.sections))
    }
    /// How far the machine drives until a change of rate is done, where that is known.
    pub fn response(&self) -> Option<Length> {
        let (speed, delay, transition) = (self.speed?, self.delay?, self.transition?);
        Some(speed * delay + speed * transition)
    }
}

/// `machine.headland`: what lies within some passes of the boundary.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Headland {
    /// Passes around the field.
    pub passes: u32,
    /// What its canopy gets.
    pub rate: StateRate,
}

/// `[[machine.area]]`: ground that is driven its own way.
#[derive(Clone, Debug, PartialEq)]
pub struct DriveArea {
    /// The ground.
    pub source: VectorSource,
    /// Its driving direction.
    pub heading: Heading,
}

/// `machine.look_ahead`, with `machine.first_pass`: machine files are shifted against the direction of travel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LookAhead {
    /// By how much.
    pub distance: Length,
    /// The direction of the rightmost pass, as seen along the heading, and of those beside it.
    pub first_pass: FirstPass,
}

/// `machine.first_pass`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FirstPass {
    /// Along the heading; the next against it, and so on.
    Along,
    /// Against the heading; the next along it, and so on.
    Against,
    /// Every pass along the heading.
    EveryAlong,
}

impl FirstPass {
    /// As jobs and records have it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Along => "along",
            Self::Against => "against",
            Self::EveryAlong => "every along",
        }
    }
}

/// `machine.heading`.
#[derive(Clone, Debug, PartialEq)]
pub enum Heading {
    /// Degrees clockwise from true north.
    True(f64),
    /// Degrees clockwise from the plane's north.
    Grid(f64),
    /// The boundary's axis.
    Auto,
    /// A guidance line; columns fall on its passes.
    Line(VectorSource),
}

/// `[zones]`.
#[derive(Clone, Debug)]
pub struct ZoneRules {
    /// How cells become zones.
    pub by: ZonesBy,
    /// Smaller zones join a neighbour.
    pub minimum_area: Area,
    /// How far borders may move.
    pub simplify: Length,
    /// How far from a corner borders may be cut off to round it.
    pub round_corners: Length,
    /// By which share drawing may change a zone's area.
    pub area_within: f64,
    /// Neighbouring zones whose rates are this near to their union's are joined.
    pub tolerance: NRate,
    /// Whether zones are rounded so that the total is kept.
    pub keep_total: bool,
}

/// `zones.by`.
#[derive(Clone, Debug, PartialEq)]
pub enum ZonesBy {
    /// Neighbouring cells of equal rate.
    Cells,
    /// Classes of the canopy index.
    Classes(ClassBreaks),
}

/// How classes are cut.
#[derive(Clone, Debug, PartialEq)]
pub enum ClassBreaks {
    /// Fisher–Jenks with this many classes.
    Natural(usize),
    /// Equal areas, this many classes.
    Quantile(usize),
    /// Upper bounds as given.
    Given(Vec<f64>),
}

/// `[prices]`, one currency.
#[derive(Clone, Debug, PartialEq)]
pub struct Prices {
    /// As the user names it.
    pub currency: String,
    /// Grain. \[currency/kg\]
    pub grain: f64,
    /// Nitrogen. \[currency/kg N\]
    pub nitrogen: f64,
    /// One pass. \[currency/ha\]
    pub application: f64,
    /// What image and map cost. \[currency/ha\]
    pub mapping: f64,
}

/// `[application]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Application {
    /// Planned date.
    pub date: Option<Date>,
    /// Days after which an image no longer shows the crop.
    pub maximum_image_age: i32,
}

/// `[output]`.
#[derive(Clone, Debug)]
pub struct Output {
    /// Folder of the two folders.
    pub folder: PathBuf,
    /// Unit of the product column (with no product: of nitrogen, kg/ha or lb/ac).
    pub unit: RateUnit,
    /// Whether people's numbers are in US units.
    pub us_units: bool,
    /// What is written.
    pub formats: Vec<Format>,
    /// How task data hold the map.
    pub task_data: TaskOptions,
}

impl Output {
    /// A mass of nitrogen as people read it, in the job's own unit: `505 kg N` or `1113 lb N`.
    pub fn nitrogen(&self, kg: f64) -> String {
        if self.us_units {
            format!("{:.0} lb N", kg / KG_PER_LB)
        } else {
            format!("{kg:.0} kg N")
        }
    }
    /// A change of a mass of nitrogen, with its sign: `+3.2 kg N`.
    pub fn nitrogen_moved(&self, kg: f64) -> String {
        if self.us_units {
            format!("{:+.1} lb N", kg / KG_PER_LB)
        } else {
            format!("{kg:+.1} kg N")
        }
    }
    /// Money by area: `4.2 EUR/ha` or `1.7 USD/ac`.
    pub fn money_per_area(&self, per_ha: f64, currency: &str) -> String {
        if self.us_units {
            format!("{:.1} {currency}/ac", per_ha * M2_PER_AC / M2_PER_HA)
        } else {
            format!("{per_ha:.1} {currency}/ha")
        }
    }
    /// A nitrogen rate: `23.3 kg N/ha`.
    pub fn nitrogen_rate(&self, kg_ha: f64) -> String {
        if self.us_units {
            format!("{:.1} lb N/ac", NRate::kg_per_ha(kg_ha).as_lb_per_ac())
        } else {
            format!("{kg_ha:.1} kg N/ha")
        }
    }
}

/// An output format.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Format {
    /// `office/prescription.gpkg`.
    GeoPackage,
    /// `office/prescription.geojson`.
    GeoJson,
    /// `machine/NAME.shp` and its sidecars.
    Shapefile,
    /// `office/nitrogen.tif`.
    GeoTiff,
    /// `machine/TASKDATA` and `office/TASKDATA.zip`.
    Iso11783,
    /// `office/prescription.kml`, for looking.
    Kml,
    /// `office/prescription.fgb`, for looking.
    FlatGeobuf,
}
