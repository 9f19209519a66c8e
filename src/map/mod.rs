//! Maps of rates: the prescription, maps of others, their checks and repair, colours and legends, and what a machine makes of them.

pub(crate) mod ascii;
pub mod check_points;
pub(crate) mod excluded;
pub mod export;
pub mod faults;
pub mod file_totals;
#[cfg(test)]
pub(crate) mod fixture;
pub mod formats;
pub mod imported;
pub(crate) mod legend;
pub mod machine;
pub mod palette;
pub mod prescription;
pub mod rate_map;
pub(crate) mod scouting;
pub mod table;
pub mod task_options;
mod us_columns;
