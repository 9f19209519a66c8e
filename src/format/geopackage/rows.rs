//! The rows of a large layer, put into its table by `SQLite` itself.
//!
//! GDAL makes the file and every table, and writes what is small. Of cells there are a hundred thousand, and a row costs GDAL more than twice what it costs
//! `SQLite`: half of the whole job's time for a cell.
//!
//! # Source
//! OGC 12-128 (`GeoPackage` 1.3), 2.1.3: geometry as `GeoPackageBinary`, little-endian, with an envelope, around well-known binary (OGC 06-103, 8.2).

use rusqlite::types::Null;
use rusqlite::{Connection, MAIN_DB, params};

use crate::format::gdal_layer::check;
use crate::format::{WriteError, wkb};
use crate::map::table::{Row, Table, Value};
use geo::{BoundingRect, MultiPolygon, Rect};

/// Fills an empty layer of a file in memory, and brings what the file says of it up to date: extent and number of rows.
///
/// # Errors
/// [`WriteError::Sqlite`], and [`WriteError::NotFinite`] for a value that is not a number.
pub(super) fn filled<'r>(
    file: &[u8],
    table: &Table,
    rows: impl Iterator<Item = Row<'r>>,
) -> Result<Vec<u8>, WriteError> {
    let mut database =
        Connection::open_in_memory().map_err(WriteError::sqlite("opening the file"))?;
    database
        .deserialize_read_exact(MAIN_DB, file, file.len(), false)
        .map_err(WriteError::sqlite("opening the file"))?;
    put(&mut database, table, rows)?;
    database
        .serialize(MAIN_DB)
        .map(|data| data.to_vec())
        .map_err(WriteError::sqlite("taking the file from memory"))
}

pub(super) fn put<'r>(
    database: &mut Connection,
    table: &Table,
    rows: impl Iterator<Item = Row<'r>>,
) -> Result<(), WriteError> {
    let failed = WriteError::sqlite("writing a row");
    let transaction = database.transaction().map_err(&failed)?;
    let system: i32 = transaction
        .query_row(
            "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = ?1",
            [table.name],
            |row| row.get(0),
        )
        .map_err(&failed)?;
    // GDAL's triggers count rows one by one. They are set aside for the while, and the count is told at the end.
    let triggers = triggers(&transaction, table.name).map_err(&failed)?;
    for (name, _) in &triggers {
        transaction
            .execute(&format!("DROP TRIGGER \"{name}\""), [])
            .map_err(&failed)?;
    }
    let (mut count, mut extent) = (0_i64, None::<Rect<f64>>);
    {
        let names: Vec<&str> = ["fid", "geom"]
            .into_iter()
            .chain(table.columns.iter().map(|(name, _, _)| *name))
            .collect();
        let marks = vec!["?"; names.len()].join(", ");
        let insert = format!(
            "INSERT INTO \"{}\" (\"{}\") VALUES ({marks})",
            table.name,
            names.join("\", \"")
        );
        let mut insert = transaction.prepare(&insert).map_err(&failed)?;
        let mut blob = Vec::new();
        for Row { outline, values } in rows {
            count += 1;
            check(table, usize::try_from(count).unwrap_or(usize::MAX), &values)?;
            let bounds = outline.bounding_rect();
            geometry(&outline, bounds, system, &mut blob);
            extent = match (extent, bounds) {
                (Some(a), Some(b)) => Some(Rect::new(
                    (a.min().x.min(b.min().x), a.min().y.min(b.min().y)),
                    (a.max().x.max(b.max().x), a.max().y.max(b.max().y)),
                )),
                (a, b) => a.or(b),
            };
            insert.raw_bind_parameter(1, count).map_err(&failed)?;
            insert
                .raw_bind_parameter(2, blob.as_slice())
                .map_err(&failed)?;
            for (at, value) in (3..).zip(&values) {
                match value {
                    Value::Whole(value) => insert.raw_bind_parameter(at, value),
                    Value::Real(Some(value)) => insert.raw_bind_parameter(at, value),
                    Value::Text(Some(value)) => insert.raw_bind_parameter(at, value.as_ref()),
                    Value::Real(None) | Value::Text(None) => insert.raw_bind_parameter(at, Null),
                }
                .map_err(&failed)?;
            }
            insert.raw_execute().map_err(&failed)?;
        }
    }
    for (_, text) in &triggers {
        transaction.execute(text, []).map_err(&failed)?;
    }
    transaction
        .execute(
            "UPDATE gpkg_ogr_contents SET feature_count = ?1 WHERE table_name = ?2",
            params![count, table.name],
        )
        .map_err(&failed)?;
    if let Some(extent) = extent {
        let (low, high) = (extent.min(), extent.max());
        transaction
            .execute(
                "UPDATE gpkg_contents SET min_x = ?1, min_y = ?2, max_x = ?3, max_y = ?4 WHERE table_name = ?5",
                params![low.x, low.y, high.x, high.y, table.name],
            )
            .map_err(&failed)?;
    }
    transaction
        .commit()
        .map_err(WriteError::sqlite("ending a transaction"))
}

