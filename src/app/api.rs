//! What front ends call: one function a command, each with its request and a report back.

pub use crate::app::batch::{Batch, BatchRequest, FieldRow, FieldState, Making, batch};
pub use crate::app::check_map::{CheckMapRequest, check_map};
pub use crate::app::convert::{ConvertRequest, convert};
pub use crate::app::explain::{explain, findings_page};
pub use crate::app::keys;
pub use crate::app::lists::{compare_methods, list};
pub use crate::app::map::{check, inspect, map};
pub use crate::app::maps::maps;
pub use crate::app::names;
pub use crate::app::new::new_job;
pub use crate::app::picture::{DEFAULT_WIDTH, MAXIMUM_WIDTH, PictureRequest, Subject, picture};
pub use crate::app::rate::rate;
pub use crate::app::requests::{
    Common, DEFAULT_MEMORY_MIB, List, MapOptions, NewRequest, RateRequest,
};
pub use crate::app::stick::{CheckStickRequest, StickRequest, check_stick, stick};
