//! Views of a database: queries that run when a layer is read, and may run for ever.

use std::fmt::Write as _;
use std::path::Path;

use rusqlite::{Connection, ErrorCode, OpenFlags};

/// Steps of the database's machine in which a view must end when it is counted once; one of a million rows takes some ten million.
const MOST_STEPS: u64 = 300_000_000;
/// Steps between two looks at the count.
const STRIDE: i32 = 1_000_000;

/// Refuses a database whose own tables are views, or a view that does not end.
///
/// # Errors
/// As above, with the view's name. A database that cannot be opened so is judged by whoever reads it.
pub(crate) fn check(path: &Path) -> Result<(), String> {
    let Some(address) = address(path) else {
        return Ok(());
    };
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
    let Ok(mut database) = Connection::open_with_flags(address, flags) else {
        return Ok(());
    };
    let names = names(&database).unwrap_or_default();
    for name in names {
        let lower = name.to_lowercase();
        if ["gpkg_", "rtree_", "sqlite_"]
            .iter()
            .any(|own| lower.starts_with(own))
        {
            return Err(format!(
                "its table {name} is a view, and those of the format are none"
            ));
        }
        let mut left = MOST_STEPS / u64::from(STRIDE.unsigned_abs());
        let watched = database.progress_handler(
            STRIDE,
            Some(move || {
                left = left.saturating_sub(1);
                left == 0
            }),
        );
        if watched.is_err() {
            return Ok(());
        }
        let counted = database.query_row(
            &format!("SELECT count(*) FROM \"{}\"", name.replace('"', "\"\"")),
            [],
            |row| row.get::<_, i64>(0),
        );
        if let Err(error) = counted
            && error.sqlite_error_code() == Some(ErrorCode::OperationInterrupted)
        {
            return Err(format!(
                "its view {name} does not end within {MOST_STEPS} steps: write it out as a table"
            ));
        }
    }
    Ok(())
}

fn names(database: &Connection) -> rusqlite::Result<Vec<String>> {
    let mut query = database.prepare("SELECT name FROM sqlite_master WHERE type = 'view'")?;
    query.query_map([], |row| row.get(0))?.collect()
}

/// A file as an address of a database that nobody changes: a plain opening leaves files beside it.
fn address(path: &Path) -> Option<String> {
    let whole = fs_err::canonicalize(path).ok()?;
    let mut address = "file:".to_owned();
    for byte in whole.to_str()?.bytes() {
        if byte.is_ascii_alphanumeric() || b"/-._".contains(&byte) {
            address.push(char::from(byte));
        } else {
            let _ = write!(address, "%{byte:02X}");
        }
    }
    Some(address + "?immutable=1&mode=ro")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_view_without_end_is_refused_and_another_is_not() {
        let folder = tempfile::tempdir().unwrap();
        for (k, (view, word)) in [
            ("CREATE VIEW short AS SELECT 1 AS a", None),
            (
                "CREATE VIEW endless AS WITH RECURSIVE c(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM c) SELECT x FROM c",
                Some("endless"),
            ),
            ("CREATE VIEW gpkg_contents AS SELECT 1", Some("gpkg_contents")),
        ]
        .into_iter()
        .enumerate()
        {
            let path = folder.path().join(format!("a%?{k}.gpkg"));
            Connection::open(&path).unwrap().execute_batch(view).unwrap();
            let said = check(&path).err();
            assert_eq!(said.is_some(), word.is_some(), "{view}: {said:?}");
            if let Some(word) = word {
                assert!(said.unwrap().contains(word));
            }
        }
        assert_eq!(check(&folder.path().join("none")), Ok(()));
    }
}
