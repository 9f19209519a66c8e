//! Exit status, streams and what stands on them.

use std::process::{Command, Output, Stdio};

use serde_json::Value;

fn haulm(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_haulm"))
        .args(arguments)
        .output()
        .unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// Commands with a job file that is not there.
const REFUSED: [&[&str]; 5] = [
    &["map", "no-such-job.toml"],
    &["check", "no-such-job.toml"],
    &["inspect", "no-such-job.toml"],
    &["rate", "no-such-job.toml"],
    &["new", "no-such.geojson", "no-such.tif"],
];

#[test]
fn help_and_version_are_results() {
    let version = haulm(&["--version"]);
    assert_eq!(version.status.code(), Some(0));
    assert_eq!(
        text(&version.stdout),
        format!("haulm {}\n", env!("CARGO_PKG_VERSION"))
    );
    assert!(version.stderr.is_empty());
}

#[test]
fn misuse_is_2_and_leaves_standard_output_alone() {
    let cases: [&[&str]; 8] = [
        &[],
        &["no-such-command"],
        &["map"],
        &["map", "a.toml", "--threads", "0"],
        &["rate", "--strip", "0.66"],
        &["rate", "job.toml", "--strip", "0.66", "--beside", "0.5"],
        &["rate", "job.toml", "--planted", "2025-13-01"],
        &["check", "a.toml", "--color", "sometimes"],
    ];
    for case in cases {
        let output = haulm(case);
        assert_eq!(output.status.code(), Some(2), "{case:?}");
        assert!(output.stdout.is_empty(), "{case:?}");
        assert!(!output.stderr.is_empty(), "{case:?}");
    }
}

#[test]
fn readings_must_come_in_pairs() {
    let fixed = [
        "--crop",
        "winter wheat",
        "--max-yield",
        "100 bu/ac",
        "--maximum",
        "120 lb N/ac",
        "--growing-days",
        "94",
    ];
    let output = haulm(
        &[
            &[
                "rate", "--strip", "0.66", "--strip", "0.68", "--beside", "0.50",
            ][..],
            &fixed[..],
        ]
        .concat(),
    );
    assert_eq!(output.status.code(), Some(2));
    let notice = text(&output.stderr);
    assert!(
        notice.contains("error[readings.pairs]")
            && notice.contains("given 2 times")
            && notice.contains("hint: "),
        "{notice}"
    );
    let output = haulm(
        &[
            &["rate", "--strip", "nan", "--beside", "0.50"][..],
            &fixed[..],
        ]
        .concat(),
    );
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("not a number"));
}

#[test]
fn a_refusal_is_1_with_code_place_and_hint() {
    for case in REFUSED {
        let output = haulm(case);
        let notice = text(&output.stderr);
        assert_eq!(output.status.code(), Some(1), "{case:?}: {notice}");
        assert!(output.stdout.is_empty(), "{case:?}");
        assert!(
            notice.contains("error[") && notice.contains("no-such") && notice.contains("hint: "),
            "{case:?}: {notice}"
        );
        assert!(!notice.contains("panicked"), "{notice}");
    }
}

#[test]
fn a_refusal_is_json_too() {
    for case in REFUSED {
        let output = haulm(&[case, &["--json"]].concat());
        assert_eq!(output.status.code(), Some(1), "{case:?}");
        let value: Value = serde_json::from_slice(&output.stdout)
            .unwrap_or_else(|error| panic!("{case:?}: {error}"));
        assert_eq!(value["command"], case[0]);
        assert_eq!(value["status"], "refused");
        for key in ["code", "headline", "hint"] {
            assert!(
                value["error"][key]
                    .as_str()
                    .is_some_and(|text| !text.is_empty()),
                "{case:?}: {key} in {value}"
            );
        }
        assert!(
            value["error"]["facts"][0]["place"]
                .as_str()
                .unwrap()
                .contains("no-such"),
            "{value}"
        );
    }
    let output = haulm(&["--json", "mpa"]);
    assert_eq!(output.status.code(), Some(2));
    let value: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(value["error"]["code"], "usage");
}

#[test]
fn nothing_is_coloured_when_piped_unless_asked() {
    let mut cases: Vec<Vec<&str>> = REFUSED.iter().map(|case| case.to_vec()).collect();
    cases.extend([vec!["--help"], vec!["map", "--help"], vec!["mpa"]]);
    for case in &cases {
        let output = haulm(case);
        assert!(
            !output.stdout.contains(&0x1b) && !output.stderr.contains(&0x1b),
            "{case:?}"
        );
    }
    let asked = haulm(&["--color", "always", "map", "no-such-job.toml"]);
    assert!(asked.stderr.contains(&0x1b), "the check can see colour");
    assert!(
        haulm(&["--color", "always", "--help"])
            .stdout
            .contains(&0x1b)
    );
}

/// Runs on a pseudo-terminal of util-linux's `script`, whose output is both streams.
fn on_terminal(variables: &[(&str, &str)], arguments: &str) -> Vec<u8> {
    let line = format!("{} {arguments}", env!("CARGO_BIN_EXE_haulm"));
    let mut command = Command::new("script");
    command
        .args(["-qec", &line, "/dev/null"])
        .stdin(Stdio::null())
        .env_remove("NO_COLOR")
        .env("TERM", "xterm-256color");
    command
        .envs(variables.iter().copied())
        .output()
        .unwrap()
        .stdout
}

#[test]
fn terminals_are_coloured_unless_told_otherwise() {
    let job = "map no-such-job.toml";
    assert!(
        on_terminal(&[], job).contains(&0x1b),
        "a terminal is coloured"
    );
    for variables in [("NO_COLOR", "1"), ("TERM", "dumb")] {
        let seen = on_terminal(&[variables], job);
        assert!(text(&seen).contains("error["), "{variables:?}");
        assert!(
            !seen.contains(&0x1b),
            "{variables:?}: {}",
            String::from_utf8_lossy(&seen)
        );
    }
    assert!(!on_terminal(&[], "--color never map no-such-job.toml").contains(&0x1b));
}

#[test]
fn a_closed_pipe_ends_quietly_and_a_full_disk_does_not() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_haulm"))
        .args(["completions", "bash"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert!(output.stderr.is_empty(), "{}", text(&output.stderr));

    let full = fs_err::OpenOptions::new()
        .write(true)
        .open("/dev/full")
        .unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_haulm"))
        .args(["completions", "bash"])
        .stdout(full.into_parts().0)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1));
    assert!(text(&output.stderr).contains("error[stdout.write]"));
}

#[test]
fn quiet_is_quiet_but_for_errors() {
    let loud = text(&haulm(&["map", "no-such-job.toml"]).stderr);
    assert!(
        loud.starts_with("haulm: "),
        "the first stage is told: {loud}"
    );
    let quiet = text(&haulm(&["map", "no-such-job.toml", "--quiet"]).stderr);
    assert!(quiet.starts_with("error["), "{quiet}");
}
