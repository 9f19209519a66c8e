//! How a run tells a front end where it is. The run decides what is worth saying; the front end decides how often it is shown.

/// Hears of a run's progress. Called from any thread.
pub trait Progress: Sync {
    /// A stage begins: what is done, and how many steps it has; 0 when not known.
    fn start(&self, stage: &str, total: u64);
    /// `steps` more steps of the stage are done.
    fn advance(&self, steps: u64);
    /// Something worth a line of its own.
    fn message(&self, text: &str);
}

/// Hears nothing: for tests and for callers without a terminal.
#[derive(Clone, Copy, Debug, Default)]
pub struct Silent;

impl Progress for Silent {
    fn start(&self, _stage: &str, _total: u64) {}
    fn advance(&self, _steps: u64) {}
    fn message(&self, _text: &str) {}
}
