//! What some settings make of a job.

use std::path::PathBuf;
use std::sync::{Arc, OnceLock};

use haulm::AppError;
use haulm::app::cancel::Cancel;
use haulm::app::commit::CommitOptions;
use haulm::app::files::MapFiles;
use haulm::app::job::JobText;
use haulm::format::geotiff;
use haulm::map::export;
use haulm::map::export::ExportMap;
use pyo3::prelude::*;
use pyo3::types::{PyBytes, PyDict};

use crate::noticed::Finding;
use crate::opened::{Job, as_python};
use crate::raster::Raster;
use crate::refused::or_raised;
use crate::table::{Rows, Table};
use crate::work::{self, Ends};

/// A decision: rates, zones, totals, findings. An aid for a decision on the field, not the decision: labels, local codes and licensed advisers come first.
#[pyclass(frozen, module = "haulm")]
#[derive(Debug)]
pub(crate) struct Decision {
    job: JobText,
    found: Arc<haulm::Decision>,
    made: OnceLock<Arc<MapFiles>>,
}

impl Decision {
    pub(crate) fn new(job: JobText, decision: haulm::Decision) -> Self {
        Self {
            job,
            found: Arc::new(decision),
            made: OnceLock::new(),
        }
    }

    /// The files, made once; with the draws that the command makes.
    fn made(&self, py: Python<'_>) -> PyResult<Arc<MapFiles>> {
        if let Some(made) = self.made.get() {
            return Ok(Arc::clone(made));
        }
        let decision = haulm::Decision::clone(&self.found);
        let made = work::done(py, None, (&Cancel::new(), Ends::Soon), move |_| {
            decision.with_uncertainty().files_as_asked()
        })?;
        Ok(Arc::clone(self.made.get_or_init(|| Arc::new(made))))
    }

    fn table(&self, rows: Rows) -> Table {
        Table::new(Arc::clone(&self.found), rows)
    }
}

#[pymethods]
impl Decision {
    /// The job that was decided on.
    #[getter]
    fn job(&self) -> Job {
        Job::of(self.job.clone())
    }

    /// Every setting with its default, as ``record.json`` has them.
    #[getter]
    fn settings(&self, py: Python<'_>) -> PyResult<Py<PyAny>> {
        self.job().settings(py)
    }

    /// What was noticed, by weight. Read them before the map is used.
    #[getter]
    fn findings(&self) -> Vec<Finding> {
        Finding::all(self.found.findings())
    }

    /// Whether a finding keeps the machine's files from being written.
    #[getter]
    fn stopped(&self) -> bool {
        self.found.stopped()
    }

    /// Nitrogen in all, from zones. [kg N]
    #[getter]
    fn n_kg(&self) -> f64 {
        self.found.outcome().totals.n_kg
    }

    /// Its 80 % range by Monte Carlo draws (P10, P90); ``None`` without draws. [kg N]
    #[getter]
    fn n_kg_range(&self) -> Option<(f64, f64)> {
        let drawn = self.found.outcome().uncertainty.as_ref()?;
        Some((drawn.field.low, drawn.field.high))
    }

    /// Mean rate over the field. [kg N/ha]
    #[getter]
    fn mean_n_kg_ha(&self) -> f64 {
        self.found.outcome().totals.mean_rate.get()
    }

    /// Index of the reference strips. [no unit]
    #[getter]
    fn reference_index(&self) -> f64 {
        self.found.outcome().reference.index
    }

    /// Response index: strip over comparison ground; ``None`` where there is nothing to compare with. [no unit]
    #[getter]
    fn response_index(&self) -> Option<f64> {
        self.found.outcome().reference.ratio
    }

    /// Its 95 % confidence interval; ``None`` where the reference gives none. [no unit]
    #[getter]
    fn response_interval(&self) -> Option<(f64, f64)> {
        let reference = &self.found.outcome().reference;
        reference.low.zip(reference.high)
    }

