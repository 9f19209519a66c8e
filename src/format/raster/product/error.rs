//! What can be wrong with a satellite product.

use std::path::PathBuf;

/// Why a folder or archive was refused as an image.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ProductError {
    /// It cannot be looked into.
    #[error("{}: cannot be looked into: {reason}", path.display())]
    Listing {
        /// Folder or archive.
        path: PathBuf,
        /// What the system said.
        reason: String,
    },
    /// A text in it cannot be read.
    #[error("{}: {entry} cannot be read: {reason}", path.display())]
    Text {
        /// Folder or archive.
        path: PathBuf,
        /// The entry.
        entry: String,
        /// What the reader said.
        reason: String,
    },
    /// It holds no image that is known.
    #[error("{}: neither a Sentinel-2 Level-2A nor a Landsat Collection 2 Level-2 product, nor an archive with one raster ({found})", path.display())]
    Unknown {
        /// Folder or archive.
        path: PathBuf,
        /// What it holds, shortened.
        found: String,
    },
    /// It holds several.
    #[error("{}: holds several products or images, and one is a map's: {found}", path.display())]
    Several {
        /// Folder or archive.
        path: PathBuf,
        /// Their names.
        found: String,
    },
    /// A product of a level or collection whose numbers are no surface reflectance of a known scale.
    #[error("{}: {name} is {stated}, and {requirement} is needed", path.display())]
    Level {
        /// Folder or archive.
        path: PathBuf,
        /// The product.
        name: String,
        /// What it is.
        stated: &'static str,
        /// What is needed.
        requirement: &'static str,
    },
    /// Metadata that speaks of something else than the files beside it.
    #[error("{}: {entry} says {key} = {found}, but the files are named {requirement}", path.display())]
    Contradicts {
        /// Folder or archive.
        path: PathBuf,
        /// The metadata.
        entry: String,
        /// Its key.
        key: &'static str,
        /// What it says.
        found: String,
        /// What the names say.
        requirement: String,
    },
    /// The processing baseline stands nowhere.
    #[error("{}: the processing baseline stands neither in the name nor in the metadata, so nobody can say whether an offset was added", path.display())]
    Baseline {
        /// Folder or archive.
        path: PathBuf,
    },
    /// A band is there twice.
    #[error("{}: band {band} is there twice: {one} and {other}", path.display())]
    Twice {
        /// Folder or archive.
        path: PathBuf,
        /// The band.
        band: String,
        /// The first file.
        one: String,
        /// The second file.
        other: String,
    },
    /// A mask that belongs to the product is not there.
    #[error("{}: the product's own mask {mask} is missing", path.display())]
    Mask {
        /// Folder or archive.
        path: PathBuf,
        /// The mask.
        mask: &'static str,
    },
}
