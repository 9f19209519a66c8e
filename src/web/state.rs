//! What all requests share: the folder, its jobs, the secrets, and the ear of every open page.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, PoisonError, RwLock};

use cap_std::fs::Dir;
use serde::Serialize;
use tokio::sync::{Semaphore, SemaphorePermit, broadcast};

use crate::app::requests::Common;
use crate::web::guard::{Place, Secrets};
use crate::web::job::Job;
use crate::web::refusal::Refusal;

/// Requests for work that wait for their turn; more are told to come back.
const MAXIMUM_WAITING: usize = 64;

/// Something that open pages hear of.
#[derive(Clone, Debug, Serialize, utoipa::ToSchema)]
pub(crate) struct Event {
    pub(crate) job: usize,
    /// `stage`; `rates`: those of cells are known, the rest of the decision follows; or `revision`: there is something new to show.
    pub(crate) kind: &'static str,
    /// The stage of the work, in words.
    pub(crate) stage: String,
    /// Steps done.
    pub(crate) done: u64,
    /// Steps in all; 0 when not known.
    pub(crate) total: u64,
    /// The number of what is shown now.
    pub(crate) revision: u64,
}

impl Event {
    pub(crate) fn stage(job: usize, stage: &str, done: u64, total: u64) -> Self {
        Self {
            job,
            kind: "stage",
            stage: stage.to_owned(),
            done,
            total,
            revision: 0,
        }
    }
    pub(crate) fn rates(job: usize, revision: u64) -> Self {
        Self {
            kind: "rates",
            ..Self::revision(job, revision)
        }
    }
    pub(crate) fn revision(job: usize, revision: u64) -> Self {
        Self {
            job,
            kind: "revision",
            stage: String::new(),
            done: 0,
            total: 0,
            revision,
        }
    }
}

/// Shared by all requests; clones are the same.
#[derive(Clone, Debug)]
pub(crate) struct Shared(Arc<Inner>);

#[derive(Debug)]
struct Inner {
    place: Place,
    secrets: Secrets,
    root: PathBuf,
    folder: Dir,
    write: bool,
    empty: bool,
    common: Common,
    jobs: RwLock<Vec<Arc<Job>>>,
    events: broadcast::Sender<Event>,
    revision: AtomicU64,
    work: Semaphore,
    waiting: AtomicUsize,
    next_code: Mutex<Option<Sender<String>>>,
}

/// What a page is made of.
pub(crate) struct Parts {
    pub(crate) place: Place,
    pub(crate) secrets: Secrets,
    pub(crate) root: PathBuf,
    pub(crate) folder: Dir,
    /// Whether jobs can be changed.
    pub(crate) write: bool,
    /// Whether the folder is the page's own, for files that are dropped on it.
    pub(crate) own: bool,
    pub(crate) common: Common,
    /// Where the next code for another device is announced.
    pub(crate) next_code: Option<Sender<String>>,
}

impl Shared {
    pub(crate) fn new(parts: Parts) -> Self {
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        Self(Arc::new(Inner {
            place: parts.place,
            secrets: parts.secrets,
            root: parts.root,
            folder: parts.folder,
            write: parts.write,
            empty: parts.own,
            common: parts.common,
            jobs: RwLock::new(Vec::new()),
            events: broadcast::channel(256).0,
            revision: AtomicU64::new(0),
            work: Semaphore::new(cores.saturating_sub(1).max(1)),
            waiting: AtomicUsize::new(0),
            next_code: Mutex::new(parts.next_code),
        }))
    }
    pub(crate) fn place(&self) -> Place {
        self.0.place
    }
    pub(crate) fn secrets(&self) -> &Secrets {
        &self.0.secrets
    }
    /// The page's folder on this machine.
    pub(crate) fn root(&self) -> &Path {
        &self.0.root
    }
    /// The page's folder as the only way to files.
    pub(crate) fn folder(&self) -> &Dir {
        &self.0.folder
    }
    pub(crate) fn may_write(&self) -> bool {
        self.0.write
    }
    /// Whether files may be dropped on the page.
    pub(crate) fn takes_files(&self) -> bool {
        self.0.empty
    }
    pub(crate) fn common(&self) -> &Common {
        &self.0.common
    }
    pub(crate) fn jobs(&self) -> Vec<Arc<Job>> {
        self.0
            .jobs
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }
    pub(crate) fn job(&self, id: usize) -> Result<Arc<Job>, Refusal> {
        self.jobs()
            .get(id)
            .cloned()
            .ok_or_else(|| Refusal::missing("job"))
    }
    /// Adds a job file below the folder, unless it is there.
    pub(crate) fn add_job(&self, file: &str) -> Arc<Job> {
        let mut jobs = self.0.jobs.write().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = jobs.iter().find(|job| job.file == file) {
            return known.clone();
        }
        let job = Arc::new(Job::new(
            jobs.len(),
            file.to_owned(),
            self.0.root.join(file),
        ));
        jobs.push(job.clone());
        job
    }
    pub(crate) fn next_revision(&self) -> u64 {
        self.0.revision.fetch_add(1, Ordering::Relaxed) + 1
    }
    /// Tells every open page; nobody listening is no fault.
    pub(crate) fn tell(&self, event: Event) {
        let _ = self.0.events.send(event);
    }
    pub(crate) fn listen(&self) -> broadcast::Receiver<Event> {
        self.0.events.subscribe()
    }
    /// Announces the code that lets the next device in.
    pub(crate) fn announce(&self, code: String) {
        let next = self
            .0
            .next_code
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        if let Some(next) = &*next {
            let _ = next.send(code);
        }
    }
    /// Waits for a turn to compute; refuses when too many wait.
    pub(crate) async fn turn(&self) -> Result<SemaphorePermit<'_>, Refusal> {
        struct Waits<'a>(&'a AtomicUsize);
        impl Drop for Waits<'_> {
            fn drop(&mut self) {
                self.0.fetch_sub(1, Ordering::Relaxed);
            }
        }
        let before = self.0.waiting.fetch_add(1, Ordering::Relaxed);
        let _waits = Waits(&self.0.waiting);
        if before >= MAXIMUM_WAITING {
            return Err(Refusal::busy());
        }
        self.0
            .work
            .acquire()
            .await
            .map_err(|_closed| Refusal::busy())
    }
}
