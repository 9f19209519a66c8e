//! Why single readings make no map.

/// Readings that a variogram needs at the very least.
pub(super) const MINIMUM_FOR_VARIOGRAM: usize = 30;
/// Readings that a variogram should have.
pub(super) const ENOUGH_FOR_VARIOGRAM: usize = 100;

/// Why readings make no map.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PointsError {
    /// None in the field.
    #[error(
        "none of the {readings} readings lies in the field and counts: {outside} lie outside, {speed} were taken at another speed than the job allows or at none, {outliers} are outliers"
    )]
    None {
        /// Readings in the file.
        readings: usize,
        /// Outside the field.
        outside: usize,
        /// At another speed.
        speed: usize,
        /// Outliers.
        outliers: usize,
    },
    /// Too few for a variogram.
    #[error(
        "a variogram needs {MINIMUM_FOR_VARIOGRAM} readings of canopy outside the strips (better {ENOUGH_FOR_VARIOGRAM}), but there are {found}"
    )]
    TooFew {
        /// Readings found.
        found: usize,
    },
    /// No classes of distance.
    #[error(
        "no variogram can be fitted: the readings' distances fall into {bins} classes only, 4 are needed; do they all lie at a few places?"
    )]
    NoVariogram {
        /// Classes found.
        bins: usize,
    },
    /// All readings are alike.
    #[error(
        "all {found} readings of canopy are {value}: a sensor that always says the same is broken, or the column is not the index"
    )]
    AllAlike {
        /// Readings.
        found: usize,
        /// Their value.
        value: f64,
    },
}
