//! Which work is done, which is due, and why.

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use serde_json::json;

use crate::app::batch::command::NEW;
use crate::app::batch::farm::{Farm, FarmField};
use crate::app::batch::row::{FieldRow, Made};
use crate::app::below::below;
use crate::app::commit::{RECORD_PATH, sha256_hex, sha256_of_file};
use crate::app::error::AppError;
use crate::app::job::map_job_in;
use crate::app::open;
use crate::app::rights::of_season;
use crate::finding::Checked;
use crate::job::farm::changed_keys;
use crate::job::fault::JobError;
use crate::job::settings::Settings;

/// A field's job by one image.
#[derive(Debug)]
pub(super) struct Candidate {
    /// The image of the farm file, if it lists any.
    pub(super) image: Option<usize>,
    /// The job's text.
    pub(super) text: String,
    /// What it says, or why it is refused.
    pub(super) settings: Result<Checked<Settings>, JobError>,
}

/// The work of a field: its jobs and what they read.
#[derive(Debug)]
pub struct Work {
    /// Its jobs, by the newest image first.
    pub(super) candidates: Vec<Candidate>,
    /// What it is made of, with the key.
    pub(super) made: Made,
}

/// How the work of a field stands.
#[derive(Clone, Debug, PartialEq)]
pub enum Standing {
    /// It is done, and nothing that it was made of has changed.
    Done(Box<FieldRow>),
    /// It is due, for this reason.
    Due(String),
}

impl Farm {
    /// The work of a field, worked out once.
    ///
    /// # Errors
    /// When an input cannot be read, or changed since the run began.
    pub(super) fn work<'f>(&'f self, field: &'f FarmField) -> Result<&'f Work, AppError> {
        if let Some(work) = field.work.get() {
            return Ok(work);
        }
        let found = self.work_of(field)?;
        Ok(field.work.get_or_init(|| found))
    }

    /// Hash of all that a field's work is made of: its jobs, its inputs, the program.
    ///
    /// # Errors
    /// When an input cannot be read, or changed since the run began.
    pub fn work_key(&self, field: usize) -> Result<String, AppError> {
        let field = self.field(field)?;
        Ok(self.work(field)?.made.key.clone())
    }

    pub(super) fn field(&self, field: usize) -> Result<&FarmField, AppError> {
        self.fields.get(field).ok_or_else(|| {
            AppError::misuse("farm.field", format!("there is no field {field}"))
                .with_fact("fields", format!("{}, counted from 0", self.fields.len()))
        })
    }

    fn work_of(&self, field: &FarmField) -> Result<Work, AppError> {
        let path = self.folder.join(format!("{}.toml", field.folder));
        let mut inputs = BTreeMap::new();
        let mut candidates = Vec::new();
        for (at, image) in self.images().into_iter().enumerate() {
            let text = self.job_by(field, image);
            let settings = map_job_in(text.as_bytes(), &path, self.common.us_units);
            if let Ok(settings) = &settings {
                for file in self.files_of(&path, &settings.value) {
                    let shown = below(&file, &self.folder);
                    if let Entry::Vacant(free) = inputs.entry(shown) {
                        free.insert(self.held.hashed(&file)?.sha256);
                    }
                }
            }
            candidates.push(Candidate {
                image: image.map(|_| at),
                text,
                settings,
            });
        }
        let mut made = Made {
            key: String::new(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            options: format!(
                "units {}, cover {}",
                match self.common.us_units {
                    None => "as the job",
                    Some(true) => "us",
                    Some(false) => "metric",
                },
                self.settings.minimum_cover
            ),
            jobs: candidates.iter().map(|one| one.text.clone()).collect(),
            inputs,
        };
        let all = json!([made.version, made.options, made.jobs, made.inputs]);
        made.key = sha256_hex(all.to_string().as_bytes());
        Ok(Work { candidates, made })
    }

    /// Files that a job reads, known before any of them is opened; of folders those within.
    fn files_of(&self, job: &Path, settings: &Settings) -> Vec<PathBuf> {
        let mut read = of_season(&settings.season);
        if let Some(imagery) = &settings.imagery {
            for image in open::named(imagery) {
                read.extend(self.held.behind(&image, &self.folder));
                read.push(image);
            }
        }
        open::inputs(job, settings, &read, &[])
            .into_iter()
            .filter(|path| path != job && path.is_file())
            .collect()
    }

    /// How the work of a field stands.
    ///
    /// # Errors
    /// When an input cannot be read, or changed since the run began.
    pub fn standing(&self, field: usize) -> Result<Standing, AppError> {
        let field = self.field(field)?;
        let output = self.output();
        let Some(row) = FieldRow::stored(&output, &field.folder) else {
            return Ok(Standing::Due(NEW.to_owned()));
        };
        let work = self.work(field)?;
        let why = if row.made.key != work.made.key {
            changed(&row.made, &work.made)
        } else if !row.is_final() {
            let code = row.code.as_deref().unwrap_or("an unknown fault");
            format!("ended last time by {code}")
        } else if let Some(file) = unlike(&row, &self.output_of(field)) {
            format!("{file} is not as it was written")
        } else {
            return Ok(Standing::Done(Box::new(row)));
        };
        Ok(Standing::Due(why))
    }
}

/// What changed since a row was made, in words.
fn changed(before: &Made, now: &Made) -> String {
    let mut said = Vec::new();
    if before.version != now.version {
        said.push(format!("made by haulm {}", before.version));
    }
    if before.options != now.options {
        said.push(format!("{} instead of {}", now.options, before.options));
    }
    let newest = |made: &Made| made.jobs.first().cloned().unwrap_or_default();
    let keys = changed_keys(&newest(before), &newest(now));
    if !keys.is_empty() {
        said.push(format!("changed: {}", keys.join(", ")));
    } else if before.jobs != now.jobs {
        said.push("changed: the older images".to_owned());
    }
    let names: BTreeSet<&String> = before.inputs.keys().chain(now.inputs.keys()).collect();
    for name in names {
        match (before.inputs.get(name), now.inputs.get(name)) {
            (Some(old), Some(new)) if old != new => said.push(format!("{name} changed")),
            (Some(_), None) => said.push(format!("{name} is read no more")),
            (None, Some(_)) => said.push(format!("{name} is new")),
            _ => {}
        }
    }
    if said.is_empty() {
        "its work changed".to_owned()
    } else {
        said.join("; ")
    }
}

/// The first file of a field that is not as its row says; the record by its hash, others by their size.
fn unlike(row: &FieldRow, folder: &Path) -> Option<String> {
    let size = |path: &str| {
        fs_err::metadata(folder.join(path))
            .ok()
            .filter(std::fs::Metadata::is_file)
            .map(|found| found.len())
    };
    let other = row
        .files
        .iter()
        .find(|(path, bytes)| size(path) != Some(**bytes));
    if let Some((path, _)) = other {
        return Some(format!("{}/{path}", row.folder));
    }
    let record = row.record.as_ref()?;
    let found = sha256_of_file(&folder.join(RECORD_PATH)).ok();
    (found.as_ref() != Some(record)).then(|| format!("{}/{RECORD_PATH}", row.folder))
}
