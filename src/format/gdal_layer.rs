//! A table as a layer of a file that GDAL writes.

use crate::format::WriteError;
use crate::map::table::{Kind, Row, Table, Value};
use gdal::Dataset;
use gdal::errors::GdalError;
use gdal::spatial_ref::{AxisMappingStrategy, SpatialRef};
use gdal::vector::{
    Defn, Feature, FieldDefn, Layer, LayerOptions, OGRFieldType, OGRwkbGeometryType, ToGdal,
};

use crate::space::crs::Crs;

/// A reference system, x before y.
pub(super) fn system(crs: &Crs) -> Result<SpatialRef, WriteError> {
    let mut system = SpatialRef::from_definition(crs.definition())
        .map_err(WriteError::gdal("reading the reference system"))?;
    system.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
    Ok(system)
}

/// Makes a layer of multipolygons with the table's columns.
pub(super) fn create<'d>(
    dataset: &'d mut Dataset,
    table: &Table,
    system: &SpatialRef,
    options: &[&str],
) -> Result<Layer<'d>, WriteError> {
    let layer = dataset
        .create_layer(LayerOptions {
            name: table.name,
            srs: Some(system),
            ty: OGRwkbGeometryType::wkbMultiPolygon,
            options: Some(options),
        })
        .map_err(WriteError::gdal("creating a layer"))?;
    for (name, kind, _) in table.columns {
        let kind = match kind {
            Kind::Whole => OGRFieldType::OFTInteger64,
            Kind::Real => OGRFieldType::OFTReal,
            Kind::Text => OGRFieldType::OFTString,
        };
        FieldDefn::new(name, kind)
            .and_then(|column| column.add_to_layer(&layer))
            .map_err(WriteError::gdal("creating a column"))?;
    }
    Ok(layer)
}

/// Writes rows into a layer that [`create`] made.
pub(super) fn fill<'r>(
    layer: &Layer<'_>,
    table: &Table,
    rows: impl Iterator<Item = Row<'r>>,
) -> Result<(), WriteError> {
    let definition = Defn::from_layer(layer);
    for (number, row) in (1..).zip(rows) {
        check(table, number, &row.values)?;
        feature(&definition, &row)
            .and_then(|feature| feature.create(layer))
            .map_err(WriteError::gdal("writing a row"))?;
    }
    Ok(())
}

/// Numbers are numbers: what is missing is `None` and becomes null, never NaN.
pub(super) fn check(table: &Table, row: usize, values: &[Value]) -> Result<(), WriteError> {
    for ((column, _, _), value) in table.columns.iter().zip(values) {
        if let Value::Real(Some(value)) = *value
            && !value.is_finite()
        {
            return Err(WriteError::NotFinite {
                table: table.name,
                row,
                column,
                value,
            });
        }
    }
    Ok(())
}

fn feature<'d>(definition: &'d Defn, row: &Row<'_>) -> Result<Feature<'d>, GdalError> {
    let mut feature = Feature::new(definition)?;
    feature.set_geometry(row.outline.to_gdal()?)?;
    for (i, value) in row.values.iter().enumerate() {
        match value {
            Value::Whole(value) => feature.set_field_integer64(i, *value)?,
            Value::Real(Some(value)) => feature.set_field_double(i, *value)?,
            Value::Text(Some(value)) => feature.set_field_string(i, value)?,
            Value::Real(None) | Value::Text(None) => feature.set_field_null(i)?,
        }
    }
    Ok(feature)
}
