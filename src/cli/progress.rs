//! Progress on the terminal: a bar there, a line now and then elsewhere.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::app::cancel::Signal;
use crate::app::progress::Progress;
use crate::cli::printer;

/// Least time between two lines where no bar can be drawn.
const PAUSE: Duration = Duration::from_secs(10);
/// Redraws of the bar in a second, at most.
const REDRAWS: u8 = 15;

/// How progress is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Show {
    /// A bar that is redrawn.
    Bar,
    /// A line now and then.
    Lines,
    /// Not at all.
    Nothing,
}

/// Shows a run's progress on standard error; clones are the same meter.
#[derive(Clone)]
pub(crate) struct Meter(Arc<Inner>);

struct Inner {
    bar: Option<ProgressBar>,
    lines: Option<Mutex<Lines>>,
    done: AtomicU64,
}

struct Lines {
    stage: String,
    total: u64,
    began: Instant,
    last: Option<Instant>,
}

/// How long a stage takes still, at the pace of what is done, in words; `None` where nothing can be told.
fn left(elapsed: Duration, done: u64, total: u64) -> Option<String> {
    let rest = total.checked_sub(done).filter(|rest| *rest > 0)?;
    if done == 0 {
        return None;
    }
    let seconds = elapsed.as_secs_f64() * rest as f64 / done as f64;
    let minutes = (seconds / 60.0).round() as u64;
    Some(match minutes {
        0 => "less than a minute left".to_owned(),
        1..120 => format!("about {minutes} min left"),
        _ => format!("about {:.0} h left", seconds / 3600.0),
    })
}

impl Meter {
    pub(crate) fn new(show: Show) -> Self {
        let bar = (show == Show::Bar).then(|| {
            ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr_with_hz(REDRAWS))
        });
        let lines = (show == Show::Lines).then(|| {
            Mutex::new(Lines {
                stage: String::new(),
                total: 0,
                began: Instant::now(),
                last: None,
            })
        });
        Self(Arc::new(Inner {
            bar,
            lines,
            done: AtomicU64::new(0),
        }))
    }

    /// Takes the bar away.
    pub(crate) fn finish(&self) {
        if let Some(bar) = &self.0.bar {
            bar.finish_and_clear();
        }
    }

    /// Says at once that the run was asked to end. Not silenced by `--quiet`: it answers the user.
    pub(crate) fn interrupt(&self, signal: Signal) {
        self.finish();
        printer::say(&format!(
            "haulm: {} received, ending; the output folder is left whole",
            signal.name()
        ));
    }

    /// Prints a line if the last one was long enough ago.
    fn line(&self, make: impl FnOnce(&Lines) -> String) {
        let Some(lines) = &self.0.lines else { return };
        let mut lines = lines.lock().unwrap_or_else(PoisonError::into_inner);
        if lines.last.is_none_or(|last| last.elapsed() >= PAUSE) {
            printer::say(&make(&lines));
            lines.last = Some(Instant::now());
        }
    }
}

impl Progress for Meter {
    fn start(&self, stage: &str, total: u64) {
        self.0.done.store(0, Ordering::Relaxed);
        if let Some(bar) = &self.0.bar {
            let template = if total > 0 {
                "{msg} {bar:30} {percent} % {eta}"
            } else {
                "{spinner} {msg}"
            };
            if let Ok(style) = ProgressStyle::with_template(template) {
                bar.set_style(style);
            }
            bar.reset();
            bar.set_length(total);
            bar.set_message(printer::clean(stage));
            bar.tick();
        }
        if let Some(lines) = &self.0.lines {
            let mut lines = lines.lock().unwrap_or_else(PoisonError::into_inner);
            stage.clone_into(&mut lines.stage);
            lines.total = total;
            lines.began = Instant::now();
        }
        self.line(|lines| format!("haulm: {}", lines.stage));
    }

    fn advance(&self, steps: u64) {
        let done = self.0.done.fetch_add(steps, Ordering::Relaxed) + steps;
        if let Some(bar) = &self.0.bar {
            bar.set_position(done);
        }
        self.line(|lines| match (done * 100).checked_div(lines.total) {
            Some(percent) => {
                let so_far = format!("haulm: {} {} %", lines.stage, percent.min(100));
                match left(lines.began.elapsed(), done, lines.total) {
                    Some(left) => format!("{so_far}, {left}"),
                    None => so_far,
                }
            }
            None => format!("haulm: {}", lines.stage),
        });
    }

    fn message(&self, text: &str) {
        if let Some(bar) = &self.0.bar {
            bar.println(printer::clean(text));
        }
        self.line(|_| format!("haulm: {text}"));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_left_follows_the_pace() {
        let left = |seconds, done, total| left(Duration::from_secs(seconds), done, total);
        assert_eq!(left(10, 1, 3).as_deref(), Some("less than a minute left"));
        assert_eq!(left(60, 100, 400).as_deref(), Some("about 3 min left"));
        assert_eq!(left(3_600, 10, 100).as_deref(), Some("about 9 h left"));
        assert_eq!(left(10, 0, 4), None, "no pace yet");
        assert_eq!(left(10, 4, 4), None, "nothing is left");
        assert_eq!(left(10, 4, 0), None, "nobody knows how much there is");
    }

    #[test]
    fn lines_are_sparse() {
        let meter = Meter::new(Show::Lines);
        meter.start("reading", 100);
        let first = meter.0.lines.as_ref().unwrap().lock().unwrap().last;
        assert!(first.is_some(), "the first line comes at once");
        for _ in 0..100 {
            meter.advance(1);
        }
        meter.start("writing", 0);
        let lines = meter.0.lines.as_ref().unwrap().lock().unwrap();
        assert_eq!(lines.last, first, "no second line within 10 s");
        assert_eq!((lines.stage.as_str(), lines.total), ("writing", 0));
    }
}
