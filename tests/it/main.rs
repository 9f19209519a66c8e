//! Tests over the whole library, one binary.
#![expect(clippy::panic, reason = "helpers of tests fail the test")]

mod job_file;
mod job_first;
mod job_refusals;
mod job_suggestions;
