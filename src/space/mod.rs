//! Ground: reference systems, cells, polygons and how much of a pixel they cover.

pub mod cells;
pub mod clip;
pub mod connected;
pub mod coverage;
pub mod crs;
pub mod curve;
pub mod cut;
pub mod fixed;
pub mod great_circle;
pub mod holes;
pub mod interior;
pub mod junctions;
pub mod lay;
pub mod pixel_matrix;
pub mod plane;
pub mod polygon;
pub mod raster;
pub mod regions;
pub mod repair;
pub mod slivers;
pub mod squares;
pub mod valid;
