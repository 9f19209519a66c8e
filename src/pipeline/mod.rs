//! The walk along the data, one file a step.

pub mod drive;
pub mod ground;
pub mod judge;
pub mod overrun;
pub mod ramp;
pub mod ramp_image;
pub mod rates;
pub mod reference;
pub mod run;
pub mod scan;
pub mod settings;
pub mod strips;
pub mod totals;
