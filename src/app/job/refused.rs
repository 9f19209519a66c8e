//! A refused job file in the one shape of a refusal.

use crate::app::error::AppError;
use crate::job::fault::{JobError, MAXIMUM_FAULTS};

impl From<JobError> for AppError {
    fn from(error: JobError) -> Self {
        let notice = |code, headline| Self::refused(code, headline);
        match &error {
            JobError::Read { path, source } => notice("job.unreadable", format!("the job file cannot be read: {source}"))
                .with_fact(path.display().to_string(), "cannot be read")
                .with_hint("check the path; `haulm new` writes a first job file"),
            JobError::Refused { faults, .. } => match faults.as_slice() {
                [fault] => notice(fault.code(), fault.headline()).with_fact(fault.place(), fault.line_text()).with_hint(fault.hint()),
                _ => faults
                    .iter()
                    .fold(notice("job.faults", format!("{}{} faults in the job file", if faults.len() < MAXIMUM_FAULTS { "" } else { "the first " }, faults.len())), |notice, fault| {
                        notice.with_fact(fault.place(), format!("{} [{}]; {}", fault.headline(), fault.code(), fault.hint()))
                    })
                    .with_hint("correct them from the top: the way out stands beside each, and one slip can make others"),
            },
        }
    }
}
