//! The attributes of features, without their shapes: what a person chooses a field by.

use std::path::Path;

use gdal::vector::{LayerAccess as _, OGRFieldType};

use super::error::VectorError;
use super::open::{OpenFault, open};

/// Columns of a layer and what stands in them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Columns {
    /// Names of the columns, and whether each holds text.
    pub columns: Vec<(String, bool)>,
    /// Number by which the format itself knows each feature, and its values, in file order.
    pub rows: Vec<(u64, Vec<Option<String>>)>,
}

/// Reads the columns of the only, or the named, layer.
///
/// # Errors
/// When the file cannot be opened, or the layer is not there.
pub fn read_columns(path: &Path, layer: Option<&str>) -> Result<Columns, VectorError> {
    let unreadable = |reason: String| VectorError::Unreadable {
        path: path.to_owned(),
        reason,
    };
    let (dataset, _) = open(path).map_err(|fault| match fault {
        OpenFault::Unreadable(reason) | OpenFault::System(reason) | OpenFault::Damaged(reason) => {
            unreadable(reason)
        }
    })?;
    let found = match layer {
        Some(name) => dataset.layer_by_name(name),
        None => dataset.layer(0),
    };
    let mut layer = found.map_err(|error| unreadable(error.to_string()))?;
    let columns: Vec<(String, bool)> = layer
        .defn()
        .fields()
        .map(|field| {
            let is_text = field.field_type() == OGRFieldType::OFTString;
            (field.name(), is_text)
        })
        .collect();
    let rows = layer
        .features()
        .map(|feature| {
            let values = (0..columns.len())
                .map(|k| feature.field_as_string(k).ok().flatten())
                .collect();
            (feature.fid().unwrap_or_default(), values)
        })
        .collect();
    Ok(Columns { columns, rows })
}
