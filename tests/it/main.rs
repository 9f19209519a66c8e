//! Tests from outside the crate, in one binary.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stderr,
    reason = "tests: their helpers fail by panicking, and a child process talks to its parent"
)]

mod architecture;
mod areas;
mod bad_input;
mod batch;
mod boundaries;
mod bounds;
mod cancel;
mod cautions;
mod check_map;
mod check_map_files;
mod check_map_spoilt;
mod check_map_task;
mod cli_help;
mod cli_run;
mod closed;
mod commit;
mod convert;
mod curve;
mod decide;
#[path = "../support/doors.rs"]
mod doors;
mod drive;
mod economic;
mod farm_walk;
mod field;
mod findings;
mod golden;
#[path = "../../examples/ground/mod.rs"]
mod ground;
mod guide;
mod job_file;
mod job_first;
mod job_keys;
mod job_refusals;
mod job_schema;
mod job_suggestions;
mod kept_clear;
mod lists;
mod look_ahead;
mod made_ground;
mod map_command;
mod meaning;
mod methods;
mod network;
mod new_command;
mod nitrogen_share;
mod odd_images;
#[cfg(feature = "web")]
mod page;
#[cfg(feature = "web")]
mod page_edits;
#[cfg(feature = "web")]
mod page_tiles;
mod placebo;
mod points_map;
mod product_money;
mod ramp_command;
mod ramp_image;
mod rasters;
mod rate_command;
mod ratio_limit;
mod report;
mod rough_field;
mod rough_ground;
mod satellites;
mod scenes;
mod season;
mod set_rates;
mod share_study;
mod stick;
mod stumbles;
mod thrown;
mod uncertainty;
mod unsound;
mod us_units;
mod words;
