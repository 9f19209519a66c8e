//! The prescription: cells, zones, strips and field on the working plane, in the form that every exporter and the report read.

use crate::map::task_options::GridRates;
use crate::space::cells::CellGrid;
use crate::space::crs::Crs;
use crate::space::holes::{holes, united};
use crate::units::{Area, Length, NRate, Product, ProductRate, RateUnit, Share, Yield};
use geo::MultiPolygon;

/// What a cell is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum CellState {
    /// Enough of it was seen, and it is crop.
    Canopy,
    /// Crop so thin that lack of nitrogen is not the likely reason.
    Thin,
    /// Mostly bare ground.
    Bare,
    /// Too little of it was seen.
    Unseen,
    /// Smaller than 1 % of a full cell; follows its neighbour.
    Sliver,
}

impl CellState {
    /// The word of it in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Canopy => "canopy",
            Self::Thin => "thin",
            Self::Bare => "bare",
            Self::Unseen => "unseen",
            Self::Sliver => "sliver",
        }
    }
}

/// Where the maximum yield bound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Capped {
    /// Nowhere.
    None,
    /// Already without more nitrogen; the rate is the minimum.
    Without,
    /// Only with it.
    With,
}

impl Capped {
    /// The word of it in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Without => "without",
            Self::With => "with",
        }
    }
}

/// One cell: one value, one state, one record. Missing values are `None`, never a number.
#[derive(Clone, Debug, PartialEq)]
pub struct CellRecord {
    /// Row along the heading, from 0.
    pub row: i32,
    /// Column to the left of the heading, from 0.
    pub col: i32,
    /// Area inside the field.
    pub area: Area,
    /// Share of it that was seen and whole.
    pub seen: Share,
    /// Share of it that was seen and bare.
    pub bare: Share,
    /// Mean canopy index.
    pub index: Option<f64>,
    /// Its kriging standard error; `None` for an image and for means of readings.
    pub index_se: Option<f64>,
    /// Reference over cell, as measured.
    pub ratio_raw: Option<f64>,
    /// The ratio used: adjusted, held.
    pub ratio: Option<f64>,
    /// Yield in reach with no nitrogen added now.
    pub yield_without: Option<Yield>,
    /// Yield in reach with it.
    pub yield_with: Option<Yield>,
    /// Rate before limits.
    pub n_raw: Option<NRate>,
    /// Rate within limits, not rounded.
    pub n_exact: Option<NRate>,
    /// The cell's own rate, after state rules and rounding.
    pub n: NRate,
    /// One in ten of many draws of every uncertainty lies below (P10); not rounded.
    pub n_low: Option<NRate>,
    /// One in ten lies above (P90); not rounded.
    pub n_high: Option<NRate>,
    /// Where the maximum yield bound.
    pub capped: Capped,
    /// Whether it asks for more than the strip ever showed.
    pub beyond: bool,
    /// Its state.
    pub state: CellState,
    /// Number of its zone, from 1.
    pub zone: u32,
}

/// One zone: connected, one rate.
#[derive(Clone, Debug)]
pub struct ZoneRecord {
    /// Number, from 1, in the order of first cells.
    pub zone: u32,
    /// Nitrogen that it gets.
    pub n: NRate,
    /// One in ten of many draws of every uncertainty lies below (P10), as a mean over the zone; not rounded.
    pub n_low: Option<NRate>,
    /// One in ten lies above (P90); not rounded.
    pub n_high: Option<NRate>,
    /// Product that it gets, if there is a product.
    pub product: Option<ProductRate>,
    /// Area before simplification.
    pub area: Area,
    /// Area mean of its canopy cells' index.
    pub index: Option<f64>,
    /// How many cells.
    pub cells: u32,
    /// State of its cells (canopy where canopy and thin mix).
    pub state: CellState,
    /// Outline on the working plane; borders shared vertex by vertex with its neighbours.
    pub outline: MultiPolygon<f64>,
    /// The same carried outwards over the field's edge by the overrun, for machine files; shifted against the direction of travel when these look ahead.
    pub machine_outline: MultiPolygon<f64>,
    /// Where machine files look ahead: what the shifted zone covers of the field.
    pub machine_inside: Option<MultiPolygon<f64>>,
}

/// One reference strip as drawn.
#[derive(Clone, Debug)]
pub struct StripRecord {
    /// Number, from 1, in file order.
    pub strip: u32,
    /// Its reference index, when it could be estimated.
    pub index: Option<f64>,
    /// Index of the comparison swaths.
    pub beside: Option<f64>,
    /// `fine` or `coarse`, when it could be estimated.
    pub estimator: Option<&'static str>,
    /// Pixels used.
    pub pixels: u64,
    /// Segments dropped as unlike the rest.
    pub segments_dropped: u32,
    /// Whether it is left out of the reference.
    pub left_out: bool,
    /// Outline on the working plane.
    pub outline: MultiPolygon<f64>,
}

