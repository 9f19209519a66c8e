//! Ground: reference systems, cells, polygons and how much of a pixel they cover.

pub mod cells;
pub(crate) mod clip;
pub mod connected;
pub mod coverage;
pub mod crs;
pub mod curve;
pub mod cut;
pub mod fixed;
pub(crate) mod great_circle;
pub(crate) mod holes;
pub(crate) mod interior;
pub(crate) mod junctions;
pub mod lay;
pub(crate) mod pixel_matrix;
pub mod plane;
pub mod polygon;
pub mod raster;
pub mod regions;
pub(crate) mod repair;
pub(crate) mod slivers;
pub mod squares;
pub mod valid;
