//! Long work beside Python: on a thread of its own, while the calling one lets others run, tells of progress and listens for Ctrl-C.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SendError, Sender, channel};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use haulm::AppError;
use haulm::app::cancel::{Cancel, Signal};
use haulm::app::progress::Progress;
use pyo3::prelude::*;

use crate::refused::raised;

/// How often Ctrl-C is looked for while nothing is heard.
const TICK: Duration = Duration::from_millis(30);
/// Callbacks of one stage come no closer than this.
const BETWEEN: Duration = Duration::from_millis(50);
/// How long work that was asked to end is waited for. What does not listen goes on by itself, and what it finds is dropped.
const PATIENCE: Duration = Duration::from_secs(2);

/// Stack of the thread that works: as large as the one that the system gives a process, for GDAL. (bytes)
const STACK: usize = 8 << 20;

/// What the work says.
enum Wording<T> {
    Stage(String, u64),
    Steps(u64),
    Done(Result<T, AppError>),
}

struct Teller<T>(Mutex<Sender<Wording<T>>>);

impl<T> Teller<T> {
    fn tell(&self, wording: Wording<T>) {
        if let Ok(sender) = self.0.lock() {
            // Nobody listens any more once the caller was interrupted.
            let _ = sender.send(wording);
        }
    }
}

impl<T: Send> Progress for Teller<T> {
    fn start(&self, stage: &str, total: u64) {
        self.tell(Wording::Stage(stage.to_owned(), total));
    }
    fn advance(&self, steps: u64) {
        self.tell(Wording::Steps(steps));
    }
    fn message(&self, _text: &str) {}
}

/// The callback, and where the stage is.
struct Meter<'py> {
    callback: Option<Bound<'py, PyAny>>,
    stage: (String, u64, u64),
    called: Option<Instant>,
    behind: bool,
}

impl Meter<'_> {
    fn call(&mut self) -> PyResult<()> {
        self.behind = false;
        self.called = Some(Instant::now());
        if let Some(callback) = &self.callback {
            let (stage, done, total) = &self.stage;
            callback.call1((stage.as_str(), *done, *total))?;
        }
        Ok(())
    }
    fn stage(&mut self, name: String, total: u64) -> PyResult<()> {
        self.end()?;
        self.stage = (name, 0, total);
        self.call()
    }
    fn steps(&mut self, steps: u64) -> PyResult<()> {
        self.stage.1 += steps;
        self.behind = true;
        if self.called.is_none_or(|at| at.elapsed() >= BETWEEN) {
            self.call()?;
        }
        Ok(())
    }
    /// What was held back as too close to the call before.
    fn end(&mut self) -> PyResult<()> {
        if self.behind { self.call() } else { Ok(()) }
    }
}

/// Whether work that was asked to end must be waited for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Ends {
    /// It only computes: the caller may go.
    Soon,
    /// It writes: the caller stays until all is written or nothing is.
    Whole,
}

/// What a thread is given to do.
type Task = Box<dyn FnOnce() + Send>;

/// Threads that wait for work, and the process that they belong to: a forked one has none of them.
static IDLE: Mutex<(u32, Vec<Sender<Task>>)> = Mutex::new((0, Vec::new()));

fn idle() -> MutexGuard<'static, (u32, Vec<Sender<Task>>)> {
    let mut idle = IDLE.lock().unwrap_or_else(PoisonError::into_inner);
    if idle.0 != std::process::id() {
        *idle = (std::process::id(), Vec::new());
    }
    idle
}

/// Does a task on a thread that waits, or on a new one: what GDAL and PROJ have open belongs to a thread, and is as dear as a field to open again.
fn on_a_thread(task: Task) -> std::io::Result<()> {
    let waiting = idle().1.pop();
    let Some(worker) = waiting else {
        return begun(task);
    };
    match worker.send(task) {
        Ok(()) => Ok(()),
        Err(SendError(task)) => begun(task),
    }
}

fn begun(task: Task) -> std::io::Result<()> {
    let (sender, receiver) = channel::<Task>();
    std::thread::Builder::new()
        .name("haulm".to_owned())
        .stack_size(STACK)
        .spawn(move || {
            let mut next = Some(task);
            while let Some(task) = next.take() {
                task();
                idle().1.push(sender.clone());
                next = receiver.recv().ok();
            }
        })?;
    Ok(())
}

/// Does `work` on a thread of its own. `progress` is called on the caller's thread with the stage, steps done, and steps in all (0 when not known).
pub(crate) fn done<T: Send + 'static>(
    py: Python<'_>,
    progress: Option<Bound<'_, PyAny>>,
    (cancel, ends): (&Cancel, Ends),
    work: impl FnOnce(&dyn Progress) -> Result<T, AppError> + Send + 'static,
) -> PyResult<T> {
    let (sender, receiver) = channel();
    on_a_thread(Box::new(move || {
        let teller = Teller(Mutex::new(sender));
        let result = catch_unwind(AssertUnwindSafe(|| work(&teller)));
        teller.tell(Wording::Done(result.unwrap_or_else(|panic| {
            Err(AppError::fault("fault", notice(panic.as_ref())))
        })));
    }))?;
    let receiver = Mutex::new(receiver);
    let mut meter = Meter {
        callback: progress,
        stage: (String::new(), 0, 0),
        called: None,
        behind: false,
    };
    let mut interrupted: Option<(PyErr, Instant)> = None;
    loop {
        let heard = match py.detach(|| next(&receiver)) {
            Ok(Wording::Done(result)) => {
                if let Some((error, _)) = interrupted {
                    return Err(error);
                }
                meter.end()?;
                return result.map_err(|error| raised(py, &error));
            }
            Ok(Wording::Stage(stage, total)) if interrupted.is_none() => meter.stage(stage, total),
            Ok(Wording::Steps(steps)) if interrupted.is_none() => meter.steps(steps),
            Ok(_) | Err(RecvTimeoutError::Timeout) => Ok(()),
            Err(RecvTimeoutError::Disconnected) => {
                return Err(raised(
                    py,
                    &AppError::fault("fault", "the work ended without a word"),
                ));
            }
        };
        match &interrupted {
            None => {
                if let Err(error) = heard.and_then(|()| py.check_signals()) {
                    cancel.request(Signal::Interrupt);
                    interrupted = Some((error, Instant::now()));
                }
            }
            Some((_, since)) if ends == Ends::Soon && since.elapsed() > PATIENCE => {
                if let Some((error, _)) = interrupted {
                    return Err(error);
                }
            }
            Some(_) => {}
        }
    }
}

fn next<T>(receiver: &Mutex<Receiver<Wording<T>>>) -> Result<Wording<T>, RecvTimeoutError> {
    receiver
        .lock()
        .map_err(|_poisoned| RecvTimeoutError::Disconnected)?
        .recv_timeout(TICK)
}

/// What a panic said.
fn notice(panic: &(dyn std::any::Any + Send)) -> String {
    panic
        .downcast_ref::<String>()
        .cloned()
        .or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned()))
        .unwrap_or_else(|| "haulm failed without a word".to_owned())
}
