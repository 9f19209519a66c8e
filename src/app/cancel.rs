//! The way out of a run from outside: Ctrl-C and a request to end.
//!
//! A signal sets a flag that long work looks at between steps. Work that does not look in time is ended by the watching thread, which first
//! removes what the run had staged. Between journal and last rename nothing may end the process, so that stretch is held.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicI32, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use signal_hook::consts::{SIGINT, SIGTERM};

/// How long work may take to notice the flag before the process is ended for it.
const PATIENCE: Duration = Duration::from_millis(600);

/// Which signal came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Signal {
    /// SIGINT: Ctrl-C.
    Interrupt,
    /// SIGTERM: a request to end.
    Terminate,
}

impl Signal {
    /// Exit status that stands for it: 128 and the signal's number.
    pub const fn exit_status(self) -> u8 {
        match self {
            Self::Interrupt => 130,
            Self::Terminate => 143,
        }
    }
    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Interrupt => "SIGINT",
            Self::Terminate => "SIGTERM",
        }
    }
    const fn of_number(number: i32) -> Option<Self> {
        match number {
            SIGINT => Some(Self::Interrupt),
            SIGTERM => Some(Self::Terminate),
            _ => None,
        }
    }
}

#[derive(Debug, Default)]
struct Inner {
    signal: AtomicI32,
    leftovers: Mutex<Vec<PathBuf>>,
    held: Mutex<()>,
}

/// Shared by all who work on a run; clones are the same flag.
#[derive(Clone, Debug, Default)]
pub struct Cancel(Arc<Inner>);

impl Cancel {
    /// A flag that nobody has set.
    pub fn new() -> Self {
        Self::default()
    }

    /// The signal that asked the run to end, if one did.
    pub fn signal(&self) -> Option<Signal> {
        Signal::of_number(self.0.signal.load(Ordering::SeqCst))
    }

    /// Sets the flag as if `signal` had come.
    pub fn request(&self, signal: Signal) {
        let number = match signal {
            Signal::Interrupt => SIGINT,
            Signal::Terminate => SIGTERM,
        };
        self.0.signal.store(number, Ordering::SeqCst);
    }

    /// Sets the flag on SIGINT and SIGTERM, and calls `notify` at once (well within 100 ms). A run that has not ended 600 ms later is ended
    /// here, after what it had staged is removed; a commit that has begun is waited for.
    ///
    /// # Errors
    /// When the system does not let the process watch its signals.
    pub fn watch(&self, notify: impl Fn(Signal) + Send + 'static) -> std::io::Result<()> {
        let mut signals = signal_hook::iterator::Signals::new([SIGINT, SIGTERM])?;
        let cancel = self.clone();
        std::thread::Builder::new()
            .name("signals".to_owned())
            .spawn(move || {
                for number in signals.forever() {
                    let Some(signal) = Signal::of_number(number) else {
                        continue;
                    };
                    let again = cancel.signal().is_some();
                    cancel.request(signal);
                    if !again {
                        notify(signal);
                        std::thread::sleep(PATIENCE);
                    }
                    cancel.end(signal);
                }
            })?;
        Ok(())
    }

    /// Has `path` removed if the process must be ended from outside the run; forgotten when the guard goes.
    #[must_use = "the path is forgotten when this goes"]
    pub fn leftover(&self, path: &Path) -> Leftover {
        lock(&self.0.leftovers).push(path.to_owned());
        Leftover {
            cancel: self.clone(),
            path: path.to_owned(),
        }
    }

    /// Keeps the watching thread from ending the process for as long as the guard lives.
    #[must_use = "the hold ends when this goes"]
    pub fn hold(&self) -> Hold<'_> {
        Hold(lock(&self.0.held))
    }

    /// Removes the leftovers and ends the process, without running anything of the libraries that other threads may still be in.
    fn end(&self, signal: Signal) {
        let _held = lock(&self.0.held);
        // The other threads still run: a file may appear in a folder while it is being removed, so try again.
        for path in lock(&self.0.leftovers).iter() {
            for _ in 0..20 {
                let gone = if path.is_dir() {
                    fs_err::remove_dir_all(path)
                } else {
                    fs_err::remove_file(path)
                };
                if gone.is_ok() || !path.exists() {
                    break;
                }
            }
        }
        signal_hook::low_level::exit(i32::from(signal.exit_status()));
    }
}

/// See [`Cancel::leftover`].
#[derive(Debug)]
pub struct Leftover {
    cancel: Cancel,
    path: PathBuf,
}

impl Drop for Leftover {
    fn drop(&mut self) {
        lock(&self.cancel.0.leftovers).retain(|path| *path != self.path);
    }
}

/// See [`Cancel::hold`].
#[derive(Debug)]
pub struct Hold<'a>(#[expect(dead_code, reason = "held for its drop")] MutexGuard<'a, ()>);

/// A thread that panicked left nothing half done behind these locks.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flag_is_shared_by_clones() {
        let cancel = Cancel::new();
        let other = cancel.clone();
        assert_eq!(other.signal(), None);
        cancel.request(Signal::Terminate);
        assert_eq!(other.signal(), Some(Signal::Terminate));
        // 128 and the signal's number: POSIX shells' exit status of a command ended by a signal (SIGINT 2, SIGTERM 15).
        assert_eq!(
            (
                Signal::Interrupt.exit_status(),
                Signal::Terminate.exit_status()
            ),
            (130, 143)
        );
    }

    #[test]
    fn leftovers_are_forgotten_with_their_guard() {
        let cancel = Cancel::new();
        let guard = cancel.leftover(Path::new("stage"));
        assert_eq!(lock(&cancel.0.leftovers).len(), 1);
        drop(guard);
        assert!(lock(&cancel.0.leftovers).is_empty());
    }
}
