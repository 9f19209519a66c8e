//! Writes a `GeoPackage` in memory: tables through GDAL, the many rows of cells by `SQLite` itself.
//!
//! # Source
//! OGC 12-128 (`GeoPackage` 1.3): layers, geometry type, last-change date, `RTree` extension; kept by GDAL.

use super::columns::{Kind, Layer, Value};
use super::error::GeoPackageError;
use super::{about, columns, rows};
use crate::format::payload::Payload;
use crate::format::scratch::{Scratch, ThreadOption};
use crate::format::style;
use crate::format::style::Style;
use crate::map::prescription::Prescription;
use gdal::cpl::CslStringList;
use gdal::errors::GdalError;
use gdal::spatial_ref::{AxisMappingStrategy, SpatialRef};
use gdal::vector::{
    Defn, Feature, FieldDefn, LayerOptions, OGRFieldType, OGRwkbGeometryType, ToGdal,
};
use gdal::{Dataset, DriverManager};
use geo::MultiPolygon;
use jiff::Timestamp;

/// Where the file goes.
const PATH: &str = "office/prescription.gpkg";
/// Version of the standard: the newest that GDAL 3.6 writes.
const VERSION: &str = "1.3";
/// A row: outline and values.
pub(super) type Row = (MultiPolygon<f64>, Vec<Value>);

/// Writes `office/prescription.gpkg`: layers `zones`, `cells`, `strips` and `field` in the working plane, all multipolygons, zones with a spatial index; a table that
/// says what each column holds, and a style for each layer that GIS programs load by themselves.
///
/// Missing values are null; product rates are rounded half up to 0.01, null without a product. `beyond` and `left_out` are 0 or 1. `instant` stands as the
/// date of last change, so that the same job gives the same bytes.
///
/// # Errors
/// [`GeoPackageError`] when a value is not finite, cells and shapes do not match, or GDAL refuses.
pub fn write(
    prescription: &Prescription,
    instant: Timestamp,
) -> Result<Vec<Payload>, GeoPackageError> {
    let (records, shapes) = (prescription.cells.len(), prescription.grid.cells.len());
    if records != shapes {
        return Err(GeoPackageError::CellCount { records, shapes });
    }

    let pinned = instant.strftime("%Y-%m-%dT%H:%M:%S.000Z").to_string();
    let _date = ThreadOption::set("OGR_CURRENT_DATE", &pinned).map_err(gdal("pinning the date"))?;
    let file = Scratch::new("gpkg");
    let mut dataset = create(&file).map_err(gdal("creating the file"))?;
    let mut plane = SpatialRef::from_definition(prescription.plane.definition())
        .map_err(gdal("reading the working plane's definition"))?;
    plane.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);

    let zones = prescription
        .zones
        .iter()
        .map(|zone| (zone.outline.clone(), columns::zone(prescription, zone)));
    add_layer(&mut dataset, &plane, columns::ZONES, zones)?;
    add_layer(&mut dataset, &plane, columns::CELLS, std::iter::empty())?;
    let strips = prescription
        .strips
        .iter()
        .map(|strip| (strip.outline.clone(), columns::strip(strip)));
    add_layer(&mut dataset, &plane, columns::STRIPS, strips)?;
    add_layer(
        &mut dataset,
        &plane,
        columns::FIELD,
        std::iter::once((prescription.field.clone(), columns::field(prescription))),
    )?;

    let all = [
        columns::ZONES,
        columns::CELLS,
        columns::STRIPS,
        columns::FIELD,
    ];
    about::describe(&dataset, &all).map_err(gdal("describing the columns"))?;
    let styles = [
        (columns::ZONES.name, style::zones(prescription)),
        (columns::CELLS.name, style::cells(prescription)),
        (
            columns::STRIPS.name,
            Style::outline("Reference strips", true),
        ),
        (columns::FIELD.name, Style::outline("Field", false)),
    ];
    about::add_styles(&dataset, &styles, &pinned)?;
    dataset.close().map_err(gdal("closing the file"))?;
    let bytes = file
        .into_bytes()
        .map_err(gdal("taking the file from memory"))?;
    let cells = prescription.cells.iter().enumerate().map(|(i, cell)| {
        (
            prescription.grid.outline(i),
            columns::cell(cell, prescription.grid.part_of(i)),
        )
    });
    Ok(vec![Payload::new(
        PATH,
        rows::filled(&bytes, &columns::CELLS, cells)?,
    )])
}

pub(super) fn gdal(doing: &'static str) -> impl Fn(GdalError) -> GeoPackageError {
    move |source| GeoPackageError::Gdal { doing, source }
}

pub(super) fn create(file: &Scratch) -> Result<Dataset, GdalError> {
    let mut options = CslStringList::new();
    options.set_name_value("VERSION", VERSION)?;
    DriverManager::get_driver_by_name("GPKG")?.create_with_band_type_with_options::<u8, _>(
        file.path(),
        0,
        0,
        0,
        &options,
    )
}

