//! Job files: read from disk here, understood in [`crate::job`].

mod refused;
mod text;
pub mod weather;

use std::path::Path;

use crate::app::below::below;
use crate::finding::Checked;
use crate::job::fault::JobError;
use crate::job::settings::ramp::RampSettings;
use crate::job::settings::{RateSettings, Settings};
use crate::job::{ramp, record, resolve};
use serde_json::Value;

pub use crate::app::job::text::JobText;

/// More than this is no job file. (bytes) A long one has some 20 000.
pub(crate) const MAXIMUM: u64 = 4 << 20;

/// Reads the job file of a map.
///
/// # Errors
/// When the file cannot be read, or anything in it is wrong: every fault at once.
pub fn read_map_job(path: &Path) -> Result<Checked<Settings>, JobError> {
    map_job(&bytes_of(path)?, path)
}

/// As [`read_map_job`], with US units first for people, or metric ones, when `us` says so.
///
/// # Errors
/// As [`read_map_job`].
pub fn read_map_job_in(path: &Path, us: Option<bool>) -> Result<Checked<Settings>, JobError> {
    map_job_in(&bytes_of(path)?, path, us)
}

/// Resolves the text of a map job as [`read_map_job_in`] does that of a file.
///
/// # Errors
/// [`JobError::Refused`] with every fault found.
pub fn map_job_in(
    bytes: &[u8],
    path: &Path,
    us: Option<bool>,
) -> Result<Checked<Settings>, JobError> {
    resolve::map_job(bytes, path, us, &job_text)
}

/// Reads the job file of one flat rate from hand readings: `[field]`, `[imagery]` and `[machine]` are not needed. `us`: US or metric units first for
/// people, whatever the job says.
///
/// # Errors
/// When the file cannot be read, or anything in it is wrong: every fault at once.
pub fn read_rate_job(path: &Path, us: Option<bool>) -> Result<Checked<RateSettings>, JobError> {
    rate_job_in(&bytes_of(path)?, path, us)
}

/// Reads the job file of one flat rate from a ramp; `None` when the job has no ramp.
///
/// # Errors
/// When the file cannot be read, or anything in a job with a ramp is wrong: every fault at once.
pub fn read_ramp_job(
    path: &Path,
    us: Option<bool>,
) -> Result<Option<Checked<RampSettings>>, JobError> {
    ramp::ramp_job_in(&bytes_of(path)?, path, us)
}

/// Resolves the text of a map job, files that it names read from disk; paths become relative to the folder of `path`.
///
/// # Errors
/// [`JobError::Refused`] with every fault found.
pub fn map_job(bytes: &[u8], path: &Path) -> Result<Checked<Settings>, JobError> {
    resolve::map_job(bytes, path, None, &job_text)
}

/// Resolves the text of a job for one flat rate, files that it names read from disk.
///
/// # Errors
/// [`JobError::Refused`] with every fault found.
pub fn rate_job(bytes: &[u8], path: &Path) -> Result<Checked<RateSettings>, JobError> {
    rate_job_in(bytes, path, None)
}

/// As [`rate_job`]; `us` as in [`read_rate_job`].
///
/// # Errors
/// As [`rate_job`].
pub fn rate_job_in(
    bytes: &[u8],
    path: &Path,
    us: Option<bool>,
) -> Result<Checked<RateSettings>, JobError> {
    resolve::rate_job(bytes, path, us, &job_text)
}

impl JobText {
    /// What the job's own reader makes of it.
    ///
    /// # Errors
    /// [`JobError::Refused`] with every fault found.
    pub fn settings(&self) -> Result<Checked<Settings>, JobError> {
        map_job_in(self.text.as_bytes(), &self.path, self.us_units)
    }
}

/// The settings of a map as the record has them. `folder` is the job's.
pub fn settings_record(settings: &Settings, folder: &Path) -> Value {
    record::settings(settings, &|path| below(path, folder))
}

/// The settings of one flat rate as the record has them. `folder` is the job's.
pub fn rate_record(settings: &RateSettings, folder: &Path) -> Value {
    record::rate_settings(settings, &|path| below(path, folder))
}

/// The settings of one flat rate from a ramp as the record has them. `folder` is the job's.
pub fn ramp_record(settings: &RampSettings, folder: &Path) -> Value {
    ramp::record(settings, &|path| below(path, folder))
}

/// Bytes of a text file that people write, such as a job, of at most `maximum`; what is no file, or larger, is refused before it is read.
pub(crate) fn text_bytes(path: &Path, maximum: u64) -> std::io::Result<Vec<u8>> {
    // What is not there is told by the reading itself.
    if let Ok(found) = fs_err::metadata(path) {
        if !found.is_file() && !found.is_dir() {
            return Err(std::io::Error::other(
                "a pipe, socket or device, not a file",
            ));
        }
        if found.len() > maximum {
            return Err(std::io::Error::other(format!(
                "it has {:.1} MiB, and at most {} MiB are read",
                found.len() as f64 / f64::from(1 << 20),
                maximum >> 20
            )));
        }
    }
    fs_err::read(path)
}

fn job_text(path: &Path) -> std::io::Result<Vec<u8>> {
    text_bytes(path, MAXIMUM)
}

fn bytes_of(path: &Path) -> Result<Vec<u8>, JobError> {
    job_text(path).map_err(|source| JobError::Read {
        path: path.to_owned(),
        source,
    })
}
