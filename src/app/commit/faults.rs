//! Every step of a commit fails once, in four ways; afterwards the folder is exactly old or exactly new.

use std::cell::Cell;
use std::collections::BTreeMap;
use std::io;
use std::path::Path;

use serde_json::json;

use super::{CommitError, CommitOptions, Disk, FileSystem, Place, commit_to, recover};
use crate::finding::codes;
use crate::format::payload::Payload;

/// How a disk fails.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Fault {
    /// Step n and all after it do nothing: the process was killed.
    Killed,
    /// Step n fails, later ones work.
    Once,
    /// From step n on nothing can be written; moving and removing work.
    Full,
    /// From step n on nothing can be moved in; nothing else fails before or after.
    Moves,
}

/// The file system, failing from some step on. Does not wait for the medium.
struct Failing {
    fault: Fault,
    left: Cell<u32>,
    failed: Cell<bool>,
}

impl Failing {
    fn at(fault: Fault, step: u32) -> Self {
        Self {
            fault,
            left: Cell::new(step),
            failed: Cell::new(false),
        }
    }
    /// Fails nowhere, and does not wait for the medium either.
    fn never() -> Self {
        Self::at(Fault::Killed, u32::MAX)
    }
    /// Counts a step, and fails it when its time has come.
    fn step(&self, touched: bool) -> io::Result<()> {
        let counts = match self.fault {
            Fault::Killed | Fault::Once => true,
            Fault::Full | Fault::Moves => touched,
        };
        if !counts {
            return Ok(());
        }
        if self.left.get() > 0 {
            self.left.set(self.left.get() - 1);
            return Ok(());
        }
        if self.fault == Fault::Once && self.failed.get() {
            return Ok(());
        }
        self.failed.set(true);
        Err(if self.fault == Fault::Full {
            io::ErrorKind::StorageFull.into()
        } else {
            io::Error::other("made to fail")
        })
    }
}

impl Disk for Failing {
    fn make_folder(&self, path: &Path) -> io::Result<()> {
        self.step(self.fault == Fault::Full)?;
        FileSystem.make_folder(path)
    }
    fn write_new(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        self.step(self.fault == Fault::Full)?;
        // Half a file, then all of it, then on the medium: each a place to fail.
        fs_err::write(path, &bytes[..bytes.len() / 2])?;
        self.step(self.fault == Fault::Full)?;
        fs_err::write(path, bytes)?;
        self.step(self.fault == Fault::Full)
    }
    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        assert!(
            path.is_dir(),
            "{} is synced and is no folder",
            path.display()
        );
        self.step(false)
    }
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.step(
            self.fault == Fault::Moves && from.components().any(|part| part.as_os_str() == "new"),
        )?;
        assert!(!to.exists(), "{} is replaced", to.display());
        FileSystem.rename(from, to)
    }
    fn remove_file(&self, path: &Path) -> io::Result<()> {
        self.step(false)?;
        FileSystem.remove_file(path)
    }
    fn remove_folder(&self, path: &Path) -> io::Result<()> {
        self.step(false)?;
        FileSystem.remove_folder(path)
    }
}

/// On a memory disk where there is one: thousands of commits need no medium.
fn scratch() -> tempfile::TempDir {
    let memory = Path::new("/dev/shm");
    if memory.is_dir() {
        tempfile::tempdir_in(memory).unwrap()
    } else {
        tempfile::tempdir().unwrap()
    }
}

/// Files with the record that lists them.
fn run(files: &[(&str, &str)]) -> Vec<Payload> {
    let mut files: Vec<_> = files
        .iter()
        .map(|(path, text)| Payload::new(*path, text.as_bytes().to_vec()))
        .collect();
    let record = json!({ "made_by": super::made_by(), "outputs": super::outputs(&files) });
    files.push(Payload::new(
        super::RECORD_PATH,
        record.to_string().into_bytes(),
    ));
    files
}

/// One run replaced by another that keeps a file, changes one, adds two and loses three, with a folder.
fn old_and_new() -> [Vec<Payload>; 2] {
    [
        run(&[
            ("machine/LONGLEY.shp", "old shapes"),
            ("machine/TASKDATA/TASKDATA.XML", "old task"),
            ("machine/TASKDATA/GRD00001.BIN", "old grid"),
            ("office/prescription.geojson", "same"),
            ("office/nitrogen.tif", "old tiff"),
        ]),
        run(&[
            ("machine/LONGLEAS.shp", "new shapes"),
            ("office/prescription.geojson", "same"),
            ("office/nitrogen.tif", "new tiff"),
            ("office/sub/deep.txt", "deep"),
        ]),
    ]
}

