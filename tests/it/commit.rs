//! The write of a run's files, as callers see it.

use std::collections::BTreeMap;
use std::path::Path;

use haulm::app::cancel::{Cancel, Signal};
use haulm::app::commit;
use haulm::app::commit::{CommitError, CommitOptions, OutputFolder};
use haulm::format::payload::Payload;
use serde_json::json;

fn run(files: &[(&str, &str)]) -> Vec<Payload> {
    let mut files: Vec<_> = files
        .iter()
        .map(|(path, text)| Payload::new(*path, text.as_bytes().to_vec()))
        .collect();
    let record = json!({ "made_by": commit::made_by(), "outputs": commit::outputs(&files) });
    files.push(Payload::new(
        "office/record.json",
        record.to_string().into_bytes(),
    ));
    files
}

fn first() -> Vec<Payload> {
    run(&[
        ("machine/LONGLEY.shp", "shapes"),
        ("machine/CARD.txt", "card"),
        ("office/nitrogen.tif", "tiff"),
    ])
}

fn overwrite() -> CommitOptions {
    CommitOptions {
        overwrite: true,
        ..CommitOptions::default()
    }
}

/// Every file below a folder with its content.
fn files(folder: &Path) -> BTreeMap<String, String> {
    let mut found = BTreeMap::new();
    let mut open = vec![folder.to_owned()];
    while let Some(next) = open.pop() {
        for entry in fs_err::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                let name = path
                    .strip_prefix(folder)
                    .unwrap()
                    .to_str()
                    .unwrap()
                    .to_owned();
                found.insert(name, fs_err::read_to_string(&path).unwrap());
            }
        }
    }
    found
}

fn names(folder: &Path) -> Vec<String> {
    files(folder).into_keys().collect()
}

#[test]
fn an_earlier_run_is_replaced_and_its_leftovers_go() {
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("deep/er/out");
    let report = commit::commit(&out, &first(), CommitOptions::default()).unwrap();
    assert_eq!(report.written.len(), 4);
    assert_eq!(report.removed, [""; 0]);
    // A run that stopped has nothing for the machine.
    let report = commit::commit(
        &out,
        &run(&[("office/nitrogen.tif", "tiff 2")]),
        CommitOptions::default(),
    )
    .unwrap();
    assert_eq!(report.removed, ["machine/CARD.txt", "machine/LONGLEY.shp"]);
    assert_eq!(
        names(scratch.path()),
        [
            "deep/er/out/office/nitrogen.tif",
            "deep/er/out/office/record.json"
        ]
    );
    assert!(!out.join("machine").exists(), "the emptied folder goes too");
}

#[test]
fn what_haulm_did_not_make_stays() {
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("out");
    fs_err::create_dir_all(out.join("office")).unwrap();
    fs_err::write(out.join("office/notes.txt"), "mine").unwrap();
    fs_err::write(out.join("office/nitrogen.tif"), "mine too").unwrap();
    let before = files(scratch.path());
    match commit::commit(&out, &first(), CommitOptions::default()) {
        Err(CommitError::Foreign { found, .. }) => assert_eq!(found, ["office"]),
        other => panic!("{other:?}"),
    }
    assert!(
        matches!(
            commit::check_writable(&out, &CommitOptions::default()),
            Err(CommitError::Foreign { .. })
        ),
        "known before computing"
    );
    assert_eq!(files(scratch.path()), before);
    // With consent our files are written, the others stay.
    let report = commit::commit(&out, &first(), overwrite()).unwrap();
    assert!(
        report
            .findings
            .iter()
            .any(|finding| finding.code == "output.overwritten"
                && finding.message.contains("office/nitrogen.tif"))
    );
    assert_eq!(files(&out)["office/notes.txt"], "mine");
    assert_eq!(files(&out)["office/nitrogen.tif"], "tiff");
}

