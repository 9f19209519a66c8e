//! One of haulm's parsers under libFuzzer, which keeps inputs that reach new code. `tests/fuzz/run` builds it and calls it once a parser.
//!
//! The variable `HAULM_DOOR` names the parser, and `HAULM_SEEDS` the folder that good inputs are put into before the fuzzer looks there.

#![no_main]
#![expect(
    clippy::unwrap_used,
    reason = "what fails here is a finding of the fuzzer, or its own set-up"
)]

use std::cell::OnceCell;
use std::path::Path;

use haulm::app::api::{MapOptions, map};
use haulm::{Common, Silent};
use libfuzzer_sys::fuzz_target;

#[expect(dead_code, reason = "what the blind throws need to know besides")]
#[path = "../support/doors.rs"]
mod doors;

use doors::{Door, door};

thread_local! {
    static DOOR: OnceCell<(Door, tempfile::TempDir)> = const { OnceCell::new() };
}

fn opened() -> (Door, tempfile::TempDir) {
    let scratch = tempfile::tempdir().unwrap();
    let name = std::env::var("HAULM_DOOR").unwrap();
    let mapped = || {
        let job = doors::repository("demo/job.toml");
        let folder = scratch.path().join("out");
        let options = MapOptions {
            output: Some(folder.clone()),
            common: Common::default(),
            ..MapOptions::default()
        };
        map(&job, &options, &Silent).unwrap();
        folder
    };
    let door = door(&name, scratch.path(), &mapped);
    (door, scratch)
}

/// Puts the good inputs where the fuzzer begins.
fn seed() {
    let folder = std::env::var_os("HAULM_SEEDS").unwrap();
    DOOR.with(|cell| {
        let (door, _) = cell.get_or_init(opened);
        for (number, seed) in door.seeds.iter().enumerate() {
            fs_err::write(Path::new(&folder).join(format!("seed{number}")), seed).unwrap();
        }
        let taken = door.seeds.iter().filter(|seed| (door.parse)(seed)).count();
        assert!(taken > 0, "no seed is valid");
    });
}

fuzz_target!(init: seed(), |bytes: &[u8]| {
    DOOR.with(|cell| {
        let (door, _) = cell.get_or_init(opened);
        let _ = (door.parse)(bytes);
    });
});
