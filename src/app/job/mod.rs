//! What a job file means to a run: its sections resolved into settings, and the settings written into the record.
//!
//! The walk: [`crate::job`] parses and remembers places, `sections` turn tables into typed settings by its rows of keys, [`resolve`] checks them against
//! one another, [`echo`] writes the resolved settings into the record. Every fault of a file is gathered and told together.

pub mod echo;
pub mod ramp;
mod refused;
pub mod resolve;
mod sections;
pub(crate) mod tables;
pub mod weather;
