//! What can be wrong with a vector file.

use std::path::PathBuf;

use crate::format::extent::shown;

/// Why a vector file was refused.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum VectorError {
    /// There is no such file.
    #[error("{}: there is no such file", path.display())]
    Missing {
        /// The file.
        path: PathBuf,
    },
    /// GDAL cannot open it as a vector file.
    #[error("{}: not a vector file that can be read: {reason}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What GDAL said.
        reason: String,
    },
    /// The layer asked for is not there, or several are and none was named.
    #[error("{}: {problem}; it has the layers {}", path.display(), layers.join(", "))]
    Layer {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        problem: String,
        /// Layers of the file.
        layers: Vec<String>,
    },
    /// The attribute filter cannot be used.
    #[error("{}: the filter {filter:?} cannot be used: {reason}; the layer has the columns {}", path.display(), columns.join(", "))]
    Filter {
        /// The file.
        path: PathBuf,
        /// The filter.
        filter: String,
        /// What GDAL said.
        reason: String,
        /// Columns of the layer.
        columns: Vec<String>,
    },
    /// A column of numbers is not there, or holds no numbers.
    #[error("{}: there is no column {column:?} of numbers; the layer has {}", path.display(), columns.join(", "))]
    Column {
        /// The file.
        path: PathBuf,
        /// The column asked for.
        column: String,
        /// Columns of the layer, each with its kind.
        columns: Vec<String>,
    },
    /// No reference system is stated.
    #[error("{}: no reference system is stated, so nobody can say where it lies", path.display())]
    NoSystem {
        /// The file.
        path: PathBuf,
    },
    /// The stated system is not known.
    #[error("{}: it says that it is in {stated:?}, and no such reference system is known", path.display())]
    SystemUnknown {
        /// The file.
        path: PathBuf,
        /// What it says.
        stated: String,
    },
    /// The stated system and the numbers do not fit.
    #[error("{}: it says {crs}, but its coordinates ({x}, {y}) {problem}", path.display())]
    SystemDoubtful {
        /// The file.
        path: PathBuf,
        /// The stated system.
        crs: String,
        /// A coordinate.
        x: f64,
        /// A coordinate.
        y: f64,
        /// Why they do not fit.
        problem: &'static str,
    },
    /// There is no feature.
    #[error("{}: there is no {requirement} in layer {layer:?}{}", path.display(), filter.as_ref().map(|f| format!(" where {f}")).unwrap_or_default())]
    Empty {
        /// The file.
        path: PathBuf,
        /// The layer.
        layer: String,
        /// The filter, if any.
        filter: Option<String>,
        /// What was looked for.
        requirement: &'static str,
    },
    /// A feature has no geometry: none was drawn, or GDAL dropped it because a ring does not close.
    #[error("{}: feature {feature} has no geometry (nothing was drawn, or a ring does not close), and a {requirement} is needed", path.display())]
    NoGeometry {
        /// The file.
        path: PathBuf,
        /// Its number, from 1.
        feature: usize,
        /// What was looked for.
        requirement: &'static str,
    },
    /// A feature is of the wrong kind, or broken.
    #[error("{}: feature {feature} is a {kind}, not a {requirement}", path.display())]
    Kind {
        /// The file.
        path: PathBuf,
        /// Its number, from 1.
        feature: usize,
        /// What it is.
        kind: String,
        /// What was looked for.
        requirement: &'static str,
    },
    /// A ring does not end where it began.
    #[error("{}: a ring of a polygon does not end where it begins, so it bounds nothing for certain", path.display())]
    Unclosed {
        /// The file.
        path: PathBuf,
    },
    /// Not all of the file can be read.
    #[error("{}: after {read} feature(s) it cannot be read on: {reason}", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// Features that were read.
        read: usize,
        /// What GDAL said.
        reason: String,
    },
    /// A coordinate is not a number.
    #[error("{}: feature {feature} has a coordinate that is not a finite number", path.display())]
    NotFinite {
        /// The file.
        path: PathBuf,
        /// Its number, from 1.
        feature: usize,
    },
    /// A vertex lies where no place of its system can be.
    #[error("{}: feature {feature}, vertex {vertex} ({}, {}) {problem}", path.display(), shown(*x), shown(*y))]
    Place {
        /// The file.
        path: PathBuf,
        /// The feature's number, from 1.
        feature: usize,
        /// The vertex's number in it, from 1, ring after ring.
        vertex: usize,
        /// Its first coordinate.
        x: f64,
        /// Its second coordinate.
        y: f64,
        /// Why no place can be there.
        problem: String,
    },
}
