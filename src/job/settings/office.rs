//! `[prices]`, `[uncertainty]`, `[application]` and `[output]`.

use std::path::PathBuf;

use crate::key::words;
use crate::units::{KG_PER_LB, M2_PER_AC, M2_PER_HA, NRate, RateUnit};
use crate::zones::flavour::TaskFlavour;
use jiff::civil::Date;

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
    pub task_data: TaskFlavour,
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

words! {
    /// An output format.
    #[derive(PartialOrd, Ord)]
    pub enum Format {
        /// `office/prescription.gpkg`.
        GeoPackage = "geopackage",
        /// `office/prescription.geojson`.
        GeoJson = "geojson",
        /// `machine/NAME.shp` and its sidecars.
        Shapefile = "shapefile",
        /// `office/nitrogen.tif`.
        GeoTiff = "geotiff",
        /// `machine/TASKDATA` and `office/TASKDATA.zip`.
        Iso11783 = "iso11783",
        /// `office/prescription.kml`, for looking.
        Kml = "kml",
        /// `office/prescription.fgb`, for looking.
        FlatGeobuf = "flatgeobuf",
    }
}
