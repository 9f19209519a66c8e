//! The job file, apart from what it means to a run: its keys, amounts with units, the reader, and its refusals.
//!
//! [`keys`] holds one row a key. Reader, refusals, suggestions, `haulm keys`, the reference page and the JSON Schema all read that row.

pub mod amount;
pub(crate) mod farm;
pub mod fault;
pub mod keys;
pub mod problem;
pub mod ramp;
pub(crate) mod reader;
pub(crate) mod record;
pub mod reference;
pub(crate) mod resolve;
pub mod schema;
mod sections;
pub mod settings;
pub(crate) mod suggest;
pub mod tables;
pub(crate) mod unit;
