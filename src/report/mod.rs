//! What people and scripts read of a run: pure, returns bytes or text.

pub(crate) mod brief;
pub(crate) mod card;
pub(crate) mod counted;
pub(crate) mod document;
pub mod draw;
pub(crate) mod farm;
pub(crate) mod html;
pub(crate) mod model;
pub(crate) mod paper;
pub(crate) mod pdf;
pub(crate) mod stick;
pub(crate) mod summary;
pub(crate) mod text;
