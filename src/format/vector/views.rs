//! Views of a database: queries that run when a layer is read, and may run for ever.

use std::fmt::Write as _;
use std::path::Path;
use std::sync::mpsc;
use std::sync::mpsc::RecvTimeoutError;
use std::thread;
use std::time::{Duration, Instant};

use rusqlite::{Connection, ErrorCode, OpenFlags};

/// Within this time all views of a file must end, each counted once; one of a million rows takes about a second.
const LONGEST: Duration = Duration::from_secs(20);

/// Refuses a database whose own tables are views, or a view that does not end.
///
/// # Errors
/// As above, with the view's name. A database that cannot be opened so is judged by whoever reads it.
pub(crate) fn check(path: &Path) -> Result<(), String> {
    check_within(path, LONGEST)
}

fn check_within(path: &Path, longest: Duration) -> Result<(), String> {
    let Some(address) = address(path) else {
        return Ok(());
    };
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
    let Ok(database) = Connection::open_with_flags(address, flags) else {
        return Ok(());
    };
    let names = names(&database).unwrap_or_default();
    let count = names.len();
    let begun = Instant::now();
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
        let counted = watched(&database, &name, longest.saturating_sub(begun.elapsed()));
        if let Err(error) = counted
            && error.sqlite_error_code() == Some(ErrorCode::OperationInterrupted)
        {
            let longest = longest.as_secs();
            return Err(if count > 1 {
                format!(
                    "its {count} views do not end within {longest} s: at {name} that was over; write them out as tables"
                )
            } else {
                format!("its view {name} does not end within {longest} s: write it out as a table")
            });
        }
    }
    Ok(())
}

/// Counts the rows of a view, which another thread ends when its time is over.
fn watched(database: &Connection, name: &str, longest: Duration) -> rusqlite::Result<i64> {
    let end = database.get_interrupt_handle();
    let (done, over) = mpsc::channel::<()>();
    thread::scope(|scope| {
        scope.spawn(move || {
            if over.recv_timeout(longest) == Err(RecvTimeoutError::Timeout) {
                end.interrupt();
            }
        });
        let counted = database.query_row(
            &format!("SELECT count(*) FROM \"{}\"", name.replace('"', "\"\"")),
            [],
            |row| row.get(0),
        );
        drop(done);
        counted
    })
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
            let wording = check_within(&path, Duration::from_secs(5)).err();
            assert_eq!(wording.is_some(), word.is_some(), "{view}: {wording:?}");
            if let Some(word) = word {
                assert!(wording.unwrap().contains(word));
            }
        }
        assert_eq!(check(&folder.path().join("none")), Ok(()));
    }
}