#[test]
fn a_record_of_somebody_else_makes_no_folder_ours() {
    let scratch = tempfile::tempdir().unwrap();
    for record in [
        "{",
        "{}",
        r#"{"made_by": "other 1.0", "outputs": []}"#,
        r#"{"made_by": "haulm 0.1.0", "outputs": [{"path": "../../x", "sha256": ""}]}"#,
    ] {
        let out = scratch.path().join("out");
        fs_err::create_dir_all(out.join("office")).unwrap();
        fs_err::write(out.join("office/record.json"), record).unwrap();
        assert!(
            matches!(
                commit::commit(&out, &first(), CommitOptions::default()),
                Err(CommitError::Foreign { .. })
            ),
            "{record}"
        );
    }
}

#[test]
fn an_output_changed_since_is_not_lost_silently() {
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("out");
    commit::commit(&out, &first(), CommitOptions::default()).unwrap();
    fs_err::write(out.join("machine/LONGLEY.shp"), "edited by hand").unwrap();
    let before = files(scratch.path());
    // Replaced or removed, it would be lost either way.
    for next in [first(), run(&[("office/nitrogen.tif", "tiff")])] {
        match commit::commit(&out, &next, CommitOptions::default()) {
            Err(CommitError::Changed { files, .. }) => assert_eq!(files, ["machine/LONGLEY.shp"]),
            other => panic!("{other:?}"),
        }
        assert_eq!(files(scratch.path()), before);
    }
    let report =
        commit::commit(&out, &run(&[("office/nitrogen.tif", "tiff")]), overwrite()).unwrap();
    assert_eq!(report.findings[0].code, "output.overwritten");
    assert_eq!(names(&out), ["office/nitrogen.tif", "office/record.json"]);
}

#[test]
fn a_stranger_among_machine_files_is_named() {
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("out");
    commit::commit(&out, &first(), CommitOptions::default()).unwrap();
    fs_err::write(out.join("machine/LASTYEAR.shp"), "old map").unwrap();
    let report = commit::commit(&out, &first(), CommitOptions::default()).unwrap();
    let finding = report
        .findings
        .iter()
        .find(|finding| finding.code == "output.stranger")
        .unwrap();
    assert!(
        finding.message.contains("machine/LASTYEAR.shp"),
        "{}",
        finding.message
    );
    assert!(out.join("machine/LASTYEAR.shp").exists());
}

#[test]
fn one_run_at_a_time() {
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("out");
    let held = OutputFolder::claim(&out, CommitOptions::default())
        .unwrap()
        .value;
    match OutputFolder::claim(&out, CommitOptions::default()) {
        Err(CommitError::Busy { process, .. }) => assert_eq!(process, Some(std::process::id())),
        other => panic!("{other:?}"),
    }
    let other = scratch.path().join("out2");
    commit::commit(&other, &first(), CommitOptions::default()).unwrap();
    held.commit(&first()).unwrap();
    assert!(
        names(scratch.path())
            .iter()
            .all(|name| name.starts_with("out")),
        "the lock file is gone"
    );
    commit::commit(&out, &first(), CommitOptions::default()).unwrap();
}

#[test]
fn a_stale_lock_locks_nobody_out() {
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("out");
    // As a killed run leaves it, with the number of a process that lives.
    fs_err::write(scratch.path().join(".out.haulm-lock"), "1\n").unwrap();
    commit::commit(&out, &first(), CommitOptions::default()).unwrap();
    assert!(!scratch.path().join(".out.haulm-lock").exists());
}

#[test]
fn a_dry_run_tells_and_changes_nothing() {
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("out");
    let notice = commit::dry_run(&out, &first(), &CommitOptions::default()).unwrap();
    assert_eq!(notice.written[0], ("machine/CARD.txt".to_owned(), 4));
    assert!(names(scratch.path()).is_empty() && !out.exists());
    commit::commit(&out, &first(), CommitOptions::default()).unwrap();
    let before = files(scratch.path());
    let next = run(&[("office/nitrogen.tif", "tiff 2")]);
    let notice = commit::dry_run(&out, &next, &CommitOptions::default()).unwrap();
    assert_eq!(files(scratch.path()), before);
    // What it tells is what then happens.
    let done = commit::commit(&out, &next, CommitOptions::default()).unwrap();
    assert_eq!(
        (notice.written, notice.removed),
        (done.written, done.removed)
    );
}

