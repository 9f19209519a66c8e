//! `map`, `check` and `inspect`: the whole job, the whole job but for writing, and what is there before any rate.

use std::path::Path;
use std::time::SystemTime;

use crate::app::accepted::accept;
use crate::app::commit::{CommitOptions, CommitReport, OutputFolder};
use crate::app::error::AppError;
use crate::app::files::MapFiles;
use crate::app::job::read_map_job;
use crate::app::prepare::{Purpose, prepare, prepare_for};
use crate::app::progress::Progress;
use crate::app::requests::{Common, MapOptions};
use crate::app::write::made_at;
use crate::app::{commit, paper};
use crate::finding::{Finding, by_weight};
use crate::job::settings::Format;
use crate::report::draw::drawing::Drawing;
use crate::report::model::{Brief, Report};
use crate::report::paper::Subject;
use crate::report::{brief, summary};

/// Prepares, decides, and makes the files that the job asks for.
fn make(job: &Path, common: &Common, progress: &dyn Progress) -> Result<MapFiles, AppError> {
    let prepared = prepare(job, common, progress)?;
    let decision = prepared.decide(prepared.settings())?;
    progress.start("making the files", 0);
    decision.files_as_asked()
}

/// What a finished run has to say.
fn report(
    made: MapFiles,
    before: Vec<Finding>,
    written: Option<CommitReport>,
    next: Brief,
) -> Report {
    let inner = made.decision.prepared.inner();
    let settings = made.decision.settings();
    let facts = summary::Facts {
        settings,
        ground: &inner.ground,
        index_name: inner.image.index.name(),
        season: &inner.season,
        map_id: &made.map_id,
    };
    let title = format!(
        "{}, map {}{}",
        settings.field.name,
        made.map_id,
        if made.stopped { ": NOT FOR USE" } else { "" }
    );
    let brief = Brief {
        rows: brief::rows_of_map(&facts, made.decision.outcome()),
        ..next
    };
    let blocks = summary::blocks(&facts, made.decision.outcome(), made.decision.file_totals());
    let mut json = made.core;
    json.insert("map_id".to_owned(), serde_json::json!(made.map_id));
    let mut findings = before;
    findings.extend(made.findings);
    let (files, of_writing) = written
        .map(|done| (done.written, done.findings))
        .unwrap_or_default();
    findings.extend(of_writing);
    by_weight(&mut findings);
    Report {
        title,
        brief: Some(brief),
        blocks,
        json: serde_json::Value::Object(json),
        findings,
        files,
        stopped: made.stopped,
    }
}

/// Computes a job and writes its map.
///
/// # Errors
/// When the input is refused or the outputs cannot be written.
pub fn map(job: &Path, options: &MapOptions, progress: &dyn Progress) -> Result<Report, AppError> {
    let common = &options.common;
    progress.start("reading the job", 0);
    let settings = read_map_job(job)?.value;
    let folder = options.output.clone().unwrap_or(settings.output.folder);
    if !options.overwrite {
        commit::of_another_job(&folder, job, &settings.field.name)?;
    }
    let commit_options = CommitOptions {
        overwrite: options.overwrite,
        cancel: common.cancel.clone(),
    };
    let mut before = Vec::new();
    let claimed = if options.dry_run {
        commit::check_writable(&folder, &commit_options)?;
        None
    } else {
        Some(OutputFolder::claim(&folder, commit_options.clone())?.into_log(&mut before))
    };
    let mut made = make(job, common, progress)?;
    let now = if options.dry_run {
        None
    } else {
        made_at(SystemTime::now())
    };
    let record = made.record(now.as_deref());
    let mut files = std::mem::take(&mut made.payloads);
    files.push(record);
    progress.start("writing", 0);
    let done = match claimed {
        Some(folder) => folder
            .commit(&files)
            .map_err(|error| AppError::of_commit(error, &common.cancel))?,
        None => commit::dry_run(&folder, &files, &commit_options)?,
    };
    let loaded = [Format::Iso11783, Format::Shapefile]
        .map(|format| settings.output.formats.contains(&format));
    let next = if options.dry_run {
        vec![format!(
            "Nothing was written; write it: haulm map {}",
            job.display()
        )]
    } else if made.stopped {
        Vec::new()
    } else {
        brief::next_of_map(made.decision.outcome(), &made.findings, loaded.into())
    };
    let next = Brief {
        next,
        folder: Some(folder.display().to_string()),
        ..Brief::default()
    };
    Ok(report(made, before, Some(done), next))
}

