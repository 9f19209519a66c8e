//! Our own small renderer: maps and charts as SVG, every figure in vectors, no script, no outside file.

pub mod chart;
pub mod drawing;
pub mod frame;
pub mod hatch;
pub mod labels;
pub mod legend;
pub mod plan;
pub mod png;
pub mod raster;
pub mod svg;
