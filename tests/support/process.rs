//! What another process used: wall time, processor time, peak memory. Read from the kernel's own tables; where there are none, processor time and memory are 0.

use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// What a process used.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Used {
    /// Seconds on the wall.
    pub(crate) wall: f64,
    /// Seconds of processors, user and system.
    pub(crate) processor: f64,
    /// Most memory held at once. \[KiB\]
    pub(crate) peak_kib: u64,
}

/// Runs a command to its end. Panics when it fails: a bench of a failing command measures nothing.
pub(crate) fn used(command: &mut Command) -> Used {
    let before = children();
    let start = Instant::now();
    let mut child = command
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("a command that starts");
    let mut peak_kib = 0;
    let status = loop {
        // The greatest so far, so the last look before the end is all but the truth.
        peak_kib = peak(child.id()).max(peak_kib);
        if let Some(status) = child.try_wait().expect("a child that can be waited for") {
            break status;
        }
        std::thread::sleep(Duration::from_millis(2));
    };
    let wall = start.elapsed().as_secs_f64();
    let mut wording = String::new();
    if let Some(mut pipe) = child.stderr.take() {
        let _ = std::io::Read::read_to_string(&mut pipe, &mut wording);
    }
    assert!(status.success(), "{command:?}: {status}\n{wording}");
    Used {
        wall,
        processor: children() - before,
        peak_kib,
    }
}

/// Processor seconds of all children that have ended: fields 16 and 17 of `/proc/self/stat`, in hundredths.
fn children() -> f64 {
    let text = fs_err::read_to_string("/proc/self/stat").unwrap_or_default();
    // The second field is a name in parentheses and may hold blanks.
    let rest = text.rsplit_once(')').map_or("", |(_, rest)| rest);
    let fields: Vec<f64> = rest
        .split_whitespace()
        .skip(13)
        .take(2)
        .filter_map(|field| field.parse().ok())
        .collect();
    fields.iter().sum::<f64>() / 100.0
}

fn peak(id: u32) -> u64 {
    let text = fs_err::read_to_string(format!("/proc/{id}/status")).unwrap_or_default();
    let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.split_whitespace().next())
        .and_then(|number| number.parse().ok())
        .unwrap_or(0)
}
