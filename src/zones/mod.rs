//! From cells to zones a machine can drive.

pub mod ascii;
pub mod classify;
pub mod machine;
pub mod outline;
pub mod prescription;
pub mod smooth;
