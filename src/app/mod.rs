//! Resolves settings, opens inputs, runs the pipeline, writes: what the front ends call.

pub mod api;
pub mod cancel;
pub mod commit;
pub mod error;
pub mod job;
pub mod map;
pub mod new_job;
pub mod open;
pub mod progress;
pub mod record;
mod refusal;