    /// Zones: one rate each, as decided, before the machine's least and greatest rate.
    #[getter]
    fn zones(&self) -> Table {
        self.table(export::zones)
    }

    /// Cells of the machine: what was measured and computed for each, before zones were made.
    #[getter]
    fn cells(&self) -> Table {
        self.table(export::cells)
    }

    /// Reference strips as drawn, with the index of strip and comparison swaths.
    #[getter]
    fn strips(&self) -> Table {
        self.table(export::strips)
    }

    /// The field: boundary less exclusions with their buffers, with map id and total. Makes the files the first time.
    #[getter]
    fn field(&self, py: Python<'_>) -> PyResult<Table> {
        let made = self.made(py)?;
        Ok(Table::new(Arc::new(made.decision().clone()), export::field))
    }

    /// Rates as pixels on the working plane, those of ``nitrogen.tif``: 32-bit numbers, NaN outside the field. [kg N/ha]
    #[getter]
    fn nitrogen(&self, py: Python<'_>) -> PyResult<Raster> {
        let decision = Arc::clone(&self.found);
        let pixels = py.detach(move || {
            let prescription = &decision.outcome().prescription;
            let map = ExportMap::of_prescription(prescription, decision.machine_rates())
                .map_err(|error| AppError::fault("export", error.to_string()))?;
            geotiff::pixels(&map)
                .map_err(|error| AppError::refused("output.format", error.to_string()))
        });
        or_raised(py, pixels).map(|pixels| Raster::of_rates(&pixels))
    }

    /// The map's short name, out of the hash of its record. Makes the files the first time.
    #[getter]
    fn map_id(&self, py: Python<'_>) -> PyResult<String> {
        Ok(self.made(py)?.map_id.clone())
    }

    /// Every number and statistic, as ``record.json`` has them, without map id, outputs and time.
    #[getter]
    fn record(&self, py: Python<'_>) -> PyResult<Py<PyAny>> {
        as_python(py, &serde_json::Value::Object(self.found.record()))
    }

    /// All files that the job asks for, as the command would write them: path below the output folder, and bytes. Nothing is written. Uncertainty is drawn for them
    /// in any case. ``office/record.json`` is without the time at which it is made.
    ///
    /// Raises ``haulm.Refused`` when a document cannot be made. A format that cannot be written is a finding.
    fn files<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        let made = MapFiles::clone(&*self.made(py)?);
        let found = PyDict::new(py);
        for file in made.with_record(None) {
            found.set_item(&file.path, PyBytes::new(py, &file.bytes))?;
        }
        Ok(found)
    }

    /// Writes all files that the job asks for, or none: into ``folder``, else into the job's own output folder. Returns the paths written, below the folder.
    ///
    /// ``overwrite`` replaces the map of another job, and files that haulm did not write or that were changed since. A map that is stopped writes nothing for the
    /// machine.
    ///
    /// Raises ``haulm.Refused`` when the folder may not be written to.
    #[pyo3(signature = (folder=None, *, overwrite=false))]
    fn write(
        &self,
        py: Python<'_>,
        folder: Option<PathBuf>,
        overwrite: bool,
    ) -> PyResult<Vec<String>> {
        let made = MapFiles::clone(&*self.made(py)?);
        let cancel = Cancel::new();
        let options = CommitOptions {
            overwrite,
            cancel: cancel.clone(),
        };
        let report = work::done(py, None, (&cancel, Ends::Whole), move |_| {
            made.write(folder.as_deref(), options)
        })?;
        Ok(report.written.into_iter().map(|(path, _)| path).collect())
    }

    fn __repr__(&self) -> String {
        let map = &self.found.outcome().prescription;
        format!(
            "Decision({}, {:.0} kg N, {} zones{})",
            map.field_name,
            self.n_kg(),
            map.zones.len(),
            if self.stopped() { ", NOT FOR USE" } else { "" }
        )
    }
}
