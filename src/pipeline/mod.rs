//! The walk along the data, one file a step.

pub mod ahead;
pub mod beside;
pub mod blur;
pub mod curve;
pub mod drive;
pub mod driven;
pub mod exclusions;
pub mod gain;
pub mod ground;
pub mod judge;
pub mod judge_strips;
pub mod money;
pub mod overrun;
pub mod placebo;
pub mod points;
pub mod product;
pub mod ramp;
pub mod ramp_image;
pub mod rates;
pub mod ratio_limit;
pub mod reference;
pub mod reference_at;
pub mod run;
pub mod scan;
pub mod season;
pub mod uncertainty;

pub mod share;
pub mod step;
pub mod strips;
pub mod totals;
pub mod uncrossed;
