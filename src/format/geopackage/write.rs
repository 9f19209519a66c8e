//! Writes a `GeoPackage` in memory: tables through GDAL, the many rows of cells by `SQLite` itself.
//!
//! # Source
//! OGC 12-128 (`GeoPackage` 1.3): layers, geometry type, last-change date, `RTree` extension; kept by GDAL.

use std::path::Path;

use super::{about, rows};
use crate::format::payload::Payload;
use crate::format::scratch::{Scratch, ThreadOption};
use crate::format::{WriteError, WriteOptions, gdal_layer};
use crate::map::export::{ExportMap, Layer};
use gdal::cpl::CslStringList;
use gdal::errors::GdalError;
use gdal::spatial_ref::SpatialRef;
use gdal::{Dataset, DriverManager};

/// Version of the standard: the newest that GDAL 3.6 writes.
const VERSION: &str = "1.3";

/// `NAME.gpkg`: a layer for each table of the map (of our own `zones`, `cells`, `strips` and `field`) in the map's own system, all multipolygons, zones with a
/// spatial index; a table that says what each column holds, and a style for each layer that GIS programs load by themselves.
///
/// Missing values are null. The options' instant stands as the date of last change, so that the same job gives the same bytes.
///
/// # Errors
/// [`WriteError`] when a value is not finite, or GDAL or `SQLite` refuses.
pub(super) fn write<'m>(
    map: &ExportMap<'m>,
    options: &WriteOptions<'_>,
) -> Result<Vec<Payload>, WriteError> {
    let pinned = options
        .instant
        .strftime("%Y-%m-%dT%H:%M:%S.000Z")
        .to_string();
    let _date = ThreadOption::set("OGR_CURRENT_DATE", &pinned)
        .map_err(WriteError::gdal("pinning the date"))?;
    let file = Scratch::new("gpkg");
    let mut dataset =
        create(file.path().as_ref()).map_err(WriteError::gdal("creating the file"))?;
    let system = gdal_layer::system(map.system)?;
    let layers =
        || -> std::iter::Chain<std::iter::Once<&Layer<'m>>, std::slice::Iter<'_, Layer<'m>>> {
            std::iter::once(&map.zones).chain(&map.more)
        };
    for layer in layers() {
        add_layer(&mut dataset, &system, layer)?;
    }
    about::describe(&dataset, layers().map(|layer| &layer.table))
        .map_err(WriteError::gdal("describing the columns"))?;
    let styles = layers().map(|layer| (layer.table.name, &layer.drawn));
    about::add_styles(&dataset, styles, &pinned)?;
    dataset
        .close()
        .map_err(WriteError::gdal("closing the file"))?;
    let mut bytes = file
        .into_bytes()
        .map_err(WriteError::gdal("taking the file from memory"))?;
    for layer in layers().filter(|layer| layer.table.is_large) {
        bytes = rows::filled(&bytes, &layer.table, layer.rows())?;
    }
    Ok(vec![Payload::new(format!("{}.gpkg", options.name), bytes)])
}

pub(super) fn create(file: &Path) -> Result<Dataset, GdalError> {
    let mut options = CslStringList::new();
    options.set_name_value("VERSION", VERSION)?;
    DriverManager::get_driver_by_name("GPKG")?
        .create_with_band_type_with_options::<u8, _>(file, 0, 0, 0, &options)
}

/// One layer in one transaction; a large one is left empty.
fn add_layer(
    dataset: &mut Dataset,
    system: &SpatialRef,
    layer: &Layer<'_>,
) -> Result<(), WriteError> {
    let table = &layer.table;
    let description = format!("DESCRIPTION={}", table.description);
    let index = if table.indexed {
        "SPATIAL_INDEX=YES"
    } else {
        "SPATIAL_INDEX=NO"
    };
    let options = ["GEOMETRY_NAME=geom", "FID=fid", index, description.as_str()];
    let mut transaction = dataset
        .start_transaction()
        .map_err(WriteError::gdal("opening a transaction"))?;
    {
        let made = gdal_layer::create(&mut transaction, table, system, &options)?;
        if !table.is_large {
            gdal_layer::fill(&made, table, layer.rows())?;
        }
    }
    transaction
        .commit()
        .map_err(WriteError::gdal("ending a transaction"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::format::Format;
    use crate::format::tests::{files, rates};
    use crate::map::export::ExportError;
    use crate::map::fixture;
    use crate::map::prescription::Prescription;
    use gdal::vector::{FieldValue, LayerAccess, geometry_type_to_name};
    use gdal::vsi::create_mem_file;

    fn reopened(p: &Prescription) -> (Scratch, Dataset) {
        let payloads = files(Format::GeoPackage, p).unwrap();
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
            files(Format::GeoPackage, &p),
            Err(WriteError::NotFinite {
                table: "cells",
                row: 4,
                column: "index",
                ..
            })
        ));
        p.cells.pop();
        assert_eq!(
            ExportMap::of_prescription(&p, &rates(&p, |_| 0.0)).err(),
            Some(ExportError::CellCount {
                records: 116,
                shapes: 117
            })
        );
    }

    #[test]
    fn same_bytes_twice_whatever_the_day() {
        let p = fixture::prescription();
        let first = files(Format::GeoPackage, &p).unwrap();
        std::thread::sleep(std::time::Duration::from_millis(1_100));
        assert_eq!(first, files(Format::GeoPackage, &p).unwrap());
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
