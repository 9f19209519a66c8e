//! The agronomy: pure functions of numbers, one cell or one strip at a time.

pub mod crop;
pub mod growing_days;
pub mod index;
pub mod money;
pub mod naming;
pub mod noise;
pub mod points;
pub mod product;
pub mod reference;
pub mod yield_response;

pub use naming::UnknownName;
