//! What can be wrong with a raster file.

use std::path::PathBuf;

/// Why a raster file was refused.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RasterFileError {
    /// There is no such file.
    #[error("{}: there is no such file", path.display())]
    Missing {
        /// The file.
        path: PathBuf,
    },
    /// GDAL cannot open it as a raster.
    #[error("{}: not a raster that can be read: {reason}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What GDAL said.
        reason: String,
    },
    /// It has no georeference.
    #[error("{}: it has no georeference of its own (tie points alone are none): nobody can say where its pixels lie", path.display())]
    NoGeoreference {
        /// The file.
        path: PathBuf,
    },
    /// It states no reference system, or a local one.
    #[error("{}: no usable reference system is stated", path.display())]
    NoSystem {
        /// The file.
        path: PathBuf,
    },
    /// A band number is not there.
    #[error("{}: band {band} was asked for, but it has {bands} band(s)", path.display())]
    NoBand {
        /// The file.
        path: PathBuf,
        /// The band asked for.
        band: usize,
        /// How many there are.
        bands: usize,
    },
    /// Bands of different files do not lie on nesting grids.
    #[error("{}: its pixels do not nest in those of {} ({reason})", path.display(), finest.display())]
    NoNesting {
        /// The coarser file.
        path: PathBuf,
        /// The finest file.
        finest: PathBuf,
        /// With numbers.
        reason: String,
    },
    /// A source of a virtual raster is not there.
    #[error("{}: its source {source_file} is not there", path.display())]
    NoSource {
        /// The file.
        path: PathBuf,
        /// The source, as written.
        source_file: String,
    },
    /// A virtual raster in an archive: its sources cannot be looked at.
    #[error("{}: a virtual raster in an archive, whose sources nobody can look at", path.display())]
    VirtualInArchive {
        /// The file.
        path: PathBuf,
    },
    /// A virtual raster reaches outside the job's folder.
    #[error("{}: its source {source_file} lies outside the job's folder", path.display())]
    Outside {
        /// The file.
        path: PathBuf,
        /// The source.
        source_file: String,
    },
}
