//! The walk along the data, one file a step.

pub mod scan;
pub mod settings;
