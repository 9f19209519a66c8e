//! A job file in memory.

use std::path::PathBuf;

use haulm::app::cancel::Cancel;
use haulm::app::job::JobText;
use haulm::app::requests::DEFAULT_MEMORY_MIB;
use haulm::{Common, app};
use pyo3::prelude::*;
use pyo3::types::PyDict;

use crate::decided::Decision;
use crate::read::Prepared;
use crate::refused::or_raised;
use crate::values::changes;
use crate::work::{self, Ends};

/// How a job is read: threads, memory in MiB, network.
///
/// `confined` stays `None`: a program that calls haulm goes on afterwards, and rights that are given up do not come back.
pub(crate) fn common(threads: Option<usize>, memory_mib: Option<u64>, network: bool) -> Common {
    Common {
        threads,
        memory_mib: memory_mib.unwrap_or(DEFAULT_MEMORY_MIB),
        network,
        us_units: None,
        cancel: Cancel::new(),
        confined: None,
    }
}

/// A JSON value as Python's own.
pub(crate) fn as_python(py: Python<'_>, value: &serde_json::Value) -> PyResult<Py<PyAny>> {
    let loads = py.import("json")?.getattr("loads")?;
    Ok(loads.call1((value.to_string(),))?.unbind())
}

/// A job: the text of its file, with settings that are being tried.
///
/// ``haulm.Job.open("job.toml").with_(rate={"maximum": "80 kg N/ha"}).run()`` reads everything, decides, and writes nothing.
#[pyclass(frozen, module = "haulm")]
#[derive(Clone, Debug)]
pub(crate) struct Job(JobText);

impl Job {
    pub(crate) fn of(job: JobText) -> Self {
        Self(job)
    }
}

#[pymethods]
impl Job {
    /// Reads a job file, without judging what stands in it.
    ///
    /// ``us_units`` puts US units (``True``) or metric ones (``False``) first in texts for people; by default they are those of the job's own amounts.
    ///
    /// Raises ``haulm.Refused`` when the file cannot be read.
    #[staticmethod]
    #[pyo3(signature = (path, *, us_units=None))]
    #[expect(
        clippy::needless_pass_by_value,
        reason = "what Python hands over is the function's own"
    )]
    fn open(py: Python<'_>, path: PathBuf, us_units: Option<bool>) -> PyResult<Self> {
        let job = or_raised(py, JobText::open(&path))?;
        Ok(Self(job.in_units(us_units)))
    }

    /// The job file.
    #[getter]
    fn path(&self) -> PathBuf {
        self.0.path().to_owned()
    }

    /// The job as TOML, with the settings that are being tried.
    #[getter]
    fn text(&self) -> &str {
        self.0.text()
    }

    /// What does not stand in the job file: dotted keys, each with its value as it would stand there, ``None`` for a key that was taken out.
    #[getter]
    fn changes<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        let found = PyDict::new(py);
        for change in self.0.changes() {
            found.set_item(change.key(), change.value.as_deref())?;
        }
        Ok(found)
    }

    /// Every setting with its default, under names that end with their units, as ``record.json`` has them.
    ///
    /// Raises ``haulm.Refused`` with every fault of the job.
    #[getter]
    pub(crate) fn settings(&self, py: Python<'_>) -> PyResult<Py<PyAny>> {
        let settings = or_raised(py, self.0.record().map_err(Into::into))?;
        as_python(py, &settings)
    }

    /// The same job with other settings: one keyword a section of the job file, each a dict of its keys.
    ///
    /// Values are written as in a job file: amounts as text with their unit (``"80 kg N/ha"``), numbers, dates, booleans, lists. Tables within a section are gone
    /// into, so that what they do not name stays. ``None`` takes a key out, and its default holds. The job file itself is not touched.
    ///
    /// Raises ``haulm.Refused`` with every fault of the changed job, as the command would say it.
    #[pyo3(signature = (**sections))]
    fn with_(&self, py: Python<'_>, sections: Option<&Bound<'_, PyDict>>) -> PyResult<Self> {
        let changes = changes(sections)?;
        or_raised(py, self.0.with(&changes)).map(Self)
    }

    /// Reads all that the job names and passes over the image once.
    ///
    /// ``progress`` is called with stage, steps done and steps in all (0 when not known). ``threads``: one a core by default. ``memory_mib``: memory that the run may
    /// use [MiB], 2048 by default. ``network``: whether inputs may be read over the network. Ctrl-C ends it.
    ///
    /// Raises ``haulm.Refused`` when the job or an input is refused.
    #[pyo3(signature = (*, progress=None, threads=None, memory_mib=None, network=false))]
    fn prepare(
        &self,
        py: Python<'_>,
        progress: Option<Bound<'_, PyAny>>,
        threads: Option<usize>,
        memory_mib: Option<u64>,
        network: bool,
    ) -> PyResult<Prepared> {
        let (job, common) = (self.0.clone(), common(threads, memory_mib, network));
        let cancel = common.cancel.clone();
        let read = work::done(py, progress, (&cancel, Ends::Soon), move |progress| {
            app::prepare::prepare_job(&job, &common, progress)
        })?;
        Ok(Prepared::new(self.0.clone(), read))
    }

    /// Prepares and decides; writes nothing. See ``prepare`` for the arguments.
    ///
    /// Raises ``haulm.Refused`` when the job or an input is refused.
    #[pyo3(signature = (*, progress=None, threads=None, memory_mib=None, network=false))]
    fn run(
        &self,
        py: Python<'_>,
        progress: Option<Bound<'_, PyAny>>,
        threads: Option<usize>,
        memory_mib: Option<u64>,
        network: bool,
    ) -> PyResult<Decision> {
        let prepared = self.prepare(py, progress, threads, memory_mib, network)?;
        prepared.decided(py, None, true)
    }

    fn __repr__(&self) -> String {
        format!("Job({})", self.0.path().display())
    }
}