/// The rates that a terminal falls back to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fallbacks {
    /// On start.
    pub on_start: NRate,
    /// When position is lost.
    pub position_lost: NRate,
    /// Outside the field.
    pub outside: NRate,
}

/// What the machine can hold and how far its rates run on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MachineLimits {
    /// Least product rate, if any.
    pub minimum: Option<ProductRate>,
    /// Greatest product rate, if any.
    pub maximum: Option<ProductRate>,
    /// How far rates are carried beyond the field.
    pub overrun: Length,
    /// Working width.
    pub working_width: Length,
    /// What cells of a task's grid hold.
    pub grid: GridRates,
}

/// Everything that exporters need; nothing that they must work out again.
#[derive(Clone, Debug)]
pub struct Prescription {
    /// First six characters of the record's hash.
    pub map_id: String,
    /// The field's name.
    pub field_name: String,
    /// Client (customer, grower), if the job names one.
    pub client: Option<String>,
    /// Farm, if the job names one.
    pub farm: Option<String>,
    /// Crop, for task and card.
    pub crop: String,
    /// Sensing date, also the pinned instant of files that demand one (`SOURCE_DATE_EPOCH` wins). `YYYY-MM-DD`.
    pub image_date: jiff::civil::Date,
    /// The working plane.
    pub plane: Crs,
    /// Product, if any.
    pub product: Option<Product>,
    /// Unit of the product column (without a product: kg/ha or lb/ac of nitrogen).
    pub unit: RateUnit,
    /// The cell grid: shapes of `cells`, in the same order.
    pub grid: CellGrid,
    /// Cells in row, column order.
    pub cells: Vec<CellRecord>,
    /// Zones by number.
    pub zones: Vec<ZoneRecord>,
    /// Reference strips in file order.
    pub strips: Vec<StripRecord>,
    /// Boundary on the working plane.
    pub boundary: MultiPolygon<f64>,
    /// Field on the working plane: boundary less exclusions.
    pub field: MultiPolygon<f64>,
    /// Exclusions grown by their buffers, on the working plane, not cut by the boundary.
    pub exclusions: MultiPolygon<f64>,
    /// Edges where overrun stops, on the working plane.
    pub hard_edges: Vec<geo::LineString<f64>>,
    /// Field rate: area mean of the exact rates of canopy cells, rounded.
    pub field_rate: NRate,
    /// Fallback rates.
    pub fallbacks: Fallbacks,
    /// Machine limits.
    pub machine: MachineLimits,
    /// Nitrogen in total, from zones. \[kg N\]
    pub total_n_kg: f64,
    /// The ways that the field is driven: what ground, and its heading from true north \[°\]; the ground that no area covers comes first.
    pub headings: Vec<(String, f64)>,
    /// By how much machine files are shifted against the direction of travel, when they are.
    pub look_ahead: Option<Length>,
}

impl Prescription {
    /// The number that a machine file shows for this much nitrogen: product in the job's unit, or nitrogen itself without a product. Not rounded.
    pub fn shown(&self, n: NRate) -> f64 {
        match &self.product {
            Some(product) => product
                .in_unit(product.rate_for(n), self.unit)
                .unwrap_or_else(|| product.rate_for(n).get()),
            None if self.unit.is_us() => n.as_lb_per_ac(),
            None => n.get(),
        }
    }

    /// The nitrogen behind a number that a machine file shows: the way back from [`Self::shown`].
    pub fn nitrogen_of(&self, shown: f64) -> NRate {
        match &self.product {
            Some(product) => product
                .from_unit(shown, self.unit)
                .map_or(NRate::ZERO, |rate| product.nitrogen_in(rate)),
            None if self.unit.is_us() => NRate::lb_per_ac(shown),
            None => NRate::kg_per_ha(shown),
        }
    }

    /// All ground inside the boundary's outline, or across it, that gets nothing: exclusions with their buffers, and holes of the boundary.
    pub fn kept_clear(&self) -> MultiPolygon<f64> {
        united(&self.exclusions, &holes(&self.boundary))
    }

    /// Column name of the rate in a machine's shapefile.
    pub const fn rate_column(&self) -> &'static str {
        if self.product.is_some() {
            self.unit.column()
        } else if self.unit.is_us() {
            "LB_N_AC"
        } else {
            "KG_N_HA"
        }
    }

    /// Unit of totals as people write it: of product, or of nitrogen without one.
    pub const fn total_label(&self) -> &'static str {
        if self.product.is_some() {
            self.unit.total_label()
        } else if self.unit.is_us() {
            "lb N"
        } else {
            "kg N"
        }
    }

    /// Unit of that number as people write it.
    pub const fn rate_label(&self) -> &'static str {
        if self.product.is_some() {
            self.unit.label()
        } else if self.unit.is_us() {
            "lb N/ac"
        } else {
            "kg N/ha"
        }
    }
}
