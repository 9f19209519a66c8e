//! Stops that a job accepts, by whom and why.

use crate::finding::{Acceptance, Finding, codes};

/// Marks stops that the job accepts; says which acceptances found nothing to accept.
pub(crate) fn accept(
    accepted: &[(String, Acceptance)],
    mut findings: Vec<Finding>,
) -> Vec<Finding> {
    for (code, acceptance) in accepted {
        let mut any = false;
        for finding in findings.iter_mut().filter(|finding| finding.code == *code) {
            finding.accepted = Some(acceptance.clone());
            any = true;
        }
        if !any {
            findings.push(Finding::note(
                codes::ACCEPT_UNUSED,
                format!("the job accepts {code:?}, but nothing of that code was found"),
            ));
        }
    }
    findings
}
