//! `[rate]` and `[product]`.

use crate::units::NRate;

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
