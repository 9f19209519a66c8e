//! Findings.

use haulm::finding;
use pyo3::prelude::*;

/// One thing that a run noticed: look at all of them before a map is trusted.
#[pyclass(frozen, module = "haulm", eq)]
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Finding(finding::Finding);

impl Finding {
    pub(crate) fn all(found: &[finding::Finding]) -> Vec<Self> {
        found.iter().cloned().map(Self).collect()
    }
}

#[pymethods]
impl Finding {
    /// Stable, dotted: ``image.age``. ``haulm explain CODE`` says why it matters and what to do.
    #[getter]
    fn code(&self) -> &'static str {
        self.0.code.word()
    }
    /// ``"note"``, ``"caution"`` or ``"stop"``.
    #[getter]
    fn severity(&self) -> &'static str {
        self.0.severity.word()
    }
    /// What, where, with numbers and units, and what to do.
    #[getter]
    fn message(&self) -> &str {
        &self.0.message
    }
    /// The figure that a stop hangs on, as people write it: ``"19 d"``; else ``None``.
    #[getter]
    fn figure(&self) -> Option<&str> {
        self.0.figure.as_deref()
    }
    /// Of a stop that the job accepts: who did, and why.
    #[getter]
    fn accepted(&self) -> Option<(&str, &str)> {
        let accepted = self.0.accepted.as_ref()?;
        Some((&accepted.by, &accepted.reason))
    }
    /// Whether it keeps the machine's files from being written.
    #[getter]
    fn stops(&self) -> bool {
        self.0.stops()
    }
    fn __repr__(&self) -> String {
        format!(
            "Finding({} [{}] {})",
            self.severity(),
            self.code(),
            self.message()
        )
    }
}
