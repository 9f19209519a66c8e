//! A layer of many fields, read once: every feature with its columns, and its polygon where it has a sound one.

use std::path::Path;

use gdal::vector::{LayerAccess as _, OGRFieldType};
use geo::MultiPolygon;

use super::error::VectorError;
use super::read::{Shape, Take, areal, chosen, name_column, opened, undamaged};
use crate::format::complaints;
use crate::format::extent::Extent;
use crate::space::crs::Crs;

/// One feature of the layer.
#[derive(Clone, Debug, PartialEq)]
pub struct EachFeature {
    /// The number by which the format itself knows it.
    pub number: u64,
    /// What stands in its columns; `None` where nothing does.
    pub values: Vec<Option<String>>,
    /// Its polygon; `None` where it is none, or not sound: read by itself, it is refused with the reason.
    pub shape: Option<Shape<MultiPolygon<f64>>>,
}

/// A layer with all of its features.
#[derive(Clone, Debug, PartialEq)]
pub struct Features {
    /// Its reference system.
    pub crs: Crs,
    /// Names of its columns, and whether each holds text.
    pub columns: Vec<(String, bool)>,
    /// Name of the column that a filter picks features by their number with.
    pub number_column: &'static str,
    /// Features in file order.
    pub rows: Vec<EachFeature>,
}

/// Reads every feature of a layer.
///
/// # Errors
/// [`VectorError`]: missing, unreadable, damaged, layer to be chosen, filter, no reference system. A feature without a sound polygon is no error of the layer.
pub fn read_each(
    path: &Path,
    layer: Option<&str>,
    filter: Option<&str>,
) -> Result<Features, VectorError> {
    let (dataset, unclosed) = opened(path)?;
    let (mut layer, crs) = chosen(path, &dataset, layer, filter)?;
    let columns: Vec<(String, bool)> = layer
        .defn()
        .fields()
        .map(|field| (field.name(), field.field_type() == OGRFieldType::OFTString))
        .collect();
    let taken = Take {
        path,
        crs: &crs,
        extent: Extent::of(&crs),
        name: name_column(&layer),
        number: None,
        requirement: "polygon",
        part: &areal,
    };
    complaints::take();
    let mut rows = Vec::new();
    for (number, feature) in (1..).zip(layer.features()) {
        rows.push(EachFeature {
            number: feature.fid().unwrap_or_default(),
            values: (0..columns.len())
                .map(|column| feature.field_as_string(column).ok().flatten())
                .map(|text| text.filter(|text| !text.is_empty()))
                .collect(),
            shape: taken.shape(&feature, number).ok(),
        });
    }
    if unclosed {
        return Err(VectorError::Unclosed {
            path: path.to_owned(),
        });
    }
    undamaged(path, rows.len())?;
    // A database knows its rows by this name whatever the column is called; GDAL's own language of filters knows the other.
    let number_column = if dataset.driver().short_name() == "GPKG" {
        "rowid"
    } else {
        "FID"
    };
    Ok(Features {
        crs,
        columns,
        number_column,
        rows,
    })
}
