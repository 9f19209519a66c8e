//! Task data by ISO 11783-10: one task with one value a place, product by mass or volume. By default version 3.3 with one grid of type 2.
//!
//! Version 3 is what controllers of the first position-based class take, and a grid of 350 × 350 cells is what each of them must take; more values a cell and larger
//! grids are optional there, so neither is written. Version 4.3, grids of zone codes (type 1) and polygons are written when asked for. Controller integers exist only
//! in this folder.
//!
//! # Source
//! ISO 11783-10:2015 as retold in an unofficial study summary; public XML schema of task data, version 3.3 (2013-03-25); data dictionary of ISO 11783-11,
//! export of 2019.

mod channel;
mod cover;
mod error;
mod grid;
mod lattice;
mod near;
mod plain;
#[cfg(test)]
mod tests;
mod write;
mod xml;
mod zone_list;

pub use error::Iso11783Error;
pub use grid::{RateGrid, rate_grid};
pub use lattice::Lattice;
pub use plain::{USUAL_CELL_M, on_ground, write_plain};
pub use write::{archive, write, write_made};
pub use xml::task_name;