/// One layer in one transaction: 100 000 rows in a few seconds.
pub(super) fn add_layer(
    dataset: &mut Dataset,
    plane: &SpatialRef,
    layer: Layer,
    rows: impl Iterator<Item = Row>,
) -> Result<(), GeoPackageError> {
    let description = format!("DESCRIPTION={}", layer.description);
    let index = if layer.indexed {
        "SPATIAL_INDEX=YES"
    } else {
        "SPATIAL_INDEX=NO"
    };
    let options = ["GEOMETRY_NAME=geom", "FID=fid", index, description.as_str()];
    let mut transaction = dataset
        .start_transaction()
        .map_err(gdal("opening a transaction"))?;
    {
        let table = transaction
            .create_layer(LayerOptions {
                name: layer.name,
                srs: Some(plane),
                ty: OGRwkbGeometryType::wkbMultiPolygon,
                options: Some(&options),
            })
            .map_err(gdal("creating a layer"))?;
        for (name, kind, _) in layer.columns {
            let kind = match kind {
                Kind::Whole => OGRFieldType::OFTInteger64,
                Kind::Real => OGRFieldType::OFTReal,
                Kind::Text => OGRFieldType::OFTString,
            };
            FieldDefn::new(name, kind)
                .and_then(|column| column.add_to_layer(&table))
                .map_err(gdal("creating a column"))?;
        }
        let definition = Defn::from_layer(&table);
        for (row, (outline, values)) in (1..).zip(rows) {
            check(&layer, row, &values)?;
            feature(&definition, &outline, &values)
                .and_then(|feature| feature.create(&table))
                .map_err(gdal("writing a row"))?;
        }
    }
    transaction.commit().map_err(gdal("ending a transaction"))
}

/// Numbers are numbers: what is missing is `None` and becomes null, never NaN.
pub(super) fn check(layer: &Layer, row: usize, values: &[Value]) -> Result<(), GeoPackageError> {
    for ((column, _, _), value) in layer.columns.iter().zip(values) {
        match *value {
            Value::Real(Some(value)) if !value.is_finite() => {
                return Err(GeoPackageError::NotFinite {
                    layer: layer.name,
                    row,
                    column,
                    value,
                });
            }
            _ => {}
        }
    }
    Ok(())
}

