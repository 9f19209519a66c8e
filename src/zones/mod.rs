//! From cells to zones that a machine can drive: built, classified, smoothed, outlined, simplified.

pub mod build;
pub mod carve;
pub mod classify;
mod fewer;
pub(crate) mod gentle;
#[cfg(test)]
mod laws;
pub mod outline;
pub mod shape;
pub mod simplify;
pub(crate) mod smooth;
