//! Why no task data can be written.

use crate::map::machine::MachineError;
use crate::space::crs::CrsError;

/// Why no task data can be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Iso11783Error {
    /// The machine's rates cannot be stated.
    #[error(transparent)]
    Machine(#[from] MachineError),
    /// The field cannot be transformed to longitude and latitude.
    #[error("the field cannot be transformed to longitude and latitude for task data: {source}")]
    Crs {
        /// What PROJ said.
        #[from]
        source: CrsError,
    },
    /// There is no boundary.
    #[error("the field has no boundary, so there is no ground for task data")]
    NoBoundary,
    /// The field lies where longitudes jump or meet.
    #[error(
        "the field spans longitude {west:.4} to {east:.4} and latitude {south:.4} to {north:.4} degrees; a task grid cannot cross the 180th meridian nor come near a pole: \
         leave \"iso11783\" out of output.formats"
    )]
    Place {
        /// Least longitude. \[°\]
        west: f64,
        /// Greatest longitude. \[°\]
        east: f64,
        /// Least latitude. \[°\]
        south: f64,
        /// Greatest latitude. \[°\]
        north: f64,
    },
    /// A rate does not fit into a controller's 32-bit integer.
    #[error("the rate {what} is {value} {unit}; task data hold 0 to {maximum:.0} {unit}")]
    Rate {
        /// `on start`, `of grid row 3, column 4`.
        what: String,
        /// The rate.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// The greatest that fits.
        maximum: f64,
    },
    /// More different rates than there are zone codes.
    #[error(
        "the map has {rates} different rates; task data in zones hold {most}: take the kind \"grid\", which holds any number"
    )]
    TooManyRates {
        /// How many.
        rates: usize,
        /// How many there may be.
        most: usize,
    },
    /// The task file could not be put together.
    #[error("TASKDATA.XML could not be put together: {source}")]
    Xml {
        /// What failed.
        source: std::io::Error,
    },
    /// The archive could not be put together.
    #[error("TASKDATA.zip could not be put together: {source}")]
    Zip {
        /// What failed.
        #[from]
        source: zip::result::ZipError,
    },
    /// The archive could not be filled.
    #[error("TASKDATA.zip could not be filled: {source}")]
    Archive {
        /// What failed.
        source: std::io::Error,
    },
}
