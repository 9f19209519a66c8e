//! The walk along the data, one file a step.

pub mod ground;
pub mod rates;
pub mod reference;
pub mod scan;
pub mod settings;
pub mod strips;