/// Every path below a folder with its content; folders end in a slash.
fn tree(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    fn walk(root: &Path, folder: &Path, found: &mut BTreeMap<String, Vec<u8>>) {
        for entry in fs_err::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path
                .strip_prefix(root)
                .unwrap()
                .to_str()
                .unwrap()
                .to_owned();
            if path.is_dir() {
                found.insert(name + "/", Vec::new());
                walk(root, &path, found);
            } else {
                found.insert(name, fs_err::read(&path).unwrap());
            }
        }
    }
    let mut found = BTreeMap::new();
    walk(folder, folder, &mut found);
    found
}

/// Runs one fault at step after step until a commit needs fewer; returns how many steps there were.
fn every_step(
    fault: Fault,
    before: &[Payload],
    after: &[Payload],
    check: impl FnMut(u32, &Path, &Place, &Result<super::CommitReport, CommitError>),
) -> u32 {
    every_step_at(
        &|folder| Place::of(folder).unwrap(),
        fault,
        before,
        after,
        check,
    )
}

/// The same at a place of any kind.
fn every_step_at(
    place_of: &dyn Fn(&Path) -> Place,
    fault: Fault,
    before: &[Payload],
    after: &[Payload],
    mut check: impl FnMut(u32, &Path, &Place, &Result<super::CommitReport, CommitError>),
) -> u32 {
    for step in 0.. {
        let scratch = scratch();
        let place = place_of(&scratch.path().join("out"));
        if !before.is_empty() {
            commit_to(&Failing::never(), &place, before, &CommitOptions::default()).unwrap();
        }
        let disk = Failing::at(fault, step);
        let done = commit_to(&disk, &place, after, &CommitOptions::default());
        check(step, scratch.path(), &place, &done);
        if !disk.failed.get() {
            done.unwrap();
            return step;
        }
        assert!(step < 500, "no end");
    }
    unreachable!("the range has no end")
}

/// The two trees that may stand after a commit.
fn ends(before: &[Payload], after: &[Payload]) -> [BTreeMap<String, Vec<u8>>; 2] {
    [&[before].as_slice(), &[before, after].as_slice()].map(|runs| {
        let scratch = scratch();
        let place = Place::of(&scratch.path().join("out")).unwrap();
        for files in runs.iter().filter(|files| !files.is_empty()) {
            commit_to(&Failing::never(), &place, files, &CommitOptions::default()).unwrap();
        }
        tree(scratch.path())
    })
}

#[test]
fn a_failed_step_leaves_old_or_new_and_nothing_else() {
    let [old, new] = old_and_new();
    for before in [&[][..], &old[..]] {
        let ends = ends(before, &new);
        for fault in [Fault::Once, Fault::Full, Fault::Moves] {
            let steps = every_step(fault, before, &new, |step, root, place, done| {
                let mut found = tree(root);
                let closing = done.as_ref().is_ok_and(|report| {
                    report
                        .findings
                        .iter()
                        .any(|finding| finding.code == codes::OUTPUT_STAGE)
                });
                if closing || matches!(done, Err(CommitError::Interrupted { .. })) {
                    assert!(recover::pending(place).is_some() || done.is_ok());
                    recover::recover(&Failing::never(), place).unwrap();
                    found = tree(root);
                }
                let expected = usize::from(done.is_ok());
                assert!(
                    found == ends[expected],
                    "{fault:?} at step {step}: {done:?} left {:?}",
                    found.keys()
                );
                if fault == Fault::Full && done.is_err() {
                    assert!(
                        matches!(done, Err(CommitError::NoRoom { needed, .. }) if *needed > 0),
                        "{done:?}"
                    );
                }
            });
            assert!(steps > 3, "{fault:?} was tried at {steps} steps only");
        }
    }
}

