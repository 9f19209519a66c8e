//! The walk along the data, one file a step.

pub mod ahead;
pub mod blur;
pub mod curve;
pub mod doubt;
pub mod drive;
pub mod driven;
pub mod gain;
pub mod ground;
pub mod judge;
pub mod money;
pub mod overrun;
pub mod placebo;
pub mod points;
pub mod product;
pub mod ramp;
pub mod ramp_image;
pub mod rates;
pub mod reference;
pub mod reference_at;
pub mod run;
pub mod scan;
pub mod season;
pub mod settings;
pub mod share;
pub mod strips;
pub mod totals;
