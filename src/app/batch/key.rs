//! Which work is done, which is due, and why.

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use serde_json::json;

use crate::app::batch::command::NEW;
use crate::app::batch::farm::{Farm, FarmField};
use crate::app::batch::images::FarmImage;
use crate::app::batch::own::{Part, polygons};
use crate::app::batch::row::{FieldRow, Made, UsedImage};
use crate::app::below::below;
use crate::app::commit::{RECORD_PATH, sha256_hex, sha256_of_file};
use crate::app::error::AppError;
use crate::app::job::map_job_in;
use crate::app::network_inputs::NetworkInputs;
use crate::app::open;
use crate::app::rights::of_season;
use crate::finding::Checked;
use crate::job::farm::changed_keys;
use crate::job::fault::JobError;
use crate::job::settings::{GrowingDays, ReferenceSource, Settings};

/// In place of the hash of a file on a network whose server names no state of it.
const NOT_TOLD: &str = "not told";

/// A field's job by one image.
#[derive(Debug)]
pub(super) struct Candidate {
    /// Its image, for people.
    pub(super) image: UsedImage,
    /// The job's text.
    pub(super) text: String,
    /// What it says, or why it is refused.
    pub(super) settings: Result<Checked<Settings>, JobError>,
}

/// The work of a field: its jobs and what they read.
#[derive(Debug)]
pub(super) struct Work {
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
    /// Hash of all that a field's work is made of: its jobs, its inputs, the program.
    ///
    /// # Errors
    /// When an input cannot be read, or changed since the run began.
    pub fn work_key(&self, field: usize) -> Result<String, AppError> {
        let field = self.field(field)?;
        Ok(self.work(field)?.made.key)
    }

    pub(super) fn field(&self, field: usize) -> Result<&FarmField, AppError> {
        self.fields.get(field).ok_or_else(|| {
            AppError::misuse("farm.field", format!("there is no field {field}"))
                .with_fact("fields", format!("{}, counted from 0", self.fields.len()))
        })
    }

