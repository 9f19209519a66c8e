//! Writes a table of polygons through GDAL: mended maps, and layers of faults.

use gdal::cpl::CslStringList;
use gdal::errors::GdalError;
use gdal::spatial_ref::{AxisMappingStrategy, SpatialRef};
use gdal::vector::{
    Defn, Feature, FieldDefn, LayerOptions, OGRFieldType, OGRwkbGeometryType, ToGdal,
};
use gdal::{Dataset, DriverManager};
use geo::Geometry;

use crate::format::maps::MapError;
use crate::format::scratch::{Scratch, ThreadOption};
use crate::map::imported::Attribute;
use crate::space::crs::Crs;

/// Date that stands in files which must hold one: the same input gives the same bytes on any day.
const PINNED: (&str, &str) = ("2000-01-01T00:00:00.000Z", "2000-01-01");

/// What to write.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TableKind {
    /// `GeoPackage`, in the map's own system.
    GeoPackage,
    /// `GeoJSON` in WGS 84.
    GeoJson,
    /// Shapefile set in WGS 84, one record a part.
    Shapefile,
}

/// One row.
#[derive(Clone, Debug, PartialEq)]
pub struct TableRow {
    /// Its shape; `None` is a null shape.
    pub shape: Option<Geometry<f64>>,
    /// Values in the order of the columns.
    pub values: Vec<Attribute>,
}

/// One layer.
#[derive(Clone, Debug)]
pub struct Table {
    /// Its name; that of the files, for shapefiles.
    pub name: String,
    /// Columns.
    pub columns: Vec<String>,
    /// Rows.
    pub rows: Vec<TableRow>,
}

fn failed(error: &GdalError) -> MapError {
    MapError::Write {
        reason: error.to_string(),
    }
}

/// The files, by ending: one, but for shapefiles.
///
/// # Errors
/// [`MapError::Write`] when GDAL refuses.
pub fn write_table(
    tables: &[Table],
    kind: TableKind,
    crs: &Crs,
) -> Result<Vec<(&'static str, Vec<u8>)>, MapError> {
    made(tables, kind, crs).map_err(|error| failed(&error))
}

fn made(
    tables: &[Table],
    kind: TableKind,
    crs: &Crs,
) -> Result<Vec<(&'static str, Vec<u8>)>, GdalError> {
    let _date = ThreadOption::set("OGR_CURRENT_DATE", PINNED.0)?;
    let (driver, ending) = match kind {
        TableKind::GeoPackage => ("GPKG", "gpkg"),
        TableKind::GeoJson => ("GeoJSON", "geojson"),
        TableKind::Shapefile => ("ESRI Shapefile", "shp"),
    };
    let file = Scratch::new(ending);
    let mut options = CslStringList::new();
    if kind == TableKind::GeoPackage {
        options.set_name_value("VERSION", "1.3")?;
    }
    let mut dataset = DriverManager::get_driver_by_name(driver)?
        .create_with_band_type_with_options::<u8, _>(file.path(), 0, 0, 0, &options)?;
    let mut system = SpatialRef::from_definition(crs.definition())?;
    system.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
    for table in tables {
        layer(&mut dataset, table, kind, &system)?;
    }
    dataset.close()?;
    let mut files = Vec::new();
    if kind == TableKind::Shapefile {
        for side in ["shx", "dbf", "prj"] {
            let path = file.path().replace(".shp", &format!(".{side}"));
            files.push((side, gdal::vsi::get_vsi_mem_file_bytes_owned(&path)?));
        }
    }
    files.insert(0, (ending, file.into_bytes()?));
    Ok(files)
}

/// What a column holds, by its values.
fn kind_of(table: &Table, column: usize) -> OGRFieldType::Type {
    let mut values = table.rows.iter().filter_map(|row| row.values.get(column));
    if values
        .clone()
        .any(|value| matches!(value, Attribute::Text(_)))
    {
        OGRFieldType::OFTString
    } else if values.any(|value| matches!(value, Attribute::Real(_))) {
        OGRFieldType::OFTReal
    } else {
        OGRFieldType::OFTInteger64
    }
}

fn layer(
    dataset: &mut Dataset,
    table: &Table,
    kind: TableKind,
    system: &SpatialRef,
) -> Result<(), GdalError> {
    let date = format!("DBF_DATE_LAST_UPDATE={}", PINNED.1);
    let options: Vec<&str> = match kind {
        TableKind::GeoPackage => vec!["GEOMETRY_NAME=geom", "FID=fid", "SPATIAL_INDEX=YES"],
        TableKind::GeoJson => vec!["RFC7946=YES", "COORDINATE_PRECISION=9", "WRITE_BBOX=YES"],
        TableKind::Shapefile => vec![date.as_str()],
    };
    let points = table
        .rows
        .iter()
        .any(|row| matches!(row.shape, Some(Geometry::Point(_))));
    let many = table
        .rows
        .iter()
        .any(|row| matches!(row.shape, Some(Geometry::MultiPolygon(_))));
    let ty = match (points, many) {
        (true, _) => OGRwkbGeometryType::wkbPoint,
        (_, true) => OGRwkbGeometryType::wkbMultiPolygon,
        _ => OGRwkbGeometryType::wkbPolygon,
    };
    let layer = dataset.create_layer(LayerOptions {
        name: &table.name,
        srs: Some(system),
        ty,
        options: Some(&options),
    })?;
    for (k, name) in table.columns.iter().enumerate() {
        let column = FieldDefn::new(name, kind_of(table, k))?;
        if kind == TableKind::Shapefile && kind_of(table, k) == OGRFieldType::OFTReal {
            column.set_width(14);
            column.set_precision(4);
        }
        column.add_to_layer(&layer)?;
    }
    let definition = Defn::from_layer(&layer);
    for row in &table.rows {
        let mut feature = Feature::new(&definition)?;
        if let Some(shape) = &row.shape {
            feature.set_geometry(shape.to_gdal()?)?;
        }
        for (k, value) in row.values.iter().enumerate() {
            match value {
                Attribute::Whole(value) if kind_of(table, k) == OGRFieldType::OFTString => {
                    feature.set_field_string(k, &value.to_string())?;
                }
                Attribute::Real(value) if kind_of(table, k) == OGRFieldType::OFTString => {
                    feature.set_field_string(k, &value.to_string())?;
                }
                Attribute::Whole(value) if kind_of(table, k) == OGRFieldType::OFTReal => {
                    feature.set_field_double(k, *value as f64)?;
                }
                Attribute::Whole(value) => feature.set_field_integer64(k, *value)?,
                Attribute::Real(value) if value.is_finite() => {
                    feature.set_field_double(k, *value)?;
                }
                Attribute::Text(text) => feature.set_field_string(k, text)?,
                Attribute::Real(_) | Attribute::Null => feature.set_field_null(k)?,
            }
        }
        feature.create(&layer)?;
    }
    Ok(())
}
