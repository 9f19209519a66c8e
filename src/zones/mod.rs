//! From cells to zones a machine can drive.

pub mod ascii;
pub mod build;
pub mod check_points;
pub mod classify;
#[cfg(test)]
pub(crate) mod fixture;
pub mod machine;
pub mod outline;
pub mod prescription;
pub mod simplify;
pub mod smooth;
