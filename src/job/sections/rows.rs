//! Every row of the table of keys has a use: the reader consumes it in one of the jobs that tests keep.

use std::path::Path;

use crate::job::keys::TABLES;
use crate::job::ramp::ramp_job;
use crate::job::reader::consumed;
use crate::job::resolve::{map_job, rate_job};

#[test]
fn every_row_is_consumed() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/jobs/good");
    let mut paths: Vec<_> = fs_err::read_dir(&folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    paths.sort();
    for path in &paths {
        let bytes = fs_err::read(path).unwrap();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let error = match name.split('_').next() {
            Some("ramp") => ramp_job(&bytes, path).err(),
            Some("rate") => rate_job(&bytes, path, None, &|path| fs_err::read(path)).err(),
            _ => map_job(&bytes, path, None, &|path| fs_err::read(path)).err(),
        };
        assert!(error.is_none(), "{name}: {}", error.unwrap());
    }
    let used = consumed::all();
    let mut idle = Vec::new();
    for table in TABLES.iter() {
        for key in table.keys {
            let is_used = used
                .iter()
                .any(|(section, row)| *section == table.name && **row == *key);
            if !is_used {
                idle.push(format!("{}.{} {:?}", table.name, key.name, key.of));
            }
        }
    }
    assert!(
        idle.is_empty(),
        "rows that nothing reads:\n{}",
        idle.join("\n")
    );
}