#[test]
fn a_killed_run_is_finished_or_taken_back_by_the_next() {
    let [old, new] = old_and_new();
    let mut reached = [0, 0];
    for before in [&[][..], &old[..]] {
        let ends = ends(before, &new);
        every_step(Fault::Killed, before, &new, |step, root, place, _| {
            let wording = recover::recover(&Failing::never(), place).unwrap();
            let found = tree(root);
            let which = ends
                .iter()
                .position(|end| *end == found)
                .unwrap_or_else(|| panic!("killed at step {step}: left {:?}", found.keys()));
            reached[which] += 1;
            if let Some(finding) = wording {
                assert_eq!(finding.code, "output.interrupted");
            }
            assert!(
                recover::recover(&Failing::never(), place)
                    .unwrap()
                    .is_none(),
                "nothing is left to recover"
            );
            // The next run succeeds without help.
            commit_to(&Failing::never(), place, &new, &CommitOptions::default()).unwrap();
            assert!(tree(root) == ends[1]);
        });
    }
    assert!(
        reached.iter().all(|count| *count > 5),
        "both ends are reached: {reached:?}"
    );
}

#[test]
fn a_recovery_may_itself_be_killed() {
    let [old, new] = old_and_new();
    let ends = ends(&old, &new);
    let mut tried = 0;
    let steps = every_step(Fault::Killed, &old, &new, |_, _, _, _| {});
    for first in (0..steps).step_by(3) {
        for second in 0.. {
            let scratch = scratch();
            let place = Place::of(&scratch.path().join("out")).unwrap();
            commit_to(&Failing::never(), &place, &old, &CommitOptions::default()).unwrap();
            let _ = commit_to(
                &Failing::at(Fault::Killed, first),
                &place,
                &new,
                &CommitOptions::default(),
            );
            let disk = Failing::at(Fault::Killed, second);
            let _ = recover::recover(&disk, &place);
            recover::recover(&Failing::never(), &place).unwrap();
            let found = tree(scratch.path());
            assert!(
                ends.contains(&found),
                "killed at {first}, recovery killed at {second}: left {:?}",
                found.keys()
            );
            tried += 1;
            if !disk.failed.get() {
                break;
            }
        }
    }
    assert!(tried > 100, "{tried}");
}

/// Kills a commit once its journal is written and before the record is in place.
fn half_way(root: &Path) -> (Place, std::path::PathBuf) {
    let [old, new] = old_and_new();
    let place = Place::of(&root.join("out")).unwrap();
    for step in 0.. {
        if place.folder.exists() {
            fs_err::remove_dir_all(&place.folder).unwrap();
        }
        commit_to(&Failing::never(), &place, &old, &CommitOptions::default()).unwrap();
        let _ = commit_to(
            &Failing::at(Fault::Killed, step),
            &place,
            &new,
            &CommitOptions::default(),
        );
        let stage = place.stage();
        if place.folder.join("machine/LONGLEAS.shp").exists() {
            return (place, stage);
        }
        recover::recover(&Failing::never(), &place).unwrap();
    }
    unreachable!("the range has no end")
}

#[test]
fn an_interrupted_commit_is_announced_and_finished() {
    let scratch = scratch();
    let (place, _) = half_way(scratch.path());
    let before = tree(scratch.path());
    let finding = recover::pending(&place).unwrap();
    assert!(
        finding.message.contains("interrupted"),
        "{}",
        finding.message
    );
    assert!(tree(scratch.path()) == before, "asking changes nothing");
    let finding = super::recover(&place.folder).unwrap().unwrap();
    assert!(
        finding.message.contains("now complete"),
        "{}",
        finding.message
    );
}

#[test]
fn a_spoiled_stage_is_taken_back() {
    let scratch = scratch();
    let (place, stage) = half_way(scratch.path());
    fs_err::remove_file(stage.join("new/office/nitrogen.tif")).unwrap();
    let finding = recover::recover(&Failing::never(), &place)
        .unwrap()
        .unwrap();
    assert!(finding.message.contains("put back"), "{}", finding.message);
    let [old, new] = old_and_new();
    assert!(tree(scratch.path()) == ends(&old, &new)[0]);
}

#[test]
fn a_file_changed_since_the_interruption_is_not_lost() {
    let scratch = scratch();
    let (place, _) = half_way(scratch.path());
    fs_err::write(place.folder.join("machine/LONGLEAS.shp"), "drawn by hand").unwrap();
    let before = tree(scratch.path());
    match recover::recover(&Failing::never(), &place) {
        Err(CommitError::Tangled { files, .. }) => assert_eq!(files, ["machine/LONGLEAS.shp"]),
        other => panic!("{other:?}"),
    }
    assert!(tree(scratch.path()) == before);
}

/// A stick's files with the record that lists them.
fn stick(files: &[(&str, &str)]) -> Vec<Payload> {
    let mut files: Vec<_> = files
        .iter()
        .map(|(path, text)| Payload::new(*path, text.as_bytes().to_vec()))
        .collect();
    let record = json!({ "made_by": super::made_by(), "outputs": super::outputs(&files) });
    files.push(Payload::new(
        super::STICK_RECORD,
        record.to_string().into_bytes(),
    ));
    files
}

