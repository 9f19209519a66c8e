//! From cells to zones a machine can drive.

pub mod ascii;
pub mod build;
pub mod carried;
pub mod check_points;
pub mod classify;
pub mod excluded;
pub mod faults;
mod fewer;
pub mod file_totals;
#[cfg(test)]
pub(crate) mod fixture;
pub mod flavour;
pub mod gentle;
#[cfg(test)]
mod laws;
pub mod legend;
pub mod machine;
pub mod outline;
pub mod palette;
pub mod plain;
pub mod prescription;
pub mod scouting;
pub mod shape;
pub mod simplify;
pub mod smooth;
