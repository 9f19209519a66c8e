//! The job file: one TOML file, one field, one decision.
//!
//! The walk: `reader` parses and remembers places, `sections` turn tables into typed settings by way of [`amount`], [`resolve`] checks them against one
//! another, [`echo`] writes the resolved settings into the record. Every fault of a file is gathered and told together.

pub mod amount;
pub mod echo;
pub mod fault;
mod keys;
pub mod problem;
pub mod ramp;
mod reader;
pub mod resolve;
mod sections;
pub mod suggest;
pub(crate) mod tables;
pub(crate) mod unit;
pub mod weather;
