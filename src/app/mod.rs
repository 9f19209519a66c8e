//! Resolves settings, opens inputs, runs the pipeline, writes: what the front ends call.

pub mod commit;
pub mod job;
pub mod new_job;
