//! What a `GeoPackage` says of itself beside its layers: what each column holds, and how each layer is drawn.
//!
//! # Source
//! OGC 12-128 (`GeoPackage` 1.3) annex F.9 (schema extension: `gpkg_data_columns`, `gpkg_data_column_constraints`), from memory, checked by GDAL's validator; the table
//! `layer_styles` as QGIS 3 keeps it, from memory.

use crate::format::WriteError;
use crate::format::style::{Style, qml_vector, sld_vector};
use crate::map::export::Drawn;
use crate::map::table::Table;
use gdal::Dataset;
use gdal::errors::GdalError;
use gdal::vector::sql::Dialect;

/// Tables of the schema extension, and their entries in the list of extensions.
const SCHEMA_TABLES: [&str; 4] = [
    "CREATE TABLE gpkg_data_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT, mime_type TEXT, constraint_name TEXT, \
     CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name), CONSTRAINT gdc_tn UNIQUE (table_name, name))",
    "CREATE TABLE gpkg_data_column_constraints (constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC, min_is_inclusive BOOLEAN, \
     max NUMERIC, max_is_inclusive BOOLEAN, description TEXT, CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value))",
    "CREATE TABLE IF NOT EXISTS gpkg_extensions (table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, definition TEXT NOT NULL, scope TEXT NOT NULL, \
     CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name))",
    "INSERT INTO gpkg_extensions (table_name, column_name, extension_name, definition, scope) VALUES \
     ('gpkg_data_columns', NULL, 'gpkg_schema', 'http://www.geopackage.org/spec/#extension_schema', 'read-write'), \
     ('gpkg_data_column_constraints', NULL, 'gpkg_schema', 'http://www.geopackage.org/spec/#extension_schema', 'read-write')",
];

/// The table of styles.
const STYLES_TABLE: &str = "CREATE TABLE layer_styles (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256), f_table_schema TEXT(256), \
     f_table_name TEXT(256), f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT(500), \
     owner TEXT(30), ui TEXT(30), update_time DATETIME)";

fn run(dataset: &Dataset, statement: &str) -> Result<(), GdalError> {
    dataset
        .execute_sql(statement, None, Dialect::DEFAULT)
        .map(drop)
}

/// A text as SQL writes it.
fn quoted(text: &str) -> String {
    format!("'{}'", text.replace('\'', "''"))
}

/// Says of every column what it holds, identifiers and geometries too.
pub(super) fn describe<'l>(
    dataset: &Dataset,
    tables: impl Iterator<Item = &'l Table>,
) -> Result<(), GdalError> {
    for statement in SCHEMA_TABLES {
        run(dataset, statement)?;
    }
    for table in tables {
        let own = [
            ("fid", "Row of the table, from 1"),
            ("geom", "Outline, in the layer's reference system"),
        ];
        let columns = own
            .into_iter()
            .chain(table.columns.iter().map(|(name, _, about)| (*name, *about)));
        for (name, about) in columns {
            let values = [table.name, name, about].map(quoted).join(", ");
            run(
                dataset,
                &format!(
                    "INSERT INTO gpkg_data_columns (table_name, column_name, description) VALUES ({values})"
                ),
            )?;
        }
    }
    Ok(())
}

/// Gives each layer, by its name, the style that GIS programs load with it. `pinned` is the date of change.
pub(super) fn add_styles<'l>(
    dataset: &Dataset,
    layers: impl Iterator<Item = (&'static str, &'l Drawn)>,
    pinned: &str,
) -> Result<(), WriteError> {
    let done = |statement: &str| run(dataset, statement).map_err(WriteError::gdal("adding styles"));
    done(STYLES_TABLE)?;
    let about = [
        "layer_styles",
        "attributes",
        "layer_styles",
        "Styles of the layers",
        pinned,
    ]
    .map(quoted)
    .join(", ");
    done(&format!(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change) VALUES ({about})"
    ))?;
    for (layer, drawn) in layers {
        let style = Style::of(drawn);
        let (qml, sld) = (qml_vector(&style)?, sld_vector(layer, &style)?);
        let (qml, sld) = (
            String::from_utf8_lossy(&qml).into_owned(),
            String::from_utf8_lossy(&sld).into_owned(),
        );
        let values = ["", "", layer, "geom", layer, &qml, &sld]
            .map(quoted)
            .join(", ");
        done(&format!(
            "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName, styleQML, styleSLD, useAsDefault, description, owner, ui, \
             update_time) VALUES ({values}, 1, {}, '', NULL, {})",
            quoted(&style.title),
            quoted(pinned),
        ))?;
    }
    Ok(())
}
