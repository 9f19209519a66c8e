//! A job with everything read.

use haulm::app::cancel::Cancel;
use haulm::app::job::JobText;
use pyo3::prelude::*;
use pyo3::types::PyDict;

use crate::decided::Decision;
use crate::noticed::Finding;
use crate::opened::Job;
use crate::raster::Raster;
use crate::refused::or_raised;
use crate::values::changes;
use crate::work::{self, Ends};

/// A job with everything read: cells with their index, strips, weather. No file is open any more, and any number of decisions can be made of it, from any thread.
#[pyclass(frozen, module = "haulm")]
#[derive(Clone, Debug)]
pub(crate) struct Prepared {
    job: JobText,
    read: haulm::Prepared,
}

impl Prepared {
    pub(crate) fn new(job: JobText, read: haulm::Prepared) -> Self {
        Self { job, read }
    }

    pub(crate) fn decided(
        &self,
        py: Python<'_>,
        sections: Option<&Bound<'_, PyDict>>,
        draws: bool,
    ) -> PyResult<Decision> {
        let changes = changes(sections)?;
        let job = if changes.is_empty() {
            self.job.clone()
        } else {
            or_raised(py, self.job.with(&changes))?
        };
        let (read, tried) = (self.read.clone(), job.clone());
        let decision = work::done(py, None, (&Cancel::new(), Ends::Soon), move |_| {
            let decision = read.decide_job_without_draws(&tried)?;
            Ok(if draws {
                decision.with_uncertainty()
            } else {
                decision
            })
        })?;
        Ok(Decision::new(job, decision))
    }
}

#[pymethods]
impl Prepared {
    /// The job that was read.
    #[getter]
    fn job(&self) -> Job {
        Job::of(self.job.clone())
    }

    /// How many cells of the machine the field has.
    #[getter]
    fn cell_count(&self) -> usize {
        self.read.ground().grid.cells.len()
    }

    /// Area of the field without what is excluded, on the working plane. [ha]
    #[getter]
    fn area_ha(&self) -> f64 {
        self.read.ground().area / 10_000.0
    }

    /// What was noticed while reading. What a decision notices stands in its own findings, with these.
    #[getter]
    fn findings(&self) -> Vec<Finding> {
        Finding::all(self.read.findings())
    }

    /// The canopy index as it was taken, no unit, thinned to at most some 480 samples a side and laid upright on the working plane, with the field's surroundings;
    /// NaN where there is none. ``None`` for logs of single readings, and where so much of a large image would have to be read again that cells show it as well.
    #[getter]
    fn index(&self) -> Option<Raster> {
        let overview = self.read.index_overview()?;
        Some(Raster::of_index(overview, &self.read.ground().plane.crs))
    }

    /// Decides by the job's settings, or by others: one keyword a section of the job file, as in ``Job.with_``. Nothing is read again and nothing is written.
    ///
    /// ``draws``: whether uncertainty and expected gain are drawn (80 % ranges), the longer part of the time; tables and totals of rates are the same without.
    ///
    /// Raises ``haulm.Refused``: ``decide.prepare`` when a setting needs ``prepare`` again (field, imagery, strips, cell size, ...), and whatever the job's reader
    /// refuses.
    #[pyo3(signature = (*, draws=true, **sections))]
    fn decide(
        &self,
        py: Python<'_>,
        draws: bool,
        sections: Option<&Bound<'_, PyDict>>,
    ) -> PyResult<Decision> {
        self.decided(py, sections, draws)
    }

    fn __repr__(&self) -> String {
        let settings = self.read.settings();
        format!(
            "Prepared({}, {:.2} ha, {} cells)",
            settings.field.name,
            self.area_ha(),
            self.cell_count()
        )
    }
}