fn feature<'d>(
    definition: &'d Defn,
    outline: &MultiPolygon<f64>,
    values: &[Value],
) -> Result<Feature<'d>, GdalError> {
    let mut feature = Feature::new(definition)?;
    feature.set_geometry(outline.to_gdal()?)?;
    for (i, value) in values.iter().enumerate() {
        match value {
            Value::Whole(value) => feature.set_field_integer64(i, *value)?,
            Value::Real(Some(value)) => feature.set_field_double(i, *value)?,
            Value::Text(Some(value)) => feature.set_field_string(i, value)?,
            Value::Real(None) | Value::Text(None) => feature.set_field_null(i)?,
        }
    }
    Ok(feature)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::fixture;
    use gdal::vector::{FieldValue, LayerAccess, geometry_type_to_name};
    use gdal::vsi::create_mem_file;

    fn instant() -> Timestamp {
        "2026-04-14T00:00:00Z".parse().unwrap()
    }

    fn reopened(p: &Prescription) -> (Scratch, Dataset) {
        let payloads = write(p, instant()).unwrap();
        assert_eq!(payloads.len(), 1);
        assert_eq!(payloads[0].path, "office/prescription.gpkg");
        let file = Scratch::new("gpkg");
        create_mem_file(file.path(), payloads[0].bytes.clone()).unwrap();
        let dataset = Dataset::open(file.path()).unwrap();
        (file, dataset)
    }

    #[test]
    fn layers_columns_and_counts() {
        let p = fixture::prescription();
        let (_file, dataset) = reopened(&p);
        let names: Vec<_> = dataset.layers().map(|layer| layer.name()).collect();
        assert_eq!(names, ["zones", "cells", "strips", "field", "layer_styles"]);
        let columns = |layer: &str| {
            dataset
                .layer_by_name(layer)
                .unwrap()
                .defn()
                .fields()
                .map(|field| field.name())
                .collect::<Vec<_>>()
                .join(" ")
        };
        assert_eq!(
            columns("zones"),
            "zone product_rate product_unit n_kg_ha area_m2 index cells state n_p10_kg_ha n_p90_kg_ha"
        );
        assert_eq!(
            columns("cells"),
            "row col area_m2 seen bare index index_se ratio_raw ratio yield_without_n_kg_ha yield_with_n_kg_ha n_raw_kg_ha n_exact_kg_ha n_kg_ha capped beyond state zone n_p10_kg_ha n_p90_kg_ha area"
        );
        for (layer, count) in [("zones", 3), ("cells", 117), ("strips", 2), ("field", 1)] {
            let layer = dataset.layer_by_name(layer).unwrap();
            assert_eq!(layer.feature_count(), count);
            assert_eq!(
                geometry_type_to_name(layer.defn().geometry_type()),
                "Multi Polygon"
            );
            assert_eq!(layer.spatial_ref().unwrap().auth_code().unwrap(), 32_633);
        }
    }

    #[test]
    fn rates_stand_where_they_belong() {
        let (_file, dataset) = reopened(&fixture::prescription());
        for (layer, column, cases) in [
            (
                "zones",
                "product_rate",
                [
                    (10.0, 10.0, Some(167.41)),
                    (72.0, 84.0, Some(0.0)),
                    (290.0, 190.0, Some(251.12)),
                    (210.0, 90.0, None),
                ],
            ),
            (
                "cells",
                "n_kg_ha",
                [
                    (10.0, 10.0, Some(60.0)),
                    (73.0, 84.0, Some(0.0)),
                    (290.0, 195.0, Some(90.0)),
                    (210.0, 90.0, None),
                ],
            ),
        ] {
            for (along, left, expected) in cases {
                let (x, y) = fixture::point(along, left);
                let mut layer = dataset.layer_by_name(layer).unwrap();
                // The spatial filter works on the geometry itself, by the index first.
                layer.set_spatial_filter_rect(x - 1e-3, y - 1e-3, x + 1e-3, y + 1e-3);
                let column = layer.defn().field_index(column).unwrap();
                let found: Vec<_> = layer
                    .features()
                    .map(|feature| feature.field_as_double(column).unwrap())
                    .collect();
                assert_eq!(
                    found,
                    expected.map(Some).into_iter().collect::<Vec<_>>(),
                    "{along} {left}"
                );
            }
        }
    }

    #[test]
    fn missing_values_are_null() {
        let mut p = fixture::prescription();
        {
            let (_file, dataset) = reopened(&p);
            let mut cells = dataset.layer_by_name("cells").unwrap();
            cells.set_attribute_filter("row = 2 and col = 3").unwrap();
            let bare = cells.features().next().unwrap();
            let value = |name: &str| bare.field(bare.field_index(name).unwrap()).unwrap();
            for name in [
                "index",
                "ratio_raw",
                "ratio",
                "yield_without_n_kg_ha",
                "yield_with_n_kg_ha",
                "n_raw_kg_ha",
                "n_exact_kg_ha",
            ] {
                assert_eq!(value(name), None, "{name}");
            }
            assert_eq!(value("n_kg_ha"), Some(FieldValue::RealValue(0.0)));
            assert_eq!(
                value("state"),
                Some(FieldValue::StringValue("bare".to_owned()))
            );
            assert_eq!(value("beyond"), Some(FieldValue::Integer64Value(0)));
            let mut strips = dataset.layer_by_name("strips").unwrap();
            let estimators: Vec<_> = strips
                .features()
                .map(|strip| {
                    strip
                        .field_as_string(strip.field_index("estimator").unwrap())
                        .unwrap()
                })
                .collect();
            assert_eq!(estimators, [Some("fine".to_owned()), None]);
        }
        p.product = None;
        let (_file, dataset) = reopened(&p);
        let mut zones = dataset.layer_by_name("zones").unwrap();
        let zone = zones.features().next().unwrap();
        assert!(zone.field(1).unwrap().is_none() && zone.field(2).unwrap().is_none());
    }

    #[test]
    fn what_is_not_a_number_is_refused() {
        let mut p = fixture::prescription();
        p.cells[3].index = Some(f64::NAN);
        assert!(matches!(
            write(&p, instant()),
            Err(GeoPackageError::NotFinite {
                layer: "cells",
                row: 4,
                column: "index",
                ..
            })
        ));
        p.cells.pop();
        assert!(matches!(
            write(&p, instant()),
            Err(GeoPackageError::CellCount {
                records: 116,
                shapes: 117
            })
        ));
    }

    #[test]
    fn same_bytes_twice_whatever_the_day() {
        let p = fixture::prescription();
        let first = write(&p, instant()).unwrap();
        std::thread::sleep(std::time::Duration::from_millis(1_100));
        assert_eq!(first, write(&p, instant()).unwrap());
        let bytes = &first[0].bytes;
        // `SQLite` header: application id "GPKG" at 68, user version 10300 at 60.
        assert_eq!(
            (&bytes[68..72], &bytes[60..64]),
            (&b"GPKG"[..], &10_300_u32.to_be_bytes()[..])
        );
        assert!(
            bytes
                .windows(24)
                .any(|window| window == b"2026-04-14T00:00:00.000Z")
        );
    }
}