/// Does everything that [`map`] does but write.
///
/// # Errors
/// As [`map`].
pub fn check(job: &Path, common: &Common, progress: &dyn Progress) -> Result<Report, AppError> {
    let made = make(job, common, progress)?;
    let next = if made.stopped {
        Vec::new()
    } else {
        vec![
            format!("Write the map: haulm map {}", job.display()),
            brief::LABEL.to_owned(),
        ]
    };
    let next = Brief {
        next,
        ..Brief::default()
    };
    Ok(report(made, Vec::new(), None, next))
}

/// A figure of a job's paper, computed anew and written nowhere: the figure, the map id, what was noticed, and whether a finding stops the map.
///
/// # Errors
/// As [`map`].
pub(crate) fn drawn(
    job: &Path,
    subject: Subject,
    common: &Common,
    progress: &dyn Progress,
) -> Result<(Option<Drawing>, String, Vec<Finding>, bool), AppError> {
    let made = make(job, common, progress)?;
    let drawing = paper::with_paper(&made.decision.outcome, &made.paper(), |paper| {
        Ok(paper.picture(subject))
    })?;
    Ok((drawing, made.map_id, made.findings, made.stopped))
}

/// Shows what is there before any rate.
///
/// # Errors
/// When an input cannot be read.
pub fn inspect(job: &Path, common: &Common, progress: &dyn Progress) -> Result<Report, AppError> {
    let prepared = prepare_for(Purpose::Inspect, job, common, progress)?;
    let inner = prepared.inner();
    let mut findings = inner.findings.clone();
    findings.extend_from_slice(&inner.of_bands);
    let mut findings = accept(&inner.settings.accept, findings);
    by_weight(&mut findings);
    let facts = summary::Facts {
        settings: &inner.settings,
        ground: &inner.ground,
        index_name: inner.image.index.name(),
        season: &inner.season,
        map_id: "",
    };
    let files: Vec<summary::FileFacts> = inner
        .image
        .files
        .iter()
        .map(|file| summary::FileFacts {
            path: file.path.display().to_string(),
            driver: file.driver.clone(),
            system: format!("{} ({})", file.lattice.crs, file.lattice.crs.name()),
            cols: file.lattice.cols,
            rows: file.lattice.rows,
            bands: file
                .bands
                .iter()
                .enumerate()
                .map(|(k, band)| {
                    let used = inner
                        .image
                        .slots
                        .iter()
                        .find(|slot| slot.1 == file.path && slot.2 == k + 1);
                    [
                        (k + 1).to_string(),
                        band.description.clone(),
                        band.kind.clone(),
                        band.nodata
                            .map_or_else(|| "none".to_owned(), |v| v.to_string()),
                        used.map_or_else(String::new, |slot| {
                            format!("{} = stored × {} + {}", slot.0, slot.3, slot.4)
                        }),
                    ]
                })
                .collect(),
        })
        .collect();
    let names: Vec<String> = inner
        .image
        .slots
        .iter()
        .map(|slot| slot.0.clone())
        .collect();
    let (blocks, json) = summary::inspected(&facts, &inner.survey, &files, &names);
    let stopped = findings.iter().any(Finding::stops);
    Ok(Report {
        title: format!("{}, before any rate", inner.settings.field.name),
        brief: Some(brief::of_inspection(
            &facts,
            &inner.survey,
            &files,
            &job.display().to_string(),
        )),
        blocks,
        json,
        findings,
        files: Vec::new(),
        stopped,
    })
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    #[test]
    fn a_clock_far_in_the_future_or_the_past_is_no_fault() {
        let day = SystemTime::UNIX_EPOCH + Duration::from_secs(1_775_952_001);
        assert_eq!(made_at(day).as_deref(), Some("2026-04-12T00:00:01Z"));
        for far in [
            SystemTime::UNIX_EPOCH + Duration::from_secs(300_000_000_001),
            SystemTime::UNIX_EPOCH + Duration::from_secs(9_000_000_000_000_001),
            SystemTime::UNIX_EPOCH - Duration::from_secs(400_000_000_001),
        ] {
            assert_eq!(made_at(far), None);
        }
    }
}
