//! The job file, apart from what it means to a run: its keys, amounts with units, the reader, and its refusals.
//!
//! [`keys`] holds one row a key. Reader, refusals, suggestions, `haulm keys`, the reference page and the JSON Schema all read that row.

pub mod amount;
pub mod fault;
pub mod keys;
pub mod problem;
pub(crate) mod reader;
pub mod reference;
pub mod schema;
pub mod settings;
pub mod suggest;
pub(crate) mod unit;