fn old_and_new_stick() -> [Vec<Payload>; 2] {
    [
        stick(&[
            ("TASKDATA/TASKDATA.XML", "two tasks"),
            ("TASKDATA/GRD00000.bin", "first"),
            ("TASKDATA/GRD00001.bin", "second"),
            ("SHAPES/LONG_LEY.shp", "shapes"),
        ]),
        stick(&[
            ("TASKDATA/TASKDATA.XML", "one task"),
            ("TASKDATA/GRD00000.bin", "another"),
            ("CARDS/LONG_LEY.txt", "card"),
        ]),
    ]
}

fn stick_at(folder: &Path) -> Place {
    Place::of_stick(folder, Vec::new()).unwrap()
}

#[test]
fn a_stick_holds_the_old_maps_or_the_new_whatever_fails() {
    let [old, new] = old_and_new_stick();
    let ends: Vec<_> = [&[&old[..]][..], &[&old[..], &new[..]]]
        .iter()
        .map(|runs| {
            let scratch = scratch();
            let place = stick_at(&scratch.path().join("out"));
            for files in *runs {
                commit_to(&Failing::never(), &place, files, &CommitOptions::default()).unwrap();
            }
            tree(scratch.path())
        })
        .collect();
    for fault in [Fault::Once, Fault::Full, Fault::Moves, Fault::Killed] {
        let steps = every_step_at(&stick_at, fault, &old, &new, |step, root, place, done| {
            recover::recover(&Failing::never(), place).unwrap();
            let found = tree(root);
            assert!(
                ends.contains(&found),
                "{fault:?} at step {step}: {done:?} left {:?}",
                found.keys()
            );
            if fault == Fault::Full && done.is_err() {
                assert!(
                    matches!(done, Err(CommitError::NoRoom { needed, .. }) if *needed > 0),
                    "{done:?}"
                );
                assert!(found == ends[0], "a full stick keeps the old maps");
            }
        });
        assert!(steps > 3, "{fault:?} was tried at {steps} steps only");
    }
}

/// A medium that gives back another byte than was written to one file.
struct Worn;

impl Disk for Worn {
    fn make_folder(&self, path: &Path) -> io::Result<()> {
        FileSystem.make_folder(path)
    }
    fn write_new(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        let mut bytes = bytes.to_vec();
        if path.ends_with("GRD00000.bin") {
            bytes[0] ^= 1;
        }
        FileSystem.write_new(path, &bytes)
    }
    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        FileSystem.sync_folder(path)
    }
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        FileSystem.rename(from, to)
    }
    fn remove_file(&self, path: &Path) -> io::Result<()> {
        FileSystem.remove_file(path)
    }
    fn remove_folder(&self, path: &Path) -> io::Result<()> {
        FileSystem.remove_folder(path)
    }
}

#[test]
fn a_stick_that_does_not_read_back_keeps_the_old_maps() {
    let [old, new] = old_and_new_stick();
    let scratch = scratch();
    let place = stick_at(&scratch.path().join("out"));
    commit_to(&Failing::never(), &place, &old, &CommitOptions::default()).unwrap();
    let before = tree(scratch.path());
    match commit_to(&Worn, &place, &new, &CommitOptions::default()) {
        Err(CommitError::ReadBack { path, .. }) => assert!(path.ends_with("GRD00000.bin")),
        other => panic!("{other:?}"),
    }
    assert!(tree(scratch.path()) == before);
}

#[test]
fn a_stick_and_an_output_folder_are_not_taken_for_each_other() {
    let scratch = scratch();
    let [old_run, _] = old_and_new();
    let [_, new_stick] = old_and_new_stick();
    let folder = scratch.path().join("out");
    // A run does not take a stick for its own, and would otherwise remove all of its maps.
    let place = stick_at(&folder);
    commit_to(
        &Failing::never(),
        &place,
        &new_stick,
        &CommitOptions::default(),
    )
    .unwrap();
    let run_place = Place::of(&folder).unwrap();
    assert!(matches!(
        commit_to(
            &Failing::never(),
            &run_place,
            &old_run,
            &CommitOptions::default()
        ),
        Err(CommitError::Foreign { .. })
    ));
    assert!(folder.join("TASKDATA/GRD00000.bin").exists());
}
