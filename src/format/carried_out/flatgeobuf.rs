//! A plain map as `FlatGeobuf` with its style, through GDAL.

use super::error::CarriedOutError;
use super::rows::{row, style};
use crate::format::payload::Payload;
use crate::format::scratch::Scratch;
use crate::format::style::qml_vector;
use crate::map::plain::PlainMap;
use gdal::DriverManager;
use gdal::errors::GdalError;
use gdal::spatial_ref::{AxisMappingStrategy, SpatialRef};
use gdal::vector::{
    Defn, Feature, FieldDefn, LayerOptions, OGRFieldType, OGRwkbGeometryType, ToGdal,
};

/// `NAME.fgb` and `NAME.qml`: one feature a zone in the map's own system, with the columns of our own zones.
///
/// # Errors
/// [`CarriedOutError`].
pub fn write(map: &PlainMap, name: &str) -> Result<Vec<Payload>, CarriedOutError> {
    let bytes = bytes(map).map_err(|source| CarriedOutError::Gdal {
        doing: "writing FlatGeobuf",
        source,
    })?;
    Ok(vec![
        Payload::new(format!("{name}.fgb"), bytes),
        Payload::new(format!("{name}.qml"), qml_vector(&style(map))?),
    ])
}

fn bytes(map: &PlainMap) -> Result<Vec<u8>, GdalError> {
    let file = Scratch::new("fgb");
    let mut system = SpatialRef::from_definition(map.system.definition())?;
    system.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
    let mut dataset =
        DriverManager::get_driver_by_name("FlatGeobuf")?.create_vector_only(file.path())?;
    {
        let options = LayerOptions {
            name: "zones",
            srs: Some(&system),
            ty: OGRwkbGeometryType::wkbMultiPolygon,
            options: Some(&["SPATIAL_INDEX=YES"]),
        };
        let layer = dataset.create_layer(options)?;
        let columns = [
            ("zone", OGRFieldType::OFTInteger64),
            ("product_rate", OGRFieldType::OFTReal),
            ("product_unit", OGRFieldType::OFTString),
            ("n_kg_ha", OGRFieldType::OFTReal),
            ("area_m2", OGRFieldType::OFTReal),
        ];
        for (name, kind) in columns {
            FieldDefn::new(name, kind)?.add_to_layer(&layer)?;
        }
        let definition = Defn::from_layer(&layer);
        for zone in &map.zones {
            let row = row(map, zone);
            let mut feature = Feature::new(&definition)?;
            feature.set_geometry(zone.outline.to_gdal()?)?;
            feature.set_field_integer64(0, row.zone.into())?;
            for (i, value) in [
                (1, row.product_rate),
                (3, row.n_kg_ha),
                (4, Some(row.area_m2)),
            ] {
                match value {
                    Some(value) => feature.set_field_double(i, value)?,
                    None => feature.set_field_null(i)?,
                }
            }
            match row.product_unit {
                Some(unit) => feature.set_field_string(2, unit)?,
                None => feature.set_field_null(2)?,
            }
            feature.create(&layer)?;
        }
    }
    dataset.close()?;
    file.into_bytes()
}
