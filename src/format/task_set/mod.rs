//! Sets of task data by ISO 11783-10 as wholes: what their tasks hold with references followed, several sets made one, and grids compared.
//!
//! # Source
//! ISO 11783-10:2015 as retold in an unofficial study summary: ids are three capitals and a number above 0 for the office, unique over the set; a task has one grid,
//! whose file is named `GRD` and five digits. Public XML schema of task data, version 3.3 (2013-03-25).

mod differ;
mod error;
mod merge;
mod tasks;
#[cfg(test)]
mod tests;

pub use differ::{GridFault, compare};
pub use error::TaskSetError;
pub use merge::{MAXIMUM_ELEMENTS, MAXIMUM_OF_A_KIND, Merged, merged};
pub use tasks::{GridFacts, Part, TaskFacts, TaskSet, tasks_of};
