//! Refusals as Python's exceptions. The classes stand in Python, so that they are plain exceptions on every Python that the package runs on.

use haulm::AppError;
use haulm::app::error::Kind;
use pyo3::exceptions::PyKeyboardInterrupt;
use pyo3::prelude::*;

/// The exception that stands for a refusal, a fault of haulm, or a run that was asked to end.
pub(crate) fn raised(py: Python<'_>, error: &AppError) -> PyErr {
    let class = match error.kind {
        Kind::Cancelled(_) => return PyKeyboardInterrupt::new_err(error.headline.clone()),
        Kind::Refused | Kind::Misuse | Kind::Busy => "Refused",
        Kind::Fault => "Fault",
    };
    let facts: Vec<(&str, &str)> = error
        .facts
        .iter()
        .map(|fact| (fact.place.as_str(), fact.text.as_str()))
        .collect();
    let made = py.import("haulm._refused").and_then(|module| {
        module.getattr(class)?.call1((
            error.code,
            error.headline.as_str(),
            facts,
            error.hint.as_deref(),
            error.causes.clone(),
        ))
    });
    match made {
        Ok(exception) => PyErr::from_value(exception),
        Err(error) => error,
    }
}

/// A result with its refusal as an exception.
pub(crate) fn or_raised<T>(py: Python<'_>, result: Result<T, AppError>) -> PyResult<T> {
    result.map_err(|error| raised(py, &error))
}
