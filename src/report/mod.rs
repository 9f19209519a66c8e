//! What people and scripts read of a run: pure, returns bytes or text.

pub mod brief;
pub mod card;
pub mod counted;
pub mod document;
pub mod draw;
pub mod farm;
pub mod html;
pub mod model;
pub mod paper;
pub mod pdf;
pub mod stick;
pub mod summary;
pub mod text;
