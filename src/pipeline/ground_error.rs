//! Why a field's ground cannot be laid out.

use crate::space::crs::CrsError;
use crate::space::cut::CutError;
use crate::space::lay::LayError;
use crate::space::plane::PlaneError;
use crate::space::regions::SeamError;
use crate::units::Area;

/// Why the ground was refused.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum GroundError {
    /// Several boundary features.
    #[error("{file}: {count} features, but a field has one boundary")]
    Several {
        /// The file.
        file: String,
        /// How many.
        count: usize,
    },
    /// Image and boundary do not meet.
    #[error("the boundary lies outside the image, {distance_km:.1} km away")]
    Apart {
        /// Boundary's file.
        file: String,
        /// Centre of the boundary, longitude and latitude. \[°\]
        boundary: (f64, f64),
        /// Centre of the image, longitude and latitude. \[°\]
        image: (f64, f64),
        /// Distance between the centres. \[km\]
        distance_km: f64,
        /// Whether swapping longitude and latitude would make them meet.
        swapped_meets: bool,
    },
    /// Nothing is left of the field.
    #[error(
        "nothing is left of the field: boundary {}, exclusions with buffers {}",
        Area::ha(*boundary_ha).both(),
        Area::ha(*exclusions_ha).both()
    )]
    Nothing {
        /// Boundary area. \[ha\]
        boundary_ha: f64,
        /// Exclusions' area. \[ha\]
        exclusions_ha: f64,
    },
    /// A strip lies outside the field.
    #[error("reference strip {strip} lies with only {:.0} % of its area in the field, at least half is needed", 100.0 * share)]
    StripOutside {
        /// Its number.
        strip: usize,
        /// Share inside.
        share: f64,
        /// The file.
        file: String,
    },
    /// More strips than anybody lays.
    #[error("{file}: {count} reference strips, at most {most} are measured")]
    ManyStrips {
        /// The file.
        file: String,
        /// How many.
        count: usize,
        /// How many are measured.
        most: usize,
    },
    /// Two strips overlap.
    #[error("reference strips {first} and {second} overlap by {}", Area::m2(*area).both())]
    StripsOverlap {
        /// One.
        first: usize,
        /// The other.
        second: usize,
        /// Area. \[m²\]
        area: f64,
    },
    /// A guidance line that has no direction.
    #[error("{file}: the guidance line has no length")]
    Guidance {
        /// The file.
        file: String,
    },
    /// An area without ground in the field.
    #[error("area {area} ({file}) covers no ground of the field that no earlier area has")]
    AreaOutside {
        /// Its number, from 1.
        area: usize,
        /// The file.
        file: String,
    },
    /// A guidance line that turns too far.
    #[error(
        "{file}: the guidance line turns by {degrees:.0}° in all, more than the 150° that passes side by side can follow"
    )]
    LineTurns {
        /// The file.
        file: String,
        /// By how much. \[°\]
        degrees: f64,
    },
    /// A guidance line that bends too tightly.
    #[error(
        "{file}: the guidance line bends with a radius of {radius:.0} m at longitude {longitude:.5}°, latitude {latitude:.5}°, but the field reaches {reach:.0} m to the inside of the bend: passes side by side would cross there"
    )]
    LineTight {
        /// The file.
        file: String,
        /// Radius of the bend. \[m\]
        radius: f64,
        /// How far the field reaches on its inside. \[m\]
        reach: f64,
        /// Where. \[°\]
        longitude: f64,
        /// Where. \[°\]
        latitude: f64,
    },
    /// Areas that do not fit together.
    #[error(transparent)]
    Seam(#[from] SeamError),
    /// Cells that cannot be laid.
    #[error(transparent)]
    Lay(#[from] LayError),
    /// The plane.
    #[error(transparent)]
    Plane(#[from] PlaneError),
    /// A transformation.
    #[error(transparent)]
    Crs(#[from] CrsError),
    /// The grid.
    #[error(transparent)]
    Cut(#[from] CutError),
}
