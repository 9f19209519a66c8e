//! Signals, in a child process: this test binary called again for one test.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use haulm::app::cancel::Cancel;
use haulm::app::commit::{CommitOptions, OutputFolder};

const FOLDER: &str = "HAULM_TEST_FOLDER";

/// Not a test by itself: what the child does. It holds an output folder and computes without ever looking at the flag.
#[test]
fn child_that_does_not_look() {
    let Some(folder) = std::env::var_os(FOLDER) else {
        return;
    };
    let cancel = Cancel::new();
    cancel
        .watch(|signal| eprintln!("received {}", signal.name()))
        .unwrap();
    let _claimed = OutputFolder::claim(
        folder.as_ref(),
        CommitOptions {
            cancel,
            ..CommitOptions::default()
        },
    )
    .unwrap()
    .value;
    eprintln!("ready");
    std::thread::sleep(Duration::from_mins(1));
}

fn child(folder: &std::path::Path) -> Child {
    Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "cancel::child_that_does_not_look", "--nocapture"])
        .env(FOLDER, folder)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

#[test]
fn signals_end_a_run_and_leave_nothing() {
    for (signal, status) in [("INT", 130), ("TERM", 143)] {
        let scratch = tempfile::tempdir().unwrap();
        let mut child = child(&scratch.path().join("out"));
        let mut lines = BufReader::new(child.stderr.take().unwrap()).lines();
        assert_eq!(lines.next().unwrap().unwrap(), "ready");
        assert!(scratch.path().join(".out.haulm-lock").exists());
        let sent = Instant::now();
        assert!(
            Command::new("kill")
                .args([&format!("-{signal}"), &child.id().to_string()])
                .status()
                .unwrap()
                .success()
        );
        assert_eq!(
            lines.next().unwrap().unwrap(),
            format!("received SIG{signal}")
        );
        // The goal is 100 ms; a loaded machine gets some grace here.
        let notice = sent.elapsed();
        assert_eq!(child.wait().unwrap().code(), Some(status));
        let gone = sent.elapsed();
        assert!(notice < Duration::from_millis(500), "{notice:?}");
        assert!(gone < Duration::from_secs(3), "{gone:?}");
        assert_eq!(
            fs_err::read_dir(scratch.path()).unwrap().count(),
            0,
            "nothing is left behind"
        );
    }
}
