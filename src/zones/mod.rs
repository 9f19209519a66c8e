//! From cells to zones a machine can drive.

pub mod build;
pub mod classify;
#[cfg(test)]
mod laws;
pub mod outline;
pub mod prescription;
pub mod simplify;
pub mod smooth;
