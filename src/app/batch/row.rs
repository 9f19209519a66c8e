//! The row of a field: what its job came to, as it is stored beside its folder.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::app::error::{AppError, Kind};
use crate::finding::{Finding, Severity};
use crate::format::network::lies_there;
use crate::job::fault::NOTHING_HERE;

/// Folder of the rows below the output folder.
pub(super) const ROWS: &str = "rows";

/// What became of a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FieldState {
    /// Its map is written.
    Done,
    /// Its report is written, and nothing for the machine: a finding stops the map.
    Stopped,
    /// Its job or an input was refused; nothing is written.
    Refused,
    /// haulm itself failed on it; nothing is written.
    Crashed,
    /// Another run has its folder; its row is that run's to store.
    Busy,
    /// The run was asked to end before it was made; no row is stored.
    Cancelled,
}

impl FieldState {
    /// The word of it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Stopped => "stopped",
            Self::Refused => "refused",
            Self::Crashed => "crashed",
            Self::Busy => "busy",
            Self::Cancelled => "cancelled",
        }
    }
    /// Whether a row of it is stored.
    pub const fn is_kept(self) -> bool {
        !matches!(self, Self::Busy | Self::Cancelled)
    }
}

/// An image and, where it was passed over, why.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct UsedImage {
    /// Its path, as the job has it.
    pub path: String,
    /// The day on which it was taken.
    pub date: String,
    /// Why it was passed over; `None` for the one that was taken.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub passed_over: Option<String>,
}

/// A finding of a field.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RowFinding {
    /// `stop`, `caution` or `note`.
    pub severity: String,
    /// Its code.
    pub code: String,
    /// What it says.
    pub message: String,
    /// Whether the job accepts it.
    pub accepted: bool,
}

impl RowFinding {
    /// Out of a finding.
    pub(super) fn of(finding: &Finding) -> Self {
        Self {
            severity: finding.severity.word().to_owned(),
            code: finding.code.to_string(),
            message: finding.message.clone(),
            accepted: finding.accepted.is_some(),
        }
    }
}

/// A zone of a field, for the map of all zones.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RowZone {
    /// Its number.
    pub zone: u32,
    /// Nitrogen. \[kg N/ha\]
    pub n_kg_ha: f64,
    /// Product, in the unit of `product_unit`.
    pub product_rate: Option<f64>,
    /// Unit of the product's rate.
    pub product_unit: Option<String>,
    /// Its area. \[m²\]
    pub area_m2: f64,
    /// What it is.
    pub state: String,
    /// One in ten draws lies below. \[kg N/ha\]
    pub n_p10_kg_ha: Option<f64>,
    /// One in ten draws lies above. \[kg N/ha\]
    pub n_p90_kg_ha: Option<f64>,
    /// Its outline: polygons of rings of longitude and latitude in WGS 84. \[°\]
    pub outline: Vec<Vec<Vec<[f64; 2]>>>,
}

/// What a row was made of: by it a later run knows whether the work is done.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Made {
    /// Hash of all that follows.
    pub key: String,
    /// The program.
    pub version: String,
    /// What else of the run counts: units for people, cover asked of an image.
    pub options: String,
    /// The job by each image, newest first, as text.
    pub jobs: Vec<String>,
    /// SHA-256 of every input by its path below the farm file.
    pub inputs: BTreeMap<String, String>,
}

/// What became of one field.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FieldRow {
    /// Its name.
    pub field: String,
    /// Its folder below the output folder.
    pub folder: String,
    /// What became of it.
    pub state: FieldState,
    /// Code of the refusal; `None` where there is none.
    pub code: Option<String>,
    /// What was refused, in a line.
    pub reason: Option<String>,
    /// Where, with numbers.
    #[serde(default)]
    pub facts: Vec<String>,
    /// What to do.
    pub hint: Option<String>,
    /// The map's id.
    pub map_id: Option<String>,
    /// Crop.
    pub crop: Option<String>,
    /// The image that was taken.
    pub image: Option<UsedImage>,
    /// Newer images that were not.
    #[serde(default)]
    pub passed_over: Vec<UsedImage>,
    /// Area of the field. \[ha\]
    pub area_ha: Option<f64>,
    /// Nitrogen in all. \[kg N\]
    pub n_kg: Option<f64>,
    /// Its mean over the field. \[kg N/ha\]
    pub mean_n_kg_ha: Option<f64>,
    /// One in ten draws lies below. \[kg N\]
    pub n_kg_p10: Option<f64>,
    /// One in ten draws lies above. \[kg N\]
    pub n_kg_p90: Option<f64>,
    /// Product in all, in `product_unit`.
    pub product: Option<f64>,
    /// Unit of the product's total.
    pub product_unit: Option<String>,
    /// Response index of the strips.
    pub ratio: Option<f64>,
    /// Lower end of its 95 % interval.
    pub ratio_low: Option<f64>,
    /// Upper end.
    pub ratio_high: Option<f64>,
    /// Number of zones.
    pub zone_count: Option<u64>,
    /// Whether people read US units first.
    #[serde(default)]
    pub us_units: bool,
    /// Why it is otherwise than the common settings.
    #[serde(default)]
    pub exceptions: Vec<String>,
    /// What was noticed.
    #[serde(default)]
    pub findings: Vec<RowFinding>,
    /// What it was made of.
    pub made: Made,
    /// SHA-256 of the record in the field's folder.
    pub record: Option<String>,
    /// Files in the field's folder with their sizes. \[B\]
    #[serde(default)]
    pub files: BTreeMap<String, u64>,
    /// Its zones.
    #[serde(default)]
    pub zones: Vec<RowZone>,
}

