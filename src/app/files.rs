//! A decision as named bytes: the record and its map id, files of every format, card and report. Nothing is written here.

use crate::app::decide::Decision;
use crate::app::error::AppError;
use crate::app::formats::Failed;
use crate::app::{commit, formats, paper, record};
use crate::finding::{Finding, by_weight};
use crate::format::payload::Payload;
use crate::job::settings::Format;
use jiff::Timestamp;
use serde_json::{Map, Value};

/// All files of a map, not yet written.
#[derive(Clone, Debug)]
pub struct MapFiles {
    /// The map's short name, out of the hash of its record.
    pub map_id: String,
    /// Every file but the record.
    pub payloads: Vec<Payload>,
    /// What was noticed, formats that cannot be written among it.
    pub findings: Vec<Finding>,
    /// Whether nothing is written for the machine.
    pub stopped: bool,
    /// The record, without outputs and time.
    pub(crate) core: Map<String, Value>,
    /// The decision, whose map has its id now.
    pub(crate) decision: Decision,
    instant: Timestamp,
}

impl Decision {
    /// Makes the files: map id, record, prescription in each of `formats`, card and report.
    ///
    /// `instant` stands in files that demand a time; [`image_instant`](Self::image_instant) makes the same bytes on every day.
    ///
    /// # Errors
    /// When a place of the map cannot be brought into longitude and latitude, or a document cannot be made. A format that cannot be written is a finding.
    ///
    /// # Examples
    /// ```
    /// use haulm::job::settings::Format;
    /// use haulm::{Common, Silent, prepare};
    ///
    /// let prepared = prepare("demo/job.toml".as_ref(), &Common::default(), &Silent)?;
    /// let decision = prepared.decide(prepared.settings())?;
    /// let instant = decision.image_instant();
    /// let files = decision.files(&[Format::GeoJson], instant)?;
    /// assert!(files.payloads.iter().any(|file| file.path == "office/prescription.geojson"));
    /// # Ok::<(), haulm::AppError>(())
    /// ```
    pub fn files(self, formats: &[Format], instant: Timestamp) -> Result<MapFiles, AppError> {
        let mut decision = self.with_formats(formats)?;
        let mut failed = decision.machine.failed.clone();
        let unfit = decision.stopped();
        // What cannot be written is part of the record, and the map id, which the files hold, is the record's: so a format that fails sends all of it round once more.
        let (findings, core, map_id, payloads) = loop {
            let notice = failed.len();
            let mut all = decision.findings().to_vec();
            all.extend(failed.iter().map(Failed::finding));
            by_weight(&mut all);
            let core = record_of(&decision, &all);
            let bytes = serde_json::to_vec(&Value::Object(core.clone())).unwrap_or_default();
            let map_id = commit::sha256_hex(&bytes)[..6].to_owned();
            decision.outcome.prescription.map_id.clone_from(&map_id);
            let payloads = if unfit {
                Vec::new()
            } else {
                let source = formats::Source {
                    output: &decision.settings.output,
                    prescription: &decision.outcome.prescription,
                    rates: &decision.machine.rates,
                    grid: decision.machine.grid.as_ref(),
                    instant,
                };
                formats::files_of(&source, &mut failed)?
            };
            if failed.len() == notice {
                break (all, core, map_id, payloads);
            }
        };
        let stopped = findings.iter().any(Finding::stops);
        let mut files = MapFiles {
            map_id,
            payloads,
            findings,
            stopped,
            core,
            decision,
            instant,
        };
        let paper = paper::files(&files.decision.outcome, &files.paper())?;
        files.payloads.extend(paper);
        Ok(files)
    }

    /// The record as it would be written now, without map id, outputs and time.
    pub fn record(&self) -> Map<String, Value> {
        record_of(self, self.findings())
    }

    /// The start of the image's day: an instant that does not change from run to run.
    pub fn image_instant(&self) -> Timestamp {
        jiff::tz::Offset::UTC
            .to_timestamp(self.outcome.prescription.image_date.at(0, 0, 0, 0))
            .unwrap_or(Timestamp::UNIX_EPOCH)
    }
}

impl MapFiles {
    /// The decision that they are made of; its map has its id.
    pub const fn decision(&self) -> &Decision {
        &self.decision
    }
    /// Every file with the record, whose hashes are those of the others. `made_at` is the true time, as the record says it.
    pub fn with_record(mut self, made_at: Option<&str>) -> Vec<Payload> {
        let record = self.record(made_at);
        self.payloads.push(record);
        self.payloads
    }
    pub(crate) fn record(&self, made_at: Option<&str>) -> Payload {
        record::finished(&self.map_id, self.core.clone(), &self.payloads, made_at)
    }
    /// What the paper needs.
    pub(crate) fn paper(&self) -> paper::Context<'_> {
        let inner = self.decision.prepared.inner();
        let machine = &self.decision.machine;
        paper::Context {
            job: &inner.job,
            settings: &self.decision.settings,
            ground: &inner.ground,
            image: &inner.image,
            overview: inner.overview.as_ref(),
            season: &inner.season,
            weather: inner.weather.as_ref(),
            findings: &self.findings,
            core: &self.core,
            rates: &machine.rates,
            points: &machine.points,
            file_totals: &machine.file_totals,
            stopped: self.stopped,
            instant: self.instant,
        }
    }
}

/// The record of a decision, without outputs and time.
fn record_of(decision: &Decision, findings: &[Finding]) -> Map<String, Value> {
    let inner = decision.prepared.inner();
    let context = record::Context {
        settings: &decision.settings,
        folder: &inner.folder,
        ground: &inner.ground,
        image: &inner.image,
        season: &inner.season,
        inputs: &inner.inputs,
        findings,
        changes: &decision.changes,
        file_totals: &decision.machine.file_totals,
        stopped: findings.iter().any(Finding::stops),
    };
    record::core(&decision.outcome, &context)
}
