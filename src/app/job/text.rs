//! A job in memory: the text of its file, with changes that are being tried and stand in no file.

use std::path::{Path, PathBuf};

use crate::app::change;
use crate::app::change::Change;
use crate::app::error::AppError;
use crate::app::job::{bytes_of, map_job_in, settings_record};
use crate::finding::Checked;
use crate::job::fault::JobError;
use serde_json::Value;

/// The text of a job, as it stands in its file or changed since.
///
/// # Examples
/// ```
/// use haulm::app::change::Change;
/// use haulm::app::job::JobText;
///
/// let job = JobText::open("demo/job.toml".as_ref())?;
/// let change = Change::new("rate", "maximum", Some("\"50 kg N/ha\"".to_owned()));
/// let tried = job.with(&[change])?;
/// assert!(tried.text().contains("maximum = \"50 kg N/ha\""));
/// // What the job's reader would refuse is refused here, with what was meant.
/// let slip = Change::new("rate", "maximun", Some("\"50 kg N/ha\"".to_owned()));
/// assert_eq!(job.with(&[slip]).unwrap_err().code, "job.unknown_key");
/// # Ok::<(), haulm::AppError>(())
/// ```
#[derive(Clone, Debug)]
pub struct JobText {
    pub(super) path: PathBuf,
    pub(super) text: String,
    changes: Vec<Change>,
    pub(super) us_units: Option<bool>,
}

impl JobText {
    /// Reads a job file, without judging what stands in it.
    ///
    /// # Errors
    /// When it cannot be read or is no text.
    pub fn open(path: &Path) -> Result<Self, AppError> {
        let bytes = bytes_of(path)?;
        let text = match String::from_utf8(bytes) {
            Ok(text) => text,
            // The reader says which byte it is, and where.
            Err(error) => match map_job_in(error.as_bytes(), path, None) {
                Err(refused) => return Err(refused.into()),
                Ok(_) => return Err(AppError::fault("job.text", "the job file is no text")),
            },
        };
        let text = text.strip_prefix('\u{feff}').unwrap_or(&text).to_owned();
        Ok(Self {
            path: path.to_owned(),
            text,
            changes: Vec::new(),
            us_units: None,
        })
    }

    /// The same with changes on top of those that it has.
    ///
    /// # Errors
    /// When a value is none, and whatever the job's reader refuses of the changed job: every fault at once.
    pub fn with(&self, changes: &[Change]) -> Result<Self, AppError> {
        let mut document = change::document(&self.text)?;
        for change in changes {
            change::apply(&mut document, change)?;
        }
        let mut all = self.changes.clone();
        for change in changes {
            all.retain(|earlier| earlier.path != change.path);
            all.push(change.clone());
        }
        let changed = Self {
            text: document.to_string(),
            changes: all,
            ..self.clone()
        };
        // What was noticed is told when it is decided.
        let Checked { .. } = changed.settings()?;
        Ok(changed)
    }

    /// The same with US units first for people, or metric ones, whatever its amounts are in.
    #[must_use]
    pub fn in_units(self, us_units: Option<bool>) -> Self {
        Self { us_units, ..self }
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }
    /// The text as it is now.
    pub fn text(&self) -> &str {
        &self.text
    }
    /// What does not stand in the file.
    pub fn changes(&self) -> &[Change] {
        &self.changes
    }

    /// The settings with every default, under the names that they have in records.
    ///
    /// # Errors
    /// As [`Self::settings`].
    pub fn record(&self) -> Result<Value, JobError> {
        let folder = self.path.parent().unwrap_or_else(|| Path::new(""));
        Ok(settings_record(&self.settings()?.value, folder))
    }
}
