//! Rasters as arrays. Their bytes go to NumPy by the array interface, so that nothing has to be installed until they are asked for as an array.

use haulm::format::geotiff::Pixels;
use haulm::report::draw::raster::IndexOverview;
use haulm::space::crs::Crs;
use pyo3::prelude::*;
use pyo3::types::{PyBytes, PyDict};

/// Numbers on square pixels, north up. ``numpy.asarray(raster)`` takes them without a copy; ``values`` is the same.
#[pyclass(frozen, module = "haulm")]
#[derive(Debug)]
pub(crate) struct Raster {
    bytes: Vec<u8>,
    kind: &'static str,
    shape: (usize, usize),
    transform: [f64; 6],
    system: Crs,
    unit: &'static str,
}

impl Raster {
    pub(crate) fn of_rates(pixels: &Pixels) -> Self {
        Self {
            bytes: pixels.values.iter().flat_map(|v| v.to_ne_bytes()).collect(),
            kind: if cfg!(target_endian = "little") {
                "<f4"
            } else {
                ">f4"
            },
            shape: (pixels.rows, pixels.columns),
            transform: pixels.transform,
            system: pixels.system.clone(),
            unit: "kg N/ha",
        }
    }

    pub(crate) fn of_index(overview: &IndexOverview, system: &Crs) -> Self {
        let (west, north) = overview.corner;
        Self {
            bytes: overview
                .values
                .iter()
                .flat_map(|v| v.to_ne_bytes())
                .collect(),
            kind: if cfg!(target_endian = "little") {
                "<f8"
            } else {
                ">f8"
            },
            shape: (overview.rows, overview.cols),
            transform: [west, overview.step, 0.0, north, 0.0, -overview.step],
            system: system.clone(),
            unit: "",
        }
    }
}

#[pymethods]
impl Raster {
    /// Rows, from north to south, and columns.
    #[getter]
    fn shape(&self) -> (usize, usize) {
        self.shape
    }

    /// West edge, step east, 0, north edge, 0, step south, in metres of the working plane.
    #[getter]
    fn transform(&self) -> [f64; 6] {
        self.transform
    }

    /// The working plane: ``"EPSG:32633"``, or WKT.
    #[getter]
    fn crs(&self) -> &str {
        self.system.definition()
    }

    /// Unit of the numbers; empty for none.
    #[getter]
    fn unit(&self) -> &'static str {
        self.unit
    }

    /// The numbers as a NumPy array of two dimensions; not to be written to. Needs NumPy.
    #[getter]
    fn values<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyAny>> {
        let numpy = slf.py().import("numpy")?;
        numpy.getattr("asarray")?.call1((slf,))
    }

    /// NumPy's array interface, version 3.
    #[getter]
    fn __array_interface__<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        let interface = PyDict::new(py);
        interface.set_item("version", 3)?;
        interface.set_item("shape", self.shape)?;
        interface.set_item("typestr", self.kind)?;
        interface.set_item("data", PyBytes::new(py, &self.bytes))?;
        Ok(interface)
    }

    fn __repr__(&self) -> String {
        format!(
            "Raster({} × {}, {} m, {}{}{})",
            self.shape.0,
            self.shape.1,
            self.transform[1],
            self.system,
            if self.unit.is_empty() { "" } else { ", " },
            self.unit
        )
    }
}
