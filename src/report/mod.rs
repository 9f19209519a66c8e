//! What people and scripts read of a run: pure, returns bytes or text.

pub mod card;
pub mod model;
pub mod summary;
