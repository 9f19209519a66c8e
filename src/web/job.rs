//! One job on the page: its text, what was read of it, what was decided, and the way back.

use std::collections::BTreeMap;
use std::io::{Read as _, Write as _};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock};

use cap_std::fs::Dir;
use toml_edit::DocumentMut;

use crate::app::cancel::{Cancel, Signal};
use crate::app::decide::{Decision, Rates};
use crate::app::error::AppError;
use crate::app::job::{MAXIMUM, map_job_in};
use crate::app::photo::{Photo, photo};
use crate::app::prepare::{Prepared, prepare_with};
use crate::app::progress::Progress;
use crate::app::requests::Common;
use crate::job::fault::{Fault, JobError};
use crate::web::edit;
use crate::web::state::{Event, Shared};
use crate::web::view::{Early, early};

/// Steps that can be undone.
const MAXIMUM_STEPS: usize = 200;

/// A point to go back to: the text of the job, and of the shapes that the page drew for it.
#[derive(Clone, Debug, PartialEq)]
struct Step {
    text: String,
    shapes: BTreeMap<String, String>,
}

/// What is being worked on; one change at a time.
#[derive(Debug)]
pub(crate) struct Editing {
    now: Step,
    /// As it stands in the file, as far as the page knows; `None` before it was read.
    on_disk: Option<String>,
    undo: Vec<Step>,
    redo: Vec<Step>,
    prepared: Option<Prepared>,
    /// Counts what was read, so that the page knows when to ask for the ground again.
    reading: u64,
}

/// What the page shows of a job at one moment.
#[derive(Clone, Debug)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "four facts that the page shows, each by itself"
)]
pub(crate) struct Shown {
    /// Counts up with everything that changes.
    pub(crate) revision: u64,
    /// The revision at which it was decided; draws of uncertainty, which come later, change nothing of zones.
    pub(crate) decided: u64,
    /// Counts up with everything that is read anew.
    pub(crate) reading: u64,
    /// The job's text.
    pub(crate) text: String,
    /// What was read; of an unfinished job, what can be read of it.
    pub(crate) prepared: Option<Prepared>,
    /// What was decided.
    pub(crate) decision: Option<Arc<Decision>>,
    /// Why nothing was decided.
    pub(crate) error: Option<AppError>,
    /// Faults of the job file one by one.
    pub(crate) faults: Vec<Fault>,
    /// Whether draws of uncertainty are still to come.
    pub(crate) drawing: bool,
    /// Whether everything stands in the job file.
    pub(crate) saved: bool,
    pub(crate) can_undo: bool,
    pub(crate) can_redo: bool,
}

/// A job of the page.
#[derive(Debug)]
pub(crate) struct Job {
    pub(crate) id: usize,
    /// Its file below the page's folder, as people know it.
    pub(crate) file: String,
    path: PathBuf,
    editing: Mutex<Editing>,
    shown: RwLock<Option<Arc<Shown>>>,
    running: Mutex<Option<Cancel>>,
    photo: Mutex<Option<(u64, Option<Arc<Photo>>)>>,
    early: Mutex<Option<Arc<Early>>>,
}

/// Cells from which rates are shown before the rest of the decision is known; of fewer, all of it is there as soon.
const MANY_CELLS: usize = 10_000;

/// A thread that panicked left nothing half done behind these locks.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Progress of a job as events.
struct Stages<'a> {
    shared: &'a Shared,
    job: usize,
    stage: Mutex<(String, u64, u64)>,
}

impl Progress for Stages<'_> {
    fn start(&self, stage: &str, total: u64) {
        *lock(&self.stage) = (stage.to_owned(), 0, total);
        self.shared.tell(Event::stage(self.job, stage, 0, total));
    }
    fn advance(&self, steps: u64) {
        let mut at = lock(&self.stage);
        let before = at.1;
        at.1 += steps;
        // A hundredth at a time is often enough for a bar.
        if at.2 > 0 && before * 100 / at.2 != at.1 * 100 / at.2 {
            self.shared.tell(Event::stage(self.job, &at.0, at.1, at.2));
        }
    }
    fn message(&self, _text: &str) {}
}

/// Ends the work of a request whose client has gone.
pub(crate) struct Ends(Cancel);

impl Drop for Ends {
    fn drop(&mut self) {
        self.0.request(Signal::Interrupt);
    }
}

/// What evaluating a text gave.
struct Evaluated {
    prepared: Option<Prepared>,
    is_new: bool,
    decision: Option<Decision>,
    error: Option<AppError>,
    faults: Vec<Fault>,
}

