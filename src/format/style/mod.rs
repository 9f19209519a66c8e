//! Styles that make a map readable at once: colours, breaks and labels of the one palette, in the formats that GIS programs open beside a map.
//!
//! # Source
//! Style files of QGIS 3 (`.qml`, and the table `layer_styles` of a database), as that program reads them, from memory; OGC 05-077r4 (Symbology Encoding 1.1) and
//! OGC 05-078r4 (Styled Layer Descriptor 1.1).

mod qml;
mod rules;
mod sld;
#[cfg(test)]
mod tests;
mod xml;

pub use qml::{raster as qml_raster, vector as qml_vector};
pub use rules::{Mark, Rule, Style};
pub use sld::vector as sld_vector;
pub(crate) use xml::Xml;

/// Why a style could not be put together.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StyleError {
    /// The XML writer failed.
    #[error("a style could not be put together: {source}")]
    Xml {
        /// What failed.
        #[from]
        source: std::io::Error,
    },
}