/// Name and text of each trigger of a table.
fn triggers(database: &Connection, table: &str) -> rusqlite::Result<Vec<(String, String)>> {
    let mut found = database.prepare("SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?1 ORDER BY rowid")?;
    let all = found.query_map([table], |row| Ok((row.get(0)?, row.get(1)?)))?;
    all.collect()
}

/// A geometry as the standard has it.
fn geometry(
    outline: &MultiPolygon<f64>,
    bounds: Option<Rect<f64>>,
    system: i32,
    out: &mut Vec<u8>,
) {
    out.clear();
    // "GP", version 0, then little-endian (1) and either an envelope of x and y (2) or the mark of nothing (16).
    out.extend([
        b'G',
        b'P',
        0,
        if bounds.is_some() { 0b11 } else { 0b1_0001 },
    ]);
    out.extend(system.to_le_bytes());
    for edge in bounds
        .iter()
        .flat_map(|b| [b.min().x, b.max().x, b.min().y, b.max().y])
    {
        out.extend(edge.to_le_bytes());
    }
    wkb::multipolygon(outline, out);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::format::Format;
    use crate::format::scratch::Scratch;
    use crate::format::tests::files;
    use crate::map::fixture;
    use gdal::Dataset;
    use gdal::vector::LayerAccess;
    use gdal::vsi::create_mem_file;

    #[test]
    fn gdal_reads_every_shape_and_count() {
        let prescription = fixture::prescription();
        let payloads = files(Format::GeoPackage, &prescription).unwrap();
        let file = Scratch::new("gpkg");
        create_mem_file(file.path(), payloads[0].bytes.clone()).unwrap();
        let dataset = Dataset::open(file.path()).unwrap();
        let mut layer = dataset.layer_by_name("cells").unwrap();
        let extent = layer.get_extent().unwrap();
        let (mut low, mut high) = (
            (f64::INFINITY, f64::INFINITY),
            (f64::NEG_INFINITY, f64::NEG_INFINITY),
        );
        let mut seen = 0;
        for (k, feature) in layer.features().enumerate() {
            assert_eq!(feature.fid(), Some(k as u64 + 1));
            let shape = feature.geometry().unwrap();
            let outline = prescription.grid.outline(k);
            assert_eq!(
                MultiPolygon::try_from(shape.to_geo().unwrap()).unwrap(),
                outline
            );
            let own = outline.bounding_rect().unwrap();
            low = (low.0.min(own.min().x), low.1.min(own.min().y));
            high = (high.0.max(own.max().x), high.1.max(own.max().y));
            seen += 1;
        }
        assert_eq!(seen, prescription.cells.len());
        // GDAL tells the extent with 15 digits.
        let notice = [extent.MinX, extent.MinY, extent.MaxX, extent.MaxY];
        assert!(
            notice
                .iter()
                .zip([low.0, low.1, high.0, high.1])
                .all(|(notice, own)| (notice - own).abs() < 1e-7),
            "{notice:?} {low:?} {high:?}"
        );
        let of = |sql: &str| {
            let mut set = dataset
                .execute_sql(sql, None, gdal::vector::sql::Dialect::DEFAULT)
                .unwrap()
                .unwrap();
            let row = set.features().next().unwrap();
            row.field_as_integer64(0).unwrap().unwrap()
        };
        assert_eq!(
            of("SELECT feature_count FROM gpkg_ogr_contents WHERE table_name = 'cells'"),
            seen as i64
        );
        // GDAL's own triggers are back: a row more counts.
        assert_eq!(
            of("SELECT count(*) FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'cells'"),
            2
        );
    }

    #[test]
    fn a_shape_without_ground_is_marked_empty() {
        let mut blob = Vec::new();
        geometry(&MultiPolygon::new(Vec::new()), None, 32_633, &mut blob);
        assert_eq!(
            blob,
            [
                b"GP\0\x11".as_slice(),
                &32_633_i32.to_le_bytes(),
                b"\x01\x06\0\0\0\0\0\0\0"
            ]
            .concat()
        );
    }
}