impl FieldRow {
    /// A row of a field that nothing is known of yet.
    pub fn new(field: &str, folder: &str, state: FieldState) -> Self {
        Self {
            field: field.to_owned(),
            folder: folder.to_owned(),
            state,
            code: None,
            reason: None,
            facts: Vec::new(),
            hint: None,
            map_id: None,
            crop: None,
            image: None,
            passed_over: Vec::new(),
            area_ha: None,
            n_kg: None,
            mean_n_kg_ha: None,
            n_kg_p10: None,
            n_kg_p90: None,
            product: None,
            product_unit: None,
            ratio: None,
            ratio_low: None,
            ratio_high: None,
            zone_count: None,
            us_units: false,
            exceptions: Vec::new(),
            findings: Vec::new(),
            made: Made::default(),
            record: None,
            files: BTreeMap::new(),
            zones: Vec::new(),
        }
    }

    /// The same with a refusal.
    #[must_use]
    pub fn refused(mut self, error: &AppError) -> Self {
        self.state = match error.kind {
            Kind::Cancelled(_) => FieldState::Cancelled,
            Kind::Fault => FieldState::Crashed,
            Kind::Busy => FieldState::Busy,
            Kind::Refused | Kind::Misuse => FieldState::Refused,
        };
        self.code = Some(error.code.to_owned());
        self.reason = Some(error.headline.clone());
        self.facts = error
            .facts
            .iter()
            // The job of a field is made, so that an empty place in it tells nobody anything.
            .filter(|fact| fact.text != NOTHING_HERE && fact.text != error.headline)
            .map(|fact| format!("{}: {}", fact.place, fact.text))
            .collect();
        self.hint.clone_from(&error.hint);
        self
    }

    /// How many findings weigh so much, accepted ones left out.
    pub fn count(&self, severity: Severity) -> usize {
        self.findings
            .iter()
            .filter(|finding| finding.severity == severity.word() && !finding.accepted)
            .count()
    }

    /// Whether the same work would come to the same again; what hung on the disk, on memory, on a network or on a file that was being written may not.
    pub fn is_final(&self) -> bool {
        let mut passing = vec!["output.", "memory.", "file.", "internal"];
        if self
            .made
            .inputs
            .keys()
            .any(|file| lies_there(Path::new(file)))
        {
            passing.push("image.unreadable");
        }
        match self.state {
            FieldState::Done | FieldState::Stopped => true,
            FieldState::Refused => !self
                .code
                .as_deref()
                .is_some_and(|code| passing.iter().any(|begin| code.starts_with(begin))),
            FieldState::Crashed | FieldState::Busy | FieldState::Cancelled => false,
        }
    }

    /// The row as a line of JSON shows it: without zones, job and inputs.
    pub fn shown(&self) -> Value {
        let mut value = serde_json::to_value(self).unwrap_or_default();
        if let Value::Object(map) = &mut value {
            for long in ["zones", "made", "files"] {
                map.remove(long);
            }
            map.insert("work".to_owned(), Value::String(self.made.key.clone()));
        }
        value
    }

    /// Where it is stored.
    pub(super) fn path(output: &Path, folder: &str) -> PathBuf {
        output.join(ROWS).join(format!("{folder}.json"))
    }

    /// Reads a stored row; `None` when there is none that can be read, and the field is made anew.
    pub(super) fn stored(output: &Path, folder: &str) -> Option<Self> {
        let bytes = fs_err::read(Self::path(output, folder)).ok()?;
        serde_json::from_slice(&bytes).ok()
    }

    /// Stores it whole or not at all.
    pub(super) fn store(&self, output: &Path) -> std::io::Result<()> {
        let mut bytes = serde_json::to_vec(self).map_err(std::io::Error::other)?;
        bytes.push(b'\n');
        super::collect::replace(&Self::path(output, &self.folder), &bytes)
    }
}
