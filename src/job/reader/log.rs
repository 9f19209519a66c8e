//! Where faults and notes of a job file go.

use std::cell::{Cell, RefCell};
use std::ops::Range;

use crate::finding::Finding;
use crate::job::fault::{Fault, MAXIMUM_FAULTS};
use crate::job::problem::Problem;
use crate::job::reader::shorten;

/// Where faults and notes go.
#[derive(Debug)]
pub(crate) struct Log {
    file: String,
    text: String,
    /// The job's currency, once it is known: what hints speak of.
    currency: RefCell<Option<String>>,
    faults: RefCell<Vec<(usize, Fault)>>,
    notes: RefCell<Vec<Finding>>,
    /// Whether people read US units first, once that is known.
    us: Cell<Option<bool>>,
}

impl Log {
    pub(crate) fn new(file: String, text: String) -> Self {
        Self {
            file,
            text,
            currency: RefCell::default(),
            faults: RefCell::default(),
            notes: RefCell::default(),
            us: Cell::default(),
        }
    }

    /// Has people read these units, whatever the job's amounts are written in.
    pub(crate) fn set_units(&self, us: Option<bool>) {
        self.us.set(us);
    }

    /// Has people read these units where nothing else was said.
    pub(super) fn speaks(&self, us: bool) {
        if self.us.get().is_none() {
            self.us.set(Some(us));
        }
    }

    /// Whether people read US units first: any amount of the job is written in them, or somebody asked for them.
    pub(crate) fn us(&self) -> bool {
        self.us.get().unwrap_or(false)
    }

    /// The file's text.
    pub(super) fn text(&self) -> &str {
        &self.text
    }

    /// Whether so many faults were found that no more are told.
    pub(super) fn is_full(&self) -> bool {
        self.faults.borrow().len() >= MAXIMUM_FAULTS
    }

    /// Logs a fault of the value that stands at `span`.
    pub(crate) fn fault(&self, span: &Range<usize>, key: &str, show: bool, problem: Problem) {
        if self.is_full() {
            return;
        }
        let before = self.text.get(..span.start).unwrap_or(&self.text);
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
        let found = if show {
            shorten(self.text.get(span.clone()).unwrap_or(""))
        } else {
            String::new()
        };
        let fault = Fault {
            file: self.file.clone(),
            line,
            column,
            key: key.to_owned(),
            found,
            problem,
            currency: None,
        };
        self.faults.borrow_mut().push((span.start, fault));
    }

    /// Hints of all faults speak of this currency.
    pub(crate) fn set_currency(&self, currency: &str) {
        *self.currency.borrow_mut() = Some(currency.to_owned());
    }

    /// Takes back faults that only follow from another one.
    pub(crate) fn forget(&self, follows: impl Fn(&Problem) -> bool) {
        self.faults
            .borrow_mut()
            .retain(|(_, fault)| !follows(&fault.problem));
    }

    pub(crate) fn note(&self, finding: Finding) {
        self.notes.borrow_mut().push(finding);
    }

    /// Faults in file order, and the notes.
    pub(crate) fn into_parts(self) -> (Vec<Fault>, Vec<Finding>) {
        let mut faults = self.faults.into_inner();
        faults.sort_by_key(|(at, _)| *at);
        let currency = self.currency.into_inner();
        let notice = |(_, fault): (usize, Fault)| Fault {
            currency: currency.clone(),
            ..fault
        };
        (
            faults.into_iter().map(notice).collect(),
            self.notes.into_inner(),
        )
    }
}
