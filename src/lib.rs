//! In-season nitrogen for every patch of a field.
//!
//! The walk: read → index → reference → rate → zones → export, report.

pub mod app;
pub mod cli;
pub mod finding;
pub mod format;
pub mod job;
pub mod key;
pub mod pipeline;
pub mod report;
pub mod science;
pub mod space;
pub mod units;
pub mod zones;
