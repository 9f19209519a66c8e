//! Task data by ISO 11783-10, version 3.3: one task, one grid of type 2 with one value a cell, product by mass or volume.
//!
//! Version 3 is what controllers of the first position-based class take, and a grid of 350 × 350 cells is what each of them must take; polygons, more values a
//! cell and larger grids are optional there, so none is written. Controller integers exist only in this folder.
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
#[cfg(test)]
mod tests;
mod write;
mod xml;

pub use error::Iso11783Error;
pub use grid::RateGrid;
pub use grid::rate_grid;
pub use lattice::Lattice;
pub use write::write;
