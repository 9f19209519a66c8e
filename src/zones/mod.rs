//! From cells to zones a machine can drive.

pub mod build;
pub mod classify;
pub mod outline;
pub mod prescription;
pub mod simplify;
pub mod smooth;
