//! Single readings of the canopy instead of an image: cleaned, then put into cells and strips.
//!
//! Everything behind this step (reference, rates, zones) is the same as for an image: a strip is a set of readings with their place, a cell has a mean.

mod alike;
mod cells;
mod clean;
pub mod error;
pub mod layer;
pub mod summary;

mod strip;
mod walk;

pub use clean::Dropped;
pub use layer::{PointLayer, Reading, Unusable};
pub use summary::{Kriging, PointsSummary};
pub use walk::look;
