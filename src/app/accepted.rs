//! Stops that a job accepts, by whom, at which figure and why.

use crate::finding::{Acceptance, Finding, Severity, codes};

/// Marks stops that the job accepts at the figure that they have; says which acceptances found nothing to accept, or were given for another figure.
pub(crate) fn accept(
    accepted: &[(String, Acceptance)],
    mut findings: Vec<Finding>,
) -> Vec<Finding> {
    for (code, acceptance) in accepted {
        let mut any = false;
        let mut stale = Vec::new();
        for finding in findings
            .iter_mut()
            .filter(|finding| finding.code == *code && finding.severity == Severity::Stop)
        {
            any = true;
            if finding.is_covered_by(acceptance) {
                finding.accepted = Some(acceptance.clone());
            } else {
                stale.push(finding.figure.clone());
            }
        }
        for figure in stale {
            let then = acceptance
                .figure
                .as_ref()
                .map_or_else(|| "no figure".to_owned(), |figure| format!("{figure:?}"));
            let now = figure.map_or_else(
                || "take figure out: the finding has none".to_owned(),
                |figure| format!("look again, and if it still holds write figure = {figure:?}"),
            );
            findings.push(Finding::caution(
                codes::ACCEPT_STALE,
                format!("the job accepts {code} at {then}, which is not what it is now: {now}"),
            ));
        }
        if !any {
            findings.push(Finding::note(
                codes::ACCEPT_UNUSED,
                format!("the job accepts {code:?}, but nothing of that code stops"),
            ));
        }
    }
    findings
}
