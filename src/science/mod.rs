//! The agronomy: pure functions of numbers, one cell or one strip at a time.

pub mod blend;
pub mod certainty;
pub mod crop;
pub mod degree_days;
pub(crate) mod expected_gain;
pub mod growing_days;
pub mod index;
pub mod loads;
pub mod methods;
pub mod money;
pub mod monte_carlo;
pub(crate) mod naming;
pub mod nitrogen_share;
pub mod noise;
pub mod points;
pub mod product;
pub mod ramp;
pub mod reference;
pub mod response_curve;

pub use methods::yield_response;
pub use naming::UnknownName;