#[test]
fn faults_of_the_caller_are_refused() {
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("out");
    for path in [
        "../x",
        "/x",
        "a//b",
        "a/./b",
        "a\\b",
        "",
        "office/record.json/x",
        "office",
    ] {
        let files = run(&[(path, "x")]);
        assert!(
            matches!(
                commit::commit(&out, &files, CommitOptions::default()),
                Err(CommitError::BadPath { .. } | CommitError::BadRecord)
            ),
            "{path}"
        );
    }
    let mut files = first();
    files[0].bytes.push(b'!');
    assert!(matches!(
        commit::commit(&out, &files, CommitOptions::default()),
        Err(CommitError::BadRecord)
    ));
    files.pop();
    assert!(
        matches!(
            commit::commit(&out, &files, CommitOptions::default()),
            Err(CommitError::BadRecord)
        ),
        "no record at all"
    );
    assert!(names(scratch.path()).is_empty() && !out.exists());
}

#[test]
fn links_and_folders_in_the_way_are_refused() {
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("out");
    let elsewhere = scratch.path().join("elsewhere");
    fs_err::create_dir_all(&elsewhere).unwrap();
    fs_err::create_dir_all(&out).unwrap();
    fs_err::os::unix::fs::symlink(&elsewhere, out.join("machine")).unwrap();
    assert!(matches!(
        commit::commit(&out, &first(), overwrite()),
        Err(CommitError::NotAFolder { .. })
    ));
    fs_err::remove_file(out.join("machine")).unwrap();
    fs_err::create_dir_all(out.join("office/record.json")).unwrap();
    assert!(matches!(
        commit::commit(&out, &first(), overwrite()),
        Err(CommitError::NotAFile { .. })
    ));
    fs_err::remove_dir_all(out.join("office")).unwrap();
    // A link to the output folder itself is followed.
    fs_err::os::unix::fs::symlink(&out, scratch.path().join("link")).unwrap();
    commit::commit(
        &scratch.path().join("link"),
        &first(),
        CommitOptions::default(),
    )
    .unwrap();
    assert!(out.join("machine/CARD.txt").exists());
}

#[test]
fn a_cancelled_run_writes_nothing() {
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("new/out");
    let cancel = Cancel::new();
    let claimed = OutputFolder::claim(
        &out,
        CommitOptions {
            cancel: cancel.clone(),
            ..CommitOptions::default()
        },
    )
    .unwrap()
    .value;
    cancel.request(Signal::Interrupt);
    assert!(matches!(
        claimed.commit(&first()),
        Err(CommitError::Cancelled)
    ));
    assert!(
        !scratch.path().join("new").exists(),
        "folders made for it are gone"
    );
}

#[test]
fn a_memory_disk_that_is_too_small_is_refused_with_numbers() {
    // A disk of its own needs the right to mount; without it this cannot be tried.
    let scratch = tempfile::tempdir().unwrap();
    let mounted = std::process::Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=256k", "none"])
        .arg(scratch.path())
        .output();
    if !mounted.is_ok_and(|output| output.status.success()) {
        return;
    }
    let small = commit::commit(scratch.path(), &first(), CommitOptions::default());
    let before = files(scratch.path());
    let big = "x".repeat(400_000);
    let refused = commit::commit(
        scratch.path(),
        &run(&[("office/nitrogen.tif", &big)]),
        CommitOptions::default(),
    );
    let after = files(scratch.path());
    assert!(
        std::process::Command::new("umount")
            .arg(scratch.path())
            .status()
            .unwrap()
            .success()
    );
    assert!(small.is_ok(), "the folder may itself be a disk: {small:?}");
    assert_eq!(after, before);
    match refused {
        Err(CommitError::NoRoom { needed, free, .. }) => {
            assert!(needed >= 400_000 && free.unwrap() < 256 * 1024);
        }
        other => panic!("{other:?}"),
    }
}
