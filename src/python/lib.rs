//! The Python package: the three stages of haulm, its tables as Arrow, its rasters as arrays. Nothing is computed here.
//!
//! A member of the workspace of its own, because the macros of `pyo3` make unsafe code, which haulm itself forbids.

#![expect(
    clippy::doc_markdown,
    reason = "what stands here is read in Python, where two backticks mean code"
)]

mod decided;
mod farm;
mod noticed;
mod opened;
mod raster;
mod read;
mod refused;
mod table;
mod values;
mod work;

/// What the package `haulm` is made of; its own `__init__` says what is public.
#[pyo3::pymodule]
mod _engine {
    #[pymodule_export]
    use crate::decided::Decision;
    #[pymodule_export]
    use crate::farm::Farm;
    #[pymodule_export]
    use crate::noticed::Finding;
    #[pymodule_export]
    use crate::opened::Job;
    #[pymodule_export]
    use crate::raster::Raster;
    #[pymodule_export]
    use crate::read::Prepared;
    #[pymodule_export]
    use crate::table::Table;

    /// Version of haulm.
    #[pymodule_export]
    #[expect(non_upper_case_globals, reason = "Python's own name for it")]
    const __version__: &str = env!("CARGO_PKG_VERSION");
}
