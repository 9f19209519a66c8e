//! From cells to zones a machine can drive.

pub mod ascii;
pub mod build;
pub mod check_points;
pub mod classify;
mod fewer;
#[cfg(test)]
pub(crate) mod fixture;
pub mod gentle;
#[cfg(test)]
mod laws;
pub mod machine;
pub mod outline;
pub mod prescription;
pub mod shape;
pub mod simplify;
pub mod smooth;
