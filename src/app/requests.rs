//! What commands are asked for: the requests of the front ends.

use std::path::PathBuf;

use jiff::civil::Date;

use crate::app::cancel::Cancel;

/// Memory that a run may use unless told otherwise. (MiB) Most take a tenth of it.
pub const DEFAULT_MEMORY_MIB: u64 = 2048;

/// What every command may be told.
#[derive(Clone, Debug)]
pub struct Common {
    /// Threads to compute with; one a core when not given.
    pub threads: Option<usize>,
    /// Memory that the run may use: windows and caches are cut to it, and a field with more cells than it can hold is refused. (MiB)
    pub memory_mib: u64,
    /// Whether inputs may be read over the network.
    pub network: bool,
    /// Whether people read US units first; as the job's own amounts when not given.
    pub us_units: Option<bool>,
    /// What may end the run.
    pub cancel: Cancel,
    /// Whether the process gives up, for good, the rights that the run does not need, and where it goes on writing besides the job's own output folder. For a
    /// process that does nothing else.
    pub confined: Option<Vec<PathBuf>>,
}

impl Default for Common {
    fn default() -> Self {
        Self {
            threads: None,
            memory_mib: DEFAULT_MEMORY_MIB,
            network: false,
            us_units: None,
            cancel: Cancel::new(),
            confined: None,
        }
    }
}

/// How to make a map.
#[derive(Clone, Debug, Default)]
pub struct MapOptions {
    /// Instead of the job's `[output] folder`; relative to the working folder.
    pub output: Option<PathBuf>,
    /// Whether content that haulm did not write may be replaced.
    pub overwrite: bool,
    /// Whether to compute all and write nothing.
    pub dry_run: bool,
    /// What every command may be told.
    pub common: Common,
}

/// One flat rate from hand readings; amounts as the user wrote them, to be read like those of a job file.
#[derive(Clone, Debug, Default)]
pub struct RateRequest {
    /// A job file without imagery; then nothing else is given.
    pub job: Option<PathBuf>,
    /// Averaged readings in the strip. (index)
    pub strip: Vec<f64>,
    /// Averaged readings beside it, pair by pair. (index)
    pub beside: Vec<f64>,
    /// Index that was read; NDVI when not given.
    pub index: Option<String>,
    /// Crop.
    pub crop: Option<String>,
    /// Growing days, instead of a weather record. (d)
    pub growing_days: Option<f64>,
    /// Planting date.
    pub planted: Option<Date>,
    /// Sensing date.
    pub sensed: Option<Date>,
    /// Daily weather record.
    pub weather: Option<PathBuf>,
    /// Whether the sensing day counts.
    pub count_sensing_day: bool,
    /// Maximum yield.
    pub max_yield: Option<String>,
    /// Yield curve by name.
    pub curve: Option<String>,
    /// Yield curve's `a`, with unit.
    pub curve_a: Option<String>,
    /// Yield curve's `b`. (d)
    pub curve_b: Option<f64>,
    /// Grain nitrogen. (share)
    pub grain_nitrogen: Option<f64>,
    /// Share of nitrogen that reaches the grain.
    pub use_efficiency: Option<f64>,
    /// Largest response index.
    pub maximum_ratio: Option<f64>,
    /// Nitrogen that went on after sensing.
    pub applied_since_sensing: Option<String>,
    /// Least rate.
    pub minimum: Option<String>,
    /// Greatest rate.
    pub maximum: Option<String>,
    /// Step of rates.
    pub step: Option<String>,
    /// The grower's flat rate, for comparison.
    pub usual: Option<String>,
    /// Product of the shipped table.
    pub product: Option<String>,
    /// Price of grain.
    pub grain_price: Option<String>,
    /// Price of nitrogen.
    pub nitrogen_price: Option<String>,
    /// Price of product, instead of that of nitrogen.
    pub product_price: Option<String>,
    /// Price of one pass.
    pub application_price: Option<String>,
    /// What every command may be told.
    pub common: Common,
}

/// A first job file.
#[derive(Clone, Debug, Default)]
pub struct NewRequest {
    /// Field boundary, any vector format.
    pub boundary: PathBuf,
    /// Image, any raster format.
    pub raster: PathBuf,
    /// Reference strips.
    pub strips: Option<PathBuf>,
    /// The job file to write.
    pub job: PathBuf,
    /// Field name; from the boundary's file name when not given.
    pub name: Option<String>,
    /// Sensing date.
    pub date: Option<Date>,
    /// Index to compute.
    pub index: Option<String>,
    /// Crop.
    pub crop: Option<String>,
    /// Planting date.
    pub planted: Option<Date>,
    /// Daily weather record.
    pub weather: Option<PathBuf>,
    /// Growing days, instead of a weather record. (d)
    pub growing_days: Option<f64>,
    /// Maximum yield.
    pub max_yield: Option<String>,
    /// Yield curve, a name of the shipped table.
    pub curve: Option<String>,
    /// Greatest rate.
    pub maximum: Option<String>,
    /// Working width of the spreader.
    pub working_width: Option<String>,
    /// Method; the yield response when not given.
    pub method: Option<String>,
    /// Width of strips that are drawn as lines.
    pub strip_width: Option<String>,
    /// Filter that picks one field of several.
    pub filter: Option<String>,
    /// Whether each field of the boundary becomes a job; `job` is the folder then.
    pub all: bool,
    /// Column that names the fields.
    pub name_column: Option<String>,
    /// Product of the shipped table.
    pub product: Option<String>,
    /// Whether an existing job file may be replaced.
    pub overwrite: bool,
    /// What every command may be told.
    pub common: Common,
}

/// A list that ships with haulm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum List {
    /// Canopy indices.
    Indices,
    /// Methods that set rates.
    Methods,
    /// Crops and yield curves.
    Crops,
    /// Products.
    Products,
}
