//! A decision's files as the command makes and writes them, for programs that decide by themselves.

use std::path::Path;
use std::time::SystemTime;

use crate::app::commit;
use crate::app::commit::{CommitOptions, CommitReport, OutputFolder};
use crate::app::decide::Decision;
use crate::app::error::AppError;
use crate::app::files::MapFiles;
use jiff::Timestamp;

/// The true time as the record says it; `None` where a clock says what no calendar holds.
pub(crate) fn made_at(clock: SystemTime) -> Option<String> {
    Timestamp::try_from(clock).ok().map(|now| now.to_string())
}

/// The instant that stands in files which demand one: as the environment says, else the image's.
fn instant(decision: &Decision) -> Timestamp {
    std::env::var("SOURCE_DATE_EPOCH")
        .ok()
        .and_then(|text| text.parse::<i64>().ok())
        .and_then(|s| Timestamp::from_second(s).ok())
        .unwrap_or_else(|| decision.image_instant())
}

impl Decision {
    /// The files that its settings ask for, with the instant of `SOURCE_DATE_EPOCH`, else of the image's day.
    ///
    /// # Errors
    /// As [`Decision::files`].
    pub fn files_as_asked(self) -> Result<MapFiles, AppError> {
        let (formats, instant) = (self.settings().output.formats.clone(), instant(&self));
        self.files(&formats, instant)
    }
}

impl MapFiles {
    /// Writes all of the files or none, with the record and the true time in it; into the job's own output folder when none is named.
    ///
    /// # Errors
    /// When the folder holds another job's map or content that is not haulm's and `options` do not say to replace it, when another run writes there, or when the
    /// disk refuses. What was there is as it was.
    pub fn write(
        mut self,
        folder: Option<&Path>,
        options: CommitOptions,
    ) -> Result<CommitReport, AppError> {
        let decision = self.decision();
        let settings = decision.settings();
        let folder = folder.unwrap_or(&settings.output.folder).to_owned();
        if !options.overwrite {
            let job = &decision.prepared.inner().job;
            commit::of_another_job(&folder, job, &settings.field.name)?;
        }
        let cancel = options.cancel.clone();
        let failed = |error| AppError::of_commit(error, &cancel);
        let mut before = Vec::new();
        let claimed = OutputFolder::claim(&folder, options)
            .map_err(failed)?
            .into_log(&mut before);
        let record = self.record(made_at(SystemTime::now()).as_deref());
        self.payloads.push(record);
        let mut done = claimed.commit(&self.payloads).map_err(failed)?;
        done.findings.splice(0..0, before);
        Ok(done)
    }
}
