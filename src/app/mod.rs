//! Resolves settings, opens inputs, runs the pipeline, writes: what the front ends call.

pub mod api;
pub mod cancel;
pub mod check_map;
pub mod commit;
pub mod convert;
pub mod error;
pub mod explain;
pub(crate) mod image_source;
pub mod image_watch;
pub mod job;
pub mod lists;
pub mod map;
pub(crate) mod memory;
pub mod new;
pub mod new_job;
pub mod open;
mod overview;
mod paper;
pub mod picture;
pub mod points;
pub mod progress;
pub mod rate;
pub mod record;
mod refusal;
pub mod season;
