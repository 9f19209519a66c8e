//! Why a step of the walk ended without a result.

use crate::pipeline::points::error::PointsError;
use crate::pipeline::rate_error::RateError;
use crate::pipeline::reference::NoReference;
use crate::pipeline::scan::ScanError;
use crate::space::crs::CrsError;
use crate::space::lay::LayError;
use crate::units::{Area, Length};
use crate::zones::build::BuildError;
use crate::zones::classify::ClassifyError;

/// Why a step ended without a result.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StepError {
    /// Pixels.
    #[error(transparent)]
    Scan(#[from] ScanError),
    /// Single readings.
    #[error(transparent)]
    Points(#[from] PointsError),
    /// A transformation.
    #[error(transparent)]
    Crs(#[from] CrsError),
    /// The reference.
    #[error(transparent)]
    Reference(#[from] NoReference),
    /// Rates.
    #[error(transparent)]
    Rate(#[from] RateError),
    /// The headland, the margin outside the field, or the machine's shifted map.
    #[error(transparent)]
    Lay(#[from] LayError),
    /// Classes.
    #[error(transparent)]
    Classes(#[from] ClassifyError),
    /// Zones.
    #[error(transparent)]
    Zones(#[from] BuildError),
    /// Pixels are too large for the field.
    #[error(
        "no pixel of the image lies in the field: at least {minimum:.2} of it must, pixels are {} wide, and the field has {}",
        Length::m(*pixel).both(),
        Area::ha(*area_ha).both()
    )]
    NoPixel {
        /// The job's least share of a pixel.
        minimum: f64,
        /// Side of a pixel. \[m\]
        pixel: f64,
        /// The field. \[ha\]
        area_ha: f64,
    },
    /// No pixel of the field has an index.
    #[error(
        "nothing of the field is seen: of {in_field} pixels, {missing} have no value, {undefined} no defined index, {out_of_range} an index outside its range"
    )]
    NothingSeen {
        /// Pixels in the field.
        in_field: u64,
        /// Without a value.
        missing: u64,
        /// Without a defined index.
        undefined: u64,
        /// Outside the range.
        out_of_range: u64,
    },
    /// Too many pixels outside the index's range.
    #[error("{out_of_range} of {in_field} pixels of the field ({:.1} %) have an index outside its possible range; at most 1 % may", 100.0 * *out_of_range as f64 / *in_field as f64)]
    OutOfRange {
        /// Pixels in the field.
        in_field: u64,
        /// Outside the range.
        out_of_range: u64,
    },
}