    /// The work of a field: its jobs by the images that may show it.
    ///
    /// # Errors
    /// When an input cannot be read, or changed since the run began.
    pub(super) fn work(&self, field: &FarmField) -> Result<Work, AppError> {
        let path = self.folder.join(format!("{}.toml", field.folder));
        let mut inputs = BTreeMap::new();
        let mut candidates = Vec::new();
        let mut images: Vec<Option<&FarmImage>> = self
            .images
            .iter()
            .filter(|image| !self.misses(image, field))
            .map(Some)
            .collect();
        if images.is_empty() {
            // Told by a job of its own: the common image, or the newest, which does not show it.
            images.push(self.images.first());
        }
        for image in images {
            let text = self.job_by(field, image);
            let settings = map_job_in(text.as_bytes(), &path, self.common.us_units);
            if let Ok(settings) = &settings {
                let (own, whole) = self.own(&path, &settings.value);
                for part in own {
                    // The file as a whole is what must not change while it is read.
                    self.held.hashed(&part.file)?;
                    let shown = format!("{} ({})", below(&part.file, &self.folder), part.what);
                    inputs.insert(shown, part.sha256);
                }
                if self.common.network {
                    for (file, state) in self.elsewhere(&path, &settings.value).states() {
                        let shown = file.display().to_string();
                        inputs.insert(shown, state.unwrap_or_else(|| NOT_TOLD.to_owned()));
                    }
                }
                for file in whole {
                    let shown = below(&file, &self.folder);
                    if let Entry::Vacant(free) = inputs.entry(shown) {
                        free.insert(self.held.hashed(&file)?.sha256);
                    }
                }
            }
            let image = self.used(
                image,
                settings.as_ref().ok().map(|settings| &settings.value),
            );
            candidates.push(Candidate {
                image,
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
            jobs: candidates
                .iter()
                .enumerate()
                .map(|(at, one)| {
                    // The newest whole, so that a change can be told by its keys; a hash of the others is enough.
                    if at == 0 {
                        one.text.clone()
                    } else {
                        sha256_hex(one.text.as_bytes())
                    }
                })
                .collect(),
            inputs,
        };
        let all = json!([made.version, made.options, made.jobs, made.inputs]);
        made.key = sha256_hex(all.to_string().as_bytes());
        Ok(Work { candidates, made })
    }

    /// What is a field's own in the files that its job names, and what counts as a whole. Values of its columns stand in its job already.
    fn own(&self, job: &Path, settings: &Settings) -> (Vec<Part>, Vec<PathBuf>) {
        let (mut parts, mut rest) = (Vec::new(), settings.clone());
        let mut records = Vec::new();
        if let Some(ground) = self.held.layer(&settings.field.boundary) {
            parts.push(polygons(&settings.field.boundary, "its polygon", &ground));
            rest.field.boundary.path = PathBuf::new();
            if let Some((stations, files)) = self.stations(&settings.season, &ground) {
                parts.push(stations);
                records = files;
                rest.season.growing_days = GrowingDays::NotStated;
            }
        }
        if let ReferenceSource::Strips(source) = &mut rest.reference.source
            && let Some(strips) = self.held.layer(source)
        {
            parts.push(polygons(source, "its strips", &strips));
            source.path = PathBuf::new();
        }
        let mut whole = self.files_of(job, &rest);
        whole.extend(records.into_iter().filter(|file| file.is_file()));
        (parts, whole)
    }

    /// Inputs of a job on a network.
    fn elsewhere(&self, job: &Path, settings: &Settings) -> NetworkInputs {
        let image = settings.imagery.as_ref().map(open::named);
        let all = open::all_inputs(job, settings, &image.unwrap_or_default(), &[]);
        NetworkInputs::of(&all, Some(&self.held))
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
        Ok(self.standing_of(field, &self.work(field)?))
    }

    pub(super) fn standing_of(&self, field: &FarmField, work: &Work) -> Standing {
        let Some(row) = FieldRow::stored(&self.output(), &field.folder) else {
            return Standing::Due(NEW.to_owned());
        };
        if row.made.key != work.made.key {
            Standing::Due(changed(&row.made, &work.made))
        } else if let Some((file, _)) = work
            .made
            .inputs
            .iter()
            .find(|(_, state)| *state == NOT_TOLD)
        {
            Standing::Due(format!("whether {file} is as it was is unknown"))
        } else if !row.is_final() {
            let code = row.code.as_deref().unwrap_or("an unknown fault");
            Standing::Due(format!("ended last time by {code}"))
        } else if let Some(file) = unlike(&row, &self.output_of(field)) {
            Standing::Due(format!("{file} is not as it was written"))
        } else {
            Standing::Done(Box::new(row))
        }
    }
}

/// What changed since a row was made, in words.
fn changed(before: &Made, now: &Made) -> String {
    let mut wording = Vec::new();
    if before.version != now.version {
        wording.push(format!("made by haulm {}", before.version));
    }
    if before.options != now.options {
        wording.push(format!("{} instead of {}", now.options, before.options));
    }
    let newest = |made: &Made| made.jobs.first().cloned().unwrap_or_default();
    let keys = changed_keys(&newest(before), &newest(now));
    if !keys.is_empty() {
        wording.push(format!("changed: {}", keys.join(", ")));
    } else if before.jobs != now.jobs {
        wording.push("changed: the older images".to_owned());
    }
    let names: BTreeSet<&String> = before.inputs.keys().chain(now.inputs.keys()).collect();
    for name in names {
        match (before.inputs.get(name), now.inputs.get(name)) {
            (Some(old), Some(new)) if old != new => wording.push(format!("{name} changed")),
            (Some(_), None) => wording.push(format!("{name} is read no more")),
            (None, Some(_)) => wording.push(format!("{name} is new")),
            _ => {}
        }
    }
    if wording.is_empty() {
        "its work changed".to_owned()
    } else {
        wording.join("; ")
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
