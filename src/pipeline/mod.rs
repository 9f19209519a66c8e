//! The walk along the data, one file a step.

pub mod ground;
pub mod scan;
pub mod settings;
pub mod strips;