impl Job {
    pub(crate) fn new(id: usize, file: String, path: PathBuf) -> Self {
        Self {
            id,
            file,
            path,
            editing: Mutex::new(Editing {
                now: Step {
                    text: String::new(),
                    shapes: BTreeMap::new(),
                },
                on_disk: None,
                undo: Vec::new(),
                redo: Vec::new(),
                prepared: None,
                reading: 0,
            }),
            shown: RwLock::new(None),
            running: Mutex::new(None),
            photo: Mutex::new(None),
            early: Mutex::new(None),
        }
    }

    /// The job file on this machine.
    pub(crate) fn path(&self) -> &std::path::Path {
        &self.path
    }

    /// What is shown now, if it was ever opened.
    pub(crate) fn now(&self) -> Option<Arc<Shown>> {
        self.shown
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    /// Ends what is running for it.
    pub(crate) fn cancel(&self) {
        if let Some(cancel) = &*lock(&self.running) {
            cancel.request(Signal::Interrupt);
        }
    }

    /// A flag for new work; the guard ends it when the client goes.
    pub(crate) fn begin(&self, common: &Common) -> (Common, Ends) {
        let cancel = Cancel::new();
        *lock(&self.running) = Some(cancel.clone());
        let common = Common {
            cancel: cancel.clone(),
            ..common.clone()
        };
        (common, Ends(cancel))
    }

    /// Reads the job file and decides, unless that was done.
    pub(crate) fn open(
        &self,
        shared: &Shared,
        common: &Common,
        anew: bool,
    ) -> Result<Arc<Shown>, AppError> {
        let mut editing = lock(&self.editing);
        if let (Some(shown), false) = (self.now(), anew) {
            return Ok(shown);
        }
        let text = read(shared.folder(), &self.file)?;
        if editing.on_disk.is_some() && editing.now.text != text {
            let before = editing.now.clone();
            editing.undo.push(before);
            editing.redo.clear();
        }
        editing.now.text.clone_from(&text);
        editing.on_disk = Some(text);
        if anew {
            editing.prepared = None;
        }
        let evaluated = self.evaluate(shared, common, &editing)?;
        Ok(self.publish(shared, &mut editing, evaluated))
    }

    /// Makes a change and decides anew. A change that would have a good job refused is not made.
    pub(crate) fn change(
        &self,
        shared: &Shared,
        common: &Common,
        joined: bool,
        change: impl FnOnce(&mut DocumentMut, &mut BTreeMap<String, String>) -> Result<(), AppError>,
    ) -> Result<Arc<Shown>, AppError> {
        self.open(shared, common, false)?;
        let mut editing = lock(&self.editing);
        let mut document = edit::document(&editing.now.text)?;
        let before = editing.now.clone();
        change(&mut document, &mut editing.now.shapes)?;
        editing.now.text = document.to_string();
        if editing.now == before {
            return self.now().ok_or_else(|| fault("nothing is shown"));
        }
        let after = self.step(shared, common, &mut editing, &before)?;
        // What goes on with the change before is undone with it.
        if !joined || editing.undo.is_empty() {
            editing.undo.push(before);
        }
        if editing.undo.len() > MAXIMUM_STEPS {
            editing.undo.remove(0);
        }
        editing.redo.clear();
        Ok(self.publish(shared, &mut editing, after))
    }

    /// Goes a step back, or forward again.
    pub(crate) fn step_back(
        &self,
        shared: &Shared,
        common: &Common,
        forward: bool,
    ) -> Result<Arc<Shown>, AppError> {
        let mut editing = lock(&self.editing);
        let next = if forward {
            editing.redo.pop()
        } else {
            editing.undo.pop()
        };
        let Some(next) = next else {
            return self.now().ok_or_else(|| fault("nothing is shown"));
        };
        let before = std::mem::replace(&mut editing.now, next.clone());
        let after = self.step(shared, common, &mut editing, &before);
        // What cannot be gone to stays where it was, to be tried again.
        let (step, to_undo) = if after.is_ok() {
            (before, forward)
        } else {
            (next, !forward)
        };
        if to_undo {
            editing.undo.push(step);
        } else {
            editing.redo.push(step);
        }
        Ok(self.publish(shared, &mut editing, after?))
    }

    /// Writes shapes, decides by the new text, and saves it; on a refusal everything is as before.
    fn step(
        &self,
        shared: &Shared,
        common: &Common,
        editing: &mut Editing,
        before: &Step,
    ) -> Result<Evaluated, AppError> {
        let back = |editing: &mut Editing, error: AppError| {
            let undo = write_shapes(shared, &editing.now.shapes, &before.shapes);
            editing.now = before.clone();
            undo.and(Err(error))
        };
        if shared.may_write()
            && let Some(known) = &editing.on_disk
            && *known != read(shared.folder(), &self.file)?
        {
            let error = AppError::refused(
                "page.changed",
                "the job file was changed by another program since the page read it",
            )
            .with_fact(self.file.clone(), "holds another text")
            .with_hint("load it again; what the page changed can still be undone there");
            editing.now = before.clone();
            return Err(error);
        }
        if let Err(error) = write_shapes(shared, &before.shapes, &editing.now.shapes) {
            return back(editing, error);
        }
        if before.shapes != editing.now.shapes {
            editing.prepared = None;
        }
        let evaluated = match self.evaluate(shared, common, editing) {
            Ok(evaluated) => evaluated,
            Err(error) => return back(editing, error),
        };
        let was_good = self.now().is_some_and(|shown| shown.decision.is_some());
        if let Some(error) = &evaluated.error
            && was_good
        {
            return back(editing, error.clone());
        }
        if shared.may_write() {
            let text = editing.now.text.clone();
            if let Err(error) = write(shared.folder(), &self.file, text.as_bytes()) {
                return back(editing, error);
            }
            editing.on_disk = Some(text);
        }
        Ok(evaluated)
    }

    /// Settings out of the text, then a decision, after reading anew where that is needed.
    fn evaluate(
        &self,
        shared: &Shared,
        common: &Common,
        editing: &Editing,
    ) -> Result<Evaluated, AppError> {
        let progress = Stages {
            shared,
            job: self.id,
            stage: Mutex::new((String::new(), 0, 0)),
        };
        let nothing = |error: AppError, faults: Vec<Fault>| Evaluated {
            prepared: None,
            is_new: false,
            decision: None,
            error: Some(error),
            faults,
        };
        let settings = match map_job_in(editing.now.text.as_bytes(), &self.path, common.us_units) {
            Ok(settings) => settings,
            Err(error) => {
                let faults = match &error {
                    JobError::Refused { faults, .. } => faults.clone(),
                    JobError::Read { .. } => Vec::new(),
                };
                let mut left = nothing(error.into(), faults);
                // What the job says of field and image can be looked at before the rest is known.
                let sketch = edit::sketch(&editing.now.text)
                    .and_then(|text| map_job_in(text.as_bytes(), &self.path, common.us_units).ok());
                if let Some(settings) = sketch {
                    let kept = editing
                        .prepared
                        .as_ref()
                        .filter(|prepared| prepared.serves(&settings.value));
                    left.is_new = kept.is_none();
                    left.prepared = match kept {
                        Some(prepared) => Some(prepared.clone()),
                        None => match prepare_with(&self.path, &settings, common, &progress) {
                            Ok(prepared) => Some(prepared),
                            Err(error) if common.cancel.signal().is_some() => return Err(error),
                            Err(error) => {
                                // The image or the boundary is at fault, which comes before what is still missing.
                                left.error = Some(error);
                                None
                            }
                        },
                    };
                }
                return Ok(left);
            }
        };
        let kept = editing
            .prepared
            .as_ref()
            .filter(|prepared| prepared.serves(&settings.value));
        let (prepared, is_new) = match kept {
            Some(prepared) => (prepared.clone(), false),
            None => match prepare_with(&self.path, &settings, common, &progress) {
                Ok(prepared) => (prepared, true),
                Err(error) if common.cancel.signal().is_some() => return Err(error),
                Err(error) => return Ok(nothing(error, Vec::new())),
            },
        };
        let decided = prepared.rates(&settings.value).and_then(|rates| {
            // The cells of a new reading are not known to the page yet.
            if !is_new {
                self.show_early(shared, &rates);
            }
            rates.decision()
        });
        let (decision, error) = match decided {
            Ok(decision) => (Some(decision), None),
            Err(error) => (None, Some(error)),
        };
        Ok(Evaluated {
            prepared: Some(prepared),
            is_new,
            decision,
            error,
            faults: Vec::new(),
        })
    }

    /// Lets pages draw the rates of very many cells while the rest of the decision is made.
    fn show_early(&self, shared: &Shared, rates: &Rates) {
        if rates.cells().rated.cells.len() < MANY_CELLS {
            return;
        }
        *lock(&self.early) = Some(Arc::new(early(rates)));
        shared.tell(Event::rates(self.id, shared.next_revision()));
    }

    /// The rates that were known last before their decision was.
    pub(crate) fn early(&self) -> Option<Arc<Early>> {
        lock(&self.early).clone()
    }

    fn publish(&self, shared: &Shared, editing: &mut Editing, evaluated: Evaluated) -> Arc<Shown> {
        if evaluated.is_new {
            editing.reading += 1;
        }
        editing.prepared.clone_from(&evaluated.prepared);
        let draws = evaluated
            .decision
            .as_ref()
            .is_some_and(|decision| decision.settings().uncertainty.draws > 0);
        let revision = shared.next_revision();
        let shown = Arc::new(Shown {
            revision,
            decided: revision,
            reading: editing.reading,
            text: editing.now.text.clone(),
            prepared: evaluated.prepared,
            decision: evaluated.decision.map(Arc::new),
            error: evaluated.error,
            faults: evaluated.faults,
            drawing: draws,
            saved: editing.on_disk.as_ref() == Some(&editing.now.text),
            can_undo: !editing.undo.is_empty(),
            can_redo: !editing.redo.is_empty(),
        });
        self.show(shared, shown.clone());
        shown
    }

    fn show(&self, shared: &Shared, shown: Arc<Shown>) {
        let revision = shown.revision;
        *self.shown.write().unwrap_or_else(PoisonError::into_inner) = Some(shown);
        shared.tell(Event::revision(self.id, revision));
    }

    /// Draws the uncertainty of what is shown, unless something newer is shown by then.
    pub(crate) fn draw(&self, shared: &Shared) {
        let Some(shown) = self.now().filter(|shown| shown.drawing) else {
            return;
        };
        let Some(decision) = &shown.decision else {
            return;
        };
        let drawn = Decision::clone(decision).with_uncertainty();
        let _one_at_a_time = lock(&self.editing);
        if self.now().is_some_and(|now| now.revision == shown.revision) {
            let next = Shown {
                revision: shared.next_revision(),
                decision: Some(Arc::new(drawn)),
                drawing: false,
                ..Shown::clone(&shown)
            };
            self.show(shared, Arc::new(next));
        }
    }

    /// The photo of what was read, made once.
    pub(crate) fn photo(&self, common: &Common) -> Result<Option<Arc<Photo>>, AppError> {
        let Some(shown) = self.now() else {
            return Ok(None);
        };
        let mut kept = lock(&self.photo);
        if let Some((reading, made)) = &*kept
            && *reading == shown.reading
        {
            return Ok(made.clone());
        }
        let made = match &shown.prepared {
            Some(prepared) => photo(prepared, common)?.map(Arc::new),
            None => None,
        };
        *kept = Some((shown.reading, made.clone()));
        Ok(made)
    }
}

fn fault(what: &str) -> AppError {
    AppError::fault("page.state", what)
}

/// Reads a text below the page's folder.
pub(crate) fn read(folder: &Dir, file: &str) -> Result<String, AppError> {
    let failed = |error: &std::io::Error| {
        AppError::refused("job.unreadable", "the job file cannot be read")
            .with_fact(file.to_owned(), error.to_string())
    };
    let opened = folder.open(file).map_err(|error| failed(&error))?;
    let facts = opened.metadata().map_err(|error| failed(&error))?;
    if !facts.is_file() || facts.len() > MAXIMUM {
        return Err(AppError::refused("job.unreadable", "this is no job file")
            .with_fact(file.to_owned(), format!("{} bytes", facts.len())));
    }
    let mut text = String::new();
    opened
        .take(MAXIMUM)
        .read_to_string(&mut text)
        .map_err(|error| failed(&error))?;
    Ok(text)
}

/// Writes a file below the page's folder whole or not at all: a neighbour first, then a rename.
pub(crate) fn write(folder: &Dir, file: &str, bytes: &[u8]) -> Result<(), AppError> {
    let failed = |error: &std::io::Error| {
        AppError::refused(
            "page.write",
            "a file cannot be written; what was there is as it was",
        )
        .with_fact(file.to_owned(), error.to_string())
        .with_hint("check that the disk has room and the folder may be written to")
    };
    let beside = match file.rsplit_once('/') {
        Some((under, name)) => format!("{under}/.{name}.haulm-new"),
        None => format!(".{file}.haulm-new"),
    };
    let stage = || -> std::io::Result<()> {
        let mut new = folder.create(&beside)?;
        new.write_all(bytes)?;
        new.sync_all()?;
        // The permissions of what is replaced stay.
        if let Ok(old) = folder.metadata(file) {
            new.set_permissions(old.permissions())?;
        }
        folder.rename(&beside, folder, file)
    };
    stage().map_err(|error| {
        let _ = folder.remove_file(&beside);
        failed(&error)
    })
}

/// Brings the shapes that the page drew from one state to another. A page that only looks keeps them to itself, so nothing can be drawn there.
fn write_shapes(
    shared: &Shared,
    from: &BTreeMap<String, String>,
    to: &BTreeMap<String, String>,
) -> Result<(), AppError> {
    for (file, text) in to {
        if from.get(file) != Some(text) {
            write(shared.folder(), file, text.as_bytes())?;
        }
    }
    for file in from.keys().filter(|file| !to.contains_key(*file)) {
        // One that is gone already is what is wanted.
        let _ = shared.folder().remove_file(file);
    }
    Ok(())
}
