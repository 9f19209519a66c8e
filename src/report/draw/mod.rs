//! Our own small renderer: maps and charts as SVG, every figure in vectors, no script, no outside file.

pub(crate) mod borders;
pub(crate) mod chart;
pub(crate) mod drawing;
pub(crate) mod frame;
pub(crate) mod hatch;
pub(crate) mod labels;
pub(crate) mod legend;
pub(crate) mod plan;
pub(crate) mod png;
pub mod raster;
pub(crate) mod svg;
