//! In-season nitrogen for every patch of a field.
pub mod app;
pub mod cli;
pub mod finding;
pub mod format;
pub mod job;
pub mod map;
pub mod pipeline;
pub mod report;
pub mod science;
pub mod space;
pub mod units;
pub mod zones;

pub use app::decide::Decision;
pub use app::error::AppError;
pub use app::files::MapFiles;
pub use app::prepare::{Prepared, prepare};
pub use app::progress::Silent;
pub use app::requests::Common;
