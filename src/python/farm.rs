//! Many fields by one farm file, field by field, for engines that share the work out.

use std::path::PathBuf;
use std::sync::Arc;

use haulm::app::batch;
use haulm::app::batch::{FieldRow, FieldState, Making, Standing};
use haulm::app::cancel::Cancel;
use haulm::app::progress::Silent;
use pyo3::prelude::*;
use pyo3::types::PyDict;

use crate::opened::{as_python, common};
use crate::refused::or_raised;
use crate::work::{self, Ends};

/// A farm file with its fields. Nothing is kept but what is stored in the output folder, so any number of processes may share the work.
#[pyclass(frozen, module = "haulm")]
#[derive(Debug)]
pub(crate) struct Farm {
    farm: Arc<batch::Farm>,
    cancel: Cancel,
}

/// A row for Python, without zones and without the texts of its jobs.
fn row(py: Python<'_>, mut row: FieldRow) -> PyResult<Py<PyAny>> {
    row.zones = Vec::new();
    row.made.jobs = Vec::new();
    let value = serde_json::to_value(&row)
        .map_err(|error| pyo3::exceptions::PyRuntimeError::new_err(error.to_string()))?;
    as_python(py, &value)
}

#[pymethods]
impl Farm {
    /// Reads a farm file and its layers of fields and strips; nothing of an image is read yet.
    ///
    /// ``tables``: the farm's tables alone, in the folder ``tables`` of its output; no map is made. ``memory_mib``: memory that the process may use [MiB], 2048 by
    /// default. ``network``: whether inputs may be read over the network.
    ///
    /// Raises ``haulm.Refused`` when the farm file, or a layer as a whole, is at fault. What is wrong with one field is its row's.
    #[staticmethod]
    #[pyo3(signature = (path, *, tables=false, memory_mib=None, network=false))]
    fn open(
        py: Python<'_>,
        path: PathBuf,
        tables: bool,
        memory_mib: Option<u64>,
        network: bool,
    ) -> PyResult<Self> {
        let common = common(None, memory_mib, network);
        let making = if tables { Making::Tables } else { Making::Maps };
        let cancel = common.cancel.clone();
        let farm = work::done(py, None, (&cancel, Ends::Soon), move |_| {
            batch::Farm::read(&path, making, &common)
        })?;
        Ok(Self {
            farm: Arc::new(farm),
            cancel,
        })
    }

    /// The farm file.
    #[getter]
    fn path(&self) -> PathBuf {
        self.farm.path().to_owned()
    }

    /// Its name.
    #[getter]
    fn name(&self) -> String {
        self.farm.name()
    }

    /// The output folder of all fields.
    #[getter]
    fn output(&self) -> PathBuf {
        self.farm.output()
    }

    /// Names of the fields, in the order of their layer.
    #[getter]
    fn fields(&self) -> Vec<String> {
        let fields = self.farm.fields();
        fields.iter().map(|field| field.name.clone()).collect()
    }

    fn __len__(&self) -> usize {
        self.farm.fields().len()
    }

    /// The job of a field by its newest image, as TOML.
    fn job(&self, field: usize) -> String {
        self.farm.job(field)
    }

    /// Why the work of a field is due; ``None`` when it is done and nothing that it was made of has changed.
    ///
    /// Raises ``haulm.Refused`` when an input cannot be read, or changed since the farm was opened.
    fn due(&self, py: Python<'_>, field: usize) -> PyResult<Option<String>> {
        let farm = Arc::clone(&self.farm);
        match or_raised(py, py.detach(move || farm.standing(field)))? {
            Standing::Done(_) => Ok(None),
            Standing::Due(why) => Ok(Some(why)),
        }
    }

    /// The stored row of a field; ``None`` while there is none.
    fn row(&self, py: Python<'_>, field: usize) -> PyResult<Option<Py<PyAny>>> {
        self.farm
            .stored(field)
            .map(|found| row(py, found))
            .transpose()
    }

    /// Makes the map of one field on one thread, writes its files, and stores its row, which is returned. A refusal, a stop, even a fault of haulm is in the row:
    /// ``state`` is done, stopped, refused, crashed, busy or cancelled.
    fn run_field(&self, py: Python<'_>, field: usize) -> PyResult<Py<PyAny>> {
        let farm = Arc::clone(&self.farm);
        let found = work::done(py, None, (&self.cancel, Ends::Whole), move |_| {
            Ok(farm.run_field(field, &Silent))
        })?;
        row(py, found)
    }

    /// Stores a row that says that a field could not be made at all, since its process died again and again.
    fn mark_crashed(&self, py: Python<'_>, field: usize, reason: &str) -> PyResult<Py<PyAny>> {
        row(py, self.farm.mark_crashed(field, reason))
    }

    /// Puts the stored rows together: the map of all zones, the table with a row a field, the index page; with ``stick`` the machine files of all fields on a stick.
    /// Returns ``index`` (its path), ``files`` and ``states`` (how many fields are in each state; fields without a row are ``cancelled``).
    ///
    /// Raises ``haulm.Refused`` when another run puts them together, or they cannot be written.
    #[pyo3(signature = (*, stick=None))]
    fn collect<'py>(
        &self,
        py: Python<'py>,
        stick: Option<PathBuf>,
    ) -> PyResult<Bound<'py, PyDict>> {
        let farm = Arc::clone(&self.farm);
        let collected = work::done(py, None, (&self.cancel, Ends::Whole), move |_| {
            farm.collect(stick.as_deref())
        })?;
        let states = PyDict::new(py);
        for state in [
            FieldState::Done,
            FieldState::Stopped,
            FieldState::Refused,
            FieldState::Crashed,
            FieldState::Cancelled,
        ] {
            states.set_item(state.word(), collected.count(state))?;
        }
        let found = PyDict::new(py);
        found.set_item("index", &collected.index)?;
        found.set_item("files", &collected.files)?;
        found.set_item("states", states)?;
        Ok(found)
    }

    fn __repr__(&self) -> String {
        format!("Farm({}, {} fields)", self.name(), self.__len__())
    }
}
